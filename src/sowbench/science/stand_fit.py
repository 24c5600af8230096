"""Mean and correlation of counts in dishes, cells or trays that share a fate."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize
from scipy.special import expit, gammaln, logit

from sowbench.science.errors import DoubtWarning, OutOfRangeError

_RHO_MAX: Final = 0.99
_P_EDGE: Final = 1e-6


@dataclass(frozen=True, slots=True)
class BetaBinomialFit:
    """What counts in groups of dishes or trays say.

    Parameters
    ----------
    groups : tuple of str
        Names of the groups, in the order of their first appearance.
    mean_frac : tuple of float
        Mean share of successes by group.
    mean_logit : tuple of float
        The same as ln(p / (1 - p)).
    mean_logit_se : tuple of float
        Standard errors of the logits.
    rho : float
        Correlation between two seeds of one dish, common to all groups; 0 is the binomial.
    rho_se : float
        Standard error of `rho`; NaN at its bound 0.
    log_likelihood : float
        With the binomial coefficients.
    covariance : ndarray, shape (n_groups, n_groups)
        Covariance of the logits.
    """

    groups: tuple[str, ...]
    mean_frac: tuple[float, ...]
    mean_logit: tuple[float, ...]
    mean_logit_se: tuple[float, ...]
    rho: float
    rho_se: float
    log_likelihood: float
    covariance: NDArray[np.float64]

    def contrast(self, group: str, against: str) -> tuple[float, float]:
        """Difference of the logits of two groups.

        Parameters
        ----------
        group, against : str
            Names of two groups.

        Returns
        -------
        difference : float
            Logit of `group` less that of `against`.
        difference_se : float
            Its standard error.
        """
        i, j = self.groups.index(group), self.groups.index(against)
        c = self.covariance
        variance = c[i, i] + c[j, j] - 2.0 * c[i, j]
        return self.mean_logit[i] - self.mean_logit[j], math.sqrt(float(variance))


class _Counts:
    """Checked counts with what the likelihood needs of them over and over."""

    def __init__(self, successes: ArrayLike, totals: ArrayLike, groups: ArrayLike | None) -> None:
        y = np.asarray(successes, dtype=np.float64)
        n = np.asarray(totals, dtype=np.float64)
        names = np.full(y.shape, "all") if groups is None else np.asarray(groups).astype(str)
        if y.ndim != 1 or not y.shape == n.shape == names.shape or y.size == 0:
            raise OutOfRangeError(
                "successes, totals and groups",
                "vectors of one length, at least 1",
                (y.shape, n.shape, names.shape),
            )
        if not np.all((y >= 0) & (y <= n) & (n >= 1) & (y % 1 == 0) & (n % 1 == 0)):
            raise OutOfRangeError(
                "successes and totals", "whole numbers with 0 <= successes <= totals", (y, n)
            )
        self.y, self.n = y, n
        self.names = tuple(dict.fromkeys(names.tolist()))
        self.group = np.array([self.names.index(name) for name in names.tolist()])
        self.constant = float(np.sum(gammaln(n + 1) - gammaln(y + 1) - gammaln(n - y + 1)))
        k = np.arange(int(n.max()), dtype=np.float64)
        self.k = k
        self.up, self.down, self.all = k < y[:, None], k < (n - y)[:, None], k < n[:, None]

    def log_likelihood(self, mean_logit: NDArray[np.float64], rho: float) -> float:
        """Log-likelihood as a product of conditional chances, exact down to rho = 0."""
        theta = rho / (1.0 - rho)
        p = expit(mean_logit)[self.group][:, None]
        grown = self.k * theta
        part = np.where(self.up, np.log(p + grown), 0.0).sum()
        part += np.where(self.down, np.log(1.0 - p + grown), 0.0).sum()
        part -= np.where(self.all, np.log1p(grown), 0.0).sum()
        return float(part) + self.constant


def _curvature(
    counts: _Counts, mean_logit: NDArray[np.float64], rho: float, *, bound: bool
) -> NDArray[np.float64]:
    """Covariance of the logits and, unless at its bound, of rho, by central differences."""
    at = mean_logit if bound else np.append(mean_logit, rho)
    step = np.full(at.size, 1e-4)
    if not bound:
        step[-1] = min(1e-4, rho / 4.0)

    def value(x: NDArray[np.float64]) -> float:
        means, correlation = (x, 0.0) if bound else (x[:-1], float(x[-1]))
        return -counts.log_likelihood(means, correlation)

    size = at.size
    matrix = np.empty((size, size))
    shift = np.diag(step)
    for i in range(size):
        for j in range(size):
            matrix[i, j] = (
                value(at + shift[i] + shift[j])
                - value(at + shift[i] - shift[j])
                - value(at - shift[i] + shift[j])
                + value(at - shift[i] - shift[j])
            ) / (4.0 * step[i] * step[j])
    return np.asarray(np.linalg.inv(matrix))


def fit_beta_binomial(
    successes: ArrayLike, totals: ArrayLike, groups: ArrayLike | None = None
) -> BetaBinomialFit:
    """Means by group and one common correlation, by maximum likelihood.

    Parameters
    ----------
    successes : array_like, shape (n,)
        Seeds that came up in each dish or tray.
    totals : array_like, shape (n,)
        Seeds sown there, 1 or more.
    groups : array_like of str, shape (n,), optional
        Lot or treatment of each dish; all the same by default.

    Returns
    -------
    fit : BetaBinomialFit
        Estimates with standard errors from the curvature of the likelihood.

    Raises
    ------
    OutOfRangeError
        If vectors do not match or counts are no whole numbers with successes at most totals.

    Warns
    -----
    DoubtWarning
        If the correlation is at its bound 0, or cannot be known because no dish holds two seeds.

    Notes
    -----
    The variance of a count is ``n p (1 - p) (1 + (n - 1) rho)``. Official laboratories count
    replicates that vary less than the binomial, so take rho from the house's own trays.

    References
    ----------
    .. [1] M. J. Crowder, "Beta-binomial anova for proportions", Applied Statistics 27, 1978,
       34-37.

    Examples
    --------
    >>> fit = fit_beta_binomial([10, 23, 23, 26, 17], [39, 62, 81, 51, 39])
    >>> round(fit.mean_frac[0], 4), round(fit.rho, 4)
    (0.3687, 0.0173)
    """
    counts = _Counts(successes, totals, groups)
    index = range(len(counts.names))
    pooled = np.array([
        counts.y[counts.group == i].sum() / counts.n[counts.group == i].sum() for i in index
    ])  # fmt: skip
    start = logit(np.clip(pooled, _P_EDGE, 1.0 - _P_EDGE))

    # Dishes of one seed each have no correlation to show.
    rho_max = _RHO_MAX if counts.n.max() > 1 else 0.0

    def value(x: NDArray[np.float64]) -> float:
        return -counts.log_likelihood(x[:-1], float(x[-1]))

    edge = float(logit(1.0 - _P_EDGE))
    found = min(
        (
            minimize(
                value,
                np.append(start, min(rho, rho_max)),
                method="L-BFGS-B",
                bounds=[(-edge, edge)] * len(counts.names) + [(0.0, rho_max)],
                options={"ftol": 1e-14, "gtol": 1e-8, "maxiter": 1000},
            )
            for rho in (0.005, 0.05, 0.4)
        ),
        key=lambda each: float(each.fun),
    )
    means, rho = np.asarray(found.x[:-1]), float(found.x[-1])
    bound = rho <= 1e-7
    if bound:
        rho = 0.0
        doubt = "The correlation is at its bound 0: these counts vary no more than the binomial."
        if rho_max == 0.0:
            doubt = "No dish holds two seeds: the correlation cannot be known from these counts."
        warnings.warn(doubt, DoubtWarning, stacklevel=2)
    covariance = _curvature(counts, means, rho, bound=bound)
    errors = np.sqrt(np.diag(covariance))
    size = len(counts.names)
    return BetaBinomialFit(
        counts.names,
        tuple(expit(means).tolist()),
        tuple(means.tolist()),
        tuple(errors[:size].tolist()),
        rho,
        math.nan if bound else float(errors[size]),
        counts.log_likelihood(means, rho),
        covariance[:size, :size],
    )
