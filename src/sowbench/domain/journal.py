"""What has happened: entries of the journal, and the state that a new plan needs of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from enum import StrEnum


class EntryKind(StrEnum):
    """Kinds of entry, in the order of a sowing's life; a correction strikes or replaces another."""

    SOWN = "sown"
    PULLED = "pulled from chamber"
    MOVED = "moved"
    COUNTED = "counted"
    THINNED = "thinned"
    GAPPED_UP = "gapped up"
    POTTED_ON = "potted on"
    SPACED = "spaced"
    GRAFTED = "grafted"
    FED = "fed"
    WATERED = "watered"
    READ = "read"
    LOST = "lost"
    GRADED = "graded"
    DUMPED = "dumped"
    SCOUTED = "scouted"
    TREATED = "treated"
    BOUGHT_IN = "bought in"
    DELIVERED = "delivered"
    RETURNED = "returned"
    WASHED = "washed"
    NOTED = "noted"
    CORRECTED = "corrected"


PLAN_KINDS = (
    EntryKind.SOWN,
    EntryKind.MOVED,
    EntryKind.COUNTED,
    EntryKind.LOST,
    EntryKind.DUMPED,
    EntryKind.DELIVERED,
)
"""Kinds of entry that change what a new plan starts from."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the journal; it is never changed, only corrected by a later one.

    Attributes
    ----------
    id : str
        Made by whoever writes it, so that an entry that arrives twice counts once.
    day_date : date
        Day in the house on which it happened.
    kind : EntryKind
        What happened.
    sowing : str
        Sowing it is about; blank for trays that come back, washing and notes on the house.
    n : int or None
        Cells (sown, counted, thinned, lost, potted on, graded as fit), trays (returned, washed),
        or plants (delivered, bought in).
    order, place, crop, variety, lot, container, n_containers, note
        As the kind needs them; `place` is where it is now.
    at : datetime or None
        Instant at which it happened (UTC); None where only the day is known.
    person : str
        Who wrote it.
    trays : tuple of int
        Numbers of the sowing's trays it is about; none is the whole sowing.
    n_of : int or None
        Cells looked at, where not every cell was (counted, graded).
    cells : str
        Map of one counted tray, a character a cell, row by row: see `CELL_MARKS`.
    reason : str
        Why (lost, dumped, corrected).
    values : mapping of str to float or str
        Readings, by name with unit: ``ec_ms_cm``, ``ph``, ``temp_mix_c``, ``ready_to_enter_at``.
    job : str
        Key of the planned job that it ticks off; blank if none.
    corrects : str
        Id of the entry that it replaces, or strikes if its kind is corrected.
    """

    id: str
    day_date: date
    kind: EntryKind
    sowing: str
    n: int | None = None
    order: str = ""
    place: str = ""
    crop: str = ""
    variety: str = ""
    lot: str = ""
    container: str = ""
    n_containers: int | None = None
    note: str = ""
    at: datetime | None = None
    person: str = ""
    trays: tuple[int, ...] = ()
    n_of: int | None = None
    cells: str = ""
    reason: str = ""
    values: Mapping[str, float | str] = field(default_factory=dict)
    job: str = ""
    corrects: str = ""


CELL_MARKS = {".": "not looked at", "0": "empty", "-": "too few", "1": "right", "+": "too many"}
"""Marks of a cell in the map of a counted tray."""


@dataclass(frozen=True, slots=True)
class SowingState:
    """Where a sowing stands after its entries.

    ``n_cells`` are the cells sown, ``n_lost`` those lost or dumped since, ``n_lost_since_count``
    those lost after the last count; ``n_delivered`` the plants handed over, by order. A value that
    no entry gives is None or blank.
    """

    sowing: str
    sown_date: date | None = None
    n_cells: int | None = None
    crop: str = ""
    variety: str = ""
    lot: str = ""
    container: str = ""
    n_containers: int | None = None
    place: str = ""
    counted_date: date | None = None
    n_counted: int | None = None
    n_lost: int = 0
    n_lost_since_count: int = 0
    n_delivered: dict[str, int] = field(default_factory=dict)
    ended: bool = False


def sowing_states(entries: Iterable[Entry]) -> dict[str, SowingState]:
    """Follow the entries of a journal to the state of each sowing.

    Parameters
    ----------
    entries : iterable of Entry
        Entries that stand, in any order; of one day, in the order of the journal. Kinds that a
        plan does not need are passed over.

    Returns
    -------
    states : dict of str to SowingState
        State by sowing, in the order in which they first appear.
    """
    states: dict[str, SowingState] = {}
    for entry in sorted(entries, key=lambda each: each.day_date):
        if entry.kind not in PLAN_KINDS:
            continue
        state = states.get(entry.sowing, SowingState(entry.sowing))
        states[entry.sowing] = _after(state, entry)
    return states


def standing_entries(entries: Iterable[Entry]) -> list[Entry]:
    """Leave out the entries that a correction strikes or replaces, and the bare corrections.

    Parameters
    ----------
    entries : iterable of Entry
        Entries in the order in which they arrived; a correction may arrive before its target.

    Returns
    -------
    entries : list of Entry
        Those that stand, in the same order.
    """
    every = list(entries)
    struck = {each.corrects for each in every if each.corrects}
    return [
        each for each in every if each.id not in struck and each.kind is not EntryKind.CORRECTED
    ]


def _after(state: SowingState, entry: Entry) -> SowingState:
    """Return the state after one more entry."""
    n = entry.n or 0
    if entry.kind is EntryKind.SOWN:
        return replace(
            state,
            sown_date=entry.day_date,
            n_cells=entry.n,
            crop=entry.crop,
            variety=entry.variety,
            lot=entry.lot,
            container=entry.container,
            n_containers=entry.n_containers,
            place=entry.place,
        )
    if entry.kind is EntryKind.MOVED:
        return replace(state, place=entry.place)
    if entry.kind is EntryKind.COUNTED:
        return replace(state, counted_date=entry.day_date, n_counted=entry.n, n_lost_since_count=0)
    if entry.kind is EntryKind.DELIVERED:
        given = {**state.n_delivered, entry.order: state.n_delivered.get(entry.order, 0) + n}
        return replace(state, n_delivered=given)
    all_gone = entry.kind is EntryKind.DUMPED and entry.n is None
    return replace(
        state,
        n_lost=state.n_lost + n,
        n_lost_since_count=state.n_lost_since_count + n,
        ended=state.ended or all_gone,
    )
