"""What orders may get of open sowings, in parts: grid cells that are alike put together.

Resowing and counting ask the same questions of many sowings again and again; a few hundred parts
of each, with their chance, count and day, answer them as the grid would (docs/model.md section 14).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from sowbench.forecasting.days import window_share
from sowbench.forecasting.joint import Batch
from sowbench.forecasting.looks import log_progress_at
from sowbench.forecasting.records import OpenOrder
from sowbench.science.errors import OutOfRangeError
from sowbench.science.quadrature import normal_nodes
from sowbench.science.ready_chance import pace_reaching, rising

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Steps of the share of right cells now, and of usable plants within each: N_RIGHT x N_MEAN parts.
_N_RIGHT: Final = 40
_N_MEAN: Final = 4
_MASS_LEAST: Final = 1e-9
# Half of what makes a sowing slow or fast is the crop's season, half its own (assumption).
SHARED_PACE_FRAC: Final = 0.5
# Questions worked on at once.
_STEP: Final = 256


@dataclass(frozen=True, slots=True, eq=False)
class SecondDays:
    """Ready and overgrown days of a resowing, at the nodes of weather and pace.

    Attributes
    ----------
    ready_day, overgrown_day : ndarray, shape (W, Z)
        Days since the season's first midnight; inf for never.
    """

    ready_day: Floats
    overgrown_day: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """What each order may get of one sowing, in parts.

    Attributes
    ----------
    order, row : ndarray of int, shape (Q,)
        Which order, and which sowing.
    need : ndarray, shape (Q,)
        Usable cells that the sowing must have: those of earlier orders, and what the order needs
        less what its other sowings are expected to give.
    other_variance : ndarray, shape (Q,)
        Variance of what the other sowings give.
    weight : ndarray, shape (Q, P)
        Chance of each part; adds to 1.
    mean, variance : ndarray, shape (Q, P)
        Of the sowing's usable cells, while no tray is lost.
    first_frac, second_frac, both_frac : ndarray, shape (Q, P)
        Chance that the sowing, a resowing, and both are good inside the order's window.
    right_frac, was_frac, end_frac : ndarray, shape (Q, P)
        Share of right cells now, at the last look, and in time at the end.
    loss_weight, loss_share : ndarray, shape (Q, 3)
        Chances of none, one, more trays lost, and the share of cells that goes with them.
    """

    order: Ints
    row: Ints
    need: Floats
    other_variance: Floats
    weight: Floats
    mean: Floats
    variance: Floats
    first_frac: Floats
    second_frac: Floats
    both_frac: Floats
    right_frac: Floats
    was_frac: Floats
    end_frac: Floats
    loss_weight: Floats
    loss_share: Floats


def ready_chance(ready_day: ArrayLike, latest_day: float) -> Floats:
    """Chance of being ready by a day, over weather and pace.

    Parameters
    ----------
    ready_day : array_like, shape (..., W, Z)
        Ready days at the nodes; inf for never.
    latest_day : float
        The day.

    Returns
    -------
    chance_frac : ndarray, shape (...)
        Weather by its weights, pace by exact crossing.

    Examples
    --------
    >>> days = 30.0 + 2.0 * normal_nodes(9)[0][None, :]
    >>> round(float(ready_chance(days, 32.0)), 4), round(float(ndtr(1.0)), 4)
    (0.8413, 0.8413)
    """
    days = rising("ready_day", np.asarray(ready_day, dtype=np.float64))
    z_nodes, _ = normal_nodes(days.shape[-1])
    _, weights = normal_nodes(days.shape[-2])
    z = pace_reaching(days, np.full(days.shape[:-1], latest_day), z_nodes)
    return np.asarray(ndtr(z) @ weights)


def supply_parts(
    batch: Batch,
    orders: Sequence[OpenOrder],
    today: int,
    second: Sequence[SecondDays | None],
    sow_day: Sequence[int],
    shared_pace_frac: float = SHARED_PACE_FRAC,
) -> Parts:
    """Put what open orders may get of their sowings into parts.

    Parameters
    ----------
    batch : Batch
        The working of a forecast.
    orders : sequence of OpenOrder
        Orders with their shares in the sowings of the batch.
    today : int
        Today, in days since the season's first midnight.
    second : sequence of SecondDays or None
        For each order the days of a resowing on the next day on which one is sown; None for none.
    sow_day : sequence of int
        Day on which each sowing of the batch was sown, on the same scale.
    shared_pace_frac : float, default 0.5
        Chance that a resowing has the pace of its sowing; else it has one of its own, of which no
        more is known than before sowing.

    Returns
    -------
    parts : Parts
        One question for each share of an order that still needs plants.

    Raises
    ------
    OutOfRangeError
        If there are not as many resowings as orders.
    """
    if len(second) != len(orders):
        raise OutOfRangeError("second", f"one for each of {len(orders)} orders", len(second))
    asked = [
        (at, k)
        for at, each in enumerate(orders)
        for k in range(len(each.need.shares))
        if each.need.need > 0
    ]
    parts = [
        _parts_of(
            batch, orders, today, second, sow_day, asked[first : first + _STEP], shared_pace_frac
        )
        for first in range(0, max(len(asked), 1), _STEP)
    ]
    return Parts(
        *(np.concatenate([getattr(each, name) for each in parts]) for name in Parts.__slots__)
    )


def _parts_of(
    batch: Batch,
    orders: Sequence[OpenOrder],
    today: int,
    second: Sequence[SecondDays | None],
    sow_day: Sequence[int],
    asked: list[tuple[int, int]],
    shared: float,
) -> Parts:
    """Put some questions into parts."""
    order = np.array([at for at, _ in asked], dtype=np.int64)
    shares = [orders[at].need.shares[k] for at, k in asked]
    row = np.array([each.sowing for each in shares], dtype=np.int64)
    posterior, outlook = batch.posterior, batch.outlook
    mass = posterior.mass[row]
    first = _good(batch, row, orders, order, None)
    alike = _good(batch, row, orders, order, [second[at] for at in order])
    alone = _good_alone(orders, order, [second[at] for at in order])[:, None, None]
    again = shared * alike + (1.0 - shared) * alone
    both = shared * np.minimum(first, alike) + (1.0 - shared) * first * alone
    right, was, end = _right(batch, row, today, sow_day)
    mean = outlook.mean[row]
    index = _index(mass, right, mean)
    weight = _summed(index, mass)
    safe = np.maximum(weight, 1e-300)

    def average(values: Floats) -> Floats:
        return np.asarray(_summed(index, mass * values) / safe)

    middle = average(mean)
    inside = np.maximum(average(mean**2) - middle**2, 0.0)
    need, other = _needs(batch, orders, asked)
    return Parts(
        order, row, need, other, weight, middle, average(outlook.variance[row]) + inside,
        average(first), average(again), average(both),
        average(right), average(was), average(end),
        outlook.loss_weight[row], outlook.loss_share[row],
    )  # fmt: skip


def _good(
    batch: Batch,
    row: Ints,
    orders: Sequence[OpenOrder],
    order: Ints,
    second: list[SecondDays | None] | None,
) -> Floats:
    """Chance of being good inside the window, given each cell of the grid, shape (Q, E, S)."""
    posterior = batch.posterior
    if row.size == 0:
        return np.zeros((0, *posterior.mass.shape[1:]))
    own = [batch.sowings[each] for each in row]
    never = np.full_like(own[0].ready_day, np.inf)
    if second is None:
        ready = [each.ready_day for each in own]
        over = [each.overgrown_day for each in own]
    else:
        ready = [never if each is None else each.ready_day for each in second]
        over = [never if each is None else each.overgrown_day for each in second]
    earliest = np.array([orders[at].need.earliest_day for at in order], dtype=np.float64)
    latest = np.array([orders[at].need.latest_day for at in order], dtype=np.float64)
    share = window_share(
        batch.prior, posterior, row, np.stack(ready), np.stack(over), earliest, latest
    )
    node_lag, node_stand = posterior.node_lag[row], posterior.node_stand[row]
    whole = np.matmul(node_lag.swapaxes(1, 2), node_stand)
    good = np.matmul((node_lag * share).swapaxes(1, 2), node_stand)
    return np.asarray(np.clip(good / np.maximum(whole, 1e-300), 0.0, 1.0))


def _good_alone(
    orders: Sequence[OpenOrder], order: Ints, second: list[SecondDays | None]
) -> Floats:
    """Chance that a resowing with a pace of its own is good inside the window, shape (Q,)."""
    chance = np.zeros(order.size)
    for q, (at, days) in enumerate(zip(order, second, strict=True)):
        if days is not None:
            need = orders[at].need
            ready = float(ready_chance(days.ready_day, need.latest_day))
            spoilt = np.maximum(days.overgrown_day, days.ready_day + 1.0)
            chance[q] = max(ready - float(ready_chance(spoilt, need.earliest_day)), 0.0)
    return chance


def _right(
    batch: Batch, row: Ints, today: int, sow_day: Sequence[int]
) -> tuple[Floats, Floats, Floats]:
    """Share of right cells now, at the last look, and in time at the end, shape (Q, E, S)."""
    looks, posterior = batch.looks, batch.posterior
    lag, stand = posterior.lag[row][:, :, None], posterior.stand[row][:, None, :]
    now = np.array(
        [
            log_progress_at(batch.sowings[each], np.array([24.0 * max(today - sow_day[each], 0)]))[
                0
            ]
            for each in row
        ]
    )
    last = np.full(len(batch.sowings), -np.inf)
    np.maximum.at(last, looks.time_of, looks.log_progress)
    on_time = np.array([batch.sowings[each].on_time_frac for each in row])

    def right(log_progress: Floats) -> Floats:
        z = (log_progress - looks.log_goal[row])[:, None, None] - lag
        up = ndtr(z / looks.sigma_seed[row][:, None, None])
        return np.asarray(looks.right_frac(row, up * stand), dtype=np.float64)

    shape = (row.size, *posterior.mass.shape[1:])
    end = looks.right_frac(row, stand * on_time[:, None, None])
    was = right(np.maximum(last[row], -50.0))
    return right(now), np.minimum(was, 1.0), np.broadcast_to(end, shape)


def _index(mass: Floats, right: Floats, mean: Floats) -> Ints:
    """Which part each cell of the grid belongs to, shape (Q, E, S), counted through all.

    Steps are close where there is much mass: of the share that is right now, and of what the mean
    of usable cells is beside a straight line in it.
    """
    n_rows, n_cells = mass.shape[0], mass.shape[1] * mass.shape[2]
    p, x, y = (each.reshape(n_rows, n_cells) for each in (mass, right, mean))
    x_mean, y_mean = (np.einsum("qc,qc->q", p, each)[:, None] for each in (x, y))
    wide = np.einsum("qc,qc->q", p, (x - x_mean) ** 2)
    slope = np.einsum("qc,qc->q", p, (x - x_mean) * (y - y_mean)) / np.maximum(wide, 1e-12)
    beside = y - y_mean - slope[:, None] * (x - x_mean)
    part = _steps(p, x, _N_RIGHT) * _N_MEAN + _steps(p, beside, _N_MEAN)
    part += _N_RIGHT * _N_MEAN * np.arange(n_rows)[:, None]
    return np.asarray(part.reshape(mass.shape))


def _steps(mass: Floats, values: Floats, n_steps: int) -> Ints:
    """Steps of values, half by their size and half by the mass below them, shape (Q, C)."""
    heavy = mass > _MASS_LEAST
    low = np.where(heavy, values, np.inf).min(axis=1, keepdims=True)
    high = np.where(heavy, values, -np.inf).max(axis=1, keepdims=True)
    order = np.argsort(values, axis=1, kind="stable")
    below = np.empty_like(mass)
    sums = np.cumsum(np.take_along_axis(mass, order, axis=1), axis=1)
    np.put_along_axis(below, order, sums, axis=1)
    share = (values - low) / np.maximum(high - low, 1e-12)
    place = 0.5 * np.clip(share, 0.0, 1.0) + 0.5 * np.minimum(below, 1.0)
    return np.asarray(np.minimum((place * n_steps).astype(np.int64), n_steps - 1))


def _summed(index: Ints, values: Floats) -> Floats:
    """Sum over the cells of each part, shape (Q, P)."""
    n = _N_RIGHT * _N_MEAN
    size = index.shape[0] * n
    found = np.bincount(index.ravel(), weights=values.ravel(), minlength=size)
    return np.asarray(found.reshape(index.shape[0], n))


def _needs(
    batch: Batch,
    orders: Sequence[OpenOrder],
    asked: list[tuple[int, int]],
) -> tuple[Floats, Floats]:
    """What each sowing must have for its order, and the variance of what the others give."""
    need = np.array(
        [orders[at].need.need + orders[at].need.shares[k].before for at, k in asked],
        dtype=np.float64,
    )
    other = np.zeros(need.size)
    by_order: dict[int, list[int]] = {}
    for q, (at, _) in enumerate(asked):
        by_order.setdefault(at, []).append(q)
    for at, questions in by_order.items():
        if len(orders[at].need.shares) < 2:
            continue
        for q in questions:
            for k, share in enumerate(orders[at].need.shares):
                if k == asked[q][1]:
                    continue
                mean, variance = _given(batch, share.sowing, share.before, share.share)
                need[q] -= mean
                other[q] += variance
    return need, other


def _given(batch: Batch, row: int, before: int, share: int) -> tuple[float, float]:
    """Mean and variance of what one sowing gives an order, at most its share."""
    mean, sd = batch.outlook.moments()
    middle = float(np.clip(mean[row] - before, 0.0, share))
    return middle, float(sd[row] ** 2) if 0.0 < middle < share else 0.25 * float(sd[row] ** 2)
