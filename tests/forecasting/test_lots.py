"""What other sowings of a lot say of it."""

from __future__ import annotations

import numpy as np
import pytest

from sowbench.forecasting.lots import doubted_test, pooled_test
from sowbench.forecasting.records import LotTest
from sowbench.science.errors import OutOfRangeError

TEST = LotTest(190, 200, 0.1)


def _share(test):
    return (test.n_normal + 1.0) / (test.n_tested + 2.0)


def test_without_other_sowings_the_test_stands():
    assert pooled_test(TEST, [], []) is TEST


def test_a_sowing_that_fails_makes_the_lot_suspect_and_two_condemn_it():
    # One look as vague as this may be odd luck; the prior chance of an odd lot is one in a hundred.
    one = pooled_test(TEST, [0.78], [0.07])
    two = pooled_test(TEST, [0.78, 0.78], [0.07, 0.07])
    assert _share(TEST) > _share(one) > _share(two)
    sure = pooled_test(TEST, [0.5, 0.5], [0.03, 0.03])
    assert _share(sure) == pytest.approx(0.5, abs=0.01)


def test_sowings_that_do_as_the_test_says_narrow_it():
    pooled = pooled_test(TEST, [0.95, 0.95], [0.02, 0.02])
    assert pooled.n_tested > TEST.n_tested
    assert _share(pooled) == pytest.approx(_share(TEST), abs=0.005)
    assert pooled.aging_probits == TEST.aging_probits


def test_the_posterior_has_the_mean_and_spread_of_a_plain_sum():
    p = np.linspace(0.0005, 0.9995, 4000)
    density = p**45 * (1 - p) ** 5
    density = density / density.sum() * 0.9 + 0.1 / p.size
    weight = density * np.exp(-0.5 * ((p - 0.7) / np.hypot(0.05, 0.03)) ** 2)
    weight /= weight.sum()
    pooled = pooled_test(LotTest(45, 50), [0.7], [0.05], odd_lot_frac=0.1)
    a, b = pooled.n_normal + 1.0, pooled.n_tested - pooled.n_normal + 1.0
    mean = a / (a + b)
    assert mean == pytest.approx(float(weight @ p), abs=2e-3)
    assert mean * (1 - mean) / (a + b + 1) == pytest.approx(
        float(weight @ (p - weight @ p) ** 2), rel=0.03
    )


def test_a_doubted_test_keeps_its_share_and_counts_for_less():
    less = doubted_test(TEST, 20)
    assert less == LotTest(19.0, 20, 0.1)
    assert doubted_test(TEST, 300) is TEST
    assert doubted_test(LotTest(0, 0), 0) == LotTest(0, 0)


def test_shares_and_spreads_go_together():
    with pytest.raises(OutOfRangeError, match="sd_frac must be one for each of 2 shares"):
        pooled_test(TEST, [0.9, 0.8], [0.05])
