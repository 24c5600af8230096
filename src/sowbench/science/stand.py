"""The stand: from a seed lot's test to the number of cells that give a usable plant.

A lot's germination is known only through its test, so it is a Beta distribution, used through a
few nodes. Seeds of one cell share fate a little; a cell counts when it holds as many seedlings as
are wanted. What is left after losses and grading is the usable share of the cells, and
`sowbench.science.trays` tells what that gives over whole trays.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sowbench.science.beta_binomial import cell_pmf, require_frac
from sowbench.science.errors import OutOfRangeError
from sowbench.science.quadrature import beta_nodes
from sowbench.science.tray_chances import (
    cells_for_confidence,
    chances_at,
    expected_short,
    expected_surplus,
    prob_at_least,
)
from sowbench.science.trays import (
    RHO_TRAY,
    TRAY_LOSS_FRAC,
    split_cells,
    tray_total_moments,
    tray_total_pmf,
)

__all__ = [
    "CULL_FRAC",
    "EMERGENCE_FRAC",
    "RHO_CELL",
    "RHO_TRAY",
    "SURVIVE_FRAC",
    "TRAY_LOSS_FRAC",
    "CellCost",
    "cell_ok_cover",
    "cell_ok_prob",
    "cells_for_confidence",
    "chances_at",
    "cheapest_seeds_per_cell",
    "expected_short",
    "expected_surplus",
    "lot_nodes",
    "prob_at_least",
    "seedlings_pmf",
    "split_cells",
    "thin_per_cell",
    "tray_total_moments",
    "tray_total_pmf",
    "usable_frac",
]

Floats = NDArray[np.float64]

# Correlation between seeds of one cell (assumption; docs/model.md section 5).
RHO_CELL = 0.05
# Emergence in the tray as a share of laboratory germination (assumption).
EMERGENCE_FRAC = 0.95
# Seedlings of a good cell that live to grading, and plants graded out (assumptions). Together
# 0.93; R. Styer, "Increase useable seedlings", 2008, prints 0.90 to 0.99 usable for good and 0.75
# to 0.85 for ordinary practice, germination included.
SURVIVE_FRAC = 0.98
CULL_FRAC = 0.05
# Steps in which the cover of the chance of several plants in a cell is sought.
_COVER_STEPS = 1000


def lot_nodes(n_normal: ArrayLike, n_tested: ArrayLike, n_nodes: int = 9) -> tuple[Floats, Floats]:
    """What a germination test says about the lot, as nodes and weights.

    Parameters
    ----------
    n_normal : array_like, shape (...)
        Normal seedlings in the test.
    n_tested : array_like, shape (...)
        Seeds tested.
    n_nodes : int, default 9
        Number of nodes.

    Returns
    -------
    p_lot : ndarray, shape (..., n_nodes)
        Germination of the lot at each node [fraction].
    weights : ndarray, shape (..., n_nodes)
        Weights that add to 1.

    Raises
    ------
    OutOfRangeError
        If a count is negative, or more seedlings than seeds are given.

    Notes
    -----
    Before the test every germination is held equally likely (a uniform prior, assumption), so
    after it germination is Beta(n_normal + 1, n_tested - n_normal + 1), the rule of succession.

    Examples
    --------
    >>> p_lot, weights = lot_nodes(85, 100)
    >>> float(round(p_lot @ weights, 4))
    0.8431
    """
    normal = np.asarray(n_normal, dtype=np.float64)
    tested = np.asarray(n_tested, dtype=np.float64)
    bad = ~((normal >= 0) & (normal <= tested))
    if np.any(bad):
        value = float(np.broadcast_to(normal, bad.shape)[bad].flat[0])
        raise OutOfRangeError("n_normal", "from 0 to n_tested", value)
    return beta_nodes(normal + 1, tested - normal + 1, n_nodes)


def seedlings_pmf(n_seeds: int, p: ArrayLike, rho_cell: ArrayLike = RHO_CELL) -> Floats:
    """Chances of 0 to n seedlings in a cell.

    Parameters
    ----------
    n_seeds : int
        Seeds in the cell.
    p : array_like, shape (...)
        Chance that a seed gives a seedling [fraction].
    rho_cell : array_like, shape (...), default 0.05
        Correlation between seeds of one cell [fraction].

    Returns
    -------
    pmf : ndarray, shape (..., n_seeds + 1)
        Chance of each number of seedlings [fraction].

    Raises
    ------
    OutOfRangeError
        If an argument is out of range.

    Examples
    --------
    >>> seedlings_pmf(2, 0.8, 0.05).round(3).tolist()
    [0.048, 0.304, 0.648]
    """
    return cell_pmf(n_seeds, p, rho_cell)


def cell_ok_prob(
    seeds_per_cell: ArrayLike,
    p_seed: ArrayLike,
    plants_min: ArrayLike,
    rho_cell: ArrayLike = RHO_CELL,
    seedlings_per_unit: ArrayLike = 1.0,
) -> Floats:
    """Chance that a cell holds at least as many seedlings as are wanted.

    Parameters
    ----------
    seeds_per_cell : array_like of int, shape (...)
        Seed units put in a cell, 1 or more.
    p_seed : array_like, shape (...)
        Chance that a seed unit gives a seedling on time [fraction].
    plants_min : array_like of int, shape (...)
        Least seedlings that make the cell good, 1 or more.
    rho_cell : array_like, shape (...), default 0.05
        Correlation between seeds of one cell [fraction].
    seedlings_per_unit : array_like, shape (...), default 1.0
        Seedlings that a seed unit gives (a chard fruit, a multi-seed pellet), 1 or more.

    Returns
    -------
    ok_frac : ndarray, shape (...)
        Chance that the cell is good [fraction].

    Raises
    ------
    OutOfRangeError
        If a fraction or a count is out of range.

    Notes
    -----
    A unit that gives m seedlings counts as m seeds only where more than one plant is wanted: its
    test counts a unit once. Where seeds times m is not whole, the chances of the two whole
    numbers next to it are mixed in proportion.

    Examples
    --------
    >>> cell_ok_prob([1, 2, 3], 0.8, 1, 0.05).round(5).tolist()
    [0.8, 0.952, 0.98674]
    """
    seeds, p, least, rho, per_unit = np.broadcast_arrays(
        _require_at_least("seeds_per_cell", seeds_per_cell, 1),
        require_frac("p_seed", p_seed),
        _require_at_least("plants_min", plants_min, 1),
        require_frac("rho_cell", rho_cell, below_one=True),
        _require_at_least("seedlings_per_unit", seedlings_per_unit, 1),
    )
    worth = seeds * np.where(least > 1, per_unit, 1.0)
    ok = np.zeros(p.shape)
    low = np.floor(worth + 1e-9)
    for n, want in {(int(n), int(k)) for n, k in zip(low.flat, least.flat, strict=True)}:
        here = (low == n) & (least == want)
        part = np.clip(worth[here] - n, 0.0, 1.0)
        chance = (1 - part) * cell_pmf(n, p[here], rho[here])[..., want:].sum(axis=-1)
        if np.any(part > 0):
            chance += part * cell_pmf(n + 1, p[here], rho[here])[..., want:].sum(axis=-1)
        ok[here] = chance
    return np.clip(ok, 0.0, 1.0)


def cell_ok_cover(
    seeds_per_cell: int,
    p_seed: ArrayLike,
    plants_min: int,
    rho_cell: float = RHO_CELL,
    seedlings_per_unit: float = 1.0,
) -> Floats:
    """Concave cover of `cell_ok_prob`: never below it, and never below a mean over `p_seed`.

    Parameters
    ----------
    seeds_per_cell : int
        As for `cell_ok_prob`.
    p_seed : array_like, shape (...)
        Chance that a seed unit gives a seedling on time, the mean over what it hangs on [fraction].
    plants_min : int
        As for `cell_ok_prob`.
    rho_cell, seedlings_per_unit : float
        As for `cell_ok_prob`.

    Returns
    -------
    ok_frac : ndarray, shape (...)
        At least the mean chance that the cell is good [fraction].

    Notes
    -----
    The chance of one plant or more is concave in `p_seed` as it is. That of several rises ever
    faster first; up to where a straight line from 0 touches it, that line is taken. It is sought
    in steps of 0.001, and a millionth is put on top for what lies between.

    Examples
    --------
    >>> cell_ok_cover(2, [0.2, 0.8], 2, 0.0).round(3).tolist()
    [0.2, 0.8]
    """
    p = require_frac("p_seed", p_seed)
    ok = cell_ok_prob(seeds_per_cell, p, plants_min, rho_cell, seedlings_per_unit)
    if plants_min <= 1:
        return ok
    grid = np.linspace(0.0, 1.0, _COVER_STEPS + 1)[1:]
    slope = cell_ok_prob(seeds_per_cell, grid, plants_min, rho_cell, seedlings_per_unit) / grid
    best = np.maximum.accumulate(slope[::-1])[::-1]
    at = np.minimum(np.ceil(p * _COVER_STEPS).astype(np.int64) - 1, _COVER_STEPS - 1)
    line = p * best[np.maximum(at, 0)]
    return np.asarray(np.minimum(np.maximum(ok, line) * (1.0 + 1e-6), 1.0))


def thin_per_cell(
    seeds_per_cell: ArrayLike,
    p_seed: ArrayLike,
    plants_max: ArrayLike,
    rho_cell: ArrayLike = RHO_CELL,
    seedlings_per_unit: ArrayLike = 1.0,
) -> tuple[Floats, Floats]:
    """Seedlings to remove from a cell, and share of cells that need thinning.

    Parameters
    ----------
    seeds_per_cell : array_like of int, shape (...)
        Seed units put in a cell, 1 or more.
    p_seed : array_like, shape (...)
        Chance that a seed unit gives a seedling [fraction].
    plants_max : array_like of int, shape (...)
        Most seedlings that may stay, 1 or more.
    rho_cell : array_like, shape (...), default 0.05
        Correlation between seeds of one cell [fraction].
    seedlings_per_unit : array_like, shape (...), default 1.0
        Seedlings of a unit that comes up, 1 or more.

    Returns
    -------
    n_removed : ndarray, shape (...)
        Expected seedlings to take out, a cell [seedlings].
    share_frac : ndarray, shape (...)
        Share of cells with more than may stay [fraction].

    Raises
    ------
    OutOfRangeError
        If a fraction or a count is out of range.

    Notes
    -----
    Every unit that comes up is taken to give `seedlings_per_unit` seedlings (own estimate: the
    spread between units is left out).

    Examples
    --------
    >>> [round(float(v), 3) for v in thin_per_cell(2, 0.8, 1, 0.0)]
    [0.64, 0.64]
    """
    seeds, p, most, rho, per_unit = np.broadcast_arrays(
        _require_at_least("seeds_per_cell", seeds_per_cell, 1),
        require_frac("p_seed", p_seed),
        _require_at_least("plants_max", plants_max, 1),
        require_frac("rho_cell", rho_cell, below_one=True),
        _require_at_least("seedlings_per_unit", seedlings_per_unit, 1),
    )
    removed, share = np.zeros(p.shape), np.zeros(p.shape)
    for n in {int(each) for each in seeds.flat}:
        here = seeds == n
        pmf = cell_pmf(n, p[here], rho[here])
        over = per_unit[here][:, None] * np.arange(n + 1) - most[here][:, None]
        removed[here] = np.sum(pmf * np.maximum(over, 0.0), axis=-1)
        share[here] = np.sum(pmf * (over > 1e-9), axis=-1)
    return removed, share


def usable_frac(
    ok_frac: ArrayLike,
    light_frac: ArrayLike = 1.0,
    survive_frac: ArrayLike = SURVIVE_FRAC,
    cull_frac: ArrayLike = CULL_FRAC,
) -> Floats:
    """Share of cells that give a plant or clump fit to hand over.

    Parameters
    ----------
    ok_frac : array_like, shape (...)
        Chance that a cell holds what is wanted, from `cell_ok_prob` [fraction].
    light_frac : array_like, shape (...), default 1.0
        Share left by poor light [fraction].
    survive_frac : array_like, shape (...), default 0.98
        Share that lives until grading [fraction] (assumption).
    cull_frac : array_like, shape (...), default 0.05
        Share graded out [fraction] (assumption).

    Returns
    -------
    usable : ndarray, shape (...)
        Share of usable cells [fraction].

    Raises
    ------
    OutOfRangeError
        If a fraction is outside 0 to 1.

    Examples
    --------
    >>> round(float(usable_frac(0.9)), 4)
    0.8379
    """
    return np.asarray(
        require_frac("ok_frac", ok_frac)
        * require_frac("survive_frac", survive_frac)
        * (1 - require_frac("cull_frac", cull_frac))
        * require_frac("light_frac", light_frac)
    )


class CellCost(NamedTuple):
    """Costs by number of seeds in a cell, and the choice.

    Parameters
    ----------
    n_seeds : ndarray of int, shape (S,)
        Seeds a cell, rising.
    usable : ndarray, shape (..., S)
        Share of usable cells after gapping up [fraction].
    cost_per_usable : ndarray, shape (..., S)
        Money for a usable cell.
    best : ndarray of int, shape (...)
        The number of seeds with the least cost; the smaller one when equal.
    """

    n_seeds: NDArray[np.int64]
    usable: Floats
    cost_per_usable: Floats
    best: NDArray[np.int64]


def cheapest_seeds_per_cell(
    seed_price: ArrayLike,
    cell_price: ArrayLike,
    thin_price: ArrayLike,
    gap_up_price: ArrayLike,
    p_nodes: ArrayLike,
    weights: ArrayLike,
    *,
    n_seeds: ArrayLike = (1, 2, 3),
    plants_per_cell: tuple[int, int] = (1, 1),
    rho_cell: float = RHO_CELL,
    seedlings_per_unit: float = 1.0,
    kept_frac: float = SURVIVE_FRAC * (1 - CULL_FRAC),
    gap_up_frac: float = 0.0,
) -> CellCost:
    """Cost of a usable cell by number of seeds: a second seed must pay for itself.

    Parameters
    ----------
    seed_price : array_like, shape (...)
        Money for one seed unit.
    cell_price : array_like, shape (...)
        Money for a cell that stands the season through: container, mix, room, water, hands.
    thin_price : array_like, shape (...)
        Money for thinning one cell.
    gap_up_price : array_like, shape (...)
        Money for filling one empty cell with a seedling from another.
    p_nodes : array_like, shape (K,)
        Chance that a seed unit gives a seedling on time, at each node of the lot [fraction].
    weights : array_like, shape (K,)
        Weights of the nodes; they add to 1.
    n_seeds : array_like of int, shape (S,), default (1, 2, 3)
        Numbers of seeds to compare.
    plants_per_cell : tuple of int, default (1, 1)
        Least and most plants wanted in a cell.
    rho_cell : float, default 0.05
        Correlation between seeds of one cell [fraction].
    seedlings_per_unit : float, default 1.0
        Seedlings that a seed unit gives.
    kept_frac : float, default 0.931
        Share of good cells that live and pass grading [fraction].
    gap_up_frac : float, default 0.0
        Share of the empty cells that is gapped up from spare seedlings [fraction]; never more
        than the seedlings that thinning takes out.

    Returns
    -------
    costs : CellCost
        Cost of a usable cell by number of seeds, and the cheapest.

    Raises
    ------
    OutOfRangeError
        If a fraction or a count is out of range.

    Examples
    --------
    >>> p_nodes, weights = lot_nodes(85, 100)
    >>> dear = cheapest_seeds_per_cell(0.30, 0.10, 0.005, 0.01, p_nodes, weights)
    >>> cheap = cheapest_seeds_per_cell(0.002, 0.10, 0.005, 0.01, p_nodes, weights)
    >>> int(dear.best), int(cheap.best)
    (1, 2)
    """
    require_frac("kept_frac", kept_frac)
    require_frac("gap_up_frac", gap_up_frac)
    numbers = np.unique(_require_at_least("n_seeds", n_seeds, 1)).astype(np.int64)
    p = require_frac("p_nodes", p_nodes)
    weight = np.asarray(weights, dtype=np.float64)
    least, most = plants_per_cell
    good = cell_ok_prob(numbers[:, None], p, least, rho_cell, seedlings_per_unit) @ weight
    spare, thinned = thin_per_cell(numbers[:, None], p, most, rho_cell, seedlings_per_unit)
    spare, thinned = spare @ weight, thinned @ weight
    filled = np.minimum((1 - good) * gap_up_frac, spare / least)
    usable = (good + filled) * kept_frac
    seed, cell, thin, gap = (
        np.asarray(each, dtype=np.float64)[..., None]
        for each in (seed_price, cell_price, thin_price, gap_up_price)
    )
    money = seed * numbers + cell + thin * thinned + gap * filled
    with np.errstate(divide="ignore"):
        cost = np.where(usable > 0, money / np.maximum(usable, 1e-300), np.inf)
    best = numbers[np.argmin(cost, axis=-1)]
    return CellCost(numbers, np.broadcast_to(usable, cost.shape), cost, np.asarray(best))


def _require_at_least(name: str, value: ArrayLike, least: float) -> Floats:
    """Return the values as an array, or say which is too small."""
    values = np.asarray(value, dtype=np.float64)
    if np.any(~(values >= least)):
        worst = float(values[~(values >= least)].flat[0])
        raise OutOfRangeError(name, f"{least:g} or more", worst)
    return values
