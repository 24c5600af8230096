"""Conversions between the units of the trade and those used inside.

Inside, everything is metric: °C, mm, mL, L, m², g, µmol m⁻² s⁻¹ and mol m⁻² d⁻¹. Every factor
is either exact by definition, or names its source and the range that other sources give.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np

from sowbench.science.errors import OutOfRangeError

if TYPE_CHECKING:
    from numpy.typing import NDArray

# A number in gives a number out, an array an array of the same shape.
FloatOrArray = TypeVar("FloatOrArray", float, "NDArray[np.float64]")

# Exact by definition: the international inch (16 CFR 500.19, marked there as exact).
MM_PER_IN: Final = 25.4
# Exact: the foot is 12 in, its square 0.09290304 m2 (16 CFR 500.19, marked as exact).
M2_PER_FT2: Final = (12 * MM_PER_IN / 1000) ** 2
# Exact: the cube of the inch, 16.387064 mL (16 CFR 500.19 rounds it to 16.3871 cm3).
ML_PER_IN3: Final = (MM_PER_IN / 10) ** 3
# Exact: 1728 in3 make a cubic foot of 28.316846592 L (16 CFR 500.19: 28.3168 dm3).
L_PER_FT3: Final = 1728 * ML_PER_IN3 / 1000
# Exact: the US gallon is 231 in3, 3.785411784 L (16 CFR 500.19: 3.78541 L).
L_PER_US_GAL: Final = 231 * ML_PER_IN3 / 1000
# Exact: the avoirdupois ounce is 28.349523125 g (16 CFR 500.19 rounds it to 28.3495 g).
G_PER_OZ: Final = 28.349523125

# Photons in a joule of daylight between 400 and 700 nm [µmol J-1]. From memory: K. J. McCree,
# Agricultural Meteorology 10, 1972, 443-453, as tabled for sun and sky by R. W. Thimijan and
# R. D. Heins, HortScience 18, 1983, 818-822. Looked up: 4.55 outside the atmosphere and hardly
# other below it (J. L. Di Laccio et al., Agricultural and Forest Meteorology, 2024, 109832);
# within 3 % under a clear sky (Atmosphere 15(10), 2024, 1166).
UMOL_PER_J_PAR_SUN: Final = 4.57
# Share of the sun's energy on level ground that lies in 400 to 700 nm. The usual constant is 0.45
# or 0.46; yearly means over the globe run from 0.409 to 0.477 (T. K. Akitsu et al., "Global
# distribution of the ratio of photosynthetically active radiation to solar radiation", 2022).
# G. Szeicz, Journal of Applied Ecology 11, 1974, found 0.50 +- 0.03 for total radiation.
PAR_FRAC_SUN: Final = 0.45
# Exact: seconds in an hour; hours in a day.
_S_PER_H: Final = 3600
_H_PER_D: Final = 24


def _require_hours(name: str, hours: float | NDArray[np.float64]) -> None:
    """Raise unless every value lies from 0 to 24 h; NaN passes through."""
    values = np.asarray(hours, dtype=np.float64)
    bad = values[(values < 0) | (values > _H_PER_D)]
    if bad.size:
        raise OutOfRangeError(name, "between 0 and 24 h", float(bad.flat[0]))


def f_to_c(temp_f: FloatOrArray) -> FloatOrArray:
    """Convert a temperature from Fahrenheit to Celsius.

    Parameters
    ----------
    temp_f : float or ndarray, shape (n,)
        Temperature [°F].

    Returns
    -------
    temp_c : float or ndarray, shape (n,)
        Temperature [°C].

    Examples
    --------
    >>> f_to_c(75.2)
    24.0
    """
    return (temp_f - 32) * 5 / 9  # exact by definition


def c_to_f(temp_c: FloatOrArray) -> FloatOrArray:
    """Convert a temperature from Celsius to Fahrenheit.

    Parameters
    ----------
    temp_c : float or ndarray, shape (n,)
        Temperature [°C].

    Returns
    -------
    temp_f : float or ndarray, shape (n,)
        Temperature [°F].

    Examples
    --------
    >>> c_to_f(24.0)
    75.2
    """
    return temp_c * 9 / 5 + 32  # exact by definition


def in_to_mm(length_in: FloatOrArray) -> FloatOrArray:
    """Convert a length from inches to millimeters.

    Parameters
    ----------
    length_in : float or ndarray, shape (n,)
        Length [in].

    Returns
    -------
    length_mm : float or ndarray, shape (n,)
        Length [mm].

    References
    ----------
    .. [1] Code of Federal Regulations (USA), title 16, section 500.19, conversion of SI
       metric quantities and inch/pound quantities.

    Examples
    --------
    >>> round(in_to_mm(21.25), 2)
    539.75
    """
    return length_in * MM_PER_IN


def mm_to_in(length_mm: FloatOrArray) -> FloatOrArray:
    """Convert a length from millimeters to inches.

    Parameters
    ----------
    length_mm : float or ndarray, shape (n,)
        Length [mm].

    Returns
    -------
    length_in : float or ndarray, shape (n,)
        Length [in].

    Examples
    --------
    >>> round(mm_to_in(279.4), 2)
    11.0
    """
    return length_mm / MM_PER_IN


def ft2_to_m2(area_ft2: FloatOrArray) -> FloatOrArray:
    """Convert an area from square feet to square meters.

    Parameters
    ----------
    area_ft2 : float or ndarray, shape (n,)
        Area [ft²].

    Returns
    -------
    area_m2 : float or ndarray, shape (n,)
        Area [m²].

    References
    ----------
    .. [1] Code of Federal Regulations (USA), title 16, section 500.19, conversion of SI
       metric quantities and inch/pound quantities.

    Examples
    --------
    >>> round(ft2_to_m2(400.0), 3)
    37.161
    """
    return area_ft2 * M2_PER_FT2


def m2_to_ft2(area_m2: FloatOrArray) -> FloatOrArray:
    """Convert an area from square meters to square feet.

    Parameters
    ----------
    area_m2 : float or ndarray, shape (n,)
        Area [m²].

    Returns
    -------
    area_ft2 : float or ndarray, shape (n,)
        Area [ft²].

    Examples
    --------
    >>> round(m2_to_ft2(40.0), 2)
    430.56
    """
    return area_m2 / M2_PER_FT2


def cubic_in_to_ml(volume_in3: FloatOrArray) -> FloatOrArray:
    """Convert a volume from cubic inches to milliliters.

    Parameters
    ----------
    volume_in3 : float or ndarray, shape (n,)
        Volume [in³].

    Returns
    -------
    volume_ml : float or ndarray, shape (n,)
        Volume [mL].

    References
    ----------
    .. [1] Code of Federal Regulations (USA), title 16, section 500.19, conversion of SI
       metric quantities and inch/pound quantities.

    Examples
    --------
    >>> round(cubic_in_to_ml(1.5), 2)
    24.58
    """
    return volume_in3 * ML_PER_IN3


def ml_to_cubic_in(volume_ml: FloatOrArray) -> FloatOrArray:
    """Convert a volume from milliliters to cubic inches.

    Parameters
    ----------
    volume_ml : float or ndarray, shape (n,)
        Volume [mL].

    Returns
    -------
    volume_in3 : float or ndarray, shape (n,)
        Volume [in³].

    Examples
    --------
    >>> round(ml_to_cubic_in(50.0), 2)
    3.05
    """
    return volume_ml / ML_PER_IN3


def cubic_ft_to_l(volume_ft3: FloatOrArray) -> FloatOrArray:
    """Convert a volume from cubic feet to liters.

    Parameters
    ----------
    volume_ft3 : float or ndarray, shape (n,)
        Volume [ft³].

    Returns
    -------
    volume_l : float or ndarray, shape (n,)
        Volume [L].

    References
    ----------
    .. [1] Code of Federal Regulations (USA), title 16, section 500.19, conversion of SI
       metric quantities and inch/pound quantities.

    Examples
    --------
    >>> round(cubic_ft_to_l(3.8), 1)
    107.6
    """
    return volume_ft3 * L_PER_FT3


def l_to_cubic_ft(volume_l: FloatOrArray) -> FloatOrArray:
    """Convert a volume from liters to cubic feet.

    Parameters
    ----------
    volume_l : float or ndarray, shape (n,)
        Volume [L].

    Returns
    -------
    volume_ft3 : float or ndarray, shape (n,)
        Volume [ft³].

    Examples
    --------
    >>> round(l_to_cubic_ft(80.0), 3)
    2.825
    """
    return volume_l / L_PER_FT3


def us_gal_to_l(volume_us_gal: FloatOrArray) -> FloatOrArray:
    """Convert a volume from US gallons to liters.

    Parameters
    ----------
    volume_us_gal : float or ndarray, shape (n,)
        Volume [US gal].

    Returns
    -------
    volume_l : float or ndarray, shape (n,)
        Volume [L].

    References
    ----------
    .. [1] Code of Federal Regulations (USA), title 16, section 500.19, conversion of SI
       metric quantities and inch/pound quantities.

    Examples
    --------
    >>> round(us_gal_to_l(5.0), 2)
    18.93
    """
    return volume_us_gal * L_PER_US_GAL


def l_to_us_gal(volume_l: FloatOrArray) -> FloatOrArray:
    """Convert a volume from liters to US gallons.

    Parameters
    ----------
    volume_l : float or ndarray, shape (n,)
        Volume [L].

    Returns
    -------
    volume_us_gal : float or ndarray, shape (n,)
        Volume [US gal].

    Examples
    --------
    >>> round(l_to_us_gal(20.0), 2)
    5.28
    """
    return volume_l / L_PER_US_GAL


def oz_to_g(mass_oz: FloatOrArray) -> FloatOrArray:
    """Convert a mass from avoirdupois ounces to grams.

    Parameters
    ----------
    mass_oz : float or ndarray, shape (n,)
        Mass [oz].

    Returns
    -------
    mass_g : float or ndarray, shape (n,)
        Mass [g].

    References
    ----------
    .. [1] Code of Federal Regulations (USA), title 16, section 500.19, conversion of SI
       metric quantities and inch/pound quantities.

    Examples
    --------
    >>> round(oz_to_g(0.25), 2)
    7.09
    """
    return mass_oz * G_PER_OZ


def g_to_oz(mass_g: FloatOrArray) -> FloatOrArray:
    """Convert a mass from grams to avoirdupois ounces.

    Parameters
    ----------
    mass_g : float or ndarray, shape (n,)
        Mass [g].

    Returns
    -------
    mass_oz : float or ndarray, shape (n,)
        Mass [oz].

    Examples
    --------
    >>> round(g_to_oz(100.0), 2)
    3.53
    """
    return mass_g / G_PER_OZ


def shortwave_to_ppfd(shortwave_w_m2: FloatOrArray, par_frac: float = PAR_FRAC_SUN) -> FloatOrArray:
    """Convert sunlight from energy to photons useful for photosynthesis.

    Parameters
    ----------
    shortwave_w_m2 : float or ndarray, shape (n,)
        Global shortwave irradiance of daylight [W m⁻²]; an hour's [Wh m⁻²] is its mean.
    par_frac : float, default 0.45
        Share of that energy between 400 and 700 nm [fraction, 0 to 1]. The default is the
        constant in common use; a year's mean runs from 0.41 in dry to 0.48 in humid climates.

    Returns
    -------
    ppfd_umol_m2_s : float or ndarray, shape (n,)
        Photosynthetic photon flux density [µmol m⁻² s⁻¹].

    Raises
    ------
    OutOfRangeError
        If `par_frac` is below 0 or above 1.

    See Also
    --------
    ppfd_to_dli : From there to a day's sum.

    Notes
    -----
    For daylight only: a lamp's photons in a joule depend on its spectrum.

    References
    ----------
    .. [1] R. W. Thimijan and R. D. Heins, "Photometric, radiometric, and quantum light units of
       measure", HortScience 18, 1983, 818-822 (4.57 µmol J⁻¹; from memory).
    .. [2] T. K. Akitsu et al., "Global distribution of the ratio of photosynthetically active
       radiation to solar radiation", 2022 (yearly means of the share, 0.409 to 0.477).

    Examples
    --------
    >>> round(shortwave_to_ppfd(500.0))
    1028
    """
    if not 0 <= par_frac <= 1:
        raise OutOfRangeError("par_frac", "between 0 and 1", par_frac)
    return shortwave_w_m2 * (par_frac * UMOL_PER_J_PAR_SUN)


def ppfd_to_dli(ppfd_umol_m2_s: FloatOrArray, light_h: FloatOrArray | float) -> FloatOrArray:
    """Sum a photon flux over the hours of light to a daily light integral.

    Parameters
    ----------
    ppfd_umol_m2_s : float or ndarray, shape (n,)
        Photosynthetic photon flux density, mean of the lit hours [µmol m⁻² s⁻¹].
    light_h : float or ndarray, shape (n,)
        Lit hours in the day, 0 to 24 [h]; 24 if the flux is a mean of the whole day.

    Returns
    -------
    dli_mol_m2_d : float or ndarray, shape (n,)
        Daily light integral [mol m⁻² d⁻¹].

    Raises
    ------
    OutOfRangeError
        If any `light_h` is below 0 or above 24 h. NaN passes through.

    See Also
    --------
    dli_to_ppfd : The inverse.

    Examples
    --------
    >>> ppfd_to_dli(200.0, 16.0)
    11.52
    """
    _require_hours("light_h", light_h)
    return ppfd_umol_m2_s * light_h * _S_PER_H / 1e6


def dli_to_ppfd(dli_mol_m2_d: FloatOrArray, light_h: FloatOrArray | float) -> FloatOrArray:
    """Spread a daily light integral evenly over the hours of light.

    Parameters
    ----------
    dli_mol_m2_d : float or ndarray, shape (n,)
        Daily light integral [mol m⁻² d⁻¹].
    light_h : float or ndarray, shape (n,)
        Lit hours in the day, above 0 up to 24 [h].

    Returns
    -------
    ppfd_umol_m2_s : float or ndarray, shape (n,)
        Photosynthetic photon flux density, mean of the lit hours [µmol m⁻² s⁻¹].

    Raises
    ------
    OutOfRangeError
        If any `light_h` is 0 or less, or above 24 h. NaN passes through.

    See Also
    --------
    ppfd_to_dli : The inverse.

    Examples
    --------
    >>> dli_to_ppfd(11.52, 16.0)
    200.0
    """
    _require_hours("light_h", light_h)
    if np.any(np.asarray(light_h) == 0):
        raise OutOfRangeError("light_h", "above 0 and at most 24 h", 0)
    return dli_mol_m2_d * 1e6 / (light_h * _S_PER_H)
