"""Retention curves, and water and air of a drained cell."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sowbench.science.errors import OutOfRangeError
from sowbench.science.retention import (
    CM_WATER_PER_KPA,
    Retention,
    container_capacity,
    fit_retention,
    water_frac,
)

PEAT = Retention(0.9063, 0.2077, 0.06624, 2.0828)

curves = st.builds(
    Retention, st.floats(0.6, 0.97), st.floats(0.0, 0.4), st.floats(0.005, 0.5), st.floats(1.1, 6.0)
)


def test_fit_goes_through_the_points_of_heiskanen():
    # J. Heiskanen, Suo, 1990: 90.5, 78.5, 29.5 and 21.5 % at 0.1, 1, 10 and 100 kPa (mid-points).
    height = np.array([0.1, 1.0, 10.0, 100.0]) * CM_WATER_PER_KPA
    curve = fit_retention(height, [0.905, 0.785, 0.295, 0.215])
    assert water_frac(curve, height) == pytest.approx([0.905, 0.785, 0.295, 0.215], abs=1e-5)
    assert curve.alpha_per_cm == pytest.approx(0.06624, abs=1e-4)


def test_integral_over_a_cell_agrees_with_adaptive_quadrature():
    from scipy.integrate import quad

    def area(z):
        return (20.0 + (38.0 - 20.0) * z / 45.0) ** 2

    whole = quad(area, 0, 45)[0]
    held = quad(lambda z: area(z) * float(water_frac(PEAT, z / 10.0)), 0, 45)[0] / whole
    assert container_capacity(PEAT, 45.0, 38.0, 20.0).water_frac == pytest.approx(held, abs=1e-9)


@given(curves, st.floats(10, 200))
def test_a_taller_cell_holds_more_air(curve, depth):
    shallow = container_capacity(curve, depth)
    tall = container_capacity(curve, 1.5 * depth)
    assert tall.air_frac >= shallow.air_frac - 1e-12
    assert 0.0 <= shallow.air_frac <= curve.saturated_frac
    assert shallow.water_frac + shallow.air_frac + shallow.solid_frac == pytest.approx(1.0)


@given(curves, st.floats(10, 200))
def test_a_tapered_cell_holds_more_air_than_a_straight_one(curve, depth):
    tapered = container_capacity(curve, depth, 2.0, 1.0)
    assert tapered.air_frac >= container_capacity(curve, depth).air_frac - 1e-12


def test_a_very_shallow_cell_stays_full():
    assert container_capacity(PEAT, 0.01).air_frac == pytest.approx(0.0, abs=1e-6)


def test_what_is_no_curve_or_no_cell_is_refused():
    with pytest.raises(OutOfRangeError, match="saturated"):
        Retention(0.2, 0.5, 0.1, 2.0)
    with pytest.raises(OutOfRangeError, match="alpha"):
        Retention(0.9, 0.2, 0.0, 2.0)
    with pytest.raises(OutOfRangeError, match="shape"):
        Retention(0.9, 0.2, 0.1, 1.0)
    with pytest.raises(OutOfRangeError, match="depth_mm"):
        container_capacity(PEAT, 0.0)
    with pytest.raises(OutOfRangeError, match="height_cm"):
        water_frac(PEAT, -1.0)
    with pytest.raises(OutOfRangeError, match="4"):
        fit_retention([1, 2, 3], [0.9, 0.8, 0.7])
