"""What looking back reads; a fixed number of queries, whatever the number of rows."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import NamedTuple, Protocol

from sowbench.domain.journal import Entry
from sowbench.domain.life_records import HandedOver
from sowbench.domain.plan import Sowing
from sowbench.domain.records import Order


class JobDone(NamedTuple):
    """A job that was ticked off, with what was planned of it.

    Attributes
    ----------
    key : str
        Its key.
    entry : str
        Id of the entry that ticked it off.
    day : date
        Day on which it was done.
    sowing : str
        Sowing of the entry; blank for a job of the house.
    task, place : str
        What was planned, and where; blank where no plan that was accepted has it.
    minutes : float
        Minutes planned [min]; 0 where none are known.
    """

    key: str
    entry: str
    day: date
    sowing: str
    task: str
    place: str
    minutes: float


class BackPage(Protocol):
    """What looking back reads."""

    def days(self) -> tuple[date, date] | None:
        """Return the first and last day of orders and sowings; None in an empty book."""

    def orders(self, first: date, last: date) -> list[Order]:
        """Return the orders wanted within some days, cancelled ones left out."""

    def entries(self, first: date, last: date) -> dict[str, list[Entry]]:
        """Return the entries that stand of sowings that have to do with some days, by sowing."""

    def house_entries(self, first: date, last: date) -> dict[str, Entry]:
        """Return the entries of some days that tick off a job of no sowing, by id."""

    def deliveries(self, first: date, last: date) -> list[HandedOver]:
        """Return what was handed over for orders wanted within some days."""

    def planned(self, first: date, last: date) -> Mapping[str, tuple[int, Sowing]]:
        """Return sowings as the last accepted plan that has them plans them, with that plan."""

    def jobs_done(self, first: date, last: date) -> list[JobDone]:
        """Return the jobs ticked off on some days."""
