"""Orders that only what is pinned keeps from being planned."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date

import numpy as np

from sowbench.domain.records import Order, Pin
from sowbench.planning.candidates import build_candidates
from sowbench.planning.season import Season

PINNED = "pinned"


def why_pinned(season: Season, order: Order, pins: Iterable[Pin]) -> str:
    """Say that pins alone keep an order from being planned, and what there would be without.

    Parameters
    ----------
    season : Season
        The season.
    order : Order
        An order without a way to raise it.
    pins : iterable of Pin
        What is fixed by hand.

    Returns
    -------
    words : str
        Sentences; blank if it has no pin, or has no way without it either.
    """
    own = [each for each in pins if each.target == order.id]
    if not own:
        return ""
    free = build_candidates(replace(season, orders=(order,), _crops=season._crops))  # noqa: SLF001
    if not free.program.n:
        return ""
    days = np.unique(np.concatenate([b.timeline.sow_day[b.sow] for b in free.blocks]))
    first, last = season.calendar.date(int(days[0])), season.calendar.date(int(days[-1]))
    when = f"on {_day(first)}"
    if len(days) > 1:
        when = f"on {len(days)} days from {_day(first)} to {_day(last)}"
    wishes = ", ".join(wish for each in own for wish in _wishes(each))
    return (
        f"What is pinned for it leaves no way ({wishes}). Without the pin it can be sown {when}:"
        " change the pin or let it go."
    )


def _wishes(pin: Pin) -> list[str]:
    """Say what a pin asks for."""
    wishes = [
        ("sown on {}", pin.sow_date and _day(pin.sow_date)),
        ("not sown before {}", pin.not_before and _day(pin.not_before)),
        ("not sown after {}", pin.not_after and _day(pin.not_after)),
        ("in {}", pin.container),
        ("grown in {}", pin.place),
        ("{} seeds a cell", pin.seeds_per_cell),
    ]
    return [words.format(value) for words, value in wishes if value]


def _day(day: date) -> str:
    """Write a day."""
    return f"{day:%a} {day.day} {day:%B}"
