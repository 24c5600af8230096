"""How many usable cells a number of trays gives: the exact distribution of the total.

Given the share of usable cells, each tray's count is beta-binomial, because cells of one tray
share what happens to it; and a tray may be lost whole. Trays are independent of each other.
Whatever trays share with each other (the lot's germination, the season's weather) stands outside:
one distribution for each of its values, see `sowbench.science.stand`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sowbench.science.beta_binomial import cumulants, require_frac, tray_pmf
from sowbench.science.errors import OutOfRangeError

Floats = NDArray[np.float64]

# Correlation of the cells of a tray. M. J. Crowder, "Beta-binomial anova for proportions",
# Applied Statistics 27, 1978, 34-37: one common value fitted to his four groups of seed is
# 0.0124 to 0.0126; the groups alone give 0.010 to 0.017. Rounded up: house trays are kept less
# alike than laboratory plates (assumption).
RHO_TRAY = 0.015
# Share of trays lost whole: damping-off takes trays, not cells (assumption).
TRAY_LOSS_FRAC = 0.005
# Beyond this many standard deviations, and this many lost trays more, a total is given no chance.
_TAIL_SD = 14.0
# From this length on, the transform is taken on a window around the mean only.
_WINDOW_FROM = 4096


def split_cells(n_cells: ArrayLike, cells_per_tray: ArrayLike) -> tuple[Floats, Floats]:
    """Split cells into full trays and the cells of one last tray.

    Parameters
    ----------
    n_cells : array_like, shape (...)
        Cells sown, whole, 0 or more.
    cells_per_tray : array_like, shape (...)
        Cells of a full tray, whole, 1 or more.

    Returns
    -------
    n_full : ndarray, shape (...)
        Full trays before the last tray.
    n_last : ndarray, shape (...)
        Cells of the last tray: 1 to `cells_per_tray`, 0 only when there are no cells.

    Examples
    --------
    >>> [each.tolist() for each in split_cells([0, 3, 72, 100], 72)]
    [[0.0, 0.0, 0.0, 1.0], [0.0, 3.0, 72.0, 28.0]]
    """
    cells = np.asarray(n_cells, dtype=np.float64)
    per_tray = np.asarray(cells_per_tray, dtype=np.float64)
    n_full = np.maximum(np.ceil(cells / per_tray) - 1, 0)
    return n_full, cells - n_full * per_tray


def tray_total_pmf(
    n_cells: int,
    cells_per_tray: int,
    usable: ArrayLike,
    rho_tray: float = RHO_TRAY,
    tray_loss_frac: float = TRAY_LOSS_FRAC,
) -> Floats:
    """Exact chances of every number of usable cells over all trays of a sowing.

    Parameters
    ----------
    n_cells : int
        Cells sown, 0 or more; all trays are full but the last.
    cells_per_tray : int
        Cells of a full tray.
    usable : array_like, shape (...)
        Share of cells that give a usable plant or clump [fraction].
    rho_tray : float, default 0.015
        Correlation between cells of a tray [fraction, 0 to below 1].
    tray_loss_frac : float, default 0.005
        Chance that a tray is lost whole [fraction].

    Returns
    -------
    pmf : ndarray, shape (..., n_cells + 1)
        Chance of 0, 1, ... `n_cells` usable cells [fraction]; adds to 1.

    Raises
    ------
    OutOfRangeError
        If a count is negative, no whole number or zero where that makes no sense, or a fraction
        is outside 0 to 1.

    See Also
    --------
    tray_total_moments : Mean, variance and third central moment in closed form.

    Notes
    -----
    The transform of a full tray's distribution is raised to the number of full trays and
    multiplied by that of the last tray. The sum is exact to rounding (about 1e-15 a term).
    From 4096 cells on the transform is taken modulo a window of at least 14 standard deviations
    to each side of the mean, outside which no chance reaches 1e-12.

    Examples
    --------
    >>> pmf = tray_total_pmf(3, 72, 0.9, rho_tray=0.0, tray_loss_frac=0.0)
    >>> pmf.round(3).tolist()
    [0.001, 0.027, 0.243, 0.729]
    """
    _require_whole("n_cells", n_cells, 0)
    _require_whole("cells_per_tray", cells_per_tray, 1)
    share = require_frac("usable", usable)
    require_frac("rho_tray", rho_tray, below_one=True)
    loss = float(require_frac("tray_loss_frac", tray_loss_frac))
    n_cells, cells_per_tray = int(n_cells), int(cells_per_tray)
    full, last = split_cells(n_cells, cells_per_tray)
    n_full, n_last = int(full), int(last)
    if n_full == 0:
        return _with_loss(tray_pmf(n_last, share, rho_tray), loss)
    length = n_cells + 1
    mean, variance, _ = tray_total_moments(n_cells, cells_per_tray, share, rho_tray, loss)
    width = int(2 * (_TAIL_SD * np.sqrt(variance.max(initial=0.0)) + 4 * cells_per_tray)) + 1
    # A transform of `size` wraps what falls outside it around.
    windowed = length > _WINDOW_FROM and width < length
    size = _smooth_size(max(width, cells_per_tray + 1) if windowed else length)
    spectrum = np.fft.rfft(_with_loss(tray_pmf(cells_per_tray, share, rho_tray), loss), size)
    spectrum = spectrum**n_full
    spectrum *= np.fft.rfft(_with_loss(tray_pmf(n_last, share, rho_tray), loss), size)
    wrapped = np.maximum(np.fft.irfft(spectrum, size), 0.0)
    if windowed:
        pmf = np.zeros((*share.shape, length))
        start = np.clip(np.floor(mean).astype(np.int64) - size // 2, 0, length - 1)
        for index in np.ndindex(share.shape):
            first = int(start[index])
            places = np.arange(first, min(first + size, length))
            pmf[(*index, places)] = wrapped[(*index, places % size)]
    else:
        pmf = wrapped[..., :length]
    pmf /= pmf.sum(axis=-1, keepdims=True)
    return pmf


def tray_total_moments(
    n_cells: ArrayLike,
    cells_per_tray: ArrayLike,
    usable: ArrayLike,
    rho_tray: ArrayLike = RHO_TRAY,
    tray_loss_frac: ArrayLike = TRAY_LOSS_FRAC,
) -> tuple[Floats, Floats, Floats]:
    """Mean, variance and third central moment of the usable cells of a sowing.

    Parameters
    ----------
    n_cells : array_like, shape (...)
        Cells sown; all trays are full but the last.
    cells_per_tray : array_like, shape (...)
        Cells of a full tray.
    usable : array_like, shape (...)
        Share of cells that give a usable plant or clump [fraction].
    rho_tray : array_like, shape (...), default 0.015
        Correlation between cells of a tray [fraction].
    tray_loss_frac : array_like, shape (...), default 0.005
        Chance that a tray is lost whole [fraction].

    Returns
    -------
    mean : ndarray, shape (...)
        Expected usable cells.
    variance : ndarray, shape (...)
        Variance [cells squared].
    third : ndarray, shape (...)
        Third central moment [cells cubed].

    Examples
    --------
    >>> [round(float(m), 3) for m in tray_total_moments(100, 50, 0.9, 0.0, 0.0)]
    [90.0, 9.0, -7.2]
    """
    n_full, n_last = split_cells(n_cells, cells_per_tray)
    full = _tray_moments(np.asarray(cells_per_tray), usable, rho_tray, tray_loss_frac)
    last = _tray_moments(n_last, usable, rho_tray, tray_loss_frac)
    mean, variance, third = (n_full * a + b for a, b in zip(full, last, strict=True))
    return mean, variance, third


def _tray_moments(
    cells: ArrayLike, usable: ArrayLike, rho_tray: ArrayLike, tray_loss_frac: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Moments of one tray that may be lost whole."""
    keep = 1.0 - np.asarray(tray_loss_frac, dtype=np.float64)
    k1, k2, k3, _ = cumulants(cells, usable, rho_tray)
    raw1 = keep * k1
    raw2 = keep * (k2 + k1**2)
    raw3 = keep * (k3 + 3 * k2 * k1 + k1**3)
    return raw1, raw2 - raw1**2, raw3 - 3 * raw2 * raw1 + 2 * raw1**3


def _with_loss(pmf: Floats, loss: float) -> Floats:
    """Mix a tray's distribution with the chance of losing the whole tray."""
    mixed = (1.0 - loss) * pmf
    mixed[..., 0] += loss
    return mixed


def _smooth_size(size: int) -> int:
    """Return the smallest product of 2, 3 and 5 that is at least `size`."""
    best = 1 << (size - 1).bit_length()
    for factor in (3, 5, 9, 15):
        candidate = factor << max((-(-size // factor) - 1).bit_length(), 0)
        best = min(best, candidate) if candidate >= size else best
    return best


def _require_whole(name: str, value: float, least: int) -> None:
    """Raise unless a count is whole and large enough."""
    if value < least or value != int(value):
        raise OutOfRangeError(name, f"a whole number from {least} up", value)
