"""Orders of several sowings: weather, pace and a lot's germination are shared by them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit, ndtr, ndtri

from sowbench.forecasting.looks import Looks
from sowbench.forecasting.outlook import Outlook, spread_within, usable_on_grid
from sowbench.forecasting.posterior import Posterior, Prior, normal_mass
from sowbench.forecasting.records import OpenOrder, OpenSowing, OrderForecast
from sowbench.forecasting.tray_groups import TrayGroups
from sowbench.science.quadrature import normal_nodes
from sowbench.science.ready_chance import pace_reaching, rising
from sowbench.science.risk import Share

Floats = NDArray[np.float64]

_N_PACE: Final = 33
# Cells of germination for each lot, by how many lots the order has.
_N_LOT: Final = {1: 33, 2: 21, 3: 13}
_LOTS_MOST: Final = 3
# Parts of a cell of pace, for days that fall inside it.
_N_PARTS: Final = 16
_WAY_LEAST: Final = 1e-7
_P_EDGE: Final = 1e-7


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """All that was computed of the sowings that are forecast together.

    Attributes
    ----------
    sowings : sequence of OpenSowing
        The sowings.
    looks, groups, prior, posterior, outlook
        Their looks, trays, priors, posteriors and usable cells.
    """

    sowings: Sequence[OpenSowing]
    looks: Looks
    groups: TrayGroups
    prior: Prior
    posterior: Posterior
    outlook: Outlook


@dataclass(frozen=True, slots=True, eq=False)
class _Lot:
    """One lot of an order on the common grid, shapes (W, Z, P)."""

    weight: Floats
    members: list[int]
    mean: dict[int, Floats]
    variance: dict[int, Floats]


def joint_chances(batch: Batch, order: OpenOrder) -> OrderForecast:
    """Chances of an order that gets plants of several sowings.

    Parameters
    ----------
    batch : Batch
        What was computed of the sowings.
    order : OpenOrder
        The order.

    Returns
    -------
    forecast : OrderForecast
        Its chances.
    """
    need = order.need
    edges = _pace_edges(batch, [each.sowing for each in need.shares])
    lots = _lots(batch, order, edges)
    z_mass = normal_mass(edges) * batch.prior.weights[:, None]
    scale = np.ones_like(z_mass)
    for each in lots:
        scale = scale * each.weight.sum(axis=2)
    post = z_mass * scale
    post = post / post.sum()
    good = _good(batch, order, edges)  # (S, W, D, Z, parts)
    everyone = (1 << len(need.shares)) - 1
    bits = (1 << np.arange(len(need.shares))).reshape(-1, 1, 1, 1, 1)
    codes = (good * bits).sum(axis=0)
    if need.partial:
        codes = np.bitwise_or.reduce(codes, axis=1, keepdims=True)
    chance = {
        int(code): _chance_of_set(batch, order, lots, int(code))
        for code in np.unique(np.append(codes, everyone))
    }
    best = np.zeros((*post.shape, _N_PARTS))
    for day in range(codes.shape[1]):
        here = codes[:, day]
        value = np.zeros(here.shape)
        for code, given in chance.items():
            value = np.where(here == code, given[..., None], value)
        best = np.maximum(best, value)
    in_time = (codes == everyone).any(axis=1).mean(axis=-1)
    return OrderForecast(
        order.order,
        float(np.clip((post * chance[everyone]).sum(), 0.0, 1.0)),
        float(np.clip((post * in_time).sum(), 0.0, 1.0)),
        float(np.clip((post * best.mean(axis=-1)).sum(), 0.0, 1.0)),
    )


def _pace_edges(batch: Batch, rows: Sequence[int]) -> Floats:
    """Edges of the common cells of pace at each weather node, shape (W, Z + 1)."""
    lag, delta = batch.posterior.lag_edges[rows], batch.prior.delta[rows]
    sigma = batch.prior.sigma[rows]
    z = (lag[:, None, :] + delta[:, :, None]) / sigma[:, None, None]
    return np.stack([_thinned(z[:, w], _N_PACE) for w in range(z.shape[1])])


def _thinned(edges: Floats, n_cells: int) -> Floats:
    """Return so many cells out of the edges of several grids, close where any of them is."""
    every = np.sort(edges.ravel())
    return np.interp(
        np.linspace(0.0, every.size - 1.0, n_cells + 1), np.arange(float(every.size)), every
    ) + 1e-9 * np.arange(n_cells + 1)


def _lots(batch: Batch, order: OpenOrder, edges: Floats) -> list[_Lot]:
    """Likelihood and usable cells of each lot's sowings on the common grid."""
    by_lot: dict[str, list[int]] = {}
    for at, each in enumerate(order.need.shares):
        by_lot.setdefault(batch.sowings[each.sowing].lot, []).append(at)
    n_cells = _N_LOT[min(len(by_lot), _LOTS_MOST)]
    return [_lot(batch, order, edges, members, n_cells) for members in by_lot.values()]


def _lot(batch: Batch, order: OpenOrder, edges: Floats, members: list[int], n_cells: int) -> _Lot:
    """Likelihood and usable cells of one lot's sowings on the common grid."""
    prior, posterior = batch.prior, batch.posterior
    rows = sorted({order.need.shares[at].sowing for at in members})
    share = posterior.stand_edges[rows] / prior.warm[rows, prior.weights.size // 2][:, None]
    line = _thinned(logit(np.clip(share, _P_EDGE, 1.0 - _P_EDGE)), n_cells)
    middle = expit(0.5 * (line[1:] + line[:-1]))
    below = prior.lot_below(slice(rows[0], rows[0] + 1), expit(line)[None, None])[0, 0]
    log_weight = np.zeros((edges.shape[0], _N_PACE, n_cells))
    with np.errstate(divide="ignore"):
        log_weight += np.log(np.maximum(np.diff(below), 0.0))
    z = 0.5 * (edges[:, 1:] + edges[:, :-1])
    shape = log_weight.shape
    flat = (1, shape[0] * shape[1], shape[2])
    mean, variance = {}, {}
    for row in rows:
        lag = prior.sigma[row] * z - prior.delta[row][:, None]
        lag = np.broadcast_to(lag[:, :, None], shape).reshape(flat)
        stand = prior.warm[row][:, None, None] * middle
        stand = np.broadcast_to(stand, shape).reshape(flat)
        here = slice(row, row + 1)
        log_weight += batch.looks.log_likelihood(here, lag, stand).reshape(shape)
        found = usable_on_grid(batch.sowings, batch.looks, batch.groups, lag, stand, here)
        mean[row], variance[row] = (
            np.asarray(each, dtype=np.float64).reshape(shape) for each in found
        )
        variance[row] = variance[row] + spread_within(mean[row], variance[row])
    weight = np.exp(log_weight - log_weight.max())
    return _Lot(weight, members, mean, variance)


def _good(batch: Batch, order: OpenOrder, edges: Floats) -> NDArray[np.bool_]:
    """Whether a sowing is good on a day at a part of a cell of pace, (S, W, D, Z, parts)."""
    need = order.need
    days = np.arange(need.earliest_day, need.latest_day + 1, dtype=np.float64)
    z = _parts(edges)
    found = []
    for each in need.shares:
        sowing = batch.sowings[each.sowing]
        ready = rising("ready_day", sowing.ready_day)
        over = np.maximum(rising("overgrown_day", sowing.overgrown_day), ready + 1.0)
        z_nodes, _ = normal_nodes(ready.shape[1])
        target = np.broadcast_to(days, (ready.shape[0], days.size))
        shape = (*target.shape, ready.shape[1])
        by = pace_reaching(np.broadcast_to(ready[:, None], shape), target, z_nodes)
        spoilt = pace_reaching(np.broadcast_to(over[:, None], shape), target, z_nodes)
        at = z[:, None]
        found.append((at <= by[:, :, None, None]) & (at > spoilt[:, :, None, None]))
    return np.stack(found)


def _parts(edges: Floats) -> Floats:
    """Pace in the middle of equally likely parts of each cell, shape (W, Z, parts)."""
    step = (np.arange(_N_PARTS) + 0.5) / _N_PARTS
    upper = edges[:, :-1, None] > 0.0  # the tail that keeps its digits
    low, high = edges[:, :-1, None], edges[:, 1:, None]
    one = np.where(upper, ndtr(-low), ndtr(low))
    two = np.where(upper, ndtr(-high), ndtr(high))
    z = ndtri(one + (two - one) * step)
    z = np.where(upper, -z, z)
    return np.asarray(np.where(np.isfinite(z), np.clip(z, low, high), 0.5 * (low + high)))


def _chance_of_set(batch: Batch, order: OpenOrder, lots: Sequence[_Lot], code: int) -> Floats:
    """Chance that some of the sowings hold enough, given weather and pace, shape (W, Z)."""
    need = order.need
    shape = lots[0].weight.shape[:2]
    if need.need <= 0:
        return np.ones(shape)
    members = [at for at in range(len(need.shares)) if code >> at & 1]
    if not members:
        return np.zeros(shape)
    outlook = batch.outlook
    rows = [need.shares[at].sowing for at in members]
    total = np.zeros(shape)
    for cases in product(range(3), repeat=len(members)):
        way = float(np.prod([outlook.loss_weight[r, c] for r, c in zip(rows, cases, strict=True)]))
        if way < _WAY_LEAST:
            continue
        case_of = dict(zip(members, cases, strict=True))
        parts = [_given_loss(batch, need.shares, lot, case_of) for lot in lots]
        total += way * _mixed(parts, float(need.need))
    return total


def _given_loss(
    batch: Batch, shares: Sequence[Share], lot: _Lot, case_of: dict[int, int]
) -> tuple[Floats, Floats, Floats]:
    """Weight of germination, mean and variance of what a lot's sowings give the order."""
    mean, variance = np.zeros_like(lot.weight), np.zeros_like(lot.weight)
    for at in lot.members:
        if at not in case_of:
            continue
        share = shares[at]
        row = share.sowing
        stay = 1.0 - batch.outlook.loss_share[row, case_of[at]]
        own = lot.mean[row] * stay - batch.outlook.n_taken[row]
        spread = lot.variance[row] * stay
        if share.before or not share.last:
            most = np.inf if share.last else float(share.share)
            own, spread = clipped_moments(own - share.before, np.sqrt(spread), most)
        mean, variance = mean + own, variance + spread
    weight = lot.weight / np.maximum(lot.weight.sum(axis=2, keepdims=True), 1e-300)
    return weight, mean, variance


def _mixed(parts: Sequence[tuple[Floats, Floats, Floats]], need: float) -> Floats:
    """Chance that the lots together give enough, given weather and pace, shape (W, Z)."""
    weight, mean, variance = parts[0]
    for number, (w, m, v) in enumerate(parts[1:], start=1):
        if number >= _LOTS_MOST:  # the rest as one normal count each
            middle = (w * m).sum(axis=2, keepdims=True)
            spread = (w * (v + (m - middle) ** 2)).sum(axis=2, keepdims=True)
            mean, variance = mean + middle, variance + spread
            continue
        size = (*weight.shape[:2], -1)
        weight = (weight[..., None] * w[:, :, None, :]).reshape(size)
        mean = (mean[..., None] + m[:, :, None, :]).reshape(size)
        variance = (variance[..., None] + v[:, :, None, :]).reshape(size)
    z = (mean - need + 0.5) / np.sqrt(np.maximum(variance, 1e-6))
    return np.asarray((weight * ndtr(z)).sum(axis=2))


def clipped_moments(mean: Floats, sd: Floats, most: float) -> tuple[Floats, Floats]:
    """Mean and variance of a normal count cut to 0 below and to the most above.

    Parameters
    ----------
    mean, sd : ndarray, shape (...)
        Of the count.
    most : float
        The most; may be infinite.

    Returns
    -------
    mean, variance : ndarray, shape (...)
        Of the cut count.

    Examples
    --------
    >>> m, v = clipped_moments(np.array([0.0]), np.array([1.0]), np.inf)
    >>> m.round(4).tolist(), v.round(4).tolist()
    ([0.3989], [0.3408])
    """
    s = np.maximum(sd, 1e-6)
    first, second = _rectified(mean, s)
    if np.isfinite(most):
        over, over2 = _rectified(mean - most, s)
        # min(x+, m) = x+ - (x - m)+ and its square = x+^2 - (x-m)+^2 - 2 m (x-m)+
        first, second = first - over, second - over2 - 2.0 * most * over
    return first, np.maximum(second - first**2, 1e-9)


def _rectified(mean: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """First two moments of max(x, 0) of a normal x."""
    z = mean / sd
    density = sd * np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
    first = mean * ndtr(z) + density
    return first, (mean**2 + sd**2) * ndtr(z) + mean * density
