"""What has happened: entries of the journal, and the state that a new plan needs of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
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
    for entry in whole_entries(entries):
        if entry.kind not in PLAN_KINDS:
            continue
        state = states.get(entry.sowing, SowingState(entry.sowing))
        states[entry.sowing] = _after(state, entry)
    return states


def whole_entries(
    entries: Iterable[Entry], sizes: Mapping[str, tuple[int, int, int | None]] | None = None
) -> list[Entry]:
    """Say of whole sowings what entries say of some of their trays.

    A count of some trays becomes one of the sowing: the other trays keep their last count, or are
    taken to be like those counted. Trays that are dumped or lost become cells that are; with the
    last of them the sowing ends. A sowing stands where most of its trays do.

    Parameters
    ----------
    entries : iterable of Entry
        Entries that stand, in any order; of one day, in the order of the journal.
    sizes : mapping of str to (int, int, int or None) or None, default None
        Cells, trays and cells last counted of sowings, for those that no entry `sown` tells of.

    Returns
    -------
    entries : list of Entry
        By day, none of a kind that a plan needs with trays. What is said of trays of a sowing whose
        trays are not known is left out, but for its numbers of cells lost and plants handed over.
    """
    trays: dict[str, _Trays] = {}
    for name, (n_cells, n_trays, n_counted) in (sizes or {}).items():
        trays[name] = _Trays(n_cells, n_trays)
        if n_counted is not None:
            trays[name].count_all(n_counted)
    whole: list[Entry] = []
    for entry in sorted(entries, key=lambda each: each.day_date):
        if entry.kind not in PLAN_KINDS:
            whole.append(entry)
            continue
        if entry.kind is EntryKind.SOWN and entry.n:
            before = trays.get(entry.sowing)
            n_trays = entry.n_containers or (before.n_trays if before is not None else 0)
            if n_trays:
                trays[entry.sowing] = _Trays(entry.n, n_trays, entry.place, entry.values)
        of = trays.get(entry.sowing) or _Trays(0, 0)
        whole += of.take(entry)
    return whole


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


class _Trays:
    """Trays of one sowing that are not gone, while its entries are followed."""

    def __init__(
        self,
        n_cells: int,
        n_trays: int,
        place: str = "",
        values: Mapping[str, float | str] | None = None,
    ) -> None:
        told = (values or {}).get("n_cells_per_tray")
        full = int(told) if isinstance(told, int | float) else 0
        if not (n_trays - 1) * full < n_cells <= n_trays * full:
            full = -(-n_cells // max(n_trays, 1))
        self.n_trays = n_trays
        self.cells = {
            each: max(min(full, n_cells - (each - 1) * full), 0) for each in range(1, n_trays + 1)
        }
        self.places = dict.fromkeys(self.cells, place)
        self.right: dict[int, int] = {}

    def take(self, entry: Entry) -> Iterator[Entry]:
        """Yield what an entry says of the whole sowing."""
        named = [each for each in entry.trays or self.cells if each in self.cells]
        bare = replace(entry, trays=())
        if entry.kind is EntryKind.COUNTED:
            yield from self._counted(bare, named, some=bool(entry.trays))
        elif entry.kind is EntryKind.MOVED:
            self.places.update(dict.fromkeys(named, entry.place))
            most = Counter(each for each in self.places.values() if each).most_common(1)
            if not entry.trays or (named and most):
                yield bare if not entry.trays else replace(bare, place=most[0][0])
        elif entry.kind not in {EntryKind.LOST, EntryKind.DUMPED}:
            yield bare
        elif entry.n is not None:
            self._lose(named, entry.n)
            yield bare
        elif not entry.trays:
            yield bare
        elif named:
            yield from self._gone(bare, named)

    def count_all(self, n_right: int) -> None:
        """Take a count of all trays."""
        self.right = self._shares(list(self.cells), n_right)

    def _counted(self, entry: Entry, named: Sequence[int], *, some: bool) -> Iterator[Entry]:
        """Take a count of some trays, or of all."""
        n_cells = sum(self.cells[each] for each in named)
        right = entry.n or 0
        if some and entry.n_of:
            right = round(right * n_cells / entry.n_of)
        self.right.update(self._shares(named, right))
        if not some:
            yield entry
        elif named:
            yield replace(entry, n=self._all_right(), n_of=None, cells="")

    def _all_right(self) -> int:
        """Add up the last counts; trays without one are like the others."""
        n_right, counted = sum(self.right.values()), sum(self.cells[each] for each in self.right)
        others = sum(self.cells.values()) - counted
        return n_right + (round(others * n_right / counted) if counted else 0)

    def _lose(self, named: Sequence[int], n: int) -> None:
        """Take cells off the trays named, and off what was counted in them."""
        for each, lost in self._shares(named, n).items():
            self.cells[each] = max(self.cells[each] - lost, 0)
            if each in self.right:
                self.right[each] = max(self.right[each] - lost, 0)

    def _gone(self, entry: Entry, named: Sequence[int]) -> Iterator[Entry]:
        """Take trays away; what is left of a count is told anew."""
        n_cells = sum(self.cells.pop(each) for each in named)
        n_counted = len(self.right)
        for each in named:
            self.right.pop(each, None)
            self.places.pop(each, None)
        if not self.cells:
            yield replace(entry, kind=EntryKind.DUMPED)
            return
        yield replace(entry, n=n_cells)
        if n_counted and self.right:
            yield replace(entry, kind=EntryKind.COUNTED, n=self._all_right())

    def _shares(self, named: Sequence[int], n: int) -> dict[int, int]:
        """Share a number among trays by their cells, so that the shares add up to it."""
        total = sum(self.cells[each] for each in named)
        shares, given, passed = {}, 0, 0
        for each in named:
            passed += self.cells[each]
            upto = n * passed // total if total else 0
            shares[each] = upto - given
            given = upto
        return shares
