"""How good forecasts were: reliability, coverage, Brier score and CRPS.

Scores are negatively oriented: less is better. Formulas name their sources; tests/published holds
them against closed forms and another library's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from sowbench.science.errors import OutOfRangeError

__all__ = [
    "BrierScore",
    "Coverage",
    "ReliabilityBin",
    "brier_score",
    "coverage",
    "crps_normal",
    "crps_pmf",
    "crps_quantiles",
    "reliability",
    "skill",
    "wilson_interval",
]

Floats = NDArray[np.float64]

LEVEL: Final = 0.90
"""Confidence of the intervals shown about observed shares."""

_INVERSE_ROOT_PI: Final = 1.0 / math.sqrt(math.pi)


@dataclass(frozen=True, slots=True)
class ReliabilityBin:
    """Forecasts of about one chance, and how often it happened.

    Attributes
    ----------
    low_frac, high_frac : float
        Edges of the bin.
    n : int
        Forecasts in it.
    mean_frac : float
        Mean of their chances.
    happened_frac : float
        Share that happened.
    happened_low_frac, happened_high_frac : float
        Wilson interval of that share at 90 %.
    """

    low_frac: float
    high_frac: float
    n: int
    mean_frac: float
    happened_frac: float
    happened_low_frac: float
    happened_high_frac: float


@dataclass(frozen=True, slots=True)
class Coverage:
    """How many outcomes lay within their spans.

    Attributes
    ----------
    n, n_within : int
        Outcomes, and those within.
    within_frac : float
        Their share.
    low_frac, high_frac : float
        Wilson interval of that share at 90 %.
    n_below, n_above : int
        Outcomes below and above their span.
    """

    n: int
    n_within: int
    within_frac: float
    low_frac: float
    high_frac: float
    n_below: int
    n_above: int


@dataclass(frozen=True, slots=True)
class BrierScore:
    """Brier score and what it is made of.

    Attributes
    ----------
    n : int
        Forecasts.
    score : float
        Mean squared difference; reliability - resolution + uncertainty + within bins.
    reliability : float
        How far chances are from what happens (less is better).
    resolution : float
        How far forecasts tell cases apart (more is better).
    uncertainty : float
        Score of who always says the share that happened.
    within_bins : float
        What is left because a bin holds different chances.
    """

    n: int
    score: float
    reliability: float
    resolution: float
    uncertainty: float
    within_bins: float


def wilson_interval(n_happened: int, n: int, level: float = LEVEL) -> tuple[float, float]:
    """Interval of a share that was counted.

    Parameters
    ----------
    n_happened, n : int
        Cases that happened, of all.
    level : float, default 0.90
        Confidence.

    Returns
    -------
    low_frac, high_frac : float
        The interval; 0 to 1 without cases.

    Raises
    ------
    OutOfRangeError
        If there are more than all, or the confidence is none.

    References
    ----------
    .. [1] E. B. Wilson, "Probable inference, the law of succession, and statistical inference",
       Journal of the American Statistical Association 22, 1927, 209-212.

    Examples
    --------
    >>> [round(each, 3) for each in wilson_interval(8, 10, 0.95)]
    [0.49, 0.943]
    """
    if not 0 <= n_happened <= n:
        raise OutOfRangeError("n_happened", f"from 0 to n {n}", n_happened)
    if not 0.0 < level < 1.0:
        raise OutOfRangeError("level", "above 0 and below 1", level)
    if n == 0:
        return 0.0, 1.0
    z2 = float(ndtri(0.5 + 0.5 * level)) ** 2
    p = n_happened / n
    middle = (p + z2 / (2 * n)) / (1 + z2 / n)
    half = math.sqrt(z2) * math.sqrt(p * (1 - p) / n + z2 / (4 * n * n)) / (1 + z2 / n)
    return max(middle - half, 0.0), min(middle + half, 1.0)


def reliability(
    chance_frac: ArrayLike, happened: ArrayLike, edges: Sequence[float] | None = None
) -> tuple[ReliabilityBin, ...]:
    """Reliability curve of chances.

    Parameters
    ----------
    chance_frac : array_like, shape (n,)
        Forecast chances.
    happened : array_like of bool, shape (n,)
        Whether each happened.
    edges : sequence of float or None, default None
        Edges of the bins, from 0 to 1; tenths by default.

    Returns
    -------
    bins : tuple of ReliabilityBin
        Bins that hold a forecast, rising.
    """
    p, y = _pairs(chance_frac, happened)
    limits = np.linspace(0.0, 1.0, 11) if edges is None else np.asarray(edges, dtype=np.float64)
    place = _bins(p, limits)
    out = []
    for k in range(limits.size - 1):
        here = place == k
        n = int(here.sum())
        if n == 0:
            continue
        n_happened = int(y[here].sum())
        low, high = wilson_interval(n_happened, n)
        mean = float(p[here].mean())
        out.append(
            ReliabilityBin(
                float(limits[k]), float(limits[k + 1]), n, mean, n_happened / n, low, high
            )
        )
    return tuple(out)


def brier_score(
    chance_frac: ArrayLike, happened: ArrayLike, edges: Sequence[float] | None = None
) -> BrierScore:
    """Brier score with its parts.

    Parameters
    ----------
    chance_frac : array_like, shape (n,)
        Forecast chances.
    happened : array_like of bool, shape (n,)
        Whether each happened.
    edges : sequence of float or None, default None
        Edges of the bins of the parts; tenths by default.

    Returns
    -------
    score : BrierScore
        The score; NaN without forecasts.

    References
    ----------
    .. [1] G. W. Brier, Monthly Weather Review 78, 1950, 1-3.
    .. [2] A. H. Murphy, "A new vector partition of the probability score", Journal of Applied
       Meteorology 12, 1973, 595-600.
    .. [3] D. B. Stephenson, C. A. S. Coelho and I. T. Jolliffe, "Two extra components in the Brier
       score decomposition", Weather and Forecasting 23, 2008, 752-757.
    """
    p, y = _pairs(chance_frac, happened)
    n = p.size
    if n == 0:
        return BrierScore(0, *([math.nan] * 5))
    limits = np.linspace(0.0, 1.0, 11) if edges is None else np.asarray(edges, dtype=np.float64)
    place = _bins(p, limits)
    base = float(y.mean())
    parts = np.zeros(3)
    for k in np.unique(place):
        here = place == k
        share, mean, often = here.sum() / n, float(p[here].mean()), float(y[here].mean())
        within = float(((p[here] - mean) ** 2).mean())
        within -= 2.0 * float(((y[here] - often) * (p[here] - mean)).mean())
        parts += share * np.array([(mean - often) ** 2, (often - base) ** 2, within])
    score = float(((p - y) ** 2).mean())
    return BrierScore(
        n, score, float(parts[0]), float(parts[1]), base * (1.0 - base), float(parts[2])
    )


def coverage(low: ArrayLike, high: ArrayLike, outcome: ArrayLike) -> Coverage:
    """How many outcomes lay within spans that were forecast, edges included.

    Parameters
    ----------
    low, high : array_like, shape (n,)
        Ends of the spans.
    outcome : array_like, shape (n,)
        What came.

    Returns
    -------
    coverage : Coverage
        The count; NaN as share without outcomes.
    """
    below = np.asarray(outcome, dtype=np.float64) < np.asarray(low, dtype=np.float64)
    above = np.asarray(outcome, dtype=np.float64) > np.asarray(high, dtype=np.float64)
    n = int(below.size)
    n_within = n - int(below.sum()) - int(above.sum())
    share = n_within / n if n else math.nan
    return Coverage(
        n, n_within, share, *wilson_interval(n_within, n), int(below.sum()), int(above.sum())
    )


def crps_normal(mean: ArrayLike, sd: ArrayLike, outcome: ArrayLike) -> Floats:
    """Continuous ranked probability score of normal forecasts.

    Parameters
    ----------
    mean, sd : array_like, shape (n,)
        Forecasts, sd above 0.
    outcome : array_like, shape (n,)
        What came.

    Returns
    -------
    crps : ndarray, shape (n,)
        Scores in the unit of the outcome.

    Raises
    ------
    OutOfRangeError
        If a standard deviation is not above 0.

    References
    ----------
    .. [1] T. Gneiting and A. E. Raftery, "Strictly proper scoring rules, prediction, and
       estimation", Journal of the American Statistical Association 102, 2007, 359-378, eq. 21 of
       section 4.2 (with the sign turned).

    Examples
    --------
    >>> crps_normal(0.0, 1.0, 0.0).round(4).tolist()
    0.2337
    """
    spread = np.asarray(sd, dtype=np.float64)
    if np.any(~(spread > 0.0)):
        raise OutOfRangeError("sd", "above 0", float(spread.min()))
    z = (np.asarray(outcome, dtype=np.float64) - np.asarray(mean, dtype=np.float64)) / spread
    density = np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    return np.asarray(spread * (z * (2.0 * ndtr(z) - 1.0) + 2.0 * density - _INVERSE_ROOT_PI))


def crps_pmf(pmf: ArrayLike, outcome: int) -> float:
    """Continuous ranked probability score of a distribution of counts.

    Parameters
    ----------
    pmf : array_like, shape (N + 1,)
        Chances of 0, 1, ... N.
    outcome : int
        What came, 0 or more.

    Returns
    -------
    crps : float
        Sum over k of (F(k) - 1[outcome <= k])².

    Raises
    ------
    OutOfRangeError
        If chances do not add to 1, or the outcome is below 0.

    References
    ----------
    .. [1] T. Gneiting and A. E. Raftery, Journal of the American Statistical Association 102,
       2007, 359-378, section 4.2 (its integral is a sum where all is whole).

    Examples
    --------
    >>> crps_pmf([0.5, 0.5], 1)
    0.25
    """
    chances = np.asarray(pmf, dtype=np.float64)
    if abs(float(chances.sum()) - 1.0) > 1e-6:
        raise OutOfRangeError("pmf", "chances that add to 1", float(chances.sum()))
    if outcome < 0:
        raise OutOfRangeError("outcome", "0 or more", outcome)
    size = max(chances.size, outcome + 1)
    below = np.ones(size)
    below[: chances.size] = np.cumsum(chances)
    return float(((below - (np.arange(size) >= outcome)) ** 2).sum())


def crps_quantiles(levels: Sequence[float], quantiles: ArrayLike, outcome: ArrayLike) -> Floats:
    """Score of forecasts given by a few quantiles, near their CRPS.

    Parameters
    ----------
    levels : sequence of float
        Chances of the quantiles, rising.
    quantiles : array_like, shape (n, len(levels))
        The quantiles.
    outcome : array_like, shape (n,)
        What came.

    Returns
    -------
    score : ndarray, shape (n,)
        Twice the mean quantile score, each level weighed by the stretch of chances nearest to it.

    Raises
    ------
    OutOfRangeError
        If levels do not rise between 0 and 1.

    Notes
    -----
    The CRPS is twice the integral of the quantile score over the chances from 0 to 1.

    References
    ----------
    .. [1] F. Laio and S. Tamea, Hydrology and Earth System Sciences 11, 2007, 1267-1277 (cited from
       memory); quantile score of T. Gneiting and A. E. Raftery 2007, eq. 40 of section 6.1.
    """
    a = np.asarray(levels, dtype=np.float64)
    if not a.size or a[0] <= 0.0 or a[-1] >= 1.0 or np.any(np.diff(a) <= 0.0):
        raise OutOfRangeError("levels", "rising, above 0 and below 1", list(levels))
    edges = np.concatenate([[0.0], 0.5 * (a[1:] + a[:-1]), [1.0]])
    q = np.asarray(quantiles, dtype=np.float64)
    x = np.asarray(outcome, dtype=np.float64)[..., None]
    pinball = (a - (x < q)) * (x - q)
    return np.asarray(2.0 * (pinball * np.diff(edges)).sum(axis=-1))


def skill(score: float, reference: float) -> float:
    """Share of a reference's score that is saved.

    Parameters
    ----------
    score, reference : float
        Mean scores, less is better.

    Returns
    -------
    skill : float
        1 - score / reference; NaN where the reference is perfect.

    Examples
    --------
    >>> skill(0.5, 2.0)
    0.75
    """
    return 1.0 - score / reference if reference > 0.0 else math.nan


def _pairs(chance_frac: ArrayLike, happened: ArrayLike) -> tuple[Floats, Floats]:
    """Check forecasts and outcomes."""
    p = np.asarray(chance_frac, dtype=np.float64).ravel()
    y = np.asarray(happened, dtype=np.float64).ravel()
    if p.shape != y.shape:
        raise OutOfRangeError("happened", f"one for each of {p.size} forecasts", y.size)
    if p.size and not (float(p.min()) >= 0.0 and float(p.max()) <= 1.0):
        raise OutOfRangeError("chance_frac", "from 0 to 1", (float(p.min()), float(p.max())))
    if np.any((y != 0.0) & (y != 1.0)):
        raise OutOfRangeError("happened", "true or false", sorted(set(y.tolist())))
    return p, y


def _bins(p: Floats, edges: Floats) -> NDArray[np.int64]:
    """Bin of each chance; the upper edge of the last belongs to it."""
    if edges.size < 2 or edges[0] != 0.0 or edges[-1] != 1.0 or np.any(np.diff(edges) <= 0.0):
        raise OutOfRangeError("edges", "rising from 0 to 1", edges.tolist())
    at = np.searchsorted(edges, p, side="right") - 1
    return np.minimum(at, edges.size - 2).astype(np.int64)
