"""Fits of counts at intervals: recovery, limits and what cannot be known."""

import math

import numpy as np
import pytest
from scipy import stats

from sowbench.science.errors import DoubtWarning, OutOfRangeError, UnknownNameError
from sowbench.science.germination_fit import fit_germination

LOOKS = np.arange(0.0, 20.0)


def _expected_counts(final, median, sigma, n_sown):
    """Counts as near to their expectation as whole numbers go."""
    up = n_sown * final * stats.lognorm(sigma, scale=median).cdf(LOOKS)
    return np.diff(np.round(up))


@pytest.mark.parametrize(("final", "median", "sigma"), [(0.9, 6.0, 0.2), (0.5, 9.0, 0.15)])
def test_fit_recovers_what_made_the_counts(final, median, sigma):
    counts = _expected_counts(final, median, sigma, 100_000)
    fit = fit_germination(LOOKS[:-1], LOOKS[1:], counts, 100_000, "log-normal")
    assert fit.final_frac == pytest.approx(final, abs=1e-3)
    assert fit.median_d == pytest.approx(median, rel=1e-3)
    assert fit.spread == pytest.approx(sigma, rel=5e-3)
    assert fit.sigma_seed == fit.spread
    assert fit.doubts == ()


def test_standard_errors_cover_as_they_should():
    # 60 sampled tests of 100 seeds: the truth lies within 1.96 errors in about 95 % of them
    # (57, give or take 1.7); four of those away would be wrong errors.
    rng = np.random.default_rng(20270308)
    inside = np.zeros(2)
    chances = np.append(0.8 * np.diff(stats.lognorm(0.2, scale=6.0).cdf(LOOKS)), 0.0)
    chances[-1] = 1.0 - chances.sum()
    for _ in range(60):
        counts = rng.multinomial(100, chances)[:-1]
        fit = fit_germination(LOOKS[:-1], LOOKS[1:], counts, 100, "log-normal")
        inside += [
            abs(fit.final_frac - 0.8) < 1.96 * fit.final_se_frac,
            abs(fit.median_d - 6.0) < 1.96 * fit.median_se_d,
        ]
    assert np.all(inside >= 50)


def test_errors_shrink_with_the_root_of_the_seeds():
    few = fit_germination(LOOKS[:-1], LOOKS[1:], _expected_counts(0.8, 6.0, 0.2, 1000), 1000)
    many = fit_germination(LOOKS[:-1], LOOKS[1:], _expected_counts(0.8, 6.0, 0.2, 100_000), 100_000)
    assert few.final_se_frac / many.final_se_frac == pytest.approx(10.0, rel=0.05)
    assert few.median_se_d / many.median_se_d == pytest.approx(10.0, rel=0.05)


def test_open_interval_is_the_same_as_seeds_sown():
    counts = [0, 4, 9, 3, 0]
    closed = fit_germination(range(5), range(1, 6), counts, 20)
    opened = fit_germination(range(6), [1, 2, 3, 4, 5, math.inf], [*counts, 4])
    assert closed == opened


def test_fraction_by_ends_at_the_final_fraction():
    fit = fit_germination(range(5), range(1, 6), [0, 4, 9, 3, 0], 20)
    assert fit.fraction_by(0.0) == 0.0
    assert fit.fraction_by(fit.median_d) == pytest.approx(fit.final_frac / 2)
    assert fit.fraction_by(1e6) == pytest.approx(fit.final_frac)
    assert fit.slope == pytest.approx(1 / fit.spread)
    assert fit.sigma_seed == pytest.approx(fit.spread * math.pi / math.sqrt(3))


def test_every_seed_up_leaves_the_final_fraction_at_its_bound():
    with pytest.warns(DoubtWarning, match="Every seed came up"):
        fit = fit_germination(range(5), range(1, 6), [0, 4, 9, 6, 1], 20)
    assert fit.final_frac == 1.0
    assert math.isnan(fit.final_se_frac)
    assert math.isfinite(fit.median_se_d)
    assert math.isfinite(fit.spread_se)


def test_no_seed_up_leaves_time_unknown():
    with pytest.warns(DoubtWarning, match="No seed came up"):
        fit = fit_germination(range(5), range(1, 6), [0, 0, 0, 0, 0], 20)
    assert fit.final_frac == 0.0
    assert math.isnan(fit.median_d)
    assert math.isnan(fit.spread)


def test_one_interval_leaves_the_spread_unknown():
    with pytest.warns(DoubtWarning, match="between 2 and 3 d"):
        fit = fit_germination(range(5), range(1, 6), [0, 0, 16, 0, 0], 20)
    assert fit.final_frac == 0.8
    # Binomial: sqrt(0.8 * 0.2 / 20).
    assert fit.final_se_frac == pytest.approx(math.sqrt(0.8 * 0.2 / 20))
    assert fit.median_d == 2.5
    assert math.isnan(fit.spread)
    assert math.isnan(fit.median_se_d)


def test_two_neighboring_intervals_fit_a_jump_as_well():
    with pytest.warns(DoubtWarning, match="a jump as well as a rise"):
        fit = fit_germination(range(5), range(1, 6), [0, 8, 8, 0, 0], 20)
    assert fit.median_d == pytest.approx(2.0, abs=0.05)
    assert math.isnan(fit.spread)
    assert fit.final_frac == pytest.approx(0.8, abs=1e-3)


def test_counting_that_stopped_too_soon_is_said():
    counts = _expected_counts(0.9, 12.0, 0.25, 1000)[:10]
    with pytest.warns(DoubtWarning, match="Count longer|bound 1"):
        fit = fit_germination(LOOKS[:10], LOOKS[1:11], counts, 1000, "log-normal")
    assert fit.doubts


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([0, 1], [1, 2], [3]), "vectors of one length"),
        (([], [], []), "vectors of one length"),
        (([1, 2], [1, 3], [3, 1]), "each end after its start"),
        (([-1, 2], [1, 3], [3, 1]), "each end after its start"),
        (([0, 1], [1, 2], [3, 1.5]), "whole numbers"),
        (([0, 1], [1, 2], [3, -1]), "whole numbers"),
        (([0], [math.inf], [3]), "finite for at least one interval"),
        (([0, 1], [1, 2], [3, 4], 6), "n_sown must be at least 1 and the 7 seeds counted; got 6"),
        (([0, 1], [1, math.inf], [3, 4], 9), "with those of the open interval; got 9"),
    ],
)
def test_counts_that_cannot_be_are_refused(arguments, words):
    with pytest.raises(OutOfRangeError, match=words):
        fit_germination(*arguments)


def test_unknown_family_is_named_with_the_nearest():
    with pytest.raises(UnknownNameError, match="Did you mean 'log-normal'"):
        fit_germination([0, 1], [1, 2], [3, 4], 10, "lognormal")
