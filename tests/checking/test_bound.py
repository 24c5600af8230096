"""The bound: candidates are priced as the plan's own cost is, and no plan's bound lies above it."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm
from tests.checking.small_season import (
    HOUSE,
    ORDER,
    PLANTS,
    SIGMA_SEED,
    on,
    small_plan,
    usable_nodes,
)

from sowbench.checking import check_plan
from sowbench.checking.bound import BoundCheck, demand_left, groups_of
from sowbench.checking.chances import Stands
from sowbench.checking.hands import Rates
from sowbench.checking.prices import capacity_value
from sowbench.checking.report import Ledger
from sowbench.checking.routes import stays_of
from sowbench.checking.season import Season
from sowbench.checking.sizing import Sized
from sowbench.checking.timeline import Timelines
from sowbench.checking.ways import admissible_lots
from sowbench.domain.plan import Price, Step
from sowbench.domain.records import Machine, Pin, Standing, StepKind
from sowbench.science.trays import tray_total_pmf

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


def offers_of(check):
    """All candidates of the order of the small plan."""
    groups = groups_of(check.season, demand_left(check.season))
    ((offers, _),) = check.offers(groups)
    return offers


def as_planned(check):
    """The candidate that the plan worked out by hand holds."""
    offers = offers_of(check)
    names = [*check.season.places, None]
    for at in range(offers.group.size):
        r = offers.route[at]
        where = [
            names[each[r]] for each in (offers.routes.germinate, offers.routes.grow,
                                        offers.routes.tone, offers.routes.hold)
        ]  # fmt: skip
        sown = offers.routes.sow[offers.row[at]] == check.season.index(on(0))
        if where == ["chamber", "bench", "cool bench", None] and sown and offers.seeds[at] == 1:
            return offers.take(np.array([at]))
    message = "the planned sowing is among the candidates"
    raise AssertionError(message)


def price_of_sixty(check):
    """Money and priced use of the planned sowing with its sixty cells, none of them thinned."""
    one, none = np.ones(1), np.zeros(1)
    sixty = Sized(np.array([60]), none, none, one, none)
    return check.pricer.reduced(as_planned(check), sixty)[0]


def test_candidate_costs_what_the_plan_worked_out_by_hand_costs():
    check = bound_check()
    offers = as_planned(check)
    parts = PLAN.cost_parts
    # Six minutes to change the lot are the order's only through the price of the change.
    materials = sum(parts[each] for each in ("seed", "container", "mix", "room", "labor"))
    assert price_of_sixty(check) == pytest.approx(materials - 6.0 / 60 * 12.0, abs=0.01)
    late, over = check.enumerator.late_money(offers), check.enumerator.overgrown_money(offers)
    assert late[0] == pytest.approx(parts["late"], abs=1e-6)
    assert over[0] == pytest.approx(parts["overgrown"], abs=0.01)


def test_priced_room_costs_what_the_candidate_takes_of_it():
    without = price_of_sixty(bound_check())
    # 0.3 m2 of the bench on day 10, two trays in the chamber on day 1, both at 2.0.
    dear = bound_check(
        with_prices(
            FREE,
            Price("place", "bench", on(10), 2.0),
            Price("place", "chamber", on(1), 2.0),
            Price("place", "cool bench", on(10), 2.0),
        )
    )
    assert price_of_sixty(dear) - without == pytest.approx(0.3 * 2.0 + 2 * 2.0)


def test_priced_seed_hands_and_trays_cost_what_the_candidate_takes_of_them():
    without = price_of_sixty(bound_check())
    dear = bound_check(
        with_prices(
            Price("lot", "L1", on(0), 0.01),
            Price("crew", "crew", on(29), 0.5),
            Price("container", "tray-50", on(36), 0.25),
            Price("container", "tray-50", on(37), 9.0),
        )
    )
    # 60 seeds; 1.5 min to pack on day 29; two trays, back and washed before day 29 + 7 + 1.
    assert price_of_sixty(dear) - without == pytest.approx(60 * 0.01 + 1.5 * 0.5 + 2 * 0.25)


def test_priced_machine_costs_the_minutes_that_it_runs():
    machine = Machine("seeder", ("tray-50",), trays_per_hour=30.0, changeover_minutes=5.0)
    house = replace(HOUSE, machines=(machine,))
    without = price_of_sixty(bound_check(house=house))
    dear = bound_check(with_prices(Price("machine", "seeder", on(0), 0.1)), house=house)
    # Two trays at thirty an hour are four minutes.
    assert price_of_sixty(dear) - without == pytest.approx((4.0 + 5.0) * 0.1)
    assert capacity_value(dear.season, dear.tariff, [], dear.rates) == pytest.approx(480 * 0.1)


def test_cells_are_the_fewest_that_are_sure_enough():
    check = bound_check()
    few, _ = check.sizer.size(as_planned(check))
    # Rounded down to steps of 0.001, the share on time is that of the plan worked out by hand.
    shares, weights = usable_nodes()
    steps = np.floor(1000 * norm.cdf(np.log(105.0 / 60.0) / SIGMA_SEED)) / 1000
    shares = shares * steps / norm.cdf(np.log(105.0 / 60.0) / SIGMA_SEED)
    enough = {
        n: float((weights @ tray_total_pmf(n, 50, shares))[PLANTS:].sum())
        for n in range(PLANTS, 61)
    }
    assert int(few.cells[0]) == min(n for n, chance in enough.items() if chance >= 0.9)


def test_plants_go_into_a_cold_store_on_work_days_only():
    later = replace(ORDER, wanted_date=on(60), earliest_date=on(58), latest_date=on(62))
    offers = offers_of(bound_check(orders=(later,)))
    held = np.flatnonzero(offers.routes.hold[offers.route] >= 0)
    assert held.size
    at = stays_of(
        offers.routes, offers.route[held], offers.row[held], offers.hand_over[held].max(axis=1)
    )
    assert {on(int(day)).weekday() for day in at.held} <= {0, 1, 2, 3, 4}
    # Some of them are ready on a Saturday or Sunday, and wait until Monday.
    ready = offers.routes.ready[offers.routes.way[offers.route[held]], offers.row[held]]
    assert {on(int(day)).weekday() for day in ready} & {5, 6}
    assert (at.held >= ready).all()


def test_shared_sowing_is_in_its_last_place_before_the_first_part_goes():
    # Grown at 24.5, toned from day 25 on and ready on day 28, when the first order wants it.
    first = replace(ORDER, wanted_date=on(28), earliest_date=on(28), latest_date=on(28))
    second = replace(ORDER, id="o2", wanted_date=on(32), earliest_date=on(32), latest_date=on(33))
    check = bound_check(orders=(first, second))
    groups = groups_of(check.season, demand_left(check.season))
    ((offers, _),) = check.offers(groups)
    both = np.flatnonzero(offers.orders[offers.group, 1] >= 0)
    assert both.size
    offers = offers.take(both)
    at = stays_of(offers.routes, offers.route, offers.row, offers.hand_over.max(axis=1))
    begin = offers.hand_over[:, :2].min(axis=1)
    moved, held = at.tone != at.grow, at.hold >= 0
    assert moved.any()
    assert (at.toned[moved] < begin[moved]).all()
    assert (at.held[held] < begin[held]).all()
    # Alone, the second order may be held from day 28 on until day 32.
    alone = offers_of(bound_check(orders=(second,)))
    assert (alone.routes.hold[alone.route] >= 0).any()


def test_what_stands_takes_its_trays_out_of_the_stock_once():
    stands = Standing("s0", "lettuce", "Green", "L1", "tray-50", 2, 100, "bench", on(-5))
    steps = (
        Step(StepKind.GROW, "tray-50", 2, 100, 0.0, "bench", on(0), on(15)),
        Step(StepKind.TONE, "tray-50", 2, 100, 0.0, "cool bench", on(15), on(20)),
    )
    sowing = replace(
        PLAN.sowings[0], sowing="s0", orders=(), n_cells=100, n_seeds=100, sow_date=on(-5),
        steps=steps, standing=True,
    )  # fmt: skip
    plan = with_prices(Price("container", "tray-50", on(10), 1.0))
    plan = replace(plan, sowings=(*plan.sowings, sowing))
    check = bound_check(plan, standings=(stands,))
    # Six trays, of which two are out.
    assert capacity_value(check.season, check.tariff, [], check.rates) == pytest.approx(4.0)


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
