"""The forecast at its limits: no counts, many counts, slow and dead lots, doubles and losses."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr
from tests.forecasting._made import DAY, GOAL_CD, SIGMA_SEED, count, made, order

from sowbench.domain.journal import Entry, EntryKind
from sowbench.forecasting import (
    ForecastParameters,
    OpenOrder,
    explain_movement,
    forecast_sowings,
)
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.science.risk import OrderNeed, Share, SowingRisk, order_chances
from sowbench.science.stand import cell_ok_prob, lot_nodes, usable_frac

AS_PLANNED = ForecastParameters(odd_lot_frac=0.0)


def planned(sowing, need, *, test=(190, 200), n_cells=1280, per_tray=128):
    """Chances by the plan's own code, for the same sowing."""
    p, weight = lot_nodes(*test)
    seed = np.outer(sowing.warm_frac, p) * sowing.emergence_frac * sowing.on_time_frac
    usable = usable_frac(cell_ok_prob(sowing.cell.seeds_per_cell, seed, 1))
    risk = SowingRisk(
        0, 0, n_cells, per_tray, usable, weight, sowing.ready_day, sowing.overgrown_day
    )
    return order_chances(need, [risk])


@pytest.mark.parametrize(
    ("n_cells", "n_trays", "within"),
    [(60, 1, 0.001), (1280, 10, 0.004), (12800, 100, 0.006)],
)
@pytest.mark.parametrize("share", [0.76, 0.8, 0.83, 0.86])
def test_without_counts_the_chances_are_those_of_the_plan(n_cells, n_trays, within, share):
    asked = order(int(share * n_cells))
    sowing = made(n_cells=n_cells, n_trays=n_trays)
    found = forecast_sowings([sowing], [asked], AS_PLANNED).orders[0]
    plan = planned(sowing, asked.need, n_cells=n_cells, per_tray=-(-n_cells // n_trays))
    assert found.chance_enough_frac == pytest.approx(plan.enough_frac, abs=within)
    assert found.chance_in_time_frac == pytest.approx(plan.in_time_frac, abs=0.001)
    assert found.chance_filled_frac == pytest.approx(plan.filled_frac, abs=within)


def test_without_counts_a_lot_that_may_be_odd_takes_no_more_than_its_chance():
    asked = order(1000)
    sowing = made()
    found = forecast_sowings([sowing], [asked]).orders[0]
    plan = planned(sowing, asked.need)
    assert 0.0 <= plan.enough_frac - found.chance_enough_frac < 0.012


def test_without_counts_weather_that_decides_what_comes_up_is_as_in_the_plan():
    warm = [1.0, 0.99, 0.96, 0.9, 0.75]
    sowing = made(warm_frac=warm, seeds=2)
    asked = order(1150)
    found = forecast_sowings([sowing], [asked], AS_PLANNED).orders[0]
    plan = planned(sowing, asked.need)
    # Nearly all cells come up, so the count is skew; the normal count given the grid is not.
    assert found.chance_enough_frac == pytest.approx(plan.enough_frac, abs=0.007)
    assert found.chance_filled_frac == pytest.approx(plan.filled_frac, abs=0.007)
    exact = forecast_sowings([sowing], [], AS_PLANNED).usable_pmf("S")[1150:].sum()
    assert exact == pytest.approx(plan.enough_frac, abs=0.001)


def test_without_counts_a_lot_that_tested_to_the_last_seed_is_as_in_the_plan():
    sowing = made(test=(200, 200))
    asked = order(1080)
    found = forecast_sowings([sowing], [asked], AS_PLANNED).orders[0]
    plan = planned(sowing, asked.need, test=(200, 200))
    assert found.chance_enough_frac == pytest.approx(plan.enough_frac, abs=0.003)


def test_once_every_tray_is_counted_the_data_decide():
    counts = [count("S", 30, 64 + k % 3, (k,)) for k in range(1, 11)]
    found = forecast_sowings([made(entries=counts)]).sowings[0]
    n_right = sum(each.n for each in counts)
    assert found.plants_mean == pytest.approx(0.931 * n_right * 0.995, rel=0.05)
    assert found.plants.p95 < n_right
    assert found.right_frac[0] < n_right / 1280 + 0.06
    assert found.n_counts == 10


def test_a_late_count_of_a_good_lot_agrees_with_its_test():
    found = forecast_sowings([made(entries=[count("S", 18, 1150)])]).sowings[0]
    assert found.plants_mean == pytest.approx(0.931 * 1150, rel=0.03)


def test_an_early_count_of_zero_on_a_slow_lot_barely_lowers_the_stand_and_moves_the_day():
    before = forecast_sowings([made()]).sowings[0]
    after = forecast_sowings([made(entries=[count("S", 6, 0, (1,))])]).sowings[0]
    assert 0.0 <= before.plants_mean - after.plants_mean < 0.015 * before.plants_mean
    assert after.plants.p50 >= before.plants.p50 - 3
    assert after.ready.p50 >= before.ready.p50 + 3


def test_zero_so_late_that_no_pace_explains_it_is_a_dead_lot():
    counts = [count("S", day, 0, (1, 2)) for day in (8, 14, 24)]
    found = forecast_sowings([made(entries=counts)]).sowings[0]
    assert found.plants.p95 < 0.15 * 1280


def test_half_a_stand_at_the_end_of_a_normal_rise_is_half_a_stand():
    counts = [
        count("S", day, n, (tray,))
        for tray in (1, 2)
        for day, n in ((7, 15), (8, 32), (10, 60), (12, 64), (14, 64))
    ]
    found = forecast_sowings([made(entries=counts)]).sowings[0]
    assert found.plants.p50 == pytest.approx(0.5 * 0.931 * 1280, rel=0.12)
    assert abs(found.lag[1]) < 0.1


def test_a_double_counts_as_a_cell_with_what_is_wanted():
    one = count("S", 12, None, (1,), cells="1" * 100 + "+" * 10 + "0" * 10 + "-" * 8)
    two = count("S", 12, 110, (1,), n_of=128)
    first, second = (forecast_sowings([made(entries=[each])]).sowings[0] for each in (one, two))
    assert first == second


def test_cells_not_looked_at_are_not_taken_for_empty():
    some = count("S", 12, None, (1,), cells="1" * 28 + "0" * 4 + "." * 96)
    same = count("S", 12, 28, (1,), n_of=32)
    first, second = (forecast_sowings([made(entries=[each])]).sowings[0] for each in (some, same))
    assert first == second
    whole = forecast_sowings([made(entries=[count("S", 12, 112, (1,))])]).sowings[0]
    assert first.plants_sd > whole.plants_sd


COUNTS = (
    count("S", 7, 25, (1,), person="Ada"),
    count("S", 8, 150, (2, 3), person="Ben"),
    count("S", 9, 20, (4,), n_of=32, person="Ada"),
    count("S", 11, 108, (1,), person="Ben"),
    count("S", 12, 1090, person="Ada"),
)


@settings(max_examples=20, deadline=None)
@given(st.permutations(COUNTS))
def test_the_order_of_arrival_does_not_matter(counts):
    reference = forecast_sowings([made(entries=COUNTS)]).sowings[0]
    assert forecast_sowings([made(entries=counts)]).sowings[0] == reference


@settings(max_examples=25, deadline=None)
@given(
    st.integers(5, 20),
    st.floats(-0.4, 0.4),
    st.integers(1, 20),
    st.sampled_from([(1,), (1, 2, 3), ()]),
)
def test_more_counted_never_lowers_what_is_expected(day, lag, more, trays):
    # What a pace within its doubt can give; what nothing explains may be slow or dead.
    n = round(128 * 0.9 * ndtr((np.log(10.0 * day / GOAL_CD) - lag) / SIGMA_SEED))
    size = 128 * (len(trays) or 10)
    low, high = (n * size // 128, min(n + more, 128) * size // 128)
    sowings = [made(entries=[count("S", day, each, trays)]) for each in (low, high)]
    worse, better = forecast_sowings(sowings, (), AS_PLANNED).sowings
    # A count that a slow pace explains says nothing of the end; a higher one, nearer to the end,
    # can say that it is a little lower: by up to 1 % of the cells. The day never moves back.
    assert better.plants_mean >= worse.plants_mean - 0.01 * 1280
    assert better.ready.p50 <= worse.ready.p50


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 127), st.integers(1, 40), st.sampled_from([(1,), (1, 2, 3), ()]))
def test_more_counted_once_all_are_up_is_strictly_more(n, more, trays):
    size = 128 * (len(trays) or 10)
    low, high = (n * size // 128, min(n + more, 128) * size // 128)
    worse, better = forecast_sowings([
        made(entries=[count("S", 40, low, trays)], sigma_pace=0.1),
        made(entries=[count("S", 40, high, trays)], sigma_pace=0.1),
    ]).sowings  # fmt: skip
    assert better.plants_mean > worse.plants_mean
    for a, b in zip(_three(better.plants), _three(worse.plants), strict=True):
        assert a >= b


def _three(spread):
    return spread.p05, spread.p50, spread.p95


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.integers(4, 25), st.integers(1, 10), st.integers(0, 128)), max_size=8),
    st.integers(1, 3),
)
def test_whatever_is_counted_a_forecast_is_a_distribution(counts, seeds):
    entries = [count("S", day, n, (tray,), id=f"{i}") for i, (day, tray, n) in enumerate(counts)]
    forecasts = forecast_sowings([made(entries=entries, seeds=seeds)], [order(900)])
    (found,), (chances,) = forecasts.sowings, forecasts.orders
    assert 0 <= found.plants.p05 <= found.plants.p50 <= found.plants.p95 <= 1280
    assert 0.0 <= found.right_frac[0] <= found.right_frac[2] <= 1.0
    assert found.ready.p10 <= found.ready.p50 <= found.ready.p90
    least = min(chances.chance_enough_frac, chances.chance_in_time_frac)
    assert 0.0 <= chances.chance_filled_frac <= least + 1e-6
    pmf = forecasts.usable_pmf("S")
    assert pmf.sum() == pytest.approx(1.0)
    assert pmf @ np.arange(pmf.size) == pytest.approx(found.plants_mean, rel=0.004, abs=1.0)


def test_quantiles_are_those_of_the_exact_distribution():
    entries = [count("S", 9, 80, (1,)), count("S", 9, 85, (2,)), count("S", 9, 20, (3,), n_of=32)]
    forecasts = forecast_sowings([made(entries=entries)])
    below = np.cumsum(forecasts.usable_pmf("S"))
    exact = [int(np.searchsorted(below, share)) for share in (0.05, 0.5, 0.95)]
    assert list(_three(forecasts.sowings[0].plants)) == pytest.approx(exact, abs=4)


def test_the_usual_grid_agrees_with_a_finer_one():
    entries = [count("S", 7, 20, (1,)), count("S", 8, 60, (2,)), count("S", 10, 100, (1,))]
    sowing, asked = made(entries=entries), order(1010)
    usual = forecast_sowings([sowing], [asked])
    fine = forecast_sowings([sowing], [asked], ForecastParameters(n_lag=129, n_stand=97))
    for name in ("chance_enough_frac", "chance_in_time_frac", "chance_filled_frac"):
        a, b = getattr(usual.orders[0], name), getattr(fine.orders[0], name)
        assert a == pytest.approx(b, abs=0.003), name
    assert usual.sowings[0].plants_mean == pytest.approx(fine.sowings[0].plants_mean, abs=1.0)
    assert _three(usual.sowings[0].plants) == pytest.approx(_three(fine.sowings[0].plants), abs=2)


def test_measured_progress_takes_the_place_of_the_planned():
    slow = made(entries=[count("S", 8, 5, (1,))])
    cold = replace(
        made(entries=[count("S", 8, 5, (1,))], measured=True),
        progress_cd=slow.progress_cd[:1] * 0.7,
    )
    planned_warmth, measured = forecast_sowings([slow, cold]).sowings
    assert measured.lag[1] < planned_warmth.lag[1] - 0.2
    assert measured.plants_mean >= planned_warmth.plants_mean - 1.0


def test_what_came_up_too_late_is_not_usable():
    early, late = made(on_time_frac=1.0), made(on_time_frac=0.8)
    entries = [count("S", day, 1100) for day in (8, 16)]
    with_all, without = forecast_sowings([
        replace(early, entries=(*early.entries, *entries)),
        replace(late, entries=(*late.entries, *entries)),
    ]).sowings  # fmt: skip
    assert without.plants_mean == pytest.approx(0.8 * with_all.plants_mean, rel=0.03)


def test_lost_dumped_graded_and_handed_over_cells_are_taken_off():
    counted = count("S", 14, 1150)
    after = DAY + timedelta(days=20)

    def then(kind, **fields):
        return made(entries=[counted, Entry("x", after, kind, "S", **fields)])

    kept, lost, dumped, graded, gone, part = forecast_sowings([
        made(entries=[counted]),
        then(EntryKind.LOST, n=200, trays=(1, 2)),
        then(EntryKind.DUMPED, trays=(1, 2, 3, 4, 5)),
        then(EntryKind.GRADED, n=1000),
        then(EntryKind.DELIVERED, n=1000, values={"last": 1}),
        then(EntryKind.DELIVERED, n=300),
    ]).sowings  # fmt: skip
    assert kept.plants_mean - lost.plants_mean == pytest.approx(200 * 0.926, rel=0.03)
    assert dumped.plants_mean == pytest.approx(0.5 * kept.plants_mean, rel=0.01)
    assert graded.plants_mean == pytest.approx(995, abs=6)
    assert (gone.plants_mean, gone.plants.p95, gone.n_cells) == (0.0, 0, 0)
    assert kept.plants_mean - part.plants_mean == pytest.approx(300, abs=1)


def test_potted_on_plants_are_predicted_from_and_tell_nothing_of_the_lot():
    potted = Entry("p", DAY + timedelta(days=20), EntryKind.POTTED_ON, "S", n=1000, n_containers=50)
    before, after = forecast_sowings([
        made(entries=[count("S", 14, 90, (1,))]), made(entries=[count("S", 14, 90, (1,)), potted])
    ]).sowings  # fmt: skip
    assert after.right_frac == pytest.approx(before.right_frac, abs=1e-9)
    assert after.n_cells == 1000
    assert 880 < after.plants_mean < 935


def test_a_sowing_whose_entries_tell_of_no_trays_is_put_into_full_ones():
    bare = replace(made(), entries=(), n_cells=1280, cells_per_tray=128)
    assert forecast_sowings([bare]).sowings[0] == forecast_sowings([made()]).sowings[0]


def test_an_order_after_another_of_the_same_sowing_needs_what_both_want():
    both = [order(1000), order(50, before=950, name="second", last=True)]
    found = forecast_sowings([made()], both).orders
    assert found[0].chance_enough_frac == pytest.approx(found[1].chance_enough_frac)
    none = OpenOrder("none", OrderNeed((), 10, 10, 1, 2))
    assert forecast_sowings([], [none]).orders[0].chance_filled_frac == 0.0


def test_what_moved_a_forecast_is_the_entry_that_says_something_new():
    entries = [
        count("S", 12, 108, (1,), id="old"),
        count("S", 14, 110, (2,), id="usual"),
        count("S", 14, 420, (3, 4, 5, 6, 7, 8), id="bad"),
    ]
    quiet = made("quiet", entries=[count("quiet", 12, 108, (1,))])
    found = explain_movement(
        [made(entries=entries), quiet], [order(1000)], DAY + timedelta(days=13)
    )
    (moved,) = found
    assert moved.sowing == "S"
    assert [each.entry for each in moved.causes] == ["bad", "usual"]
    assert moved.causes[0].plants < -100
    assert abs(moved.causes[1].plants) < 0.25 * abs(moved.causes[0].plants)
    assert moved.filled_now["O"] < moved.filled_before["O"]
    assert moved.causes[0].filled_frac["O"] < -0.05
    total = sum(each.plants for each in moved.causes) + moved.plants_rest
    assert total == pytest.approx(moved.now.plants_mean - moved.before.plants_mean)


def test_warmth_is_a_cause_of_its_own_and_explains_an_early_rise():
    early = count("S", 7, 70, (1,))
    planned = made(entries=[early], measured=True)
    warm = replace(
        planned, progress_cd=planned.progress_cd * 1.15, progress_before_cd=planned.progress_cd
    )
    (moved,) = explain_movement([warm], [order(1000)], DAY + timedelta(days=7))
    (cause,) = moved.causes
    assert cause.entry == ""
    assert cause.warmer_cd == pytest.approx(0.15 * planned.progress_cd[0, -1])
    # The same count after more warmth tells of a slower lot: the day moves back.
    assert cause.ready_d >= 1.0
    assert cause.ready_d == moved.now.ready.p50 - moved.before.ready.p50
    assert explain_movement([planned], [order(1000)], DAY + timedelta(days=7)) == ()
    with pytest.raises(OutOfRangeError, match="progress_before_cd of S"):
        replace(planned, progress_before_cd=planned.progress_cd[:, :-1])


def test_what_does_not_fit_is_refused_with_its_name():
    with pytest.raises(OutOfRangeError, match="n_normal of S"):
        made(test=(210, 200))
    with pytest.raises(OutOfRangeError, match="share of O"):
        forecast_sowings([made()], [order(5, sowing=3)])
    with pytest.raises(OutOfRangeError, match="latest_day of O"):
        forecast_sowings([made()], [order(5, earliest=9, latest=8)])
    with pytest.raises(UnknownNameError):
        forecast_sowings([made()]).usable_pmf("T")


def test_shares_of_two_sowings_are_reckoned_together():
    one = made("A", n_cells=640, n_trays=5)
    two = made("B", n_cells=640, n_trays=5)
    need = OrderNeed((Share(0, 0, 530), Share(1, 0, 530)), 1060, 1040, 32, 38)
    found = forecast_sowings([one, two], [OpenOrder("O", need)], AS_PLANNED).orders[0]
    p, weight = lot_nodes(190, 200)
    usable = np.tile(usable_frac(p * 0.95 * 0.98), (5, 1))
    risk = SowingRisk(0, 0, 640, 128, usable, weight, one.ready_day, one.overgrown_day)
    plan = order_chances(need, [risk, risk])
    assert found.chance_enough_frac == pytest.approx(plan.enough_frac, abs=0.004)
    assert found.chance_in_time_frac == pytest.approx(plan.in_time_frac, abs=0.004)
    assert found.chance_filled_frac == pytest.approx(plan.filled_frac, abs=0.005)


def test_a_count_of_one_sowing_speaks_for_the_other_of_its_lot_within_their_order():
    need = OrderNeed((Share(0, 0, 530), Share(1, 0, 530)), 1060, 820, 32, 38)
    bad = [count("A", day, n) for day, n in ((7, 90), (8, 190), (10, 370), (14, 400))]

    def chance(lot):
        sowings = [
            made("A", n_cells=640, n_trays=5, entries=bad),
            made("B", n_cells=640, n_trays=5, lot=lot),
        ]
        return forecast_sowings(sowings, [OpenOrder("O", need)]).orders[0].chance_enough_frac

    assert chance("L") < chance("another") - 0.3
