"""The life of a sowing: what its entries make of it, its trays and what was handed over of it.

A pure function of the entries that stand, sorted by day and then by arrival, and of what stood in
the house before the book; docs/book.md section 2 says what each kind of entry does.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime
from typing import Final

from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.life_records import HandedOver, SowingLife, Ticked, TrayLife
from sowbench.domain.records import Standing

__all__ = [
    "CELLS_PER_TRAY",
    "LAST",
    "N_SEEDS",
    "N_TRAYS_MAX",
    "HandedOver",
    "SowingLife",
    "Struck",
    "Ticked",
    "TrayLife",
    "handed_over",
    "in_order",
    "sowing_life",
    "ticked_jobs",
]

Struck = Mapping[tuple[str, str], tuple[int, str]]

N_TRAYS_MAX: Final = 10_000
"""Trays that one entry can make (our limit, against a slip of the finger)."""

CELLS_PER_TRAY: Final = "n_cells_per_tray"
"""Value of a sown, bought in or potted on entry: cells of a full tray. Without it, equal shares."""

N_SEEDS: Final = "n_seeds"
"""Value of a sown entry: seeds sown."""

LAST: Final = "last"
"""Value of a delivered entry that ends the sowing where it is 1."""

_MOVES: Final = {EntryKind.PULLED, EntryKind.MOVED, EntryKind.SPACED}


def sowing_life(
    sowing: str, entries: Iterable[Entry], standing: Standing | None = None
) -> SowingLife:
    """Follow the entries of one sowing.

    Parameters
    ----------
    sowing : str
        Name of the sowing.
    entries : iterable of Entry
        Its entries that stand, in the order of arrival.
    standing : Standing or None, default None
        How it stood in the house when the book was begun; it comes before every entry.

    Returns
    -------
    life : SowingLife
        Where it stands.
    """
    follower = _Follower(sowing)
    if standing is not None:
        follower.begin(standing)
    for entry in sorted(entries, key=lambda each: each.day_date):
        follower.take(entry)
    return follower.life()


def in_order(arrived: Iterable[tuple[int, Entry]], struck: Struck) -> list[Entry]:
    """Sort entries that stand by arrival; one that replaces another stands in its place.

    Parameters
    ----------
    arrived : iterable of tuple
        Number of arrival and entry, of those that stand.
    struck : mapping of tuple to tuple
        Of entries that were struck, by sowing and id: number of arrival, and the id that the entry
        itself corrects.

    Returns
    -------
    entries : list of Entry
        In the order in which a life takes them within a day.
    """

    def place(seq: int, entry: Entry) -> int:
        corrects, passed = entry.corrects, set()
        while corrects and corrects not in passed:
            passed.add(corrects)
            before, corrects = struck.get((entry.sowing, corrects), (seq, ""))
            seq = min(seq, before)
        return seq

    placed = [(place(seq, entry), seq, entry) for seq, entry in arrived]
    return [entry for _, _, entry in sorted(placed, key=lambda each: each[:2])]


def handed_over(entries: Iterable[Entry]) -> tuple[HandedOver, ...]:
    """Tell what was handed over.

    Parameters
    ----------
    entries : iterable of Entry
        Entries that stand.

    Returns
    -------
    handed : tuple of HandedOver
        One a delivered entry, in the same order.
    """
    return tuple(
        HandedOver(each.id, each.sowing, each.order, each.day_date, each.n or 0)
        for each in entries
        if each.kind is EntryKind.DELIVERED
    )


def ticked_jobs(entries: Iterable[Entry]) -> dict[str, Ticked]:
    """Tell which planned jobs were ticked off.

    Parameters
    ----------
    entries : iterable of Entry
        Entries that stand, in the order of arrival.

    Returns
    -------
    ticked : dict of str to Ticked
        By the job's key; of several entries, the first day's first.
    """
    ticked: dict[str, Ticked] = {}
    for each in sorted(entries, key=lambda entry: entry.day_date):
        if each.job and each.job not in ticked:
            ticked[each.job] = Ticked(
                each.job, each.id, each.day_date, each.at, each.person, each.sowing
            )
    return ticked


@dataclass(slots=True)
class _Whole:
    """A count of the whole sowing, and the cells it still speaks for by tray (0 is no tray)."""

    n_right: int
    n_seen: int
    n_cells: int
    left: dict[int, int]

    def share(self) -> tuple[int, int]:
        """Return the cells right and seen of the trays that were not counted since."""
        left = sum(self.left.values())
        if left == self.n_cells:
            return self.n_right, self.n_seen
        return self.n_right * left // self.n_cells, self.n_seen * left // self.n_cells


@dataclass(slots=True)
class _Running:
    """What a sowing's life is so far; the fields of `SowingLife` that entries change."""

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


@dataclass(slots=True)
class _Follower:
    """Takes one entry after the other."""

    sowing: str
    state: _Running = field(default_factory=_Running)
    last_entry_at: datetime | None = None
    n_entries: int = 0
    trays: dict[int, TrayLife] = field(default_factory=dict)
    lost: Counter[int] = field(default_factory=Counter)
    whole: _Whole | None = None
    handed: list[Entry] = field(default_factory=list)
    trays_made: bool = False

    def take(self, entry: Entry) -> None:
        """Go on to where the sowing stands after one more entry."""
        self.n_entries += 1
        if entry.at is not None and (self.last_entry_at is None or entry.at > self.last_entry_at):
            self.last_entry_at = entry.at
        step = _STEPS.get(entry.kind)
        if step is not None:
            step(self, entry)

    def life(self) -> SowingLife:
        """Return where it stands."""
        values = {each.name: getattr(self.state, each.name) for each in fields(_Running)}
        standing = Counter(each.place for each in self.standing() if each.place)
        if standing:
            values["place"] = standing.most_common(1)[0][0]
        return SowingLife(
            self.sowing,
            last_entry_at=self.last_entry_at,
            n_entries=self.n_entries,
            trays=tuple(self.trays[each] for each in sorted(self.trays)),
            handed_over=handed_over(self.handed),
            **values,
        )

    def standing(self) -> list[TrayLife]:
        """Return the trays that are not gone."""
        return [each for each in self.trays.values() if each.gone_date is None]

    def begin(self, start: Standing) -> None:
        """Begin with what stood in the house before the book."""
        self.state = _Running(
            crop=start.crop,
            variety=start.variety,
            lot=start.lot,
            sown_date=start.sown_date,
            n_cells=start.n_cells,
            place=start.place,
        )
        self.make_trays(
            start.container, start.n_containers, start.n_cells, start.place, start.sown_date
        )
        n_right = start.n_counted if start.n_usable is None else start.n_usable
        if start.counted_date is not None and n_right is not None:
            self.count_whole(start.counted_date, n_right, None)

    def sown(self, entry: Entry) -> None:
        """Begin; a second entry of this kind takes the place of the first."""
        before = self.state
        seeds = entry.values.get(N_SEEDS)
        self.trays.clear()
        self.lost.clear()
        self.whole, self.trays_made = None, False
        self.state = _Running(
            crop=entry.crop or before.crop,
            variety=entry.variety or before.variety,
            lot=entry.lot or before.lot,
            sown_date=entry.day_date,
            n_cells=entry.n,
            n_seeds=int(seeds) if isinstance(seeds, int | float) else None,
            n_delivered=before.n_delivered,
            place=entry.place or before.place,
        )
        self.make_trays_of(entry, self.state.place)

    def bought_in(self, entry: Entry) -> None:
        """Add what was bought in."""
        state = self.state
        state.crop = state.crop or entry.crop
        state.variety = state.variety or entry.variety
        state.place = entry.place or state.place
        state.ended_date = None
        if entry.n is not None:
            state.n_cells = (state.n_cells or 0) + entry.n
        self.make_trays_of(entry, state.place)

    def potted_on(self, entry: Entry) -> None:
        """End the trays named, and make new ones; where none are told of, the old ones stay."""
        if not entry.n_containers:
            self.moved(entry)
            return
        old = self.named(entry)
        self.make_trays_of(entry, entry.place or (old[0].place if old else self.state.place))
        self.end_trays(old, entry.day_date, "potted on")
        self.state.place = entry.place or self.state.place

    def moved(self, entry: Entry) -> None:
        """Bring the trays named to another place."""
        if not entry.place:
            return
        for each in self.named(entry):
            self.trays[each.number] = replace(each, place=entry.place)
        if not entry.trays or not self.trays:
            self.state.place = entry.place

    def counted(self, entry: Entry) -> None:
        """Take a count of the trays named, or of the whole sowing."""
        n_right, n_seen = _count_of(entry)
        if not entry.trays:
            self.count_whole(entry.day_date, n_right, n_seen)
            return
        trays = self.named(entry)
        if not trays:
            return
        if n_seen is None:
            n_seen = sum(each.n_cells for each in trays)
        self.count_trays(entry, trays, n_right, n_seen)
        self.state.counted_date = entry.day_date
        self.add_counts()

    def count_whole(self, day: date, n_right: int, n_seen: int | None) -> None:
        """Take a count that speaks for the whole sowing, in place of all before."""
        left = {each.number: each.n_cells for each in self.standing()}
        cells = sum(left.values()) or self.state.n_cells or 0
        self.whole = _Whole(n_right, cells if n_seen is None else n_seen, cells, left or {0: cells})
        for number, each in self.trays.items():
            self.trays[number] = _uncounted(each)
        self.state.counted_date = day
        self.add_counts()

    def count_trays(
        self, entry: Entry, trays: Sequence[TrayLife], n_right: int, n_seen: int
    ) -> None:
        """Give each of the trays its share of a count."""
        weights = [each.n_cells for each in trays]
        rights, seens = _shares(n_right, weights), _shares(n_seen, weights)
        for each, right, seen in zip(trays, rights, seens, strict=True):
            self.trays[each.number] = replace(
                each,
                counted_date=entry.day_date,
                counted_by=entry.person,
                count_entry=entry.id,
                n_right=right,
                n_seen=seen,
                cells=entry.cells if len(trays) == 1 else "",
            )
            if self.whole is not None:
                self.whole.left.pop(each.number, None)

    def lost_or_dumped(self, entry: Entry) -> None:
        """Take off what was lost, or end what was dumped."""
        dumped = entry.kind is EntryKind.DUMPED
        trays = self.named(entry)
        if entry.n is not None:
            if entry.trays and trays:
                shares = _shares(entry.n, [each.n_cells for each in trays])
                self.lost.update({each.number: n for each, n in zip(trays, shares, strict=True)})
            self.state.n_lost += entry.n
            return
        if not entry.trays and not dumped:
            return
        self.state.n_lost += sum(max(0, each.n_cells - self.lost[each.number]) for each in trays)
        self.end_trays(trays, entry.day_date, "dumped" if dumped else "lost")
        if not entry.trays:
            self.end(entry.day_date)

    def delivered(self, entry: Entry) -> None:
        """Hand over plants, with the trays named."""
        self.handed.append(entry)
        self.state.n_delivered += entry.n or 0
        last = entry.values.get(LAST) == 1
        if entry.trays and not last:
            self.end_trays(self.named(entry), entry.day_date, "delivered")
        if last:
            self.end_trays(self.standing(), entry.day_date, "delivered")
            self.end(entry.day_date)

    def end(self, day: date) -> None:
        """End the sowing, if it has not ended before."""
        if self.state.ended_date is None:
            self.state.ended_date = day

    def named(self, entry: Entry) -> list[TrayLife]:
        """Return the trays that an entry is about, less those that are gone.

        Trays of a sowing whose beginning no entry tells, as of one that stood in the house before
        the book, are there from when an entry first names them.
        """
        if not entry.trays:
            return self.standing()
        numbers = sorted({each for each in entry.trays if each > 0})[:N_TRAYS_MAX]
        if not self.trays_made:
            for number in numbers:
                if number not in self.trays:
                    cells = len(entry.cells) or (entry.n_of or 0) // len(numbers)
                    self.trays[number] = TrayLife(
                        number, entry.container, cells, entry.place, entry.day_date
                    )
        known = (self.trays.get(number) for number in numbers)
        return [each for each in known if each is not None and each.gone_date is None]

    def make_trays(
        self,
        container: str,
        n_trays: int | None,
        n_cells: int,
        place: str,
        day: date,
        n_cells_per_tray: object = None,
    ) -> None:
        """Make trays, numbered on: all are full but the last."""
        if not n_trays or n_trays < 0:
            return
        self.trays_made = True
        self.state.ended_date = None
        first = max(self.trays, default=0) + 1
        shares = _filled(n_cells, min(n_trays, N_TRAYS_MAX), n_cells_per_tray)
        for number, cells in enumerate(shares, start=first):
            self.trays[number] = TrayLife(number, container, cells, place, day)

    def make_trays_of(self, entry: Entry, place: str) -> None:
        """Make the trays that an entry fills."""
        self.make_trays(
            entry.container,
            entry.n_containers,
            entry.n or 0,
            place,
            entry.day_date,
            entry.values.get(CELLS_PER_TRAY),
        )

    def end_trays(self, trays: Iterable[TrayLife], day: date, how: str) -> None:
        """End trays; with its last tray a sowing has ended."""
        for each in trays:
            self.trays[each.number] = replace(self.trays[each.number], gone_date=day, gone_how=how)
            if self.whole is not None:
                self.whole.left.pop(each.number, None)
        if not self.trays_made or self.standing():
            self.add_counts()
        else:
            self.end(day)

    def add_counts(self) -> None:
        """Add up the last counts of what is still there; what was known stays where none is."""
        n_right = n_seen = 0
        for each in self.trays.values():
            if each.gone_date is None and each.n_right is not None:
                n_right += each.n_right
                n_seen += each.n_seen or 0
        if self.whole is not None and self.whole.left:
            right, seen = self.whole.share()
            n_right += right
            n_seen += seen
        if n_seen or n_right:
            self.state.n_right, self.state.n_seen = n_right, n_seen


_STEPS: Final[dict[EntryKind, Callable[[_Follower, Entry], None]]] = {
    EntryKind.SOWN: _Follower.sown,
    EntryKind.BOUGHT_IN: _Follower.bought_in,
    EntryKind.POTTED_ON: _Follower.potted_on,
    EntryKind.COUNTED: _Follower.counted,
    EntryKind.LOST: _Follower.lost_or_dumped,
    EntryKind.DUMPED: _Follower.lost_or_dumped,
    EntryKind.DELIVERED: _Follower.delivered,
    **dict.fromkeys(_MOVES, _Follower.moved),
}


def _count_of(entry: Entry) -> tuple[int, int | None]:
    """Return the cells right and looked at; of a map without numbers, what it shows."""
    if not entry.cells:
        return entry.n or 0, entry.n_of
    right = entry.cells.count("1") + entry.cells.count("+") if entry.n is None else entry.n
    seen = len(entry.cells) - entry.cells.count(".") if entry.n_of is None else entry.n_of
    return right, seen


def _uncounted(tray: TrayLife) -> TrayLife:
    """Return a tray without its count."""
    return replace(
        tray,
        counted_date=None,
        counted_by="",
        count_entry="",
        n_right=None,
        n_seen=None,
        cells="",
    )


def _shares(n: int, weights: Sequence[int]) -> list[int]:
    """Share a whole number by weights, so that the shares add up to it."""
    total = sum(weights)
    if total <= 0:
        weights, total = [1] * len(weights), len(weights)
    shares, given, passed = [], 0, 0
    for weight in weights:
        passed += weight
        upto = n * passed // total
        shares.append(upto - given)
        given = upto
    return shares


def _filled(n_cells: int, n_trays: int, n_cells_per_tray: object) -> list[int]:
    """Return the cells filled of each tray: full ones, and the rest in the last."""
    full = int(n_cells_per_tray) if isinstance(n_cells_per_tray, int | float) else 0
    if not (n_trays - 1) * full < n_cells <= n_trays * full:
        full = -(-n_cells // n_trays)
    return [max(0, min(full, n_cells - at * full)) for at in range(n_trays)]
