"""Make a choice fit to the last minute and tray, once its parts are sowings with whole trays.

Splitting a candidate takes a little more than its share of trays, minutes and pots, which the
program does not see. Where that breaks a limit, the limit is drawn tighter by as much and what
had to be dropped for it is made room for again.
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sowbench.planning.candidates import Candidates
from sowbench.planning.neighborhood import Choice
from sowbench.planning.offers import residual_of
from sowbench.planning.placed import place_all
from sowbench.planning.program import Program
from sowbench.planning.resources import FloatArray, Resources
from sowbench.planning.search import Search
from sowbench.planning.season import Season

MOST_ROUNDS = 8
# Neighborhoods tried, and their time, until what was dropped is made good but for this share.
TRIES_A_ROUND = 16
SECONDS_A_ROUND = 3.0
ENOUGH_FRAC = 0.0003


def broken(season: Season, left: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Where more is used than there is."""
    capacity = season.resources.capacity
    scale = np.where(np.isfinite(capacity), np.abs(capacity), 0.0)
    return np.asarray(left < -1e-6 * (1.0 + scale))


def make_fit(
    season: Season,
    candidates: Candidates,
    finder: Search,
    choice: Choice,
    until: float = float("inf"),
) -> Choice:
    """Choose again around broken limits until none is left; drop sowings as a last resort.

    Parameters
    ----------
    until : float, optional
        Time on the steady clock from which on nothing is chosen again.
    """
    program = finder.program
    for _ in range(MOST_ROUNDS):
        placed = place_all(season, candidates, choice)
        left = residual_of(season, placed)
        bad = broken(season, left)
        if not bad.any():
            return choice
        capacity = program.resources.capacity.copy()
        capacity[bad] = np.maximum(0.0, capacity[bad] + 1.1 * left[bad] - 1e-3)
        program = replace(
            program,
            resources=Resources(program.resources.kinds, program.resources.names, capacity),
        )
        wanted = choice.cost(program) * (1.0 + ENOUGH_FRAC)
        tight = finder.within(program)
        choice = drop_until_fits(season, candidates, choice)
        now = time.monotonic()
        if now >= until:
            break
        choice = tight.run(
            choice,
            min(until, now + SECONDS_A_ROUND),
            None,
            most_rounds=TRIES_A_ROUND,
            enough=wanted,
        ).choice
    return drop_until_fits(season, candidates, choice)


def drop_until_fits(season: Season, candidates: Candidates, choice: Choice) -> Choice:
    """Leave out sowings at broken limits, those of the least worth first, until all limits hold."""
    parts = list(choice.parts)
    program = candidates.program
    while parts:
        left = residual_of(season, place_all(season, candidates, Choice(parts)))
        bad = broken(season, left)
        if not bad.any():
            break
        use = uses_at(program, Choice(parts), *(int(k) for k in np.argwhere(bad)[0]))

        def worth(at: int, use: FloatArray = use) -> tuple[bool, float]:
            part = parts[at]
            money = float(program.short_cost[program.orders_of(part.candidate)].sum())
            return bool(use[at] <= 0), money * part.units / float(program.n_units[part.candidate])

        del parts[min(range(len(parts)), key=worth)]
    return Choice(parts)


def uses_at(program: Program, choice: Choice, resource: int, day: int) -> FloatArray:
    """What each part of a choice uses of a resource on a day, setting up included."""
    chosen, share = choice.arrays(program)
    segments = program.segments.take(chosen)
    owner = np.repeat(np.arange(len(chosen)), np.diff(segments.offset))
    here = (segments.resource == resource) & (segments.start <= day) & (segments.stop > day)
    use = np.bincount(owner[here], weights=segments.amount[here], minlength=len(chosen)) * share
    if resource == program.crew:
        use += program.setup_minutes * (program.sow_day[chosen] == day)
    return np.asarray(use)
