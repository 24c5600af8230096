"""What the pages of a day's work and of counting read; a fixed number of queries a page."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Protocol

from sowbench.domain.book import Kept
from sowbench.domain.plan import Sowing


@dataclass(frozen=True, slots=True)
class DayJob:
    """One planned job, with the sowing it is about and whether it is done.

    Attributes
    ----------
    key, date, task, place, minutes, slack_d, words
        As in the plan.
    sowing : str
        Name of the sowing; blank for a job of a whole place.
    planned : Sowing or None
        The sowing as planned; None for a job of a whole place.
    orders : tuple of str
        Names of the orders it is for.
    card : str
        services.cards.Card as JSON; blank if it has none or it was not asked for.
    done_entry : str
        Id of the entry that ticked it off; blank if none did.
    done_date, done_at, done_person
        Day, instant and person of that entry.
    sown_date, counted_date, ended_date : date or None
        What the journal says of the sowing, whether or not a job was ticked off for it.
    """

    key: str
    date: dt.date
    task: str
    sowing: str
    place: str
    minutes: float
    slack_d: int
    words: str
    planned: Sowing | None = None
    orders: tuple[str, ...] = ()
    card: str = ""
    done_entry: str = ""
    done_date: dt.date | None = None
    done_at: dt.datetime | None = None
    done_person: str = ""
    sown_date: dt.date | None = None
    counted_date: dt.date | None = None
    ended_date: dt.date | None = None


@dataclass(frozen=True, slots=True)
class PlannedHandOver:
    """Plants of one sowing that the plan hands over for one order on one day."""

    order: str
    customer: str
    date: dt.date
    sowing: str
    plants: int


@dataclass(frozen=True, slots=True)
class TrayStands:
    """One tray of a sowing, with its last count."""

    sowing: str
    number: int
    container: str
    n_cells: int
    place: str
    gone_date: dt.date | None
    gone_how: str
    counted_date: dt.date | None
    counted_by: str
    count_entry: str
    n_right: int | None
    n_seen: int | None
    cells: str


@dataclass(frozen=True, slots=True)
class SowingStands:
    """What can be counted: a sowing that stands in the house, with how far its count has come."""

    sowing: str
    crop: str
    variety: str
    place: str
    sown_date: dt.date | None
    n_trays: int
    n_trays_counted: int
    first_tray: int
    counted_date: dt.date | None


@dataclass(frozen=True, slots=True)
class TickedOff:
    """What ticked off a job, or one order's part of it."""

    key: str
    entry: str
    date: dt.date
    at: dt.datetime | None
    person: str


class TodayPage(Protocol):
    """What the pages of a day's work and of counting read."""

    def jobs(self, plan_id: int, day: dt.date) -> list[DayJob]:
        """Return the jobs of a day with their cards."""

    def next_day(self, plan_id: int, after: dt.date) -> dt.date | None:
        """Return the next day with a job of a plan, watering and changes of lot left out."""

    def late(self, plan_id: int, first: dt.date, before: dt.date, limit: int) -> list[DayJob]:
        """Return jobs of earlier days that nothing says are done, the oldest first.

        Watering and changes of lot are left out: what was not done is not made up for.
        """

    def hand_overs(self, plan_id: int, names: Collection[str]) -> list[PlannedHandOver]:
        """Return what is handed over for these orders, in file order."""

    def ticked(self, sowings: Collection[str]) -> dict[str, TickedOff]:
        """Return everything that ticked off jobs of these sowings, by key."""

    def trays(self, sowing: str) -> Sequence[TrayStands]:
        """Return the trays of a sowing without their maps, by number, those that are gone too."""

    def tray(self, sowing: str, number: int) -> TrayStands | None:
        """Return one tray with its map."""

    def counts_of_day(self, sowing: str, day: dt.date, number: int | None = None) -> list[Kept]:
        """Return the counts of a sowing on a day, in the order of arrival, struck ones too.

        With a number, only those that count this one tray by itself.
        """

    def open_count(self, plan_id: int, sowing: str, day: dt.date) -> DayJob | None:
        """Return the count of a sowing that is planned up to a day and not ticked off."""

    def counts_due(self, plan_id: int, day: dt.date) -> list[str]:
        """Return the sowings whose count is planned up to a day and that nobody counted since."""

    def planned(self, plan_id: int, sowing: str) -> Sowing | None:
        """Return a sowing as planned."""

    def standing(self, limit: int) -> list[SowingStands]:
        """Return what stands in the house, by place, the longest sown first."""
