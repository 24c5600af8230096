"""Scores of forecasts against two other libraries and against worked values.

* scoringrules 0.10.0 and properscoring 0.1, which share no code with ours: CRPS of normal forecasts
  (both give the same nine digits), of binomial ones (the first), of an ensemble (both).
* E. B. Wilson 1927: his interval, as R. G. Newcombe, Statistics in Medicine 17, 1998, 857-872,
  table I prints it at 95 % (from memory).
"""

import numpy as np
import pytest
from scipy import stats
from tests.published._report import record

from sowbench.forecasting.calibration import crps_normal, crps_pmf, wilson_interval

MEAN = [0.0, 0.3, -0.27, -0.89, -0.45, -0.99]
SD = [0.21, 2.5, 2.43, 1.51, 1.05, 0.98]
OUTCOME = [0.21, -1.86, -0.06, 1.39, -2.69, -0.92]
CRPS = [0.126512685, 1.285683957, 0.575114356, 1.514595233, 1.659984018, 0.231014941]


def test_crps_of_normal_forecasts_is_that_of_two_libraries():
    errors = crps_normal(MEAN, SD, OUTCOME) - CRPS
    found = record("CRPS, normal", "scoringrules 0.10.0, properscoring 0.1", 6, errors, "")
    assert found.worst < 1e-9


def test_crps_of_counted_forecasts_is_that_of_another_library():
    cases = [
        (20, 0.9, 15, 2.293893981721585),
        (128, 0.85, 120, 8.929196618975435),
        (5, 0.3, 0, 0.9422322929999999),
    ]
    errors = [
        crps_pmf(stats.binom.pmf(np.arange(n + 1), n, p), k) - wanted for n, p, k, wanted in cases
    ]
    assert record("CRPS, binomial", "scoringrules 0.10.0", 3, errors, "cells").worst < 1e-9


def test_crps_of_an_ensemble_is_that_of_two_libraries():
    pmf = np.zeros(9)
    pmf[[1, 2, 4, 8]] = 0.25
    assert crps_pmf(pmf, 3) == pytest.approx(0.8125)


@pytest.mark.parametrize(
    ("k", "n", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_wilson_intervals_are_the_printed_ones(k, n, low, high):
    assert wilson_interval(k, n, 0.95) == pytest.approx((low, high), abs=5e-5)
