"""The beta-binomial against scipy.stats, and its limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sowbench.science.beta_binomial import cell_pmf, cumulants, require_frac, tray_pmf
from sowbench.science.errors import OutOfRangeError

shares = st.floats(0.01, 0.99)
correlations = st.floats(0.001, 0.6)


def shapes(p, rho):
    return p * (1 / rho - 1), (1 - p) * (1 / rho - 1)


@given(st.integers(0, 40), shares, correlations)
def test_cell_pmf_is_that_of_scipy(n, p, rho):
    expected = stats.betabinom.pmf(np.arange(n + 1), n, *shapes(p, rho))
    np.testing.assert_allclose(cell_pmf(n, p, rho), expected, atol=1e-10)


@given(st.integers(0, 600), shares, correlations)
def test_tray_pmf_is_that_of_scipy(n, p, rho):
    expected = stats.betabinom.pmf(np.arange(n + 1), n, *shapes(p, rho))
    np.testing.assert_allclose(tray_pmf(n, p, rho), expected, atol=1e-9)


@pytest.mark.parametrize("pmf", [cell_pmf, tray_pmf])
def test_no_correlation_is_the_binomial(pmf):
    expected = stats.binom.pmf(np.arange(13), 12, [[0.3], [0.85]])
    np.testing.assert_allclose(pmf(12, [0.3, 0.85], 0.0), expected, atol=1e-14)


@pytest.mark.parametrize("pmf", [cell_pmf, tray_pmf])
@pytest.mark.parametrize("rho", [0.0, 0.2])
def test_certain_failure_and_success_put_all_on_one_number(pmf, rho):
    found = pmf(5, [0.0, 1.0], rho)
    np.testing.assert_allclose(found, [[1, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 1]], atol=1e-11)


@given(st.integers(1, 300), shares, st.floats(0.0, 0.5))
def test_cumulants_are_those_of_the_pmf(n, p, rho):
    pmf, k = tray_pmf(n, p, rho), np.arange(n + 1)
    mean = pmf @ k
    m2, m3, m4 = (pmf @ (k - mean) ** power for power in (2, 3, 4))
    found = cumulants(n, p, rho)
    for value, expected, scale in zip(
        found, (mean, m2, m3, m4 - 3 * m2**2), (n, n**2, n**3, n**4), strict=True
    ):
        assert float(value) == pytest.approx(expected, abs=1e-9 * scale)


def test_cells_and_trays_agree_for_arrays():
    p, rho = np.array([[0.2], [0.7], [0.95]]), np.array([0.0, 0.015, 0.3])
    assert cell_pmf(7, p, rho).shape == (3, 3, 8)
    np.testing.assert_allclose(cell_pmf(7, p, rho), tray_pmf(7, p, rho), atol=1e-12)


@pytest.mark.parametrize("value", [-0.1, 1.1, float("nan")])
def test_what_is_no_fraction_is_refused(value):
    with pytest.raises(OutOfRangeError, match=r"p must be a fraction from 0 to 1; got"):
        cell_pmf(3, value)
    with pytest.raises(OutOfRangeError, match="p_seed"):
        require_frac("p_seed", [0.5, value])


def test_full_correlation_and_odd_counts_are_refused():
    with pytest.raises(OutOfRangeError, match="below 1"):
        tray_pmf(3, 0.5, 1.0)
    with pytest.raises(OutOfRangeError, match="from 0 to 60"):
        cell_pmf(61, 0.5)
    with pytest.raises(OutOfRangeError, match="from 0 up"):
        tray_pmf(-1, 0.5)
