"""What the journal says of the house on a day that is over: each sowing followed up to then."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from sowbench.domain.life import sowing_life
from sowbench.domain.ports.season_page import TraysThere

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sowbench.domain.journal import Entry
    from sowbench.domain.life_records import SowingLife
    from sowbench.domain.ports import Unit
    from sowbench.domain.ports.season_page import Stay


def as_it_stood(
    unit: Unit, day: date, stays: Sequence[Stay]
) -> tuple[list[Stay], list[TraysThere]]:
    """Follow sowings up to a day, with what was entered of them whenever it arrived.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    day : date
        The day, itself included.
    stays : sequence of Stay
        What the plan has in the house on that day.

    Returns
    -------
    stays : list of Stay
        The same, with what the journal says as of that day.
    there : list of TraysThere
        Trays that stood in each place at its end.
    """
    names = {each.sowing for each in stays} | set(unit.orders_page.standing_sowings())
    names |= {each.entry.sowing for each in unit.journal.on_day(day) if each.entry.sowing}
    entries: dict[str, list[Entry]] = {}
    for entry in unit.journal.that_stand(names):
        if entry.day_date <= day:
            entries.setdefault(entry.sowing, []).append(entry)
    starts = {each.sowing: each for each in unit.standings.all() if each.sowing in names}
    lives = {
        name: sowing_life(name, entries.get(name, ()), starts.get(name))
        for name in sorted(names)
        if name in entries or name in starts
    }
    found = [_as_of(each, lives.get(each.sowing)) for each in stays]
    there = [row for life in lives.values() for row in _there(life)]
    return found, sorted(there, key=lambda each: (each.place, each.sowing))


def _as_of(stay: Stay, life: SowingLife | None) -> Stay:
    """Say of a stay what the journal said on the day."""
    if life is None:
        return replace(stay, sown_date=None, ended_date=None, place_now="")
    return replace(stay, sown_date=life.sown_date, ended_date=life.ended_date, place_now=life.place)


def _there(life: SowingLife) -> list[TraysThere]:
    """List the trays of a sowing that stand, by place and container."""
    if life.ended_date is not None:
        return []
    n_trays = Counter((each.place, each.container) for each in life.trays if each.gone_date is None)
    return [
        TraysThere(life.sowing, life.crop, life.variety, place, container, n)
        for (place, container), n in n_trays.items()
    ]
