"""The bound: candidates are priced as the plan's own cost is, and no plan's bound lies above it."""

from dataclasses import replace

import numpy as np
import pytest
from tests.checking.small_season import HOUSE, ORDER, on, small_plan

from sowbench.checking import check_plan
from sowbench.checking.bound import BoundCheck, demand_left, groups_of
from sowbench.checking.chances import Stands
from sowbench.checking.hands import Rates
from sowbench.checking.report import Ledger
from sowbench.checking.season import Season
from sowbench.checking.sizing import Sized
from sowbench.checking.timeline import Timelines
from sowbench.checking.ways import admissible_lots, container_paths
from sowbench.domain.plan import Price
from sowbench.domain.records import Pin

PLAN, INPUTS = small_plan()
FREE = Price("crew", "crew", on(0), 0.0)


def with_prices(*prices, bound=0.0):
    cost = PLAN.cost
    gap = (cost - bound) / bound if bound > 0 else PLAN.gap_frac
    return replace(PLAN, prices=prices, bound=bound, gap_frac=gap)


def bound_check(plan=None, **changes):
    plan = with_prices(FREE) if plan is None else plan
    season = Season(plan, replace(INPUTS, **changes))
    lines = Timelines(season)
    stands = Stands(season, lines)
    return BoundCheck(season, lines, stands, Rates(season), Ledger())


def as_planned(check):
    """The candidate that the plan worked out by hand holds, and its place among the days."""
    group = groups_of(check.season, demand_left(check.season))[0]
    path = container_paths(check.season, ORDER)[0]
    for route in check.routes(group, path):
        if (route.course.germinate, route.course.tone, route.hold) != (
            "chamber", "cool bench", None,
        ) or route.course.grow[0][0] != "bench":  # fmt: skip
            continue
        for offered in check.offers(group, path, route):
            if offered.seeds == 1 and check.season.index(on(0)) in route.sow[offered.rows]:
                at = list(route.sow[offered.rows]).index(check.season.index(on(0)))
                return offered, np.array([at])
    message = "the planned sowing is among the candidates"
    raise AssertionError(message)


def test_candidate_costs_what_the_plan_worked_out_by_hand_costs():
    check = bound_check()
    offered, at = as_planned(check)
    parts = PLAN.cost_parts
    reduced = check.evaluator.pricer.reduced(offered, np.array([60.0]), at)[0]
    # Six minutes to change the lot are the order's only through the price of the change.
    materials = sum(parts[each] for each in ("seed", "container", "mix", "room", "labor"))
    assert reduced == pytest.approx(materials - 6.0 / 60 * 12.0, abs=0.01)
    assert offered.late_money[at][0] == pytest.approx(parts["late"], abs=1e-6)
    assert check.evaluator.overgrown_money(offered, at)[0] == pytest.approx(
        parts["overgrown"], abs=0.01
    )


def test_priced_room_costs_what_the_candidate_takes_of_it():
    free = bound_check()
    offered, at = as_planned(free)
    without = free.evaluator.pricer.reduced(offered, np.array([60.0]), at)[0]
    # 0.3 m2 of the bench on day 10, two trays in the chamber on day 1, both at 2.0.
    dear = bound_check(
        with_prices(
            FREE,
            Price("place", "bench", on(10), 2.0),
            Price("place", "chamber", on(1), 2.0),
            Price("place", "cool bench", on(10), 2.0),
        )
    )
    offered, at = as_planned(dear)
    with_them = dear.evaluator.pricer.reduced(offered, np.array([60.0]), at)[0]
    assert with_them - without == pytest.approx(0.3 * 2.0 + 2 * 2.0)


def test_priced_seed_hands_and_trays_cost_what_the_candidate_takes_of_them():
    free = bound_check()
    offered, at = as_planned(free)
    without = free.evaluator.pricer.reduced(offered, np.array([60.0]), at)[0]
    dear = bound_check(
        with_prices(
            Price("lot", "L1", on(0), 0.01),
            Price("crew", "crew", on(29), 0.5),
            Price("container", "tray-50", on(36), 0.25),
            Price("container", "tray-50", on(37), 9.0),
        )
    )
    offered, at = as_planned(dear)
    with_them = dear.evaluator.pricer.reduced(offered, np.array([60.0]), at)[0]
    # 60 seeds; 1.5 min to pack on day 29; two trays, back and washed before day 29 + 7 + 1.
    assert with_them - without == pytest.approx(60 * 0.01 + 1.5 * 0.5 + 2 * 0.25)


def test_normal_formulas_are_near_the_exact_sizing():
    check = bound_check()
    offered, at = as_planned(check)
    rough, exact = check.sizer.rough(offered, at), check.sizer.exact(offered, at)
    assert isinstance(rough, Sized)
    assert abs(int(rough.cells[0]) - int(exact.cells[0])) <= 1
    assert rough.short[0] == pytest.approx(exact.short[0], abs=0.1)


def test_bound_is_below_the_cost_of_the_plan():
    figures = check_plan(with_prices(FREE), INPUTS).figures
    assert 0 < figures["bound"] < PLAN.cost


def test_bound_is_no_more_than_leaving_the_order_unmet():
    cheap = replace(HOUSE, prices=replace(HOUSE.prices, short_plant=0.01))
    figures = check_plan(with_prices(FREE), replace(INPUTS, house=cheap)).figures
    assert figures["bound"] == pytest.approx(0.01 * 40)


def test_prices_of_capacity_that_nobody_needs_lower_the_bound_by_its_worth():
    free = check_plan(with_prices(FREE), INPUTS).figures["bound"]
    # Nothing can stand on the bench on day 45: 0.8 m2 of it at 1.0 are worth nothing.
    priced = with_prices(FREE, Price("place", "bench", on(45), 1.0))
    assert check_plan(priced, INPUTS).figures["bound"] == pytest.approx(free - 0.8)


def test_order_price_below_every_candidate_is_the_cover():
    priced = with_prices(FREE, Price("order", "o1", on(29), 2.0))
    assert check_plan(priced, INPUTS).figures["bound"] == pytest.approx(2.0)


def test_order_price_above_the_cheapest_candidate_is_lowered():
    free = check_plan(with_prices(FREE), INPUTS).figures["bound"]
    priced = with_prices(FREE, Price("order", "o1", on(29), 20.0))
    assert check_plan(priced, INPUTS).figures["bound"] == pytest.approx(free)


def test_bound_stated_too_high_is_named():
    value = check_plan(with_prices(FREE), INPUTS).figures["bound"]
    rules = {
        each.rule for each in check_plan(with_prices(FREE, bound=value * 1.02), INPUTS).findings
    }
    assert rules == {"bound"}
    assert check_plan(with_prices(FREE, bound=value * 0.999), INPUTS).holds


def test_negative_price_is_named():
    report = check_plan(with_prices(Price("crew", "crew", on(0), -1.0)), INPUTS)
    assert "prices are not negative" in {each.rule for each in report.findings}


def test_plan_without_prices_is_noted():
    report = check_plan(PLAN, INPUTS)
    assert "bound" not in report.n_checks
    assert any("no prices" in each for each in report.notes)


def test_pins_leave_fewer_candidates_and_a_higher_bound():
    free = check_plan(with_prices(FREE), INPUTS).figures["bound"]
    pins = (Pin("o1", seeds_per_cell=2), Pin("o1", not_before=on(1)))
    pinned = check_plan(with_prices(FREE), replace(INPUTS, pins=pins)).figures["bound"]
    assert pinned > free


def test_orders_within_a_week_may_share_a_sowing_and_others_may_not():
    later = replace(ORDER, id="o2", wanted_date=on(35), earliest_date=on(34), latest_date=on(36))
    last = replace(later, id="o3", wanted_date=on(40), latest_date=on(41))
    season = Season(with_prices(FREE), replace(INPUTS, orders=(ORDER, last, later)))
    names = [tuple(e.id for e in g.orders) for g in groups_of(season, demand_left(season))]
    assert sorted(names) == [("o1",), ("o1", "o2"), ("o2",), ("o2", "o3"), ("o3",)]


def test_lots_that_an_order_refuses_are_no_candidates():
    season = Season(PLAN, INPUTS)
    assert [each.id for each in admissible_lots(season, ORDER)] == ["L1"]
    assert admissible_lots(season, replace(ORDER, organic=True)) == []
    assert admissible_lots(season, replace(ORDER, variety="Red")) == []
    red_or_green = replace(ORDER, variety="Red", substitutes=("Green",))
    assert [each.id for each in admissible_lots(season, red_or_green)] == ["L1"]
