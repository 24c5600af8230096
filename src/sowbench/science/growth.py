"""Growth after emergence: two clocks in days at reference conditions, and when they are full.

The leaf clock runs with the 24 h mean temperature, the clock of mass and root fill with
temperature and light. Both are kept as sums from the first day of the season, so that any start is
a difference of two values: all sowing days, weather nodes and paces are answered in one call.
Day arguments are fractional days since the season's first midnight; their first axis runs over the
weather nodes. A day that is not reached within the season is infinite.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from sowbench.science.errors import OutOfRangeError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

LIGHT_FULL_MOL_M2_D: Final = 8.0
"""Daily light below which plugs come out inferior: E. Runkle, "The benefits of lighted plugs",
Michigan State University, 2007 (288-cell plugs, 21 °C)."""

LIGHT_POOR_MOL_M2_D: Final = 3.0
"""Daily light at and below which the usable share is least: own estimate after Runkle 2007."""

USABLE_POOR_LIGHT_FRAC: Final = 0.7
"""Usable share at poor light: own estimate after Runkle 2007."""


def _cardinal(base_c: float, optimum_c: float, ceiling_c: float) -> None:
    """Raise unless the three temperatures stand in order."""
    if not base_c < optimum_c <= ceiling_c:
        got = f"{base_c}, {optimum_c}, {ceiling_c}"
        raise OutOfRangeError("base_c, optimum_c, ceiling_c", "rising temperatures [°C]", got)


def relative_rate(
    temp_24h_c: ArrayLike,
    base_c: float,
    optimum_c: float,
    ceiling_c: float,
    temp_ref_c: float,
) -> NDArray[np.float64]:
    """Pace of development at a temperature, 1 at the reference temperature.

    Parameters
    ----------
    temp_24h_c : array_like, shape (...)
        Mean air temperature of 24 h [°C].
    base_c, optimum_c, ceiling_c : float
        Temperatures at which the pace starts, is highest, and is back to 0 [°C].
    temp_ref_c : float
        Temperature at which the pace is 1; above base and not above the optimum [°C].

    Returns
    -------
    relative_rate : ndarray, shape (...)
        Days at the reference temperature that a day at this temperature is worth.

    Raises
    ------
    OutOfRangeError
        If the three temperatures do not rise, or the reference is not between base and optimum.

    Notes
    -----
    Straight up from the base, straight down from the optimum to the ceiling, 0 outside. That leaf
    unfolding follows the 24 h mean whatever the split of day and night: Grimstad and Frimanslund
    1993 (cucumber), Si and Heins 1996 (pepper).

    References
    ----------
    .. [1] S. O. Grimstad and E. Frimanslund, Scientia Horticulturae 53, 1993, 191-204.
    .. [2] Y. Si and R. D. Heins, Journal of the American Society for Horticultural Science, 1996.

    Examples
    --------
    >>> relative_rate([5.0, 12.0, 20.0, 24.0, 29.5, 40.0], 4.0, 24.0, 35.0, 20.0).tolist()
    [0.0625, 0.5, 1.0, 1.25, 0.625, 0.0]
    """
    _cardinal(base_c, optimum_c, ceiling_c)
    if not base_c < temp_ref_c <= optimum_c:
        rule = f"above base {base_c} and at most optimum {optimum_c} °C"
        raise OutOfRangeError("temp_ref_c", rule, temp_ref_c)
    temp = np.asarray(temp_24h_c, dtype=np.float64)
    up = temp - base_c
    span = ceiling_c - optimum_c
    # An optimum that is also the ceiling cuts off at once.
    down = (optimum_c - base_c) * (
        (ceiling_c - temp) / span if span > 0 else np.where(temp <= ceiling_c, 1.0, 0.0)
    )
    rate = np.where(temp <= optimum_c, up, down) / (temp_ref_c - base_c)
    return np.maximum(rate, 0.0)  # NaN passes through


def light_factor(dli_mol_m2_d: ArrayLike, dli_ref_mol_m2_d: float = 10.0) -> NDArray[np.float64]:
    """Pace of mass and root fill at a daily light, 1 at the reference light and above.

    Parameters
    ----------
    dli_mol_m2_d : array_like, shape (...)
        Daily light integral at the plants [mol m⁻² d⁻¹].
    dli_ref_mol_m2_d : float, default 10
        Daily light for which the rule's days hold [mol m⁻² d⁻¹]; the default is an assumption.

    Returns
    -------
    light_factor : ndarray, shape (...)
        Factor on the pace [fraction, 0 to 1].

    Raises
    ------
    OutOfRangeError
        If the reference is not above 0, or any daily light is below 0.

    Notes
    -----
    ``g = min(1, 1.5 x / (x + 0.5))`` with ``x`` the light over its reference: own estimate. It is
    in line with plugs that are late to become pullable under 8 mol m⁻² d⁻¹ (Runkle 2007) and with
    petunia dry mass that rises in a straight line with light (Oh, Runkle and Warner 2010); it does
    not speed growth beyond the reference, since root fill then waits for leaves.

    References
    ----------
    .. [1] E. Runkle, "The benefits of lighted plugs", Michigan State University, 2007.
    .. [2] W. Oh, E. Runkle and R. Warner, HortScience 45(9), 2010, 1332.

    Examples
    --------
    >>> light_factor([0.0, 2.5, 5.0, 10.0, 20.0]).tolist()
    [0.0, 0.5, 0.75, 1.0, 1.0]
    """
    if not dli_ref_mol_m2_d > 0:
        raise OutOfRangeError("dli_ref_mol_m2_d", "above 0 mol m⁻² d⁻¹", dli_ref_mol_m2_d)
    x = np.asarray(dli_mol_m2_d, dtype=np.float64) / dli_ref_mol_m2_d
    if np.any(x < 0):
        raise OutOfRangeError("dli_mol_m2_d", "0 mol m⁻² d⁻¹ or more", float(np.nanmin(x)))
    return np.minimum(1.0, x * 1.5 / (x + 0.5))


def light_usable_frac(mean_dli_mol_m2_d: ArrayLike) -> NDArray[np.float64]:
    """Share of grown plants that are fit to hand over, by the light they grew in.

    Parameters
    ----------
    mean_dli_mol_m2_d : array_like, shape (...)
        Mean daily light integral over the growing days [mol m⁻² d⁻¹].

    Returns
    -------
    light_frac : ndarray, shape (...)
        1 from 8 mol m⁻² d⁻¹ up, falling straight to 0.7 at 3 and below.

    References
    ----------
    .. [1] E. Runkle, "The benefits of lighted plugs", Michigan State University, 2007: plugs under
       8 mol m⁻² d⁻¹ are late, soft and weak-stemmed. The share is our own estimate.

    Examples
    --------
    >>> light_usable_frac([1.0, 5.5, 8.0, 30.0]).round(3).tolist()
    [0.7, 0.85, 1.0, 1.0]
    """
    return np.asarray(
        np.interp(
            np.asarray(mean_dli_mol_m2_d, dtype=np.float64),
            [LIGHT_POOR_MOL_M2_D, LIGHT_FULL_MOL_M2_D],
            [USABLE_POOR_LIGHT_FRAC, 1.0],
        ),
        dtype=np.float64,
    )


def window_for_cell(window_d_ref: ArrayLike, cell_volume_ml: ArrayLike) -> NDArray[np.float64]:
    """Days from ready until overgrown, for a plug of another volume than the rule's 25 mL.

    Parameters
    ----------
    window_d_ref : array_like, shape (...)
        Days in a cell of about 25 mL, as in a tray of 128 [d].
    cell_volume_ml : array_like, shape (...)
        Volume of the cell [mL].

    Returns
    -------
    window_d : ndarray, shape (...)
        Days in line with the volume, kept from half to two and a half times the rule's [d].

    Notes
    -----
    Own estimate. Muskmelon seedlings' size rises in line with cell volume from 7 to 100 mL ("Cell
    volume effects on containerized muskmelon transplants", two states, two years); trade advice
    gives a tray of 72 two to three weeks more before plants are root-bound than one of 128 or 200,
    which is more than this.

    Examples
    --------
    >>> window_for_cell(10.0, [12.5, 25.0, 45.0, 500.0]).tolist()
    [5.0, 10.0, 18.0, 25.0]
    """
    volume = np.asarray(cell_volume_ml, dtype=np.float64)
    return np.asarray(window_d_ref, dtype=np.float64) * np.clip(volume / 25.0, 0.5, 2.5)


@dataclass(frozen=True, slots=True, eq=False)
class Clocks:
    """The two clocks of a crop in a place, summed from the season's first midnight.

    Parameters
    ----------
    leaf_d : ndarray, shape (n_nodes, n_days + 1)
        Leaf clock at each midnight [days at reference temperature].
    mass_d : ndarray, shape (n_nodes, n_days + 1)
        Clock of mass and root fill [days at reference temperature and light].
    """

    leaf_d: NDArray[np.float64]
    mass_d: NDArray[np.float64]


def cumulative_clocks(
    temp_day_mean_c: NDArray[np.float64],
    dli_mol_m2_d: NDArray[np.float64],
    base_c: float,
    optimum_c: float,
    ceiling_c: float,
    temp_ref_c: float,
    dli_ref_mol_m2_d: float = 10.0,
) -> Clocks:
    """Run both clocks of a crop through a season in one place.

    Parameters
    ----------
    temp_day_mean_c : ndarray, shape (n_nodes, n_days)
        Mean air temperature of each day [°C].
    dli_mol_m2_d : ndarray, shape (n_days,)
        Daily light integral at the plants [mol m⁻² d⁻¹].
    base_c, optimum_c, ceiling_c : float
        Temperatures of the crop, see `relative_rate` [°C].
    temp_ref_c : float
        Reference temperature of the ready rule [°C].
    dli_ref_mol_m2_d : float, default 10
        Reference light of the ready rule [mol m⁻² d⁻¹].

    Returns
    -------
    clocks : Clocks
        Sums at each midnight, 0 at the first.

    Raises
    ------
    OutOfRangeError
        As `relative_rate` and `light_factor`, or if the days do not agree.

    Examples
    --------
    >>> clocks = cumulative_clocks(np.full((1, 2), 20.0), np.array([5.0, 10.0]), 4, 24, 35, 20)
    >>> clocks.leaf_d.tolist(), clocks.mass_d.tolist()
    ([[0.0, 1.0, 2.0]], [[0.0, 0.75, 1.75]])
    """
    temp = np.atleast_2d(np.asarray(temp_day_mean_c, dtype=np.float64))
    dli = np.asarray(dli_mol_m2_d, dtype=np.float64)
    if dli.shape != (temp.shape[1],):
        raise OutOfRangeError("dli_mol_m2_d", f"one value for each of {temp.shape[1]} d", dli.shape)
    rate = relative_rate(temp, base_c, optimum_c, ceiling_c, temp_ref_c)
    start = np.zeros((temp.shape[0], 1))
    leaf = np.concatenate([start, np.cumsum(rate, axis=1)], axis=1)
    mass_rate = rate * light_factor(dli, dli_ref_mol_m2_d)
    mass = np.concatenate([start, np.cumsum(mass_rate, axis=1)], axis=1)
    return Clocks(leaf, mass)


def clock_at(cumulative_d: NDArray[np.float64], day: ArrayLike) -> NDArray[np.float64]:
    """Read a clock at fractional days, straight between midnights.

    Parameters
    ----------
    cumulative_d : ndarray, shape (n_nodes, n_days + 1)
        Clock at each midnight.
    day : array_like, shape (n_nodes, ...)
        Fractional days since the first midnight; a first axis of 1 serves all nodes.

    Returns
    -------
    clock_d : ndarray, shape (n_nodes, ...)
        Clock at that day; NaN before the first midnight or after the last.

    Examples
    --------
    >>> clock_at(np.array([[0.0, 1.0, 3.0]]), [[0.5, 1.5, 2.0, 2.5]]).tolist()
    [[0.5, 2.0, 3.0, nan]]
    """
    n_nodes, n_points = cumulative_d.shape
    days = np.asarray(day, dtype=np.float64)
    days = np.broadcast_to(days, (n_nodes, *days.shape[1:]))
    inside = (days >= 0) & (days <= n_points - 1)
    safe = np.where(inside, days, 0.0)
    index = np.minimum(safe.astype(np.int64), n_points - 2)
    node = np.arange(n_nodes).reshape(n_nodes, *([1] * (days.ndim - 1)))
    low = cumulative_d[node, index]
    value = low + (cumulative_d[node, index + 1] - low) * (safe - index)
    return np.where(inside, value, np.nan)


def _day_of_level(
    cumulative_d: NDArray[np.float64], level_d: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the first fractional day at which each row reaches its levels; inf if never."""
    n_nodes, n_points = cumulative_d.shape
    flat = level_d.reshape(n_nodes, -1)
    day = np.empty_like(flat)
    for node in range(n_nodes):
        row = cumulative_d[node]
        index = np.searchsorted(row, flat[node], side="left")
        right = np.clip(index, 1, n_points - 1)
        low, high = row[right - 1], row[right]
        step = np.where(high > low, high - low, 1.0)
        day[node] = np.where(index == n_points, np.inf, right - 1 + (flat[node] - low) / step)
    return np.maximum(day, 0.0).reshape(level_d.shape)


def clock_reached(
    cumulative_d: NDArray[np.float64], start_day: ArrayLike, target_d: ArrayLike
) -> NDArray[np.float64]:
    """First fractional day on which one clock has gained a target since a start.

    Parameters
    ----------
    cumulative_d : ndarray, shape (n_nodes, n_days + 1)
        Clock at each midnight.
    start_day : array_like, shape (n_nodes, ...)
        Fractional day of the start, such as median emergence; inf gives inf.
    target_d : array_like, broadcastable to the shape of `start_day`
        What the clock has to gain [reference days]; 0 or less is reached at the start.

    Returns
    -------
    day : ndarray, shape (n_nodes, ...)
        Fractional day; inf if not within the season, or if the start is outside it.

    Examples
    --------
    >>> clock_reached(np.array([[0.0, 1.0, 3.0, 3.0]]), [[0.5, 1.5, np.inf]], 1.0).tolist()
    [[1.25, 2.0, inf]]
    """
    start = np.asarray(start_day, dtype=np.float64)
    target = np.asarray(target_d, dtype=np.float64)
    shape = np.broadcast_shapes(start.shape, target.shape)
    shape = (cumulative_d.shape[0], *shape[1:])
    start = np.broadcast_to(start, shape)
    at_start = clock_at(cumulative_d, start)
    known = np.isfinite(at_start)
    level = np.where(known, at_start, 0.0) + target
    day = np.maximum(_day_of_level(cumulative_d, level), start)
    day = np.where(np.broadcast_to(target, shape) <= 0, start, day)
    return np.where(known, day, np.inf)


def day_reached(clocks: Clocks, start_day: ArrayLike, target_d: ArrayLike) -> NDArray[np.float64]:
    """First fractional day on which both clocks have gained a target since a start.

    Parameters
    ----------
    clocks : Clocks
        Both clocks in one place.
    start_day : array_like, shape (n_nodes, ...)
        Fractional day of the start; inf gives inf.
    target_d : array_like, broadcastable to the shape of `start_day`
        What both clocks have to gain [reference days].

    Returns
    -------
    day : ndarray, shape (n_nodes, ...)
        Fractional day; inf if not within the season.

    See Also
    --------
    day_reached_on_path : The same for plants that are moved.

    Examples
    --------
    >>> clocks = cumulative_clocks(np.full((1, 9), 20.0), np.full(9, 5.0), 4, 24, 35, 20)
    >>> day_reached(clocks, [[0.5, 8.0]], 3.0).tolist()
    [[4.5, inf]]
    """
    return np.maximum(
        clock_reached(clocks.leaf_d, start_day, target_d),
        clock_reached(clocks.mass_d, start_day, target_d),
    )


def advance_between(
    cumulative_d: NDArray[np.float64], from_day: ArrayLike, to_day: ArrayLike
) -> NDArray[np.float64]:
    """Gain of one clock between two fractional days.

    Parameters
    ----------
    cumulative_d : ndarray, shape (n_nodes, n_days + 1)
        Clock at each midnight.
    from_day, to_day : array_like, shape (n_nodes, ...)
        Fractional days.

    Returns
    -------
    gain_d : ndarray, shape (n_nodes, ...)
        Gain [reference days]; NaN if either day is outside the season.

    Examples
    --------
    >>> advance_between(np.array([[0.0, 1.0, 3.0]]), [[0.5]], [[1.5]]).tolist()
    [[1.5]]
    """
    return clock_at(cumulative_d, to_day) - clock_at(cumulative_d, from_day)


def _reached_on_path(
    rows: Sequence[NDArray[np.float64]],
    start_day: NDArray[np.float64],
    move_days: Sequence[NDArray[np.float64]],
    target_d: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Run one clock through several places; see `day_reached_on_path`."""
    begin, target, result = start_day, target_d, np.full(start_day.shape, np.nan)
    for i, row in enumerate(rows):
        day = clock_reached(row, begin, target)
        if i == len(rows) - 1:
            return np.where(np.isnan(result), day, result)
        end = np.maximum(move_days[i], begin)
        here = np.isnan(result) & (day <= end)
        result = np.where(here, day, result)
        gain = clock_at(row, end) - clock_at(row, begin)
        # A start or a move outside the season leaves the rest to infinity.
        target = np.where(np.isnan(gain), np.inf, target - np.where(np.isnan(gain), 0.0, gain))
        begin = end
    return result


def day_reached_on_path(
    places: Sequence[Clocks],
    start_day: ArrayLike,
    move_days: Sequence[ArrayLike],
    target_d: ArrayLike,
) -> NDArray[np.float64]:
    """First fractional day on which both clocks have gained a target, along a path of places.

    Parameters
    ----------
    places : sequence of Clocks
        The clocks in each place in order, each with the same days and nodes.
    start_day : array_like, shape (n_nodes, ...)
        Fractional day of the start, in the first place.
    move_days : sequence of array_like, each broadcastable to the shape of `start_day`
        Fractional day of each move to the next place; one fewer than places.
    target_d : array_like, broadcastable to the shape of `start_day`
        What both clocks have to gain since the start [reference days].

    Returns
    -------
    day : ndarray, shape (n_nodes, ...)
        Fractional day; inf if not within the season. A move before the start counts at the start.

    Raises
    ------
    OutOfRangeError
        If there is not one move fewer than places.

    Examples
    --------
    >>> warm = cumulative_clocks(np.full((1, 9), 20.0), np.full(9, 10.0), 4, 24, 35, 20)
    >>> cool = cumulative_clocks(np.full((1, 9), 12.0), np.full(9, 10.0), 4, 24, 35, 20)
    >>> day_reached_on_path([warm, cool], [[1.0]], [[3.0]], [[3.0]]).tolist()
    [[5.0]]
    """
    if len(move_days) != len(places) - 1:
        rule = f"one fewer than the {len(places)} places"
        raise OutOfRangeError("move_days", rule, len(move_days))
    n_nodes = places[0].leaf_d.shape[0]
    start = np.asarray(start_day, dtype=np.float64)
    target = np.asarray(target_d, dtype=np.float64)
    moves = [np.asarray(each, dtype=np.float64) for each in move_days]
    shape = np.broadcast_shapes(start.shape, target.shape, *(each.shape for each in moves))
    shape = (n_nodes, *shape[1:])
    start, target = np.broadcast_to(start, shape), np.broadcast_to(target, shape)
    moves = [np.broadcast_to(each, shape) for each in moves]
    return np.maximum(
        _reached_on_path([each.leaf_d for each in places], start, moves, target),
        _reached_on_path([each.mass_d for each in places], start, moves, target),
    )
