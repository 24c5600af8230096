"""Quick sizing of very many sowings: normal within each node of the lot, mixed over the nodes.

Expected shortage is mixed over the number of trays lost whole as well, since it hangs on them.

The exact chances of a plan come from `sowbench.science.tray_chances`. Here a hundred thousand
candidates are sized in a fraction of a second; for the bound it is this that says how many cells a
candidate has (docs/model.md section 6), so the checker uses it too.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, ndtr

from sowbench.science.tray_chances import cells_for_confidence, chances_at
from sowbench.science.trays import RHO_TRAY, TRAY_LOSS_FRAC

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_STEPS = 40
EXACT_UP_TO = 100
# Chances below this are left out.
LEAST_WAY_FRAC = 1e-9
_ROOT_2PI = float(np.sqrt(2.0 * np.pi))


def _mean_and_sd(
    n: FloatArray, per_tray: FloatArray, usable: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of usable cells at each node, shape (M, K)."""
    keep = 1.0 - TRAY_LOSS_FRAC
    cells = np.minimum(n, per_tray)[:, None]
    n = n[:, None]
    inside = usable * (1.0 - usable) * (1.0 + (cells - 1.0) * RHO_TRAY) * keep
    lost = cells * usable**2 * keep * TRAY_LOSS_FRAC
    return n * usable * keep, np.sqrt(np.maximum(n * (inside + lost), 1e-9))


def quick_chance(
    need: FloatArray, n: FloatArray, per_tray: FloatArray, usable: FloatArray, weight: FloatArray
) -> FloatArray:
    """Chance of at least so many usable cells, each node of the lot taken as normal.

    Parameters
    ----------
    need, n, per_tray : ndarray, shape (M,)
        Usable cells wanted, cells sown, cells of a full tray.
    usable, weight : ndarray, shape (M, K)
        Usable share of a cell at each node of the lot, and the weights of the nodes.

    Returns
    -------
    chance_frac : ndarray, shape (M,)
        Chance, with a continuity correction of half a cell; 0 where fewer are sown than wanted.

    Notes
    -----
    Mean and variance are those of `sowbench.science.trays` for trays of the same size.

    Examples
    --------
    >>> one = np.ones((1, 1))
    >>> need, n, per_tray = np.array([1000.0]), np.array([1141.0]), np.array([128.0])
    >>> float(quick_chance(need, n, per_tray, 0.9 * one, one)[0].round(3))
    0.773
    """
    mean, sd = _mean_and_sd(n, per_tray, usable)
    chance = (ndtr((mean - need[:, None] + 0.5) / sd) * weight).sum(axis=1)
    return np.where(n >= need, chance, 0.0)


def quick_cells(
    need: IntArray,
    confidence: FloatArray,
    per_tray: IntArray,
    usable: FloatArray,
    weight: FloatArray,
) -> IntArray:
    """Fewest cells for a confidence.

    Parameters
    ----------
    need : ndarray of int, shape (M,)
        Usable cells wanted.
    confidence : ndarray, shape (M,)
        Chance wanted [fraction].
    per_tray : ndarray of int, shape (M,)
        Cells of a full tray.
    usable, weight : ndarray, shape (M, K)
        As for `quick_chance`.

    Returns
    -------
    n_cells : ndarray of int, shape (M,)
        Cells; -1 where four times the need and 50 more are not enough.

    Notes
    -----
    Up to `EXACT_UP_TO` wanted cells the exact search of `tray_chances.cells_for_confidence` is
    used, since one cell more or less is much there.

    Examples
    --------
    >>> one = np.ones((1, 1))
    >>> quick_cells(np.array([1000]), np.array([0.95]), np.array([128]), 0.9 * one, one).tolist()
    [1172]
    """
    few = need <= EXACT_UP_TO
    if few.any():
        out = np.full(len(need), -1, dtype=np.int64)
        out[few] = cells_for_confidence(
            need[few], confidence[few], per_tray[few], usable[few], weight[few]
        )
        if not few.all():
            rest = ~few
            out[rest] = quick_cells(
                need[rest], confidence[rest], per_tray[rest], usable[rest], weight[rest]
            )
        return out
    low: FloatArray = np.maximum(need.astype(np.float64), 1.0)
    high: FloatArray = 4.0 * need.astype(np.float64) + 50.0
    cells = per_tray.astype(float)
    wanted = need.astype(float)
    out = np.full(len(need), -1, dtype=np.int64)
    reachable = quick_chance(wanted, high, cells, usable, weight) >= confidence
    rows = np.flatnonzero(reachable)
    a, b = low[rows] - 1.0, high[rows]
    w, c, u, q = wanted[rows], cells[rows], usable[rows], weight[rows]
    goal = confidence[rows]
    for _ in range(_STEPS):
        wide = b - a > 1.0
        if not wide.any():
            break
        middle = np.floor((a + b) / 2.0)
        enough = quick_chance(w, middle, c, u, q) >= goal
        b = np.where(wide & enough, middle, b)
        a = np.where(wide & ~enough, middle, a)
    out[rows] = b.astype(np.int64)
    return out


def quick_short(
    need: IntArray, n: IntArray, per_tray: IntArray, usable: FloatArray, weight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Expected cells short of the need, and above it.

    Parameters
    ----------
    need, n, per_tray : ndarray of int, shape (M,)
        As for `quick_chance`.
    usable, weight : ndarray, shape (M, K)
        As for `quick_chance`.

    Returns
    -------
    short, surplus : ndarray, shape (M,)
        Expected cells.

    Examples
    --------
    >>> one = np.ones((1, 1))
    >>> a = (np.array([1000]), np.array([1141]), np.array([128]), 0.9 * one, one)
    >>> [float(x[0].round(2)) for x in quick_short(*a)]
    [4.37, 26.14]
    """
    few = need <= EXACT_UP_TO
    if few.any():
        out = np.zeros(len(need)), np.zeros(len(need))
        _, out[0][few], out[1][few] = chances_at(
            need[few], n[few], per_tray[few], usable[few], weight[few]
        )
        if not few.all():
            rest = ~few
            out[0][rest], out[1][rest] = quick_short(
                need[rest], n[rest], per_tray[rest], usable[rest], weight[rest]
            )
        return out
    short, surplus = np.zeros(len(need)), np.zeros(len(need))
    wanted = need.astype(float)[:, None]
    for way, mean, sd in _losses(n.astype(float), per_tray.astype(float), usable):
        gap = wanted - mean
        z = gap / sd
        missing = gap * ndtr(z) + sd * np.exp(-0.5 * z * z) / _ROOT_2PI
        short += way * np.einsum("mk,mk->m", missing, weight)
        surplus += way * np.einsum("mk,mk->m", missing - gap, weight)
    return np.maximum(short, 0.0), np.maximum(surplus, 0.0)


def least_short(
    need: IntArray, n: IntArray, per_tray: IntArray, usable: FloatArray, weight: FloatArray
) -> FloatArray:
    """Cells short of the need, at most what is expected: for the bound.

    Parameters
    ----------
    need, n, per_tray : ndarray, shape (M,)
        As for `quick_chance`.
    usable, weight : ndarray, shape (M, K)
        As for `quick_chance`.

    Returns
    -------
    short : ndarray, shape (M,)
        Cells.

    Notes
    -----
    In each case (node of the lot, trays lost) only the mean counts. Shortage is convex in the
    usable cells, so by Jensen's inequality the expectation is never less. Up to `EXACT_UP_TO`
    wanted cells one full tray, or the only one, keeps its distribution where none is lost; the
    others have their mean. It is convex in `n` from one number of trays to the same with a fuller
    last one, and in the usable share.

    Examples
    --------
    >>> one = np.ones((1, 1))
    >>> need, n, per_tray = np.array([1000]), np.array([1141]), np.array([128])
    >>> float(least_short(need, n, per_tray, 0.9 * one, one)[0].round(2))
    3.95
    """
    short = np.zeros(len(need))
    wanted = need.astype(float)[:, None]
    few = np.flatnonzero(need <= EXACT_UP_TO)
    for case, (way, stay) in enumerate(_stays(n.astype(float), per_tray.astype(float))):
        missing = np.maximum(wanted - np.maximum(stay, 0.0)[:, None] * usable, 0.0)
        if case == 0 and len(few):
            one = np.minimum(n, per_tray)[few].astype(float)[:, None]
            others = (n[few, None] - one) * usable[few]
            missing[few] = _short_of_one(wanted[few] - others, one, usable[few])
        short += np.maximum(way, 0.0) * np.einsum("mk,mk->m", missing, weight)
    return short


def _short_of_one(need: FloatArray, cells: FloatArray, usable: FloatArray) -> FloatArray:
    """Expected cells short of a broken need from one tray that is not lost, exactly."""
    need, cells, share = np.broadcast_arrays(need, cells, np.clip(usable, 1e-9, 1.0 - 1e-9))
    size = 1.0 / RHO_TRAY - 1.0
    a, b = share * size, (1.0 - share) * size
    chance = np.exp(gammaln(b + cells) + gammaln(size) - gammaln(size + cells) - gammaln(b))
    short = np.zeros(need.shape)
    for k in range(int(np.ceil(max(float(need.max()), 0.0)))):
        short += np.maximum(need - k, 0.0) * chance
        left = np.maximum(cells - k, 0.0)
        chance = chance * left * (a + k) / ((k + 1.0) * np.maximum(b + left - 1.0, 1e-12))
    return short


def least_money_cells(
    fewest: IntArray,
    most: IntArray,
    per_cell: FloatArray,
    short_price: FloatArray,
    need: IntArray,
    per_tray: IntArray,
    usable: FloatArray,
    weight: FloatArray,
) -> IntArray:
    """Cells at which `least_short` and the cells cost least together.

    Parameters
    ----------
    fewest, most : ndarray of int, shape (M,)
        Between which to look, within one last tray.
    per_cell, short_price : ndarray, shape (M,)
        Money of one more cell, and of a cell short.
    need, per_tray : ndarray of int, shape (M,)
        As for `quick_chance`.
    usable, weight : ndarray, shape (M, K)
        As for `quick_chance`.

    Returns
    -------
    n_cells : ndarray of int, shape (M,)
        Cells.

    Examples
    --------
    >>> one, need, among = np.ones((1, 1)), np.array([1000]), (np.array([1120]), np.array([1152]))
    >>> price = np.array([0.05]), np.array([0.6])
    >>> least_money_cells(*among, *price, need, np.array([128]), 0.9 * one, one).tolist()
    [1120]
    """
    low, high = fewest.copy(), np.maximum(most, fewest)
    for _ in range(_STEPS):
        rows = np.flatnonzero(high > low)
        if not len(rows):
            break
        middle = (low[rows] + high[rows]) // 2
        around = (per_tray[rows], usable[rows], weight[rows])
        saved = least_short(need[rows], middle, *around)
        saved -= least_short(need[rows], middle + 1, *around)
        pays = short_price[rows] * saved > per_cell[rows]
        low[rows] = np.where(pays, middle + 1, low[rows])
        high[rows] = np.where(pays, high[rows], middle)
    return low


def _stays(n: FloatArray, per_tray: FloatArray) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Chance of each case of lost trays, and the cells that stay on average.

    The cases are those of `_losses`.
    """
    keep = 1.0 - TRAY_LOSS_FRAC
    trays = np.maximum(np.ceil(n / per_tray), 1.0)
    last = n - (trays - 1.0) * per_tray
    one = TRAY_LOSS_FRAC * keep ** (trays - 1.0)
    none = keep**trays
    left = keep * n
    for way, stay in ((none, n), ((trays - 1.0) * one, n - per_tray), (one, n - last)):
        left = left - way * stay
        yield way, stay
    more = 1.0 - none - trays * one
    yield more, left / np.maximum(more, LEAST_WAY_FRAC)


def _losses(
    n: FloatArray, per_tray: FloatArray, usable: FloatArray
) -> Iterator[tuple[FloatArray, FloatArray, FloatArray]]:
    """Chance, mean and standard deviation of the usable cells by the trays that are lost whole.

    A lost tray is rare and takes much, so shortage hangs on it; a normal count over all cases has
    too thin a tail. The cases are none, a full one, the last one, and more than one.
    """
    keep = 1.0 - TRAY_LOSS_FRAC
    trays = np.maximum(np.ceil(n / per_tray), 1.0)
    last = n - (trays - 1.0) * per_tray
    each = usable * (1.0 - usable) * (1.0 + (np.minimum(n, per_tray)[:, None] - 1.0) * RHO_TRAY)
    one = TRAY_LOSS_FRAC * keep ** (trays - 1.0)
    left = keep * n
    none = keep**trays
    more = 1.0 - none - trays * one
    for way, stay in ((none, n), ((trays - 1.0) * one, n - per_tray), (one, n - last)):
        left = left - way * stay
        cells = np.maximum(stay, 0.0)[:, None]
        yield way, cells * usable, np.sqrt(np.maximum(cells * each, 1e-9))
    if (more > LEAST_WAY_FRAC).any():  # on average so many cells are left, give or take trays
        more_or_least = np.maximum(more, LEAST_WAY_FRAC)
        cells = np.maximum(left / more_or_least, 0.0)[:, None]
        mean_lost = trays * TRAY_LOSS_FRAC
        square = (mean_lost * keep + mean_lost**2 - trays * one) / more_or_least
        spread = np.maximum(square - ((mean_lost - trays * one) / more_or_least) ** 2, 0.0)
        apart = spread[:, None] * (per_tray[:, None] * usable) ** 2
        sd = np.sqrt(np.maximum(cells * each + apart, 1e-9))
        yield np.maximum(more, 0.0), cells * usable, sd


def cells_that_pay(
    fewest: IntArray,
    most: IntArray,
    per_cell: FloatArray,
    short_price: FloatArray,
    surplus_price: FloatArray,
    need: IntArray,
    per_tray: IntArray,
    usable: FloatArray,
    weight: FloatArray,
) -> IntArray:
    """Cells from which on one more costs more than the shortage it saves.

    Parameters
    ----------
    fewest, most : ndarray of int, shape (M,)
        Between which to look.
    per_cell : ndarray, shape (M,)
        Money of one more cell.
    short_price, surplus_price : ndarray, shape (M,)
        Money of a cell short, and of one above.
    need, per_tray : ndarray of int, shape (M,)
        As for `quick_chance`.
    usable, weight : ndarray, shape (M, K)
        As for `quick_chance`.

    Returns
    -------
    n_cells : ndarray of int, shape (M,)
        Cells, at least `fewest` and at most `most`.

    Notes
    -----
    Expected shortage falls ever more slowly with the cells, so the answer is found by halving.

    Examples
    --------
    >>> one, need = np.ones((1, 1)), np.array([1000])
    >>> price = (np.array([0.05]), np.array([0.6]), np.array([0.0]))
    >>> among = (np.array([1120]), np.array([1280]))
    >>> cells_that_pay(*among, *price, need, np.array([128]), 0.9 * one, one).tolist()
    [1141]
    """
    low, high = fewest.copy(), np.maximum(most, fewest)
    for _ in range(_STEPS):
        rows = np.flatnonzero(high > low)
        if not len(rows):
            break
        middle = (low[rows] + high[rows]) // 2
        around = (need[rows], per_tray[rows], usable[rows], weight[rows])
        short, more = quick_short(around[0], middle, *around[1:])
        short_next, more_next = quick_short(around[0], middle + 1, *around[1:])
        saved = short_price[rows] * (short - short_next)
        saved += surplus_price[rows] * (more_next - more)
        pays = saved > per_cell[rows]
        low[rows] = np.where(pays, middle + 1, low[rows])
        high[rows] = np.where(pays, high[rows], middle)
    return low
