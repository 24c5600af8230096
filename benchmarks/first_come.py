"""First come, first served: each order in turn takes the cheapest way that still fits.

The candidates are the planner's own, each order alone, so that the difference to its plan is what
looking at all orders together is worth, and nothing else.
"""

from __future__ import annotations

import numpy as np

from benchmarks.laid_out import LaidOut, write_plan
from sowbench.domain.plan import Plan
from sowbench.planning.candidates import Candidates
from sowbench.planning.neighborhood import Choice, Part
from sowbench.planning.placed import place_all, settle
from sowbench.planning.program import Program


def first_come(program: Program) -> Choice:
    """Serve the orders in the sequence of the file.

    Parameters
    ----------
    program : Program
        Orders, candidates and what they use.

    Returns
    -------
    choice : Choice
        One candidate for each order that found a place and is worth it.
    """
    members = program.members[program.group]
    alone = np.flatnonzero(members[:, 1] < 0)
    cost = program.cost_variable + program.cost_fixed
    rank = alone[np.lexsort((cost[alone], members[alone, 0]))]
    first = np.searchsorted(members[rank, 0], np.arange(program.n_orders + 1))
    left = program.resources.capacity.copy()
    paid: set[int] = set()
    parts: list[Part] = []
    for order in range(program.n_orders):
        own = rank[first[order] : first[order + 1]]
        own = own[cost[own] < program.short_cost[order]]
        # What does not fit on any single day is passed over at once; the rest is tried in turn.
        for j in own[program.segments.take(own).fits(left)].tolist():
            use = program.use(np.array([j]), np.ones(1))
            pair = int(program.lot_day[j])
            if pair in paid and program.crew >= 0:
                use[program.crew, program.sow_day[j]] -= program.setup_minutes
            if (use <= left + 1e-6).all():
                left -= use
                paid.add(pair)
                parts.append(Part(j, int(program.n_units[j])))
                break
    return Choice(parts)


def first_come_plan(laid: LaidOut, candidates: Candidates, bound: float) -> Plan:
    """Plan a season first come, first served.

    Parameters
    ----------
    laid : LaidOut
        The season.
    candidates : Candidates
        Its candidates.
    bound : float
        Proven lower bound, for the gap.

    Returns
    -------
    plan : Plan
        Its sowings, orders and money.
    """
    choice = first_come(candidates.program)
    season = laid.season
    served = {o for p in choice.parts for o in candidates.program.orders_of(p.candidate)}
    unmet = {
        order.id: candidates.why_none.get(o, "room")
        for o, order in enumerate(season.orders)
        if o not in served
    }
    return write_plan(laid, settle(season, place_all(season, candidates, choice)), unmet, bound)
