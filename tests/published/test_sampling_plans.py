"""Sampling plans against `scipy.stats` by exact enumeration, and against published single plans.

D. C. Montgomery, Introduction to Statistical Quality Control, "Single-Sampling Plans for
Attributes": chances of acceptance of the plan n = 89, c = 2 (values from memory).
S. Hilliard, forum of samplingplans.com, 7 February 2006: the plan n = 68, c = 2 has its producer's
point (risk 0.05) at 0.01213 defective and its consumer's point (risk 0.05) at 0.089704 (seen).
Cells that are not right are the defective ones.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy import stats

from sowbench.forecasting.sampling import plan_for_risks, total_pmf

MONTGOMERY_89_2 = {
    0.005: 0.9897,
    0.010: 0.9397,
    0.020: 0.7366,
    0.030: 0.4985,
    0.040: 0.3042,
    0.050: 0.1721,
    0.060: 0.0919,
    0.070: 0.0468,
    0.080: 0.0230,
    0.090: 0.0109,
}


@pytest.mark.parametrize(("defective", "accepted"), MONTGOMERY_89_2.items())
def test_chances_of_acceptance_are_the_textbooks(defective, accepted):
    pmf = total_pmf(89, 1, 1.0 - defective, 0.0)
    assert pmf[-3:].sum() == pytest.approx(accepted, abs=5e-5)


def test_the_plan_through_two_published_points_is_found():
    plan = plan_for_risks(1, 0.0, 1.0 - 0.01213, 1.0 - 0.089704, 0.05, 0.05)
    assert plan is not None
    assert (plan.n_trays, plan.n_trays - plan.resow_at_most - 1) == (68, 2)
    assert plan.vain_frac == pytest.approx(0.05, abs=1e-4)
    assert plan.missed_frac == pytest.approx(0.05, abs=1e-4)


@pytest.mark.parametrize("rho", [0.01, 0.1])
@pytest.mark.parametrize("share", [0.3, 0.9])
def test_a_sum_of_trays_is_that_of_every_combination(rho, share):
    weight = (1 - rho) / rho
    one = stats.betabinom.pmf(np.arange(7), 6, weight * share, weight * (1 - share))
    by_hand = np.zeros(19)
    for counts in product(range(7), repeat=3):
        by_hand[sum(counts)] += np.prod(one[list(counts)])
    assert total_pmf(3, 6, share, rho) == pytest.approx(by_hand, abs=1e-14)


@pytest.mark.parametrize(("good", "poor"), [(0.9, 0.75), (0.95, 0.85), (0.85, 0.8)])
@pytest.mark.parametrize("rho", [0.005, 0.02])
def test_plans_for_two_risks_are_those_of_a_full_search(good, poor, rho):
    cells, vain, missed = 24, 0.06, 0.12
    weight = (1 - rho) / rho
    single = [
        stats.betabinom.pmf(np.arange(cells + 1), cells, weight * q, weight * (1 - q))
        for q in (good, poor)
    ]
    sums = [np.ones(1), np.ones(1)]
    found = None
    for n_trays in range(1, 60):
        sums = [np.convolve(total, one) for total, one in zip(sums, single, strict=True)]
        for at in range(n_trays * cells + 1):
            if sums[0][: at + 1].sum() <= vain and sums[1][at + 1 :].sum() <= missed:
                found = (n_trays, at)  # the last such number
        if found:
            break
    plan = plan_for_risks(cells, rho, good, poor, vain, missed, n_trays_most=59)
    if found is None:
        assert plan is None
    else:
        assert plan is not None
        assert (plan.n_trays, plan.resow_at_most) == found
