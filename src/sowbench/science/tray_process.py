"""Cells of a tray that share a fate, looked at again and again: chances of counts and what follows.

A tray's shares of cells, by when they become good and by whether they stay so, are a Dirichlet
process about what the crop and the lot make likely. Its concentration is that of the beta-binomial
of `sowbench.science.trays`, so that at any one time a tray's good cells are that beta-binomial, and
of any later look the new ones are a beta-binomial again. Nothing has to be integrated.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln

from sowbench.science.beta_binomial import require_frac
from sowbench.science.errors import OutOfRangeError

Floats = NDArray[np.float64]

# A parameter of exactly 0 has no logarithm; so little weight changes no chance that is shown.
LEAST_WEIGHT: Final = 1e-9
_GOOD_LEAST_FRAC: Final = 1e-6
# Below this correlation cells are taken as independent to a part in a million.
_RHO_LEAST: Final = 1e-6


def concentration(rho: ArrayLike) -> Floats:
    """Concentration of the process, from the correlation of two cells of a tray.

    Parameters
    ----------
    rho : array_like, shape (...)
        Correlation between two cells of a tray [fraction, 0 to below 1].

    Returns
    -------
    weight : ndarray, shape (...)
        ``(1 - rho) / rho``; of less than a millionth as of a millionth.

    Raises
    ------
    OutOfRangeError
        If a correlation is not from 0 to below 1.

    References
    ----------
    .. [1] T. S. Ferguson, "A Bayesian analysis of some nonparametric problems", Annals of
       Statistics 1, 1973, 209-230 (the process; from memory).

    Examples
    --------
    >>> float(concentration(0.02))
    49.0
    """
    value = np.maximum(require_frac("rho", rho, below_one=True), _RHO_LEAST)
    return np.asarray((1.0 - value) / value)


def log_count_chance(k: ArrayLike, n: ArrayLike, a: ArrayLike, b: ArrayLike) -> Floats:
    """Logarithm of a beta-binomial chance, without its binomial coefficient.

    Parameters
    ----------
    k, n : array_like, shape (...)
        Good ones, and all that were looked at.
    a, b : array_like, shape (...)
        Weights of good and of others; below `LEAST_WEIGHT` as `LEAST_WEIGHT`.

    Returns
    -------
    log_chance : ndarray, shape (...)
        ``ln B(k + a, n - k + b) - ln B(a, b)``.

    Raises
    ------
    OutOfRangeError
        If a count is below 0, or there are more good ones than were looked at.

    References
    ----------
    .. [1] J. G. Skellam, Journal of the Royal Statistical Society B 10, 1948, 257-261 (from
       memory).

    Examples
    --------
    >>> float(np.exp(log_count_chance(1, 1, 3.0, 1.0)).round(12))
    0.75
    """
    good, seen = np.asarray(k, dtype=np.float64), np.asarray(n, dtype=np.float64)
    if np.any(~((good >= 0.0) & (good <= seen))):
        raise OutOfRangeError("k and n", "0 <= k <= n", (good.tolist(), seen.tolist()))
    one = np.maximum(np.asarray(a, dtype=np.float64), LEAST_WEIGHT)
    two = np.maximum(np.asarray(b, dtype=np.float64), LEAST_WEIGHT)
    return np.asarray(
        gammaln(good + one) - gammaln(one) + gammaln(seen - good + two) - gammaln(two)
        - gammaln(seen + one + two) + gammaln(one + two)
    )  # fmt: skip


class Kept(NamedTuple):
    """Weights of the two beta-binomials that usable cells of a looked-at tray add up from.

    Parameters
    ----------
    good_yes, good_no : ndarray, shape (...)
        Of the cells that were good: weights of being usable in the end, and of not.
    rest_yes, rest_no : ndarray, shape (...)
        Of the others looked at: weights of becoming usable, and of not.
    """

    good_yes: Floats
    good_no: Floats
    rest_yes: Floats
    rest_no: Floats


def kept_weights(
    weight: ArrayLike, good_frac: ArrayLike, in_time_frac: ArrayLike, kept_frac: ArrayLike
) -> Kept:
    """Weights of what was good, and what was not, to become usable.

    Parameters
    ----------
    weight : array_like, shape (...)
        Concentration of the process.
    good_frac : array_like, shape (...)
        Share of cells expected to be good at the look [fraction].
    in_time_frac : array_like, shape (...)
        Share expected to be good by the end of the grace, before or after the look [fraction].
    kept_frac : array_like, shape (...)
        Share of those that lives and passes grading [fraction].

    Returns
    -------
    kept : Kept
        The four weights, none below 0.

    Examples
    --------
    >>> [round(float(each), 2) for each in kept_weights(100.0, 0.5, 0.9, 0.95)]
    [47.5, 2.5, 38.0, 12.0]
    """
    a = np.asarray(weight, dtype=np.float64)
    # Of cells seen to be good where none can be, the share kept is still the usual one.
    now = np.maximum(np.asarray(good_frac, dtype=np.float64), _GOOD_LEAST_FRAC)
    end = np.maximum(np.asarray(in_time_frac, dtype=np.float64), _GOOD_LEAST_FRAC)
    keep = np.asarray(kept_frac, dtype=np.float64)
    by_now = np.minimum(now, end) * keep
    more = np.maximum(end - now, 0.0) * keep
    return Kept(
        a * by_now,
        a * np.maximum(now - by_now, 0.0),
        a * more,
        a * np.maximum(1.0 - now - more, 0.0),
    )


def _moments(n: Floats, yes: Floats, no: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of a beta-binomial by its weights."""
    yes, no = np.maximum(yes, LEAST_WEIGHT), np.maximum(no, LEAST_WEIGHT)
    both = yes + no
    p = yes / both
    return n * p, n * p * (1.0 - p) * (both + n) / (both + 1.0)


def usable_moments(
    n_good: ArrayLike,
    n_seen: ArrayLike,
    n_unseen: ArrayLike,
    weight: ArrayLike,
    good_frac: ArrayLike,
    in_time_frac: ArrayLike,
    kept_frac: ArrayLike,
) -> tuple[Floats, Floats]:
    """Mean and variance of the usable cells of a tray that was looked at.

    Parameters
    ----------
    n_good, n_seen : array_like, shape (...)
        Good cells, and cells looked at; 0 of 0 for a tray that nobody looked at.
    n_unseen : array_like, shape (...)
        Other cells of the tray.
    weight, good_frac, in_time_frac, kept_frac : array_like, shape (...)
        As for `kept_weights`.

    Returns
    -------
    mean, variance : ndarray, shape (...)
        Of the usable cells [cells, cells squared]; exact.

    Notes
    -----
    Of the good cells and of the others looked at, the usable ones are independent beta-binomials
    (shares within parts of a Dirichlet process are independent of each other). Given x usable
    among m, those of the u other cells are a beta-binomial with weights ``A q k + x`` and
    ``A (1 - q k) + m - x``, linear in x, so that its moments follow from those of x.

    Examples
    --------
    >>> mean, variance = usable_moments(0, 0, 128, 65.67, 0.3, 0.9, 0.93)
    >>> round(float(mean), 3), round(float(variance / (128 * 0.837 * 0.163)), 2)
    (107.136, 2.9)
    """
    good, seen, unseen, a = (
        np.asarray(each, dtype=np.float64) for each in (n_good, n_seen, n_unseen, weight)
    )
    kept = kept_weights(a, good_frac, in_time_frac, kept_frac)
    mean_one, var_one = _moments(good, kept.good_yes, kept.good_no)
    mean_two, var_two = _moments(seen - good, kept.rest_yes, kept.rest_no)
    mean, variance = mean_one + mean_two, var_one + var_two
    usable = a * np.asarray(in_time_frac, dtype=np.float64) * np.asarray(kept_frac)
    whole = a + seen
    share = (usable + mean) / whole
    spread = variance / whole**2
    inside = unseen * np.maximum(share * (1.0 - share) - spread, 0.0)
    inside = inside * (whole + unseen) / (whole + 1.0)
    return mean + unseen * share, (1.0 + unseen / whole) ** 2 * variance + inside


def usable_moments_of_trays(
    n_trays: ArrayLike,
    sum_good: ArrayLike,
    sum_good_squared: ArrayLike,
    n_seen: ArrayLike,
    n_unseen: ArrayLike,
    weight: ArrayLike,
    good_frac: ArrayLike,
    in_time_frac: ArrayLike,
    kept_frac: ArrayLike,
) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Mean and variance of the usable cells of trays that were looked at alike, all together.

    Parameters
    ----------
    n_trays, sum_good, sum_good_squared : array_like, shape (...)
        Trays, their good cells, and the squares of these, added up.
    n_seen, n_unseen : array_like, shape (...)
        Cells looked at of each tray, and others of each.
    weight, good_frac, in_time_frac, kept_frac : array_like, shape (...)
        As for `kept_weights`; the kind of number of `good_frac` is that of the result.

    Returns
    -------
    mean, variance : ndarray, shape (...)
        Of the usable cells of all of them [cells, cells squared]; sums of `usable_moments`.

    Notes
    -----
    Given lag and stand, trays are independent, and mean and variance of each are polynomials of
    second degree in its good cells.

    Examples
    --------
    >>> mean, variance = usable_moments_of_trays(2, 70, 2900, 128, 0, 65.67, 0.3, 0.9, 0.93)
    >>> parts = [usable_moments(n, 128, 0, 65.67, 0.3, 0.9, 0.93) for n in (20, 50)]
    >>> [bool(np.isclose(a, b + c)) for a, b, c in zip((mean, variance), *parts)]
    [True, True]
    """
    now = np.asarray(good_frac)
    kind = now.dtype if now.dtype == np.float32 else np.dtype(np.float64)
    trays, good, good2, seen, unseen, a, keep = (
        np.asarray(each, dtype=kind)
        for each in (n_trays, sum_good, sum_good_squared, n_seen, n_unseen, weight, kept_frac)
    )
    least = kind.type(_GOOD_LEAST_FRAC)
    now = np.maximum(now.astype(kind, copy=False), least)
    end = np.maximum(np.asarray(in_time_frac, dtype=kind), least)
    rest, rest2 = trays * seen - good, trays * seen**2 - 2 * seen * good + good2
    both = seen * good - good2
    ever = np.minimum(now, end)
    weight_good, weight_rest = a * now, np.maximum(a * (1 - now), kind.type(LEAST_WEIGHT))
    share_good = ever * keep / now
    share_rest = np.minimum(a * (end - ever) * keep / weight_rest, 1)
    mean = share_good * good + share_rest * rest
    variance = share_good * (1 - share_good) / (weight_good + 1) * (weight_good * good + good2)
    variance += share_rest * (1 - share_rest) / (weight_rest + 1) * (weight_rest * rest + rest2)
    if not np.any(unseen):
        return mean, variance
    whole = a + seen
    usable = a * end * keep
    share = (trays * usable + mean) / whole
    square = share_good**2 * good2 + 2 * share_good * share_rest * both + share_rest**2 * rest2
    square = (trays * usable**2 + 2 * usable * mean + square) / whole**2
    inside = np.maximum(share - square - variance / whole**2, 0)
    inside = unseen * (whole + unseen) / (whole + 1) * inside
    return mean + unseen * share, (1 + unseen / whole) ** 2 * variance + inside


def usable_pmf(
    n_good: int,
    n_seen: int,
    n_unseen: int,
    weight: float,
    good_frac: ArrayLike,
    in_time_frac: ArrayLike,
    kept_frac: float,
) -> Floats:
    """Chances of every number of usable cells of a tray that was looked at; exact.

    Parameters
    ----------
    n_good, n_seen, n_unseen : int
        As for `usable_moments`.
    weight : float
        Concentration of the process.
    good_frac, in_time_frac : array_like, shape (C,)
        As for `kept_weights`.
    kept_frac : float
        Share that lives and passes grading [fraction].

    Returns
    -------
    pmf : ndarray, shape (C, n_seen + n_unseen + 1)
        Chance of 0, 1, ... usable cells; adds to 1.

    Examples
    --------
    >>> usable_pmf(2, 2, 0, 1e6, [0.9], [0.9], 0.5).round(3).tolist()
    [[0.25, 0.5, 0.25]]
    """
    now, end = np.atleast_1d(good_frac), np.atleast_1d(in_time_frac)
    kept = kept_weights(weight, now, end, kept_frac)
    pmf = _beta_binomial(n_good, kept.good_yes, kept.good_no)
    rest = _beta_binomial(n_seen - n_good, kept.rest_yes, kept.rest_no)
    pmf = _added(pmf, rest)
    if n_unseen == 0:
        return pmf
    total = np.zeros((pmf.shape[0], n_seen + n_unseen + 1))
    usable = weight * end * kept_frac
    for x in range(n_seen + 1):
        more = _beta_binomial(n_unseen, usable + x, weight - usable + n_seen - x)
        total[:, x : x + n_unseen + 1] += pmf[:, x : x + 1] * more
    return total


def _beta_binomial(n: int, yes: Floats, no: Floats) -> Floats:
    """Distribution of a beta-binomial by its weights, shape (C, n + 1)."""
    k = np.arange(n + 1.0)
    ways = gammaln(n + 1.0) - gammaln(k + 1.0) - gammaln(n - k + 1.0)
    log = ways + log_count_chance(k, n, np.asarray(yes)[:, None], np.asarray(no)[:, None])
    pmf = np.exp(log - log.max(axis=1, keepdims=True))
    return np.asarray(pmf / pmf.sum(axis=1, keepdims=True))


def _added(one: Floats, two: Floats) -> Floats:
    """Distribution of a sum, row by row."""
    if two.shape[1] == 1:
        return one
    if one.shape[1] == 1:
        return two
    length = one.shape[1] + two.shape[1] - 1
    both = np.fft.rfft(one, length) * np.fft.rfft(two, length)
    total = np.maximum(np.fft.irfft(both, length), 0.0)
    return np.asarray(total / total.sum(axis=1, keepdims=True))
