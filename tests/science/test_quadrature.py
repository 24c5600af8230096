"""Quadrature nodes against published tables, scipy and known moments."""

import numpy as np
import pytest
from scipy import special, stats

from sowbench.science.errors import OutOfRangeError
from sowbench.science.quadrature import beta_nodes, normal_nodes


def test_normal_nodes_match_abramowitz_stegun_table_25_10_for_five():
    # Table 25.10, n = 5: x 0, 0.958572464613819, 2.020182870456086;
    # w 0.9453087204829, 0.3936193231522, 0.01995324205905; here x * sqrt(2), w / sqrt(pi).
    nodes, weights = normal_nodes(5)
    x = np.array(
        [-2.020182870456086, -0.958572464613819, 0.0, 0.958572464613819, 2.020182870456086]
    )
    w = np.array(
        [0.01995324205905, 0.3936193231522, 0.9453087204829, 0.3936193231522, 0.01995324205905]
    )
    np.testing.assert_allclose(nodes, x * np.sqrt(2), atol=1e-12)
    np.testing.assert_allclose(weights, w / np.sqrt(np.pi), atol=1e-12)


@pytest.mark.parametrize("n_nodes", [1, 2, 5, 9, 20])
def test_normal_nodes_give_the_moments_of_the_normal(n_nodes):
    nodes, weights = normal_nodes(n_nodes)
    for power in range(min(2 * n_nodes, 12)):
        expected = stats.norm.moment(power)
        assert np.sum(weights * nodes**power) == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_normal_nodes_cannot_be_changed_behind_the_cache():
    nodes, _ = normal_nodes(5)
    with pytest.raises(ValueError, match="read-only"):
        nodes[0] = 1.0


@pytest.mark.parametrize(
    ("alpha", "beta"), [(1.0, 1.0), (0.5, 0.5), (86.0, 16.0), (21.0, 1.0), (2.5, 0.3)]
)
def test_beta_nodes_agree_with_scipy_where_scipy_works(alpha, beta):
    nodes, weights = beta_nodes(alpha, beta, 9)
    x, w = special.roots_jacobi(9, beta - 1, alpha - 1)
    np.testing.assert_allclose(nodes, (1 + x) / 2, atol=1e-10)
    np.testing.assert_allclose(weights, w / w.sum(), atol=1e-9)


@pytest.mark.parametrize(("alpha", "beta"), [(3601.0, 401.0), (9000.0, 2.0), (1.0, 5000.0)])
def test_beta_nodes_give_the_moments_of_large_tests(alpha, beta):
    nodes, weights = beta_nodes(alpha, beta, 9)
    assert weights.sum() == pytest.approx(1.0, abs=1e-14)
    for power in (1, 2, 5, 9):
        expected = stats.beta(alpha, beta).moment(power)
        assert np.sum(weights * nodes**power) == pytest.approx(expected, rel=1e-10)


def test_beta_nodes_take_arrays_and_agree_with_one_at_a_time():
    alpha = np.array([[2.0, 90.0], [341.0, 1.0]])
    nodes, weights = beta_nodes(alpha, 7.0, 5)
    assert nodes.shape == weights.shape == (2, 2, 5)
    for i, j in np.ndindex(2, 2):
        one, weight = beta_nodes(alpha[i, j], 7.0, 5)
        np.testing.assert_allclose(nodes[i, j], one, atol=1e-14)
        np.testing.assert_allclose(weights[i, j], weight, atol=1e-14)


def test_beta_nodes_lie_inside_and_rise():
    nodes, _ = beta_nodes(400.0, 1.0, 9)
    assert np.all((nodes > 0) & (nodes < 1))
    assert np.all(np.diff(nodes) > 0)


def test_one_beta_node_is_the_mean():
    nodes, weights = beta_nodes(3.0, 1.0, 1)
    assert float(nodes[0]) == pytest.approx(0.75)
    assert float(weights[0]) == 1.0


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf])
def test_beta_nodes_refuse_shapes_that_are_no_distribution(bad):
    with pytest.raises(OutOfRangeError, match="alpha must be a finite number above 0"):
        beta_nodes(np.array([2.0, bad]), 3.0)
    with pytest.raises(OutOfRangeError, match="beta must be"):
        beta_nodes(2.0, bad)


@pytest.mark.parametrize("bad", [0, -2, 65])
def test_node_counts_out_of_range_are_refused(bad):
    with pytest.raises(OutOfRangeError, match="n_nodes must be"):
        normal_nodes(bad)
    with pytest.raises(OutOfRangeError, match="n_nodes must be"):
        beta_nodes(2.0, 2.0, bad)
