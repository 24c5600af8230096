"""Light at the plants: sun, cover, shade, lamps and windows as a daily light integral."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.science.units import ppfd_to_dli, shortwave_to_ppfd

if TYPE_CHECKING:
    from numpy.typing import NDArray

SOLAR_CONSTANT_MJ_M2_MIN: Final = 0.0820
"""R. G. Allen et al., FAO Irrigation and Drainage Paper 56, 1998, eq. 21."""

WINDOW_DLI_MOL_M2_D: Final = {"sunny": 6.0, "east": 4.0, "west": 4.0, "shady": 2.0}
"""Daily light on a windowsill by side, a year's middling value: assumption, no source found.

"sunny" faces south in the northern hemisphere and north in the southern.
"""

LAMPS_PPFD_UMOL_M2_S: Final = 150.0
"""Photon flux under lamps whose strength is not given: assumption."""

LAMPS_H: Final = 16.0
"""Hours of lamps when not given: assumption, within the 14-16 h that Utah State University
Extension ("Tomato, pepper and eggplant: transplant production") gives for seedlings."""

LIGHT_SIDES: Final = ("north", "east", "south", "west", "lamps")
"""What the light of a house without weather may be called."""


def outside_dli(ghi_w_m2: NDArray[np.float64]) -> NDArray[np.float64]:
    """Daily light integral outside from hourly global radiation.

    Parameters
    ----------
    ghi_w_m2 : ndarray, shape (..., 24 * n_days)
        Global horizontal irradiance, mean of each hour [W m⁻²], from midnight of the first day.

    Returns
    -------
    dli_mol_m2_d : ndarray, shape (..., n_days)
        Daily light integral [mol m⁻² d⁻¹].

    Raises
    ------
    OutOfRangeError
        If the hours are not whole days, or any irradiance is below 0. NaN passes through.

    Notes
    -----
    0.45 of the energy as PAR and 4.57 µmol J⁻¹ of it make 2.0565 µmol of photons a joule. Published
    factors run from 1.96 (Logan, Sams and Faust, 2016) and 2.018 (Faust and Logan, HortScience 53,
    2018, whose printed 0.007265 mol Wh⁻¹ is not quite the 0.0072576 of their own 0.45 and 4.48) to
    2.04 (Meek et al., Agronomy Journal 76, 1984) and about 2.1 under humid skies.

    References
    ----------
    .. [1] R. W. Thimijan and R. D. Heins, "Photometric, radiometric, and quantum light units of
       measure", HortScience 18, 1983, 818-822.

    Examples
    --------
    >>> outside_dli(np.full(24, 100.0)).round(2).tolist()
    [17.77]
    """
    ghi = np.asarray(ghi_w_m2, dtype=np.float64)
    if ghi.shape[-1] % 24:
        raise OutOfRangeError("ghi_w_m2", "whole days of 24 h", f"{ghi.shape[-1]} h")
    if np.any(ghi < 0):
        raise OutOfRangeError("ghi_w_m2", "0 W m⁻² or more", float(np.nanmin(ghi)))
    mean_w_m2 = ghi.reshape(*ghi.shape[:-1], -1, 24).mean(axis=-1)
    return ppfd_to_dli(shortwave_to_ppfd(mean_w_m2), 24.0)


def inside_dli(
    outside_dli_mol_m2_d: NDArray[np.float64],
    cover_par_frac: float,
    lamp_ppfd_umol_m2_s: float = 0.0,
    lamp_h: float = 0.0,
) -> NDArray[np.float64]:
    """Daily light integral at the plants under a cover, with lamps.

    Parameters
    ----------
    outside_dli_mol_m2_d : ndarray, shape (n_days,)
        Daily light integral outside [mol m⁻² d⁻¹].
    cover_par_frac : float
        Share of it that reaches the plants through cover, frame and shade [fraction, 0 to 1].
    lamp_ppfd_umol_m2_s : float, default 0
        Photon flux of the lamps at the plants [µmol m⁻² s⁻¹].
    lamp_h : float, default 0
        Hours a day that the lamps burn [h].

    Returns
    -------
    dli_mol_m2_d : ndarray, shape (n_days,)
        Daily light integral at the plants [mol m⁻² d⁻¹].

    Raises
    ------
    OutOfRangeError
        If `cover_par_frac` is not from 0 to 1, the lamps' flux below 0, or their hours not
        from 0 to 24.

    Examples
    --------
    >>> inside_dli(np.array([20.0]), 0.5, 100.0, 16.0).round(2).tolist()
    [15.76]
    """
    if not 0 <= cover_par_frac <= 1:
        raise OutOfRangeError("cover_par_frac", "between 0 and 1", cover_par_frac)
    if not lamp_ppfd_umol_m2_s >= 0:
        raise OutOfRangeError("lamp_ppfd_umol_m2_s", "0 or more", lamp_ppfd_umol_m2_s)
    lamps: float = ppfd_to_dli(lamp_ppfd_umol_m2_s, lamp_h)
    return np.asarray(outside_dli_mol_m2_d, dtype=np.float64) * cover_par_frac + lamps


def window_dli(side: str, latitude_deg: float | None = None) -> float:
    """Daily light integral on a windowsill, assumed by the side it faces.

    Parameters
    ----------
    side : str
        "north", "east", "south" or "west".
    latitude_deg : float or None, default None
        Latitude, south negative; None is taken as north of the equator.

    Returns
    -------
    dli_mol_m2_d : float
        Daily light integral [mol m⁻² d⁻¹]; an assumption.

    Raises
    ------
    UnknownNameError
        If the side is none of the four.

    Examples
    --------
    >>> window_dli("south"), window_dli("south", -35.0), window_dli("east")
    (6.0, 2.0, 4.0)
    """
    if side not in {"north", "east", "south", "west"}:
        raise UnknownNameError.among(side, "window side", LIGHT_SIDES)
    if side in {"east", "west"}:
        return WINDOW_DLI_MOL_M2_D[side]
    sunny = "north" if latitude_deg is not None and latitude_deg < 0 else "south"
    return WINDOW_DLI_MOL_M2_D["sunny" if side == sunny else "shady"]


def _sun(
    latitude_deg: float, day_of_year: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return relative distance, declination and sunset hour angle (FAO-56 eq. 23-25)."""
    if not -90 <= latitude_deg <= 90:
        raise OutOfRangeError("latitude_deg", "between -90 and 90 degrees", latitude_deg)
    J = np.asarray(day_of_year)
    if np.any((J < 1) | (J > 366)):
        raise OutOfRangeError("day_of_year", "between 1 and 366", int(J.min()))
    phi = np.deg2rad(latitude_deg)
    d_r = 1 + 0.033 * np.cos(2 * np.pi * J / 365)  # eq. 23
    delta = 0.409 * np.sin(2 * np.pi * J / 365 - 1.39)  # eq. 24
    # eq. 25; beyond the polar circles the sun never sets or never rises.
    omega_s = np.arccos(np.clip(-np.tan(phi) * np.tan(delta), -1.0, 1.0))
    return d_r, delta, omega_s


def extraterrestrial_radiation(
    latitude_deg: float, day_of_year: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Solar energy on level ground above the atmosphere, by day.

    Parameters
    ----------
    latitude_deg : float
        Latitude, south negative [degrees].
    day_of_year : ndarray of int, shape (n,)
        Day of the year, 1 to 366.

    Returns
    -------
    radiation_mj_m2_d : ndarray, shape (n,)
        Extraterrestrial radiation [MJ m⁻² d⁻¹].

    Raises
    ------
    OutOfRangeError
        If the latitude is not from -90 to 90 degrees or a day not from 1 to 366.

    References
    ----------
    .. [1] R. G. Allen et al., "Crop evapotranspiration", FAO Irrigation and Drainage Paper 56,
       Rome, 1998, eq. 21; worked values in example 8.

    Examples
    --------
    >>> extraterrestrial_radiation(-20.0, np.array([246])).round(1).tolist()
    [32.2]
    """
    d_r, delta, omega_s = _sun(latitude_deg, day_of_year)
    phi = np.deg2rad(latitude_deg)
    total = omega_s * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.sin(omega_s)
    radiation: NDArray[np.float64] = 24 * 60 / np.pi * SOLAR_CONSTANT_MJ_M2_MIN * d_r * total
    return radiation


def day_length(latitude_deg: float, day_of_year: NDArray[np.int64]) -> NDArray[np.float64]:
    """Hours between geometric sunrise and sunset, without refraction.

    Parameters
    ----------
    latitude_deg : float
        Latitude, south negative [degrees].
    day_of_year : ndarray of int, shape (n,)
        Day of the year, 1 to 366.

    Returns
    -------
    day_length_h : ndarray, shape (n,)
        Day length [h]; 0.1 to 0.4 h short of sunrise to sunset as seen.

    Raises
    ------
    OutOfRangeError
        If the latitude is not from -90 to 90 degrees or a day not from 1 to 366.

    References
    ----------
    .. [1] R. G. Allen et al., "Crop evapotranspiration", FAO Irrigation and Drainage Paper 56,
       Rome, 1998, eq. 34.

    Examples
    --------
    >>> day_length(13.73, np.array([105])).round(2).tolist()
    [12.31]
    """
    return _sun(latitude_deg, day_of_year)[2] * 24 / np.pi
