"""Germination and emergence from counts at intervals, by maximum likelihood.

A seed counted at noon came up some time since the last look: that is all a count says. Fitting the
intervals themselves, and the seeds that never came, avoids the bias of counting a seed at the end
of its interval.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize, minimize_scalar
from scipy.special import expit, ndtr

from sowbench.science.errors import DoubtWarning, OutOfRangeError, UnknownNameError

# Standard deviation of the standard logistic distribution.
_LOGISTIC_SD: Final = math.pi / math.sqrt(3.0)
_LOG_SPREAD_MIN: Final = math.log(1e-3)
_LOG_SPREAD_MAX: Final = math.log(5.0)
# Below this share of the final germination at the last look, the end is guessed (our choice).
_NEARLY_DONE_FRAC: Final = 0.9
# A change of the log-likelihood that nobody would call evidence (our choice).
_FLAT_LOG_LIKELIHOOD: Final = 0.05
_FAMILIES: Final[dict[str, Callable[[NDArray[np.float64]], NDArray[np.float64]]]] = {
    "log-logistic": expit,
    "log-normal": ndtr,
}


@dataclass(frozen=True, slots=True)
class GerminationFit:
    """What a germination or emergence count says.

    Parameters
    ----------
    family : str
        Distribution of the time: ``log-logistic`` or ``log-normal``.
    final_frac : float
        Share of the sown seeds that comes up in the end.
    median_d : float
        Time to half of the **final** germination [d]; NaN if none came up.
    spread : float
        Standard deviation of ln t (log-normal) or its logistic scale, 1 / slope (log-logistic);
        NaN where the counts cannot tell.
    final_se_frac, median_se_d, spread_se : float
        Standard errors; NaN where the counts cannot tell.
    log_likelihood : float
        Sum of n ln(probability of the interval), without the multinomial constant.
    doubts : tuple of str
        What cannot be known from these counts, in words.
    """

    family: str
    final_frac: float
    median_d: float
    spread: float
    final_se_frac: float
    median_se_d: float
    spread_se: float
    log_likelihood: float
    doubts: tuple[str, ...]

    @property
    def slope(self) -> float:
        """Slope b of the log-logistic curve d / (1 + (t / median)**-b)."""
        return 1.0 / self.spread

    @property
    def sigma_seed(self) -> float:
        """Standard deviation of the logarithm of time between seeds."""
        return self.spread * (_LOGISTIC_SD if self.family == "log-logistic" else 1.0)

    def fraction_by(self, time_d: ArrayLike) -> NDArray[np.float64]:
        """Share of the sown seeds that is up by a time.

        Parameters
        ----------
        time_d : array_like, shape (...)
            Time since sowing, 0 or more [d].

        Returns
        -------
        up_frac : ndarray, shape (...)
            Share of the sown seeds.
        """
        shape = _FAMILIES[self.family]
        time = np.asarray(time_d, dtype=np.float64)
        return self.final_frac * _cumulative(
            shape, time, math.log(self.median_d), math.log(self.spread)
        )


@dataclass(frozen=True, slots=True)
class _Counts:
    """Checked counts: intervals with their numbers, and the seeds not up at the last look."""

    start: NDArray[np.float64]
    end: NDArray[np.float64]
    n: NDArray[np.float64]
    n_rest: float
    last: float

    @property
    def n_up(self) -> float:
        """Seeds that came up."""
        return float(self.n.sum())


def _checked(
    start_d: ArrayLike, end_d: ArrayLike, counts: ArrayLike, n_sown: int | None
) -> _Counts:
    """Check the counts and part the open last interval from the rest."""
    start = np.atleast_1d(np.asarray(start_d, dtype=np.float64))
    end = np.atleast_1d(np.asarray(end_d, dtype=np.float64))
    number = np.atleast_1d(np.asarray(counts, dtype=np.float64))
    if start.ndim != 1 or not start.shape == end.shape == number.shape or start.size == 0:
        raise OutOfRangeError(
            "start_d, end_d and counts",
            "vectors of one length, at least 1",
            (start.shape, end.shape, number.shape),
        )
    if not (np.all(start >= 0.0) and np.all(end > start) and np.all(np.isfinite(start))):
        raise OutOfRangeError(
            "start_d and end_d", "0 d or more, each end after its start", [start, end]
        )
    if not np.all((number >= 0.0) & (number == np.floor(number))):
        raise OutOfRangeError("counts", "whole numbers from 0 up", number.tolist())
    shut = np.isfinite(end)
    if not np.any(shut):
        raise OutOfRangeError("end_d", "finite for at least one interval", end.tolist())
    n_open, total = float(number[~shut].sum()), float(number.sum())
    sown = total if n_sown is None else float(n_sown)
    if sown < total or sown < 1 or (np.any(~shut) and sown != total):
        raise OutOfRangeError(
            "n_sown",
            f"at least 1 and the {total:g} seeds counted"
            if n_open == 0.0
            else f"the {total:g} seeds counted with those of the open interval",
            n_sown,
        )
    return _Counts(
        start[shut], end[shut], number[shut], sown - total + n_open, float(end[shut].max())
    )


def _cumulative(
    shape: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    time: NDArray[np.float64],
    log_median: float,
    log_spread: float,
) -> NDArray[np.float64]:
    """Share of the final germination by a time."""
    with np.errstate(divide="ignore"):
        log_time = np.log(time)
    return np.asarray(shape((log_time - log_median) / math.exp(log_spread)))


class _Likelihood:
    """Log-likelihood of the counts under one family."""

    def __init__(self, counts: _Counts, family: str) -> None:
        self.counts = counts
        self.shape = _FAMILIES[family]

    def parts(self, log_median: float, log_spread: float) -> tuple[float, float]:
        """Return the intervals' part, and the share of the final germination at the last look."""
        c = self.counts
        rise = _cumulative(self.shape, c.end, log_median, log_spread) - _cumulative(
            self.shape, c.start, log_median, log_spread
        )
        seen = c.n > 0.0
        with np.errstate(divide="ignore"):
            part = float(np.sum(c.n[seen] * np.log(np.maximum(rise[seen], 1e-300))))
        done = _cumulative(self.shape, np.array([c.last]), log_median, log_spread)
        return part, float(done[0])

    def best_final(self, log_median: float, log_spread: float) -> float:
        """Final fraction of the largest likelihood, given the curve; in closed form."""
        _, done = self.parts(log_median, log_spread)
        return min(1.0, self.counts.n_up / ((self.counts.n_up + self.counts.n_rest) * done))

    def value(self, final: float, log_median: float, log_spread: float) -> float:
        """Log-likelihood without the multinomial constant."""
        part, done = self.parts(log_median, log_spread)
        rest = 0.0
        if self.counts.n_rest > 0.0:
            left = 1.0 - final * done
            rest = self.counts.n_rest * math.log(max(left, 1e-300))
        return part + self.counts.n_up * math.log(final) + rest

    def profile(self, x: NDArray[np.float64]) -> float:
        """Minus the log-likelihood with the best final fraction."""
        log_spread = float(np.clip(x[1], _LOG_SPREAD_MIN, _LOG_SPREAD_MAX))
        # Outside the range of spreads the value rises, so that the search comes back.
        penalty = 1e3 * (float(x[1]) - log_spread) ** 2
        _, done = self.parts(float(x[0]), log_spread)
        if done <= 0.0:
            return 1e10
        return penalty - self.value(
            self.best_final(float(x[0]), log_spread), float(x[0]), log_spread
        )


def _information(
    function: Callable[[NDArray[np.float64]], float], at: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Second derivatives of minus the log-likelihood, by central differences."""
    size = at.size
    step = np.diag(np.full(size, 1e-4))
    matrix = np.empty((size, size))
    for i in range(size):
        for j in range(size):
            matrix[i, j] = (
                function(at + step[i] + step[j])
                - function(at + step[i] - step[j])
                - function(at - step[i] + step[j])
                + function(at - step[i] - step[j])
            ) / (4.0 * 1e-8)
    return matrix


def _is_jump(likelihood: _Likelihood, x: NDArray[np.float64]) -> bool:
    """Whether half the spread fits as well: then any smaller one does too."""
    narrow = float(x[1]) - math.log(2.0)
    if narrow <= _LOG_SPREAD_MIN:
        return True
    reach = 3.0 * math.exp(float(x[1])) + 0.05
    found = minimize_scalar(
        lambda log_median: likelihood.profile(np.array([log_median, narrow])),
        bounds=(float(x[0]) - reach, float(x[0]) + reach),
        method="bounded",
    )
    return bool(found.fun - likelihood.profile(x) < _FLAT_LOG_LIKELIHOOD)


def _standard_errors(
    likelihood: _Likelihood, final: float, x: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Errors of final fraction, log median and log spread; NaN where there is no curvature."""
    bound = final >= 1.0
    if bound:
        found = _information(lambda y: -likelihood.value(1.0, float(y[0]), float(y[1])), x)
    else:
        found = _information(
            lambda y: -likelihood.value(float(y[0]), float(y[1]), float(y[2])),
            np.array([final, *x]),
        )
    errors = np.full(3, np.nan)
    if np.all(np.isfinite(found)) and np.all(np.linalg.eigvalsh(found) > 1e-6):
        errors[1 if bound else 0 :] = np.sqrt(np.diag(np.linalg.inv(found)))
    return errors


def fit_germination(
    start_d: ArrayLike,
    end_d: ArrayLike,
    counts: ArrayLike,
    n_sown: int | None = None,
    family: str = "log-logistic",
) -> GerminationFit:
    """Final fraction, median time and spread from counts at intervals.

    Parameters
    ----------
    start_d : array_like, shape (n,)
        Last look before the seeds of the interval were up [d since sowing].
    end_d : array_like, shape (n,)
        Look at which they were counted [d]; infinite for an open interval that holds the seeds
        not up at the last look.
    counts : array_like, shape (n,)
        New seedlings (or roots) of each interval.
    n_sown : int, optional
        Seeds sown; default all that were counted, which needs an open interval or means that
        every seed came up.
    family : {"log-logistic", "log-normal"}, default "log-logistic"
        Distribution of the time.

    Returns
    -------
    fit : GerminationFit
        Estimates with standard errors from the curvature of the likelihood.

    Raises
    ------
    OutOfRangeError
        If vectors do not match, times do not rise, counts are no whole numbers, or fewer seeds
        were sown than counted.
    UnknownNameError
        If there is no such family.

    Warns
    -----
    DoubtWarning
        Once for each thing that these counts cannot tell; the same words are in `doubts`.

    References
    ----------
    .. [1] C. Ritz, C. B. Pipper, J. C. Streibig, "Analysis of germination data from agricultural
       experiments", European Journal of Agronomy 45, 2013, 1-6.

    Examples
    --------
    >>> fit = fit_germination(
    ...     range(14),
    ...     range(1, 15),
    ...     [0, 0, 0, 0, 4, 17, 10, 7, 1, 0, 1, 0, 0, 0],
    ...     n_sown=50,
    ...     family="log-normal",
    ... )
    >>> round(fit.final_frac, 3), round(fit.median_d, 3), round(fit.spread, 4)
    (0.8, 6.102, 0.1754)
    """
    if family not in _FAMILIES:
        raise UnknownNameError.among(family, "family", _FAMILIES)
    data = _checked(start_d, end_d, counts, n_sown)
    fit = _fit(data, family)
    for doubt in fit.doubts:
        warnings.warn(doubt, DoubtWarning, stacklevel=2)
    return fit


def _fit(data: _Counts, family: str) -> GerminationFit:
    """Fit checked counts."""
    nan = math.nan
    if data.n_up == 0.0:
        doubt = "No seed came up: median and spread cannot be known from these counts."
        return GerminationFit(family, 0.0, nan, nan, nan, nan, nan, 0.0, (doubt,))
    seen = data.n > 0.0
    likelihood = _Likelihood(data, family)
    if np.count_nonzero(seen) == 1:
        return _fit_one_interval(data, family)
    middle = 0.5 * (data.start[seen] + data.end[seen])
    order = np.argsort(middle)
    half = np.searchsorted(np.cumsum(data.n[seen][order]), 0.5 * data.n_up)
    log_median = math.log(middle[order][half])
    searches = [
        minimize(
            likelihood.profile,
            np.array([log_median, math.log(spread)]),
            method="Nelder-Mead",
            options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000, "maxfev": 4000},
        )
        for spread in (0.05, 0.15, 0.5)
    ]
    x = np.asarray(min(searches, key=lambda each: float(each.fun)).x, dtype=np.float64)
    x[1] = np.clip(x[1], _LOG_SPREAD_MIN, _LOG_SPREAD_MAX)
    final = likelihood.best_final(*x)
    errors = _standard_errors(likelihood, final, x)
    median, spread = math.exp(x[0]), math.exp(x[1])
    known_spread = math.isfinite(errors[2]) and not _is_jump(likelihood, x)
    _, done = likelihood.parts(*x)
    return GerminationFit(
        family,
        final,
        median,
        spread if known_spread else nan,
        float(errors[0]),
        median * float(errors[1]) if known_spread else nan,
        spread * float(errors[2]) if known_spread else nan,
        likelihood.value(final, *x),
        _doubts(data, final, done, known_spread=known_spread),
    )


def _fit_one_interval(data: _Counts, family: str) -> GerminationFit:
    """Say what can be said when every seed came up between two looks."""
    seen = data.n > 0.0
    share = data.n_up / (data.n_up + data.n_rest)
    start, end = float(data.start[seen][0]), float(data.end[seen][0])
    error = (
        math.nan if share >= 1.0 else math.sqrt(share * (1.0 - share) / (data.n_up + data.n_rest))
    )
    value = data.n_up * math.log(share)
    if data.n_rest > 0.0:
        value += data.n_rest * math.log1p(-share)
    nan = math.nan
    where = f"All seeds came up between {start:g} and {end:g} d"
    doubts = [f"{where}: only the middle is given, and no spread can be known. Look more often."]
    if share >= 1.0:
        doubts.append(_ALL_UP)
    return GerminationFit(
        family, share, 0.5 * (start + end), nan, error, nan, nan, value, tuple(doubts)
    )


_ALL_UP: Final = (
    "Every seed came up: the final fraction is at its bound 1 and its error cannot be known from "
    "these counts."
)


def _doubts(data: _Counts, final: float, done: float, *, known_spread: bool) -> tuple[str, ...]:
    """Put into words what the counts cannot tell."""
    doubts = []
    if data.n_rest == 0.0:
        doubts.append(_ALL_UP)
    elif final >= 1.0:
        doubts.append(
            "The final fraction is at its bound 1: seeds were still coming at the last look, and "
            "how many more come cannot be known from these counts."
        )
    elif done < _NEARLY_DONE_FRAC:
        doubts.append(
            f"Only {100.0 * done:.0f} % of the final germination had come at the last look: the "
            "final fraction is guessed from the curve. Count longer."
        )
    if not known_spread:
        doubts.append(
            "The counts fit a jump as well as a rise: the spread cannot be known. Look more often."
        )
    return tuple(doubts)
