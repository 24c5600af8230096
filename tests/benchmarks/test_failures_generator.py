"""The season with failures planted: frozen, repeatable, and what it says it is."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import numpy as np
import pytest
from benchmarks.failures.generator import made_season, stream, work_day
from benchmarks.failures.parameters import CROPS, Failures
from benchmarks.failures.world import NEVER, Start, World

# What the generator made when it was frozen; no rule had been tried on it by then.
FROZEN = "7223cea6d9581c3c2fada480d8136da0e1d98ae74cf0dd60d07aefdf1c841d3a"


def _start(sowing):
    return Start(sowing.name, sowing.crop, sowing.lot, sowing.sow_day, sowing.n_cells)


def _fingerprint(seed):
    """Hash whole numbers of all that a season consists of."""
    season = made_season(seed)
    found = hashlib.sha256()

    def add(*values):
        found.update(repr(values).encode())

    for lot in season.lots:
        add(lot.name, lot.n_normal, lot.n_tested, lot.bad_share < 1.0)
    for event in season.events:
        add(event.kind, event.place, event.first_day, event.n_days, round(1000 * event.size_c))
    for each in season.rounds:
        add(each.sowing, each.day, each.trays, each.n_cells, each.person)
    add(np.rint(10 * season.calm_c).astype(int).tolist())
    world = World(season)
    for sowing in season.sowings:
        grown = world.grown(_start(sowing))
        add(
            sowing.name, sowing.lot, sowing.sow_day, sowing.n_cells, sowing.wanted,
            sowing.wanted_day, sowing.earliest_day, sowing.latest_day, sowing.confidence_frac,
            sowing.partial, grown.n_usable(), round(10 * grown.ready_day),
        )  # fmt: skip
        day = sowing.sow_day + 9
        for tray in range(1, sowing.n_trays + 1):
            add(int(grown.right(tray, day).sum()), world.counted(grown, sowing.name, day, tray))
            add(world.counted(grown, sowing.name, day, tray, 30))
    return found.hexdigest()


@pytest.fixture(scope="module")
def season():
    return made_season(7)


def test_the_generator_is_frozen():
    assert _fingerprint(7) == FROZEN


def test_planted_failures_come_at_their_rates_over_many_seasons():
    world = Failures()
    seasons = [made_season(seed, n_sowings=0) for seed in range(2000, 2120)]
    bad = np.mean([lot.bad_share < 1.0 for each in seasons for lot in each.lots])
    weeks = 120 * 40
    cold = sum(e.kind == "cold week" for each in seasons for e in each.events) / weeks
    fault = sum(e.kind == "heater fault" for each in seasons for e in each.events) / (2 * weeks)
    for found, rate, n in (
        (bad, world.bad_lot_frac, 120 * 42),
        (cold, world.cold_week_frac, weeks),
        (fault, world.heater_fault_frac, 2 * weeks),
    ):
        assert abs(found - rate) < 4 * np.sqrt(rate * (1 - rate) / n)


def test_leaving_the_planted_failures_out_changes_nothing_else(season):
    calm = made_season(
        7, failures=replace(Failures(), bad_lot_frac=0.0, cold_week_frac=0.0, heater_fault_frac=0.0)
    )
    with_them, without = World(season, planted=False), World(calm)
    for sowing in season.sowings[:20]:
        one, two = with_them.grown(_start(sowing)), without.grown(_start(sowing))
        assert np.array_equal(one.up_day, two.up_day)
        assert one.n_usable() == two.n_usable()


def test_planted_failures_never_help(season):
    planted, calm = World(season), World(season, planted=False)
    for sowing in season.sowings:
        bad, good = planted.grown(_start(sowing)), calm.grown(_start(sowing))
        assert (bad.up_day < NEVER).sum() <= (good.up_day < NEVER).sum()
        assert bad.ready_day >= good.ready_day - 3.0  # a thinned stand's median may come sooner


def test_what_begins_after_a_day_can_be_left_out(season):
    event = season.events[0]
    before, whole = World(season, until_day=event.first_day - 1), World(season)
    assert np.all(before.temp_c >= whole.temp_c)
    assert [each for each in whole.events if each not in before.events] == [
        each for each in whole.events if each.first_day >= event.first_day
    ]
    assert before.events != whole.events


def test_counts_are_off_by_a_few_cells_only_where_something_is_up(season):
    world = World(season)
    off = []
    for sowing in season.sowings:
        grown = world.grown(_start(sowing))
        n, seen = world.counted(grown, sowing.name, sowing.sow_day, 1)
        assert (n, seen) == (0, grown.n_cells[0])
        n, _ = world.counted(grown, sowing.name, sowing.sow_day + 25, 1)
        off.append(n - int(grown.right(1, sowing.sow_day + 25).sum()))
    assert np.mean(np.array(off) == 0) > 0.4
    assert np.max(np.abs(off)) <= 15


def test_people_count_on_work_days_and_sometimes_too_early(season):
    world = World(season)
    assert all(work_day(each.day) for each in season.rounds)
    zeros = 0
    for each in season.rounds:
        sowing = season.sowings[each.sowing]
        grown = world.grown(_start(sowing))
        zeros += world.counted(grown, sowing.name, each.day, each.trays[0], each.n_cells)[0] == 0
    assert zeros > 0


def test_there_are_a_hundred_sowings_of_crops_of_different_length(season):
    assert len(season.sowings) >= 100
    assert {CROPS[each.crop].place for each in season.sowings} == {0, 1}
    lengths = [each.wanted_day - each.sow_day for each in season.sowings]
    assert min(lengths) < 21
    assert max(lengths) > 60


def test_streams_depend_on_their_whole_name():
    assert stream(1, "a").random() == stream(1, "a").random()
    assert len({stream(1, "a").random(), stream(2, "a").random(), stream(1, "b").random()}) == 3
