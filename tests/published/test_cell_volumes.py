"""Volumes of cells, mixes and bales against published ones.

C21 greenhouse supply catalog, plug flat table; C23 wholesale nursery, plug sizes; C28 H. Resh,
Hobby Hydroponics, propagation cubes; C29 retailer, mineral-wool block; C31 plant wholesaler, size
formats. N. Bragg, Chemistry of plug production, gives volumes and numbers of cells. Bales: a
growing-media maker's answer page, and areas covered an inch deep by bales of three sizes.
"""

import math

import pytest
from tests.published._report import record

from sowbench.reference.tables import read_table
from sowbench.science.medium import (
    BALE_EXPANSION,
    bale_loose_volume_l,
    bales_needed,
    bottom_width_from_volume,
    frustum_volume,
    mix_volume_l,
)
from sowbench.science.units import cubic_ft_to_l, ft2_to_m2


def published():
    for row in read_table("data/crops/containers.csv"):
        try:
            top, depth, volume = (
                float(row[key]) for key in ("cell_top_mm", "depth_mm", "cell_volume_ml")
            )
        except ValueError:
            continue
        if row["basis"] == "seen":
            yield row, top, depth, volume


def test_straight_carriers_have_the_published_volume():
    errors = []
    for row, top, depth, volume in published():
        if row["cell_bottom_mm"] or row["cell_shape"] == "cylinder":
            round_too = row["cell_shape"] == "cylinder"
            found_ml = frustum_volume(top, top, depth, "round" if round_too else "square")
            errors.append(float(found_ml) / volume - 1)
    found = record("volume of cubes and paper plugs", "C28, C29, C31", len(errors), errors, "share")
    assert len(errors) == 7
    assert found.worst < 0.025  # dimensions and volumes are printed in whole numbers


def test_every_published_plug_cell_has_a_taper_that_explains_its_volume():
    errors, tapers = [], []
    for row, top, depth, volume in published():
        if "plug tray" in row["kind"]:
            bottom = float(bottom_width_from_volume(top, depth, volume))
            tapers.append(bottom / top)
            errors.append(float(frustum_volume(top, bottom, depth)) - volume)
    found = record("volume of plug cells by inferred taper", "C21, C23", len(errors), errors, "mL")
    assert len(errors) >= 12
    assert found.worst < 1e-6
    assert all(0.35 < taper < 0.95 for taper in tapers)


@pytest.mark.parametrize(
    ("top", "bottom", "depth", "volume"), [(38, 20, 45, 39.06), (20, 14, 25, 7.30)]
)
def test_truncated_pyramid_against_worked_cases(top, bottom, depth, volume):
    # Worked by hand: 45/3 (1444 + 400 + 760) = 39060 mm3; 25/3 (400 + 196 + 280) = 7300 mm3.
    assert float(frustum_volume(top, bottom, depth)) == pytest.approx(volume, abs=0.005)


def test_mix_for_a_tray():
    # Bragg: cells of 4.7, 7.5, 87.5 and 285 mL, 350, 230, 40 and 28 a tray.
    found = mix_volume_l([350, 230, 40, 28], [4.7, 7.5, 87.5, 285.0], 0.0)
    errors = (found - [1.645, 1.725, 3.50, 7.98]).tolist()
    assert record("mix of a tray", "Bragg, plug production", 4, errors, "L").worst < 1e-9


def test_bales_for_three_and_a_half_cubic_yards():
    # Printed: 3.5 cubic yards from bales of 3 cubic feet at 2 to 1 take 15.75, so 16 bales.
    wanted_l, bale_l = cubic_ft_to_l(3.5 * 27), cubic_ft_to_l(3.0)
    assert wanted_l / float(bale_loose_volume_l(bale_l)) == pytest.approx(15.75)
    assert int(bales_needed(wanted_l, bale_l)) == 16


def test_bale_expansion_against_printed_coverage():
    # Printed: bales of 3.8, 2.2 and 1 cubic foot cover 90, 50 and 24 square feet an inch deep.
    errors = []
    for bale_ft3, area_ft2 in ((3.8, 90), (2.2, 50), (1.0, 24)):
        covered_l = ft2_to_m2(float(area_ft2)) * 25.4
        errors.append(covered_l / cubic_ft_to_l(bale_ft3) - BALE_EXPANSION)
    found = record("bale expansion", "coverage printed on bales", 3, errors, "ratio")
    assert math.isclose(found.worst, 0.106, abs_tol=0.001)
