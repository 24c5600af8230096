"""What a sowing costs, part by part, and what a plant costs.

Every function takes numbers or arrays of one shape, so that a season's candidates are priced at
once. Money has no unit here: it is in the currency of the house.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sowbench.science.errors import OutOfRangeError

Floats = NDArray[np.float64]

# Times a reusable tray is filled before it is worn out (assumption; docs/model.md section 8).
USES_OF_REUSABLE = 20
# The parts of a plan's cost, in the order in which they are shown.
PARTS = (
    "seed", "container", "mix", "labor", "room", "short", "late", "overgrown", "surplus",
)  # fmt: skip


def _amount(name: str, value: ArrayLike) -> Floats:
    """Return a quantity as an array, or say that it is negative or no number."""
    values = np.asarray(value, dtype=np.float64)
    bad = ~(values >= 0)
    if np.any(bad):
        raise OutOfRangeError(name, "0 or more", float(values[bad].flat[0]))
    return values


def seed_cost(n_seeds: ArrayLike, price_per_1000: ArrayLike) -> Floats:
    """Money for seed.

    Parameters
    ----------
    n_seeds : array_like, shape (...)
        Seed units sown.
    price_per_1000 : array_like, shape (...)
        Money for a thousand seed units.

    Returns
    -------
    cost : ndarray, shape (...)
        Money.

    Raises
    ------
    OutOfRangeError
        If a value is negative or no number.

    Examples
    --------
    >>> float(seed_cost(250, 40.0))
    10.0
    """
    return np.asarray(
        _amount("n_seeds", n_seeds) * _amount("price_per_1000", price_per_1000) / 1000
    )


def container_cost(
    n_containers: ArrayLike,
    price: ArrayLike,
    reusable: ArrayLike = False,  # noqa: FBT002 - an array of flags as often as one
    n_uses: ArrayLike = USES_OF_REUSABLE,
    label_price: ArrayLike = 0.0,
) -> Floats:
    """Money for containers: bought once, or one use of a reusable one; labels included.

    Parameters
    ----------
    n_containers : array_like, shape (...)
        Lifted units filled.
    price : array_like, shape (...)
        Money for one.
    reusable : array_like of bool, shape (...), default False
        Whether it comes back and is used again.
    n_uses : array_like, shape (...), default 20
        Uses of a reusable one (assumption).
    label_price : array_like, shape (...), default 0.0
        Money for a label, one a unit.

    Returns
    -------
    cost : ndarray, shape (...)
        Money.

    Raises
    ------
    OutOfRangeError
        If a value is negative or no number, or `n_uses` is below 1.

    Examples
    --------
    >>> container_cost(10, 2.0, [False, True]).tolist()
    [20.0, 1.0]
    """
    uses = _amount("n_uses", n_uses)
    if np.any(uses < 1):
        raise OutOfRangeError("n_uses", "1 or more", float(uses.min()))
    each = _amount("price", price) / np.where(reusable, uses, 1.0)
    return np.asarray(
        _amount("n_containers", n_containers) * (each + _amount("label_price", label_price))
    )


def mix_cost(mix_l: ArrayLike, mix_per_l: ArrayLike) -> Floats:
    """Money for mix.

    Parameters
    ----------
    mix_l : array_like, shape (...)
        Loose mix used [L].
    mix_per_l : array_like, shape (...)
        Money for a liter.

    Returns
    -------
    cost : ndarray, shape (...)
        Money.

    Raises
    ------
    OutOfRangeError
        If a value is negative or no number.

    Examples
    --------
    >>> round(float(mix_cost(50.0, 0.08)), 2)
    4.0
    """
    return np.asarray(_amount("mix_l", mix_l) * _amount("mix_per_l", mix_per_l))


def labor_cost(minutes: ArrayLike, rate_per_hour: ArrayLike) -> Floats:
    """Money for hands.

    Parameters
    ----------
    minutes : array_like, shape (...)
        Working time [min].
    rate_per_hour : array_like, shape (...)
        Money for an hour of one person.

    Returns
    -------
    cost : ndarray, shape (...)
        Money.

    Raises
    ------
    OutOfRangeError
        If a value is negative or no number.

    Examples
    --------
    >>> float(labor_cost(90, 16.0))
    24.0
    """
    return np.asarray(_amount("minutes", minutes) / 60 * _amount("rate_per_hour", rate_per_hour))


def room_cost(footprint_m2: ArrayLike, days: ArrayLike, price_per_m2_day: ArrayLike) -> Floats:
    """Money for room, heat included.

    Parameters
    ----------
    footprint_m2 : array_like, shape (...)
        Area taken up [m2].
    days : array_like, shape (...)
        Days it is taken up [d].
    price_per_m2_day : array_like, shape (...)
        Money for a square meter and day.

    Returns
    -------
    cost : ndarray, shape (...)
        Money.

    Raises
    ------
    OutOfRangeError
        If a value is negative or no number.

    Examples
    --------
    >>> round(float(room_cost(1.5, 40, 0.02)), 6)
    1.2
    """
    return np.asarray(
        _amount("footprint_m2", footprint_m2)
        * _amount("days", days)
        * _amount("price_per_m2_day", price_per_m2_day)
    )


def short_cost(expected_short: ArrayLike, short_plant: ArrayLike) -> Floats:
    """Money lost on plants that are missing.

    Parameters
    ----------
    expected_short : array_like, shape (...)
        Expected plants missing, those of unmet orders included.
    short_plant : array_like, shape (...)
        Money for a missing plant.

    Returns
    -------
    cost : ndarray, shape (...)
        Money.

    Raises
    ------
    OutOfRangeError
        If a value is negative or no number.

    Examples
    --------
    >>> float(short_cost(2.5, 0.6))
    1.5
    """
    return np.asarray(
        _amount("expected_short", expected_short) * _amount("short_plant", short_plant)
    )


def late_cost(n_plants: ArrayLike, days_late: ArrayLike, late_plant_day: ArrayLike) -> Floats:
    """Money lost by handing over late.

    Parameters
    ----------
    n_plants : array_like, shape (...)
        Plants ordered.
    days_late : array_like, shape (...)
        Expected days from the latest day to ready [d].
    late_plant_day : array_like, shape (...)
        Money for a plant and day.

    Returns
    -------
    cost : ndarray, shape (...)
        Money.

    Raises
    ------
    OutOfRangeError
        If a value is negative or no number.

    Examples
    --------
    >>> float(late_cost(100, 0.5, 0.05))
    2.5
    """
    return np.asarray(
        _amount("n_plants", n_plants)
        * _amount("days_late", days_late)
        * _amount("late_plant_day", late_plant_day)
    )


def overgrown_cost(
    n_plants: ArrayLike, overgrown_frac: ArrayLike, overgrown_plant: ArrayLike
) -> Floats:
    """Money lost on plants past their best when handed over.

    Parameters
    ----------
    n_plants : array_like, shape (...)
        Plants ordered.
    overgrown_frac : array_like, shape (...)
        Chance of being overgrown at or before handing over [fraction].
    overgrown_plant : array_like, shape (...)
        Money for an overgrown plant.

    Returns
    -------
    cost : ndarray, shape (...)
        Money.

    Raises
    ------
    OutOfRangeError
        If a value is negative or no number.

    Examples
    --------
    >>> round(float(overgrown_cost(100, 0.1, 0.3)), 6)
    3.0
    """
    return np.asarray(
        _amount("n_plants", n_plants)
        * _amount("overgrown_frac", overgrown_frac)
        * _amount("overgrown_plant", overgrown_plant)
    )


def surplus_value(expected_surplus: ArrayLike, surplus_plant: ArrayLike) -> Floats:
    """Money, as a negative cost, that plants beyond the orders still bring.

    Parameters
    ----------
    expected_surplus : array_like, shape (...)
        Expected usable plants beyond the orders.
    surplus_plant : array_like, shape (...)
        Money for one of them.

    Returns
    -------
    cost : ndarray, shape (...)
        Money, 0 or negative.

    Raises
    ------
    OutOfRangeError
        If a value is negative or no number.

    Examples
    --------
    >>> float(surplus_value(10, 0.05))
    -0.5
    """
    return np.asarray(
        0.0
        - _amount("expected_surplus", expected_surplus) * _amount("surplus_plant", surplus_plant)
    )


def total_cost(parts: Mapping[str, ArrayLike]) -> Floats:
    """Sum of the parts.

    Parameters
    ----------
    parts : mapping of str to array_like, shape (...)
        Money by part; the names are those of `PARTS`.

    Returns
    -------
    cost : ndarray, shape (...)
        Money.

    Raises
    ------
    OutOfRangeError
        If a part has a name that is not in `PARTS`.

    Examples
    --------
    >>> float(total_cost({"seed": 4.0, "mix": 1.5}))
    5.5
    """
    unknown = [name for name in parts if name not in PARTS]
    if unknown:
        raise OutOfRangeError("parts", f"named among {', '.join(PARTS)}", unknown[0])
    total = np.zeros(())
    for name in PARTS:
        total = total + np.asarray(parts.get(name, 0.0), dtype=np.float64)
    return np.asarray(total)


def cost_per_plant(parts: Mapping[str, ArrayLike], n_plants: ArrayLike) -> dict[str, Floats]:
    """Cost of a plant that is handed over, split by part.

    Parameters
    ----------
    parts : mapping of str to array_like, shape (...)
        Money by part of what was grown together.
    n_plants : array_like, shape (...)
        Plants handed over; where there are none, the cost of one is infinite.

    Returns
    -------
    split : dict of str to ndarray, shape (...)
        Money a plant by part, and their sum under "total".

    Raises
    ------
    OutOfRangeError
        If a part has an unknown name or a number of plants is negative.

    Examples
    --------
    >>> split = cost_per_plant({"seed": 10.0, "labor": 15.0}, 100)
    >>> {name: float(money) for name, money in split.items()}
    {'seed': 0.1, 'labor': 0.15, 'total': 0.25}
    """
    plants = _amount("n_plants", n_plants)
    split = dict(parts) | {"total": total_cost(parts)}
    with np.errstate(divide="ignore", invalid="ignore"):
        return {
            name: np.where(
                np.asarray(money) == 0, 0.0, np.asarray(money, dtype=np.float64) / plants
            )
            for name, money in split.items()
        }
