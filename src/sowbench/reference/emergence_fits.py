"""Fit emergence parameters to printed tables of days and of percent by temperature.

A printed table has few temperatures, whole days and no measure of its own scatter, so a fit leans
on priors: what an independent source says of the base temperature, and what the table of soil
temperature limits says of optimum and maximum.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from sowbench.science.emergence import (
    FractionCurve,
    ThermalResponse,
    final_fraction,
    thermal_rate,
)
from sowbench.science.errors import OutOfRangeError

# Scatter of a printed day count: lots, seasons and observers, as log deviation (assumption).
_DAYS_LOG_SD: Final = 0.15
# A whole day is uniform over a day: 1 / sqrt(12) [d].
_DAY_ROUNDING_SD: Final = 0.29
# Below 10 °C seed lies for weeks and nobody raises transplants; above 30 °C the printed decline
# is steep in one degree. Both count less (assumption).
_COLD_WEIGHT: Final = 1 / 3
_HOT_WEIGHT: Final = 1 / 1.5
_OPTIMUM_SD_C: Final = 3.0
_OPTIMUM_MAX_C: Final = 30.0
_OPTIMUM_WIDTH_C: Final = 5.0
_OPTIMUM_WIDTH_SD_C: Final = 3.0
# The table of limits gives the highest temperature worth sowing at; the rate dies out above it.
_CEILING_ABOVE_MAXIMUM_C: Final = 5.0
_CEILING_MIN_C: Final = 36.0
_CEILING_SD_C: Final = 4.0
_N_RATE: Final = 5
# Percent cells: a cell off by more than this counts with its size, not its square.
_FRACTION_SCALE: Final = 0.04
_FRACTION_PRIOR_WEIGHT: Final = 0.5
# Over the crops of the percent table, the median seed's cold limit lies 1.5 °C below the printed
# minimum and its heat limit at the printed maximum, each give or take 2.5 °C (computed here).
COLD_BELOW_MINIMUM_C: Final = 1.5
_LIMIT_SD_C: Final = 2.5
_LIMIT_SPREAD_C: Final = 2.0
_LIMIT_SPREAD_LOG_SD: Final = 0.7


class RatePrior(NamedTuple):
    """What is known of a crop's cardinal temperatures before its days are looked at.

    Parameters
    ----------
    base_c, base_sd_c : float
        Base temperature of an independent source and how far to trust it [°C].
    optimum_c : float
        Printed optimum [°C]; the low end of the flat stretch is looked for around it.
    maximum_c : float
        Printed maximum [°C]; the ceiling is looked for 5 °C above it, and from 36 °C up.
    """

    base_c: float
    base_sd_c: float
    optimum_c: float
    maximum_c: float


class FractionPrior(NamedTuple):
    """Printed lowest and highest temperature at which sowing is worth while.

    Parameters
    ----------
    minimum_c, maximum_c : float
        Printed limits [°C].
    """

    minimum_c: float
    maximum_c: float


def _columns(name: str, temps_c: ArrayLike, values: ArrayLike) -> list[NDArray[np.float64]]:
    """Return temperatures and values as vectors of one length without gaps."""
    temps = np.asarray(temps_c, dtype=np.float64)
    numbers = np.asarray(values, dtype=np.float64)
    if temps.ndim != 1 or temps.shape != numbers.shape or temps.size == 0:
        raise OutOfRangeError(
            f"temps_c and {name}", "vectors of one length, at least 1", (temps.shape, numbers.shape)
        )
    if not (np.all(np.isfinite(temps)) and np.all(np.isfinite(numbers))):
        raise OutOfRangeError(
            f"temps_c and {name}", "finite; leave out cells that were not tested", numbers.tolist()
        )
    return [temps, numbers]


def _response(x: NDArray[np.float64]) -> ThermalResponse:
    """Turn the fit's vector (base, three widths, log of thermal time) into parameters."""
    base, low, flat, fall = (float(each) for each in x[:4])
    return ThermalResponse(
        base, base + low, base + low + flat, base + low + flat + fall, float(np.exp(x[4]))
    )


def fit_rate(temps_c: ArrayLike, days_d: ArrayLike, prior: RatePrior) -> ThermalResponse:
    """Cardinal temperatures and thermal time from days to emergence by temperature.

    Parameters
    ----------
    temps_c : array_like, shape (n,)
        Constant temperatures at which the seed came up [°C].
    days_d : array_like, shape (n,)
        Days to emergence there, above 0 [d]. Leave out temperatures without emergence: they
        belong to the final fraction.
    prior : RatePrior
        What other sources say of base, optimum and maximum.

    Returns
    -------
    response : ThermalResponse
        Parameters of the least squares of the logarithm of days with the prior as further
        squares.

    Raises
    ------
    OutOfRangeError
        If the vectors do not match, are empty or not finite, or a day count is not above 0.

    Notes
    -----
    Own estimate: the weights and widths are assumptions, stated beside the constants and tried
    by leaving out one temperature at a time.

    Examples
    --------
    >>> from sowbench.science.emergence import days_at_constant
    >>> fit = fit_rate([15, 20, 25, 30, 35], [13, 6, 4, 3, 3], RatePrior(12.7, 1.5, 35.0, 40.6))
    >>> round(days_at_constant(25.0, fit).item())
    4
    """
    temps, days = _columns("days_d", temps_c, days_d)
    if np.any(days <= 0.0):
        raise OutOfRangeError("days_d", "above 0 d", float(days.min()))
    weight = 1.0 / np.hypot(_DAYS_LOG_SD, _DAY_ROUNDING_SD / days)
    weight *= np.where(temps < 10.0, _COLD_WEIGHT, np.where(temps > 30.0, _HOT_WEIGHT, 1.0))
    log_days = np.log(days)
    optimum = min(prior.optimum_c, _OPTIMUM_MAX_C)
    ceiling = max(prior.maximum_c + _CEILING_ABOVE_MAXIMUM_C, _CEILING_MIN_C)

    def residuals(x: NDArray[np.float64]) -> NDArray[np.float64]:
        response = _response(x)
        # A floor of a fiftieth of the best rate keeps the logarithm finite outside base and
        # ceiling and still pushes the fit to where the seed did come up.
        floor = 0.02 * (response.optimum_low_c - response.base_c)
        rate = np.maximum(thermal_rate(temps, response), floor)
        known = [
            (response.base_c - prior.base_c) / prior.base_sd_c,
            (response.optimum_low_c - optimum) / _OPTIMUM_SD_C,
            (x[2] - _OPTIMUM_WIDTH_C) / _OPTIMUM_WIDTH_SD_C,
            (response.ceiling_c - ceiling) / _CEILING_SD_C,
        ]
        return np.concatenate([(x[4] - np.log(rate) - log_days) * weight, known])

    lower = [-8.0, 4.0, 0.0, 1.0, 1.0]
    upper = [18.0, 40.0, 20.0, 30.0, 8.0]
    best_x, best_cost = np.zeros(_N_RATE), np.inf
    for low_start in (20.0, optimum):
        for base_start in (prior.base_c - 2.0, prior.base_c + 1.0):
            width = max(low_start - base_start, 6.0)
            gathered = np.maximum(np.minimum(temps, low_start) - base_start, 1.0)
            start = [
                base_start,
                width,
                3.0,
                max(ceiling - base_start - width - 3.0, 3.0),
                float(np.log(np.median(days * gathered))),
            ]
            found = least_squares(residuals, np.clip(start, lower, upper), bounds=(lower, upper))
            if found.cost < best_cost - 1e-9:
                best_x, best_cost = found.x, found.cost
    return _response(best_x)


def fit_fraction(
    temps_c: ArrayLike, fractions_frac: ArrayLike, prior: FractionPrior
) -> FractionCurve:
    """Curve of the final fraction from normal seedlings by temperature.

    Parameters
    ----------
    temps_c : array_like, shape (n,)
        Constant temperatures of the test [°C].
    fractions_frac : array_like, shape (n,)
        Fraction of normal seedlings, 0 to 1. Leave out doubtful cells.
    prior : FractionPrior
        Printed limits, which stand in where the table has no temperature.

    Returns
    -------
    curve : FractionCurve
        Parameters of a robust least squares: a cell that no curve with one cold and one heat
        limit can follow pulls with its size, not with its square.

    Raises
    ------
    OutOfRangeError
        If the vectors do not match, are empty or not finite, or a fraction is not from 0 to 1.

    Examples
    --------
    >>> fit = fit_fraction(
    ...     [10, 15, 20, 25, 30, 35], [0, 0.95, 0.99, 0.99, 0.99, 0.99], FractionPrior(15.6, 40.6)
    ... )
    >>> 11.0 < fit.cold_c < 15.0
    True
    """
    temps, fractions = _columns("fractions_frac", temps_c, fractions_frac)
    if np.any((fractions < 0.0) | (fractions > 1.0)):
        raise OutOfRangeError("fractions_frac", "between 0 and 1", fractions.tolist())
    cold_prior = prior.minimum_c - COLD_BELOW_MINIMUM_C

    def curve(x: NDArray[np.float64]) -> FractionCurve:
        return FractionCurve(
            float(x[0]), float(x[1]), float(np.exp(x[2])), float(x[3]), float(np.exp(x[4]))
        )

    def residuals(x: NDArray[np.float64]) -> NDArray[np.float64]:
        off = (final_fraction(temps, curve(x)) - fractions) / _FRACTION_SCALE
        robust = np.sign(off) * np.sqrt(2.0 * (np.sqrt(1.0 + off**2) - 1.0))
        known = np.array([
            (x[1] - cold_prior) / _LIMIT_SD_C,
            (x[2] - np.log(_LIMIT_SPREAD_C)) / _LIMIT_SPREAD_LOG_SD,
            (x[3] - prior.maximum_c) / _LIMIT_SD_C,
            (x[4] - np.log(_LIMIT_SPREAD_C)) / _LIMIT_SPREAD_LOG_SD,
        ])  # fmt: skip
        return np.concatenate([robust, known * _FRACTION_PRIOR_WEIGHT])

    lower = [0.2, -15.0, np.log(0.5), 15.0, np.log(0.5)]
    upper = [1.0, 25.0, np.log(8.0), 50.0, np.log(10.0)]
    best_x, best_cost = np.zeros(5), np.inf
    for cold_start in (cold_prior, cold_prior + 5.0):
        for hot_start in (prior.maximum_c - 6.0, prior.maximum_c):
            for spread in (1.0, 4.0):
                start = [
                    0.99 * max(float(fractions.max()), 0.21),
                    cold_start,
                    np.log(spread),
                    hot_start,
                    np.log(spread),
                ]
                found = least_squares(
                    residuals, np.clip(start, lower, upper), bounds=(lower, upper)
                )
                if found.cost < best_cost - 1e-9:
                    best_x, best_cost = found.x, found.cost
    return curve(best_x)


def limits_curve(minimum_c: float, maximum_c: float) -> FractionCurve:
    """Curve of the final fraction for a crop of which only limits are known.

    Parameters
    ----------
    minimum_c, maximum_c : float
        Lowest and highest temperature at which sowing is worth while [°C].

    Returns
    -------
    curve : FractionCurve
        Median limits as they lie about printed limits in the crops that have both.

    Raises
    ------
    OutOfRangeError
        If the limits do not rise.

    Examples
    --------
    >>> limits_curve(10.0, 35.0)
    FractionCurve(top_frac=0.95, cold_c=8.5, cold_sd_c=2.0, hot_c=35.0, hot_sd_c=2.0)
    """
    if not minimum_c < maximum_c:
        raise OutOfRangeError("minimum_c and maximum_c", "rising", (minimum_c, maximum_c))
    return FractionCurve(
        0.95, minimum_c - COLD_BELOW_MINIMUM_C, _LIMIT_SPREAD_C, maximum_c, _LIMIT_SPREAD_C
    )
