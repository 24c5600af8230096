"""Make a choice fit to the last minute and tray, once its parts are sowings with whole trays.

Splitting a candidate takes a little more than its share of trays, minutes and pots, which the
program does not see. Where that breaks a limit, the limit is drawn tighter by as much and the
orders that use it are chosen again.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sowbench.planning.candidates import Candidates
from sowbench.planning.neighborhood import Choice, improve
from sowbench.planning.offers import residual_of
from sowbench.planning.parameters import SolveParameters
from sowbench.planning.placed import Placed, place_all
from sowbench.planning.program import Program
from sowbench.planning.resources import ResourceKind, Resources
from sowbench.planning.search import NO_CLOCK_S, Search
from sowbench.planning.season import Season

MOST_ROUNDS = 8
SECONDS_A_ROUND = 3.0
# Share of hands and seed that the search leaves for what settling adds in cells.
MARGIN_FRAC = 0.005


def with_margin(program: Program) -> Program:
    """Draw hands and seed a little tighter for the search; the bound keeps the true limits."""
    resources = program.resources
    factor = np.array(
        [
            1.0 - MARGIN_FRAC if k in {ResourceKind.CREW, ResourceKind.LOT} else 1.0
            for k in resources.kinds
        ]
    )
    capacity = resources.capacity * factor[:, None]
    return replace(program, resources=Resources(resources.kinds, resources.names, capacity))


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
    parameters: SolveParameters,
) -> Choice:
    """Choose again around broken limits until none is left; drop sowings as a last resort."""
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
        free = users_of(season, placed, bad)
        pool = np.array(sorted({j for o in free for j in finder.by_order.get(o, [])}))
        choice = improve(
            program,
            choice,
            free,
            pool.astype(np.int64),
            seconds=NO_CLOCK_S if parameters.by_work else SECONDS_A_ROUND,
            gap_frac=0.002,
            max_parts=parameters.max_parts,
            min_part_frac=parameters.min_part_frac,
            split_pool=finder.split_pool | {p.candidate for p in choice.parts},
            node_limit=200,
            must=True,
        )
    return drop_until_fits(season, candidates, choice)


def users_of(season: Season, placed: list[Placed], bad: NDArray[np.bool_]) -> set[int]:
    """Orders whose sowings use a broken limit."""
    out: set[int] = set()
    for p in placed:
        left = residual_of(season, [p])
        used = season.resources.capacity - left
        with np.errstate(invalid="ignore"):
            if np.any(used[bad] > 1e-9):
                out.update(o for o, _ in p.orders)
    return out


def drop_until_fits(season: Season, candidates: Candidates, choice: Choice) -> Choice:
    """Leave out the smallest sowing at a broken limit until all limits hold."""
    parts = list(choice.parts)
    while parts:
        placed = place_all(season, candidates, Choice(parts))
        bad = broken(season, residual_of(season, placed))
        if not bad.any():
            break
        orders = users_of(season, placed, bad)
        program = candidates.program
        touching = [
            p for p in parts if orders.intersection(program.orders_of(p.candidate))
        ]
        worst = min(
            touching or parts,
            key=lambda p: p.units / program.n_units[p.candidate]
            * sum(program.short_cost[o] for o in program.orders_of(p.candidate)),
        )
        parts.remove(worst)
    return Choice(parts)
