"""A plan worked out by hand holds; each rule broken in turn is named."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from tests.checking.small_season import (
    CROP,
    HOUSE,
    LOT,
    MONDAY,
    ORDER,
    Reference,
    on,
    small_plan,
    with_order,
    with_part,
    with_sowing,
    with_step,
)

from sowbench.checking import Severity, check_plan
from sowbench.domain.plan import HandOver, Sowing, SowingShare, Step, Task, Unmet
from sowbench.domain.records import (
    Crew,
    LightNeed,
    Machine,
    Pin,
    PlaceKind,
    Standing,
    StepKind,
)

PLAN, INPUTS = small_plan()


def checked(plan=PLAN, **changes):
    return check_plan(plan, replace(INPUTS, **changes), with_bound=False)


def rules_of(report):
    return {each.rule for each in report.findings}


def test_plan_worked_out_by_hand_holds():
    report = checked()
    assert [str(each) for each in report.findings] == []
    assert report.holds
    assert report.n_total > 300
    assert report.summary() == f"{report.n_total} figures and rules recomputed, 0 fail"


def test_figures_of_the_report_are_the_recomputed_money():
    figures = checked().figures
    # Sixty seeds at 30 for a thousand; two trays at 2.00 over 20 uses with a label of 0.02.
    assert figures["cost seed"] == pytest.approx(1.80)
    assert figures["cost container"] == pytest.approx(0.24)
    assert figures["cost mix"] == pytest.approx(60 * 0.04 * 1.1 * 0.08)
    # 0.3 m2 for 23 days at 0.05 and 4 days at 0.02.
    assert figures["cost room"] == pytest.approx(0.369)


def replace_task(word, **changes):
    return replace(
        PLAN,
        tasks=tuple(replace(each, **changes) if each.task == word else each for each in PLAN.tasks),
    )


def without_task(word):
    return replace(PLAN, tasks=tuple(each for each in PLAN.tasks if each.task != word))


def moved(days):
    """The whole sowing on another day, its steps with it."""
    by = timedelta(days=days)
    sowing = PLAN.sowings[0]
    steps = tuple(
        replace(each, from_date=each.from_date + by, to_date=each.to_date + by)
        for each in sowing.steps
    )
    return with_sowing(PLAN, sow_date=sowing.sow_date + by, steps=steps)


STRUCTURE = {
    "sowing names are unique": replace(PLAN, sowings=PLAN.sowings * 2),
    "order rows are unique": replace(PLAN, orders=PLAN.orders * 2),
    "orders are known": with_sowing(PLAN, orders=(SowingShare("o9", 40),)),
    "every order is answered": replace(PLAN, orders=()),
    "plants ordered": with_order(PLAN, plants=41),
    "planned and unmet make the order": with_order(PLAN, planned=39),
    "shares of sowings make the planned": with_sowing(PLAN, orders=(SowingShare("o1", 39),)),
    "handing over makes the planned": with_order(PLAN, hand_over=(HandOver(on(29), "s1", 30),)),
    "handing over follows the shares": with_order(PLAN, hand_over=(HandOver(on(29), "s2", 40),)),
    "reason of unmet is known": replace(PLAN, unmet=(Unmet("o1", 1, "weather"),)),
    "unmet plants are ordered plants": replace(PLAN, unmet=(Unmet("o1", 0, "room"),)),
    "a sowing has steps": with_sowing(PLAN, steps=()),
    "steps begin with sowing": with_step(PLAN, 0, from_date=on(1)),
    "steps follow without a gap": with_step(PLAN, 1, from_date=on(3)),
    "a step lasts": with_step(PLAN, 1, to_date=on(2)),
    "places are known": with_step(PLAN, 1, place="roof"),
    "cells stay the same": with_step(PLAN, 2, n_cells=59),
    "containers are known": with_step(PLAN, 2, container="bucket"),
    "containers hold the cells": with_step(PLAN, 0, n_containers=1),
    "potting on starts from the right class": with_step(PLAN, 0, container="pot-12"),
    "container suits crop and system": with_step(PLAN, 2, container="pot-12"),
    "crops are known": with_sowing(PLAN, crop="nettle"),
    "seeds per cell in range": with_sowing(PLAN, seeds_per_cell=3, n_seeds=180),
    "plants per cell": with_sowing(PLAN, plants_per_cell=(2, 3)),
    "seeds are cells x seeds": with_sowing(PLAN, n_seeds=61),
    "lots are known": with_sowing(PLAN, lot="L9"),
    "variety is that of the lot": with_sowing(PLAN, variety="Red"),
    "first day of the plan": replace(PLAN, from_date=on(1)),
    "last day of the plan": replace(PLAN, until_date=on(40)),
    "steps end within the plan": with_step(PLAN, 2, to_date=on(47)),
    "nothing is sown in the past": moved(-3),
    "sown on a sowing day": moved(5),
}
TIMES = {
    "day of leaving the chamber": with_step(PLAN, 0, to_date=on(4)),
    "day to tone": with_step(PLAN, 2, from_date=on(28)),
    "ready p10": with_sowing(PLAN, ready_date=replace(PLAN.sowings[0].ready_date, p10=on(28))),
    "ready p50": with_sowing(PLAN, ready_date=replace(PLAN.sowings[0].ready_date, p50=on(31))),
    "ready p90": with_sowing(PLAN, ready_date=replace(PLAN.sowings[0].ready_date, p90=None)),
    "overgrown p10": with_sowing(
        PLAN, overgrown_date=replace(PLAN.sowings[0].overgrown_date, p10=on(30))
    ),
    "overgrown p50": with_sowing(
        PLAN, overgrown_date=replace(PLAN.sowings[0].overgrown_date, p50=on(44))
    ),
    "handed over in the window": with_order(PLAN, hand_over=(HandOver(on(27), "s1", 40),)),
    "day of handing over": with_order(PLAN, hand_over=(HandOver(on(31), "s1", 40),)),
    "stands until it is handed over": with_order(PLAN, hand_over=(HandOver(on(30), "s1", 40),)),
    "not overgrown when handed over": with_order(PLAN, hand_over=(HandOver(on(41), "s1", 40),)),
    "into a cold store on a work day": with_step(
        PLAN, 2, kind=StepKind.HOLD, place="store", from_date=on(27)
    ),
    "in its last place before the first part goes": with_step(PLAN, 2, from_date=on(29)),
    "held from the ready day on": with_step(PLAN, 2, kind=StepKind.HOLD, place="store"),
}
PLACES = {
    "place is of a kind that will do": with_step(PLAN, 1, place="chamber"),
    "room by place and day": with_sowing(
        PLAN,
        n_cells=300,
        n_seeds=300,
        steps=tuple(replace(e, n_cells=300, n_containers=6) for e in PLAN.sowings[0].steps),
    ),
    "reusable containers by day": with_step(PLAN, 0, n_containers=7),
}
TASKS = {
    "slack is not negative": replace_task("count", slack_d=-1),
    "tasks fall on days people are there": replace_task("pack", date=on(27)),
    "every step has its task": without_task("tone"),
    "every task has its step": replace(
        PLAN, tasks=(*PLAN.tasks, Task(on(9), "space", "s1", "bench", 5.0))
    ),
    "task is on its day": replace_task("tone", date=on(28)),
    "minutes to sow": replace_task("sow", minutes=20.0),
    "minutes to change lot": without_task("change lot"),
    "minutes to water": replace_task("water", minutes=1.0),
    "minutes to pack": replace_task("pack", minutes=3.0),
    "crew minutes by day": replace_task("sow", minutes=70.0),
}
FIGURES = {
    "chance_enough_frac": with_order(PLAN, chance_enough_frac=0.95),
    "chance_in_time_frac": with_order(PLAN, chance_in_time_frac=0.96),
    "chance_filled_frac": with_order(PLAN, chance_filled_frac=0.86),
    "expected_short": with_order(PLAN, expected_short=1.0),
    "an order below its confidence is named risky": with_order(PLAN, chance_enough_frac=0.8),
    "usable plants": with_sowing(PLAN, plants=replace(PLAN.sowings[0].plants, p05=38)),
    "cost parts are known": with_part(PLAN, heat=1.0),
    "cost": with_part(PLAN, seed=2.5),
    "cost is the sum of its parts": replace(PLAN, cost=PLAN.cost + 0.03),
    "gap": replace(PLAN, gap_frac=0.2),
    "bound is below the cost": replace(PLAN, bound=PLAN.cost + 1, gap_frac=0.0),
    "ordered before it is needed": replace(
        PLAN, supplies=(replace(PLAN.supplies[0], order_by=on(2)), PLAN.supplies[1])
    ),
    "enough is bought": replace(
        PLAN, supplies=(replace(PLAN.supplies[0], in_stock=10), PLAN.supplies[1])
    ),
    "supplies are what the sowings need": replace(PLAN, supplies=PLAN.supplies[:1]),
}
BROKEN = STRUCTURE | TIMES | PLACES | TASKS | FIGURES


@pytest.mark.parametrize("rule", BROKEN)
def test_broken_rule_is_named(rule):
    report = checked(BROKEN[rule])
    assert rule in rules_of(report)
    assert not report.holds


@pytest.mark.parametrize("part", ["seed", "container", "mix", "labor", "room", "short", "late"])
def test_every_part_of_the_cost_is_compared(part):
    report = checked(with_part(PLAN, **{part: PLAN.cost_parts[part] * 1.01 + 0.02}))
    findings = [each for each in report.findings if each.rule == "cost part"]
    assert [each.subject for each in findings] == [part]
    assert findings[0].severity is Severity.DIFFERS


OTHER_INPUTS: dict[str, dict[str, Any]] = {
    "no cancelled order is planned": {"orders": (replace(ORDER, status="cancelled"),)},
    "containers are the house's": {"house": replace(HOUSE, stock=HOUSE.stock[1:])},
    "container is one asked for": {"orders": (replace(ORDER, containers=("pot-12",)),)},
    "organic orders from organic lots": {"orders": (replace(ORDER, organic=True),)},
    "variety is one ordered": {"orders": (replace(ORDER, variety="Red"),)},
    "lot is of the crop": {"lots": (replace(LOT, crop="leek"),)},
    "lot has arrived": {"lots": (replace(LOT, arrives_on=on(1)),)},
    "lot is used in time": {"lots": (replace(LOT, use_by=on(-1)),)},
    "seed of the lot": {"lots": (replace(LOT, n_seeds=59),)},
    "pins are kept": {"pins": (Pin("o1", seeds_per_cell=2),)},
    "toning place is cooler": {
        "house": replace(HOUSE, places=(*HOUSE.places[:2], replace(HOUSE.places[2], temp_c=22.0)))
    },
    "place is warm enough": {
        "catalog": Reference(crops={"lettuce": replace(CROP, tone_min_c=14.5)})
    },
    "chill days": {
        "catalog": Reference(crops={"lettuce": replace(CROP, chill_below_c=16.0, chill_days_max=3)})
    },
    "light-needing seed is not in the dark": {
        "catalog": Reference(crops={"lettuce": replace(CROP, light_need=LightNeed.LIGHT)})
    },
    "somebody is there to lift the tray out": {
        "house": replace(
            HOUSE,
            crew=replace(HOUSE.crew, weekend_minutes=0.0, closed=frozenset({on(2), on(3)})),
        )
    },
    "organic orders stand in allowed containers": {
        "catalog": Reference(
            containers={
                name: replace(each, organic_ok=False)
                for name, each in Reference().containers.items()
            }
        ),
        "orders": (replace(ORDER, organic=True),),
    },
}


@pytest.mark.parametrize("rule", OTHER_INPUTS)
def test_plan_that_its_inputs_forbid_is_named(rule):
    assert rule in rules_of(checked(**OTHER_INPUTS[rule]))


@pytest.mark.parametrize(
    "pin",
    [
        Pin("o1", container="pot-12"),
        Pin("s1", place="store"),
        Pin("s1", sow_date=on(1)),
        Pin("s1", not_before=on(1)),
        Pin("o1", not_after=on(-1)),
    ],
)
def test_every_kind_of_pin_is_checked(pin):
    assert "pins are kept" in rules_of(checked(pins=(pin,)))


def test_pin_that_is_kept_is_no_finding():
    pin = Pin("o1", container="tray-50", seeds_per_cell=1, sow_date=MONDAY, place="bench")
    assert checked(pins=(pin,)).holds


def test_warm_crop_must_not_tone_in_the_yard():
    places = (*HOUSE.places[:2], replace(HOUSE.places[2], kind=PlaceKind.YARD))
    catalog = Reference(crops={"lettuce": replace(CROP, tone_under_cover=True)})
    report = checked(house=replace(HOUSE, places=places), catalog=catalog)
    assert "place is of a kind that will do" in rules_of(report)


def test_growing_in_the_yard_is_for_hardy_crops():
    places = (HOUSE.places[0], replace(HOUSE.places[1], kind=PlaceKind.YARD), *HOUSE.places[2:])
    catalog = Reference(crops={"lettuce": replace(CROP, hardy=False)})
    report = checked(house=replace(HOUSE, places=places), catalog=catalog)
    assert "place is of a kind that will do" in rules_of(report)


def test_unlimited_crew_is_never_too_busy_on_work_days():
    house = replace(HOUSE, crew=Crew(rate_per_hour=12.0))
    assert "crew minutes by day" not in rules_of(checked(TASKS["crew minutes by day"], house=house))


def test_unmet_for_want_of_seed_is_believed_only_without_seed():
    plan = replace(PLAN, orders=(replace(PLAN.orders[0], planned=0, hand_over=()),), sowings=())
    plan = replace(plan, unmet=(Unmet("o1", 40, "seed"),))
    assert "unmet for want of seed" in rules_of(checked(plan))
    few = replace(LOT, n_seeds=30)
    assert "unmet for want of seed" not in rules_of(checked(plan, lots=(few,)))


def test_unmet_because_too_late_is_tried_again():
    plan = replace(PLAN, orders=(replace(PLAN.orders[0], planned=0, hand_over=()),), sowings=())
    plan = replace(plan, unmet=(Unmet("o1", 40, "too_soon"),))
    assert "unmet because it is too late" in rules_of(checked(plan))
    # Sown on the first day it is ready on day 28; wanted by day 20 that is more than 7 days late.
    soon = replace(ORDER, wanted_date=on(20), earliest_date=on(18), latest_date=on(20))
    assert "unmet because it is too late" not in rules_of(checked(plan, orders=(soon,)))


def test_unmet_for_want_of_a_container_is_tried_again():
    plan = replace(PLAN, orders=(replace(PLAN.orders[0], planned=0, hand_over=()),), sowings=())
    plan = replace(plan, unmet=(Unmet("o1", 40, "container"),))
    # All six trays may be out; without a limit there is always one.
    assert "unmet for want of a container" not in rules_of(checked(plan))
    many = replace(HOUSE, stock=(replace(HOUSE.stock[0], n_in_stock=None),))
    assert "unmet for want of a container" in rules_of(checked(plan, house=many))
    # Pots have no ready rule, so they are no container for it.
    only = replace(ORDER, containers=("pot-12",))
    report = checked(plan, orders=(only,), house=many)
    assert "unmet for want of a container" not in rules_of(report)


def test_order_of_four_parts_or_of_a_tiny_one_is_named():
    shares = [37, 1, 1, 1]
    sowings = tuple(
        replace(PLAN.sowings[0], sowing=f"s{i}", orders=(SowingShare("o1", n),))
        for i, n in enumerate(shares)
    )
    rules = rules_of(checked(replace(PLAN, sowings=sowings)))
    assert {"an order has at most 3 parts", "a part is at least a tenth"} <= rules


def test_orders_too_far_apart_do_not_share_a_sowing():
    far = replace(ORDER, id="o2", wanted_date=on(38), earliest_date=on(38), latest_date=on(39))
    other = replace(far, id="o3", system="field", wanted_date=on(29))
    shares = (SowingShare("o1", 14), SowingShare("o2", 13), SowingShare("o3", 13))
    rules = rules_of(checked(with_sowing(PLAN, orders=shares), orders=(ORDER, far, other)))
    assert {"shared within 7 days", "shared by orders of one kind"} <= rules


def test_standing_sowing_keeps_no_sowing_rules_but_takes_room():
    stands = Standing(
        "s0", "lettuce", "Green", "L0", "tray-50", 5, 250, "bench", on(-10), n_usable=240
    )
    steps = (
        Step(StepKind.GROW, "tray-50", 5, 250, 0.0, "bench", on(0), on(15)),
        Step(StepKind.TONE, "tray-50", 5, 250, 0.0, "cool bench", on(15), on(20)),
    )
    sowing = Sowing(
        "s0", (), "lettuce", "Green", "L0", 1, (1, 1), 250, 250, on(-10), steps,
        PLAN.sowings[0].ready_date, PLAN.sowings[0].overgrown_date, PLAN.sowings[0].plants, True,
    )  # fmt: skip
    plan = replace(PLAN, sowings=(*PLAN.sowings, sowing))
    rules = rules_of(checked(plan, standings=(stands,)))
    # 5 and 2 trays of 0.15 m2 on 0.8 m2; 7 trays of the 6 there are.
    assert {"room by place and day", "reusable containers by day"} <= rules
    assert (
        rules & {"nothing is sown in the past", "lots are known", "sown on a sowing day"} == set()
    )


def test_standing_sowing_handed_over_on_the_first_day_needs_no_step():
    stands = Standing(
        "s0", "lettuce", "Green", "L0", "tray-50", 1, 50, "bench", on(-28), n_usable=45
    )
    order = replace(
        ORDER, id="o0", plants=20, wanted_date=on(0), earliest_date=on(0), latest_date=on(3)
    )
    sowing = replace(
        PLAN.sowings[0], sowing="s0", orders=(SowingShare("o0", 20),), lot="L0", n_cells=50,
        n_seeds=50, sow_date=on(-28), steps=(), standing=True,
    )  # fmt: skip
    row = replace(
        PLAN.orders[0], order="o0", plants=20, planned=20, expected_short=0.0,
        chance_enough_frac=1.0, hand_over=(HandOver(on(0), "s0", 20),),
    )  # fmt: skip
    packed = Task(on(0), "pack", "s0", "bench", 0.75)
    plan = replace(
        PLAN, sowings=(*PLAN.sowings, sowing), orders=(*PLAN.orders, row),
        tasks=(*PLAN.tasks, packed),
    )  # fmt: skip
    report = checked(plan, orders=(ORDER, order), standings=(stands,))
    about = {each.rule for each in report.findings if "s0" in each.subject or "o0" in each.subject}
    # 45 usable plants of which 0.931 stay good: 20 are sure; its days are those of the small plan
    # moved, which this sowing does not have.
    assert about & {"a sowing has steps", "every task has its step", "minutes to pack"} == set()
    assert about & {"chance_enough_frac", "expected_short", "timeline can be computed"} == set()
    gone = replace(plan, sowings=(*PLAN.sowings, replace(sowing, sowing="s9")))
    assert "a sowing has steps" in rules_of(checked(gone, orders=(ORDER, order)))


def test_machine_that_runs_all_day_is_named():
    # Two trays at one in four hours and a quarter, and ten minutes to change over.
    slow = Machine("seeder", ("tray-50",), trays_per_hour=1 / 4.25, changeover_minutes=10.0)
    report = checked(house=replace(HOUSE, machines=(slow,)))
    assert "machine hours by day" in rules_of(report)
    quick = replace(slow, trays_per_hour=60.0)
    report = checked(house=replace(HOUSE, machines=(quick,)))
    assert "machine hours by day" not in rules_of(report)
