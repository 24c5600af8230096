"""Cells, mix, bales and water: limits, round trips and refusals."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sowbench.science.errors import OutOfRangeError
from sowbench.science.medium import (
    SOAKED_WATER_FRAC,
    bale_loose_volume_l,
    bales_needed,
    bottom_width_from_volume,
    component_volumes_l,
    cover_layer_l,
    frustum_volume,
    mix_volume_l,
    pellet_volume_ml,
    soak_water_l,
    water_to_wet_up_l,
)

# A shape that the trade has and the formula has not.
STAR: Any = "star"


def test_limits_of_a_cell():
    # A cube of 10 mm, a pyramid of a third of it, a cylinder of pi/4 of it.
    assert float(frustum_volume(10, 10, 10)) == pytest.approx(1.0)
    assert float(frustum_volume(10, 0, 10)) == pytest.approx(1 / 3)
    assert float(frustum_volume(10, 10, 10, "round")) == pytest.approx(np.pi / 4)


@given(st.floats(5, 150), st.floats(0, 1), st.floats(10, 200), st.sampled_from(["square", "round"]))
def test_bottom_width_comes_back_from_the_volume(top, taper, depth, shape):
    volume = frustum_volume(top, taper * top, depth, shape)
    found = bottom_width_from_volume(top, depth, volume * (1 + 1e-12), shape)
    assert float(found) == pytest.approx(taper * top, abs=1e-3 * top)


def test_bottom_width_of_arrays():
    found = bottom_width_from_volume([38.0, 20.0], [45.0, 25.0], [39.06, 7.30])
    np.testing.assert_allclose(found, [20.0, 14.0], atol=0.01)


@pytest.mark.parametrize("volume", [0.2, 1.5])
def test_a_volume_that_the_opening_cannot_have_is_refused(volume):
    with pytest.raises(OutOfRangeError, match=r"volume_ml must be between 0\.3 .* and 1\.0 mL"):
        bottom_width_from_volume(10, 10, volume)


def test_a_volume_rounded_up_in_the_source_has_straight_walls():
    assert float(bottom_width_from_volume(10, 10, 1.02)) == 10.0


def test_mix_by_hand():
    # 10 trays of 128 cells of 25.1 mL with a tenth more.
    assert float(mix_volume_l(1280, 25.1)) == pytest.approx(35.3408)


@given(st.floats(0, 500), st.lists(st.floats(0.1, 9), min_size=1, max_size=5), st.floats(0, 0.3))
def test_components_shrink_to_the_mix_and_keep_their_parts(mix, parts, shrinkage):
    found = component_volumes_l(mix, parts, shrinkage)
    assert found.sum() * (1 - shrinkage) == pytest.approx(mix)
    np.testing.assert_allclose(found * parts[0], found[0] * np.array(parts), atol=1e-9)


def test_bales():
    assert float(bale_loose_volume_l(100.0, 1.9)) == pytest.approx(190.0)
    assert bales_needed([0, 1, 200, 200.0001, 201], 100).tolist() == [0, 1, 1, 1, 2]


def test_a_millimeter_on_a_square_meter_is_a_liter():
    assert float(cover_layer_l(1, 1, 0)) == 1.0
    # Ten trays of 0.15 m2 under 4 mm with a tenth spilled.
    assert float(cover_layer_l(1.5, 4)) == pytest.approx(6.6)


def test_wet_mix_takes_no_water():
    np.testing.assert_allclose(water_to_wet_up_l(10.0, [0.1, 0.6, 0.8], 0.6), [5.0, 0.0, 0.0])


def test_soaking_by_hand():
    # 98 cubes of 55 mL, four fifths water.
    assert float(soak_water_l(98, 55, SOAKED_WATER_FRAC["wool"])) == pytest.approx(4.312)
    assert float(pellet_volume_ml(42, 40)) == pytest.approx(np.pi / 4 * 42**2 * 40 / 1000)
    assert all(0.5 < share < 1 for share in SOAKED_WATER_FRAC.values())


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: frustum_volume(-1, 1, 1), "top_mm"),
        (lambda: frustum_volume(1, float("nan"), 1), "bottom_mm"),
        (lambda: frustum_volume(1, 1, 1, STAR), "shape"),
        (lambda: bottom_width_from_volume(10, 0, 1), "volume_ml"),
        (lambda: mix_volume_l(-1, 10), "n_cells"),
        (lambda: component_volumes_l(10, [0, 0]), "parts"),
        (lambda: component_volumes_l(10, [1], 1.0), "shrinkage_frac"),
        (lambda: bale_loose_volume_l(10, 0.5), "expansion"),
        (lambda: bales_needed(10, 0), "bale_l"),
        (lambda: cover_layer_l(1, -1), "cover_mm"),
        (lambda: water_to_wet_up_l(1, 0.1, 60), "to_water_frac"),
        (lambda: soak_water_l(1, 1, 80), "water_frac"),
    ],
)
def test_what_makes_no_sense_is_refused_by_name(call, name):
    with pytest.raises(OutOfRangeError, match=f"^{name} must be"):
        call()
