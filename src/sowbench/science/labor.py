"""Working minutes by task, from rates.

The rates are passed in as numbers; the reference table gives defaults with their sources, and a
house may set its own. Every function takes numbers or arrays of one shape, so that a season's
candidates are reckoned at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sowbench.science.errors import OutOfRangeError, UnknownNameError

Floats = NDArray[np.float64]

_S_PER_MIN = 60
_MIN_PER_H = 60


@dataclass(frozen=True, slots=True)
class LaborRates:
    """How fast the crew works; there are no defaults here, because each needs its source.

    Parameters
    ----------
    fill_s_per_container : float
        Filling, firming and wetting in one lifted unit [s].
    sow_seeds_per_h : float
        Bare seed placed by hand, each seed counted [seeds/h].
    sow_pelleted_seeds_per_h : float
        Pelleted or large seed placed by hand [seeds/h].
    carry_lift_s : float
        Picking up or setting down one lifted unit [s].
    carry_speed_m_s : float
        Walking or carrying [m/s].
    carry_distance_m : float
        Way from where a unit stands to where it goes [m].
    carry_units_per_trip : float
        Lifted units taken at a time, on a cart or by hand.
    thin_cells_per_h : float
        Cells thinned [cells/h].
    gap_up_per_h : float
        Empty cells filled from spare seedlings [cells/h].
    pot_on_per_h : float
        Plants moved into a larger cell, block or pot [plants/h].
    space_per_h : float
        Loose plants, pots or blocks set further apart [plants/h].
    water_min_per_10m2 : float
        Watering of ten square meters once [min].
    water_times_per_d : float
        Waterings on an average day.
    count_s_per_tray : float
        Counting the stand of one lifted unit [s].
    pack_s_per_container : float
        Grading, labeling and packing one lifted unit for handing over [s].

    Raises
    ------
    OutOfRangeError
        If a rate is not a finite number above 0, or a time or distance is negative.
    """

    fill_s_per_container: float
    sow_seeds_per_h: float
    sow_pelleted_seeds_per_h: float
    carry_lift_s: float
    carry_speed_m_s: float
    carry_distance_m: float
    carry_units_per_trip: float
    thin_cells_per_h: float
    gap_up_per_h: float
    pot_on_per_h: float
    space_per_h: float
    water_min_per_10m2: float
    water_times_per_d: float
    count_s_per_tray: float
    pack_s_per_container: float

    def __post_init__(self) -> None:
        """Refuse rates that would give no or endless time."""
        for each in fields(self):
            value = getattr(self, each.name)
            divides = each.name.endswith(("_per_h", "_m_s", "_per_trip"))
            if not np.isfinite(value) or value < 0 or (divides and value == 0):
                rule = "a finite number above 0" if divides else "a finite number, 0 or more"
                raise OutOfRangeError(each.name, rule, value)

    @classmethod
    def from_table(cls, *tables: Mapping[str, float]) -> LaborRates:
        """Make the rates from tables by name, a later table overriding an earlier one.

        Parameters
        ----------
        *tables : mapping of str to float
            Rates by the names above: the defaults first, then the house's own.

        Returns
        -------
        rates : LaborRates
            All rates.

        Raises
        ------
        UnknownNameError
            If a table has a name that is no rate, or a rate is in no table.
        OutOfRangeError
            If a rate makes no sense.
        """
        known = [each.name for each in fields(cls)]
        merged: dict[str, float] = {}
        for table in tables:
            for name, value in table.items():
                if name not in known:
                    raise UnknownNameError.among(name, "labor rate", known)
                merged[name] = float(value)
        for name in known:
            if name not in merged:
                raise UnknownNameError(name, "labor rate (none given)")
        return cls(**merged)


# Round numbers for the examples below; nothing else uses them.
_ROUND = LaborRates(
    fill_s_per_container=60,
    sow_seeds_per_h=600,
    sow_pelleted_seeds_per_h=1200,
    carry_lift_s=5,
    carry_speed_m_s=1,
    carry_distance_m=20,
    carry_units_per_trip=2,
    thin_cells_per_h=600,
    gap_up_per_h=300,
    pot_on_per_h=600,
    space_per_h=600,
    water_min_per_10m2=2,
    water_times_per_d=1,
    count_s_per_tray=30,
    pack_s_per_container=60,
)


def fill_minutes(n_containers: ArrayLike, rates: LaborRates) -> Floats:
    """Minutes to fill, firm and wet in.

    Parameters
    ----------
    n_containers : array_like, shape (...)
        Lifted units.
    rates : LaborRates
        How fast the crew works.

    Returns
    -------
    minutes : ndarray, shape (...)
        Working time [min].

    Raises
    ------
    OutOfRangeError
        If a count is negative.

    Examples
    --------
    >>> fill_minutes([1, 30], _ROUND).tolist()
    [1.0, 30.0]
    """
    return _amount("n_containers", n_containers) * (rates.fill_s_per_container / _S_PER_MIN)


def sow_by_hand_minutes(
    n_seeds: ArrayLike,
    rates: LaborRates,
    easy: ArrayLike = False,  # noqa: FBT002 - an array of flags as often as one
) -> Floats:
    """Minutes to place seeds by hand, spoon or vibrating seeder.

    Parameters
    ----------
    n_seeds : array_like, shape (...)
        Seed units.
    rates : LaborRates
        How fast the crew works.
    easy : array_like of bool, shape (...), default False
        Whether the seed is pelleted or large.

    Returns
    -------
    minutes : ndarray, shape (...)
        Working time [min].

    Raises
    ------
    OutOfRangeError
        If a count is negative.

    Examples
    --------
    >>> sow_by_hand_minutes(100, _ROUND, [False, True]).tolist()
    [10.0, 5.0]
    """
    per_h = np.where(easy, rates.sow_pelleted_seeds_per_h, rates.sow_seeds_per_h)
    return np.asarray(_amount("n_seeds", n_seeds) * _MIN_PER_H / per_h)


def sow_by_machine_minutes(
    n_containers: ArrayLike, trays_per_hour: ArrayLike, changeover_minutes: ArrayLike = 0.0
) -> Floats:
    """Minutes to sow with a machine.

    Parameters
    ----------
    n_containers : array_like, shape (...)
        Lifted units; where there are none there is no changeover either.
    trays_per_hour : array_like, shape (...)
        Pace of the machine [1/h].
    changeover_minutes : array_like, shape (...), default 0.0
        Setting up for this sowing [min].

    Returns
    -------
    minutes : ndarray, shape (...)
        Working time [min].

    Raises
    ------
    OutOfRangeError
        If a count is negative or the pace is not above 0.

    Examples
    --------
    >>> sow_by_machine_minutes([0, 30], 60.0, 10.0).tolist()
    [0.0, 40.0]
    """
    n = _amount("n_containers", n_containers)
    pace = _amount("trays_per_hour", trays_per_hour)
    if np.any(pace == 0):
        raise OutOfRangeError("trays_per_hour", "above 0", 0.0)
    change = _amount("changeover_minutes", changeover_minutes)
    return np.asarray(np.where(n > 0, n * _MIN_PER_H / pace + change, 0.0))


def carry_minutes(
    n_containers: ArrayLike, rates: LaborRates, distance_m: ArrayLike | None = None
) -> Floats:
    """Minutes to carry lifted units from one place to another: two lifts each, and the walks.

    Parameters
    ----------
    n_containers : array_like, shape (...)
        Lifted units.
    rates : LaborRates
        How fast the crew works.
    distance_m : array_like, shape (...), optional
        Way, one direction; that of the rates by default [m].

    Returns
    -------
    minutes : ndarray, shape (...)
        Working time [min].

    Raises
    ------
    OutOfRangeError
        If a count or distance is negative.

    Notes
    -----
    Walks are not rounded up to whole trips, so that the time stays in proportion.

    Examples
    --------
    >>> carry_minutes([1, 6], _ROUND).tolist()
    [0.5, 3.0]
    """
    n = _amount("n_containers", n_containers)
    way = rates.carry_distance_m if distance_m is None else _amount("distance_m", distance_m)
    walk_s = 2 * way / rates.carry_speed_m_s / rates.carry_units_per_trip
    return np.asarray(n * (2 * rates.carry_lift_s + walk_s) / _S_PER_MIN)


def thin_minutes(n_cells: ArrayLike, rates: LaborRates) -> Floats:
    """Minutes to thin cells that hold more than is wanted.

    Parameters
    ----------
    n_cells : array_like, shape (...)
        Cells to thin.
    rates : LaborRates
        How fast the crew works.

    Returns
    -------
    minutes : ndarray, shape (...)
        Working time [min].

    Raises
    ------
    OutOfRangeError
        If a count is negative.

    Examples
    --------
    >>> thin_minutes([10, 50], _ROUND).tolist()
    [1.0, 5.0]
    """
    return _amount("n_cells", n_cells) * (_MIN_PER_H / rates.thin_cells_per_h)


def gap_up_minutes(n_cells: ArrayLike, rates: LaborRates) -> Floats:
    """Minutes to fill empty cells from spare seedlings.

    Parameters
    ----------
    n_cells : array_like, shape (...)
        Cells to fill.
    rates : LaborRates
        How fast the crew works.

    Returns
    -------
    minutes : ndarray, shape (...)
        Working time [min].

    Raises
    ------
    OutOfRangeError
        If a count is negative.

    Examples
    --------
    >>> gap_up_minutes([10, 50], _ROUND).tolist()
    [2.0, 10.0]
    """
    return _amount("n_cells", n_cells) * (_MIN_PER_H / rates.gap_up_per_h)


def pot_on_minutes(n_plants: ArrayLike, rates: LaborRates) -> Floats:
    """Minutes to move plants into larger cells, blocks or pots.

    Parameters
    ----------
    n_plants : array_like, shape (...)
        Plants or clumps.
    rates : LaborRates
        How fast the crew works.

    Returns
    -------
    minutes : ndarray, shape (...)
        Working time [min].

    Raises
    ------
    OutOfRangeError
        If a count is negative.

    Examples
    --------
    >>> pot_on_minutes([10, 50], _ROUND).tolist()
    [1.0, 5.0]
    """
    return _amount("n_plants", n_plants) * (_MIN_PER_H / rates.pot_on_per_h)


def space_minutes(n_plants: ArrayLike, rates: LaborRates) -> Floats:
    """Minutes to set plants further apart.

    Parameters
    ----------
    n_plants : array_like, shape (...)
        Loose plants, pots or blocks.
    rates : LaborRates
        How fast the crew works.

    Returns
    -------
    minutes : ndarray, shape (...)
        Working time [min].

    Raises
    ------
    OutOfRangeError
        If a count is negative.

    Examples
    --------
    >>> space_minutes([10, 50], _ROUND).tolist()
    [1.0, 5.0]
    """
    return _amount("n_plants", n_plants) * (_MIN_PER_H / rates.space_per_h)


def water_minutes(footprint_m2: ArrayLike, rates: LaborRates, days: ArrayLike = 1.0) -> Floats:
    """Minutes to water an area by hand.

    Parameters
    ----------
    footprint_m2 : array_like, shape (...)
        Area taken up [m2].
    rates : LaborRates
        How fast the crew works.
    days : array_like, shape (...), default 1.0
        Days [d].

    Returns
    -------
    minutes : ndarray, shape (...)
        Working time [min].

    Raises
    ------
    OutOfRangeError
        If an area or a number of days is negative.

    Examples
    --------
    >>> water_minutes([5, 50], _ROUND).tolist()
    [1.0, 10.0]
    """
    per_m2_day = rates.water_min_per_10m2 / 10 * rates.water_times_per_d
    return np.asarray(_amount("footprint_m2", footprint_m2) * _amount("days", days) * per_m2_day)


def count_minutes(n_containers: ArrayLike, rates: LaborRates) -> Floats:
    """Minutes to count the stand.

    Parameters
    ----------
    n_containers : array_like, shape (...)
        Lifted units.
    rates : LaborRates
        How fast the crew works.

    Returns
    -------
    minutes : ndarray, shape (...)
        Working time [min].

    Raises
    ------
    OutOfRangeError
        If a count is negative.

    Examples
    --------
    >>> count_minutes([2, 10], _ROUND).tolist()
    [1.0, 5.0]
    """
    return _amount("n_containers", n_containers) * (rates.count_s_per_tray / _S_PER_MIN)


def pack_minutes(n_containers: ArrayLike, rates: LaborRates) -> Floats:
    """Minutes to grade, label and pack for handing over.

    Parameters
    ----------
    n_containers : array_like, shape (...)
        Lifted units.
    rates : LaborRates
        How fast the crew works.

    Returns
    -------
    minutes : ndarray, shape (...)
        Working time [min].

    Raises
    ------
    OutOfRangeError
        If a count is negative.

    Examples
    --------
    >>> pack_minutes([1, 10], _ROUND).tolist()
    [1.0, 10.0]
    """
    return _amount("n_containers", n_containers) * (rates.pack_s_per_container / _S_PER_MIN)


def _amount(name: str, value: ArrayLike) -> Floats:
    """Return a quantity as an array, or say that it is negative or no number."""
    values = np.asarray(value, dtype=np.float64)
    bad = ~(values >= 0)
    if np.any(bad):
        raise OutOfRangeError(name, "0 or more", float(values[bad].flat[0]))
    return values
