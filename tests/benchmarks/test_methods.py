"""First come, the hand rule and the crew's days, on a season small enough to look through."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from benchmarks.attendance import attendance
from benchmarks.first_come import first_come, first_come_plan
from benchmarks.hand_rule import hand_rule_plan, handbook_row
from benchmarks.laid_out import read_season
from benchmarks.measure import season_folder

from sowbench.domain.records import ContainerClass
from sowbench.planning.candidates import build_candidates
from sowbench.reference.growth_rows import schedule_rows


@pytest.fixture(scope="module")
def laid(tmp_path_factory):
    return read_season(season_folder("made-20-3", tmp_path_factory.mktemp("twenty")))


@pytest.fixture(scope="module")
def candidates(laid):
    return build_candidates(laid.season)


@pytest.fixture(scope="module")
def by_hand(laid):
    return hand_rule_plan(laid, 0.0)


def test_first_come_never_exceeds_what_there_is(candidates):
    program = candidates.program
    use = program.use(*first_come(program).arrays(program))
    assert (use <= program.resources.capacity + 1e-6).all()


def test_first_come_gives_the_first_order_its_cheapest(candidates):
    program = candidates.program
    served = {program.orders_of(p.candidate)[0]: p.candidate for p in first_come(program).parts}
    first = min(served)
    members = program.members[program.group]
    own = np.flatnonzero((members[:, 0] == first) & (members[:, 1] < 0))
    cost = program.cost_variable + program.cost_fixed
    assert cost[served[first]] == cost[own].min()


def test_first_come_serves_whole_orders_one_sowing_each(laid, candidates):
    plan = first_come_plan(laid, candidates, 0.0)
    assert all(len(s.orders) == 1 for s in plan.sowings)
    assert all(o.planned in {0, o.plants} for o in plan.orders)
    assert len(plan.sowings) + len(plan.unmet) == len(laid.season.orders)


def test_first_come_costs_what_its_parts_cost(laid, candidates):
    plan = first_come_plan(laid, candidates, 0.0)
    assert plan.cost == pytest.approx(sum(plan.cost_parts.values()), abs=1e-3)


def test_hand_rule_sows_fifteen_percent_more(laid, by_hand):
    need = {o.id: laid.season.need_cells(o) for o in laid.season.orders}
    assert by_hand.sowings
    for sowing in by_hand.sowings:
        assert sowing.n_cells == int(np.ceil(1.15 * need[sowing.orders[0].order] - 1e-9))
        crop = laid.season.catalog.crops[sowing.crop]
        assert sowing.seeds_per_cell == crop.seeds_per_cell


def test_hand_rule_counts_back_the_middle_of_the_weeks(laid, by_hand):
    season, rows = laid.season, schedule_rows()
    wanted = {o.id: o.wanted_date for o in season.orders}
    for sowing in by_hand.sowings:
        container = season.catalog.containers[sowing.steps[-1].container]
        crop = season.catalog.crops[sowing.crop]
        row = handbook_row(rows, crop, container.container_class)
        counted = wanted[sowing.orders[0].order] - timedelta(
            days=round(7 * (row.weeks_min + row.weeks_max) / 2)
        )
        late_start = counted < laid.inputs.from_date + timedelta(days=3)
        assert late_start or timedelta(0) <= counted - sowing.sow_date <= timedelta(days=5)


def test_hand_rule_stays_within_each_place(laid, by_hand):
    season = laid.season
    for place in season.places:
        room = np.zeros(season.calendar.n_days)
        for sowing in by_hand.sowings:
            for step in sowing.steps:
                if step.place == place.name:
                    container = season.catalog.containers[step.container]
                    m2 = max(
                        step.n_containers * container.area_m2,
                        step.n_cells / step.plants_per_m2 if step.plants_per_m2 else 0.0,
                    )
                    a, b = (season.calendar.day(d) for d in (step.from_date, step.to_date))
                    room[a:b] += step.n_containers if place.n_positions else m2
        limit = place.n_positions or (place.area_m2 or np.inf) * place.usable_frac
        assert room.max() <= limit * (1 + 1e-9)


def test_handbook_row_of_broccoli_is_the_first_source_of_its_schedule(laid):
    # transplant_schedule.csv, C01: broccoli 5 to 7 weeks, plug tray / flat.
    crop = laid.season.catalog.crops["broccoli"]
    row = handbook_row(schedule_rows(), crop, ContainerClass.PLUG)
    assert (row.source_id, row.weeks_min, row.weeks_max) == ("C01", 5.0, 7.0)


def test_nobody_waters_where_nobody_comes_on_days_off(tmp_path, laid, by_hand):
    there = attendance(by_hand, laid.season)
    assert there.water_frac == 1.0
    alone = read_season(season_folder("made-20-3+weekdays", tmp_path))
    assert attendance(hand_rule_plan(alone, 0.0), alone.season).water_frac < 0.1


def test_lots_per_sowing_day_counts_each_lot_once(laid, by_hand):
    found = attendance(by_hand, laid.season)
    days = {s.sow_date for s in by_hand.sowings}
    pairs = {(s.sow_date, s.lot) for s in by_hand.sowings}
    assert found.n_sowing_days == len(days)
    assert found.lots_per_sowing_day == pytest.approx(len(pairs) / len(days))
    assert 1.0 <= found.lots_per_sowing_day <= found.sowings_per_sowing_day
