"""Totals over trays against convolution by hand, scipy.stats and the closed moments."""

import itertools
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sowbench.science.beta_binomial import tray_pmf
from sowbench.science.errors import OutOfRangeError
from sowbench.science.trays import split_cells, tray_total_moments, tray_total_pmf


def test_three_cells_by_hand():
    # One tray of three, each usable at 1/2: (1 3 3 1)/8; lost whole at 1/5: 1/5 + 4/5 x 1/8 = 0.3.
    pmf = tray_total_pmf(3, 72, 0.5, 0.0, 0.2)
    np.testing.assert_allclose(pmf, [0.3, 0.3, 0.3, 0.1], atol=1e-15)


def test_two_trays_by_hand():
    # Trays of two and one cell at 1/2, either lost at 1/2: (5 2 1)/8 and (3 1)/4.
    pmf = tray_total_pmf(3, 2, 0.5, 0.0, 0.5)
    np.testing.assert_allclose(pmf, np.array([15, 11, 5, 1]) / 32, atol=1e-15)


@given(
    st.integers(0, 60), st.integers(1, 25), st.floats(0.0, 1.0), st.floats(0.0, 0.5),
    st.floats(0.0, 1.0),
)  # fmt: skip
@settings(max_examples=60)
def test_total_is_the_convolution_of_its_trays(n, per_tray, usable, rho, loss):
    expected = np.ones(1)
    for start in range(0, n, per_tray):
        one = (1 - loss) * tray_pmf(min(per_tray, n - start), usable, rho)
        one[0] += loss
        expected = np.convolve(expected, one)
    np.testing.assert_allclose(tray_total_pmf(n, per_tray, usable, rho, loss), expected, atol=1e-13)


def test_independent_cells_are_binomial_however_they_are_cut_into_trays():
    expected = stats.binom.pmf(np.arange(201), 200, 0.87)
    for per_tray in (1, 7, 72, 200, 500):
        found = tray_total_pmf(200, per_tray, 0.87, 0.0, 0.0)
        np.testing.assert_allclose(found, expected, atol=1e-14)


@pytest.mark.parametrize(
    ("n", "per_tray"), [(1, 1), (3, 72), (100, 72), (999, 128), (20_000, 128), (100_000, 288)]
)
def test_moments_in_closed_form_are_those_of_the_distribution(n, per_tray):
    usable = np.array([0.6, 0.85, 0.97])
    pmf, k = tray_total_pmf(n, per_tray, usable), np.arange(n + 1)
    assert pmf.shape == (3, n + 1)
    np.testing.assert_allclose(pmf.sum(axis=1), 1.0, atol=1e-12)
    assert pmf.min() >= 0
    mean = pmf @ k
    centered = k - mean[:, None]
    found = tray_total_moments(n, per_tray, usable)
    for value, expected in zip(
        found, (mean, *((pmf * centered**power).sum(axis=1) for power in (2, 3))), strict=True
    ):
        np.testing.assert_allclose(value, expected, rtol=1e-8, atol=1e-8)


def test_a_window_around_the_mean_gives_what_the_whole_transform_gives(monkeypatch):
    windowed = tray_total_pmf(30_000, 72, 0.88)
    monkeypatch.setattr("sowbench.science.trays._WINDOW_FROM", 10**9)
    np.testing.assert_allclose(windowed, tray_total_pmf(30_000, 72, 0.88), atol=1e-12)


def test_more_cells_never_lower_the_chance_of_enough():
    chances = [tray_total_pmf(n, 18, 0.85)[40:].sum() for n in range(40, 80)]
    assert all(b >= a - 1e-15 for a, b in itertools.pairwise(chances))


def test_spread_grows_with_correlation_and_loss():
    variances = [
        float(tray_total_moments(500, 100, 0.9, rho, loss)[1])
        for rho, loss in ((0.0, 0.0), (0.015, 0.0), (0.015, 0.005), (0.05, 0.05))
    ]
    assert variances == sorted(variances)


def test_cells_split_into_full_trays_and_a_last_one():
    full, last = split_cells([0, 1, 72, 73, 144], [72, 72, 72, 72, 72])
    assert full.tolist() == [0, 0, 0, 1, 1]
    assert last.tolist() == [0, 1, 72, 1, 72]


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ((-1, 72, 0.9), "n_cells"),
        ((2.5, 72, 0.9), "n_cells"),
        ((10, 0, 0.9), "cells_per_tray"),
        ((10, 72, 1.2), "usable"),
        ((10, 72, float("nan")), "usable"),
        ((10, 72, 0.9, 1.0), "rho_tray"),
        ((10, 72, 0.9, 0.0, -0.1), "tray_loss_frac"),
    ],
)
def test_what_makes_no_sense_is_refused_by_name(arguments, name):
    with pytest.raises(OutOfRangeError, match=f"^{name} must be"):
        tray_total_pmf(*arguments)


def test_counts_of_numpy_are_as_good_as_plain_ones():
    plain = tray_total_pmf(300, 72, 0.9)
    of_numpy: Any = tray_total_pmf
    assert of_numpy(np.int16(300), np.int8(72), 0.9).tolist() == plain.tolist()
