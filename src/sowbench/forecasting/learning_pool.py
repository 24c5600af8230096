"""Partial pooling: effects of several levels from readings with errors, some of them odd.

The model, its priors and the approximations are those of docs/model.md section 15. Nothing here
knows of crops: readings have an effect of each level, found by index.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import gammaln, ndtri, stdtrit

from sowbench.science.errors import OutOfRangeError
from sowbench.science.quadrature import normal_nodes

__all__ = ["DEGREES", "SPAN_OF_T", "Levels", "Pooled", "pool"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DEGREES: Final = 4.0
"""Degrees of freedom of what differs from sowing to sowing (assumption)."""

SPAN_OF_T: Final = float(stdtrit(DEGREES, 0.9) / ndtri(0.9))
"""Standard deviation of the normal with the same 80 % span as t of scale 1."""

_N_NODES: Final = 15
_N_POINTS: Final = 64
_WIDER: Final = 1.15
_ITERATIONS: Final = 80
_TOLERANCE: Final = 1e-4
_STEP: Final = 0.1
_LOG_RANGE: Final = (-4.0, 3.0)
_T_CONSTANT: Final = float(
    gammaln((DEGREES + 1) / 2) - gammaln(DEGREES / 2) - 0.5 * math.log(DEGREES * math.pi)
)


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Which effects bear on which reading.

    Attributes
    ----------
    index : ndarray of int, shape (n, G)
        Effect of each level, from 0.
    loading : ndarray, shape (n, G)
        By how much it counts.
    sizes : tuple of int
        Effects of each level.
    scales : tuple of float
        Prior scale of the spread of each level.
    fixed : tuple of bool
        Whether a level's spread is its scale, not estimated.
    """

    index: Ints
    loading: Floats
    sizes: tuple[int, ...]
    scales: tuple[float, ...]
    fixed: tuple[bool, ...]

    def __post_init__(self) -> None:
        """Refuse what does not fit together."""
        n_levels = len(self.sizes)
        if self.index.ndim != 2 or self.index.shape[1] != n_levels:
            raise OutOfRangeError("index", f"of {n_levels} levels a reading", self.index.shape)
        if self.index.shape != self.loading.shape:
            raise OutOfRangeError("loading", f"of shape {self.index.shape}", self.loading.shape)
        if len(self.scales) != n_levels or len(self.fixed) != n_levels:
            raise OutOfRangeError("scales and fixed", f"{n_levels} each", self.scales)

    @property
    def first(self) -> Ints:
        """Column of each level's first effect."""
        return np.concatenate([[0], np.cumsum(self.sizes)[:-1]]).astype(np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class Pooled:
    """Posterior of the effects of all levels, one level after the other.

    Attributes
    ----------
    mean, covariance : ndarray, shape (p,) and (p, p)
        Of all effects.
    tau2 : ndarray, shape (G,)
        Mean squared spread of each level.
    scale2 : float
        Mean squared scale of what differs from sowing to sowing.
    pull : ndarray, shape (n,)
        Pull of each reading, 1 where it is as expected, near 0 where it is odd.
    """

    mean: Floats
    covariance: Floats
    tau2: Floats
    scale2: float
    pull: Floats

    def moments(self, x: Floats) -> tuple[float, float]:
        """Mean and variance of a sum of effects.

        Parameters
        ----------
        x : ndarray, shape (p,)
            How often each is in the sum.

        Returns
        -------
        mean, variance : float
            Of the sum.
        """
        return float(x @ self.mean), max(float(x @ self.covariance @ x), 0.0)


@dataclass(slots=True, eq=False)
class _Fit:
    """The closest normal for one set of spreads."""

    mean: Floats
    covariance: Floats
    curvature: Floats
    bound: float
    gradient: Floats


def pool(value: Floats, variance: Floats, levels: Levels, scale: float) -> Pooled:
    """Pool readings.

    Parameters
    ----------
    value, variance : ndarray, shape (n,)
        Readings and their error variances.
    levels : Levels
        Which effects bear on them.
    scale : float
        Prior scale of what differs from reading to reading.

    Returns
    -------
    pooled : Pooled
        The posterior.

    Raises
    ------
    OutOfRangeError
        If there is no reading, or shapes differ.

    Notes
    -----
    For given spreads the posterior is the normal with the greatest lower bound of the evidence
    under a t-likelihood (M. Opper and C. Archambeau, "The variational Gaussian approximation
    revisited", Neural Computation 21, 2009, 786-792; cited from memory). The spreads are summed
    over points about their mode.
    """
    n = value.size
    if n == 0 or variance.shape != value.shape or levels.index.shape[0] != n:
        rule = f"one for each of {n} readings, 1 or more"
        raise OutOfRangeError("variance and index", rule, (variance.shape, levels.index.shape))
    work = _Work(value, variance, levels, scale)
    mode, fit = work.mode()
    return work.summed(mode, fit)


class _Work:
    """Fits of the same readings for many sets of spreads."""

    def __init__(self, value: Floats, variance: Floats, levels: Levels, scale: float) -> None:
        self.value, self.variance, self.levels = value, variance, levels
        self.scales = np.array([*levels.scales, scale])
        self.free = np.array([*(not each for each in levels.fixed), True])
        self.columns = levels.index + levels.first
        self.p = sum(levels.sizes)
        self.level_of = np.repeat(np.arange(len(levels.sizes)), levels.sizes)
        pairs = self.columns[:, :, None] * self.p + self.columns[:, None, :]
        self.pairs = pairs.reshape(value.size, -1)
        both = levels.loading[:, :, None] * levels.loading[:, None, :]
        self.pair_loading = both.reshape(value.size, -1)
        self.nodes, self.node_weights = normal_nodes(_N_NODES)

    def fit(self, theta: Floats, start: _Fit | None) -> _Fit:
        """Find the closest normal for spreads exp(theta), from another's."""
        tau, scale = np.exp(theta[:-1]), math.exp(theta[-1])
        prior = 1.0 / tau[self.level_of] ** 2
        var = scale**2 + self.variance
        if start is None:
            mean, curvature = np.zeros(self.p), np.zeros(self.value.size)
        else:
            mean, curvature = start.mean, start.curvature
        covariance = self._covariance(prior, curvature)
        eta = self._sums(mean)
        for step in range(_ITERATIONS):
            score, wanted = self._slopes(eta, covariance, var)
            share = 1.0 if step < 6 else 0.6
            curvature = curvature + share * (np.maximum(wanted, 0.0) - curvature)
            covariance = self._covariance(prior, curvature)
            change = covariance @ (self._back(score) - prior * mean)
            mean = mean + share * change
            before, eta = eta, self._sums(mean)
            if step > 2 and float(np.max(np.abs(eta - before) / np.sqrt(var))) < _TOLERANCE:
                break
        return self._judged(theta, mean, covariance, curvature, eta)

    def _judged(
        self, theta: Floats, mean: Floats, covariance: Floats, curvature: Floats, eta: Floats
    ) -> _Fit:
        """Work out the bound of a fit, with the priors of its spreads, and its gradient."""
        tau, scale = np.exp(theta[:-1]), math.exp(theta[-1])
        var = scale**2 + self.variance
        r = self._residuals(eta, covariance)
        spread2 = r * r / var[:, None]
        terms = -0.5 * (DEGREES + 1) * np.log1p(spread2 / DEGREES)
        likelihood = _T_CONSTANT * var.size - 0.5 * float(np.log(var).sum())
        likelihood += float((terms @ self.node_weights).sum())
        of_var = -0.5 + 0.5 * (DEGREES + 1) * ((spread2 / (DEGREES + spread2)) @ self.node_weights)
        squares = mean**2 + np.diag(covariance)
        by_level = np.bincount(self.level_of, squares, minlength=tau.size) / tau**2
        sizes = np.array(self.levels.sizes, dtype=np.float64)
        sign, log_det = np.linalg.slogdet(covariance)
        bound = likelihood + 0.5 * log_det * sign
        bound -= float(sizes @ theta[:-1]) + 0.5 * float(by_level.sum())
        gradient = np.empty(theta.size)
        gradient[:-1] = by_level - sizes
        gradient[-1] = float((of_var * 2.0 * scale**2 / var).sum())
        ratio2 = np.exp(2.0 * theta) / self.scales**2
        bound += float(((theta - 0.5 * ratio2) * self.free).sum())
        gradient = np.where(self.free, gradient + 1.0 - ratio2, 0.0)
        return _Fit(mean, covariance, curvature, bound, gradient)

    def mode(self) -> tuple[Floats, _Fit]:
        """Find the likeliest spreads."""
        theta = np.log(self.scales)
        last = self.fit(theta, None)

        def turned(free: Floats) -> tuple[float, Floats]:
            nonlocal last
            at = theta.copy()
            at[self.free] = free
            last = self.fit(at, last)
            return -last.bound, -last.gradient[self.free]

        begin = theta[self.free]
        bounds = [(each + _LOG_RANGE[0], each + _LOG_RANGE[1]) for each in begin]
        found = minimize(
            turned, begin, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 60}
        )
        theta[self.free] = found.x
        return theta, self.fit(theta, last)

    def summed(self, mode: Floats, at_mode: _Fit) -> Pooled:
        """Sum over points about the mode."""
        root = self._root(mode, at_mode)
        points = _even_normals(_N_POINTS, root.shape[0])
        weights = np.empty(_N_POINTS)
        fits: list[tuple[Floats, _Fit]] = []
        low, high = np.log(self.scales) + _LOG_RANGE[0], np.log(self.scales) + _LOG_RANGE[1]
        for i, z in enumerate(points):
            theta = mode.copy()
            theta[self.free] += _WIDER * root @ z
            theta = np.clip(theta, low, high)
            fit = self.fit(theta, at_mode)
            weights[i] = fit.bound + 0.5 * float(z @ z)
            fits.append((theta, fit))
        weights = np.exp(weights - weights.max())
        weights /= weights.sum()
        mean = sum((w * fit.mean for w, (_, fit) in zip(weights, fits, strict=True)), 0.0)
        mean = np.asarray(mean)
        covariance = np.zeros((self.p, self.p))
        squares = np.zeros(mode.size)
        for w, (theta, fit) in zip(weights, fits, strict=True):
            off = fit.mean - mean
            covariance += w * (fit.covariance + np.outer(off, off))
            squares += w * np.exp(2.0 * theta)
        r = self.value - self._sums(mean)
        pull = 1.0 / (1.0 + r * r / (DEGREES * (squares[-1] + self.variance)))
        return Pooled(mean, covariance, squares[:-1], float(squares[-1]), pull)

    def _root(self, mode: Floats, at_mode: _Fit) -> Floats:
        """Square root of the covariance of the free ln spreads about their mode."""
        free = np.flatnonzero(self.free)
        hessian = np.empty((free.size, free.size))
        for row, k in enumerate(free):
            up, down = mode.copy(), mode.copy()
            up[k] += _STEP
            down[k] -= _STEP
            rise = self.fit(up, at_mode).gradient - self.fit(down, at_mode).gradient
            hessian[row] = rise[free] / (2.0 * _STEP)
        values, vectors = np.linalg.eigh(-0.5 * (hessian + hessian.T))
        # No wider than a spread of which nothing is known: twice its prior's variance in ln.
        return np.asarray(vectors / np.sqrt(np.maximum(values, 1.0)))

    def _covariance(self, prior: Floats, curvature: Floats) -> Floats:
        """Covariance of the effects for the curvature of each reading."""
        weights = (self.pair_loading * curvature[:, None]).ravel()
        precision = _added(self.pairs.ravel(), weights, self.p * self.p).reshape(self.p, self.p)
        precision[np.diag_indices(self.p)] += prior
        # For so small a matrix a Cholesky factor would only wake the library's other threads.
        return np.asarray(np.linalg.inv(precision))

    def _sums(self, mean: Floats) -> Floats:
        """Sum of the effects of each reading."""
        return np.asarray((mean[self.columns] * self.levels.loading).sum(axis=1))

    def _back(self, score: Floats) -> Floats:
        """Gather scores of readings by effect."""
        weights = (self.levels.loading * score[:, None]).ravel()
        return _added(self.columns.ravel(), weights, self.p)

    def _residuals(self, eta: Floats, covariance: Floats) -> Floats:
        """Residuals at the nodes of each reading's sum, shape (n, 15)."""
        of_pairs = covariance.ravel()[self.pairs]
        sd = np.sqrt(np.maximum((of_pairs * self.pair_loading).sum(axis=1), 0.0))
        return np.asarray((self.value - eta)[:, None] - sd[:, None] * self.nodes)

    def _slopes(self, eta: Floats, covariance: Floats, var: Floats) -> tuple[Floats, Floats]:
        """Expected first and negative second derivative of the likelihood, shape (n,)."""
        r = self._residuals(eta, covariance)
        below = DEGREES * var[:, None] + r * r
        score = (DEGREES + 1) * r / below
        bend = (DEGREES + 1) * (DEGREES * var[:, None] - r * r) / below**2
        return score @ self.node_weights, bend @ self.node_weights


def _added(index: Ints, weights: Floats, size: int) -> Floats:
    """Add up weights by index."""
    return np.asarray(np.bincount(index, weights, minlength=size), dtype=np.float64)


def _even_normals(n_points: int, n_dims: int) -> Floats:
    """Return evenly spread normal points: multiples of powers of a number, modulo 1.

    The number is the root of x**(d + 1) = x + 1, so that the powers of its inverse fill the cube
    evenly for each number of dimensions (a Kronecker sequence; from memory).
    """
    root = 2.0
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (n_dims + 1))
    steps = root ** -np.arange(1.0, n_dims + 1)
    cube = np.mod(0.5 + np.arange(1, n_points + 1)[:, None] * steps, 1.0)
    return np.asarray(ndtri(cube))
