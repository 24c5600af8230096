"""What stands on the first day, and plans that are made again in the middle of a season."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.planning.tiny_house import BENCH, check, crew, day_of, house, inputs, on, order, plan_of

from sowbench.domain.records import Pin, Standing
from sowbench.planning.inputs import Done
from sowbench.planning.parameters import SolveParameters
from sowbench.planning.plan import make_plan

# Sown five days before the first it is ready on day 5 and good until day 9.
TRAY = Standing("s0", "cress", "Green", "L1", "tray-20", 1, 20, "bench", on(-5), orders=("a",))


def sown(plan):
    """New sowings by the orders they are for."""
    return {
        "".join(share.order for share in each.orders): each
        for each in plan.sowings
        if not each.standing
    }


def test_an_order_is_served_from_what_stands():
    plan = plan_of(inputs(order("a", 10, 6), order("b", 10, 15), standings=(TRAY,))).plan
    assert set(sown(plan)) == {"b"}
    (standing,) = [each for each in plan.sowings if each.standing]
    assert [(s.order, s.plants) for s in standing.orders] == [("a", 10)]
    assert day_of(standing.steps[0].from_date) == 0
    assert day_of(standing.steps[-1].to_date) == 6
    assert not plan.unmet


def test_what_stands_serves_whom_it_fits_where_no_order_is_named():
    made = inputs(order("a", 10, 6), order("b", 10, 15), standings=(replace(TRAY, orders=()),))
    assert set(sown(plan_of(made).plan)) == {"b"}


@pytest.mark.parametrize("change", [{"variety": "Red"}, {"containers": ("box-10",)}])
def test_what_stands_does_not_serve_an_order_for_something_else(change):
    made = inputs(order("a", 10, 6, **change), standings=(replace(TRAY, orders=()),))
    plan = plan_of(made).plan
    assert [share for each in plan.sowings if each.standing for share in each.orders] == []
    assert {u.order for u in plan.unmet} == {"a"}


def test_what_stands_costs_no_seed_container_or_mix():
    plan = plan_of(inputs(order("a", 10, 6), standings=(TRAY,))).plan
    assert [plan.cost_parts[each] for each in ("seed", "container", "mix")] == [0.0, 0.0, 0.0]
    assert plan.cost_parts["room"] == pytest.approx(6 * 0.1 * 0.10)
    assert {t.task for t in plan.tasks} <= {"water", "count", "thin", "pack"}


def test_what_stands_takes_room_from_new_sowings():
    """One position, taken until day 6: the next sowing day is Monday 7, ready on day 17."""
    one = house(replace(BENCH, n_positions=1))
    made = inputs(order("a", 10, 6), order("b", 10, 15), standings=(TRAY,), house=one)
    found = sown(plan_of(made).plan)["b"]
    assert day_of(found.sow_date) == 7


def test_a_standing_sowing_counted_short_is_made_up_for():
    """Twelve are usable; of thirty, twenty more are sown on the first day, ready on day 10."""
    short = replace(TRAY, n_usable=12)
    free = house(crew=crew(rate_per_hour=0.0))
    plan = plan_of(inputs(order("a", 30, 6), standings=(short,), house=free)).plan
    new = sown(plan)["a"]
    assert day_of(new.sow_date) == 0
    (given,) = [each.orders[0].plants for each in plan.sowings if each.standing]
    assert given <= 12
    assert given + new.orders[0].plants == 30


def test_a_standing_sowing_is_not_counted_twice():
    counted = replace(TRAY, n_usable=12, counted_date=on(-1))
    plan = plan_of(inputs(order("a", 10, 6), standings=(counted,))).plan
    assert "count" not in {t.task for t in plan.tasks}


SEASON = inputs(order("a", 10, 12), order("b", 30, 20), order("c", 12, 26))


def again(made, kept, **changes):
    """Plan again from day 7 on; every plan made again holds."""
    parameters = SolveParameters(seconds=60.0, rounds=4, gap_frac=0.0)
    made = replace(made, from_date=on(7), kept=kept, **changes)
    planned = make_plan(made, parameters)
    assert [str(each) for each in check(planned, made).findings] == []
    return planned.plan


@pytest.fixture(scope="module")
def first():
    """The plan of the whole season."""
    return plan_of(SEASON).plan


def test_a_plan_made_again_without_a_change_moves_nothing(first):
    plan = again(SEASON, first)
    assert plan.moved == ()
    assert {s.sowing: (s.sow_date, s.n_cells, s.lot) for s in plan.sowings} == {
        s.sowing: (s.sow_date, s.n_cells, s.lot) for s in first.sowings
    }
    assert [o.hand_over for o in plan.orders] == [o.hand_over for o in first.orders]


def test_a_new_order_is_added_and_told(first):
    plan = again(replace(SEASON, orders=(*SEASON.orders, order("d", 40, 21))), first)
    assert not plan.unmet
    new = sown(plan)["d"]
    assert [(m.sowing, m.what) for m in plan.moved] == [(new.sowing, "added")]


def test_what_is_no_longer_wanted_is_dropped_and_told(first):
    gone = sown(first)["c"].sowing
    orders = tuple(replace(o, status="cancelled") if o.id == "c" else o for o in SEASON.orders)
    plan = again(replace(SEASON, orders=orders), first)
    assert [(m.sowing, m.what) for m in plan.moved] == [(gone, "dropped")]


def test_what_was_dumped_is_sown_again(first):
    """Dumped on day 6 and sown at the earliest again on day 7: ready on day 17, five days late."""
    old = sown(first)["a"].sowing
    plan = again(SEASON, first, done=(Done(on(6), "dumped", old),))
    new = sown(plan)["a"]
    assert new.sowing != old
    assert 7 <= day_of(new.sow_date) <= 9
    assert ("instead of", old) in {(m.what, m.before) for m in plan.moved}


def test_a_kept_sowing_counted_short_is_made_up_for(first):
    old = sown(first)["a"].sowing
    done = (Done(on(2), "sown", old), Done(on(6), "counted", old, n=6, n_of=20))
    plan = again(SEASON, first, done=done)
    new = [s for s in plan.sowings if s.sowing not in {x.sowing for x in first.sowings}]
    assert [share.order for each in new for share in each.orders] == ["a"]


def test_the_bound_of_a_plan_made_again_is_near_its_cost(first):
    assert first.gap_frac < 0.02
    assert again(SEASON, first).gap_frac < 0.04  # keeping to a plan costs a little


def test_a_pin_on_a_kept_sowing_holds_for_its_order(first):
    name = sown(first)["c"].sowing
    plan = again(SEASON, first, pins=(Pin(name, sow_date=on(14)),))
    assert day_of(sown(plan)["c"].sow_date) == 14
