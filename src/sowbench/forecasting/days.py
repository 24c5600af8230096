"""Ready days and the lags that meet an order's window."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sowbench.forecasting.posterior import Posterior, Prior
from sowbench.science.quadrature import normal_nodes
from sowbench.science.ready_chance import pace_reaching, rising

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_STEPS: Final = 24
# Days that a first guess is trusted to.
_GUESS_D: Final = 2.0


def lag_of_day(prior: Prior, row: Ints, day_at_nodes: Floats, target_day: Floats) -> Floats:
    """Largest lag with which something comes by a day, at each weather node.

    Parameters
    ----------
    prior : Prior
        Of all sowings.
    row : ndarray of int, shape (Q,)
        Sowing of each question.
    day_at_nodes : ndarray, shape (Q, W, Z)
        Days at the nodes of weather and pace.
    target_day : ndarray, shape (Q, ...)
        Days asked for.

    Returns
    -------
    lag : ndarray, shape (Q, W, ...)
        ``sigma_pace z - delta_w`` of the slowest pace that does; -inf if none does.
    """
    n_extra = target_day.ndim - 1
    z_nodes, _ = normal_nodes(day_at_nodes.shape[-1])
    extra = (1,) * n_extra
    days = day_at_nodes.reshape(*day_at_nodes.shape[:2], *extra, day_at_nodes.shape[-1])
    shape = (row.size, day_at_nodes.shape[1], *target_day.shape[1:])
    days = np.broadcast_to(days, (*shape, day_at_nodes.shape[-1]))
    z = pace_reaching(days, np.broadcast_to(target_day[:, None], shape), z_nodes)
    wide = (row.size, 1, *extra)
    return np.asarray(
        prior.sigma[row].reshape(wide) * z - prior.delta[row].reshape(*shape[:2], *extra)
    )


def part_below(edges: Floats, at: Floats, mass: Floats) -> Floats:
    """Share of each cell that lies below a value.

    Parameters
    ----------
    edges : ndarray, shape (Q, E + 1)
        Edges of the cells.
    at : ndarray, shape (Q, W)
        Values; infinite ones too.
    mass : ndarray, shape (Q, W, E)
        Mass of the cells, which says how density falls or rises within each.

    Returns
    -------
    share : ndarray, shape (Q, W, E)
        Shares of the cells' mass, from 0 to 1.

    Notes
    -----
    Density is straight within a cell, with the slope of its neighbors, as far as it stays above 0.

    Examples
    --------
    >>> edges, mass = np.array([[0.0, 1.0, 2.0, 3.0]]), np.array([[[1.0, 2.0, 3.0]]])
    >>> part_below(edges, np.array([[1.5]]), mass).tolist()
    [[[1.0, 0.4375, 0.0]]]
    """
    low, high = edges[:, None, :-1], edges[:, None, 1:]
    inside = np.clip(at[..., None], edges[:, None, :1], edges[:, None, -1:])
    share = np.clip((inside - low) / (high - low), 0.0, 1.0)
    return np.asarray(share + _bend(share, _slopes(edges, mass)))


def _slopes(edges: Floats, mass: Floats) -> Floats:
    """Change of density over each cell, by its density, shape (Q, W, E)."""
    width, middle = np.diff(edges, axis=1), 0.5 * (edges[:, 1:] + edges[:, :-1])
    density = mass / width[:, None]
    slope = np.zeros_like(mass)
    scale = width[:, 1:-1] / (middle[:, 2:] - middle[:, :-2])
    slope[..., 1:-1] = (density[..., 2:] - density[..., :-2]) * scale[:, None]
    slope[..., 1:-1] /= np.maximum(density[..., 1:-1], 1e-300)
    return np.clip(slope, -2.0, 2.0, out=slope)


def _bend(share: Floats, slope: Floats) -> Floats:
    """Mass below a point of a cell beyond what an evenly filled one would have there."""
    return np.asarray(-0.5 * slope * share * (1.0 - share))


def ready_quantiles(
    prior: Prior, posterior: Posterior, ready_day: Floats, shares: Sequence[float]
) -> Floats:
    """First midnight by which a sowing is ready with so much chance.

    Parameters
    ----------
    prior : Prior
        Of all sowings.
    posterior : Posterior
        Of all sowings.
    ready_day : ndarray, shape (R, W, Z)
        Days at the nodes.
    shares : sequence of float
        Chances.

    Returns
    -------
    day : ndarray, shape (R, len(shares))
        Days since the season's first midnight; inf if it may never be.
    """
    days = rising("ready_day", ready_day)
    n_rows = days.shape[0]
    row = np.arange(n_rows)
    mass = posterior.node_lag_mass(row)
    finite = np.isfinite(days)
    least = np.floor(np.where(finite, days, np.inf).min(axis=(1, 2)))
    most = np.ceil(np.where(finite, days, -np.inf).max(axis=(1, 2)))
    never = np.asarray(~finite.any(axis=(1, 2)))
    least, most = np.where(never, 0.0, least), np.where(never, 1.0, most)
    # Beyond the outer nodes the last stretch goes on: look as far again on both sides.
    span = most - least + 1.0
    goal = np.array(shares)
    lowest = np.repeat(np.floor(least - span)[:, None], goal.size, axis=1)
    highest = np.repeat(np.ceil(most + span)[:, None], goal.size, axis=1)
    below = _Below(posterior.lag_edges, mass)

    def enough(day: Floats) -> NDArray[np.bool_]:
        chance = below.chance(lag_of_day(prior, row, days, day))
        return np.asarray(np.greater_equal(chance, goal))

    guess = _guessed(days, prior, below, goal)
    guess = np.clip(np.where(np.isfinite(guess), guess, 0.0), lowest + 1.0, highest - 1.0)
    low, high = np.maximum(guess - _GUESS_D, lowest), np.minimum(guess + _GUESS_D, highest)
    low, high = np.where(enough(low), lowest, low), np.where(enough(high), high, highest)
    for _ in range(_STEPS):
        if np.all(high - low <= 1.0):
            break
        middle = np.floor(0.5 * (low + high))
        by = enough(middle)
        high, low = np.where(by, middle, high), np.where(by, low, middle)
    return np.asarray(np.where(enough(high) & ~never[:, None], high, np.inf))


def ready_chance(prior: Prior, posterior: Posterior, ready_day: Floats, day: Floats) -> Floats:
    """Chance that each sowing is ready by a day.

    Parameters
    ----------
    prior : Prior
        Of all sowings.
    posterior : Posterior
        Of all sowings.
    ready_day : ndarray, shape (R, W, Z)
        Days at the nodes.
    day : ndarray, shape (R,)
        Day asked for of each; need not be whole.

    Returns
    -------
    chance_frac : ndarray, shape (R,)
        Chances.
    """
    row = np.arange(ready_day.shape[0])
    below = _Below(posterior.lag_edges, posterior.node_lag_mass(row))
    days = rising("ready_day", ready_day)
    return below.chance(lag_of_day(prior, row, days, day[:, None]))[:, 0]


def _guessed(days: Floats, prior: Prior, below: _Below, goal: Floats) -> Floats:
    """Day of a lag with so much mass below it, in the middle weather; only a place to begin."""
    n_rows, n_nodes, n_z = days.shape
    mass = below.mass.reshape(n_rows, n_nodes, -1).sum(axis=1)
    cell = (np.cumsum(mass, axis=1)[:, :, None] < goal).sum(axis=1)
    lag = below.edges[np.arange(n_rows)[:, None], np.minimum(cell, mass.shape[1])]
    middle = n_nodes // 2
    z = (lag + prior.delta[:, middle : middle + 1]) / prior.sigma[:, None]
    z_nodes, _ = normal_nodes(n_z)
    right = np.clip(np.searchsorted(z_nodes, z), 1, n_z - 1)
    of = np.arange(n_rows)[:, None]
    one, two = days[of, middle, right - 1], days[of, middle, right]
    share = (z - z_nodes[right - 1]) / (z_nodes[right] - z_nodes[right - 1])
    with np.errstate(invalid="ignore"):
        return np.asarray(np.ceil(one + share * (two - one)))


class _Below:
    """Posterior chance of a lag below a value, at each weather node."""

    def __init__(self, edges: Floats, mass: Floats) -> None:
        self.edges, self.n_cells = edges, mass.shape[2]
        self.mass, self.slope = mass.ravel(), _slopes(edges, mass).ravel()
        self.before = (np.cumsum(mass, axis=2) - mass).ravel()
        self.first = (np.arange(mass.shape[0] * mass.shape[1]) * self.n_cells).reshape(
            *mass.shape[:2], 1
        )

    def chance(self, at: Floats) -> Floats:
        """Return the chance over all weather, shape (R, K), for lags of shape (R, W, K)."""
        cell = (self.edges[:, None, None, 1:-1] <= at[..., None]).sum(axis=-1)
        row = np.arange(at.shape[0])[:, None, None]
        low, high = self.edges[row, cell], self.edges[row, cell + 1]
        share = np.clip((at - low) / (high - low), 0.0, 1.0)
        cell += self.first
        share += _bend(share, self.slope[cell])
        return np.asarray((self.before[cell] + self.mass[cell] * share).sum(axis=1))


def window_share(
    prior: Prior,
    posterior: Posterior,
    row: Ints,
    ready_day: Floats,
    overgrown_day: Floats,
    earliest_day: Floats,
    latest_day: Floats,
) -> Floats:
    """Share of each cell, at each weather node, that is good on some day of a window.

    Parameters
    ----------
    prior : Prior
        Of all sowings.
    posterior : Posterior
        Of all sowings.
    row : ndarray of int, shape (Q,)
        Sowing of each question.
    ready_day, overgrown_day : ndarray, shape (Q, W, Z)
        Days at the nodes.
    earliest_day, latest_day : ndarray, shape (Q,)
        The window.

    Returns
    -------
    share : ndarray, shape (Q, W, E)
        Shares: ready by the last day, and not overgrown by the first.
    """
    ready = rising("ready_day", ready_day)
    over = np.maximum(rising("overgrown_day", overgrown_day), ready + 1.0)
    edges, mass = posterior.lag_edges[row], posterior.node_lag_mass(row)
    by_last = part_below(edges, lag_of_day(prior, row, ready, latest_day), mass)
    spoilt = part_below(edges, lag_of_day(prior, row, over, earliest_day), mass)
    return np.maximum(by_last - spoilt, 0.0)
