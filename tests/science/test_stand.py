"""The stand: lots, cells, thinning and the seeds that pay for themselves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sowbench.science.errors import OutOfRangeError
from sowbench.science.stand import (
    cell_ok_prob,
    cheapest_seeds_per_cell,
    lot_nodes,
    seedlings_pmf,
    thin_per_cell,
    usable_frac,
)


@pytest.mark.parametrize(("normal", "tested"), [(0, 0), (17, 20), (85, 100), (340, 400), (20, 20)])
def test_lot_nodes_carry_the_moments_of_the_posterior(normal, tested):
    p, weights = lot_nodes(normal, tested)
    posterior = stats.beta(normal + 1, tested - normal + 1)
    for power in range(1, 9):
        assert p**power @ weights == pytest.approx(posterior.moment(power), rel=1e-10)


def test_lot_nodes_narrow_with_the_size_of_the_test():
    normal, tested = np.array([17, 85, 340]), np.array([20, 100, 400])
    p, weights = lot_nodes(normal, tested)
    assert p.shape == (3, 9)
    mean = (p * weights).sum(axis=1)
    sd = np.sqrt(((p - mean[:, None]) ** 2 * weights).sum(axis=1))
    assert sd[0] > sd[1] > sd[2]


def test_more_seedlings_than_seeds_are_refused():
    with pytest.raises(OutOfRangeError, match="n_normal must be from 0 to n_tested; got 12"):
        lot_nodes([5, 12], [10, 10])


@given(st.integers(1, 12), st.floats(0, 1), st.integers(1, 5), st.floats(0, 0.5))
def test_a_good_cell_has_at_least_what_is_wanted(n, p, least, rho):
    expected = seedlings_pmf(n, p, rho)[least:].sum()
    assert float(cell_ok_prob(n, p, least, rho)) == pytest.approx(expected, abs=1e-12)


def test_two_seeds_by_hand():
    # docs: P(empty) = (1 - p)^2 + rho p (1 - p) = 0.04 + 0.05 x 0.16 = 0.048.
    assert float(cell_ok_prob(2, 0.8, 1, 0.05)) == pytest.approx(0.952)
    assert float(cell_ok_prob(2, 0.8, 2, 0.05)) == pytest.approx(0.648)


def test_seeds_plants_and_nodes_broadcast():
    p, _ = lot_nodes(85, 100)
    found = cell_ok_prob(np.array([1, 2, 3])[:, None], p, 1)
    assert found.shape == (3, 9)
    assert np.all(np.diff(found, axis=0) > 0)


def test_a_unit_of_several_seedlings_counts_only_where_several_plants_are_wanted():
    assert float(cell_ok_prob(1, 0.8, 1, 0.0, 3.0)) == pytest.approx(0.8)
    assert float(cell_ok_prob(1, 0.8, 2, 0.0, 3.0)) == pytest.approx(stats.binom.sf(1, 3, 0.8))
    # Two and a half seedlings a unit: half way between the chances with two and three.
    half = (stats.binom.sf(1, 2, 0.8) + stats.binom.sf(1, 3, 0.8)) / 2
    assert float(cell_ok_prob(1, 0.8, 2, 0.0, 2.5)) == pytest.approx(half)


@given(st.integers(1, 8), st.floats(0, 1), st.integers(1, 5), st.floats(0, 0.5))
def test_thinning_leaves_no_more_than_may_stay(n, p, most, rho):
    pmf, k = seedlings_pmf(n, p, rho), np.arange(n + 1)
    removed, share = thin_per_cell(n, p, most, rho)
    left = np.minimum(k, most) @ pmf
    assert float(removed) == pytest.approx(n * p - left, abs=1e-9)
    assert float(share) == pytest.approx(pmf[most + 1 :].sum(), abs=1e-12)


def test_a_unit_of_three_seedlings_is_thinned_to_one():
    removed, share = thin_per_cell(1, 0.8, 1, 0.0, 3.0)
    assert (float(removed), float(share)) == pytest.approx((1.6, 0.8))


def test_usable_share_by_hand():
    # 0.9 x 0.98 x 0.95 x 0.8
    assert float(usable_frac(0.9, 0.8)) == pytest.approx(0.67032)
    assert usable_frac([0.0, 1.0], 1.0, 1.0, 0.0).tolist() == [0.0, 1.0]


def test_cost_of_a_usable_cell_by_hand():
    # p = 0.8 for sure, independent. One seed: (0.05 + 0.10) / 0.8. Two: P(none) 0.04, two up 0.64:
    # (0.10 + 0.10 + 0.01 x 0.64) / 0.96.
    found = cheapest_seeds_per_cell(
        0.05, 0.10, 0.01, 0.0, [0.8], [1.0], n_seeds=[1, 2], rho_cell=0.0, kept_frac=1.0
    )
    np.testing.assert_allclose(found.cost_per_usable, [0.15 / 0.8, 0.2064 / 0.96])
    assert int(found.best) == 1


def test_a_second_seed_must_pay_for_itself():
    p, weights = lot_nodes(85, 100)
    prices = np.array([0.0, 0.002, 0.02, 0.2, 1.0])
    found = cheapest_seeds_per_cell(prices, 0.08, 0.005, 0.02, p, weights, n_seeds=[1, 2, 3])
    assert found.cost_per_usable.shape == (5, 3)
    assert found.best[0] > 1
    assert found.best[-1] == 1
    assert np.all(np.diff(found.best) <= 0)


def test_gapping_up_uses_spare_seedlings_only():
    # One seed a cell leaves no spare seedling; two leave 0.64 a cell and 0.04 empty.
    found = cheapest_seeds_per_cell(
        0.0, 0.1, 0.0, 0.5, [0.8], [1.0],
        n_seeds=[1, 2], rho_cell=0.0, kept_frac=1.0, gap_up_frac=1.0,
    )  # fmt: skip
    np.testing.assert_allclose(found.usable, [0.8, 1.0])
    np.testing.assert_allclose(found.cost_per_usable, [0.1 / 0.8, 0.1 + 0.5 * 0.04])


def test_seed_that_never_comes_up_costs_without_end():
    found = cheapest_seeds_per_cell(0.1, 0.1, 0.0, 0.0, [0.0], [1.0])
    assert np.all(np.isinf(found.cost_per_usable))


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: cell_ok_prob(0, 0.5, 1), "seeds_per_cell"),
        (lambda: cell_ok_prob(1, 1.5, 1), "p_seed"),
        (lambda: cell_ok_prob(1, float("nan"), 1), "p_seed"),
        (lambda: cell_ok_prob(1, 0.5, 0), "plants_min"),
        (lambda: cell_ok_prob(1, 0.5, 1, 1.0), "rho_cell"),
        (lambda: cell_ok_prob(1, 0.5, 1, 0.0, 0.5), "seedlings_per_unit"),
        (lambda: thin_per_cell(1, 0.5, 0), "plants_max"),
        (lambda: usable_frac(85), "ok_frac"),
        (lambda: usable_frac(0.8, cull_frac=5), "cull_frac"),
        (lambda: cheapest_seeds_per_cell(1, 1, 1, 1, [0.5], [1.0], gap_up_frac=2), "gap_up_frac"),
    ],
)
def test_what_makes_no_sense_is_refused_by_name(call, name):
    with pytest.raises(OutOfRangeError, match=f"^{name} must be"):
        call()
