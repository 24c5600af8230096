"""Money of one sowing part by part, worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm
from tests.planning.tiny_house import (
    BENCH,
    BOX,
    CHAMBER,
    COOL,
    HANDS,
    LOT,
    ONE_TRAY,
    SHEET,
    TRAY,
    TRAYS,
    chosen,
    house,
    inputs,
    on,
    order,
    plan_of,
    season_of,
)

from sowbench.domain.records import ContainerStock
from sowbench.planning.costs import container_money, mix_liters, own_costs
from sowbench.planning.options import group_table
from sowbench.science.quadrature import normal_nodes

W_NODES, W_WEIGHTS = normal_nodes(5)
Z_NODES, Z_WEIGHTS = normal_nodes(9)


def ready(w, z, sown=0.5):
    """Day of being ready at 20 °C, for a season w and a pace z."""
    warm = 15.0 + 0.5 * w
    up = 30.0 * np.exp(0.10 * z) / warm
    return sown + up + 6.0 * np.exp(0.10 * z) * 15.0 / warm + 1.0


def overgrown(w, z, cool, sown=0.5):
    """Six days at 20 °C after it is grown, in a place so many degrees cooler."""
    window = 6.0 * np.exp(0.10 * z) * 15.0 / (15.0 - cool + 0.5 * w)
    return ready(w, z, sown) - 1.0 + window


def parts_of(made, germ, tone, since=-1):
    """Parts of the cost of a candidate, and the candidate."""
    season, found, block = chosen(made, germ, tone)
    costs = own_costs(season, block, group_table(season, found.groups), since)
    return {name: float(value[0]) for name, value in costs.parts.items()}, costs, block


def test_every_part_of_a_sowing_is_what_the_model_says():
    """Sown on day 0, in the chamber for a day, on the bench for 8 and the cool bench for 3."""
    parts, costs, block = parts_of(ONE_TRAY, "chamber", "cool bench")
    n = int(block.sizing.n_cells[0])
    assert parts["seed"] == pytest.approx(n * 0.030)
    assert parts["container"] == pytest.approx(2.0 / 20 + 0.02)
    assert parts["mix"] == pytest.approx(n * 0.030 * 1.1 * 0.08)
    minutes = 1.0 + 1.0 + 0.1 * n + 1.0 + 0.5 + 1.0 + 1.0 + 11 * 0.1
    assert parts["labor"] == pytest.approx(minutes / 60.0 * 12.0)
    assert parts["room"] == pytest.approx(0.1 * (8 * 0.10 + 3 * 0.05))
    late = sum(
        ww * wz * np.clip(np.ceil(ready(w, z)) - 12, 0, 60)
        for w, ww in zip(W_NODES, W_WEIGHTS, strict=True)
        for z, wz in zip(Z_NODES, Z_WEIGHTS, strict=True)
    )
    assert parts["late"] == pytest.approx(0.05 * 10 * late)
    over = sum(
        ww * norm.cdf(brentq(lambda z, w=w: overgrown(w, z, 5.0) - 12.0, -40.0, 40.0))
        for w, ww in zip(W_NODES, W_WEIGHTS, strict=True)
    )
    # Straight in z between nine nodes: a little off where the curve bends.
    assert parts["overgrown"] == pytest.approx(0.30 * 10 * over, rel=0.05, abs=1e-6)
    assert parts["short"] == pytest.approx(2.0 * block.sizing.short[0])
    assert parts["surplus"] == 0.0
    assert costs.fixed[0] == pytest.approx(6.0 / 60.0 * 12.0)


def test_a_surplus_plant_brings_money():
    made = replace(ONE_TRAY, house=replace(
        ONE_TRAY.house, prices=replace(ONE_TRAY.house.prices, surplus_plant=0.04)
    ))  # fmt: skip
    parts, _, block = parts_of(made, "chamber", "cool bench")
    assert parts["surplus"] == pytest.approx(-0.04 * block.sizing.surplus[0])
    assert parts["surplus"] < 0


def test_room_counted_in_positions_is_paid_by_the_area_of_the_trays():
    by_area = replace(BENCH, n_positions=None, area_m2=5.0)
    money = []
    for bench in (BENCH, by_area):
        made = inputs(order("a", 50, 12), house=house(bench, crew=HANDS))
        money.append(parts_of(made, "bench", "bench")[0]["room"])
    assert money[0] == pytest.approx(money[1])


def test_what_stands_costs_only_what_is_still_to_come():
    """From day 9 on: three days on the cool bench, carrying and packing, and its risks."""
    whole, _, _ = parts_of(ONE_TRAY, "chamber", "cool bench")
    parts, costs, _ = parts_of(ONE_TRAY, "chamber", "cool bench", since=9)
    assert [parts[each] for each in ("seed", "container", "mix")] == [0.0, 0.0, 0.0]
    assert costs.fixed[0] == 0.0
    assert parts["room"] == pytest.approx(0.1 * 3 * 0.05)
    assert parts["labor"] == pytest.approx((1.0 + 1.0 + 3 * 0.1) / 60.0 * 12.0)
    assert parts["late"] == whole["late"]


def test_containers_cost_their_price_or_a_twentieth_of_it_and_a_label():
    listed = (
        ContainerStock("tray-20"), ContainerStock("box-10", price=0.8),
        ContainerStock("sheet-40", reusable=True),
    )  # fmt: skip
    season = season_of(inputs(house=house(stock=listed)))
    three = np.array([3.0])
    assert container_money(season, TRAY, three)[0] == pytest.approx(3 * (2.0 / 20 + 0.02))
    assert container_money(season, BOX, three)[0] == pytest.approx(3 * (0.8 + 0.02))
    assert container_money(season, SHEET, three)[0] == pytest.approx(3 * (1.0 / 20 + 0.02))


def test_mix_is_cells_times_volume_and_a_tenth_more():
    assert mix_liters(TRAY, np.array([20.0]))[0] == pytest.approx(20 * 0.030 * 1.1)
    assert mix_liters(SHEET, np.array([20.0]))[0] == 0.0


@pytest.mark.parametrize("wanted", [10, 12, 14])
def test_later_hand_over_is_less_late_and_more_overgrown(wanted):
    made = inputs(order("a", 10, wanted), house=house(BENCH, crew=HANDS))
    parts, _, _ = parts_of(made, "bench", "bench")
    late = sum(
        ww * wz * np.clip(np.ceil(ready(w, z)) - wanted, 0, 60)
        for w, ww in zip(W_NODES, W_WEIGHTS, strict=True)
        for z, wz in zip(Z_NODES, Z_WEIGHTS, strict=True)
    )
    over = sum(
        ww * norm.cdf(brentq(lambda z, w=w: overgrown(w, z, 0.0) - wanted, -60.0, 60.0))
        for w, ww in zip(W_NODES, W_WEIGHTS, strict=True)
    )
    assert parts["late"] == pytest.approx(0.05 * 10 * late)
    assert parts["overgrown"] == pytest.approx(0.30 * 10 * over, rel=0.05, abs=1e-4)


def test_money_of_a_plan_is_that_of_its_sowings_lots_and_shortage():
    """Two lots on one day: two setups, two changes of lot, and what is left unmet."""
    made = inputs(
        order("a", 10, 10, variety="Green"), order("b", 10, 10, variety="Red"),
        order("c", 10, 10, variety="Blue"), lots=(LOT, replace(LOT, id="L2", variety="Red")),
        house=house(crew=replace(HANDS, closed=frozenset({on(7)}))),
    )  # fmt: skip
    plan = plan_of(made).plan
    assert {u.order: u.reason for u in plan.unmet} == {"c": "seed"}
    assert {s.sow_date for s in plan.sowings} == {on(0)}
    minutes = sum(t.minutes for t in plan.tasks)
    assert plan.cost_parts["labor"] == pytest.approx(minutes / 60.0 * 12.0, abs=1e-3)
    changes = [t for t in plan.tasks if t.task == "change lot"]
    assert [t.minutes for t in changes] == [6.0, 6.0]
    short = 2.0 * (10.0 + sum(o.expected_short for o in plan.orders if o.planned))
    assert plan.cost_parts["short"] == pytest.approx(short, abs=1e-3)
    assert plan.cost == pytest.approx(sum(plan.cost_parts.values()), abs=1e-3)


def test_chamber_and_cool_bench_are_cheaper_than_a_dear_bench():
    """A free chamber for one day of twelve and a bench at half the price for three."""
    at = {}
    for germ, tone in (("chamber", "cool bench"), ("bench", "bench")):
        made = inputs(
            order("a", 10, 12), house=house(CHAMBER, BENCH, COOL, stock=(TRAYS,), crew=HANDS)
        )
        at[germ], _, _ = parts_of(made, germ, tone)
    assert at["chamber"]["room"] == pytest.approx(0.095)
    assert at["bench"]["room"] == pytest.approx(0.12)
