"""Counts of trays that share a fate: against a general library, sums over all cases, and draws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.special import comb

from sowbench.science.errors import OutOfRangeError
from sowbench.science.tray_process import (
    concentration,
    kept_weights,
    log_count_chance,
    usable_moments,
    usable_pmf,
)
from sowbench.science.trays import tray_total_pmf


@given(st.integers(0, 40), st.floats(0.01, 80.0), st.floats(0.01, 80.0))
def test_log_count_chance_is_the_beta_binomial_of_a_general_library(k, a, b):
    mine = float(log_count_chance(k, 40, a, b)) + np.log(comb(40, k))
    assert mine == pytest.approx(stats.betabinom.logpmf(k, 40, a, b), abs=1e-8)


def test_a_second_look_adds_up_to_the_chance_of_the_second_alone():
    # Over all first counts, the chance of 9 of 12 by the second look is the beta-binomial's.
    weight, first, second = 30.0, 0.4, 0.7
    total = np.zeros(())
    for k in range(10):
        one = comb(12, 9) * np.exp(log_count_chance(9, 12, weight * second, weight * 0.3))
        back = comb(9, k) * np.exp(
            log_count_chance(k, 9, weight * first, weight * (second - first))
        )
        total = total + one * back
        # Forward from the first look it is the same.
        start = comb(12, k) * np.exp(log_count_chance(k, 12, weight * first, weight * 0.6))
        on = comb(12 - k, 9 - k) * np.exp(
            log_count_chance(9 - k, 12 - k, weight * (second - first), weight * 0.3)
        )
        assert start * on == pytest.approx(one * back)
    assert total == pytest.approx(stats.betabinom.pmf(9, 12, weight * second, weight * 0.3))


def test_a_tray_nobody_looked_at_is_the_tray_of_the_plan():
    pmf = usable_pmf(0, 0, 72, float(concentration(0.015)), [0.3], [0.9], 0.93)[0]
    plan = tray_total_pmf(72, 72, 0.9 * 0.93, 0.015, 0.0)
    assert pmf == pytest.approx(plan, abs=1e-12)


@given(
    st.integers(0, 30), st.integers(0, 20), st.floats(0.0, 1.0), st.floats(0.01, 0.99),
    st.floats(0.5, 1.0), st.sampled_from([0.001, 0.015, 0.2]), st.integers(0, 30),
)  # fmt: skip
def test_moments_are_those_of_the_distribution(good, unseen, now, end, kept, rho, more):
    weight = float(concentration(rho))
    seen = good + more
    pmf = usable_pmf(good, seen, unseen, weight, [now], [end], kept)[0]
    mean, variance = usable_moments(good, seen, unseen, weight, now, end, kept)
    n = np.arange(pmf.size)
    assert float(mean) == pytest.approx(pmf @ n, abs=1e-3)
    assert float(variance) == pytest.approx(pmf @ (n - pmf @ n) ** 2, abs=2e-3, rel=1e-4)


def test_with_independent_cells_good_ones_are_kept_as_by_a_coin():
    pmf = usable_pmf(20, 20, 0, float(concentration(0.0)), [0.9], [0.9], 0.931)[0]
    assert pmf == pytest.approx(stats.binom.pmf(np.arange(21), 20, 0.931), abs=1e-4)


def test_weights_of_a_look_add_up_to_the_concentration():
    kept = kept_weights(50.0, [0.2, 0.95], [0.9, 0.9], 0.93)
    assert sum(kept) == pytest.approx(50.0)
    assert kept.rest_yes[1] == 0.0  # what comes after the grace is not usable


def test_more_good_cells_than_were_looked_at_are_refused():
    with pytest.raises(OutOfRangeError, match="k and n"):
        log_count_chance(5, 4, 1.0, 1.0)
    with pytest.raises(OutOfRangeError, match="rho"):
        concentration(1.0)
