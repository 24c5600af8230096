"""From a sowing's journal to looks at its trays: who saw how many right cells of how many, when."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from operator import attrgetter
from typing import Final, NamedTuple

from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.life import CELLS_PER_TRAY, sowing_life
from sowbench.domain.life_records import TrayLife
from sowbench.forecasting.records import OpenSowing

# A count without an hour is of noon, the hour of sowing (assumption).
_DAY_H: Final = 24.0

_day_of = attrgetter("day_date")


class Look(NamedTuple):
    """One look at one tray.

    Parameters
    ----------
    hour_h : float
        Hours since sowing.
    n_right, n_seen : int
        Cells with what is wanted, of those looked at.
    n_lost_before : int
        Cells of the tray lost before.
    """

    hour_h: float
    n_right: int
    n_seen: int
    n_lost_before: int


class TrayEvidence(NamedTuple):
    """What is known of one tray.

    Parameters
    ----------
    number, n_cells : int
        Its number and the cells filled.
    stands : bool
        Whether it is still there.
    looks : tuple of Look
        By hour, one a day.
    n_lost : int
        Cells lost so far.
    n_added : int
        Cells gapped up after its last look.
    chosen : bool
        Whether its cells were filled with plants, not sown.
    n_fit : int or None
        Cells graded as fit.
    """

    number: int
    n_cells: int
    stands: bool = True
    looks: tuple[Look, ...] = ()
    n_lost: int = 0
    n_added: int = 0
    chosen: bool = False
    n_fit: int | None = None


@dataclass(frozen=True, slots=True)
class SowingEvidence:
    """What a journal tells of a sowing.

    Attributes
    ----------
    trays : tuple of TrayEvidence
        Trays sown or filled; those that are gone still tell of the lot.
    n_taken : int
        Plants handed over without their trays.
    n_counts : int
        Counts used.
    """

    trays: tuple[TrayEvidence, ...]
    n_taken: int
    n_counts: int


@dataclass(slots=True)
class _Count:
    """A count before it is shared among its trays."""

    day: date
    seq: int
    n_right: int
    n_seen: int | None
    trays: list[int]


@dataclass(slots=True)
class _Told:
    """What entries tell of trays, by number."""

    counts: list[_Count] = field(default_factory=list)
    lost: dict[int, list[tuple[date, int, int]]] = field(default_factory=lambda: defaultdict(list))
    added: dict[int, list[tuple[date, int, int]]] = field(default_factory=lambda: defaultdict(list))
    fit: dict[int, int] = field(default_factory=dict)
    n_taken: int = 0


def evidence_of(sowing: OpenSowing, entries: Iterable[Entry] | None = None) -> SowingEvidence:
    """Gather what a journal tells of a sowing's trays.

    Parameters
    ----------
    sowing : OpenSowing
        The sowing.
    entries : iterable of Entry or None, default None
        Its entries that stand, in the order of arrival; those of the sowing by default.

    Returns
    -------
    evidence : SowingEvidence
        Its trays with the looks at each.
    """
    chosen = tuple(sowing.entries if entries is None else entries)
    ordered = sorted(chosen, key=_day_of)
    if ordered and sowing.standing is None and _is_sown_and_counted(ordered):
        return _of_sown_and_counted(sowing, ordered)
    life = sowing_life(sowing.sowing, ordered, sowing.standing)
    sown = [each for each in ordered if each.kind is EntryKind.SOWN]
    if sown:  # what was told before it was sown again is of another start
        ordered = ordered[ordered.index(sown[-1]) :]
    trays = {each.number: each for each in life.trays if each.n_cells > 0}
    if sown:
        n_sown = sown[-1].n_containers or 0
    else:
        n_sown = sowing.standing.n_containers if sowing.standing is not None else len(trays)
    if not trays:
        n_cells = sowing.n_cells if life.n_cells is None else life.n_cells
        trays = _assumed_trays(sowing, n_cells, life.ended_date)
        n_sown = len(trays)
    told = _told(sowing, ordered, trays)
    return SowingEvidence(_with_looks(sowing, told, trays, n_sown), told.n_taken, len(told.counts))


def _is_sown_and_counted(ordered: Sequence[Entry]) -> bool:
    """Whether a journal says only that trays were sown, and then counted."""
    first = ordered[0]
    return (
        first.kind is EntryKind.SOWN
        and bool(first.n_containers)
        and bool(first.n)
        and all(each.kind is EntryKind.COUNTED for each in ordered[1:])
    )


def _of_sown_and_counted(sowing: OpenSowing, ordered: Sequence[Entry]) -> SowingEvidence:
    """Gather what such a journal tells: trays stand as they were sown."""
    first = ordered[0]
    per_tray = first.values.get(CELLS_PER_TRAY)
    cells = _cells_sown(first.n or 0, first.n_containers or 0, per_tray)
    counts = []
    for seq, entry in enumerate(ordered[1:], start=1):
        n_right, n_seen = _count_of(entry)
        named = list(cells)
        if entry.trays:
            named = sorted({each for each in entry.trays if each in cells})
        if named and n_right is not None:
            counts.append(_Count(entry.day_date, seq, n_right, n_seen, named))
    looks = _looks_of(sowing.sow_date, counts, cells, {})
    trays = tuple(
        TrayEvidence(number, n, looks=tuple(look for _, _, look in looks[number][::-1]))
        if number in looks
        else TrayEvidence(number, n)
        for number, n in cells.items()
    )
    return SowingEvidence(trays, 0, len(counts))


@lru_cache(maxsize=1024)
def _cells_sown(n_cells: int, n_trays: int, per_tray: float | str | None) -> dict[int, int]:
    """Return cells by number of the trays that a sowing makes; not to be changed."""
    values = {} if per_tray is None else {CELLS_PER_TRAY: per_tray}
    entry = Entry("", date.min, EntryKind.SOWN, "", n=n_cells, n_containers=n_trays, values=values)
    life = sowing_life("", [entry])
    return {each.number: each.n_cells for each in life.trays if each.n_cells > 0}


def _assumed_trays(sowing: OpenSowing, n_cells: int, ended: date | None) -> dict[int, TrayLife]:
    """Return trays for a sowing of which no entry tells any: all full but the last."""
    full = max(sowing.cells_per_tray, 1)
    n_trays = -(-n_cells // full)
    return {
        number: TrayLife(
            number, "", min(full, n_cells - (number - 1) * full), "", sowing.sow_date, ended
        )
        for number in range(1, n_trays + 1)
    }


def _told(sowing: OpenSowing, entries: Sequence[Entry], trays: Mapping[int, TrayLife]) -> _Told:
    """Read counts, losses, gapping up, grading and handing over."""
    told = _Told()
    start = sowing.standing
    if start is not None and start.counted_date is not None:
        n_right = start.n_counted if start.n_usable is None else start.n_usable
        if n_right is not None:
            every = _named((), start.counted_date, trays)
            told.counts.append(_Count(start.counted_date, -1, n_right, None, every))
    for seq, entry in enumerate(entries):
        named = _named(entry.trays, entry.day_date, trays)
        cells = [trays[each].n_cells for each in named]
        when = (entry.day_date, seq)
        if entry.kind is EntryKind.COUNTED:
            n_right, n_seen = _count_of(entry)
            if named and n_right is not None:
                told.counts.append(_Count(*when, n_right, n_seen, named))
        elif entry.kind in {EntryKind.LOST, EntryKind.DUMPED} and entry.n is not None:
            for each, n in zip(named, shared(entry.n, cells), strict=True):
                told.lost[each].append((*when, n))
        elif entry.kind is EntryKind.GAPPED_UP and entry.n is not None:
            for each, n in zip(named, shared(entry.n, cells), strict=True):
                told.added[each].append((*when, n))
        elif entry.kind is EntryKind.GRADED and entry.n is not None:
            fit = entry.n
            if entry.n_of:  # those not looked at are like those that were
                fit = max(round(entry.n * max(sum(cells), entry.n_of) / entry.n_of), entry.n)
            for each, n in zip(named, shared(fit, cells), strict=True):
                told.fit[each] = min(n, trays[each].n_cells)
        elif entry.kind is EntryKind.DELIVERED and not entry.trays:
            told.n_taken += entry.n or 0
    return told


def _named(numbers: Sequence[int], day: date, trays: Mapping[int, TrayLife]) -> list[int]:
    """Return the trays that an entry is about, of those that were there on its day."""
    wanted = sorted(set(numbers)) if numbers else sorted(trays)
    return [
        each
        for each in wanted
        if each in trays and trays[each].from_date <= day <= (trays[each].gone_date or day)
    ]


def _count_of(entry: Entry) -> tuple[int | None, int | None]:
    """Return the cells right and looked at; too many in a cell is right too."""
    if not entry.cells:
        return entry.n, entry.n_of
    right = entry.cells.count("1") + entry.cells.count("+") if entry.n is None else entry.n
    seen = len(entry.cells) - entry.cells.count(".") if entry.n_of is None else entry.n_of
    return right, seen


def shared(n: int, weights: Sequence[float]) -> list[int]:
    """Share a whole number by weights, so that the shares add up to it.

    Parameters
    ----------
    n : int
        What to share.
    weights : sequence of float
        Weights, 0 or more; equal shares where all are 0.

    Returns
    -------
    shares : list of int
        In the order of the weights.

    Examples
    --------
    >>> shared(10, [72, 72, 24])
    [4, 4, 2]
    """
    total = float(sum(weights))
    if total <= 0.0:
        weights, total = [1.0] * len(weights), float(len(weights))
    shares, given, passed = [], 0, 0.0
    for weight in weights:
        passed += weight
        upto = int(n * passed / total + 1e-9)
        shares.append(upto - given)
        given = upto
    return shares


def _with_looks(
    sowing: OpenSowing, told: _Told, trays: Mapping[int, TrayLife], n_sown: int
) -> tuple[TrayEvidence, ...]:
    """Put together what is known of each tray."""
    cells = {number: each.n_cells for number, each in trays.items()}
    looks = _looks_of(sowing.sow_date, told.counts, cells, told.lost)
    found = []
    for number, tray in sorted(trays.items()):
        mine = looks.get(number, [])
        since = mine[0][:2] if mine else None
        n_added = sum(n for day, seq, n in told.added[number] if not since or (day, seq) > since)
        found.append(
            TrayEvidence(
                number,
                tray.n_cells,
                tray.gone_date is None,
                tuple(look for *_, look in mine[::-1]),
                sum(n for *_, n in told.lost[number]),
                n_added,
                number > n_sown,
                told.fit.get(number),
            )
        )
    return tuple(found)


def _looks_of(
    sow_date: date,
    counts: Sequence[_Count],
    cells_of: Mapping[int, int],
    lost_of: Mapping[int, Sequence[tuple[date, int, int]]],
) -> dict[int, list[tuple[date, int, Look]]]:
    """Share counts among their trays; the looks at each tray counted, latest first."""
    looks: dict[int, list[tuple[date, int, Look]]] = {}
    for count in sorted(counts, key=_when, reverse=True):
        lost = [_before(lost_of.get(each, ()), count.day, count.seq) for each in count.trays]
        cells = [max(cells_of[each] - n, 0) for each, n in zip(count.trays, lost, strict=True)]
        n_all = sum(cells)
        seen = cells
        if count.n_seen is not None and count.n_seen < n_all:
            seen = shared(count.n_seen, cells)
        rights = [min(count.n_right, seen[0])]
        if len(cells) > 1:
            later = [looks[each][-1][2] if looks.get(each) else None for each in count.trays]
            weights: list[float] = [float(each) for each in seen]
            if all(each is not None and each.n_seen for each in later):
                weights = [
                    n * (each.n_right + 0.5) / each.n_seen
                    for n, each in zip(seen, later, strict=True)
                    if each is not None
                ]
            rights = shared(min(count.n_right, sum(seen)), weights)
        hour = max((count.day - sow_date).days, 0) * _DAY_H
        for number, right, n, gone in zip(count.trays, rights, seen, lost, strict=True):
            mine = looks.setdefault(number, [])
            if n > 0 and not (mine and mine[-1][0] == count.day):
                mine.append((count.day, count.seq, Look(hour, min(right, n), n, gone)))
    return {number: mine for number, mine in looks.items() if mine}


def _when(count: _Count) -> tuple[date, int]:
    """Sort counts by day and then by arrival."""
    return count.day, count.seq


def _before(events: Sequence[tuple[date, int, int]], day: date, seq: int) -> int:
    """Add up what was before a count."""
    if not events:
        return 0
    return sum(n for when, at, n in events if (when, at) < (day, seq))
