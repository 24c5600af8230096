"""What the pages of the sowings read; a fixed number of queries a page."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Protocol

from sowbench.domain.book import Kept
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.plan import OrderPlan, Sowing


class Shown(StrEnum):
    """Which sowings a list shows."""

    STANDING = "standing"
    COMING = "coming"
    FINISHED = "finished"


class ListedBy(StrEnum):
    """In which order a list of sowings goes."""

    PLACE = "place"
    DAY = "day"


@dataclass(frozen=True, slots=True)
class Cursor:
    """Where a window of a list begins: after this place, day and name."""

    place: str
    day: date
    sowing: str


@dataclass(frozen=True, slots=True)
class Search:
    """What a search asks for: words in a sowing's own fields, or one of some names."""

    words: str = ""
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Life:
    """What the journal says of a sowing; a number that nothing gives is None."""

    sowing: str
    crop: str
    variety: str
    lot: str
    sown_date: date | None
    n_cells: int | None
    n_lost: int
    n_delivered: int
    counted_date: date | None
    n_right: int | None
    n_seen: int | None
    place: str
    ended_date: date | None
    last_entry_at: datetime | None
    n_entries: int


@dataclass(frozen=True, slots=True)
class ListedSowing:
    """A line of the list: what is planned and what the journal says; one of both may be missing."""

    name: str
    place: str
    day: date
    life: Life | None
    planned: Sowing | None


@dataclass(frozen=True, slots=True)
class TrayGroup:
    """Trays of a sowing that stand in one place in one kind of container."""

    sowing: str
    place: str
    container: str
    n_trays: int
    n_counted: int


@dataclass(frozen=True, slots=True)
class TrayState:
    """One tray, numbered within its sowing; `cells` maps it where it was counted cell by cell."""

    number: int
    container: str
    n_cells: int
    place: str
    from_date: date
    gone_date: date | None = None
    gone_how: str = ""
    counted_date: date | None = None
    counted_by: str = ""
    n_right: int | None = None
    n_seen: int | None = None
    cells: str = ""


@dataclass(frozen=True, slots=True)
class Given:
    """Plants handed over."""

    entry: str
    sowing: str
    order: str
    day: date
    plants: int


@dataclass(frozen=True, slots=True)
class PlannedJob:
    """A planned job around a sowing, with what ticked it off."""

    key: str
    day: date
    task: str
    sowing: str
    place: str
    minutes: float
    slack_d: int
    done_date: date | None = None
    person: str = ""


@dataclass(frozen=True, slots=True)
class PlannedUseDay:
    """Use of a place, or of the hands, on one day; capacity None is no limit."""

    name: str
    unit: str
    use: float
    capacity: float | None


class SowingsPage(Protocol):
    """What the pages of the sowings read."""

    def window(
        self,
        plan: int | None,
        shown: Shown,
        by: ListedBy,
        search: Search,
        after: Cursor | None,
        limit: int,
    ) -> list[ListedSowing]:
        """Return a window of a list of sowings."""

    def counts(self, plan: int | None) -> dict[Shown, int]:
        """Return how many sowings stand and how many are planned but not sown."""

    def tray_groups(self, sowings: Collection[str]) -> list[TrayGroup]:
        """Return the trays that still stand, by sowing, place and container."""

    def life(self, sowing: str) -> Life | None:
        """Return what the journal says of a sowing."""

    def planned(self, plan: int, sowings: Collection[str]) -> dict[str, Sowing]:
        """Return planned sowings by name."""

    def planned_of_lot(self, plan: int, lot: str) -> list[Sowing]:
        """Return the planned sowings of a lot."""

    def standing_in(self, plan: int, place: str, day: date) -> list[Sowing]:
        """Return the planned sowings that stand in a place on a day."""

    def card(self, plan: int, sowing: str) -> str:
        """Return the how-to-sow card of a planned sowing as JSON; blank without one."""

    def order_plans(self, plan: int, orders: Collection[str]) -> dict[str, OrderPlan]:
        """Return what orders get by a plan."""

    def trays(self, sowing: str) -> list[TrayState]:
        """Return all trays of a sowing by number, without the maps of their cells."""

    def tray_maps(self, sowing: str, numbers: Collection[int]) -> dict[int, str]:
        """Return the maps of some trays by number."""

    def entries(self, sowing: str, before_seq: int | None, limit: int) -> list[Kept]:
        """Return entries about a sowing, the newest first, struck ones too."""

    def told_by(self, sowing: str, kinds: Sequence[EntryKind], limit: int) -> list[Entry]:
        """Return the entries of some kinds about a sowing that stand, in the order of days."""

    def given(self, sowing: str) -> list[Given]:
        """Return what was handed over of a sowing."""

    def jobs(self, plan: int, sowing: str) -> list[PlannedJob]:
        """Return the planned jobs around a sowing."""

    def job(self, plan: int, key: str) -> PlannedJob | None:
        """Return one planned job."""

    def jobs_on(self, plan: int, day: date) -> list[PlannedJob]:
        """Return all planned jobs of a day."""

    def use(self, plan: int, name: str, day: date) -> PlannedUseDay | None:
        """Return how full a place is planned to be on a day."""
