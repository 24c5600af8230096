"""Amounts dissolved in water, in the units of reports, labels and tanks."""

import math

import numpy as np
import periodictable
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.science.solutions import (
    ATOMIC_MASS_G_MOL,
    CACO3_MG_PER_MEQ,
    IONS,
    K_PER_K2O,
    P_PER_P2O5,
    Unit,
    alkalinity_meq_l,
    charge_balance_frac,
    from_mmol_l,
    ion_of,
    material_mg_l,
    mg_l_to_oz_per_100_gal,
    sodium_adsorption,
    stock_g_l,
    to_mmol_l,
    units_of,
)


@pytest.mark.parametrize("element", list(ATOMIC_MASS_G_MOL))
def test_atomic_masses_agree_with_an_independent_table(element):
    mass = getattr(periodictable, element).mass
    assert ATOMIC_MASS_G_MOL[element] == pytest.approx(mass, rel=2e-4)


@given(
    st.sampled_from([(name, unit) for name in IONS for unit in units_of(name)]),
    st.data(),
    st.floats(1e-6, 1e5),
)
def test_an_amount_read_back_in_any_unit_and_home_again_is_the_same(given_in, data, amount):
    name, unit = given_in
    mmol = to_mmol_l(name, amount, unit)
    other = data.draw(st.sampled_from(units_of(name)))
    back = from_mmol_l(name, to_mmol_l(name, from_mmol_l(name, mmol, other), other), unit)
    assert float(back) == pytest.approx(amount, rel=1e-9)


def test_degrees_of_hardness_stand_for_oxide_and_carbonate():
    # One German degree is 10 mg CaO a liter, one French degree 10 mg CaCO3 a liter.
    german = to_mmol_l("ca", 1.0, Unit.DEGREE_GERMAN)
    assert float(german) == pytest.approx(10.0 / 56.077, rel=1e-5)
    assert float(from_mmol_l("ca", german, Unit.DEGREE_FRENCH)) == pytest.approx(1.7848, abs=1e-4)


def test_dole_range_of_alkalinity_is_the_same_in_both_units():
    # J. M. Dole, "Water quality and treatments": 0.8 to 1.3 meq/L is 40 to 65 ppm CaCO3.
    assert float(alkalinity_meq_l(40.03, "mg/L CaCO3")) == pytest.approx(0.8, abs=1e-3)
    assert float(alkalinity_meq_l(65.06, "mg/L CaCO3")) == pytest.approx(1.3, abs=1e-3)
    assert pytest.approx(50.04, abs=0.01) == CACO3_MG_PER_MEQ


def test_phosphate_and_potash_of_a_label_turn_into_elements():
    assert pytest.approx(0.43642, abs=2e-5) == P_PER_P2O5
    assert pytest.approx(0.83015, abs=2e-5) == K_PER_K2O


def test_nitrate_given_as_nitrate_or_as_nitrogen_is_the_same():
    as_nitrate = to_mmol_l("no3", 62.004, "mg/L")
    as_nitrogen = to_mmol_l("no3_n", 14.007, "ppm")
    assert float(as_nitrate) == pytest.approx(float(as_nitrogen), rel=1e-6)


def test_what_carries_no_charge_has_no_equivalents():
    with pytest.raises(OutOfRangeError, match="boron"):
        to_mmol_l("b", 1.0, Unit.MEQ_L)
    with pytest.raises(OutOfRangeError, match="hardness"):
        to_mmol_l("na", 1.0, Unit.DEGREE_GERMAN)


def test_unknown_names_and_negative_amounts_are_refused():
    with pytest.raises(UnknownNameError, match="mg/l"):
        to_mmol_l("ca", 1.0, "mg/l per liter")
    with pytest.raises(UnknownNameError):
        ion_of("unobtainium")
    with pytest.raises(OutOfRangeError, match="0 or more"):
        to_mmol_l("ca", -1.0, "mg/L")
    with pytest.raises(OutOfRangeError):
        material_mg_l(100.0, 0.0)
    with pytest.raises(OutOfRangeError):
        stock_g_l(100.0, 0.5)


def test_missing_amounts_pass_through():
    assert math.isnan(float(to_mmol_l("ca", math.nan, "mg/L")))


def test_arrays_keep_their_shape():
    assert to_mmol_l("mg", np.ones((2, 3)), "mg/L").shape == (2, 3)


def test_charges_of_salt_balance_and_of_sodium_alone_do_not():
    assert charge_balance_frac({"na": 2.0, "cl": 2.0}) == 0.0
    assert charge_balance_frac({"ca": 1.0, "so4": 1.0}) == 0.0
    assert charge_balance_frac({"na": 2.0}) == 1.0
    assert charge_balance_frac({}) == 0.0


def test_sodium_ratio_of_handbook_60_in_milliequivalents():
    # USDA Handbook 60: SAR = Na / sqrt((Ca + Mg) / 2), all in meq/L; 10, 4 and 4 give 5.
    assert float(sodium_adsorption(10.0, 2.0, 2.0)) == pytest.approx(5.0)
    assert float(sodium_adsorption(0.0, 0.0, 0.0)) == 0.0


def test_an_ounce_in_a_hundred_gallons_is_75_ppm_nearly():
    # The trade's rule of 75; exactly 74.8915 mg/L.
    assert 1.0 / float(mg_l_to_oz_per_100_gal(1.0)) == pytest.approx(74.8915, abs=1e-4)
