"""What other sowings of a lot say of it (docs/model.md section 14)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from sowbench.forecasting.records import ODD_LOT_FRAC, LotTest
from sowbench.science.errors import OutOfRangeError

Floats = NDArray[np.float64]

# Sowings of one lot differ by so much in the share that comes up (assumption).
BETWEEN_SOWINGS_SD: Final = 0.03
_N_STEPS: Final = 800


def pooled_test(
    test: LotTest,
    share_frac: Sequence[float],
    sd_frac: Sequence[float],
    odd_lot_frac: float = ODD_LOT_FRAC,
    between_sd_frac: float = BETWEEN_SOWINGS_SD,
) -> LotTest:
    """Add what other sowings of a lot came to to its test.

    Parameters
    ----------
    test : LotTest
        The lot's test; its aging stays as it is.
    share_frac, sd_frac : sequence of float
        For each other sowing the germination that its counts alone speak for (the share of seed
        that is up in the end over what the tray takes off), and its standard deviation.
    odd_lot_frac : float, default 0.01
        Chance that the test says nothing of the seed in the cells.
    between_sd_frac : float, default 0.03
        By how much sowings of a lot differ, as a standard deviation.

    Returns
    -------
    pooled : LotTest
        The beta distribution with the mean and variance of the posterior, as a test.

    Raises
    ------
    OutOfRangeError
        If there are not as many standard deviations as shares.

    Notes
    -----
    Germination is that of the test, or with `odd_lot_frac` anything from 0 to 1; each sowing is a
    normal observation of it. So one sowing that fails makes the lot suspect, and two condemn it.

    Examples
    --------
    >>> pooled = pooled_test(LotTest(190, 200), [0.55], [0.02])
    >>> round(pooled.n_normal / pooled.n_tested, 2)
    0.55
    """
    if len(share_frac) != len(sd_frac):
        raise OutOfRangeError("sd_frac", f"one for each of {len(share_frac)} shares", len(sd_frac))
    if not len(share_frac):
        return test
    p = (np.arange(_N_STEPS) + 0.5) / _N_STEPS
    good = stats.beta.pdf(p, test.n_normal + 1.0, test.n_tested - test.n_normal + 1.0)
    log = np.zeros(p.size)
    for share, sd in zip(share_frac, sd_frac, strict=True):
        log += stats.norm.logpdf(p, share, np.hypot(sd, between_sd_frac))
    mass = ((1.0 - odd_lot_frac) * good + odd_lot_frac) * np.exp(log - log.max())
    mass /= mass.sum()
    mean = float(mass @ p)
    variance = max(float(mass @ (p - mean) ** 2), 1e-8)
    size = max(mean * (1.0 - mean) / variance - 1.0, 2.0)  # a + b of the beta
    normal = float(np.clip(mean * size - 1.0, 0.0, size - 2.0))
    return LotTest(normal, size - 2.0, test.aging_probits)


def doubted_test(test: LotTest, n_tested: float) -> LotTest:
    """Let a test count for fewer seeds, where the seed has met what the test has not.

    Parameters
    ----------
    test : LotTest
        The test.
    n_tested : float
        Seeds that it is to count for, after a cold spell in the mix for one.

    Returns
    -------
    doubted : LotTest
        The same share of so many seeds; the test itself if it is no more.

    Examples
    --------
    >>> doubted_test(LotTest(190, 200), 10)
    LotTest(n_normal=9.5, n_tested=10, aging_probits=0.0)
    """
    if n_tested >= test.n_tested:
        return test
    share = test.n_normal / test.n_tested if test.n_tested else 1.0
    return LotTest(share * n_tested, n_tested, test.aging_probits)
