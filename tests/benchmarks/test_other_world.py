"""The other world: repeatable, in the right direction, and by hand where that is short."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmarks.hand_rule import hand_rule_plan
from benchmarks.laid_out import read_season
from benchmarks.measure import season_folder
from benchmarks.other_growth import OtherGrowth
from benchmarks.other_world import World, drawn_years
from benchmarks.play import _at, _crossed, _first_at, play
from benchmarks.script import script_of

from sowbench.science.emergence import days_at_constant

YEARS = 40
CALM = World(
    heater_faults=0.0,
    house_faults=0.0,
    bad_lot_frac=0.0,
    outbreaks=0.0,
    tray_loss_frac=0.0,
)


@pytest.fixture(scope="module")
def laid(tmp_path_factory):
    return read_season(season_folder("made-20-3", tmp_path_factory.mktemp("twenty")))


@pytest.fixture(scope="module")
def plan(laid):
    return hand_rule_plan(laid, 0.0)


@pytest.fixture(scope="module")
def calm(plan, laid):
    return play(plan, laid.season, CALM, YEARS)


def test_same_seed_gives_the_same_years(plan, laid, calm):
    again = play(plan, laid.season, CALM, YEARS)
    assert (again.money == calm.money).all()
    other = play(plan, laid.season, replace(CALM, seed=5), YEARS)
    assert (other.money != calm.money).any()


def test_more_that_goes_wrong_leaves_fewer_plants_in_time(plan, laid, calm):
    for worse in (
        replace(CALM, bad_lot_frac=0.8),
        replace(CALM, tray_loss_frac=0.5),
        replace(CALM, outbreaks=60.0, outbreak_trays=0.8),
        replace(CALM, kept_mean=0.5),
    ):
        hit = play(plan, laid.season, worse, YEARS)
        assert hit.plants_in_time_frac < calm.plants_in_time_frac
        assert hit.short.mean() > calm.short.mean()


def test_no_plan_fills_nothing_and_costs_all_that_is_short(plan, laid):
    nothing = replace(
        plan,
        sowings=(),
        cost_parts=dict.fromkeys(plan.cost_parts, 0.0),
        orders=tuple(replace(o, planned=0, hand_over=()) for o in plan.orders),
    )
    played = play(nothing, laid.season, CALM, 3)
    season = laid.season
    plants = sum(season.need_cells(o) * season.plants_per_cell(o) for o in season.orders)
    assert not played.filled.any()
    assert played.plants_in_time_frac == 0.0
    assert played.money == pytest.approx(season.house.prices.short_plant * plants)


def test_money_is_what_was_spent_and_what_went_wrong(plan, calm):
    spent = sum(plan.cost_parts[each] for each in ("seed", "container", "mix", "labor", "room"))
    harm = calm.short + calm.late + calm.overgrown
    assert (calm.money >= spent + harm - 1e-6).all()


def test_script_hands_over_what_the_plan_does(plan, laid):
    script = script_of(plan, laid.season)
    assert len(script) == len(plan.sowings)
    given = {g.order: g.day for s in script for g in s.given}
    for o, order in enumerate(laid.season.orders):
        for hand in next(p for p in plan.orders if p.order == order.id).hand_over:
            assert given[o] == laid.season.calendar.day(hand.date)


def test_weather_comes_and_goes_by_days_with_the_houses_spread(laid):
    season = laid.season
    years = drawn_years(season, replace(CALM, season_shift_c=0.0), 0, 120)
    yard = next(k for k, p in enumerate(season.places) if p.kind.value == "yard")
    n_days = season.calendar.n_days
    hours = season.weather.season_hours(season.calendar.first, n_days)
    typical = season.weather.temp_air_c[hours].reshape(n_days, 24).mean(axis=1)
    shift = years.day_mean_c[yard] - typical
    weeks = shift[:, : n_days // 7 * 7].reshape(120, -1, 7).mean(axis=2)
    # Days are set between noons, which takes a little off: a tenth is allowed for.
    assert weeks.std() == pytest.approx(season.house.weather_spread_c, rel=0.1)
    near = np.corrcoef(shift[:, :-1].ravel(), shift[:, 1:].ravel())[0, 1]
    far = np.corrcoef(shift[:, :-30].ravel(), shift[:, 30:].ravel())[0, 1]
    assert near > 0.6
    assert abs(far) < 0.05


def test_other_table_is_used_where_it_has_the_crop(laid):
    catalog = laid.season.catalog
    growth = OtherGrowth(catalog)
    lettuce = growth.emergence(catalog.crops["lettuce"])
    # emergence.csv, lettuce: other table (BW74, from memory) base 3.5 °C, 71 °C d.
    assert (lettuce.base_c, lettuce.thermal_time_cd) == (3.5, 71.0)
    romaine = catalog.crops["lettuce romaine"]  # the other table has nothing of it
    assert growth.emergence(romaine) == romaine.emergence


def test_single_rows_of_broccoli_hold_at_their_own_temperature(laid):
    catalog = laid.season.catalog
    growth, crop = OtherGrowth(catalog), catalog.crops["broccoli"]
    rule = catalog.rule_for("broccoli", "plug-128", "field")
    days = growth.days(crop, rule)
    # C01: 5 to 7 weeks, germination at 29.4 °C, day 18.3 to 21.1, night 15.6 °C.
    mean_c = (13 * (18.3 + 21.1) / 2 + 11 * 15.6) / 24
    rate = (mean_c - crop.growth.base_c) / (rule.temp_ref_c - crop.growth.base_c)
    up_d = days_at_constant(29.4, growth.emergence(crop))
    assert min(abs(days.low_d - (35 - up_d) * rate)) < 0.05
    assert min(abs(days.high_d - (49 - up_d) * rate)) < 0.05


def test_a_draw_takes_one_row_and_a_place_between_its_weeks(laid):
    catalog = laid.season.catalog
    rule = catalog.rule_for("broccoli", "plug-128", "field")
    days = OtherGrowth(catalog).days(catalog.crops["broccoli"], rule)
    first = days.drawn(np.zeros(2), np.array([0.0, 1.0]))
    assert first.tolist() == [days.low_d[0], days.high_d[0]]
    last = days.drawn(np.array([0.999]), np.array([0.5]))
    assert last[0] == pytest.approx((days.low_d[-1] + days.high_d[-1]) / 2)


def test_days_at_which_a_sum_reaches_its_goal_by_hand():
    total = np.array([[0.0, 1.0, 3.0, 6.0], [0.0, 0.0, 0.0, 0.5]])
    assert _crossed(total, np.array([2.0, 0.25])).tolist() == [1.5, 2.5]
    assert _crossed(total, np.array([7.0, 0.0])).tolist() == [np.inf, 0.0]
    assert _at(total, np.array([2.5, 3.0])).tolist() == [4.5, 0.5]
    assert _first_at(np.array([[0.4, 0.9, 1.2]]), np.array([1.0])).tolist() == [3.0]
