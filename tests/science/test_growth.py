import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sowbench.science.errors import OutOfRangeError
from sowbench.science.growth import (
    Clocks,
    advance_between,
    clock_at,
    clock_reached,
    cumulative_clocks,
    day_reached,
    day_reached_on_path,
    light_factor,
    light_usable_frac,
    relative_rate,
    window_for_cell,
)

CROP = (4.0, 24.0, 35.0)


def steady(temp_c, n_days=60, dli=10.0, n_nodes=1):
    return cumulative_clocks(
        np.full((n_nodes, n_days), temp_c), np.full(n_days, dli), *CROP, temp_ref_c=20.0
    )


# By hand: (T - 4) / (20 - 4), 1.25 at the optimum, straight to 0 at 35.
@pytest.mark.parametrize(
    ("temp", "expected"),
    [(4.0, 0.0), (-10.0, 0.0), (12.0, 0.5), (20.0, 1.0), (24.0, 1.25), (29.5, 0.625), (35.0, 0.0),
     (50.0, 0.0)],
)  # fmt: skip
def test_relative_rate_by_hand(temp, expected):
    assert relative_rate(temp, *CROP, temp_ref_c=20.0) == pytest.approx(expected)


@given(st.floats(-20, 60))
def test_relative_rate_is_never_above_its_optimum_nor_below_zero(temp):
    rate = float(relative_rate(temp, *CROP, temp_ref_c=20.0))
    assert 0.0 <= rate <= 1.25


def test_relative_rate_keeps_nan_and_shape():
    rate = relative_rate(np.array([[20.0, np.nan]]), *CROP, temp_ref_c=20.0)
    assert rate.shape == (1, 2)
    assert np.isnan(rate[0, 1])


def test_optimum_that_is_also_the_ceiling_cuts_off_above():
    assert relative_rate([24.0, 24.1], 4.0, 24.0, 24.0, 20.0).tolist() == [1.25, 0.0]


@pytest.mark.parametrize("ref", [4.0, 24.5, 3.0])
def test_reference_outside_base_and_optimum_is_refused(ref):
    with pytest.raises(OutOfRangeError, match="temp_ref_c"):
        relative_rate(20.0, *CROP, temp_ref_c=ref)


def test_temperatures_out_of_order_are_refused():
    with pytest.raises(OutOfRangeError, match="rising"):
        relative_rate(20.0, 24.0, 4.0, 35.0, 20.0)


@given(st.floats(0, 80), st.floats(0, 80))
def test_light_factor_rises_up_to_one(a, b):
    low, high = sorted((a, b))
    assert 0 <= light_factor(low) <= light_factor(high) <= 1


def test_light_factor_refuses_darkness_below_zero_and_no_reference():
    with pytest.raises(OutOfRangeError, match="dli_mol_m2_d"):
        light_factor(-0.1)
    with pytest.raises(OutOfRangeError, match="dli_ref"):
        light_factor(5.0, 0.0)


def test_light_usable_share_is_flat_outside_three_and_eight():
    assert light_usable_frac([0.0, 3.0, 8.0, 40.0]).tolist() == [0.7, 0.7, 1.0, 1.0]
    assert light_usable_frac(5.5) == pytest.approx(0.85)


def test_window_grows_with_the_cell_within_limits():
    assert window_for_cell(8.0, [5.0, 25.0, 50.0, 800.0]).tolist() == [4.0, 8.0, 16.0, 20.0]


def test_clocks_add_up_by_hand():
    temp = np.array([[20.0, 12.0, 24.0]])
    clocks = cumulative_clocks(temp, np.array([10.0, 5.0, 2.5]), *CROP, temp_ref_c=20.0)
    assert clocks.leaf_d.tolist() == [[0.0, 1.0, 1.5, 2.75]]
    # Light factors 1, 0.75 and 0.5.
    assert clocks.mass_d == pytest.approx(np.array([[0.0, 1.0, 1.375, 2.0]]))


def test_clocks_refuse_light_of_another_length():
    with pytest.raises(OutOfRangeError, match="one value for each of 3 d"):
        cumulative_clocks(np.full((1, 3), 20.0), np.full(4, 10.0), *CROP, temp_ref_c=20.0)


def test_emergence_hour_counts_its_share_of_the_day():
    # Emerged at 18 h of day 2: a quarter of that day, then a day each.
    clocks = steady(20.0)
    assert advance_between(clocks.leaf_d, [[2.75]], [[4.0]]).item() == pytest.approx(1.25)
    assert day_reached(clocks, [[2.75]], 1.25).item() == pytest.approx(4.0)


def test_day_reached_waits_for_the_slower_clock():
    dim = steady(20.0, dli=2.5)  # mass at half pace
    assert clock_reached(dim.leaf_d, [[0.0]], 10.0).item() == pytest.approx(10.0)
    assert day_reached(dim, [[0.0]], 10.0).item() == pytest.approx(20.0)


def test_day_not_reached_in_the_season_is_infinite():
    clocks = steady(20.0, n_days=10)
    assert np.isinf(day_reached(clocks, [[3.0]], 7.5)).all()
    assert day_reached(clocks, [[3.0]], 7.0).item() == pytest.approx(10.0)
    assert np.isinf(day_reached(clocks, [[np.inf, 10.5, -0.5]], 1.0)).all()


def test_nothing_grows_below_base():
    assert np.isinf(day_reached(steady(2.0), [[0.0]], 1.0)).all()


def test_target_of_nothing_is_reached_at_the_start():
    assert day_reached(steady(2.0), [[5.25]], 0.0).item() == 5.25


def test_cold_spell_is_waited_out():
    temp = np.array([[20.0, 0.0, 0.0, 20.0, 20.0]])
    clocks = cumulative_clocks(temp, np.full(5, 10.0), *CROP, temp_ref_c=20.0)
    day = day_reached(clocks, [[0.0, 0.0, 1.5]], np.array([[1.0, 1.5, 0.25]]))
    assert day == pytest.approx(np.array([[1.0, 3.5, 3.25]]))


@given(
    st.lists(st.floats(0, 34), min_size=5, max_size=40),
    st.floats(0, 30),
    st.floats(0.01, 20),
)
def test_gain_until_the_day_reached_is_the_target(temps, start, target):
    clocks = cumulative_clocks(np.array([temps]), np.full(len(temps), 6.0), *CROP, temp_ref_c=20.0)
    day = clock_reached(clocks.mass_d, [[start]], target)
    if np.isfinite(day).all():
        gain = advance_between(clocks.mass_d, [[start]], day)
        assert gain.item() == pytest.approx(target, abs=1e-6)
        assert day.item() >= start


@given(
    st.lists(st.floats(0, 34), min_size=5, max_size=30),
    st.floats(0, 20),
    st.floats(0.1, 15),
    st.integers(0, 25),
)
def test_vectorized_day_matches_a_walk_by_small_steps(temps, start, target, seed):
    rng = np.random.default_rng(seed)
    dli = rng.uniform(1, 20, len(temps))
    clocks = cumulative_clocks(np.array([temps]), dli, *CROP, temp_ref_c=20.0)
    day = day_reached(clocks, [[start]], target).item()
    rates = relative_rate(temps, *CROP, temp_ref_c=20.0)
    mass_rates = rates * light_factor(dli)
    step, now, leaf, mass = 1 / 64, start, 0.0, 0.0
    while min(leaf, mass) < target and now < len(temps):
        today = int(now)
        part = min(step, today + 1 - now)
        leaf += rates[today] * part
        mass += mass_rates[today] * part
        now += part
    if np.isfinite(day):
        assert now == pytest.approx(day, abs=step + 1e-6) or min(leaf, mass) == pytest.approx(
            target, abs=1e-6
        )
    else:
        assert min(leaf, mass) < target + 1e-9


def test_path_through_one_place_is_the_same_as_no_path():
    clocks = steady(17.0, dli=7.0, n_nodes=3)
    start = np.linspace(0, 9, 12).reshape(3, 4)
    assert np.array_equal(
        day_reached_on_path([clocks], start, [], 12.0), day_reached(clocks, start, 12.0)
    )


def test_moved_plants_go_on_at_the_new_pace():
    warm, cool = steady(20.0), steady(12.0)
    # 3 days at 1, then 0.5 a day: 5 more days of growth take 10.
    day = day_reached_on_path([warm, cool], [[1.0]], [[4.0]], 8.0)
    assert day.item() == pytest.approx(14.0)
    # Ready before the move, and moved before emergence.
    assert day_reached_on_path([warm, cool], [[1.0]], [[4.0]], 2.0).item() == pytest.approx(3.0)
    assert day_reached_on_path([warm, cool], [[1.0]], [[0.0]], 2.0).item() == pytest.approx(5.0)


def test_three_places_chain():
    warm, cool = steady(20.0), steady(12.0)
    day = day_reached_on_path([warm, cool, warm], [[0.0]], [[2.0], [6.0]], 6.0)
    # 2 + 4 x 0.5 = 4 by day 6, 2 more at 1.
    assert day.item() == pytest.approx(8.0)


def test_move_that_never_comes_leaves_the_plants_where_they_are():
    warm, cool = steady(20.0), steady(12.0)
    assert day_reached_on_path([warm, cool], [[0.0]], [[np.inf]], 5.0).item() == pytest.approx(5.0)
    assert np.isinf(day_reached_on_path([warm, cool], [[np.inf]], [[3.0]], 5.0)).all()


def test_path_wants_one_move_fewer_than_places():
    with pytest.raises(OutOfRangeError, match="one fewer than the 2 places"):
        day_reached_on_path([steady(20.0), steady(12.0)], [[0.0]], [], 5.0)


def test_nodes_and_paces_broadcast_together():
    rng = np.random.default_rng(3)
    temp = rng.uniform(10, 26, (5, 120))
    dli = rng.uniform(2, 15, 120)
    clocks = cumulative_clocks(temp, dli, *CROP, temp_ref_c=20.0)
    start = rng.uniform(0, 60, (5, 40, 1))
    target = 20 * np.exp(0.2 * np.linspace(-2, 2, 9))
    day = day_reached(clocks, start, target)
    assert day.shape == (5, 40, 9)
    one = Clocks(clocks.leaf_d[2:3], clocks.mass_d[2:3])
    assert day_reached(one, start[2:3, 7, :], target[4]).item() == day[2, 7, 4]
    later = np.diff(day, axis=2)
    assert (later > 0).all()


def test_clock_outside_the_season_is_not_a_number():
    row = np.array([[0.0, 1.0, 2.0]])
    assert np.isnan(clock_at(row, [[-0.1, 2.1, np.inf]])).all()
    assert clock_at(row, [[0.0, 2.0]]).tolist() == [[0.0, 2.0]]
