"""The quick chances for many candidates against the exact distribution, with measured errors."""

import numpy as np
import pytest
from scipy import stats

from sowbench.science.errors import OutOfRangeError
from sowbench.science.stand import lot_nodes
from sowbench.science.tray_chances import (
    cells_for_confidence,
    chances_at,
    expected_short,
    expected_surplus,
    prob_at_least,
)
from sowbench.science.tray_tails import independent_tail
from sowbench.science.trays import tray_total_pmf


def exact(need, n, per_tray, nodes, weights, rho, loss):
    """Chance and shortage from the exact distribution, mixed over nodes."""
    pmf = weights @ tray_total_pmf(n, per_tray, nodes, rho, loss)
    k = np.arange(n + 1)
    return pmf[need:].sum(), np.maximum(need - k, 0) @ pmf, np.maximum(k - need, 0) @ pmf


def cases(seed, n_cases, most_cells):
    """Random sowings with needs all over their distribution."""
    rng = np.random.default_rng(seed)
    for _ in range(n_cases):
        n = int(np.exp(rng.uniform(np.log(2), np.log(most_cells))))
        per_tray = int(rng.choice([1, 6, 18, 50, 72, 98, 128, 200, 288, 512]))
        tested = int(rng.choice([20, 50, 100, 400]))
        nodes, weights = lot_nodes(int(tested * rng.uniform(0.5, 1.0)), tested)
        nodes = nodes * rng.uniform(0.85, 0.98)
        rho, loss = rng.choice([0.0, 0.015, 0.05]), rng.choice([0.0, 0.005, 0.03])
        cdf = np.cumsum(weights @ tray_total_pmf(n, per_tray, nodes, rho, loss))
        points = np.searchsorted(cdf, [0.002, 0.02, 0.05, 0.1, 0.3, 0.6, 0.95])
        for need in np.unique(np.clip(points, 1, n)):
            yield int(need), n, per_tray, nodes, weights, rho, loss


def test_quick_chances_are_within_a_thousandth_of_exact():
    errors, short_errors = [], []
    for need, n, per_tray, nodes, weights, rho, loss in cases(7, 200, 4000):
        chance, short, surplus = exact(need, n, per_tray, nodes, weights, rho, loss)
        found = chances_at([need], [n], per_tray, nodes, weights, rho, loss)
        errors.append(abs(found[0][0] - chance))
        short_errors.append(abs(found[1][0] - short) / max(need, 10))
        assert found[2][0] == pytest.approx(surplus, abs=0.004 * max(need, 10))
    assert len(errors) > 800
    assert np.quantile(errors, 0.9) < 0.0002
    assert np.quantile(errors, 0.99) < 0.001
    assert max(errors) < 0.004
    assert max(short_errors) < 0.0005


def test_one_small_tray_without_loss_is_exact():
    p, weights = lot_nodes(43, 50)
    for n in (1, 3, 12, 30):
        for need in {1, max(n // 2, 1), max(n - 1, 1), n}:
            chance, short, _ = exact(need, n, 128, p, weights, 0.015, 0.0)
            found = chances_at([need], [n], 128, p, weights, 0.015, 0.0)
            assert found[0][0] == pytest.approx(chance, abs=1e-7)
            assert found[1][0] == pytest.approx(short, abs=1e-6)


def test_many_rows_give_the_same_as_one_by_one():
    rows = list(cases(11, 20, 900))
    need, n, per_tray = (np.array([row[i] for row in rows]) for i in range(3))
    nodes, weights = (np.array([row[i] for row in rows]) for i in (3, 4))
    rho, loss = (np.array([row[i] for row in rows]) for i in (5, 6))
    together = prob_at_least(need, n, per_tray, nodes, weights, rho, loss)
    alone = [prob_at_least([r[0]], [r[1]], *r[2:])[0] for r in rows]
    np.testing.assert_allclose(together, alone, atol=1e-12)


def test_cells_for_confidence_are_the_fewest():
    rows = [row for row in cases(3, 60, 800) if row[0] > 1][::3]
    need, per_tray = (np.array([row[i] for row in rows]) for i in (0, 2))
    nodes, weights = (np.array([row[i] for row in rows]) for i in (3, 4))
    rho, loss = (np.array([row[i] for row in rows]) for i in (5, 6))
    confidence = np.resize([0.5, 0.8, 0.95, 0.99], need.size)
    found = cells_for_confidence(need, confidence, per_tray, nodes, weights, rho, loss)
    reached = found >= 0
    assert reached.sum() > 40
    at = prob_at_least(need, np.maximum(found, 0), per_tray, nodes, weights, rho, loss)
    fewer = prob_at_least(need, np.maximum(found - 1, 0), per_tray, nodes, weights, rho, loss)
    assert np.all(at[reached] >= confidence[reached])
    assert np.all(fewer[reached] < confidence[reached])
    for row, n, wanted in zip(rows, found, confidence, strict=True):
        if n >= 0:
            chance, _, _ = exact(row[0], int(n), *row[2:])
            assert chance > wanted - 0.002
    most = prob_at_least(need, 4 * need + 50, per_tray, nodes, weights, rho, loss)
    assert np.all(most[~reached] < confidence[~reached])


def test_a_confidence_out_of_reach_is_minus_one_and_no_need_takes_no_cells():
    found = cells_for_confidence([10, 0, 10], [0.999, 0.95, 0.9], 50, [0.9], [1.0], 0.015, 0.05)
    # With a tray in twenty lost, one tray cannot be sure at 0.999, and 90 cells are two trays.
    assert found[0] == -1
    assert found[1] == 0
    assert found[2] > 10
    assert cells_for_confidence([10], 0.9, 50, [0.9], [1.0], max_cells=[9]).tolist() == [-1]
    assert cells_for_confidence([10], 0.5, 50, [0.9], [1.0], max_cells=[13]).tolist() == [11]


def test_large_sowings_follow_the_binomial_when_nothing_is_shared():
    need, n = np.array([4000, 90_000]), np.array([4700, 100_200])
    found = prob_at_least(need, n, 1, [0.86, 0.9], [0.5, 0.5], 0.0, 0.0)
    expected = (stats.binom.sf(need - 1, n, 0.86) + stats.binom.sf(need - 1, n, 0.9)) / 2
    np.testing.assert_allclose(found, expected, atol=1e-4)


def test_short_and_surplus_balance():
    need, n = np.array([10, 100, 1000]), np.array([12, 118, 1150])
    p, weights = lot_nodes(90, 100)
    short = expected_short(need, n, 72, p, weights)
    surplus = expected_surplus(need, n, 72, p, weights)
    mean = n * (p @ weights) * 0.995
    np.testing.assert_allclose(surplus - short, mean - need, atol=1e-9)


def test_edges():
    # Nothing needed, nothing sown, more needed than sown, everything lost.
    need, n = [0, 5, 5, 5], [0, 0, 4, 8]
    loss = [0.0, 0.0, 0.0, 1.0]
    chance, short, surplus = chances_at(need, n, 10, [1.0], [1.0], 0.0, loss)
    np.testing.assert_allclose(chance, [1, 0, 0, 0], atol=1e-8)
    np.testing.assert_allclose(short, [0, 5, 1, 5], atol=1e-6)
    np.testing.assert_allclose(surplus, [0, 0, 0, 0], atol=1e-6)


def test_both_ways_of_a_tail_meet():
    # A total just on the side of the series, and the sum of a single tray of the same size.
    arrays = [np.array([[float(v)]]) for v in (330, 0, 400, 400, 0.85, 0.004)]
    chance, short = independent_tail(*arrays)
    pmf = tray_total_pmf(400, 400, 0.85, 0.004, 0.0)
    assert float(chance[0, 0]) == pytest.approx(pmf[330:].sum(), abs=0.001)
    expected = np.maximum(330 - np.arange(401), 0) @ pmf
    assert float(short[0, 0]) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        (([1], [-1], 10, [0.9], [1.0]), "n_cells"),
        (([1], [2], 0, [0.9], [1.0]), "cells_per_tray"),
        (([1], [2], 10, [1.9], [1.0]), "usable_nodes"),
        (([1], [2], 10, [0.9, 0.8], [0.5, 0.4]), "weights"),
        (([1], [2], 10, [0.9], [1.0], 1.0), "rho_tray"),
        (([1], [2], 10, [0.9], [1.0], 0.0, 2.0), "tray_loss_frac"),
    ],
)
def test_what_makes_no_sense_is_refused_by_name(arguments, name):
    with pytest.raises(OutOfRangeError, match=f"^{name} must be"):
        prob_at_least(*arguments)


def test_certainty_is_no_confidence():
    with pytest.raises(OutOfRangeError, match="confidence_frac"):
        cells_for_confidence([1], 1.0, 10, [0.9], [1.0])
