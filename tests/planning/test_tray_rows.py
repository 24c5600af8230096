"""Part-filled last trays that are put into one, by rows."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.planning import tiny_house
from tests.planning.tiny_house import (
    BENCH,
    CHAMBER,
    COOL,
    CRESS,
    LOT,
    PLUG_RULE,
    TRAY,
    Reference,
    house,
    inputs,
    on,
    order,
    plan_of,
)

from sowbench.domain.records import LightNeed, Pin, Season
from sowbench.planning import plan as planning
from sowbench.planning.parameters import SolveParameters
from sowbench.planning.plan import make_plan
from sowbench.planning.tray_rows import own_units, rows_taken

# Five plants of each need seven or eight cells: two of the four rows of five of a tray.
RED = replace(LOT, id="L2", variety="Red")
SCHOOL = {"customer": "the school"}
TWO = (
    order("a", 5, 12, variety="Green", **SCHOOL),
    order("b", 5, 12, variety="Red", **SCHOOL),
)


def two(*, catalog=None, orders=TWO, **changes):
    """Two small orders for one day from two lots."""
    return inputs(*orders, lots=(LOT, RED), catalog=catalog or Reference(), **changes)


def mates_of(plan):
    """Sets of sowings that share a tray."""
    return {
        frozenset((each.sowing, *step.from_sowings))
        for each in plan.sowings
        for step in each.steps
        if step.from_sowings
    }


def unshared(monkeypatch, made):
    """The same plan without sharing."""
    with monkeypatch.context() as patch:
        patch.setattr(planning, "share_trays", lambda _, settled: settled)
        return plan_of(made).plan


def test_two_small_sowings_of_a_day_share_a_tray():
    plan = plan_of(two()).plan
    assert mates_of(plan) == {frozenset(each.sowing for each in plan.sowings)}
    assert [each.steps[0].n_containers for each in plan.sowings] == [1, 1]


def test_shared_tray_saves_all_that_a_tray_costs(monkeypatch):
    """On a bench without chamber a tray is filled, carried out, counted and packed, and watered."""
    made = two()
    with_it, without = plan_of(made).plan, unshared(monkeypatch, made)
    (first, _) = with_it.sowings
    days = (first.steps[-1].to_date - first.sow_date).days
    # 60 s to fill, 30 s and a way of 30 s to carry, 30 s to count, 60 s to pack; 0.1 m2 watered.
    minutes = 1.0 + 1.0 + 0.5 + 1.0 + days * 0.1
    saved = {name: without.cost_parts[name] - part for name, part in with_it.cost_parts.items()}
    assert saved["container"] == pytest.approx(2.0 / 20 + 0.02, abs=1e-3)
    assert saved["labor"] == pytest.approx(minutes / 60 * 12.0, abs=2e-3)
    assert saved["room"] == pytest.approx(days * 0.1 * 0.10, abs=1e-3)
    others = [each for name, each in saved.items() if name not in {"container", "labor", "room"}]
    assert others == pytest.approx([0.0] * len(others), abs=1e-4)


def test_cells_and_chances_stay_as_they_are(monkeypatch):
    made = two()
    with_it, without = plan_of(made).plan, unshared(monkeypatch, made)
    for one, other in zip(with_it.orders, without.orders, strict=True):
        assert one == other
    assert [each.n_cells for each in with_it.sowings] == [each.n_cells for each in without.sowings]


def test_four_rows_take_no_fifth():
    """Twelve plants need at least thirteen cells, three rows; with two rows more it is too much."""
    orders = (replace(TWO[0], plants=12), TWO[1])
    assert mates_of(plan_of(two(orders=orders)).plan) == set()


def test_several_sowings_share_a_tray_while_there_are_rows():
    """Two plants need one row: four sowings fill a tray."""
    lots = tuple(replace(LOT, id=f"L{k}", variety=f"v{k}") for k in range(5))
    orders = tuple(order(f"o{k}", 2, 12, variety=f"v{k}", **SCHOOL) for k in range(5))
    plan = plan_of(inputs(*orders, lots=lots)).plan
    assert sorted(len(each) for each in mates_of(plan)) == [4]


@pytest.mark.parametrize(
    "orders",
    [
        (TWO[0], replace(TWO[1], customer="somebody else")),
        (TWO[0], order("b", 5, 13, variety="Red", **SCHOOL)),
    ],
)
def test_other_customers_and_days_get_trays_of_their_own(orders):
    assert mates_of(plan_of(two(orders=orders)).plan) == set()


def test_pulled_plants_of_different_customers_may_share_a_tray():
    orders = tuple(
        replace(each, customer=name, handover="pulled")
        for each, name in zip(TWO, "xy", strict=True)
    )
    assert len(mates_of(plan_of(two(orders=orders)).plan)) == 1


def with_rocket(rule=PLUG_RULE, **changes):
    """A catalog with a second crop that differs from cress in a little, and orders for both."""
    catalog = Reference(
        crops={"cress": CRESS, "rocket": replace(CRESS, id="rocket", **changes)},
        ready_rules={
            ("cress", PLUG_RULE.container_class, "any"): PLUG_RULE,
            ("rocket", PLUG_RULE.container_class, "any"): replace(rule, crop="rocket"),
        },
    )
    lots = (LOT, replace(LOT, id="L3", crop="rocket"))
    orders = (order("a", 5, 12, **SCHOOL), order("b", 5, 12, crop="rocket", **SCHOOL))
    return inputs(*orders, lots=lots, catalog=catalog)


def test_two_crops_that_agree_share_a_tray():
    slower = replace(CRESS.emergence, thermal_time_cd=33.0)
    assert len(mates_of(plan_of(with_rocket(emergence=slower)).plan)) == 1


@pytest.mark.parametrize(
    "made",
    [
        with_rocket(cover=False),
        with_rocket(season=Season.WARM),
        with_rocket(replace(PLUG_RULE, leaves=5.5)),
    ],
)
def test_two_crops_that_do_not_agree_share_none(made):
    assert mates_of(plan_of(made).plan) == set()


def test_light_and_dark_do_not_go_together():
    made = with_rocket(light_need=LightNeed.DARK)
    crops = {**made.catalog.crops, "cress": replace(CRESS, light_need=LightNeed.LIGHT)}
    made = replace(made, catalog=replace(made.catalog, crops=crops))
    assert mates_of(plan_of(made).plan) == set()


def test_mates_that_stand_already_share_on():
    made = two()
    first = plan_of(made).plan
    again = replace(made, from_date=on(7), kept=first)
    planned = make_plan(again, SolveParameters(seconds=60.0, rounds=2, gap_frac=0.0))
    assert tiny_house.check(planned, again).holds
    assert mates_of(planned.plan) == mates_of(first)


def test_sharing_never_costs_more(monkeypatch):
    """In a house with a chamber and a cool bench, small orders of three varieties."""
    lots = tuple(replace(LOT, id=f"L{k}", variety=f"v{k}") for k in range(3))
    orders = tuple(
        order(f"o{k}", 3 + 4 * (k % 4), 12 + k // 3, late=2, variety=f"v{k % 3}", **SCHOOL)
        for k in range(9)
    )
    made = inputs(*orders, lots=lots, house=house(CHAMBER, BENCH, COOL))
    with_it, without = plan_of(made).plan, unshared(monkeypatch, made)
    assert with_it.cost <= without.cost + 1e-9
    assert with_it.bound <= with_it.cost


def test_own_units_of_mates_make_the_units_that_there_are():
    assert own_units(3, 1) == 3
    assert 2 * own_units(1, 2) == 1
    assert own_units(4, 3) + own_units(1, 3) + own_units(2, 3) == pytest.approx(5)


def test_rows_taken_are_whole_rows_of_the_last_tray():
    assert [rows_taken(TRAY, n, units) for n, units in ((7, 1), (5, 1), (27, 2), (40, 2))] == [
        2, 1, 2, 4,
    ]  # fmt: skip
    assert rows_taken(replace(TRAY, rows=None, cols=None), 7, 1) == 1


def with_cool_bench(price):
    """Two benches, of which the cool one is cheaper."""
    places = (replace(BENCH, price_per_m2_day=0.50), replace(COOL, price_per_m2_day=price))
    late = tuple(
        replace(each, wanted_date=on(25), earliest_date=on(25), latest_date=on(25)) for each in TWO
    )
    return two(orders=late, house=house(*places))


def test_a_small_sowing_is_moved_to_share_a_tray(monkeypatch):
    """A pin keeps one sowing warm; the other would grow cool, but for the tray that is there."""
    pins = (Pin("a", place="bench"),)
    made = replace(with_cool_bench(0.0), pins=pins)
    with_it = plan_of(made).plan
    with monkeypatch.context() as patch:
        patch.setattr(planning, "align_trays", lambda _s, _c, settled, *_: settled)
        without = plan_of(made).plan
    assert mates_of(without) == set()
    assert len(mates_of(with_it)) == 1
    assert with_it.cost < without.cost
    assert {step.place for each in with_it.sowings for step in each.steps} == {"bench"}


def test_a_sowing_of_the_kept_plan_is_not_moved_to_share_a_tray(monkeypatch):
    made = replace(with_cool_bench(0.0), pins=(Pin("a", place="bench"),))
    with monkeypatch.context() as patch:
        patch.setattr(planning, "align_trays", lambda _s, _c, settled, *_: settled)
        first = plan_of(made).plan
    again = plan_of(replace(made, kept=first)).plan
    assert again.moved == ()
    assert mates_of(again) == set()
