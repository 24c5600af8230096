"""The beta-binomial distribution, safe down to no correlation at all.

It counts successes among n trials that share a common, unknown chance: seedlings of one cell,
usable cells of one tray. It is written in the mean ``p`` and the correlation ``rho`` between two
trials, so that ``rho = 0`` is the binomial distribution without a special case.
"""

from __future__ import annotations

from math import comb

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sowbench.science.errors import OutOfRangeError

Floats = NDArray[np.float64]

# A chance of exactly 0 or 1 has no logarithm; this far inside, no figure shown can differ.
_P_EDGE = 1e-13


def require_frac(name: str, value: ArrayLike, *, below_one: bool = False) -> Floats:
    """Return a fraction as an array, or say which value is none.

    Parameters
    ----------
    name : str
        Name of the argument, for the message.
    value : array_like
        Values to check [fraction].
    below_one : bool, default False
        Whether 1 itself is refused too.

    Returns
    -------
    value_frac : ndarray
        The values [fraction].

    Raises
    ------
    OutOfRangeError
        If any value is not a number from 0 to 1.

    Examples
    --------
    >>> require_frac("p_seed", [0.5, 1.0]).tolist()
    [0.5, 1.0]
    """
    values = np.asarray(value, dtype=np.float64)
    bad = ~((values >= 0) & ((values < 1) if below_one else (values <= 1)))
    if np.any(bad):
        rule = "a fraction from 0 to below 1" if below_one else "a fraction from 0 to 1"
        worst = float(values[bad].flat[0])
        raise OutOfRangeError(name, rule, worst, "Divide percent by 100.")
    return values


def cell_pmf(n_trials: int, p: ArrayLike, rho: ArrayLike = 0.0) -> Floats:
    """Chances of 0 to n successes for a small number of trials.

    Parameters
    ----------
    n_trials : int
        Number of trials, 0 to 60 (our limit; for more use `tray_pmf`).
    p : array_like, shape (...)
        Mean chance of a success [fraction].
    rho : array_like, shape (...), default 0.0
        Correlation between two trials [fraction, 0 to below 1].

    Returns
    -------
    pmf : ndarray, shape (..., n_trials + 1)
        Chance of each number of successes [fraction].

    Raises
    ------
    OutOfRangeError
        If `n_trials`, `p` or `rho` is out of range.

    Notes
    -----
    The chance of k is ``C(n, k) prod_{i<k} (p (1-rho) + i rho) prod_{j<n-k} ((1-p)(1-rho) + j rho)
    / prod_{l<n} (1 - rho + l rho)``, the form of [1]_ multiplied through by rho.

    References
    ----------
    .. [1] J. G. Skellam, "A probability distribution derived from the binomial distribution by
       regarding the probability of success as variable between the sets of trials", Journal of
       the Royal Statistical Society B 10, 1948, 257-261 (from memory).

    Examples
    --------
    >>> cell_pmf(2, 0.6, 0.05).round(3).tolist()
    [0.172, 0.456, 0.372]
    """
    if not 0 <= n_trials <= 60:
        raise OutOfRangeError("n_trials", "a whole number from 0 to 60", n_trials)
    p_ = require_frac("p", p)
    rho_ = require_frac("rho", rho, below_one=True)
    p_, rho_ = np.broadcast_arrays(p_, rho_)
    up = np.ones((n_trials + 1, *p_.shape))
    down = np.ones_like(up)
    whole = np.ones(p_.shape)
    for i in range(n_trials):
        up[i + 1] = up[i] * (p_ * (1 - rho_) + i * rho_)
        down[i + 1] = down[i] * ((1 - p_) * (1 - rho_) + i * rho_)
        whole = whole * (1 - rho_ + i * rho_)
    ways = np.array([comb(n_trials, k) for k in range(n_trials + 1)], dtype=np.float64)
    pmf = ways.reshape(-1, *([1] * p_.ndim)) * up * down[::-1] / whole
    return np.moveaxis(pmf, 0, -1)


def tray_pmf(n_trials: int, p: ArrayLike, rho: ArrayLike = 0.0) -> Floats:
    """Chances of 0 to n successes for any number of trials.

    Parameters
    ----------
    n_trials : int
        Number of trials, 0 or more.
    p : array_like, shape (...)
        Mean chance of a success [fraction].
    rho : array_like, shape (...), default 0.0
        Correlation between two trials [fraction, 0 to below 1].

    Returns
    -------
    pmf : ndarray, shape (..., n_trials + 1)
        Chance of each number of successes [fraction].

    Raises
    ------
    OutOfRangeError
        If `n_trials`, `p` or `rho` is out of range.

    See Also
    --------
    cell_pmf : The same as a plain product, for few trials.

    Notes
    -----
    Logarithms of the ratio of neighboring terms are summed, so that nothing over- or underflows.

    Examples
    --------
    >>> pmf = tray_pmf(72, 0.85, 0.02)
    >>> float(round(pmf @ range(73), 6))
    61.2
    """
    if n_trials < 0:
        raise OutOfRangeError("n_trials", "a whole number from 0 up", n_trials)
    p_ = np.clip(require_frac("p", p), _P_EDGE, 1 - _P_EDGE)
    rho_ = require_frac("rho", rho, below_one=True)
    p_, rho_ = np.broadcast_arrays(p_, rho_)
    k = np.arange(n_trials, dtype=np.float64)
    p_, rho_ = p_[..., None], rho_[..., None]
    ratio = (n_trials - k) / (k + 1) * (p_ * (1 - rho_) + k * rho_)
    ratio = ratio / ((1 - p_) * (1 - rho_) + (n_trials - k - 1) * rho_)
    log_pmf = np.zeros((*p_.shape[:-1], n_trials + 1))
    np.cumsum(np.log(ratio), axis=-1, out=log_pmf[..., 1:])
    log_pmf -= log_pmf.max(axis=-1, keepdims=True)
    pmf = np.exp(log_pmf)
    pmf /= pmf.sum(axis=-1, keepdims=True)
    return pmf


def cumulants(
    n_trials: ArrayLike, p: ArrayLike, rho: ArrayLike = 0.0
) -> tuple[Floats, Floats, Floats, Floats]:
    """First four cumulants in closed form.

    Parameters
    ----------
    n_trials : array_like, shape (...)
        Number of trials.
    p : array_like, shape (...)
        Mean chance of a success [fraction].
    rho : array_like, shape (...), default 0.0
        Correlation between two trials [fraction].

    Returns
    -------
    k1, k2, k3, k4 : ndarray, shape (...)
        Mean, variance, third central moment, and fourth central moment less three times the
        squared variance.

    Notes
    -----
    From the factorial moments ``n (n-1) ... (n-r+1) prod_{i<r} (p (1-rho) + i rho)/(1 - rho +
    i rho)``, which are those of the binomial averaged over the beta distribution.

    Examples
    --------
    >>> [round(float(k), 6) for k in cumulants(128, 0.85)]
    [108.8, 16.32, -11.424, 3.8352]
    """
    n = np.asarray(n_trials, dtype=np.float64)
    p_ = np.asarray(p, dtype=np.float64)
    rho_ = np.asarray(rho, dtype=np.float64)
    a, whole = p_ * (1 - rho_), 1 - rho_
    f1 = n * p_
    f2 = f1 * (n - 1) * (a + rho_)  # 1 - rho + rho = 1
    f3 = f2 * (n - 2) * (a + 2 * rho_) / (whole + 2 * rho_)
    f4 = f3 * (n - 3) * (a + 3 * rho_) / (whole + 3 * rho_)
    # Central moments straight from factorial moments (raw moments by Stirling numbers).
    r2 = f2 + f1
    r3 = f3 + 3 * f2 + f1
    r4 = f4 + 6 * f3 + 7 * f2 + f1
    k2 = r2 - f1**2
    k3 = r3 - 3 * r2 * f1 + 2 * f1**3
    m4 = r4 - 4 * r3 * f1 + 6 * r2 * f1**2 - 3 * f1**4
    return f1, np.maximum(k2, 0.0), k3, m4 - 3 * k2**2
