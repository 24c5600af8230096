"""Indices of germination speed that seed papers print, for comparing with them.

They take a seed as up on the day it was counted, so they run late by up to half an interval; for
forecasts use `germination_fit`.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sowbench.science.errors import OutOfRangeError


def _checked(
    time_d: ArrayLike, counts: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return looks and new counts, refusing what is no germination test."""
    time = np.asarray(time_d, dtype=np.float64)
    new = np.asarray(counts, dtype=np.float64)
    if time.ndim != 1 or time.shape != new.shape or time.size == 0:
        raise OutOfRangeError(
            "time_d and counts", "vectors of one length, at least 1", (time.shape, new.shape)
        )
    if not (time[0] > 0.0 and np.all(np.diff(time) > 0.0)):
        raise OutOfRangeError("time_d", "above 0 d and rising", time.tolist())
    if not np.all((new >= 0.0) & (new % 1 == 0)):
        raise OutOfRangeError("counts", "whole numbers of new seedlings, 0 or more", new.tolist())
    if new.sum() == 0.0:
        raise OutOfRangeError("counts", "more than nothing: no index without germination", 0)
    return time, new


def time_to_share(time_d: ArrayLike, counts: ArrayLike, n_wanted: float) -> float:
    """Time at which a number of seeds is up, in a straight line between two looks.

    Parameters
    ----------
    time_d : array_like, shape (n,)
        Days of the looks since sowing, rising [d].
    counts : array_like, shape (n,)
        New seedlings at each look.
    n_wanted : float
        Number of seeds wanted, above 0, need not be whole.

    Returns
    -------
    time_d : float
        Time [d]; the line to the first look starts at day 0 with none.

    Raises
    ------
    OutOfRangeError
        If fewer came up, or the counts are no germination test.

    Examples
    --------
    >>> time_to_share([1, 2, 3], [0, 4, 6], 5)
    2.1666666666666665
    """
    time, new = _checked(time_d, counts)
    total = np.concatenate([[0.0], np.cumsum(new)])
    looks = np.concatenate([[0.0], time])
    if not 0.0 < n_wanted <= total[-1]:
        raise OutOfRangeError("n_wanted", f"above 0 and at most the {total[-1]:g} up", n_wanted)
    after = int(np.searchsorted(total, n_wanted, side="left"))
    rise = total[after] - total[after - 1]
    share = (n_wanted - total[after - 1]) / rise
    return float(looks[after - 1] + share * (looks[after] - looks[after - 1]))


def t50(
    time_d: ArrayLike, counts: ArrayLike, formula: Literal["coolbear", "farooq"] = "farooq"
) -> float:
    """Days to half of the seeds that germinated.

    Parameters
    ----------
    time_d : array_like, shape (n,)
        Days of the looks since sowing, rising [d].
    counts : array_like, shape (n,)
        New seedlings at each look.
    formula : {"coolbear", "farooq"}, default "farooq"
        Half is (N + 1) / 2 seeds [1]_ or N / 2 seeds [2]_.

    Returns
    -------
    t50_d : float
        Time to half of the final germination [d].

    Raises
    ------
    OutOfRangeError
        If the counts are no germination test.

    References
    ----------
    .. [1] P. Coolbear, A. Francis, D. Grierson, Journal of Experimental Botany 35, 1984,
       1609-1617.
    .. [2] M. Farooq, S. M. A. Basra, N. Ahmad, K. Hafeez, Journal of Integrative Plant Biology
       47, 2005, 187-193.

    Examples
    --------
    >>> t50([1, 2, 3, 4], [0, 4, 6, 0])
    2.1666666666666665
    """
    _, new = _checked(time_d, counts)
    half = 0.5 * (new.sum() + (1.0 if formula == "coolbear" else 0.0))
    return time_to_share(time_d, counts, float(half))


def mean_time(time_d: ArrayLike, counts: ArrayLike) -> tuple[float, float]:
    """Mean germination time and its variance between seeds.

    Parameters
    ----------
    time_d : array_like, shape (n,)
        Days of the looks since sowing, rising [d].
    counts : array_like, shape (n,)
        New seedlings at each look.

    Returns
    -------
    mean_d : float
        Mean time [d].
    variance_d2 : float
        Variance with N - 1 below the line [d²]; NaN for a single seed.

    Raises
    ------
    OutOfRangeError
        If the counts are no germination test.

    Examples
    --------
    >>> mean_time([2, 4], [1, 1])
    (3.0, 2.0)
    """
    time, new = _checked(time_d, counts)
    total = float(new.sum())
    mean = float(new @ time) / total
    square = float(new @ (time - mean) ** 2)
    return mean, square / (total - 1.0) if total > 1.0 else float("nan")


def time_cv(time_d: ArrayLike, counts: ArrayLike) -> float:
    """Coefficient of variation of germination time.

    Parameters
    ----------
    time_d : array_like, shape (n,)
        Days of the looks since sowing, rising [d].
    counts : array_like, shape (n,)
        New seedlings at each look.

    Returns
    -------
    cv_frac : float
        Standard deviation between seeds over mean time; NaN for a single seed.

    Raises
    ------
    OutOfRangeError
        If the counts are no germination test.

    References
    ----------
    .. [1] M. A. Ranal, D. G. de Santana, Revista Brasileira de Botânica 29, 2006, 1-11.

    Examples
    --------
    >>> round(time_cv([2, 4], [1, 1]), 6)
    0.471405
    """
    mean, variance = mean_time(time_d, counts)
    return float(np.sqrt(variance) / mean)


def uniformity(time_d: ArrayLike, counts: ArrayLike) -> float:
    """Coefficient of uniformity of germination: seeds over their squared distance from the mean.

    Parameters
    ----------
    time_d : array_like, shape (n,)
        Days of the looks since sowing, rising [d].
    counts : array_like, shape (n,)
        New seedlings at each look.

    Returns
    -------
    uniformity_per_d2 : float
        One over the variance with N below the line [1/d²]; inf if all came on one day.

    Raises
    ------
    OutOfRangeError
        If the counts are no germination test.

    References
    ----------
    .. [1] W. Heydecker, editor, "Seed Ecology", Butterworths, London 1973, with J. D. Bewley,
       M. Black, "Seeds: Physiology of Development and Germination", Plenum 1994 (the formula).

    Examples
    --------
    >>> uniformity([2, 4], [1, 1])
    1.0
    """
    time, new = _checked(time_d, counts)
    mean, _ = mean_time(time, new)
    square = float(new @ (time - mean) ** 2)
    return float(new.sum()) / square if square > 0.0 else float("inf")


def timson_index(counts: ArrayLike, n_sown: int) -> float:
    """Sum of the cumulative germination percentages of all looks.

    Parameters
    ----------
    counts : array_like, shape (n,)
        New seedlings at each look, one look a day.
    n_sown : int
        Seeds sown.

    Returns
    -------
    index_pct : float
        From 0 to 100 for each look.

    Raises
    ------
    OutOfRangeError
        If the counts are no germination test, or fewer seeds were sown than came up.

    References
    ----------
    .. [1] J. Timson, "New method of recording germination data", Nature 207, 1965, 216-217.

    Examples
    --------
    >>> timson_index([0, 5, 5], 10)
    150.0
    """
    new = np.asarray(counts, dtype=np.float64)
    _, new = _checked(np.arange(1.0, new.size + 1.0), new)
    if not n_sown >= new.sum():
        raise OutOfRangeError("n_sown", f"at least the {new.sum():g} that came up", n_sown)
    return float(100.0 * np.cumsum(new).sum() / n_sown)


def speed_index(time_d: ArrayLike, counts: ArrayLike) -> float:
    """Germination speed after Maguire: new seedlings over their day, summed.

    Parameters
    ----------
    time_d : array_like, shape (n,)
        Days of the looks since sowing, rising [d].
    counts : array_like, shape (n,)
        New seedlings at each look.

    Returns
    -------
    speed_per_d : float
        Seedlings per day.

    Raises
    ------
    OutOfRangeError
        If the counts are no germination test.

    References
    ----------
    .. [1] J. D. Maguire, Crop Science 2, 1962, 176-177.

    Examples
    --------
    >>> speed_index([2, 4], [1, 1])
    0.75
    """
    time, new = _checked(time_d, counts)
    return float(np.sum(new / time))


def uncertainty_bits(counts: ArrayLike) -> float:
    """Uncertainty of the day of germination, as entropy.

    Parameters
    ----------
    counts : array_like, shape (n,)
        New seedlings at each look.

    Returns
    -------
    uncertainty_bits : float
        Entropy [bits]; 0 if all came on one day.

    Raises
    ------
    OutOfRangeError
        If the counts are no germination test.

    Examples
    --------
    >>> uncertainty_bits([2, 2])
    1.0
    """
    new = np.asarray(counts, dtype=np.float64)
    _, new = _checked(np.arange(1.0, new.size + 1.0), new)
    share = new[new > 0.0] / new.sum()
    return float(-np.sum(share * np.log2(share)) + 0.0)


def synchrony(counts: ArrayLike) -> float:
    """Share of pairs of seeds that came up on the same day.

    Parameters
    ----------
    counts : array_like, shape (n,)
        New seedlings at each look.

    Returns
    -------
    synchrony_frac : float
        From 0 (each on its own day) to 1 (all on one day).

    Raises
    ------
    OutOfRangeError
        If the counts are no germination test or fewer than two seeds came up.

    Examples
    --------
    >>> synchrony([2, 0])
    1.0
    """
    new = np.asarray(counts, dtype=np.float64)
    _, new = _checked(np.arange(1.0, new.size + 1.0), new)
    total = float(new.sum())
    if total < 2.0:
        raise OutOfRangeError("counts", "at least two seeds up", total)
    return float(np.sum(new * (new - 1.0)) / (total * (total - 1.0)))
