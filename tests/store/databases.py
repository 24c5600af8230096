"""Fixtures: every test that takes `book` or `address` runs on both databases."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from sowbench.store.book import HouseBook

# What needs the database is imported where it is used: most tests need none.

_numbers = count(1)
DATABASES = ("sqlite", "postgresql")


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """Address of the PostgreSQL of this session, with {name} for the database."""
    from tests.store.postgres_server import needed_server, running_server

    with running_server(needed_server()) as address:
        yield address


def new_postgresql(server: str) -> str:
    """Make an empty database; return its address."""
    from sqlalchemy import create_engine, make_url, text

    name = f"book_{next(_numbers)}"
    url = make_url(server.format(name="postgres")).set(drivername="postgresql+psycopg")
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    engine.dispose()
    return server.format(name=name)


@pytest.fixture(params=DATABASES)
def new_address(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[], str]:
    """Give addresses of empty databases, one a call."""
    if request.param == "sqlite":
        return lambda: f"sqlite:///{tmp_path / f'new-{next(_numbers)}.sqlite'}"
    server = request.getfixturevalue("server")
    return lambda: new_postgresql(server)


@pytest.fixture(scope="session")
def template_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An SQLite book with nothing in it, to be copied."""
    from sowbench.store.book import open_book

    path = tmp_path_factory.mktemp("template") / "book.sqlite"
    open_book(f"sqlite:///{path}").close()
    return path


@pytest.fixture(scope="session")
def shared_postgresql(server: str) -> Iterator[HouseBook]:
    """A PostgreSQL book that tests empty before they use it."""
    from sowbench.store.book import open_book

    book = open_book(new_postgresql(server))
    yield book
    book.close()


def emptied(book: HouseBook) -> None:
    """Take everything out of a book."""
    from sqlalchemy import text

    from sowbench.store.tables import metadata

    with book.engine.begin() as connection:
        if book.engine.dialect.name == "postgresql":
            names = ", ".join(f'"{name}"' for name in metadata.tables)
            connection.execute(text(f"TRUNCATE {names} RESTART IDENTITY"))
            return
        for table in reversed(metadata.sorted_tables):
            connection.execute(table.delete())


@pytest.fixture(params=DATABASES)
def address(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Address of a book with nothing in it, its tables made."""
    if request.param == "sqlite":
        path = tmp_path / "book.sqlite"
        shutil.copy(request.getfixturevalue("template_file"), path)
        return f"sqlite:///{path}"
    shared = request.getfixturevalue("shared_postgresql")
    emptied(shared)
    return str(shared.engine.url.render_as_string(hide_password=False))


@pytest.fixture
def book(address: str) -> Iterator[HouseBook]:
    """A book with nothing in it."""
    from sowbench.store.book import open_book

    opened = open_book(address)
    yield opened
    opened.close()
