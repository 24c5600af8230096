"""Water and air in a mix: the retention curve, and what a cell of given height holds.

A cell that has drained still stands on free water at its base. The higher a point lies, the harder
water is pulled out of it, so a shallow cell keeps more water and less air of the same mix.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sowbench.science.errors import OutOfRangeError

Floats = NDArray[np.float64]

# Gauss-Legendre points over the height of a cell; the curve is smooth, 48 give 1e-9.
_N_POINTS: Final = 48
CM_WATER_PER_KPA: Final = 10.2149
"""Height of water at 20 °C whose weight is one kilopascal [cm]."""


@dataclass(frozen=True, slots=True)
class Retention:
    """Retention curve of a mix, after van Genuchten with m = 1 - 1/n.

    Parameters
    ----------
    saturated_frac : float
        Water by volume when every pore is full, which is the total porosity.
    residual_frac : float
        Water by volume that no pull in question takes out.
    alpha_per_cm : float
        Inverse of the height at which air enters [1/cm].
    shape : float
        Steepness n, above 1.

    Raises
    ------
    OutOfRangeError
        If a value makes no curve.
    """

    saturated_frac: float
    residual_frac: float
    alpha_per_cm: float
    shape: float

    def __post_init__(self) -> None:
        """Refuse what is no curve."""
        if not 0.0 <= self.residual_frac < self.saturated_frac <= 1.0:
            rule = "0 <= residual_frac < saturated_frac <= 1"
            raise OutOfRangeError("retention", rule, (self.residual_frac, self.saturated_frac))
        if not self.alpha_per_cm > 0.0:
            raise OutOfRangeError("alpha_per_cm", "above 0", self.alpha_per_cm)
        if not self.shape > 1.0:
            raise OutOfRangeError("shape", "above 1", self.shape)


def water_frac(curve: Retention, height_cm: ArrayLike) -> Floats:
    """Water by volume at a height above free water.

    Parameters
    ----------
    curve : Retention
        The mix.
    height_cm : array_like, shape (...)
        Height above free water, which is the pull on the water [cm].

    Returns
    -------
    water_frac : ndarray, shape (...)
        Water by volume.

    Raises
    ------
    OutOfRangeError
        If a height is below 0.

    References
    ----------
    .. [1] M. T. van Genuchten, "A closed-form equation for predicting the hydraulic conductivity
       of unsaturated soils", Soil Science Society of America Journal 44, 1980, 892-898, eq. 3.

    Examples
    --------
    >>> peat = Retention(0.9063, 0.2077, 0.06624, 2.0828)
    >>> float(round(water_frac(peat, 10.0), 3))
    0.789
    """
    height = np.asarray(height_cm, dtype=np.float64)
    if np.any(height < 0.0):
        raise OutOfRangeError("height_cm", "0 or more", float(np.nanmin(height)))
    m = 1.0 - 1.0 / curve.shape
    filled = (1.0 + (curve.alpha_per_cm * height) ** curve.shape) ** -m
    return curve.residual_frac + (curve.saturated_frac - curve.residual_frac) * filled


@dataclass(frozen=True, slots=True)
class Held:
    """What a drained cell holds.

    Parameters
    ----------
    water_frac, air_frac : float
        Water and air by volume of the cell, at container capacity.
    """

    water_frac: float
    air_frac: float

    @property
    def solid_frac(self) -> float:
        """Share of the volume that is solid."""
        return 1.0 - self.water_frac - self.air_frac


def container_capacity(
    curve: Retention, depth_mm: float, top_mm: float = 1.0, bottom_mm: float | None = None
) -> Held:
    """Water and air of a cell that was wetted through and has drained.

    Parameters
    ----------
    curve : Retention
        The mix.
    depth_mm : float
        Height of the mix in the cell [mm].
    top_mm : float, default 1.0
        Width at the top [mm]; only its ratio to the width at the bottom matters.
    bottom_mm : float or None, default None
        Width at the bottom [mm]; None is that of the top.

    Returns
    -------
    held : Held
        Water and air by volume.

    Raises
    ------
    OutOfRangeError
        If a size is not above 0.

    Notes
    -----
    The curve is integrated over the height, each layer counting by its cross-section, which grows
    with the square of the width from bottom to top. Drained means free water at the very base.

    References
    ----------
    .. [1] R. R. Milks, W. C. Fonteno, R. A. Larson, "Hydrology of horticultural substrates II:
       predicting physical properties of media in containers", Journal of the American Society for
       Horticultural Science 114(1), 1989, 53-56 (the method).

    Examples
    --------
    >>> peat = Retention(0.9063, 0.2077, 0.06624, 2.0828)
    >>> plug, pot = container_capacity(peat, 20.0, 20.0, 14.0), container_capacity(peat, 150.0)
    >>> round(100 * plug.air_frac, 1), round(100 * pot.air_frac, 1)
    (0.2, 8.3)
    """
    width = top_mm if bottom_mm is None else bottom_mm
    for name, value in (("depth_mm", depth_mm), ("top_mm", top_mm), ("bottom_mm", width)):
        if not value > 0.0:
            raise OutOfRangeError(name, "above 0 mm", value)
    at, weight = np.polynomial.legendre.leggauss(_N_POINTS)
    share = (at + 1.0) / 2.0
    area = (width + (top_mm - width) * share) ** 2
    mass = weight * area
    water = float((water_frac(curve, share * depth_mm / 10.0) * mass).sum() / mass.sum())
    return Held(water, curve.saturated_frac - water)


def fit_retention(height_cm: ArrayLike, measured_frac: ArrayLike) -> Retention:
    """Fit a retention curve to measured points.

    Parameters
    ----------
    height_cm : array_like, shape (n,)
        Pull on the water, as a height [cm]; four points or more.
    measured_frac : array_like, shape (n,)
        Water by volume.

    Returns
    -------
    curve : Retention
        The closest curve, by least squares.

    Raises
    ------
    OutOfRangeError
        If there are fewer than four points, or lists of different length.

    Examples
    --------
    >>> peat = Retention(0.9063, 0.2077, 0.06624, 2.0828)
    >>> height_cm = [1.0, 5.0, 20.0, 100.0]
    >>> round(fit_retention(height_cm, water_frac(peat, height_cm)).shape, 3)
    2.083
    """
    from scipy.optimize import least_squares

    height = np.asarray(height_cm, dtype=np.float64)
    water = np.asarray(measured_frac, dtype=np.float64)
    if height.size != water.size or height.size < 4:
        rule = "as many as heights, and 4 or more: the curve has 4 parameters"
        raise OutOfRangeError("measured_frac", rule, water.size)
    top, low = float(water.max()), float(water.min())

    def miss(x: Floats) -> Floats:
        saturated, drop, log_alpha, log_n = x
        curve = Retention(saturated, saturated - drop, np.exp(log_alpha), 1.0 + np.exp(log_n))
        return water_frac(curve, height) - water

    start = (min(top + 1e-3, 0.999), max(top - low, 1e-3), np.log(0.05), 0.0)
    bounds = ([top - 0.05, 1e-4, np.log(1e-4), np.log(0.02)], [1.0, top - 0.05, 1.0, np.log(20.0)])
    start = tuple(np.clip(start, np.array(bounds[0]) + 1e-6, np.array(bounds[1]) - 1e-6))
    found = least_squares(miss, start, bounds=bounds, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    saturated, drop, log_alpha, log_n = found.x
    return Retention(
        float(saturated), float(max(saturated - drop, 0.0)), float(np.exp(log_alpha)),
        float(1.0 + np.exp(log_n)),
    )  # fmt: skip
