"""Posterior of lag and final stand on a grid that closes in on where it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, expit, ndtr, ndtri

from sowbench.forecasting.looks import Looks
from sowbench.forecasting.records import ForecastParameters, OpenSowing
from sowbench.science.quadrature import normal_nodes

Floats = NDArray[np.float64]

_ZOOMS: Final = 4
# Cells stand as close as density to this power, and nowhere farther apart than by the least of it.
_POWER: Final = 0.25
_POWER_LEAST: Final = 2e-3
# The first window: lags to so many standard deviations, shares of what can come up at most.
_LAG_SD: Final = 8.0
_STAND_LOGIT: Final = (-6.0, 16.0)
_SIGMA_LEAST: Final = 1e-4
# Cells of the grid, times counts, worked on at once: 8 bytes each.
CHUNK: Final = 60_000


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
        share = stand_edges[:, None, :] / self.warm[rows][:, :, None]
        return of_lag, np.maximum(np.diff(self.lot_below(rows, share), axis=-1), 0.0)


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
    low, high = edges[..., :-1], edges[..., 1:]
    upper = low > 0.0
    return np.asarray(
        np.where(upper, ndtr(-low), ndtr(high)) - np.where(upper, ndtr(-high), ndtr(low))
    )


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


def posterior_of(prior: Prior, looks: Looks, parameters: ForecastParameters) -> Posterior:
    """Compute the posterior of many sowings.

    Parameters
    ----------
    prior : Prior
        What is believed before.
    looks : Looks
        What was counted.
    parameters : ForecastParameters
        Sizes of grids.

    Returns
    -------
    posterior : Posterior
        Of all sowings.
    """
    n_rows = prior.sigma.size
    pairs = np.searchsorted(looks.pair_of, np.arange(n_rows + 1))
    counts = np.searchsorted(looks.count_of, pairs) + 2 * np.arange(n_rows + 1)
    cells = parameters.n_lag * parameters.n_stand
    parts, first = [], 0
    while first < n_rows:
        most = counts[first] + CHUNK / cells
        last = max(int(np.searchsorted(counts, most, side="right")) - 1, first + 1)
        parts.append(_posterior_rows(prior, looks, parameters, slice(first, min(last, n_rows))))
        first = min(last, n_rows)
    return Posterior(
        *(np.concatenate([getattr(each, name) for each in parts]) for name in Posterior.__slots__)
    )


def _posterior_rows(
    prior: Prior, looks: Looks, parameters: ForecastParameters, rows: slice
) -> Posterior:
    """Close in on the posterior of some sowings, and compute it."""
    spread = _LAG_SD * prior.sigma[rows]
    n_zoom = parameters.n_zoom
    low, high = -prior.delta[rows].max(axis=1) - spread, -prior.delta[rows].min(axis=1) + spread
    lag = np.linspace(low, high, n_zoom + 1, axis=1)
    stand = np.tile(np.linspace(*_STAND_LOGIT, n_zoom + 1), (low.size, 1))
    for step in range(_ZOOMS):
        log_mass = _Grid(prior, rows, lag, stand).log_mass(looks)
        mass = np.exp(log_mass - log_mass.max(axis=(1, 2), keepdims=True))
        last = step == _ZOOMS - 1
        lag = _closer(lag, mass.sum(axis=2), parameters.n_lag if last else n_zoom)
        stand = _closer(stand, mass.sum(axis=1), parameters.n_stand if last else n_zoom)
    grid = _Grid(prior, rows, lag, stand)
    log_mass = grid.log_mass(looks)
    mass = np.exp(log_mass - log_mass.max(axis=(1, 2), keepdims=True))
    mass /= mass.sum(axis=(1, 2), keepdims=True)
    return Posterior(
        lag, grid.stand_edges, grid.lag, grid.stand, mass, grid.node_lag, grid.node_stand
    )


class _Grid:
    """Cells of a grid for some sowings, with their prior masses."""

    def __init__(self, prior: Prior, rows: slice, lag_edges: Floats, logit_edges: Floats) -> None:
        self.rows = rows
        top = prior.top[rows][:, None]
        self.stand_edges = top * expit(logit_edges)
        self.lag = 0.5 * (lag_edges[:, 1:] + lag_edges[:, :-1])
        self.stand = top * expit(0.5 * (logit_edges[:, 1:] + logit_edges[:, :-1]))
        self.node_lag, self.node_stand = prior.masses(rows, lag_edges, self.stand_edges)

    def log_mass(self, looks: Looks) -> Floats:
        """Logarithm of the posterior mass, up to a constant, shape (R, E, S)."""
        mass = np.matmul(self.node_lag.swapaxes(1, 2), self.node_stand)
        with np.errstate(divide="ignore"):
            log_mass = np.log(mass)
        return np.asarray(log_mass + looks.log_likelihood(self.rows, self.lag, self.stand))


def _closer(edges: Floats, mass: Floats, n_cells: int) -> Floats:
    """Return edges that are close where there is much mass, as its density to a power."""
    density = mass / np.diff(edges, axis=1)
    need = (density / density.max(axis=1, keepdims=True)) ** _POWER
    wide = np.pad(need, ((0, 0), (1, 1)))  # what is beside a peak may hold it
    need = np.maximum(np.maximum(wide[:, :-2], wide[:, 2:]), need) + _POWER_LEAST
    total = np.zeros_like(edges)
    np.cumsum(need * np.diff(edges, axis=1), axis=1, out=total[:, 1:])
    goal = np.linspace(0.0, 1.0, n_cells + 1)
    return np.stack([np.interp(goal, of / of[-1], at) for of, at in zip(total, edges, strict=True)])
