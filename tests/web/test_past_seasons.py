"""Pages read as much of a book of many seasons as of a book of one; the steps of SQLite tell."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from benchmarks.big_book import grow, largest_sowing
from benchmarks.pages import HTML, addresses, counting
from litestar.testing import TestClient
from sqlalchemy import Engine, event
from tests.web.conftest import ADDRESS

from sowbench.bootstrap import open_desk
from sowbench.services.desk import Desk
from sowbench.web.app import create_app

N_SOWINGS, N_ENTRIES, N_MAPPED = 4_000, 20_000, 60
"""Some 20 seasons; one open sowing has this many trays, all counted cell by cell."""

MOST_TIMES = 3.0
FEW_STEPS = 2_000
"""Pages of fewer steps may take three times these; so counts a sowing's or an order's own rows."""
STEPS_A_CALL = 10


@pytest.fixture(scope="module")
def many_seasons(demo_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the demo's book with many seasons before it."""
    folder = tmp_path_factory.mktemp("many") / "book"
    shutil.copytree(demo_book, folder)
    with open_desk(folder) as desk:
        grow(engine_of(desk), N_SOWINGS, N_ENTRIES, N_MAPPED)
    return folder


def engine_of(desk: Desk) -> Engine:
    """Return the database of a desk."""
    engine: Engine = desk.book.engine  # type: ignore[attr-defined]
    return engine


@contextmanager
def stepping(engine: Engine) -> Iterator[list[int]]:
    """Count the steps that SQLite takes; the list holds their number."""
    steps = [0]

    def more() -> int:
        steps[0] += STEPS_A_CALL
        return 0

    def connected(connection: Any, _: object) -> None:
        connection.set_progress_handler(more, STEPS_A_CALL)

    engine.dispose()
    event.listen(engine, "connect", connected)
    try:
        yield steps
    finally:
        event.remove(engine, "connect", connected)
        engine.dispose()


def read_by_page(folder: Path) -> dict[str, tuple[int, int]]:
    """Ask for every page of a book; return the steps and the queries of each."""
    found = {}
    with open_desk(folder) as desk:
        engine = engine_of(desk)
        with engine.connect() as connection:
            sowing = largest_sowing(connection)
        client = TestClient(create_app(desk), base_url=ADDRESS)
        with client, stepping(engine) as steps, counting(engine) as statements:
            for path in addresses(sowing):
                client.get(path, headers=HTML)  # what is kept from page to page is kept now
                steps[0] = 0
                statements.clear()
                assert client.get(path, headers=HTML).status_code == 200, path
                found[path] = (steps[0], len(statements))
    return found


def test_no_page_reads_past_seasons(demo_desk: Desk, many_seasons: Path) -> None:
    folder = demo_desk.data
    one, many = read_by_page(folder), read_by_page(many_seasons)

    assert list(one) == list(many)
    longer = {
        path: (one[path], many[path])
        for path in one
        if many[path][0] > MOST_TIMES * max(one[path][0], FEW_STEPS) or many[path][1] > one[path][1]
    }
    assert longer == {}


def test_the_pages_were_asked_of_a_book_of_many_seasons(many_seasons: Path) -> None:
    with open_desk(many_seasons) as desk, desk.book.reading() as unit:
        assert unit.journal.n_entries() >= N_ENTRIES
        assert unit.orders_page.n_orders() > 2_000
