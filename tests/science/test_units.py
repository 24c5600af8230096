import inspect
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sowbench.science import units
from sowbench.science.errors import OutOfRangeError

PAIRS = [
    (units.f_to_c, units.c_to_f),
    (units.in_to_mm, units.mm_to_in),
    (units.ft2_to_m2, units.m2_to_ft2),
    (units.cubic_in_to_ml, units.ml_to_cubic_in),
    (units.cubic_ft_to_l, units.l_to_cubic_ft),
    (units.us_gal_to_l, units.l_to_us_gal),
    (units.oz_to_g, units.g_to_oz),
]
PAIR_IDS = [there.__name__ for there, _ in PAIRS]


# 16 CFR 500.19: inch/pound to SI, and SI to inch/pound, six significant digits.
@pytest.mark.parametrize(
    ("convert", "expected"),
    [
        (units.in_to_mm, 25.4),
        (units.ft2_to_m2, 0.09290304),
        (units.cubic_in_to_ml, 16.3871),
        (units.cubic_ft_to_l, 28.3168),
        (units.us_gal_to_l, 3.78541),
        (units.oz_to_g, 28.3495),
        (units.mm_to_in, 0.0393701),
        (units.m2_to_ft2, 10.7639),
        (units.ml_to_cubic_in, 0.0610237),
        (units.l_to_cubic_ft, 0.0353147),
        (units.l_to_us_gal, 0.264172),
        (units.g_to_oz, 0.0352740),
    ],
)
def test_one_of_each_unit_matches_the_published_table(convert, expected):
    assert convert(1.0) == pytest.approx(expected, rel=5e-6)


# Fixed points of the scales: water freezes and boils; the two scales meet at -40.
@pytest.mark.parametrize(("temp_f", "temp_c"), [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0)])
def test_temperature_scales_agree_at_their_fixed_points(temp_f, temp_c):
    assert units.f_to_c(temp_f) == temp_c
    assert units.c_to_f(temp_c) == temp_f


@pytest.mark.parametrize(("there", "back"), PAIRS, ids=PAIR_IDS)
@given(value=st.floats(-1e6, 1e6))
def test_conversion_and_its_inverse_cancel(there, back, value):
    assert back(there(value)) == pytest.approx(value, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("convert", [each for pair in PAIRS for each in pair])
def test_conversion_of_an_array_keeps_shape_and_lets_nan_through(convert):
    values = np.array([[1.0, math.nan], [0.0, -3.0]])
    result = convert(values)
    assert result.shape == values.shape
    assert math.isnan(result[0, 1])
    assert result[1, 1] == convert(-3.0)


# ASTM G173-03 global spectrum, 1000.4 W m-2 from 280 to 4000 nm: its own share and photons between
# 400 and 700 nm, by summing the published table with E = h c / wavelength.
def test_sunlight_constants_match_the_standard_solar_spectrum():
    from pvlib.spectrum import get_reference_spectra

    spectrum = get_reference_spectra(standard="ASTM G173-03")["global"]
    wavelength_nm = spectrum.index.to_numpy()
    power_w_m2_nm = spectrum.to_numpy()
    total_w_m2 = np.trapezoid(power_w_m2_nm, wavelength_nm)
    inside = (wavelength_nm >= 400) & (wavelength_nm <= 700)
    par_w_m2 = np.trapezoid(power_w_m2_nm[inside], wavelength_nm[inside])
    joule_per_mol_nm = 6.62607015e-34 * 299792458 * 6.02214076e23 * 1e9  # h c N_A (SI, exact)
    photons = power_w_m2_nm[inside] * wavelength_nm[inside] / joule_per_mol_nm * 1e6
    umol_per_j = np.trapezoid(photons, wavelength_nm[inside]) / par_w_m2
    # Clear sky at one air mass and a half; 3 % is the spread between skies given beside the values.
    assert pytest.approx(umol_per_j, rel=0.03) == units.UMOL_PER_J_PAR_SUN
    assert pytest.approx(par_w_m2 / total_w_m2, abs=0.03) == units.PAR_FRAC_SUN


# By hand: 500 W m-2 x 0.45 x 4.57 µmol J-1 = 1028.25 µmol m-2 s-1.
def test_shortwave_to_ppfd_matches_hand_calculation():
    assert units.shortwave_to_ppfd(500.0) == pytest.approx(1028.25)


def test_shortwave_to_ppfd_follows_the_share_given():
    assert units.shortwave_to_ppfd(500.0, par_frac=0.5) == pytest.approx(1142.5)
    assert units.shortwave_to_ppfd(500.0, par_frac=0.0) == 0


@pytest.mark.parametrize("par_frac", [-0.1, 1.1, 45.0, math.nan])
def test_shortwave_to_ppfd_refuses_a_share_that_is_none(par_frac):
    with pytest.raises(OutOfRangeError, match=r"par_frac must be between 0 and 1; got"):
        units.shortwave_to_ppfd(500.0, par_frac=par_frac)


# By hand: 200 µmol m-2 s-1 x 16 h x 3600 s / 1e6 = 11.52 mol m-2 d-1.
def test_daily_light_integral_matches_hand_calculation():
    assert units.ppfd_to_dli(200.0, 16.0) == pytest.approx(11.52)
    assert units.dli_to_ppfd(11.52, 16.0) == pytest.approx(200.0)


def test_no_hours_of_light_make_no_daily_light():
    assert units.ppfd_to_dli(200.0, 0.0) == 0


@given(ppfd_umol_m2_s=st.floats(0, 2500), light_h=st.floats(0.01, 24))
def test_daily_light_and_flux_are_inverse(ppfd_umol_m2_s, light_h):
    dli_mol_m2_d = units.ppfd_to_dli(ppfd_umol_m2_s, light_h)
    assert units.dli_to_ppfd(dli_mol_m2_d, light_h) == pytest.approx(ppfd_umol_m2_s)


def test_daily_light_of_an_array_takes_one_day_length_and_lets_nan_through():
    ppfd_umol_m2_s = np.array([100.0, math.nan])
    dli_mol_m2_d = units.ppfd_to_dli(ppfd_umol_m2_s, 10.0)
    np.testing.assert_allclose(dli_mol_m2_d, [3.6, math.nan])
    np.testing.assert_allclose(units.dli_to_ppfd(dli_mol_m2_d, 10.0), ppfd_umol_m2_s)


@pytest.mark.parametrize("light_h", [-1.0, 24.5])
@pytest.mark.parametrize("convert", [units.ppfd_to_dli, units.dli_to_ppfd])
def test_daily_light_refuses_hours_that_no_day_has(convert, light_h):
    with pytest.raises(OutOfRangeError) as caught:
        convert(10.0, np.array([12.0, light_h]))
    assert caught.value.name == "light_h"
    assert caught.value.value == light_h


def test_flux_of_a_daily_light_without_hours_of_light_is_refused():
    with pytest.raises(OutOfRangeError, match="above 0 and at most 24 h"):
        units.dli_to_ppfd(10.0, 0.0)


def test_every_pair_of_conversions_is_tested():
    tested = {each.__name__ for pair in PAIRS for each in pair}
    others = {"shortwave_to_ppfd", "ppfd_to_dli", "dli_to_ppfd"}
    functions = inspect.getmembers(units, inspect.isfunction)
    assert {name for name, _ in functions if not name.startswith("_")} == tested | others
