"""Thermal time, its sums, and the final fraction."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sowbench.science.emergence import (
    FractionCurve,
    ThermalResponse,
    accumulate,
    best_temperature,
    days_at_constant,
    emergence_target,
    final_fraction,
    germination_target,
    hours_to,
    on_time_fraction,
    relative_fraction,
    seed_time_quantile,
    thermal_rate,
)
from sowbench.science.errors import OutOfRangeError

TOMATO = ThermalResponse(8.0, 26.0, 30.0, 40.0, 90.0)
CURVE = FractionCurve(0.96, 8.5, 1.5, 34.0, 3.0)
CROP = SimpleNamespace(
    thermal_time_cd=90.0, sigma_seed=0.18, sigma_pace=0.25, germination_share=0.55
)


def test_rate_follows_its_four_pieces():
    temps = np.array([-5.0, 8.0, 17.0, 26.0, 28.0, 30.0, 35.0, 40.0, 55.0])
    # By hand: 17 - 8 = 9; optimum 26 - 8 = 18; halfway from 30 to the ceiling of 40, 9.
    expected = [0, 0, 9, 18, 18, 18, 9, 0, 0]
    np.testing.assert_allclose(thermal_rate(temps, TOMATO), expected)


def test_rate_of_a_number_is_a_number_and_gaps_stay():
    assert isinstance(thermal_rate(20.0, TOMATO), float)
    assert thermal_rate(20.0, TOMATO) == 12.0
    assert math.isnan(thermal_rate(math.nan, TOMATO))
    assert thermal_rate(np.full((2, 3), 20.0), TOMATO).shape == (2, 3)


@given(st.floats(-60, 65), st.floats(0.0, 5.0))
def test_rate_never_falls_below_the_optimum_nor_rises_above_it(temp, more):
    colder, warmer = thermal_rate(temp, TOMATO), thermal_rate(temp + more, TOMATO)
    if temp + more <= 30.0:
        assert warmer >= colder
    if temp >= 26.0:
        assert warmer <= colder + 1e-12
    assert 0.0 <= colder <= 18.0


@pytest.mark.parametrize("bad", [-71.0, 75.0])
def test_temperatures_no_mix_can_have_are_refused(bad):
    with pytest.raises(OutOfRangeError, match=r"temp_c must be between -70 and 70 °C; got .*°F"):
        thermal_rate(bad, TOMATO)
    with pytest.raises(OutOfRangeError, match="temp_c must be"):
        final_fraction(np.array([20.0, bad]), CURVE)


@pytest.mark.parametrize(
    "bad", [(26.0, 20.0, 30.0, 40.0), (8.0, 30.0, 26.0, 40.0), (8.0, 26.0, 40.0, 40.0)]
)
def test_cardinal_temperatures_must_rise(bad):
    with pytest.raises(OutOfRangeError, match="rising"):
        thermal_rate(20.0, TOMATO._replace(**dict(zip(TOMATO._fields, bad, strict=False))))


def test_days_at_constant_are_infinite_where_nothing_moves():
    days = days_at_constant(np.array([8.0, 20.0, 40.0, np.nan]), TOMATO)
    assert days[:3].tolist() == [math.inf, 7.5, math.inf]
    assert math.isnan(days[3])
    assert days_at_constant(20.0, TOMATO) == 7.5


def test_accumulated_sum_starts_at_zero_and_ends_at_the_mean_rate():
    temps = np.tile([15.0, 25.0], (3, 48))
    progress = accumulate(temps, TOMATO)
    assert progress.shape == (3, 97)
    assert np.all(progress[:, 0] == 0.0)
    # By hand: half the hours at 7, half at 17 °C d per day, four days.
    np.testing.assert_allclose(progress[:, -1], 4 * 12.0)
    assert np.all(np.diff(progress, axis=-1) >= 0.0)


def test_accumulate_wants_a_series():
    with pytest.raises(OutOfRangeError, match="a series"):
        accumulate(20.0, TOMATO)
    with pytest.raises(OutOfRangeError, match="a series"):
        accumulate(np.empty((2, 0)), TOMATO)


def test_hours_to_agrees_with_days_at_constant():
    progress = accumulate(np.full(24 * 20, 20.0), TOMATO)
    reached = hours_to(progress, 12.0, 90.0)
    assert float(reached) == pytest.approx(12 + 24 * 7.5)


@given(
    st.integers(0, 2**32 - 1),
    st.floats(0.0, 200.0),
    st.floats(0.01, 120.0),
)
def test_hours_to_agrees_with_walking_the_hours(seed, start, target):
    temps = np.random.default_rng(seed).uniform(0.0, 45.0, 24 * 30)
    progress = accumulate(temps, TOMATO)
    reached = float(hours_to(progress, start, target))
    # Walk hour by hour with numpy's own interpolation.
    hours = np.arange(progress.size, dtype=float)
    goal = np.interp(start, hours, progress) + target
    if goal > progress[-1]:
        assert reached == math.inf
    else:
        assert np.interp(reached, hours, progress) == pytest.approx(goal, abs=1e-9)
        assert np.interp(max(reached - 1e-3, start), hours, progress) <= goal
        assert reached >= start


def test_hours_to_waits_through_a_cold_spell_only_as_long_as_it_must():
    # Two warm hours, ten cold ones, then warm: 1 °C d at 24 °C d per day are one hour.
    warm = ThermalResponse(0.0, 24.0, 30.0, 40.0, 1.0)
    progress = accumulate([24.0, 24.0] + [-5.0] * 10 + [24.0] * 4, warm)
    np.testing.assert_allclose(
        hours_to(progress, 0.0, [0.0, 1.0, 2.0, 2.5, 3.0]), [0, 1, 2, 12.5, 13]
    )
    # A start inside the cold spell waits for its end; a target of nothing is reached at once.
    np.testing.assert_allclose(hours_to(progress, [5.0, 5.0], [1.0, 0.0]), [13.0, 5.0])


def test_hours_to_broadcasts_starts_targets_and_series():
    temps = np.stack([np.full(24 * 30, 16.0), np.full(24 * 30, 26.0)])
    progress = accumulate(temps, TOMATO)
    starts = 24.0 * np.arange(5)[:, np.newaxis] + 12.0
    targets = np.array([45.0, 90.0, 1e6])
    reached = hours_to(progress, starts, targets)
    assert reached.shape == (2, 5, 3)
    assert np.all(np.isinf(reached[..., 2]))
    for w in range(2):
        np.testing.assert_allclose(reached[w], hours_to(progress[w], starts, targets))


def test_hours_to_refuses_starts_outside_and_targets_that_are_none():
    progress = accumulate(np.full(48, 20.0), TOMATO)
    with pytest.raises(OutOfRangeError, match="inside the series, from 0 to 48 h; got 49"):
        hours_to(progress, 49.0, 1.0)
    with pytest.raises(OutOfRangeError, match="start_h"):
        hours_to(progress, np.nan, 1.0)
    with pytest.raises(OutOfRangeError, match="target_cd"):
        hours_to(progress, 0.0, -1.0)
    with pytest.raises(OutOfRangeError, match="without gaps"):
        hours_to(accumulate([20.0, np.nan, 20.0], TOMATO), 0.0, 1.0)


def test_final_fraction_is_the_product_of_two_normal_limits():
    temps = np.array([5.0, 8.5, 20.0, 34.0, 38.0])
    expected = 0.96 * stats.norm.cdf((temps - 8.5) / 1.5) * stats.norm.cdf((34.0 - temps) / 3.0)
    np.testing.assert_allclose(final_fraction(temps, CURVE), expected, rtol=1e-12)
    assert isinstance(final_fraction(20.0, CURVE), float)
    assert math.isnan(final_fraction(math.nan, CURVE))


def test_relative_fraction_is_one_at_the_best_temperature_and_nowhere_more():
    best = best_temperature(CURVE)
    temps = np.linspace(-10.0, 50.0, 601)
    relative = relative_fraction(temps, CURVE)
    assert relative_fraction(best, CURVE) == 1.0
    assert np.all((relative >= 0.0) & (relative <= 1.0))
    assert abs(temps[np.argmax(final_fraction(temps, CURVE))] - best) <= 0.11
    # The top cancels.
    np.testing.assert_allclose(relative, relative_fraction(temps, CURVE._replace(top_frac=0.5)))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"cold_sd_c": 0.0}, "above 0 °C"),
        ({"hot_sd_c": -1.0}, "above 0 °C"),
        ({"top_frac": 1.2}, "between 0 and 1"),
    ],
)
def test_fraction_curves_out_of_range_are_refused(change, words):
    with pytest.raises(OutOfRangeError, match=words):
        final_fraction(20.0, CURVE._replace(**change))


def test_relative_fraction_of_a_lot_without_life_is_refused():
    with pytest.raises(OutOfRangeError, match="top_frac must be above 0"):
        relative_fraction(20.0, CURVE._replace(top_frac=0.0))


def test_targets_follow_the_log_normal():
    shares = np.array([0.05, 0.5, 0.95])
    expected = stats.lognorm(0.18, scale=90.0).ppf(shares)
    np.testing.assert_allclose(emergence_target(CROP, share_frac=shares), expected)
    np.testing.assert_allclose(germination_target(CROP, share_frac=shares), 0.55 * expected)
    # docs/model.md section 3: the first 5 % are exp(-1.645 * sigma_seed) of the median.
    assert germination_target(CROP).item() == pytest.approx(
        0.55 * 90.0 * math.exp(-1.645 * 0.18), rel=1e-4
    )
    slow = emergence_target(CROP, z_pace=[-1.0, 0.0, 1.0])
    np.testing.assert_allclose(slow, 90.0 * np.exp([-0.25, 0.0, 0.25]))


@pytest.mark.parametrize("bad", [0.0, 1.0, -0.1, 5.0])
def test_shares_outside_nought_and_one_are_refused(bad):
    with pytest.raises(OutOfRangeError, match="share_frac must be above 0 and below 1"):
        emergence_target(CROP, share_frac=bad)
    with pytest.raises(OutOfRangeError, match="share_frac"):
        seed_time_quantile(100.0, 0.2, bad)


def test_on_time_fraction_is_the_log_normal_at_the_end_of_the_grace():
    t50, sigma = np.array([48.0, 144.0, 400.0]), 0.25
    expected = [stats.lognorm(sigma, scale=t).cdf(t + 72.0) for t in t50]
    np.testing.assert_allclose(on_time_fraction(t50, sigma), expected)
    # It undoes the quantile.
    share = on_time_fraction(200.0, sigma, 30.0)
    assert seed_time_quantile(200.0, sigma, share).item() == pytest.approx(230.0)


def test_on_time_fraction_at_its_limits():
    assert on_time_fraction(100.0, 0.0).item() == 1.0
    assert on_time_fraction(0.0, 0.2).item() == 1.0
    assert on_time_fraction(np.inf, 0.2).item() == 0.5
    assert on_time_fraction(100.0, 0.2, 0.0).item() == 0.5
    assert math.isnan(on_time_fraction(np.nan, 0.2).item())


@pytest.mark.parametrize(
    ("arguments", "name"),
    [((-1.0, 0.2), "t50_h"), ((10.0, -0.2), "sigma_seed"), ((10.0, 0.2, -1.0), "grace_h")],
)
def test_on_time_fraction_refuses_what_is_below_zero(arguments, name):
    with pytest.raises(OutOfRangeError, match=name):
        on_time_fraction(*arguments)
