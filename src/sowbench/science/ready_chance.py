"""Chance that plants are ready and not overgrown in time, from days computed at a few nodes.

For each weather node the ready day is known at a few values of the crop's pace z (standard
normal). It is taken as piecewise linear in z and never falls with z, so the days of a window are
met exactly by intervals of z, and their chance is a difference of two normal probabilities.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from sowbench.science.errors import OutOfRangeError
from sowbench.science.quadrature import normal_nodes

Floats = NDArray[np.float64]

# Rows worked on at a time, to keep memory small.
_CHUNK = 8192
# Days by which a later node may come before an earlier one through rounding.
_SLIP_D = 1e-6


class Screened(NamedTuple):
    """What screening tells of each candidate.

    Parameters
    ----------
    in_time_frac : ndarray, shape (M,)
        Chance of some day in the window that is at or after ready and before overgrown [fraction].
    days_late : ndarray, shape (M,)
        Expected whole days from the latest day to the ready date, none counted below 0 [d].
    overgrown_frac : ndarray, shape (M,)
        Chance of being overgrown at or before the day of handing over [fraction].
    """

    in_time_frac: Floats
    days_late: Floats
    overgrown_frac: Floats


def pace_reaching(day_at_nodes: Floats, target_day: Floats, z_nodes: Floats) -> Floats:
    """Slowest pace z at which something is still reached by a given day.

    Parameters
    ----------
    day_at_nodes : ndarray, shape (..., Z)
        Day at each node of z, not falling; infinite where it is never reached [d].
    target_day : ndarray, shape (...)
        Day by which it is wanted [d].
    z_nodes : ndarray, shape (Z,)
        Values of z, rising; two or more.

    Returns
    -------
    z : ndarray, shape (...)
        Largest z whose day is at or before `target_day`; -inf if none is, inf if all are.

    Notes
    -----
    Between nodes the day is straight in z, and beyond the last node of each side its last stretch
    goes on. From the first node with an infinite day on it is never reached; up to there the last
    finite stretch goes on.

    Examples
    --------
    >>> days = np.array([[10.0, 12.0, 14.0]])
    >>> pace_reaching(days, np.array([13.0]), np.array([-1.0, 0.0, 1.0])).tolist()
    [0.5]
    """
    n_nodes = z_nodes.size
    finite = np.isfinite(day_at_nodes)
    n_finite = finite.sum(axis=-1)
    reached = (day_at_nodes <= target_day[..., None]).sum(axis=-1)
    # The stretch that holds the crossing; its right end must be finite.
    right = np.clip(reached, 1, np.maximum(np.minimum(n_finite, n_nodes) - 1, 1))
    left = right - 1
    day_l = np.take_along_axis(day_at_nodes, left[..., None], -1)[..., 0]
    day_r = np.take_along_axis(day_at_nodes, right[..., None], -1)[..., 0]
    z_l, z_r = z_nodes[left], z_nodes[right]
    with np.errstate(invalid="ignore", divide="ignore"):
        z = z_l + (target_day - day_l) / (day_r - day_l) * (z_r - z_l)
    flat = day_r <= day_l
    z = np.where(flat, np.where(target_day >= day_l, np.inf, -np.inf), z)
    # Never reached from the first infinite node on.
    end = np.where(n_finite < n_nodes, z_nodes[np.minimum(n_finite, n_nodes - 1)], np.inf)
    alone = n_finite == 1
    z = np.where(alone, np.where(reached == 1, z_nodes[0], -np.inf), z)
    z = np.where(n_finite == 0, -np.inf, z)
    return np.asarray(np.minimum(z, end))


def screen_in_time(
    ready_day: ArrayLike,
    overgrown_day: ArrayLike,
    earliest_day: ArrayLike,
    latest_day: ArrayLike,
    hand_over_day: ArrayLike | None = None,
    weather_weights: ArrayLike | None = None,
    late_cap_d: float = 60.0,
) -> Screened:
    """Chance in time, days late and chance overgrown of many single sowings at once.

    Parameters
    ----------
    ready_day : array_like, shape (M, W, Z)
        Ready day at each weather node and each node of pace `normal_nodes(Z)`; inf where never [d].
    overgrown_day : array_like, shape (M, W, Z)
        Day from which plants are overgrown, at least one after ready; inf where never [d].
    earliest_day, latest_day : array_like of int, shape (M,)
        First and last day that serve [d].
    hand_over_day : array_like of int, shape (M,), optional
        Planned day of handing over; `latest_day` by default [d].
    weather_weights : array_like, shape (W,), optional
        Weights of the weather nodes; those of `normal_nodes(W)` by default.
    late_cap_d : float, default 60.0
        Most days late that are counted, also where plants are never ready [d] (assumption).

    Returns
    -------
    screened : Screened
        Chance in time, expected days late, chance overgrown at or before handing over.

    Raises
    ------
    OutOfRangeError
        If a window ends before it begins, or a ready day falls with z.

    Notes
    -----
    Because plants stay good for a day at least, the paces that meet the window are one interval:
    from the pace at which they are overgrown on the first day to that at which they are ready on
    the last. The days late are an expectation over the nodes, counted to the first midnight at or
    after ready.

    Examples
    --------
    >>> z, _ = normal_nodes(9)
    >>> ready = (30 + 2 * z)[None, None, :]
    >>> found = screen_in_time(ready, ready + 10, [28], [32])
    >>> found.in_time_frac.round(4).tolist(), found.overgrown_frac.round(4).tolist()
    ([0.8413], [0.0])
    """
    ready, over = np.atleast_3d(ready_day), np.atleast_3d(overgrown_day)
    n_rows, n_weather, n_pace = ready.shape
    z_nodes, z_weights = normal_nodes(n_pace)
    weight = normal_nodes(n_weather)[1] if weather_weights is None else np.asarray(weather_weights)
    early = np.broadcast_to(np.asarray(earliest_day, dtype=np.float64), (n_rows,))
    late = np.broadcast_to(np.asarray(latest_day, dtype=np.float64), (n_rows,))
    hand = late if hand_over_day is None else np.asarray(hand_over_day, dtype=np.float64)
    hand = np.broadcast_to(hand, (n_rows,))
    if np.any(late < early):
        at = int(np.argmax(late < early))
        raise OutOfRangeError("latest_day", f"{early[at]:g} (earliest_day) or later", late[at])
    in_time, days_late, overgrown = (np.empty(n_rows) for _ in range(3))
    for start in range(0, n_rows, _CHUNK):
        rows = slice(start, start + _CHUNK)
        r = rising("ready_day", np.asarray(ready[rows], dtype=np.float64))
        o = np.maximum(rising("overgrown_day", np.asarray(over[rows], dtype=np.float64)), r + 1)
        wide = (r.shape[0], n_weather)
        ready_z = pace_reaching(r, np.broadcast_to(late[rows, None], wide), z_nodes)
        spoilt_z = pace_reaching(o, np.broadcast_to(early[rows, None], wide), z_nodes)
        hand_z = pace_reaching(o, np.broadcast_to(hand[rows, None], wide), z_nodes)
        in_time[rows] = np.maximum(ndtr(ready_z) - ndtr(spoilt_z), 0.0) @ weight
        overgrown[rows] = ndtr(hand_z) @ weight
        d_late = np.clip(np.ceil(r) - late[rows, None, None], 0.0, late_cap_d)
        days_late[rows] = (d_late @ z_weights) @ weight
    return Screened(in_time, days_late, overgrown)


def rising(name: str, day_at_nodes: Floats) -> Floats:
    """Return days that do not fall with z, or say where they do.

    Parameters
    ----------
    name : str
        Name of the argument, for the message.
    day_at_nodes : ndarray, shape (..., Z)
        Days at rising nodes of z [d].

    Returns
    -------
    day_at_nodes : ndarray, shape (..., Z)
        The same, with slips by rounding leveled [d].

    Raises
    ------
    OutOfRangeError
        If a slower pace comes earlier by more than a millionth of a day, or a day is NaN.

    Examples
    --------
    >>> rising("ready_day", np.array([10.0, 12.0, np.inf])).tolist()
    [10.0, 12.0, inf]
    """
    if np.any(np.isnan(day_at_nodes)):
        raise OutOfRangeError(name, "a number of days or inf for never", "nan")
    before, after = day_at_nodes[..., :-1], day_at_nodes[..., 1:]
    falls = after < before - _SLIP_D
    if np.any(falls):
        value = f"{before[falls].flat[0]:g} then {after[falls].flat[0]:g}"
        raise OutOfRangeError(name, "no earlier at a slower pace z", value)
    if np.any(after < before):
        return np.asarray(np.maximum.accumulate(day_at_nodes, axis=-1))
    return day_at_nodes
