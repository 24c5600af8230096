"""Playing seasons with failures planted: rules, what the house believes, and the judging."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmarks.failures.clocks import planned_days
from benchmarks.failures.generator import made_season, work_day
from benchmarks.failures.house import House, Paces
from benchmarks.failures.memory import last_year, told_by_counts
from benchmarks.failures.parameters import CROPS, Failures
from benchmarks.failures.play import ByForecast, Day, Game, filled, look_once, next_work_day
from benchmarks.failures.run import RULES, Outcome, SeasonOutcome, play_season, table
from benchmarks.failures.world import NEVER, Grown, Start, World, start_of

from sowbench.forecasting.records import LotTest


@pytest.fixture(scope="module")
def season():
    return made_season(11, 8)


def _grown(n_right, ready, *, window=10.0):
    up = np.where(np.arange(100) < n_right, 1.0, NEVER)[None, :]
    gone = np.full((1, 100), NEVER)
    return Grown(up, gone, up < NEVER, np.array([100]), ready, ready + window)


def test_an_order_is_filled_by_what_is_good_on_one_day_or_each_on_its_own(season):
    sowing = replace(season.sowings[0], wanted=100, earliest_day=40, latest_day=50, partial=False)
    one = replace(season, sowings=(sowing,))
    assert filled(one, 0, [_grown(100, 45.0)])
    assert not filled(one, 0, [_grown(99, 45.0)])
    assert not filled(one, 0, [_grown(100, 50.5)])  # ready after the last day's midnight
    assert not filled(one, 0, [_grown(100, 29.0)])  # overgrown before the first
    assert filled(one, 0, [_grown(60, 41.0), _grown(50, 49.0)])
    apart = [_grown(60, 41.0, window=2.0), _grown(50, 49.0)]
    assert not filled(one, 0, apart)
    assert filled(replace(one, sowings=(replace(sowing, partial=True),)), 0, apart)


def test_hands_and_room_are_kept_to(season):
    game = Game(season)
    left = Day(minutes=3.0, trays=2)
    assert game.look(0, 30, [1], 100, left)
    assert left.minutes == pytest.approx(3.0 - 0.5 - 1.2)
    assert not game.look(0, 30, [2], 128, left)
    per_tray = CROPS[season.sowings[0].crop].cells_per_tray
    assert not game.resow(0, 30, 5 * per_tray, left)  # not even half of it
    assert game.resow(0, 30, 3 * per_tray, left)
    assert left.trays == 0
    assert game.played.resown[0].n_cells == 2 * per_tray
    game._leaves = [(10_000, season.hands.room_trays)]
    assert not game.resow(1, 30, per_tray, Day(0.0, 10))


def test_looking_once_counts_every_tray_on_a_work_day(season):
    game = Game(season)
    game.play(look_once(10))
    sowing = season.sowings[0]
    day = sowing.sow_day + 10
    while not work_day(day):
        day += 1
    dates = {each.day_date for each in game.house.entries[0]}
    assert game.house.season.sowings[0].sow_day < day
    assert any((each - min(dates)).days == day - sowing.sow_day for each in dates)


def test_work_days_follow_each_other():
    assert [next_work_day(day) for day in (0, 3, 4, 5, 6)] == [1, 4, 7, 7, 7]


def test_what_the_house_believes_of_days_is_what_the_orders_were_planned_with(season):
    house = House(season, World(season))
    for index, sowing in enumerate(season.sowings):
        made = house.open_sowing(index, 0)
        up, ready = planned_days(CROPS[sowing.crop], season.believed_c, sowing.sow_day)
        assert made.ready_day[2, 4] == pytest.approx(ready, abs=0.02)
        hour = 24.0 * (up - sowing.sow_day - 0.5)
        progress = np.interp(hour, made.hours_h, made.progress_cd[2])
        assert progress == pytest.approx(CROPS[sowing.crop].thermal_time_cd, rel=5e-3)
        last = house.last_day(index).day
        if last is not None:
            _, then = planned_days(CROPS[sowing.crop], season.believed_c, last)
            assert then <= sowing.latest_day + 0.02


def test_temperatures_so_far_are_measured_and_then_believed(season):
    house = House(season, World(season))
    index = 0
    day = season.sowings[index].sow_day + 5
    made = house.open_sowing(index, day)
    spread = np.ptp(made.progress_cd, axis=0)
    assert spread[8] == 0.0
    assert spread[40] > 0.0


def test_a_lot_is_judged_by_its_other_sowings_and_not_twice_by_its_own(season):
    house = House(season, World(season))
    lot = season.sowings[0].lot
    house.learn({}, {lot: [(0, 0.5, 0.02)]})
    record = season.lots[lot]
    own = LotTest(record.n_normal, record.n_tested)
    assert house.test_of(lot, but=0) == own
    told = house.test_of(lot)
    assert told.n_normal / told.n_tested == pytest.approx(0.5, abs=0.02)


def test_a_slower_pace_once_learned_moves_all_days(season):
    house = House(season, World(season))
    before = house.open_sowing(0, 0).ready_day[2, 4]
    crop = season.sowings[0].crop
    house.learn({crop: Paces(1.3, 0.1, 1.1, 0.1)}, {})
    assert house.open_sowing(0, 0).ready_day[2, 4] > before + 1.0
    assert house.open_sowing(0, 0, learned=False).ready_day[2, 4] == pytest.approx(before)
    assert house.expected_up(0) > house.handbook_up(0, 0.0) - 2.0


def test_counts_alone_find_a_good_stand_and_last_year_tells_of_paces(season):
    world = World(season, planted=False)
    house = House(season, world)
    grown = world.grown(start_of(season, 0))
    day = season.sowings[0].sow_day + 28
    results = [world.counted(grown, "x", day, tray) for tray in (1, 2)]
    house.write_count(0, day, (1, 2), results)
    told = told_by_counts(house, [0, 1], day + 1)
    assert set(told) == {0}
    seen = sum(n for n, _ in results) / sum(n for _, n in results)
    assert told[0].share_frac == pytest.approx(seen, abs=0.06)
    before = last_year(season)
    assert len(before) == len(season.sowings)
    assert any(each.pace_ready is not None for each in before)
    assert all(each.sow_date.year < 2027 for each in before)


def test_the_forecast_calls_bad_lots_short_once_they_can_be_seen_and_resows_from_another():
    failures = replace(Failures(), bad_lot_frac=1.0, bad_lot_low=0.3, bad_lot_high=0.4)
    made = made_season(12, 6, failures)
    game = Game(made)
    played = game.play(ByForecast())
    seen = [
        index
        for index in game.all
        if (game.house.last_day(index).day or 0) >= np.median(game.grown[index].up_day) + 2
        or (game.house.last_day(index).day or 0) >= made.sowings[index].sow_day + 12
    ]
    assert len(seen) >= 2
    assert set(seen) <= set(played.flagged_day)
    assert played.resown
    assert all(each.lot != made.sowings[i].lot for i, each in played.resown.items())


def test_seasons_are_played_alike_again_and_judged():
    one, two = (play_season(RULES[1], 11, 8) for _ in range(2))
    assert one.minutes == two.minutes
    for a, b in zip(one.sowings, two.sowings, strict=True):
        assert (a.flagged, a.filled, a.cause) == (b.flagged, b.filled, b.cause)


def test_the_table_counts_what_its_words_say():
    nan = float("nan")
    rows = (
        Outcome(18.0, True, True, True, "bad lot", True, 2.0, True, True),
        Outcome(18.0, True, True, True, "bad lot", True, -1.0, False, False),
        Outcome(30.0, True, False, False, "", False, nan, False, False),
        Outcome(60.0, False, False, False, "", True, 3.0, True, True),
    )
    none = tuple(replace(each, filled=not each.short) for each in rows)
    text = table({"none": [SeasonOutcome(none, 0.0, 0.0)], "rule": [SeasonOutcome(rows, 8.0, 0.0)]})
    row = next(line for line in text.splitlines() if line.startswith("| rule | 5"))
    assert row.startswith("| rule | 50.0 % | +25.0")
    assert "| 1 of 2, 50 % | 1, 5.00 in 20 | 2 | 8 |" in row
    assert "| bad lot | 2 | 1 of 2, 50 % | 2 | 1 |" in text


def test_a_start_is_that_of_its_sowing(season):
    each = season.sowings[3]
    assert start_of(season, 3) == Start(each.name, each.crop, each.lot, each.sow_day, each.n_cells)
