"""The desk: an open house book with the parts, the clock and the workers that services need."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

# The pages look these up where they check what a handler is given.
from sowbench.domain.ports import Book
from sowbench.services.parts import Parts

TODAY_SETTING = "today"
"""Setting that fixes the day in the house, as the demo does."""


@dataclass(frozen=True)
class Desk:
    """What the pages and the commands of a house book work with.

    Attributes
    ----------
    book : Book
        The open book.
    parts : Parts
        Planner, checker and promise.
    clock : callable
        Gives the instant (UTC, with its zone).
    executor : Executor
        Runs heavy work in processes of its own, started anew (spawned).
    data : Path
        Folder of the book.
    data_url : str
        Address of the database, for workers that open the book themselves; not in the repr, since
        it may hold a password.
    """

    book: Book
    parts: Parts
    clock: Callable[[], datetime]
    executor: Executor
    data: Path
    data_url: str = field(repr=False)

    def today(self) -> date:
        """Return the day in the house.

        Returns
        -------
        day : date
            The setting `today` if the book has one, else the day by the clock in the time zone of
            the house.
        """
        from sowbench.services.house_day import day_in_house

        with self.book.reading() as unit:
            return day_in_house(unit, self.clock())
