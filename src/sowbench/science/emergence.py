"""Emergence by thermal time: when seeds come up, which of them, and how much of a lot at all.

The rate rises from a base temperature to an optimum, is flat over the optimum and falls to a
ceiling. Thermal time differs between the seeds of a lot (log-normal), and the temperature of the
first days decides how many come up at all. Everything is reckoned with the temperature of the
**mix**, not of the air.
"""

from __future__ import annotations

from typing import Final, NamedTuple, Protocol, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from sowbench.science.emergence_fraction import (
    FloatOrArray,
    FractionCurve,
    Survival,
    best_temperature,
    final_fraction,
    mix_temperatures,
    relative_fraction,
)
from sowbench.science.errors import OutOfRangeError

__all__ = [
    "CHAMBER_EXIT_SHARE_FRAC",
    "HOURS_PER_DAY",
    "ON_TIME_GRACE_H",
    "FractionCurve",
    "Population",
    "Response",
    "Survival",
    "ThermalResponse",
    "accumulate",
    "best_temperature",
    "days_at_constant",
    "emergence_target",
    "final_fraction",
    "germination_target",
    "hours_to",
    "on_time_fraction",
    "relative_fraction",
    "seed_time_quantile",
    "thermal_rate",
]

HOURS_PER_DAY: Final = 24.0
# A tray leaves a dark or warm chamber when this share shows the root (assumption; 5 to 10 %).
CHAMBER_EXIT_SHARE_FRAC: Final = 0.05
# Seeds later than this after their tray's median are shaded out (assumption) [h].
ON_TIME_GRACE_H: Final = 72.0


class Response(Protocol):
    """Cardinal temperatures and thermal time: what the pace of emergence depends on."""

    @property
    def base_c(self) -> float:
        """Temperature at and below which nothing moves [°C]."""

    @property
    def optimum_low_c(self) -> float:
        """Low end of the optimum [°C]."""

    @property
    def optimum_high_c(self) -> float:
        """High end of the optimum [°C]."""

    @property
    def ceiling_c(self) -> float:
        """Temperature at and above which nothing moves [°C]."""

    @property
    def thermal_time_cd(self) -> float:
        """Thermal time from sowing to median emergence [°C d]."""


class Population(Response, Protocol):
    """A response with its spreads and with the share of it that germination takes."""

    @property
    def sigma_seed(self) -> float:
        """Spread of thermal time between seeds, standard deviation of its logarithm."""

    @property
    def sigma_pace(self) -> float:
        """Doubt about the crop's own thermal time, standard deviation of its logarithm."""

    @property
    def germination_share(self) -> float:
        """Share of the thermal time after which the root shows."""


class ThermalResponse(NamedTuple):
    """Plain numbers that satisfy `Response`.

    Parameters
    ----------
    base_c, optimum_low_c, optimum_high_c, ceiling_c : float
        Cardinal temperatures [°C], rising.
    thermal_time_cd : float
        Thermal time from sowing to median emergence [°C d].
    """

    base_c: float
    optimum_low_c: float
    optimum_high_c: float
    ceiling_c: float
    thermal_time_cd: float


def thermal_rate(temp_c: FloatOrArray, crop: Response) -> FloatOrArray:
    """Thermal time gathered in a day at a temperature.

    Parameters
    ----------
    temp_c : float or ndarray, shape (...)
        Temperature of the mix [°C].
    crop : Response
        Cardinal temperatures, rising: base below optimum, optimum below ceiling.

    Returns
    -------
    rate_cd_d : float or ndarray, shape (...)
        Thermal time [°C d] per day: 0 up to the base, ``temp_c - base_c`` up to the optimum's
        low end, flat to its high end, then falling in a straight line to 0 at the ceiling.

    Raises
    ------
    OutOfRangeError
        If a temperature is below -70 or above 70 °C, or the cardinal temperatures do not rise.
        NaN passes through.

    References
    ----------
    .. [1] J. F. Bierhuizen, W. A. Wagenvoort, "Some aspects of seed germination in vegetables.
       1.", Scientia Horticulturae 2, 1974, 213-219 (below the optimum).
    .. [2] J. Garcia-Huidobro, J. L. Monteith, G. R. Squire, "Time, temperature and germination
       of pearl millet", Journal of Experimental Botany 33, 1982, 288-296 (fall to a ceiling;
       from memory).

    Examples
    --------
    >>> tomato = ThermalResponse(8.7, 28.0, 30.0, 38.0, 88.0)
    >>> thermal_rate(20.0, tomato).item()
    11.3
    """
    base, low, high, ceiling = crop.base_c, crop.optimum_low_c, crop.optimum_high_c, crop.ceiling_c
    if not base < low <= high < ceiling:
        raise OutOfRangeError(
            "cardinal temperatures",
            "rising: base_c < optimum_low_c <= optimum_high_c < ceiling_c",
            (base, low, high, ceiling),
        )
    temp = mix_temperatures("temp_c", temp_c)
    rising = np.minimum(temp, low) - base
    falling = (low - base) * (ceiling - temp) / (ceiling - high)
    rate = np.maximum(np.minimum(rising, falling), 0.0)
    return cast("FloatOrArray", rate[()])


def days_at_constant(temp_c: FloatOrArray, crop: Response) -> FloatOrArray:
    """Days from sowing to median emergence at a constant temperature.

    Parameters
    ----------
    temp_c : float or ndarray, shape (...)
        Temperature of the mix [°C].
    crop : Response
        Cardinal temperatures and thermal time.

    Returns
    -------
    days_d : float or ndarray, shape (...)
        Time to median emergence [d]; infinite where nothing moves.

    Raises
    ------
    OutOfRangeError
        As `thermal_rate`.

    Examples
    --------
    >>> onion = ThermalResponse(2.5, 25.0, 26.0, 35.0, 80.0)
    >>> days_at_constant(22.5, onion).item(), days_at_constant(7.5, onion).item()
    (4.0, 16.0)
    """
    rate = np.asarray(thermal_rate(np.asarray(temp_c, dtype=np.float64), crop))
    days = np.full(rate.shape, np.inf)
    np.divide(crop.thermal_time_cd, rate, out=days, where=~(rate <= 0.0))
    return cast("FloatOrArray", days[()])


def accumulate(temp_mix_c: ArrayLike, crop: Response) -> NDArray[np.float64]:
    """Thermal time gathered since the first hour, at the end of every hour.

    Parameters
    ----------
    temp_mix_c : array_like, shape (..., n_hours)
        Temperature of the mix in each hour [°C].
    crop : Response
        Cardinal temperatures.

    Returns
    -------
    progress_cd : ndarray, shape (..., n_hours + 1)
        Thermal time [°C d] up to hour 0, 1, ... n_hours; never falling.

    Raises
    ------
    OutOfRangeError
        As `thermal_rate`, or if the series has no hours.

    Examples
    --------
    >>> lettuce = ThermalResponse(3.5, 22.0, 24.0, 31.0, 71.0)
    >>> accumulate([15.5] * 48, lettuce)[[0, 24, 48]].round(6).tolist()
    [0.0, 12.0, 24.0]
    """
    temp = np.asarray(temp_mix_c, dtype=np.float64)
    if temp.ndim == 0 or temp.shape[-1] == 0:
        raise OutOfRangeError("temp_mix_c", "a series of at least one hour", temp.shape)
    gained = np.asarray(thermal_rate(temp, crop)) / HOURS_PER_DAY
    progress = np.zeros((*temp.shape[:-1], temp.shape[-1] + 1))
    np.cumsum(gained, axis=-1, out=progress[..., 1:])
    return progress


def _at_hours(progress_cd: NDArray[np.float64], hour_h: NDArray[np.float64]) -> NDArray[np.float64]:
    """Progress at fractional hours, in a straight line inside the hour."""
    floor = np.minimum(hour_h.astype(np.int64), progress_cd.size - 2)
    share = hour_h - floor
    step = progress_cd[floor + 1] - progress_cd[floor]
    return np.asarray(progress_cd[floor] + share * step)


def _hours_to_one(
    progress_cd: NDArray[np.float64],
    start_h: NDArray[np.float64],
    target_cd: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Solve `hours_to` for one series."""
    goal = _at_hours(progress_cd, start_h) + target_cd
    # Sums of many hours carry rounding; a goal met to 1e-12 of the sum is met.
    after = np.searchsorted(progress_cd, goal - 1e-12 * progress_cd[-1], side="left")
    reached = after < progress_cd.size
    upper = np.clip(after, 1, progress_cd.size - 1)
    below, above = progress_cd[upper - 1], progress_cd[upper]
    step = above - below
    share = np.zeros_like(goal)
    np.divide(goal - below, step, out=share, where=step > 0.0)
    hour = upper - 1 + np.clip(share, 0.0, 1.0)
    return np.where(reached, np.maximum(hour, start_h), np.inf)


def hours_to(
    progress_cd: ArrayLike, start_h: ArrayLike, target_cd: ArrayLike
) -> NDArray[np.float64]:
    """First hour at which the thermal time since a start reaches a target.

    Parameters
    ----------
    progress_cd : array_like, shape (..., n_hours + 1)
        Cumulative thermal time from `accumulate` [°C d]; leading axes are separate series, such
        as the weather nodes.
    start_h : array_like
        Hour of sowing on the clock of the series, from 0 to n_hours [h]; may be fractional.
    target_cd : array_like
        Thermal time wanted since then, 0 or more [°C d]; broadcast against `start_h`.

    Returns
    -------
    reached_h : ndarray, shape (..., *broadcast of start_h and target_cd)
        Hour on the clock of the series [h], in a straight line inside the hour; infinite where
        the series ends before.

    Raises
    ------
    OutOfRangeError
        If a start lies outside the series, a target is below 0 or not a number, or the series
        has gaps (NaN).

    Examples
    --------
    >>> lettuce = ThermalResponse(3.5, 22.0, 24.0, 31.0, 71.0)
    >>> progress = accumulate([15.5] * 240, lettuce)
    >>> hours_to(progress, [12.0, 36.5, 200.0], 36.0).round(6).tolist()
    [84.0, 108.5, inf]
    """
    progress = np.asarray(progress_cd, dtype=np.float64)
    start, target = np.broadcast_arrays(
        np.asarray(start_h, dtype=np.float64), np.asarray(target_cd, dtype=np.float64)
    )
    n_hours = progress.shape[-1] - 1
    bad = start[~((start >= 0.0) & (start <= n_hours))]
    if bad.size:
        raise OutOfRangeError(
            "start_h", f"inside the series, from 0 to {n_hours} h", float(bad.flat[0])
        )
    bad = target[~(target >= 0.0)]
    if bad.size:
        raise OutOfRangeError("target_cd", "0 °C d or more", float(bad.flat[0]))
    if not np.all(np.isfinite(progress[..., -1])):
        raise OutOfRangeError(
            "progress_cd", "without gaps", "NaN", "Fill the gaps in the temperatures first."
        )
    series = progress.reshape(-1, n_hours + 1)
    solved = [_hours_to_one(each, start.ravel(), target.ravel()) for each in series]
    return np.stack(solved).reshape((*progress.shape[:-1], *start.shape))


def _require_share(name: str, share_frac: ArrayLike) -> NDArray[np.float64]:
    """Return shares as an array, refusing what is outside (0, 1)."""
    share = np.asarray(share_frac, dtype=np.float64)
    bad = share[(share <= 0.0) | (share >= 1.0)]
    if bad.size:
        raise OutOfRangeError(name, "above 0 and below 1", float(bad.flat[0]))
    return share


def emergence_target(
    crop: Population, *, share_frac: ArrayLike = 0.5, z_pace: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Thermal time at which a share of the seeds that come up at all have done so.

    Parameters
    ----------
    crop : Population
        Thermal time with its spreads.
    share_frac : array_like, shape (...), default 0.5
        Share of the seeds that emerge at all.
    z_pace : array_like, shape (...), default 0.0
        Standard normal deviate of the crop's pace; broadcast against `share_frac`.

    Returns
    -------
    target_cd : ndarray, shape (...)
        Thermal time since sowing [°C d].

    Raises
    ------
    OutOfRangeError
        If a share is not above 0 and below 1.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> crop = SimpleNamespace(thermal_time_cd=88.0, sigma_seed=0.18, sigma_pace=0.12)
    >>> emergence_target(crop, share_frac=[0.05, 0.5, 0.95]).round(1).tolist()
    [65.4, 88.0, 118.3]
    """
    deviate = ndtri(_require_share("share_frac", share_frac))
    pace = np.asarray(z_pace, dtype=np.float64)
    return np.asarray(
        crop.thermal_time_cd * np.exp(crop.sigma_seed * deviate + crop.sigma_pace * pace)
    )


def germination_target(
    crop: Population, *, share_frac: ArrayLike = CHAMBER_EXIT_SHARE_FRAC, z_pace: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Thermal time at which a share of the seeds shows the root.

    Parameters
    ----------
    crop : Population
        Thermal time with its spreads and the share that germination takes of it.
    share_frac : array_like, shape (...), default 0.05
        Share of the seeds that germinate at all; at the first 5 to 10 % a tray leaves a dark
        chamber (assumption).
    z_pace : array_like, shape (...), default 0.0
        Standard normal deviate of the crop's pace.

    Returns
    -------
    target_cd : ndarray, shape (...)
        Thermal time since sowing [°C d].

    Raises
    ------
    OutOfRangeError
        If a share is not above 0 and below 1.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> crop = SimpleNamespace(
    ...     thermal_time_cd=88.0, sigma_seed=0.18, sigma_pace=0.12, germination_share=0.5
    ... )
    >>> round(germination_target(crop).item(), 1)
    32.7
    """
    emerged = emergence_target(crop, share_frac=share_frac, z_pace=z_pace)
    return np.asarray(crop.germination_share * emerged)


def seed_time_quantile(
    t50_h: ArrayLike, sigma_seed: ArrayLike, share_frac: ArrayLike
) -> NDArray[np.float64]:
    """Time by which a share of the emerging seeds is up, at a steady temperature.

    Parameters
    ----------
    t50_h : array_like, shape (...)
        Median time from sowing to emergence, 0 or more [h].
    sigma_seed : array_like, shape (...)
        Spread between seeds, standard deviation of the logarithm of their time, 0 or more.
    share_frac : array_like, shape (...)
        Share of the seeds that emerge at all.

    Returns
    -------
    time_h : ndarray, shape (...)
        Time from sowing [h].

    Raises
    ------
    OutOfRangeError
        If a time or spread is below 0, or a share is not above 0 and below 1.

    Examples
    --------
    >>> seed_time_quantile(144.0, 0.18, [0.05, 0.95]).round(1).tolist()
    [107.1, 193.6]
    """
    t50, sigma = _times_and_spreads(t50_h, sigma_seed)
    return np.asarray(t50 * np.exp(sigma * ndtri(_require_share("share_frac", share_frac))))


def on_time_fraction(
    t50_h: ArrayLike, sigma_seed: ArrayLike, grace_h: float = ON_TIME_GRACE_H
) -> NDArray[np.float64]:
    """Share of the emerging seeds that is up within a grace after the tray's median.

    Later seeds are shaded out by their neighbors.

    Parameters
    ----------
    t50_h : array_like, shape (...)
        Median time from sowing to emergence, 0 or more [h].
    sigma_seed : array_like, shape (...)
        Spread between seeds, standard deviation of the logarithm of their time, 0 or more.
    grace_h : float, default 72.0
        Grace after the median, 0 or more [h]; three days are an assumption.

    Returns
    -------
    on_time_frac : ndarray, shape (...)
        ``Phi(ln(1 + grace_h / t50_h) / sigma_seed)``, at least one half.

    Raises
    ------
    OutOfRangeError
        If a time, a spread or the grace is below 0. NaN passes through.

    Examples
    --------
    >>> on_time_fraction([72.0, 240.0], 0.18).round(3).tolist()
    [1.0, 0.928]
    """
    t50, sigma = _times_and_spreads(t50_h, sigma_seed)
    if not grace_h >= 0.0:
        raise OutOfRangeError("grace_h", "0 h or more", grace_h)
    with np.errstate(divide="ignore", invalid="ignore"):
        late = np.log1p(grace_h / t50) / sigma
    # Without any spread all come with the median; without grace half of them do.
    late = np.where((sigma == 0.0) | (t50 == 0.0), np.inf, late)
    return np.asarray(np.where(np.isnan(t50) | np.isnan(sigma), np.nan, ndtr(late)))


def _times_and_spreads(
    t50_h: ArrayLike, sigma_seed: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return both as arrays of one shape, refusing values below 0."""
    t50, sigma = np.broadcast_arrays(
        np.asarray(t50_h, dtype=np.float64), np.asarray(sigma_seed, dtype=np.float64)
    )
    if np.any(t50 < 0.0):
        raise OutOfRangeError("t50_h", "0 h or more", float(t50[t50 < 0.0].flat[0]))
    if np.any(sigma < 0.0):
        raise OutOfRangeError("sigma_seed", "0 or more", float(sigma[sigma < 0.0].flat[0]))
    return t50, sigma
