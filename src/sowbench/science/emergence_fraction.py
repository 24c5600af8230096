"""What part of a lot comes up at a temperature: cold and heat limits that differ between seeds."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, Final, NamedTuple, Protocol, TypeVar, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from sowbench.science.errors import OutOfRangeError

# A number in gives a number out, an array an array of the same shape.
FloatOrArray = TypeVar("FloatOrArray", float, NDArray[np.float64])

# Our limits for a temperature of a mix [°C]: no house is outside, and most slips of unit are.
_TEMP_MIN_C: Final = -70.0
_TEMP_MAX_C: Final = 70.0


class Survival(Protocol):
    """Spread of cold and heat limits between seeds: what the final fraction depends on."""

    @property
    def top_frac(self) -> float:
        """Fraction that comes up where neither cold nor heat limits."""

    @property
    def cold_c(self) -> float:
        """Temperature below which the median seed fails for cold [°C]."""

    @property
    def cold_sd_c(self) -> float:
        """Standard deviation of the cold limit between seeds [°C]."""

    @property
    def hot_c(self) -> float:
        """Temperature above which the median seed fails for heat [°C]."""

    @property
    def hot_sd_c(self) -> float:
        """Standard deviation of the heat limit between seeds [°C]."""


class FractionCurve(NamedTuple):
    """Plain numbers that satisfy `Survival`.

    Parameters
    ----------
    top_frac : float
        Fraction that comes up where neither cold nor heat limits.
    cold_c, cold_sd_c : float
        Median and standard deviation of the cold limit between seeds [°C].
    hot_c, hot_sd_c : float
        Median and standard deviation of the heat limit between seeds [°C].
    """

    top_frac: float
    cold_c: float
    cold_sd_c: float
    hot_c: float
    hot_sd_c: float


def mix_temperatures(name: str, temp_c: ArrayLike) -> NDArray[np.float64]:
    """Temperatures as an array, refusing what no mix can have.

    Parameters
    ----------
    name : str
        Name of the argument, for the message.
    temp_c : array_like, shape (...)
        Temperature of the mix, -70 to 70 [°C].

    Returns
    -------
    temp_c : ndarray, shape (...)
        The same [°C].

    Raises
    ------
    OutOfRangeError
        If a temperature is below -70 or above 70 °C. NaN passes through.

    Examples
    --------
    >>> mix_temperatures("temp_c", [18, 24]).tolist()
    [18.0, 24.0]
    """
    values = np.asarray(temp_c, dtype=np.float64)
    bad = values[(values < _TEMP_MIN_C) | (values > _TEMP_MAX_C)]
    if bad.size:
        raise OutOfRangeError(
            name,
            f"between {_TEMP_MIN_C:g} and {_TEMP_MAX_C:g} °C",
            float(bad.flat[0]),
            "If this is °F, convert it with units.f_to_c.",
        )
    return values


def final_fraction(temp_c: FloatOrArray, crop: Survival) -> FloatOrArray:
    """Fraction of live seed that comes up at a temperature.

    Parameters
    ----------
    temp_c : float or ndarray, shape (...)
        Mean temperature of the mix over the first 48 h after sowing [°C].
    crop : Survival
        Top fraction, and the median and spread of cold and heat limits between seeds.

    Returns
    -------
    fraction_frac : float or ndarray, shape (...)
        ``top * Phi((T - cold_c) / cold_sd_c) * Phi((hot_c - T) / hot_sd_c)``, 0 to 1.

    Raises
    ------
    OutOfRangeError
        If a temperature is below -70 or above 70 °C, a spread is not above 0, or `top_frac` is
        not between 0 and 1. NaN passes through.

    Notes
    -----
    Normal limits that differ between seeds are the usual population view [1]_; that the first two
    days decide is common practice.

    References
    ----------
    .. [1] R. H. Ellis, P. D. Butcher, "The effects of priming and 'natural' differences in
       quality amongst onion seed lots on the response of the rate of germination to
       temperature", Journal of Experimental Botany 39, 1988, 935-950 (title from memory).

    Examples
    --------
    >>> lettuce = FractionCurve(0.99, -5.0, 2.0, 28.6, 1.2)
    >>> (
    ...     round(final_fraction(25.0, lettuce).item(), 2),
    ...     round(final_fraction(30.0, lettuce).item(), 2),
    ... )
    (0.99, 0.12)
    """
    if not (crop.cold_sd_c > 0.0 and crop.hot_sd_c > 0.0):
        raise OutOfRangeError(
            "cold_sd_c and hot_sd_c", "above 0 °C", (crop.cold_sd_c, crop.hot_sd_c)
        )
    if not 0.0 <= crop.top_frac <= 1.0:
        raise OutOfRangeError("top_frac", "between 0 and 1", crop.top_frac)
    temp = mix_temperatures("temp_c", temp_c)
    warm_enough = ndtr((temp - crop.cold_c) / crop.cold_sd_c)
    cool_enough = ndtr((crop.hot_c - temp) / crop.hot_sd_c)
    fraction: Any = crop.top_frac * warm_enough * cool_enough
    return cast("FloatOrArray", fraction[()])


@lru_cache(maxsize=4096)
def _best(cold_c: float, cold_sd_c: float, hot_c: float, hot_sd_c: float) -> float:
    """Find the temperature of the largest fraction; the logarithm of the product is concave."""
    grid = np.arange(-20.0, 60.0, 0.01)
    product = ndtr((grid - cold_c) / cold_sd_c) * ndtr((hot_c - grid) / hot_sd_c)
    # Over a wide plateau the product is 1 to the last digit; take its middle.
    top = np.flatnonzero(product >= product.max() * (1.0 - 1e-9))
    return float(grid[top[top.size // 2]])


def best_temperature(crop: Survival) -> float:
    """Temperature at which the largest fraction comes up.

    Parameters
    ----------
    crop : Survival
        Medians and spreads of cold and heat limits between seeds.

    Returns
    -------
    best_c : float
        Temperature [°C], to 0.01 °C; the middle where a wide range is as good.

    Examples
    --------
    >>> 15.0 < best_temperature(FractionCurve(0.97, 8.0, 2.0, 33.0, 2.0)) < 26.0
    True
    """
    return _best(float(crop.cold_c), float(crop.cold_sd_c), float(crop.hot_c), float(crop.hot_sd_c))


def relative_fraction(temp_c: FloatOrArray, crop: Survival) -> FloatOrArray:
    """Fraction that comes up at a temperature, relative to the best temperature.

    A lot's germination test is made near the best temperature; this carries it to the mix.

    Parameters
    ----------
    temp_c : float or ndarray, shape (...)
        Mean temperature of the mix over the first 48 h after sowing [°C].
    crop : Survival
        As `final_fraction`; `top_frac` cancels but must be above 0.

    Returns
    -------
    relative_frac : float or ndarray, shape (...)
        Share of what would come up at the best temperature, 0 to 1.

    Raises
    ------
    OutOfRangeError
        As `final_fraction`, or if `top_frac` is 0.

    Examples
    --------
    >>> lettuce = FractionCurve(0.99, -5.0, 2.0, 28.6, 1.2)
    >>> round(relative_fraction(30.0, lettuce).item(), 3)
    0.122
    """
    best = float(final_fraction(best_temperature(crop), crop))
    if best <= 0.0:
        raise OutOfRangeError("top_frac", "above 0", crop.top_frac)
    fraction = np.asarray(final_fraction(np.asarray(temp_c, dtype=np.float64), crop))
    return cast("FloatOrArray", np.minimum(fraction / best, 1.0)[()])
