"""Ready days straight in z: hand cases, dense integration, screening against single orders."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from sowbench.science.errors import OutOfRangeError
from sowbench.science.quadrature import normal_nodes
from sowbench.science.ready_chance import pace_reaching, rising, screen_in_time
from sowbench.science.risk import OrderNeed, Share, SowingRisk, order_chances

Z, Z_WEIGHTS = normal_nodes(9)
W, W_WEIGHTS = normal_nodes(5)
INF = np.inf


@pytest.mark.parametrize(
    ("days", "target", "z"),
    [
        ([10, 12, 14], 13, 0.5),
        ([10, 12, 14], 12, 0.0),
        ([10, 12, 14], 20, 4.0),  # the last stretch goes on
        ([10, 12, 14], 8, -2.0),  # so does the first
        ([10, 12, INF], 13, 0.5),  # up to the first infinite node
        ([10, 12, INF], 99, 1.0),  # and never from there
        ([10, INF, INF], 11, -1.0),
        ([10, INF, INF], 9, -INF),
        ([INF, INF, INF], 99, -INF),
        ([10, 10, 14], 10, 0.0),
        ([10, 10, 14], 9, -INF),
        ([10, 14, 14], 15, INF),
    ],
)
def test_pace_reaching_by_hand(days, target, z):
    found = pace_reaching(
        np.array([days], dtype=float), np.array([float(target)]), np.array([-1.0, 0.0, 1.0])
    )
    assert found.tolist() == [z]


@given(
    st.floats(0.05, 4), st.floats(0, 3), st.floats(0.5, 9), st.integers(25, 45), st.integers(0, 9)
)
def test_screening_is_the_integral_over_a_fine_grid(slope, w_slope, window, earliest, length):
    ready = 35 - w_slope * W[:, None] + slope * Z
    over = ready + np.maximum(window * (1 + 0.1 * Z), 1)
    over = np.maximum.accumulate(over, axis=1)
    latest = earliest + length
    found = screen_in_time(ready[None], over[None], [earliest], [latest], [latest])
    grid = norm.ppf((np.arange(20_000) + 0.5) / 20_000)
    in_time = spoilt = 0.0
    for w in range(5):
        r = line(grid, ready[w])
        o = np.maximum(line(grid, np.maximum(over[w], ready[w] + 1)), r + 1e-9)
        days = np.arange(earliest, latest + 1)[:, None]
        in_time += W_WEIGHTS[w] * ((r <= days) & (days < o)).any(axis=0).mean()
        spoilt += W_WEIGHTS[w] * (o <= latest).mean()
    assert found.in_time_frac[0] == pytest.approx(in_time, abs=2e-4)
    assert found.overgrown_frac[0] == pytest.approx(spoilt, abs=2e-4)


def line(z, days):
    """Days straight between nodes and beyond them, by numpy alone."""
    low = days[0] + (z - Z[0]) * (days[1] - days[0]) / (Z[1] - Z[0])
    high = days[-1] + (z - Z[-1]) * (days[-1] - days[-2]) / (Z[-1] - Z[-2])
    return np.where(z < Z[0], low, np.where(z > Z[-1], high, np.interp(z, Z, days)))


def test_screening_and_the_order_agree():
    rng = np.random.default_rng(4)
    n = 40
    ready = rng.uniform(30, 50, n)[:, None, None] + rng.uniform(0.2, 3, (n, 1, 1)) * Z - W[:, None]
    over = ready + rng.uniform(1, 9, (n, 1, 1))
    early = rng.integers(28, 50, n)
    late = early + rng.integers(0, 8, n)
    found = screen_in_time(ready, over, early, late)
    for i in range(n):
        sowing = SowingRisk(0, 0, 5, 5, np.full((5, 1), 0.9), np.ones(1), ready[i], over[i])
        order = OrderNeed((Share(0, 0, 3),), 3, 3, int(early[i]), int(late[i]))
        chance = order_chances(order, [sowing]).in_time_frac
        assert found.in_time_frac[i] == pytest.approx(chance, abs=1e-12)


def test_days_late_by_hand():
    # Ready on 40.2 whatever happens: the 41st is 3 days after the 38th, none after the 41st.
    ready = np.full((1, 5, 9), 40.2)
    found = screen_in_time(np.repeat(ready, 2, 0), np.repeat(ready + 9, 2, 0), [38, 41], [38, 41])
    np.testing.assert_allclose(found.days_late, [3, 0], atol=1e-12)
    np.testing.assert_allclose(found.in_time_frac, [0, 1])


def test_what_is_never_ready_is_late_by_the_cap_and_never_overgrown():
    never = np.full((1, 5, 9), INF)
    found = screen_in_time(never, never, [10], [20], late_cap_d=30.0)
    assert [each.tolist() for each in found] == [[0.0], [pytest.approx(30.0)], [0.0]]


def test_plants_stay_good_for_a_day_at_least():
    ready = np.tile(39.5 + 0.0 * Z, (1, 5, 1))
    found = screen_in_time(ready, ready + 0.1, [40], [40])
    assert found.in_time_frac[0] == pytest.approx(1.0)


def test_many_rows_in_chunks_are_the_same_as_few():
    n = 20_000
    shift = np.linspace(0, 20, n)
    ready = 30 + shift[:, None, None] + 2 * Z + 0.5 * W[:, None]
    found = screen_in_time(ready, ready + 5, np.full(n, 38), np.full(n, 42))
    some = [0, 8191, 8192, n - 1]
    few = screen_in_time(ready[some], ready[some] + 5, [38] * 4, [42] * 4)
    for many, one in zip(found, few, strict=True):
        np.testing.assert_allclose(many[some], one)


def test_days_that_fall_with_z_are_refused_and_slips_leveled():
    with pytest.raises(OutOfRangeError, match=r"ready_day must be no earlier.*12 then 11"):
        rising("ready_day", np.array([10.0, 12.0, 11.0]))
    with pytest.raises(OutOfRangeError, match="inf for never; got nan"):
        rising("ready_day", np.array([10.0, np.nan]))
    assert rising("ready_day", np.array([10.0, 10.0 - 1e-9])).tolist() == [10.0, 10.0]


def test_a_window_that_ends_before_it_begins_is_refused():
    ready = np.full((1, 5, 9), 30.0)
    with pytest.raises(OutOfRangeError, match=r"latest_day must be 10 \(earliest_day\) or later"):
        screen_in_time(ready, ready + 5, [10], [9])
