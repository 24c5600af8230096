"""Plans made again in the middle of a season: what the checker says of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.planning.tiny_house import (
    BENCH,
    CHAMBER,
    COOL,
    STORE,
    Reference,
    check,
    day_of,
    house,
    inputs,
    on,
    order,
    reference,
)

from sowbench.domain.plan import SowingShare
from sowbench.domain.records import Standing
from sowbench.planning.inputs import Done
from sowbench.planning.parameters import SolveParameters
from sowbench.planning.plan import make_plan

QUICK = SolveParameters(seconds=60.0, rounds=2, gap_frac=0.0)
PLACES = (CHAMBER, BENCH, COOL, STORE)


def made_again(rng, made, kept, day):
    """What a plan is made again from: some entries of the journal, an order changed or added."""
    entries = []
    for sowing in kept.sowings:
        sown = day_of(sowing.sow_date)
        if sown >= day or sowing.standing:
            continue
        late = int(rng.integers(0, 2)) if sown + 1 < day else 0
        entries.append(Done(on(sown + late), "sown", sowing.sowing, n=sowing.n_cells))
        what = rng.integers(0, 6)
        if what == 0:
            entries.append(Done(on(day - 1), "lost", sowing.sowing, n=sowing.n_cells // 3))
        elif what == 1:
            n = int(0.7 * sowing.n_cells)
            entries.append(Done(on(day - 1), "counted", sowing.sowing, n=n))
        elif what == 2:
            entries.append(Done(on(day - 1), "dumped", sowing.sowing))
        elif what == 3:
            entries += [
                Done(on(day - 1), "delivered", sowing.sowing, n=s.plants // 2, order=s.order)
                for s in sowing.orders[:1]
            ]
    orders = list(made.orders)
    at = int(rng.integers(0, len(orders)))
    change = rng.integers(0, 4)
    if change == 0:
        orders[at] = replace(orders[at], status="cancelled")
    elif change == 1:
        orders[at] = replace(orders[at], plants=max(2, orders[at].plants // 2))
    elif change == 2:
        later = orders[at].latest_date.toordinal() - on(0).toordinal() + 2
        orders[at] = replace(orders[at], wanted_date=on(later), latest_date=on(later + 1))
    else:
        orders.append(order(f"new{day}", 15, day + 14, late=2))
    return replace(
        made, orders=tuple(orders), kept=kept, from_date=on(day), done=(*made.done, *entries)
    )


def a_season(rng):
    """A few orders in a small house, with something standing now and then."""
    catalog = Reference() if rng.random() < 0.5 else reference(hold_d=5, max_seeds_per_cell=2)
    orders = tuple(
        order(f"o{k}", int(rng.integers(5, 45)), int(rng.integers(11, 34)),
              late=int(rng.integers(0, 3)), partial=bool(rng.random() < 0.3))
        for k in range(int(rng.integers(3, 7)))
    )  # fmt: skip
    standing = Standing("s0", "cress", "Green", "L1", "tray-20", 2, 40, "bench", on(-4))
    stock = ("tray-20", "sheet-40", "pot-5") if rng.random() < 0.5 else ("tray-20",)
    return inputs(
        *orders,
        house=house(*PLACES, stock=stock),
        catalog=catalog,
        standings=(standing,) if rng.random() < 0.4 else (),
    )


@pytest.mark.parametrize("seed", range(14))
def test_random_plans_made_again_twice_hold(seed):
    rng = np.random.default_rng(seed)
    made = a_season(rng)
    planned = make_plan(made, QUICK)
    assert [str(each) for each in check(planned, made).findings] == []
    for day in (8, 15):
        made = made_again(rng, made, planned.plan, day)
        made = replace(made, standings=())
        planned = make_plan(made, QUICK)
        assert [str(each) for each in check(planned, made).findings] == []


SEASON = inputs(order("a", 10, 12), order("b", 30, 20))


@pytest.fixture(scope="module")
def again():
    """A plan made again on day 7, when the sowing for the first order stands, and its inputs."""
    first = make_plan(SEASON, QUICK).plan
    made = replace(SEASON, from_date=on(7), kept=first)
    planned = make_plan(made, QUICK)
    assert [each.sowing for each in planned.plan.sowings if each.sow_date < on(7)]
    return made, planned


def rules_of(made, planned, **changes):
    plan = replace(planned.plan, **changes)
    return {each.rule for each in check(replace(planned, plan=plan), made).findings}


def with_standing(planned, **changes):
    """The sowings of a plan, what stands already changed."""
    return tuple(
        replace(each, **changes) if each.sow_date < on(7) else each for each in planned.plan.sowings
    )


def test_what_stands_must_not_be_forgotten(again):
    made, planned = again
    ahead = tuple(each for each in planned.plan.sowings if each.sow_date >= on(7))
    assert "what stands stays in the plan" in rules_of(made, planned, sowings=ahead)


@pytest.mark.parametrize("change", [{"lot": "L2"}, {"n_cells": 15}, {"sow_date": on(3)}])
def test_what_stands_must_be_as_it_was_sown(again, change):
    made, planned = again
    sowings = with_standing(planned, **change)
    assert "what stands is as it was sown" in rules_of(made, planned, sowings=sowings)


def test_what_stands_must_not_serve_more_than_is_left_of_its_share(again):
    made, planned = again
    sowings = with_standing(planned, orders=(SowingShare("a", 11),))
    assert "what stands serves whom it was sown for" in rules_of(made, planned, sowings=sowings)


def test_cells_lost_leave_fewer_cells_and_make_the_planner_sow_again(again):
    made, planned = again
    (old,) = [each for each in planned.plan.sowings if each.sow_date < on(7)]
    made = replace(made, done=(Done(on(6), "lost", old.sowing, n=old.n_cells - 4),))
    after = make_plan(made, QUICK)
    assert check(after, made).holds
    (left,) = [each for each in after.plan.sowings if each.sowing == old.sowing]
    assert left.n_cells == 4
    assert [s.order for each in after.plan.sowings if each.sow_date >= on(7)
            for s in each.orders].count("a") == 1  # fmt: skip


def test_part_of_a_shared_sowing_that_went_out_leaves_the_cells_of_the_rest():
    """One sowing for 12 and 4 plants; the 12 are delivered on day 12, the plan made on day 13."""
    dear = house(crew=replace(house().crew, setup_minutes=60.0))
    made = inputs(order("a", 12, 12), order("b", 4, 15), house=dear)
    first = make_plan(made, QUICK).plan
    (sowing,) = first.sowings
    made = replace(made, from_date=on(13), kept=first)
    after = make_plan(made, QUICK)
    assert [str(each) for each in check(after, made).findings] == []
    (left,) = after.plan.sowings
    assert left.n_cells == -(-sowing.n_cells * 4 // 16)
    assert [row.order for row in after.plan.orders] == ["b"]


def test_sowing_sown_a_day_late_is_followed_from_that_day():
    made = inputs(order("a", 10, 14))
    first = make_plan(made, QUICK).plan
    (sowing,) = first.sowings
    sown = day_of(sowing.sow_date) + 1
    made = replace(
        made, from_date=on(sown + 3), kept=first, done=(Done(on(sown), "sown", sowing.sowing),)
    )
    after = make_plan(made, QUICK)
    assert check(after, made).holds
    assert day_of(after.plan.sowings[0].sow_date) == sown


def test_what_was_delivered_before_the_kept_plan_was_made_is_off_the_order():
    made = inputs(order("a", 30, 20))
    kept = make_plan(made, QUICK).plan
    made = replace(made, kept=kept, done=(Done(on(-3), "delivered", "gone", n=12, order="a"),))
    after = make_plan(made, QUICK)
    assert check(after, made).holds
    assert [(row.order, row.plants) for row in after.plan.orders] == [("a", 18)]
