"""The house book: opened by its address, its schema brought up to date, one unit at a time."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Engine

from sowbench.store.engine import open_engine, reading_options, writing_options
from sowbench.store.failures import told
from sowbench.store.schema import bring_up_to_date
from sowbench.store.unit import Unit


class HouseBook:
    """A house book that is open; see domain.ports.book.

    Parameters
    ----------
    engine : Engine
        Its database, with a schema that is up to date.
    """

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    @contextmanager
    def reading(self) -> Iterator[Unit]:
        """Begin a unit of work that only reads, one consistent state throughout.

        Yields
        ------
        unit : Unit
            The unit of work.
        """
        with self._unit(reading_options(self.engine)) as unit:
            yield unit

    @contextmanager
    def writing(self) -> Iterator[Unit]:
        """Begin a unit of work that writes; leaving it without `commit` undoes it.

        Yields
        ------
        unit : Unit
            The unit of work.
        """
        with self._unit(writing_options(self.engine)) as unit:
            yield unit

    @contextmanager
    def _unit(self, options: dict[str, Any]) -> Iterator[Unit]:
        """Begin a transaction at once, and end it whatever happens."""
        with told(self.engine.url), self.engine.connect() as opened:
            connection = opened.execution_options(**options)
            connection.begin()
            yield Unit(connection)

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()


def open_book(url: str) -> HouseBook:
    """Open a house book, or begin a new one.

    Parameters
    ----------
    url : str
        Address of its database.

    Returns
    -------
    book : HouseBook
        The book, its schema up to date.

    Raises
    ------
    BookOpenError
        If it cannot be opened, or a later sowbench made it.
    """
    engine = open_engine(url)
    try:
        with told(engine.url):
            bring_up_to_date(engine)
    except BaseException:
        engine.dispose()
        raise
    return HouseBook(engine)
