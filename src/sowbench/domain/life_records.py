"""Records of what follows from the journal: the life of a sowing, its trays, jobs ticked off."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True, slots=True)
class TrayLife:
    """One tray of a sowing, from the day it was filled to the day it was gone.

    The count is the last one that named this tray; of a count that named several it has its share
    by cells. A count of the whole sowing leaves it blank.
    """

    number: int
    container: str
    n_cells: int
    place: str
    from_date: date
    gone_date: date | None = None
    gone_how: str = ""
    counted_date: date | None = None
    counted_by: str = ""
    count_entry: str = ""
    n_right: int | None = None
    n_seen: int | None = None
    cells: str = ""


@dataclass(frozen=True, slots=True)
class HandedOver:
    """Plants handed over for an order."""

    entry: str
    sowing: str
    order: str
    date: date
    plants: int


@dataclass(frozen=True, slots=True)
class Ticked:
    """A planned job that was ticked off, by the first entry that did so."""

    key: str
    entry: str
    date: date
    at: datetime | None
    person: str
    sowing: str


@dataclass(frozen=True, slots=True)
class SowingLife:
    """Where a sowing stands after its entries; a value that no entry gives is None or blank.

    Attributes
    ----------
    n_lost : int
        Cells lost or dumped; a tray dumped whole counts with the cells that were left in it.
    n_right, n_seen : int or None
        Cells with what is wanted, of those last looked at, in the trays that were still there
        when one was last counted or went.
    place : str
        Place of most of its trays; of the last entry that names one where no tray is known.
    """

    sowing: str
    crop: str = ""
    variety: str = ""
    lot: str = ""
    sown_date: date | None = None
    n_cells: int | None = None
    n_seeds: int | None = None
    n_lost: int = 0
    n_delivered: int = 0
    counted_date: date | None = None
    n_right: int | None = None
    n_seen: int | None = None
    place: str = ""
    ended_date: date | None = None
    last_entry_at: datetime | None = None
    n_entries: int = 0
    trays: tuple[TrayLife, ...] = ()
    handed_over: tuple[HandedOver, ...] = ()
