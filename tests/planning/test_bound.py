"""The bound of whole plans, recomputed over all candidates by the checker."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.planning.tiny_house import (
    BENCH,
    CHAMBER,
    COOL,
    LOT,
    STORE,
    crew,
    house,
    inputs,
    order,
    plan_of,
    reference,
)

from sowbench.domain.records import ContainerStock

CASES = {
    "one order": inputs(order("a", 10, 15)),
    "a larger order": inputs(order("a", 150, 15)),
    "shared": inputs(order("a", 10, 15), order("b", 12, 16), order("c", 40, 21)),
    "little room": inputs(
        order("a", 10, 15), order("b", 50, 15), order("c", 12, 17),
        house=house(CHAMBER, replace(BENCH, n_positions=3), COOL),
    ),
    "few hands": inputs(
        order("a", 10, 15), order("b", 50, 15), order("c", 12, 15),
        house=house(crew=crew(minutes_per_day=30.0, weekend_minutes=20.0)),
    ),
    "few trays": inputs(
        order("a", 10, 15), order("b", 50, 15), order("c", 12, 24),
        house=house(stock=(ContainerStock("tray-20", n_in_stock=3),)),
    ),
    "little seed": inputs(
        order("a", 10, 15), order("b", 50, 15),
        lots=(replace(LOT, n_seeds=50), replace(LOT, id="L2", n_seeds=30, price_per_1000=90.0)),
    ),
    "held": inputs(
        order("a", 10, 15), order("b", 12, 20), catalog=reference(hold_d=6),
        house=house(CHAMBER, BENCH, COOL, STORE, crew=crew(sow_days=(1,))),
    ),
    "potted on": inputs(
        order("a", 20, 18), order("b", 12, 19), house=house(stock=("sheet-40", "pot-5")),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_the_bound_is_what_its_prices_prove_over_all_candidates(name):
    plan_of(CASES[name], rounds=6, with_bound=True)
