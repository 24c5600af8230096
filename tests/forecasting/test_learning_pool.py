import numpy as np
import pytest
from scipy import integrate, stats

from sowbench.forecasting.learning_pool import DEGREES, SPAN_OF_T, Levels, pool
from sowbench.science.errors import OutOfRangeError


def one_level(n, scale=0.2, fixed=True):
    """Return one effect that all of n readings share."""
    return Levels(np.zeros((n, 1), np.int64), np.ones((n, 1)), (1,), (scale,), (fixed,))


def exact_moments(value, variance, prior_sd, half_normal):
    """Posterior mean and sd of one effect with t errors, by quadrature over effect and scale."""
    scales = half_normal * stats.halfnorm.ppf((np.arange(60) + 0.5) / 60)
    b = np.linspace(-1.5, 1.5, 6001)
    total = np.zeros_like(b)
    for s in scales:
        sd = np.sqrt(s**2 + variance)
        total += np.exp(
            sum(stats.t.logpdf(y - b, DEGREES, scale=d) for y, d in zip(value, sd, strict=True))
        )
    density = total * stats.norm.pdf(b, scale=prior_sd)
    density /= integrate.trapezoid(density, b)
    mean = integrate.trapezoid(density * b, b)
    return mean, np.sqrt(integrate.trapezoid(density * (b - mean) ** 2, b))


@pytest.mark.parametrize(
    "value", [[0.2], [0.1, 0.12], [0.15, 0.08, 0.11, 0.09, 0.14], [0.1, 0.12, 0.09, 0.9]]
)
def test_pooled_mean_and_spread_are_those_of_quadrature(value):
    value = np.array(value)
    variance = np.full(value.size, 0.03**2)
    found = pool(value, variance, one_level(value.size), 0.06)
    mean, sd = exact_moments(value, variance, 0.2, 0.06)
    assert abs(found.mean[0] - mean) < 0.15 * sd
    assert found.covariance[0, 0] ** 0.5 == pytest.approx(sd, rel=0.15)


def test_span_of_t_is_the_ratio_of_eighty_percent_points():
    assert pytest.approx(stats.t.ppf(0.9, DEGREES) / stats.norm.ppf(0.9)) == SPAN_OF_T


def test_an_odd_reading_has_little_pull():
    value = np.array([0.0, 0.01, -0.02, 0.015, -0.01, 1.0])
    found = pool(value, np.full(6, 0.02**2), one_level(6), 0.06)
    without = pool(value[:5], np.full(5, 0.02**2), one_level(5), 0.06)
    assert found.pull[5] < 0.1
    assert found.pull[:5].min() > 0.7
    assert abs(found.mean[0] - without.mean[0]) < 0.04


def test_many_readings_tell_the_spreads_they_were_drawn_with():
    rng = np.random.default_rng(1)
    group = np.repeat(np.arange(40), 25)
    effect = rng.normal(0.0, 0.12, 40)
    value = effect[group] + 0.05 * rng.standard_t(DEGREES, group.size)
    levels = Levels(
        group[:, None], np.ones((group.size, 1)), (40,), (0.3,), (False,)
    )  # fmt: skip
    found = pool(value, np.zeros(group.size), levels, 0.2)
    assert found.tau2[0] ** 0.5 == pytest.approx(effect.std(), rel=0.1)
    assert found.scale2**0.5 == pytest.approx(0.05, rel=0.1)
    assert np.corrcoef(found.mean, effect)[0, 1] > 0.99


def test_intervals_of_effects_hold_what_they_say():
    rng = np.random.default_rng(2)
    n_within = 0
    n_worlds, n_groups = 40, 8
    for _ in range(n_worlds):
        tau, s = abs(rng.normal(0.0, 0.15)), abs(rng.normal(0.0, 0.08))
        group = rng.integers(0, n_groups, 24)
        effect = rng.normal(0.0, tau, n_groups)
        value = effect[group] + np.hypot(s, 0.02) * rng.standard_t(DEGREES, group.size)
        levels = Levels(group[:, None], np.ones((group.size, 1)), (n_groups,), (0.15,), (False,))
        found = pool(value, np.full(group.size, 0.02**2), levels, 0.08)
        sd = np.sqrt(np.diag(found.covariance))
        n_within += int((np.abs(found.mean - effect) < 1.2816 * sd).sum())
    share = n_within / (n_worlds * n_groups)
    assert 0.75 < share < 0.87  # nominal 0.80, groups of a world are not independent


def test_pool_refuses_what_does_not_fit():
    with pytest.raises(OutOfRangeError, match="1 or more"):
        pool(np.zeros(0), np.zeros(0), one_level(0), 0.06)
    with pytest.raises(OutOfRangeError, match="variance and index"):
        pool(np.zeros(2), np.zeros(1), one_level(2), 0.06)
    with pytest.raises(OutOfRangeError, match="loading"):
        Levels(np.zeros((2, 1), np.int64), np.ones((3, 1)), (1,), (0.1,), (True,))
