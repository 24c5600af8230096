"""What has happened: entries of the journal that a new plan needs, and the state they lead to."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date
from enum import StrEnum


class EntryKind(StrEnum):
    """Kinds of entry that change what a new plan starts from."""

    SOWN = "sown"
    MOVED = "moved"
    COUNTED = "counted"
    LOST = "lost"
    DUMPED = "dumped"
    DELIVERED = "delivered"


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the journal; ``n`` counts cells, or plants where they are delivered."""

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
        Entries in any order; of one day, in the order of the journal.

    Returns
    -------
    states : dict of str to SowingState
        State by sowing, in the order in which they first appear.
    """
    states: dict[str, SowingState] = {}
    for entry in sorted(entries, key=lambda each: each.day_date):
        state = states.get(entry.sowing, SowingState(entry.sowing))
        states[entry.sowing] = _after(state, entry)
    return states


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
