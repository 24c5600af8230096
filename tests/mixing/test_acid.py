"""Acid against alkalinity."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.mixing._waters import hard_water

from sowbench.domain.mixing import Acid, AcidKind, WaterReport
from sowbench.mixing.acid import (
    RefusedError,
    acid_to_alkalinity,
    acid_to_ph,
    normality_eq_l,
)
from sowbench.mixing.water import understood
from sowbench.reference.solutes import acids
from sowbench.science.errors import OutOfRangeError

NITRIC = Acid(AcidKind.NITRIC, 0.67, 1.40)
CITRIC = Acid(AcidKind.CITRIC, 1.0, None)


@pytest.mark.parametrize("acid", acids(), ids=lambda each: f"{each.kind} {each.strength_frac}")
def test_every_acid_leaves_the_alkalinity_wanted(acid):
    dose = acid_to_alkalinity(hard_water(250.0), acid, 100.0)
    slack = 5.0 if acid.kind is AcidKind.CITRIC else 1e-3  # its anion is no bicarbonate
    assert dose.alkalinity_mg_l == pytest.approx(100.0, abs=slack)
    assert (dose.ml_per_m3 is None) == (acid.kind is AcidKind.CITRIC)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(acids()), st.floats(60, 300), st.floats(5.0, 7.0), st.floats(8, 30))
def test_the_ph_wanted_is_the_ph_that_comes(acid, alkalinity, ph, temp_c):
    dose = acid_to_ph(hard_water(alkalinity, temp_c), acid, ph)
    assert dose.after.ph == pytest.approx(ph, abs=2e-3)
    assert dose.aired.ph > dose.after.ph


def test_weaker_acid_of_the_same_kind_takes_more_milliliters_for_the_same_result():
    strong = acid_to_alkalinity(hard_water(), Acid(AcidKind.SULFURIC, 0.93, 1.835), 100.0)
    weak = acid_to_alkalinity(hard_water(), Acid(AcidKind.SULFURIC, 0.35, 1.26), 100.0)
    assert weak.ml_per_m3
    assert strong.ml_per_m3
    assert weak.ml_per_m3 / strong.ml_per_m3 == pytest.approx(34.80 / 8.993, rel=2e-3)
    assert weak.adds_mg_l == pytest.approx(strong.adds_mg_l)


def test_phosphoric_acid_alone_warns_of_its_phosphorus():
    dose = acid_to_alkalinity(hard_water(200.0), Acid(AcidKind.PHOSPHORIC, 0.85, 1.685), 50.0)
    assert any("phosphorus" in each for each in dose.doubts)


def test_little_alkalinity_left_is_a_doubt_and_airing_is_told():
    dose = acid_to_alkalinity(hard_water(200.0), NITRIC, 20.0)
    assert any("steeply" in each for each in dose.doubts)
    assert any("climbs" in each for each in dose.doubts)


def test_below_ph_four_is_refused_not_flagged():
    with pytest.raises(RefusedError, match="pH wanted must be 4 or more"):
        acid_to_ph(hard_water(), NITRIC, 3.5)
    with pytest.raises(OutOfRangeError, match="alkalinity wanted"):
        acid_to_alkalinity(hard_water(100.0), NITRIC, -5.0)


@pytest.mark.parametrize(
    ("acid", "words"),
    [
        (Acid(AcidKind.NITRIC, 0.9, 1.4), "strength of nitric acid must be .* at most 70%"),
        (Acid(AcidKind.NITRIC, 0.0, 1.4), "strength"),
        (Acid(AcidKind.SULFURIC, 0.93, None), "density of sulfuric acid"),
        (Acid(AcidKind.SULFURIC, 0.93, 18.35), "density"),
    ],
)
def test_a_drum_of_unknown_strength_is_refused(acid, words):
    with pytest.raises(OutOfRangeError, match=words):
        acid_to_alkalinity(hard_water(), acid, 100.0)


def test_more_alkalinity_than_there_is_cannot_be_wanted():
    with pytest.raises(OutOfRangeError, match="between 0 and 100 mg/L"):
        acid_to_alkalinity(hard_water(100.0), NITRIC, 150.0)
    with pytest.raises(OutOfRangeError, match=r"at most 7.6"):
        acid_to_ph(hard_water(100.0), NITRIC, 8.5)


def test_citric_acid_has_no_fixed_equivalents():
    with pytest.raises(OutOfRangeError, match="nitric, phosphoric or sulfuric"):
        normality_eq_l(CITRIC)
    assert acid_to_ph(hard_water(200.0), CITRIC, 5.8).adds_mg_l == {}


def test_citric_acid_in_water_without_hardness_gives_the_protons_of_its_three_constants():
    sodium = understood(WaterReport("soft", 7.6, 4.0, {"na": 6.0, "cl": 2.0}))
    dose = acid_to_ph(sodium, CITRIC, 5.8)
    # pKa 3.13, 4.76 and 6.40 (from memory) give 2.10 protons at pH 5.8 and no ionic strength;
    # salts in the water let go a little more. Calcium, which binds citrate, much more.
    assert 2.05 < 0.749 * 4.0 / dose.mmol_l < 2.45
    assert acid_to_ph(hard_water(200.0), CITRIC, 5.8).mmol_l < dose.mmol_l
