"""Aging of stored seed: the improved viability equation of Ellis and Roberts.

A seed lot loses one normal deviate (probit) of germination every ``sigma`` days; sigma depends on
moisture and temperature of the store. The correction only ever lowers a test.
"""

from __future__ import annotations

from typing import Final, NamedTuple, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from sowbench.science.errors import OutOfRangeError

# Moisture of fresh weight between which we use the equation. Below 2 to 6 % drying gains nothing
# more (R. H. Ellis, T. D. Hong, E. H. Roberts, Annals of Botany 63, 1989, 601-611); above about
# a quarter wet seed breathes, sprouts or molds instead (our limit).
MOISTURE_MIN_FRAC: Final = 0.02
MOISTURE_MAX_FRAC: Final = 0.25
# The temperature terms were fitted from -13 to 90 °C (J. B. Dickie et al., Annals of Botany 65,
# 1990, 197-204); a seed store is colder than 50 °C (our limit) and a freezer -20 °C.
STORAGE_MIN_C: Final = -20.0
STORAGE_MAX_C: Final = 50.0


class Longevity(Protocol):
    """Constants of the viability equation, whoever keeps them."""

    @property
    def k_e(self) -> float:
        """Intercept of the species."""

    @property
    def c_w(self) -> float:
        """Slope on the logarithm of moisture in percent of fresh weight."""

    @property
    def c_h(self) -> float:
        """Linear term of temperature, per °C."""

    @property
    def c_q(self) -> float:
        """Square term of temperature, per °C²."""


class ViabilityConstants(NamedTuple):
    """Plain numbers that satisfy `Longevity`.

    Parameters
    ----------
    k_e, c_w : float
        Intercept, and slope on the logarithm of moisture in percent of fresh weight.
    c_h, c_q : float
        Linear and square term of temperature, per °C and per °C².
    """

    k_e: float
    c_w: float
    c_h: float
    c_q: float


def _require(
    name: str, values: ArrayLike, low: float, high: float, rule: str, advice: str = ""
) -> NDArray[np.float64]:
    """Return values as an array, refusing what is outside; NaN passes through."""
    array = np.asarray(values, dtype=np.float64)
    bad = array[(array < low) | (array > high)]
    if bad.size:
        raise OutOfRangeError(name, rule, float(bad.flat[0]), advice)
    return array


def days_per_probit(
    constants: Longevity, moisture_frac: ArrayLike, storage_c: ArrayLike
) -> NDArray[np.float64]:
    """Days in which stored seed loses one normal deviate of germination.

    Parameters
    ----------
    constants : Longevity
        Constants of the species.
    moisture_frac : array_like, shape (...)
        Moisture of the seed as a fraction of fresh weight, 0.02 to 0.25.
    storage_c : array_like, shape (...)
        Temperature of the store, -20 to 50 [°C].

    Returns
    -------
    sigma_d : ndarray, shape (...)
        Standard deviation of the seeds' lifetimes [d].

    Raises
    ------
    OutOfRangeError
        If moisture or temperature is outside the range. NaN passes through.

    References
    ----------
    .. [1] R. H. Ellis, E. H. Roberts, "Improved equations for the prediction of seed longevity",
       Annals of Botany 45, 1980, 13-30: log10 sigma = KE - CW log10 m - CH t - CQ t**2.

    Examples
    --------
    >>> maize = ViabilityConstants(9.993, 5.993, 0.0322, 0.000454)
    >>> round(days_per_probit(maize, 0.10, 20.0).item(), 1)
    1494.2
    """
    moisture = _require(
        "moisture_frac",
        moisture_frac,
        MOISTURE_MIN_FRAC,
        MOISTURE_MAX_FRAC,
        f"between {MOISTURE_MIN_FRAC:g} and {MOISTURE_MAX_FRAC:g} of fresh weight",
        "8 percent is 0.08.",
    )
    temp = _require(
        "storage_c",
        storage_c,
        STORAGE_MIN_C,
        STORAGE_MAX_C,
        f"between {STORAGE_MIN_C:g} and {STORAGE_MAX_C:g} °C",
    )
    percent = 100.0 * moisture
    log_sigma = (
        constants.k_e
        - constants.c_w * np.log10(percent)
        - constants.c_h * temp
        - constants.c_q * temp**2
    )
    return np.asarray(10.0**log_sigma)


def probit_loss(
    constants: Longevity,
    moisture_frac: ArrayLike,
    storage_c: ArrayLike,
    days_d: ArrayLike,
) -> NDArray[np.float64]:
    """Normal deviates of germination lost over a time in the store.

    Parameters
    ----------
    constants : Longevity
        Constants of the species.
    moisture_frac : array_like, shape (...)
        Moisture of the seed as a fraction of fresh weight, 0.02 to 0.25.
    storage_c : array_like, shape (...)
        Temperature of the store, -20 to 50 [°C].
    days_d : array_like, shape (...)
        Time since the test, 0 or more [d].

    Returns
    -------
    loss_probit : ndarray, shape (...)
        Loss in normal deviates, 0 or more. Losses of periods under different conditions add.

    Raises
    ------
    OutOfRangeError
        If moisture, temperature or time is outside the range. NaN passes through.

    Examples
    --------
    >>> wheat = ViabilityConstants(8.498, 4.836, 0.0322, 0.000454)
    >>> round(probit_loss(wheat, 0.12, 20.0, 365.0).item(), 3)
    1.285
    """
    days = _require("days_d", days_d, 0.0, np.inf, "0 d or more")
    return np.asarray(days / days_per_probit(constants, moisture_frac, storage_c))


def aged_germination(germination_frac: ArrayLike, loss_probit: ArrayLike) -> NDArray[np.float64]:
    """Germination after a loss of normal deviates.

    Parameters
    ----------
    germination_frac : array_like, shape (...)
        Germination at the test, 0 to 1.
    loss_probit : array_like, shape (...)
        Loss since then in normal deviates, 0 or more.

    Returns
    -------
    aged_frac : ndarray, shape (...)
        Germination now; never above `germination_frac`. Exactly 0 and 1 stay, because no
        deviate belongs to them: give the mean of the test's Beta instead of 20 out of 20.

    Raises
    ------
    OutOfRangeError
        If germination is not between 0 and 1, or the loss is below 0. NaN passes through.

    References
    ----------
    .. [1] R. H. Ellis, E. H. Roberts, Annals of Botany 45, 1980, 13-30: v = Ki - p / sigma, v
       and Ki in normal deviates.

    Examples
    --------
    >>> round(aged_germination(0.95, 1.285).item(), 2)
    0.64
    """
    germination = _require("germination_frac", germination_frac, 0.0, 1.0, "between 0 and 1")
    loss = _require("loss_probit", loss_probit, 0.0, np.inf, "0 or more: seed does not grow young")
    return np.asarray(np.minimum(ndtr(ndtri(germination) - loss), germination))


def aged_germination_nodes(
    germination_frac: ArrayLike,
    constants: Longevity,
    moisture_frac: float,
    storage_c: float,
    days_d: float,
) -> NDArray[np.float64]:
    """Quadrature nodes of a lot's germination, each lowered for the time since its test.

    Parameters
    ----------
    germination_frac : array_like, shape (n,)
        Nodes at the test, such as those of `quadrature.beta_nodes`.
    constants : Longevity
        Constants of the species.
    moisture_frac : float
        Moisture of the seed as a fraction of fresh weight, 0.02 to 0.25.
    storage_c : float
        Temperature of the store, -20 to 50 [°C].
    days_d : float
        Time since the test, 0 or more [d].

    Returns
    -------
    aged_frac : ndarray, shape (n,)
        Nodes now, in the same order; their weights do not change.

    Raises
    ------
    OutOfRangeError
        As `probit_loss` and `aged_germination`.

    Examples
    --------
    >>> onion = ViabilityConstants(6.975, 3.47, 0.04, 0.000428)
    >>> aged_germination_nodes([0.8, 0.9], onion, 0.08, 10.0, 730.0).round(3).tolist()
    [0.709, 0.839]
    """
    loss = probit_loss(constants, moisture_frac, storage_c, days_d)
    return aged_germination(germination_frac, loss)


def days_between(
    from_frac: ArrayLike, to_frac: ArrayLike, sigma_d: ArrayLike
) -> NDArray[np.float64]:
    """Time in which germination falls from one value to another.

    Parameters
    ----------
    from_frac, to_frac : array_like, shape (...)
        Germination at the start and at the end, above 0 and below 1, the end not above the start.
    sigma_d : array_like, shape (...)
        Days per normal deviate from `days_per_probit` [d].

    Returns
    -------
    time_d : ndarray, shape (...)
        Time in the store [d].

    Raises
    ------
    OutOfRangeError
        If a germination is not inside (0, 1), the end is above the start, or sigma is not
        above 0. NaN passes through.

    Examples
    --------
    >>> round(days_between(0.95, 0.85, 1494.2).item(), 1)
    909.1
    """
    tiny = np.nextafter(0.0, 1.0)
    start = _require("from_frac", from_frac, tiny, np.nextafter(1.0, 0.0), "above 0 and below 1")
    end = _require("to_frac", to_frac, tiny, np.nextafter(1.0, 0.0), "above 0 and below 1")
    sigma = _require("sigma_d", sigma_d, tiny, np.inf, "above 0 d")
    if np.any(end > start):
        raise OutOfRangeError("to_frac", "at most from_frac: germination only falls", to_frac)
    return np.asarray(sigma * (ndtri(start) - ndtri(end)))
