"""Clocks of emergence and growth, shared by the world and what the house believes of it.

Frozen together with `generator`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from benchmarks.failures.parameters import Believed, Crop

Floats = NDArray[np.float64]


def rates(temp_c: Floats, base_c: float, optimum_c: float) -> Floats:
    """Progress of a day at its mean temperature.

    Parameters
    ----------
    temp_c : ndarray
        Means of days [°C].
    base_c, optimum_c : float
        Where it begins, and from where it rises no more [°C].

    Returns
    -------
    progress_cd : ndarray
        Thermal time [°C d].
    """
    return np.clip(temp_c, base_c, optimum_c) - base_c


def progress_from(rate_cd: Floats, day: float) -> tuple[Floats, Floats]:
    """Thermal time since a moment, at that moment and every midnight after it.

    Parameters
    ----------
    rate_cd : ndarray, shape (days,)
        Progress of each day.
    day : float
        The moment.

    Returns
    -------
    at_day, progress_cd : ndarray, shape (n,)
        Moments, and thermal time since the first.
    """
    total = np.concatenate([[0.0], np.cumsum(rate_cd)])
    edges = np.arange(total.size, dtype=np.float64)
    at = np.concatenate([[day], edges[edges > day]])
    found = np.interp(at, edges, total)
    return at, found - found[0]


def reached(at_day: Floats, progress_cd: Floats, target_cd: Floats | float) -> Floats:
    """Moment at which thermal time reaches a target.

    Parameters
    ----------
    at_day, progress_cd : ndarray, shape (n,)
        As `progress_from` gives them.
    target_cd : ndarray or float
        Targets [°C d].

    Returns
    -------
    day : ndarray
        Moments; far off where it is never reached.
    """
    rising = progress_cd + 1e-9 * np.arange(progress_cd.size)
    return np.asarray(np.interp(target_cd, rising, at_day, right=1e6))


def planned_days(crop: Crop, believed_c: Floats, sow_day: int) -> tuple[float, float]:
    """Days on which a sowing is expected to be up and to be ready.

    Parameters
    ----------
    crop : Crop
        Its crop.
    believed_c : ndarray, shape (places, days)
        What the house believes [°C].
    sow_day : int
        Day it is sown.

    Returns
    -------
    up_day, ready_day : float
        Median emergence, and ready.
    """
    temp = believed_c[crop.place]
    rate = rates(temp, crop.base_c, crop.optimum_c)
    up = float(reached(*progress_from(rate, sow_day + 0.5), crop.thermal_time_cd))
    grow = rates(temp, crop.growth_base_c, crop.growth_optimum_c)
    goal = crop.growth_d * (18.0 - crop.growth_base_c)
    return up, float(reached(*progress_from(grow, up), goal))


def planned_on_time(crop: Crop, believed_c: Floats, sow_day: int, believed: Believed) -> float:
    """Share of seedlings that is expected soon enough after the median.

    Parameters
    ----------
    crop : Crop
        The crop.
    believed_c : ndarray, shape (places, days)
        What the house believes [°C].
    sow_day : int
        Day it is sown.
    believed : Believed
        What the house plans with.

    Returns
    -------
    share_frac : float
        The share, of a log-normal time to emergence.
    """
    rate = rates(believed_c[crop.place], crop.base_c, crop.optimum_c)
    at, progress = progress_from(rate, sow_day + 0.5)
    up = float(reached(at, progress, crop.thermal_time_cd))
    late = float(np.interp(up + believed.late_d, at, progress))
    return float(ndtr(np.log(late / crop.thermal_time_cd) / crop.sigma_seed))
