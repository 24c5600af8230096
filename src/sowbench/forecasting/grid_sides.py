"""Arrays over the sides of grids: fewer cells, filled in between; values added up by sowing."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Reals = NDArray[np.floating]
Ints = NDArray[np.int64]

# Sides with fewer cells than this are reckoned whole.
_SIDE_LEAST: Final = 9


def every_other(middle: Floats) -> Floats:
    """Return every other one of the cells along a side, both ends among them.

    Parameters
    ----------
    middle : ndarray, shape (R, n)
        Middles of cells.

    Returns
    -------
    some : ndarray, shape (R, n // 2 + 1) or (R, n)
        All of them where n is even or small.
    """
    return middle[:, ::2] if middle.shape[1] % 2 and middle.shape[1] >= _SIDE_LEAST else middle


def filled_in(values: Reals, n_cells: int) -> Reals:
    """Fill in the cells that `every_other` left out, by cubics through their neighbors.

    Parameters
    ----------
    values : ndarray, shape (R, e, S)
        Values at those cells.
    n_cells : int
        Cells E along the side.

    Returns
    -------
    values : ndarray, shape (R, E, S)
        Values at all cells.

    Examples
    --------
    >>> at = np.arange(9.0)[None, :, None] ** 2
    >>> bool(np.allclose(filled_in(at[:, ::2], 9), at))
    True
    """
    if values.shape[1] == n_cells:
        return values
    out = np.empty((values.shape[0], n_cells, values.shape[2]), dtype=values.dtype)
    out[:, ::2] = values
    sums = values[:, :-1] + values[:, 1:]
    bend = np.empty_like(sums)
    bend[:, 1:-1] = 2 * sums[:, 1:-1] - sums[:, :-2] - sums[:, 2:]
    bend[:, 0] = 2 * (2 * values[:, 1] - values[:, 0] - values[:, 2])
    bend[:, -1] = 2 * (2 * values[:, -2] - values[:, -1] - values[:, -3])
    out[:, 1::2] = sums / 2 + bend / 16
    return out


def add_up(out: Reals, owner: Ints, values: Reals) -> None:
    """Add values to their owners.

    Parameters
    ----------
    out : ndarray, shape (R, ...)
        What is added to.
    owner : ndarray of int, shape (n,)
        Owner of each value, not falling.
    values : ndarray, shape (n, ...)
        Values.
    """
    starts = np.flatnonzero(np.diff(owner, prepend=-1)).tolist()
    owners = owner[starts].tolist()
    for at, first, last in zip(owners, starts, [*starts[1:], owner.size], strict=True):
        out[at] += values[first:last].sum(axis=0) if last - first > 1 else values[first]
