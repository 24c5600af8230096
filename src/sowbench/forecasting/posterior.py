"""Posterior of lag and final stand on a grid that closes in on where it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, expit, ndtr, ndtri

from sowbench.forecasting.count_tables import CountTables, SomeCounts
from sowbench.forecasting.looks import Looks
from sowbench.forecasting.records import ForecastParameters, OpenSowing
from sowbench.science.quadrature import normal_nodes

Floats = NDArray[np.float64]

_ZOOMS: Final = 2
# Cells stand as close as the cube root of density, and nowhere farther apart than by the least.
_NEED_LEAST: Final = 2e-3
# The first window: lags to so many standard deviations, shares of what can come up at most.
_LAG_SD: Final = 8.0
_STAND_LOGIT: Final = (-6.0, 16.0)
_SIGMA_LEAST: Final = 1e-4
# Cells of the grid, times counts, worked on at once: what fits the processor's own memory.
CHUNK: Final = 250_000


@dataclass(frozen=True, slots=True, eq=False)
class Prior:
    """What is believed of many sowings before counting.

    Attributes
    ----------
    n_normal, n_tested, aging : ndarray, shape (R,)
        Tests, and probits lost since.
    warm : ndarray, shape (R, W)
        Share of live seed that comes up in the tray, by weather node.
    delta : ndarray, shape (R, W)
        ln of progress over that at w = 0.
    sigma : ndarray, shape (R,)
        Doubt about pace.
    odd_frac : float
        Chance that the test says nothing.
    weights : ndarray, shape (W,)
        Weights of the weather nodes.
    """

    n_normal: Floats
    n_tested: Floats
    aging: Floats
    warm: Floats
    delta: Floats
    sigma: Floats
    odd_frac: float
    weights: Floats

    def of(self, rows: slice) -> Prior:
        """Return the prior of some sowings.

        Parameters
        ----------
        rows : slice
            Which sowings.

        Returns
        -------
        prior : Prior
            Theirs.
        """
        return Prior(
            self.n_normal[rows], self.n_tested[rows], self.aging[rows], self.warm[rows],
            self.delta[rows], self.sigma[rows], self.odd_frac, self.weights,
        )  # fmt: skip

    @property
    def top(self) -> Floats:
        """Most of a lot's seed that can come up, shape (R,)."""
        return np.asarray(self.warm.max(axis=1))

    def lot_below(self, rows: slice, share: Floats) -> Floats:
        """Chance that aged germination is below a share.

        Parameters
        ----------
        rows : slice
            Which sowings.
        share : ndarray, shape (R, W, ...)
            Shares.

        Returns
        -------
        chance_frac : ndarray, shape (R, W, ...)
            Prior distribution function.
        """
        p = np.clip(share, 0.0, 1.0)
        wide = (-1, *([1] * (p.ndim - 1)))
        shift = self.aging[rows].reshape(wide)
        tested = p
        if np.any(shift > 0.0):
            tested = np.where(shift > 0.0, ndtr(ndtri(p) + shift), p)
        a = self.n_normal[rows].reshape(wide) + 1.0
        b = (self.n_tested - self.n_normal)[rows].reshape(wide) + 1.0
        return np.asarray((1.0 - self.odd_frac) * betainc(a, b, tested) + self.odd_frac * p)

    def masses(self, rows: slice, lag_edges: Floats, stand_edges: Floats) -> tuple[Floats, Floats]:
        """Prior mass of the cells along both sides of a grid, at each weather node.

        Parameters
        ----------
        rows : slice
            Which sowings.
        lag_edges, stand_edges : ndarray, shape (R, E + 1) and (R, S + 1)
            Edges of the cells.

        Returns
        -------
        of_lag, of_stand : ndarray, shape (R, W, E) and (R, W, S)
            Masses given the node; the weight of the node is with the lag.
        """
        z = lag_edges[:, None, :] + self.delta[rows][:, :, None]
        of_lag = normal_mass(z / self.sigma[rows][:, None, None]) * self.weights[:, None]
        warm = self.warm[rows]
        some = warm
        if np.array_equal(warm, np.broadcast_to(warm[:, :1], warm.shape)):
            some = warm[:, :1]  # weather changes nothing of it
        below = self.lot_below(rows, stand_edges[:, None, :] / some[:, :, None])
        of_stand = np.maximum(np.diff(below, axis=-1), 0.0)
        return of_lag, np.broadcast_to(of_stand, (*warm.shape, of_stand.shape[-1]))


def normal_mass(edges: Floats) -> Floats:
    """Chance of a standard normal between neighboring edges, exact in both tails.

    Parameters
    ----------
    edges : ndarray, shape (..., n + 1)
        Rising edges.

    Returns
    -------
    mass : ndarray, shape (..., n)
        Chances.

    Examples
    --------
    >>> normal_mass(np.array([-np.inf, 0.0, np.inf])).tolist()
    [0.5, 0.5]
    """
    tail = ndtr(-np.abs(edges))  # keeps its digits on both sides
    apart = np.abs(tail[..., 1:] - tail[..., :-1])
    across = (edges[..., :-1] < 0.0) & (edges[..., 1:] > 0.0)
    return np.asarray(np.where(across, 1.0 - tail[..., 1:] - tail[..., :-1], apart))


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Posterior of many sowings, each on a grid of its own.

    Attributes
    ----------
    lag_edges : ndarray, shape (R, E + 1)
        Edges of the cells of lag.
    stand_edges : ndarray, shape (R, S + 1)
        Edges of the cells of the chance of a seed to be up in the end, even in its logit.
    lag, stand : ndarray, shape (R, E) and (R, S)
        Middles of the cells.
    mass : ndarray, shape (R, E, S)
        Posterior mass of each cell, summed over weather.
    node_lag, node_stand : ndarray, shape (R, W, E) and (R, W, S)
        Prior masses by weather node; their product over its sum tells the weather given a cell.
    """

    lag_edges: Floats
    stand_edges: Floats
    lag: Floats
    stand: Floats
    mass: Floats
    node_lag: Floats
    node_stand: Floats

    def node_lag_mass(self, row: NDArray[np.int64]) -> Floats:
        """Posterior mass of lag and weather node, summed over stand.

        Parameters
        ----------
        row : ndarray of int, shape (Q,)
            Which sowings.

        Returns
        -------
        mass : ndarray, shape (Q, W, E)
            Adds to 1.
        """
        of_lag, of_stand = self.node_lag[row], self.node_stand[row]
        total = np.matmul(of_lag.swapaxes(1, 2), of_stand)
        share = self.mass[row] / np.maximum(total, 1e-300)
        return np.asarray(of_lag * np.matmul(of_stand, share.swapaxes(1, 2)))


def prior_of(sowings: Sequence[OpenSowing], looks: Looks, parameters: ForecastParameters) -> Prior:
    """Gather what is believed of sowings before counting.

    Parameters
    ----------
    sowings : sequence of OpenSowing
        The sowings, all with the same number of weather nodes.
    looks : Looks
        Looks at them, whose times say at which progress the weather nodes are compared.
    parameters : ForecastParameters
        How odd a lot may be.

    Returns
    -------
    prior : Prior
        The prior.
    """
    seen = np.zeros(looks.time_of.size)
    np.add.at(seen, looks.mid[looks.count_of], looks.n * looks.times)
    bounds = np.searchsorted(looks.time_of, np.arange(len(sowings) + 1))
    delta = []
    for row, each in enumerate(sowings):
        part = slice(bounds[row], bounds[row + 1])
        delta.append(_delta(each, looks.log_progress[part], seen[part]))
    return Prior(
        np.array([each.test.n_normal for each in sowings], dtype=np.float64),
        np.array([each.test.n_tested for each in sowings], dtype=np.float64),
        np.array([each.test.aging_probits for each in sowings], dtype=np.float64),
        np.array([each.warm_frac * each.emergence_frac for each in sowings]),
        np.array(delta),
        np.maximum([each.pace.sigma_pace for each in sowings], _SIGMA_LEAST),
        parameters.odd_lot_frac,
        normal_nodes(sowings[0].warm_frac.size)[1],
    )


def _delta(sowing: OpenSowing, log_progress: Floats, seen: Floats) -> Floats:
    """Return ln of progress over that at w = 0, at the times of counts or at median emergence."""
    n_nodes = sowing.progress_cd.shape[0]
    if n_nodes == 1:
        return np.zeros(sowing.warm_frac.size)
    middle = sowing.progress_cd[n_nodes // 2]
    goal, weight = np.exp(log_progress), seen
    if not goal.size or float(weight.sum()) <= 0.0:
        goal, weight = np.array([sowing.pace.thermal_time_cd]), np.ones(1)
    # Progress may stand still; the first hour at which it is reached.
    at = np.minimum(np.searchsorted(middle, goal), middle.size - 1)
    rows = np.log(np.maximum(sowing.progress_cd[:, at], 1e-6))
    base = rows[n_nodes // 2]
    known = (base > np.log(1e-3)) & np.all(rows > np.log(1e-3), axis=0)
    if not known.any():
        at = np.array([middle.size - 1])
        rows = np.log(np.maximum(sowing.progress_cd[:, at], 1e-6))
        base, weight, known = rows[n_nodes // 2], np.ones(1), np.ones(1, dtype=np.bool_)
    weight = np.where(known, np.maximum(weight, 1e-9), 0.0)
    return np.asarray((rows - base) @ (weight / weight.sum()))


def blocks_of(looks: Looks, n_rows: int, parameters: ForecastParameters) -> list[slice]:
    """Part sowings into blocks that are worked on at once.

    Parameters
    ----------
    looks : Looks
        What was counted.
    n_rows : int
        Sowings.
    parameters : ForecastParameters
        Sizes of grids.

    Returns
    -------
    blocks : list of slice
        Sowings of each block, in their order.
    """
    times = np.searchsorted(looks.time_of, np.arange(n_rows + 1)) + 2 * np.arange(n_rows + 1)
    cells = parameters.n_lag * parameters.n_stand
    blocks, first = [], 0
    while first < n_rows:
        most = times[first] + CHUNK / cells
        last = max(int(np.searchsorted(times, most, side="right")) - 1, first + 1)
        blocks.append(slice(first, min(last, n_rows)))
        first = blocks[-1].stop
    return blocks


def posterior_of(
    prior: Prior, tables: CountTables, parameters: ForecastParameters, rows: slice
) -> Posterior:
    """Close in on the posterior of some sowings, and compute it.

    Parameters
    ----------
    prior : Prior
        What is believed of all sowings before.
    tables : CountTables
        What was counted of all.
    parameters : ForecastParameters
        Sizes of grids.
    rows : slice
        Which sowings.

    Returns
    -------
    posterior : Posterior
        Of those sowings.
    """
    counts = SomeCounts(tables, rows)
    spread = _LAG_SD * prior.sigma[rows]
    low, high = -prior.delta[rows].max(axis=1) - spread, -prior.delta[rows].min(axis=1) + spread
    n_zoom = parameters.n_zoom
    lag = _even(low, high, n_zoom)
    least, most = _STAND_LOGIT
    logit = _even(np.full(low.size, least), np.full(low.size, most), n_zoom)
    sizes = [(n_zoom, n_zoom)] * (_ZOOMS - 1)
    for size in (*sizes, (parameters.n_lag, parameters.n_stand)):
        mass = _Grid(prior, rows, lag, logit).mass(counts)
        lag = _closer(lag, mass.sum(axis=2), size[0])
        logit = _closer(logit, mass.sum(axis=1), size[1])
    grid = _Grid(prior, rows, lag, logit)
    mass = grid.mass(counts)
    mass /= mass.sum(axis=(1, 2), keepdims=True)
    return Posterior(
        lag.edges,
        grid.stand.edges,
        lag.middle,
        grid.stand.middle,
        mass,
        grid.node_lag,
        grid.node_stand,
    )


class Side(NamedTuple):
    """Cells along one side of a grid, by sowing.

    Parameters
    ----------
    edges : ndarray, shape (R, n + 1)
        Their edges.
    middle : ndarray, shape (R, n)
        Where each is looked at.
    """

    edges: Floats
    middle: Floats


class _Grid:
    """Cells of a grid for some sowings, with their prior masses."""

    def __init__(self, prior: Prior, rows: slice, lag: Side, logit: Side) -> None:
        self.rows, self.lag = rows, lag
        top = prior.top[rows][:, None]
        self.stand = Side(top * expit(logit.edges), top * expit(logit.middle))
        self.node_lag, self.node_stand = prior.masses(rows, lag.edges, self.stand.edges)

    def mass(self, counts: SomeCounts) -> Floats:
        """Posterior mass with 1 for the heaviest cell, shape (R, E, S)."""
        mass = np.matmul(self.node_lag.swapaxes(1, 2), self.node_stand)
        with np.errstate(divide="ignore"):
            np.log(mass, out=mass)
        mass += counts.log_likelihood(self.lag.middle, self.stand.middle)
        mass -= mass.max(axis=(1, 2), keepdims=True)
        return np.asarray(np.exp(mass, out=mass))


def _even(low: Floats, high: Floats, n_cells: int) -> Side:
    """Return evenly wide cells between two values of each sowing."""
    edges = np.linspace(low, high, n_cells + 1, axis=1)
    return Side(edges, 0.5 * (edges[:, 1:] + edges[:, :-1]))


def _closer(side: Side, mass: Floats, n_cells: int) -> Side:
    """Return cells that are close where there is much mass, as its density to a power.

    How close they are changes smoothly along the side: sums over their middles are the better
    for it.
    """
    density = mass / np.diff(side.edges, axis=1)
    need = np.cbrt(density / density.max(axis=1, keepdims=True)) + _NEED_LEAST
    wide = need.copy()  # what is beside a peak may hold it
    np.maximum(wide[:, 1:], need[:, :-1], out=wide[:, 1:])
    np.maximum(wide[:, :-1], need[:, 1:], out=wide[:, :-1])
    need = np.concatenate([wide[:, :1], wide, wide[:, -1:]], axis=1)
    need[:, 1:-1] = 0.5 * wide + 0.25 * (need[:, 2:] + need[:, :-2])
    at = np.concatenate([side.edges[:, :1], side.middle, side.edges[:, -1:]], axis=1)
    step = np.diff(at, axis=1)
    total = np.zeros_like(at)
    np.cumsum(0.5 * (need[:, 1:] + need[:, :-1]) * step, axis=1, out=total[:, 1:])
    whole = total[:, -1:]
    n_goals, n_rows = 2 * n_cells + 1, at.shape[0]
    goal = np.linspace(0.0, 1.0, n_goals) * whole
    # Goals are even: how many stretches begin at or before each follows from counting them.
    begins = np.ceil(total[:, 1:-1] * ((n_goals - 1) / whole)).astype(np.int64)
    begins += n_goals * np.arange(n_rows)[:, None]
    passed = np.bincount(begins.ravel(), minlength=n_goals * n_rows).reshape(n_rows, -1)
    index = np.cumsum(passed, axis=1)
    index += at.shape[1] * np.arange(n_rows)[:, None]
    begin, left, length = (
        each.ravel().take(index) for each in (total, need, np.pad(step, ((0, 0), (0, 1))))
    )
    rise = need.ravel().take(index + 1) - left
    rest = np.maximum(goal - begin, 0.0)
    root = np.sqrt(np.maximum(left**2 + 2.0 * rest * rise / length, 0.0))
    where = at.ravel().take(index) + np.minimum(2.0 * rest / (left + root), length)
    return Side(np.ascontiguousarray(where[:, ::2]), np.ascontiguousarray(where[:, 1::2]))


def joined(parts: Sequence[Posterior]) -> Posterior:
    """Put the posteriors of blocks together.

    Parameters
    ----------
    parts : sequence of Posterior
        In the order of the sowings.

    Returns
    -------
    posterior : Posterior
        Of all.
    """
    return Posterior(
        *(np.concatenate([getattr(each, name) for each in parts]) for name in Posterior.__slots__)
    )
