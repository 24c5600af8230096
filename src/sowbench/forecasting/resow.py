"""Whether to resow: until when it helps, how many cells it needs, and what it is worth.

Pure functions of the parts of `sowbench.forecasting.supply` (docs/model.md section 14).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from sowbench.forecasting.resow_records import (
    ONLY_MISSED,
    LastDay,
    ResowAdvice,
    Resowing,
    ResowRule,
    Second,
    Stakes,
)
from sowbench.forecasting.supply import Parts, ready_chance
from sowbench.science.trays import split_cells

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_VAR_LEAST: Final = 1e-6
_LOSS_LEAST: Final = 1e-5
# A whole resowing is sown for its need and so many standard deviations more.
_SD_OVER: Final = 1.3


def last_useful_day(ways: Sequence[Resowing], latest_day: int, sure_frac: float = 0.5) -> LastDay:
    """Tell until when a resowing still helps.

    Parameters
    ----------
    ways : sequence of Resowing
        Ways to resow.
    latest_day : int
        Last day that serves the order.
    sure_frac : float, default 0.5
        Chance of being ready by then that is asked for, beside being so at the middle node.

    Returns
    -------
    last : LastDay
        The last sowing day of any way that is ready in time.
    """
    best = LastDay(None, "", 0.0)
    for way in ways:
        middle = way.ready_day[:, way.ready_day.shape[1] // 2, way.ready_day.shape[2] // 2]
        chance = ready_chance(way.ready_day, latest_day)
        good = np.flatnonzero((middle <= latest_day) & (chance >= sure_frac))
        if good.size and (best.day is None or int(way.sow_day[good[-1]]) > best.day):
            at = int(good[-1])
            best = LastDay(int(way.sow_day[at]), way.lot, float(chance[at]))
    return best


def resown_moments(way: Resowing, n_cells: ArrayLike) -> tuple[Floats, Floats]:
    """Mean and variance of the usable cells of a resowing.

    Parameters
    ----------
    way : Resowing
        The way.
    n_cells : array_like, shape (...)
        Cells sown.

    Returns
    -------
    mean, variance : ndarray, shape (...)
        With the spread of trays, of trays lost and of what is unknown of the lot.
    """
    n = np.asarray(n_cells, dtype=np.float64)
    full, rest = split_cells(n, way.cells_per_tray)
    u, keep = way.usable_frac, 1.0 - way.tray_loss_frac

    def tray(cells: ArrayLike) -> Floats:
        c = np.asarray(cells, dtype=np.float64)
        inside = c * u * (1.0 - u) * (1.0 + np.maximum(c - 1.0, 0.0) * way.rho_tray)
        return np.asarray(keep * inside + keep * (1.0 - keep) * (c * u) ** 2)

    variance = full * tray(way.cells_per_tray) + tray(rest) + (n * way.usable_sd_frac) ** 2
    return n * u * keep, variance


def expected_loss(mean: ArrayLike, variance: ArrayLike, need: ArrayLike, stakes: Stakes) -> Floats:
    """Expected money lost on an order, the count being normal.

    Parameters
    ----------
    mean, variance : array_like, shape (...)
        Of the usable cells.
    need : array_like, shape (...)
        Cells needed.
    stakes : Stakes
        What is at stake.

    Returns
    -------
    loss : ndarray, shape (...)
        Of missing the order, and of each plant short.

    Examples
    --------
    >>> stakes = Stakes(100.0, 2.0, 0.0, 0.0, 0.0)
    >>> [round(float(expected_loss(m, 1e-9, 50, stakes)), 3) for m in (60, 40)]
    [0.0, 120.0]
    """
    middle, wanted = np.asarray(mean, dtype=np.float64), np.asarray(need, dtype=np.float64)
    sd = np.sqrt(np.maximum(np.asarray(variance, dtype=np.float64), _VAR_LEAST))
    loss = stakes.missed_order * ndtr((wanted - 0.5 - middle) / sd)
    if stakes.short_plant:
        z = (wanted - middle) / sd
        density = np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
        loss = loss + stakes.short_plant * ((wanted - middle) * ndtr(z) + sd * density)
    return np.asarray(loss)


def part_losses(
    parts: Parts,
    q: Ints,
    second: Second,
    stakes: Stakes,
    mean: Floats | None = None,
    variance: Floats | None = None,
) -> tuple[Floats, Floats]:
    """Expected loss of leaving and of resowing, in each part.

    Parameters
    ----------
    parts : Parts
        What orders may get.
    q : ndarray of int, shape (N,)
        Which questions.
    second : Second
        What the resowing of each question of `parts` adds.
    stakes : Stakes
        What is at stake.
    mean, variance : ndarray, shape (N, P, ...), or None
        In place of those of the parts, once something is known of the sowing's trays.

    Returns
    -------
    leave, resow : ndarray, shape (N, P, ...)
        Money, the cost of resowing included.
    """
    leave, (resow,) = losses_by_size(parts, q, (second,), stakes, mean, variance)
    return leave, resow


def losses_by_size(
    parts: Parts,
    q: Ints,
    sizes: Sequence[Second],
    stakes: Stakes,
    mean: Floats | None = None,
    variance: Floats | None = None,
) -> tuple[Floats, tuple[Floats, ...]]:
    """Expected loss of leaving and of resowings of several sizes, in each part.

    Parameters
    ----------
    parts, q, stakes, mean, variance
        As for `part_losses`.
    sizes : sequence of Second
        What the resowings of each question add.

    Returns
    -------
    leave : ndarray, shape (N, P, ...)
        Money.
    resow : tuple of ndarray
        The same for each size, its cost included.
    """
    middle = parts.mean[q] if mean is None else mean
    spread = parts.variance[q] if variance is None else variance

    def wide(values: Floats) -> Floats:
        return np.asarray(values.reshape(*values.shape, *((1,) * (middle.ndim - values.ndim))))

    need, other = wide(parts.need[q]), wide(parts.other_variance[q])
    first, both = wide(parts.first_frac[q]), wide(parts.both_frac[q])
    only = wide(parts.second_frac[q]) - both
    nothing = expected_loss(0.0, other, need, stakes)
    added = [(wide(each.mean[q]), wide(each.variance[q])) for each in sizes]
    alone = [expected_loss(m, v + other, need, stakes) for m, v in added]
    leave, resow = np.zeros(middle.shape), [np.zeros(middle.shape) for _ in sizes]
    for case in range(parts.loss_weight.shape[1]):
        chance = parts.loss_weight[q, case]
        if not np.any(chance > _LOSS_LEAST):
            continue
        stay = wide(1.0 - parts.loss_share[q, case])
        here, within = middle * stay, spread * stay + other
        now = first * expected_loss(here, within, need, stakes)
        leave += wide(chance) * (now + (1.0 - first) * nothing)
        apart = now * np.divide(first - both, first, out=np.zeros_like(first), where=first > 0.0)
        apart = apart + (1.0 - first - only) * nothing
        for at, ((m, v), by_itself) in enumerate(zip(added, alone, strict=True)):
            together = expected_loss(here + m, within + v, need, stakes)
            resow[at] += wide(chance) * (both * together + apart + only * by_itself)
    costs = [wide(each.cost[q]) for each in sizes]
    return leave, tuple(total + cost for total, cost in zip(resow, costs, strict=True))


def cells_to_resow(
    parts: Parts, ways: Sequence[Resowing | None], confidence_frac: Floats
) -> tuple[Ints, NDArray[np.bool_]]:
    """Cells to resow so that what both sowings give reaches the confidence.

    Parameters
    ----------
    parts : Parts
        What orders may get.
    ways : sequence of Resowing or None
        How each question is resown; None for not at all.
    confidence_frac : ndarray, shape (Q,)
        Chance of enough that is asked for, should the resowing be in time.

    Returns
    -------
    n_cells : ndarray of int, shape (Q,)
        The fewest; `cells_most` where that many do not reach it; 0 without a way.
    reaches : ndarray of bool, shape (Q,)
        Whether they do.
    """
    n_cells = np.zeros(len(ways), dtype=np.int64)
    reaches = np.zeros(len(ways), dtype=np.bool_)
    some = [q for q, way in enumerate(ways) if way is not None and way.cells_most > 0]
    if not some:
        return n_cells, reaches
    own = [way for way in ways if way is not None and way.cells_most > 0]
    sure = _in_time(parts, np.array(some))
    goal = np.asarray(confidence_frac, dtype=np.float64)[some]
    most = np.array([way.cells_most for way in own], dtype=np.int64)
    low, high = np.zeros_like(most), most.copy()
    enough = _enough(sure, own, most) >= goal
    for _ in range(int(most.max()).bit_length()):
        middle = (low + high) // 2
        good = _enough(sure, own, middle) >= goal
        high = np.where(good & (middle > low), middle, high)
        low = np.where(good, low, middle)
    n_cells[some] = np.where(enough, high, most)
    reaches[some] = enough
    return n_cells, reaches


def _enough(parts: Parts, ways: Sequence[Resowing], n_cells: Ints) -> Floats:
    """Chance of enough of both sowings."""
    second = second_of(ways, n_cells, ONLY_MISSED)
    _, missed = part_losses(parts, np.arange(len(ways)), second, ONLY_MISSED)
    return np.asarray(1.0 - (parts.weight * missed).sum(axis=1))


def second_of(ways: Sequence[Resowing | None], n_cells: Ints, stakes: Stakes) -> Second:
    """Tell what resowings of so many cells add and cost.

    Parameters
    ----------
    ways : sequence of Resowing or None
        How each question is resown; None for not at all.
    n_cells : ndarray of int, shape (Q,)
        Cells of each.
    stakes : Stakes
        What they cost.

    Returns
    -------
    second : Second
        Nothing where there is no way, or no cell.
    """
    mean, variance, cost = (np.zeros(len(ways)) for _ in range(3))
    for q, way in enumerate(ways):
        if way is not None and n_cells[q] > 0:
            mean[q], variance[q] = (float(each) for each in resown_moments(way, n_cells[q]))
            cost[q] = stakes.resow + stakes.resow_cell * float(n_cells[q])
    return Second(mean, variance, cost)


def sizes_of(
    parts: Parts, ways: Sequence[Resowing | None], n_cells: Ints, stakes: Stakes
) -> tuple[Second, ...]:
    """Resowings between which one chooses once more is known.

    Parameters
    ----------
    parts : Parts
        What orders may get.
    ways : sequence of Resowing or None
        How each question is resown.
    n_cells : ndarray of int, shape (Q,)
        Cells that reach the confidence as it looks now.
    stakes : Stakes
        What they cost.

    Returns
    -------
    sizes : tuple of Second
        So many, as many as give all that is needed should the first give nothing, and the
        number halfway between.
    """
    whole = np.zeros_like(n_cells)
    for q, way in enumerate(ways):
        if way is not None:
            _, variance = resown_moments(way, parts.need[q] / way.usable_frac)
            wanted = parts.need[q] + _SD_OVER * float(np.sqrt(variance))
            whole[q] = min(int(np.ceil(max(wanted, 0.0) / way.usable_frac)), way.cells_most)
    whole = np.maximum(whole, n_cells)
    return tuple(second_of(ways, each, stakes) for each in (n_cells, (n_cells + whole) // 2, whole))


def _in_time(parts: Parts, q: Ints) -> Parts:
    """Return some questions, given that their resowing is in time."""
    fields = {name: getattr(parts, name)[q] for name in Parts.__slots__}
    second = fields["second_frac"]
    weight = fields["weight"] * second
    total = weight.sum(axis=1, keepdims=True)
    known = total > _LOSS_LEAST
    fields["weight"] = np.where(known, weight / np.maximum(total, 1e-300), fields["weight"])
    both = fields["both_frac"] / np.maximum(second, 1e-300)
    both = np.where(known & (second > 0.0), both, fields["first_frac"])
    fields["first_frac"] = fields["both_frac"] = both
    fields["second_frac"] = np.ones_like(second)
    return Parts(**fields)


def advise_resowing(
    parts: Parts,
    ways: Sequence[Sequence[Resowing]],
    latest_day: Sequence[int],
    confidence_frac: Sequence[float],
    today: int,
    next_look_day: int,
    stakes: Stakes,
    rule: ResowRule | None = None,
) -> tuple[ResowAdvice, ...]:
    """Tell of every order and sowing whether to resow today.

    Parameters
    ----------
    parts : Parts
        What the orders may get, with the second sowing of the first way of each.
    ways : sequence of sequence of Resowing
        Ways to resow for each order, the one that `parts` was made with first.
    latest_day : sequence of int
        Last day that serves each order.
    confidence_frac : sequence of float
        Confidence of each order.
    today, next_look_day : int
        Today, and the day on which one looks again.
    stakes : Stakes
        What is at stake.
    rule : ResowRule or None, default None
        When to call a sowing short.

    Returns
    -------
    advice : tuple of ResowAdvice
        One for each question of `parts`.
    """
    settings = rule or ResowRule()
    n_questions = parts.need.size
    chosen: list[Resowing | None] = []
    for at in parts.order.tolist():
        way = ways[at][0] if ways[at] else None
        chosen.append(way if way is not None and way.days_from(today) is not None else None)
    goal = np.array([confidence_frac[at] for at in parts.order.tolist()])
    n_cells, reaches = cells_to_resow(parts, chosen, goal)
    second = second_of(chosen, n_cells, stakes)
    every = np.arange(n_questions)
    leave, resow = part_losses(parts, every, second, stakes)
    gain = (parts.weight * (leave - resow)).sum(axis=1)
    free = Second(second.mean, second.variance, np.zeros(n_questions))
    missed, missed_with = part_losses(parts, every, free, ONLY_MISSED)
    chance = 1.0 - (parts.weight * missed).sum(axis=1)
    chance_with = 1.0 - (parts.weight * missed_with).sum(axis=1)
    advice = []
    for q in range(n_questions):
        at = int(parts.order[q])
        last = last_useful_day(ways[at], latest_day[at], settings.sure_frac)
        last_call = last.day is None or next_look_day > last.day
        limit = settings.last_frac if last_call else settings.now_frac
        useful = last.day is not None and today <= last.day
        short = chance[q] < limit
        pays = useful and n_cells[q] > 0 and gain[q] > settings.gain_least
        advice.append(
            ResowAdvice(
                at, int(parts.row[q]), bool(short), bool(pays), float(np.clip(chance[q], 0.0, 1.0)),
                float(np.clip(chance_with[q], 0.0, 1.0)), limit, last, last_call,
                ways[at][0].lot if ways[at] else "", int(n_cells[q]), bool(reaches[q]),
                float(gain[q]), float(second.cost[q]),
            )
        )  # fmt: skip
    return tuple(advice)
