"""Quick sizing of very many sowings: normal within each node of the lot, mixed over the nodes.

The exact chances of a plan come from `sowbench.science.tray_chances`. Here a hundred thousand
candidates are sized in a fraction of a second; for the bound it is this that says how many cells a
candidate has (docs/model.md section 6), so the checker uses it too.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sowbench.science.tray_chances import cells_for_confidence
from sowbench.science.trays import RHO_TRAY, TRAY_LOSS_FRAC

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_STEPS = 40
EXACT_UP_TO = 100
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
    >>> need, n, per_tray = np.array([100.0]), np.array([125.0]), np.array([128.0])
    >>> float(quick_chance(need, n, per_tray, 0.9 * one, one)[0].round(3))
    0.982
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
    [1141]
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
    >>> a = (np.array([100]), np.array([125]), np.array([128]), 0.9 * one, one)
    >>> [float(x[0].round(2)) for x in quick_short(*a)]
    [0.04, 11.98]
    """
    mean, sd = _mean_and_sd(n.astype(float), per_tray.astype(float), usable)
    gap = need[:, None] - mean
    z = gap / sd
    density = np.exp(-0.5 * z * z) / _ROOT_2PI
    short = ((gap * ndtr(z) + sd * density) * weight).sum(axis=1)
    surplus = ((-gap * ndtr(-z) + sd * density) * weight).sum(axis=1)
    return np.maximum(short, 0.0), np.maximum(surplus, 0.0)
