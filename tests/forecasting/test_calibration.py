import numpy as np
import pytest
from scipy.stats import norm

from sowbench.forecasting.calibration import (
    brier_score,
    coverage,
    crps_normal,
    crps_pmf,
    crps_quantiles,
    reliability,
    skill,
    wilson_interval,
)
from sowbench.science.errors import OutOfRangeError


def test_bins_of_the_curve_hold_every_forecast_once():
    rng = np.random.default_rng(0)
    chance = rng.random(500)
    chance[:3] = 0.0, 1.0, 0.5
    bins = reliability(chance, rng.random(500) < chance)
    assert sum(each.n for each in bins) == 500
    for each in bins:
        assert each.low_frac <= each.mean_frac <= each.high_frac
        assert each.happened_low_frac <= each.happened_frac <= each.happened_high_frac


def test_honest_forecasts_lie_within_the_intervals_of_the_curve():
    rng = np.random.default_rng(1)
    chance = rng.random(20_000)
    bins = reliability(chance, rng.random(20_000) < chance)
    n_within = sum(b.happened_low_frac <= b.mean_frac <= b.happened_high_frac for b in bins)
    assert n_within >= 7  # of ten at 90 %


def test_parts_of_the_brier_score_add_up():
    rng = np.random.default_rng(2)
    chance = rng.beta(2, 1, 300)
    of = brier_score(chance, rng.random(300) < chance**2)
    assert of.reliability - of.resolution + of.uncertainty + of.within_bins == pytest.approx(
        of.score
    )
    assert of.reliability > 0.01


def test_sure_and_right_forecasts_score_nothing():
    of = brier_score([1.0, 0.0, 1.0], [True, False, True])
    assert (of.score, of.reliability) == (0.0, 0.0)
    assert of.resolution == pytest.approx(of.uncertainty)


def test_no_forecasts_have_no_score_and_no_bins():
    assert brier_score([], []).n == 0
    assert reliability([], []) == ()
    assert coverage([], [], []).n == 0
    assert wilson_interval(0, 0) == (0.0, 1.0)


def test_coverage_counts_both_sides():
    of = coverage([0, 0, 0, 0, 0], [1, 1, 1, 1, 1], [0.0, 1.0, 0.5, 2.0, -1.0])
    assert (of.n, of.n_within, of.n_below, of.n_above) == (5, 3, 1, 1)
    assert of.low_frac < of.within_frac < of.high_frac


def test_crps_of_a_sure_forecast_is_the_absolute_error():
    assert crps_pmf([0.0, 0.0, 0.0, 1.0], 1) == pytest.approx(2.0)
    assert crps_pmf([1.0], 4) == pytest.approx(4.0)
    assert crps_normal(5.0, 1e-9, 3.0) == pytest.approx(2.0)
    assert crps_quantiles([0.5], [[5.0]], [3.0])[0] == pytest.approx(2.0)


def test_many_quantiles_come_near_the_crps():
    levels = (np.arange(400) + 0.5) / 400
    quantiles = np.tile(norm.ppf(levels), (3, 1))
    outcome = np.array([-1.0, 0.2, 2.0])
    assert crps_quantiles(levels.tolist(), quantiles, outcome) == pytest.approx(
        crps_normal(0.0, 1.0, outcome), abs=2e-3
    )


def test_honest_forecasts_score_better_than_too_sure_and_too_shy_ones():
    y = np.random.default_rng(3).normal(0.0, 2.0, 5000)
    honest, sure, shy = (crps_normal(0.0, sd, y).mean() for sd in (2.0, 1.0, 4.0))
    assert honest < min(sure, shy)
    assert skill(honest, shy) > 0.0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: brier_score([1.2], [True]), "from 0 to 1"),
        (lambda: brier_score([0.2], [True, False]), "one for each"),
        (lambda: brier_score([0.2], [2]), "true or false"),
        (lambda: reliability([0.2], [True], [0.0, 0.5]), "rising from 0 to 1"),
        (lambda: crps_normal(0.0, 0.0, 1.0), "above 0"),
        (lambda: crps_pmf([0.5, 0.4], 1), "add to 1"),
        (lambda: crps_pmf([1.0], -1), "0 or more"),
        (lambda: crps_quantiles([0.5, 0.5], [[1.0, 1.0]], [1.0]), "rising"),
        (lambda: wilson_interval(3, 2), "from 0 to n"),
        (lambda: wilson_interval(1, 2, 1.0), "below 1"),
    ],
)
def test_scores_refuse_what_is_no_forecast(call, words):
    with pytest.raises(OutOfRangeError, match=words):
        call()
