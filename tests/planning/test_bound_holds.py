"""No plan costs less than the bound: few orders, split, shared and raised, at exact chances."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from tests.planning.tiny_house import (
    BENCH,
    COOL,
    CRESS,
    LOT,
    Reference,
    candidates_of,
    crew,
    house,
    inputs,
    order,
)

from sowbench.domain.records import Prices
from sowbench.planning.master import solve_linear
from sowbench.planning.money import plan_cost
from sowbench.planning.neighborhood import Choice, Part
from sowbench.planning.placed import place_all, settle
from sowbench.planning.program import Saved
from sowbench.planning.tray_rows import share_trays

# Little tested, so that shortage is dear and two lots are seldom short together.
POOR = replace(LOT, n_tested=25, n_normal=21, price_per_1000=12.0)
LOTS = tuple(
    replace(POOR, id=f"{crop[0]}{k}", crop=crop, variety=variety)
    for crop in ("cress", "clump")
    for k, variety in enumerate(("Green", "Red"))
)
CLUMP = replace(
    CRESS, id="clump", seeds_per_cell=5, max_seeds_per_cell=6, plants_per_cell=(3, 6), unit="cell"
)  # fmt: skip
RULES = dict(Reference().ready_rules)
BOTH = Reference(
    crops={"cress": CRESS, "clump": CLUMP},
    ready_rules=RULES
    | {("clump", c, s): replace(r, crop="clump") for (_, c, s), r in RULES.items()},
)


def a_house(rng):
    """A house without limits, in which setting up may cost much or nothing."""
    prices = Prices(
        short_plant=float(rng.choice([1.2, 4.0])), late_plant_day=0.05, overgrown_plant=0.3,
        surplus_plant=float(rng.choice([0.0, 0.0, 0.02])),
    )  # fmt: skip
    hands = crew(setup_minutes=float(rng.choice([0.0, 0.0, 1.0, 6.0])), sow_days=(0, 1))
    benches = (replace(each, n_positions=10_000) for each in (BENCH, COOL))
    stock = ("sheet-40", "pot-5") if rng.random() < 0.2 else ("tray-20",)
    return house(*benches, stock=stock, prices=prices, crew=hands)


def a_season(seed):
    """Few orders, small ones that may share trays and large ones that may be split."""
    rng = np.random.default_rng(seed)
    crop = "clump" if rng.random() < 0.3 else "cress"
    handover, wanted = "pulled" if rng.random() < 0.5 else "trays", int(rng.integers(19, 22))
    orders = []
    for k, plants in enumerate((rng.integers(3, 11), rng.integers(3, 11), rng.integers(25, 130))):
        early, late = (int(each) for each in rng.integers(0, 2, 2))
        orders.append(
            order(
                f"o{k}", int(plants), wanted + k // 2, early=early, late=late, crop=crop,
                handover=handover, partial=bool(rng.random() < 0.5), unit="cell",
                variety=("Green", "Red", "")[k],  # so that none is sown together with another
            )
        )  # fmt: skip
    return inputs(*orders, house=a_house(rng), lots=LOTS, catalog=BOTH)


def ways_of(program, o, cost):
    """Some of the ways to serve an order: its cheapest candidates, whole and two by two."""
    members = program.members[program.group]
    rows = np.flatnonzero((members[:, 0] == o) & (members[:, 1] < 0))
    rows = rows[np.argsort(cost[rows], kind="stable")]
    ways = [[Part(int(j), int(program.n_units[j]))] for j in rows[:5]]
    split = [int(j) for j in rows if program.splits[j]][:6]
    for one, other in combinations(split, 2):
        units = int(program.n_units[one])
        if int(program.n_units[other]) == units:
            ways += [
                [Part(one, k), Part(other, units - k)]
                for k in sorted({max(1, units // 4), units // 2})
                if min(k, units - k) >= 0.1 * units
            ]
    return ways


def cheapest(season, found):
    """Cost of the cheapest plan that choosing again order by order comes to."""
    program = found.program
    cost = program.cost_variable + program.cost_fixed
    ways = [ways_of(program, o, cost) for o in range(program.n_orders)]

    def money(picked, raises):
        choice = Choice([part for o, k in enumerate(picked) for part in ways[o][k]])
        settled = settle(season, place_all(season, found, choice), raises=raises)
        return sum(plan_cost(season, share_trays(season, settled)).values())

    picked, least = [0] * len(ways), np.inf
    for raises in (0, 8):
        for o in (*range(len(ways)), 0):
            for k in range(len(ways[o])):
                tried = [*picked[:o], k, *picked[o + 1 :]]
                now = money(tried, raises)
                if now < least:
                    picked, least = tried, now
    return least


def bounds_of(season, found):
    """The bound, without trays shared, without help against shortage."""
    alike = replace(found.program, saved=Saved())
    alone = replace(found.program, relief=np.zeros(0))
    return [
        solve_linear(each, seconds=60.0, columns_per_order=20).bound
        for each in (found.program, alike, alone)
    ]


@pytest.fixture(scope="module")
def costs():
    """Cheapest cost found and bounds of some seasons."""
    out = []
    for seed in (0, 1, 3, 4, 7, 9, 11, 12, 15):
        season, found = candidates_of(a_season(seed))
        out.append((cheapest(season, found), *bounds_of(season, found)))
    return np.array(out)


def test_no_plan_costs_less_than_the_bound(costs):
    least, bound, _, _ = costs.T
    assert (least >= bound - 1e-4).all()
    assert (least < 1.2 * bound).all()


def test_without_what_plans_save_some_cost_less_than_the_bound_would_be(costs):
    """Else the test above would prove little."""
    least, _, alike, alone = costs.T
    assert (least < alike - 1e-3).any()
    assert (least < alone - 1e-3).any()
