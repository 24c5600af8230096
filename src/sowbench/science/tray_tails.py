"""Tail of the usable cells of several trays of which none is lost, for whole arrays at once.

The total is close to one large beta-binomial tray of the same mean and variance, exactly so for a
single tray. Its nearer tail is summed term by term; where the total is wide and little skewed, an
Edgeworth series takes its place.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, ndtr

from sowbench.science.beta_binomial import cumulants

Floats = NDArray[np.float64]

# The series is used for totals with a standard deviation above this and less skewness than this;
# there both ways are within 0.001 of the exact chance (the tests measure it).
_SERIES_SD = 6.0
_SERIES_SKEW = 0.25
# Tails are summed until a term is below this.
_LEAST_TERM = 1e-10
# A total so many standard deviations away counts as certain.
_CERTAIN_SD = 8.0
# Correlation that stands for none, so that the beta shapes stay finite.
_RHO_LEAST = 1e-7


def independent_tail(
    need: Floats, n_full: Floats, per_tray: Floats, n_last: Floats, nodes: Floats, rho: Floats,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Chance of enough and expected shortage for trays of which none is lost.

    Parameters
    ----------
    need : ndarray, shape (M, 1)
        Usable cells wanted.
    n_full, per_tray : ndarray, shape (M, 1)
        Full trays and their cells.
    n_last : ndarray, shape (M, 1)
        Cells of one more tray, 0 if there is none.
    nodes : ndarray, shape (M, K)
        Share of usable cells [fraction].
    rho : ndarray, shape (M, 1)
        Correlation between cells of a tray [fraction].

    Returns
    -------
    at_least : ndarray, shape (M, K)
        Chance of `need` usable cells or more [fraction].
    short : ndarray, shape (M, K)
        Expectation of ``max(need - usable, 0)`` [cells].

    Examples
    --------
    >>> column = [np.array([[float(each)]]) for each in (1, 0, 1, 1, 0.5, 0.0)]
    >>> at_least, short = independent_tail(*column)
    >>> at_least.round(6).tolist(), short.round(6).tolist()
    ([[0.5]], [[0.5]])
    """
    shape = nodes.shape
    need, n_full, per_tray, n_last, rho = (
        np.broadcast_to(each, shape).ravel() for each in (need, n_full, per_tray, n_last, rho)
    )
    share = np.clip(nodes.ravel(), 1e-9, 1 - 1e-9)
    n = n_full * per_tray + n_last
    pairs = n_full * per_tray * (per_tray - 1) + n_last * np.maximum(n_last - 1, 0)
    rho_all = np.maximum(rho * pairs / np.maximum(n * (n - 1), 1), _RHO_LEAST)
    mean = n * share
    sd = np.sqrt(mean * (1 - share) * (1 + (n - 1) * rho_all))
    at_least = np.where(need <= mean, 1.0, 0.0)
    short = np.maximum(need - mean, 0.0)
    at_least[need <= 0], short[need <= 0] = 1.0, 0.0
    open_rows = (np.abs(need - 0.5 - mean) < _CERTAIN_SD * sd + 1) & (need > 0) & (need <= n)
    # Skewness of a beta-binomial with this mean, variance and correlation.
    skew = np.abs(1 - 2 * share) * (1 + (2 * n - 1) * rho_all) / ((1 + rho_all) * np.maximum(sd, 1))
    series = open_rows & (sd > _SERIES_SD) & (skew < _SERIES_SKEW)
    rows = np.flatnonzero(series)
    if rows.size:
        at_least[rows], short[rows] = _series(
            need[rows], n_full[rows], per_tray[rows], n_last[rows], share[rows], rho[rows]
        )
    rows = np.flatnonzero(open_rows & ~series)
    if rows.size:
        at_least[rows], short[rows] = _summed_tail(
            need[rows], n[rows], share[rows], rho_all[rows], mean[rows]
        )
    return at_least.reshape(shape), short.reshape(shape)


def _summed_tail(
    need: Floats, n: Floats, share: Floats, rho: Floats, mean: Floats
) -> tuple[Floats, Floats]:
    """Sum the nearer tail of a beta-binomial from `need` outward."""
    size = 1 / rho - 1
    a, b = share * size, (1 - share) * size
    upper = need > mean
    # Mirror the upper tail onto the lower: failures at most n - need instead of successes.
    first = np.where(upper, n - need, need - 1)
    a, b = np.where(upper, b, a), np.where(upper, a, b)
    term = np.exp(
        gammaln(n + 1) - gammaln(first + 1) - gammaln(n - first + 1)
        + gammaln(a + first) + gammaln(b + n - first) - gammaln(a + b + n)
        + gammaln(a + b) - gammaln(a) - gammaln(b)
    )  # fmt: skip
    k = first.copy()
    tail, weighted = np.zeros(n.size), np.zeros(n.size)
    depth = 0
    while True:
        tail += term
        weighted += depth * term
        # p(k - 1) / p(k), which is 0 at k = 0
        term = term * (k * (n - k + b)) / ((n - k + 1) * (a + k - 1))
        k -= 1
        depth += 1
        if depth % 8 == 0 and not np.any((term > _LEAST_TERM) & (k >= 0)):
            break
        if np.any(k < 0):
            done = k < 0
            term[done] = 0.0
            k[done] = 0.0
    at_least = np.where(upper, tail, 1 - tail)
    # weighted is E[(need - 1 - N)+] below, or E[(N - need)+] above
    short = np.where(upper, need - mean + weighted, weighted + tail)
    return at_least, short


def _series(
    need: Floats, n_full: Floats, per_tray: Floats, n_last: Floats, share: Floats, rho: Floats
) -> tuple[Floats, Floats]:
    """Edgeworth series to the fourth cumulant of the total, smoothed over one cell.

    With a uniform spread of one cell added, the chance at whole numbers is exactly that of a
    continuous variable half a cell further; its cumulants are those of the count plus those of
    the uniform (variance 1/12, fourth -1/120). Abramowitz and Stegun, Handbook of Mathematical
    Functions, 1964, 26.2.47-48 (from memory).
    """
    full = cumulants(per_tray, share, rho)
    last = cumulants(n_last, share, rho)
    k1, k2, k3, k4 = (n_full * each + other for each, other in zip(full, last, strict=True))
    sd = np.sqrt(k2 + 1 / 12)
    skew, excess = k3 / sd**3, (k4 - 1 / 120) / sd**4
    x = (need - 0.5 - k1) / sd
    below = ndtr(x) - _density(x) * _correction(x, skew, excess, 1)
    x = (need - k1) / sd
    density = _density(x)
    missing = sd * (x * ndtr(x) + density * (1 + _correction(x, skew, excess, 0)))
    missing -= density / sd / 8  # the smoothed count may fall short by chance at `need` itself
    return np.clip(1 - below, 0.0, 1.0), np.maximum(missing, 0.0)


def _density(x: Floats) -> Floats:
    """Standard normal density."""
    return np.asarray(np.exp(-0.5 * x * x) / np.sqrt(2 * np.pi))


def _correction(x: Floats, skew: Floats, excess: Floats, order: int) -> Floats:
    """Sum of the series' Hermite terms, integrated once less (`order` 1) or twice (0)."""
    x2 = x * x
    if order == 1:
        h2, h3, h5 = x2 - 1, x * (x2 - 3), x * (x2 * x2 - 10 * x2 + 15)
        return skew / 6 * h2 + excess / 24 * h3 + skew**2 / 72 * h5
    h1, h2, h4 = x, x2 - 1, x2 * x2 - 6 * x2 + 3
    return skew / 6 * h1 + excess / 24 * h2 + skew**2 / 72 * h4
