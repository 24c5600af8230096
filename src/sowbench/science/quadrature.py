"""Nodes and weights that turn an expectation over a distribution into a short weighted sum."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sowbench.science.errors import OutOfRangeError

_MAX_NODES = 64


def _require_count(n_nodes: int) -> None:
    """Raise unless the number of nodes is a whole number that the recurrences can bear."""
    if not 1 <= n_nodes <= _MAX_NODES or n_nodes != int(n_nodes):
        raise OutOfRangeError("n_nodes", f"a whole number from 1 to {_MAX_NODES}", n_nodes)


@lru_cache(maxsize=_MAX_NODES)
def _hermite(n_nodes: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Compute nodes and weights once a count, locked against change."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(n_nodes)
    weights = weights / weights.sum()
    nodes.flags.writeable = False
    weights.flags.writeable = False
    return nodes, weights


def normal_nodes(n_nodes: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gauss-Hermite nodes and weights for a standard normal variable.

    Parameters
    ----------
    n_nodes : int
        Number of nodes, 1 to 64. Polynomials up to degree ``2 * n_nodes - 1`` are exact.

    Returns
    -------
    nodes : ndarray, shape (n_nodes,)
        Standard normal deviates, rising; read-only.
    weights : ndarray, shape (n_nodes,)
        Weights that add to 1; read-only.

    Raises
    ------
    OutOfRangeError
        If `n_nodes` is not a whole number from 1 to 64.

    References
    ----------
    .. [1] M. Abramowitz, I. A. Stegun, "Handbook of Mathematical Functions", National Bureau
       of Standards, 1964, eq. 25.4.46 and table 25.10, scaled from exp(-x**2) to the normal.

    Examples
    --------
    >>> nodes, weights = normal_nodes(3)
    >>> nodes.round(4).tolist(), weights.round(4).tolist()
    ([-1.7321, 0.0, 1.7321], [0.1667, 0.6667, 0.1667])
    """
    _require_count(n_nodes)
    return _hermite(int(n_nodes))


def beta_nodes(
    alpha: ArrayLike, beta: ArrayLike, n_nodes: int = 9
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gauss-Jacobi nodes and weights for a Beta variable on (0, 1).

    Parameters
    ----------
    alpha : float or array_like, shape (...)
        First shape parameter, above 0: `n_normal + 1` of a germination test.
    beta : float or array_like, shape (...)
        Second shape parameter, above 0; broadcast against `alpha`.
    n_nodes : int, default 9
        Number of nodes, 1 to 64. Polynomials up to degree ``2 * n_nodes - 1`` are exact; nine
        carry any expectation of a tray's count far below the error of the test itself.

    Returns
    -------
    nodes : ndarray, shape (..., n_nodes)
        Points in (0, 1), rising.
    weights : ndarray, shape (..., n_nodes)
        Weights that add to 1.

    Raises
    ------
    OutOfRangeError
        If a shape parameter is not a finite number above 0, or `n_nodes` is out of range.

    Notes
    -----
    The nodes are the eigenvalues of the symmetric tridiagonal matrix of the recurrence, the
    weights the squares of the first parts of its eigenvectors [1]_. Nothing of it grows with the
    shape parameters, so that tests of thousands of seeds neither overflow nor lose digits.

    References
    ----------
    .. [1] G. H. Golub, J. H. Welsch, "Calculation of Gauss quadrature rules", Mathematics of
       Computation 23, 1969, 221-230.
    .. [2] M. Abramowitz, I. A. Stegun, "Handbook of Mathematical Functions", National Bureau
       of Standards, 1964, table 22.7 (recurrence of the Jacobi polynomials).

    Examples
    --------
    >>> nodes, weights = beta_nodes(86, 16)
    >>> round(float(nodes @ weights), 6) == round(86 / 102, 6)
    True
    """
    _require_count(n_nodes)
    first, second = np.broadcast_arrays(
        np.asarray(alpha, dtype=np.float64), np.asarray(beta, dtype=np.float64)
    )
    for name, values in (("alpha", first), ("beta", second)):
        bad = values[~(np.isfinite(values) & (values > 0))]
        if bad.size:
            raise OutOfRangeError(name, "a finite number above 0", float(bad.flat[0]))
    # Weight (1-t)**a (1+t)**b on (-1, 1), x = (1 + t) / 2.
    a = second[..., np.newaxis] - 1.0
    b = first[..., np.newaxis] - 1.0
    total = a + b
    k = np.arange(1, n_nodes, dtype=np.float64)
    twice = 2.0 * k + total
    diagonal = np.concatenate(
        [(b - a) / (total + 2.0), (b - a) * total / (twice * (twice + 2.0))], axis=-1
    )
    # For k = 1 the factor (k + a + b) / (2k + a + b - 1) is 1, also where both are 0.
    ratio = np.ones_like(twice)
    np.divide(k + total, twice - 1.0, out=ratio, where=np.broadcast_to(k > 1, twice.shape))
    off = np.sqrt(4.0 * k * (k + a) * (k + b) * ratio / (twice**2 * (twice + 1.0)))
    matrix = np.zeros((*first.shape, n_nodes, n_nodes))
    index = np.arange(n_nodes)
    matrix[..., index, index] = diagonal
    matrix[..., index[1:], index[:-1]] = off
    values, vectors = np.linalg.eigh(matrix)
    weights = vectors[..., 0, :] ** 2
    weights /= weights.sum(axis=-1, keepdims=True)
    return (1.0 + values) / 2.0, weights
