"""Beta-binomial fits: recovery, limits and refusals; published data stand in tests/published."""

import math

import numpy as np
import pytest
from scipy import stats

from sowbench.science.errors import DoubtWarning, OutOfRangeError
from sowbench.science.stand_fit import fit_beta_binomial


def test_fit_recovers_what_made_the_counts():
    rng = np.random.default_rng(7)
    p, rho, n = 0.8, 0.05, 50
    k = (1 - rho) / rho
    counts = stats.betabinom(n, p * k, (1 - p) * k).rvs(4000, random_state=rng)
    fit = fit_beta_binomial(counts, np.full(4000, n))
    assert fit.mean_frac[0] == pytest.approx(p, abs=4 * math.sqrt(0.16 * (1 + 49 * rho) / 200_000))
    assert fit.rho == pytest.approx(rho, abs=4 * fit.rho_se)
    assert fit.groups == ("all",)


def test_groups_keep_their_order_and_their_means():
    y, n = [4, 18, 24, 39, 9], [40, 40, 40, 40, 40]
    fit = fit_beta_binomial(y, n, ["b", "b", "a", "a", "b"])
    assert fit.groups == ("b", "a")
    assert fit.mean_frac[0] == pytest.approx(31 / 120, abs=0.04)
    assert fit.mean_frac[1] == pytest.approx(63 / 80, abs=0.04)
    difference, error = fit.contrast("a", "b")
    assert difference == pytest.approx(fit.mean_logit[1] - fit.mean_logit[0])
    assert error > 0.0


def test_log_likelihood_is_scipys():
    y, n = np.array([3, 9, 17, 20, 5]), np.array([10, 12, 30, 22, 9])
    fit = fit_beta_binomial(y, n)
    k = (1 - fit.rho) / fit.rho
    p = fit.mean_frac[0]
    assert fit.log_likelihood == pytest.approx(
        stats.betabinom(n, p * k, (1 - p) * k).logpmf(y).sum(), abs=1e-8
    )


def test_single_seeds_cannot_tell_a_correlation():
    with pytest.warns(DoubtWarning, match="No dish holds two seeds"):
        fit = fit_beta_binomial([1, 0, 1, 1], [1, 1, 1, 1])
    assert fit.rho == 0.0
    assert math.isnan(fit.rho_se)
    assert fit.mean_frac[0] == pytest.approx(0.75, abs=1e-4)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([1, 2], [3]), "vectors of one length"),
        (([], []), "vectors of one length"),
        (([4], [3]), "successes <= totals"),
        (([-1], [3]), "successes <= totals"),
        (([1.5], [3]), "whole numbers"),
        (([0], [0]), "whole numbers"),
        (([1, 2], [3, 3], ["a"]), "vectors of one length"),
    ],
)
def test_counts_that_cannot_be_are_refused(arguments, words):
    with pytest.raises(OutOfRangeError, match=words):
        fit_beta_binomial(*arguments)
