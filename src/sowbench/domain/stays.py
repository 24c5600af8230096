"""Where the trays of a sowing really stood, day by day, by its journal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.life import sowing_life
from sowbench.domain.life_records import TrayLife
from sowbench.domain.records import Standing

# Kinds that make, move or end trays; all others leave them where they are.
_MOVING: Final = frozenset(
    {
        EntryKind.SOWN,
        EntryKind.PULLED,
        EntryKind.MOVED,
        EntryKind.SPACED,
        EntryKind.POTTED_ON,
        EntryKind.BOUGHT_IN,
        EntryKind.LOST,
        EntryKind.DUMPED,
        EntryKind.DELIVERED,
    }
)


@dataclass(frozen=True, slots=True)
class TrayStay:
    """One tray in one place on [from_date, to_date).

    Attributes
    ----------
    number : int
        Number of the tray within its sowing.
    container : str
        What it is.
    n_cells : int
        Cells filled.
    place : str
        Where it stood.
    from_date, to_date : date
        First day, and the day on which it was no longer there.
    spaced : bool
        Whether its plants stood wider than the tray holds them.
    """

    number: int
    container: str
    n_cells: int
    place: str
    from_date: date
    to_date: date
    spaced: bool = False

    @property
    def days(self) -> int:
        """Nights that it stood there."""
        return (self.to_date - self.from_date).days


def tray_stays(
    sowing: str, entries: Sequence[Entry], standing: Standing | None, until: date
) -> tuple[TrayStay, ...]:
    """Follow each tray of a sowing from place to place.

    Parameters
    ----------
    sowing : str
        Name of the sowing.
    entries : sequence of Entry
        Its entries that stand, in the order of arrival.
    standing : Standing or None
        How it stood when the book was begun.
    until : date
        Up to when a tray is followed that is still there.

    Returns
    -------
    stays : tuple of TrayStay
        Of every tray, each stretch of at least a day in one place; a day counts for the place in
        which the tray stood in the evening. Stretches of a tray do not overlap.
    """
    moving = sorted(
        (each for each in entries if each.kind in _MOVING), key=lambda each: each.day_date
    )
    days = sorted({each.day_date for each in moving})
    if standing is not None and (not days or standing.sown_date < days[0]):
        days.insert(0, standing.sown_date)
    open_stays: dict[int, TrayStay] = {}
    found: list[TrayStay] = []
    spaced: set[int] = set()
    for day in days:
        life = sowing_life(sowing, [each for each in moving if each.day_date <= day], standing)
        there = {each.number: each for each in life.trays if each.gone_date is None}
        spaced |= _spaced_on(day, moving, there)
        gone = set(open_stays) - set(there)
        found += [replace(open_stays.pop(number), to_date=day) for number in gone]
        for number, tray in there.items():
            now = TrayStay(
                number, tray.container, tray.n_cells, tray.place, day, day, number in spaced
            )
            before = open_stays.get(number)
            if before is None:
                open_stays[number] = replace(now, from_date=min(tray.from_date, day))
            elif _differs(before, now):
                found.append(replace(before, to_date=day))
                open_stays[number] = now
    found += [replace(each, to_date=max(until, each.from_date)) for each in open_stays.values()]
    kept = [each for each in found if each.days > 0]
    return tuple(sorted(kept, key=lambda each: (each.number, each.from_date)))


def _spaced_on(day: date, moving: Sequence[Entry], there: dict[int, TrayLife]) -> set[int]:
    """Return the trays that were set wider on a day."""
    numbers: set[int] = set()
    for each in moving:
        if each.kind is EntryKind.SPACED and each.day_date == day:
            numbers |= set(each.trays) & set(there) if each.trays else set(there)
    return numbers


def _differs(before: TrayStay, now: TrayStay) -> bool:
    """Tell whether a tray stands otherwise than before."""
    return (before.place, before.container, before.n_cells, before.spaced) != (
        now.place,
        now.container,
        now.n_cells,
        now.spaced,
    )
