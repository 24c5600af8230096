"""Usable plants of many sowings, given each cell of their grids, and mixed over the cells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sowbench.forecasting.grid_sides import add_up, every_other, filled_in
from sowbench.forecasting.looks import Looks, Reals
from sowbench.forecasting.posterior import Posterior
from sowbench.forecasting.records import OpenSowing
from sowbench.forecasting.tray_groups import TrayGroups
from sowbench.science.tray_process import usable_moments_of_trays, usable_pmf

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Parts that a sowing's mixture is put into for its quantiles; each keeps its mean and variance.
_N_PARTS: Final = 32
_COARSER: Final = 4
_VAR_LEAST: Final = 1e-6
# Numbers worked on at once: what stays near the processor.
_PIECE: Final = 16_000
# Normal counts whose variance is so much of the squared distance of their means add up smoothly.
_OVERLAP: Final = 0.36
# Cells of a grid with less mass are left out of exact distributions.
_MASS_LEAST: Final = 1e-8


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """Usable cells still to be handed over, given each cell of the grids.

    Attributes
    ----------
    mass : ndarray, shape (R, E, S)
        Posterior mass.
    mean, variance : ndarray, shape (R, E, S)
        Of the usable cells while no tray is lost, less those handed over.
    n_most : ndarray, shape (R,)
        Most that there can be.
    loss_weight, loss_share : ndarray, shape (R, 3)
        Chances of none, one, more trays lost, and the share of cells that goes with them.
    n_taken : ndarray, shape (R,)
        Plants handed over without their trays.
    """

    mass: Floats
    mean: Floats
    variance: Floats
    n_most: Floats
    loss_weight: Floats
    loss_share: Floats
    n_taken: Floats

    def chance_of(self, row: Ints, need: Floats) -> Floats:
        """Chance of so many or more, given each cell of the grid.

        Parameters
        ----------
        row : ndarray of int, shape (Q,)
            Sowing of each question.
        need : ndarray, shape (Q,)
            Usable cells wanted.

        Returns
        -------
        chance_frac : ndarray, shape (Q, E, S)
            Chances; where there is next to no mass only whether the mean is enough.
        """
        mean, heavy = self.mean[row], self.mass[row] > _MASS_LEAST
        out = np.where(mean >= need[:, None, None], 1.0, 0.0)  # for cells that do not matter
        of = np.nonzero(heavy)[0]
        middle, taken = mean[heavy], self.n_taken[row]
        scale = 1.0 / np.sqrt(np.maximum(self.variance[row][heavy], _VAR_LEAST))
        chance = np.zeros_like(middle)
        for case in range(3):
            stay = 1.0 - self.loss_share[row, case]
            some = np.maximum(stay, 1e-12)
            offset = (taken * (stay - 1.0) - need + 0.5) / np.sqrt(some)
            z = (middle * np.sqrt(some)[of] + offset[of]) * scale
            chance += self.loss_weight[row, case][of] * ndtr(z)
        out[heavy] = chance
        out[need <= 0] = 1.0
        out[need > self.n_most[row]] = 0.0
        return out

    def given_loss(self, row: Ints | slice, case: int) -> tuple[Floats, Floats]:
        """Mean and standard deviation of usable cells, given none, one or more trays lost.

        Parameters
        ----------
        row : ndarray of int or slice
            Which sowings.
        case : int
            0, 1 or 2.

        Returns
        -------
        mean, sd : ndarray, shape (Q, E, S)
            Cells.
        """
        stay = 1.0 - self.loss_share[row, case][:, None, None]
        taken = self.n_taken[row][:, None, None]
        mean = (self.mean[row] + taken) * stay - taken
        return mean, np.sqrt(np.maximum(self.variance[row] * stay, _VAR_LEAST))

    def moments(self) -> tuple[Floats, Floats]:
        """Mean and standard deviation of usable cells of each sowing.

        Returns
        -------
        mean, sd : ndarray, shape (R,)
            Cells.
        """
        mass, whole = self.mass, self.mean + self.n_taken[:, None, None]
        part = mass * whole
        one, two = part.sum(axis=(1, 2)), (part * whole).sum(axis=(1, 2))
        spread = (mass * self.variance).sum(axis=(1, 2))
        first, second = np.zeros_like(one), np.zeros_like(one)
        for case in range(3):
            stay = 1.0 - self.loss_share[:, case]
            weight, taken = self.loss_weight[:, case], self.n_taken
            first += weight * (stay * one - taken)
            square = stay**2 * two - 2.0 * taken * stay * one + taken**2
            second += weight * (square + stay * spread)
        return np.maximum(first, 0.0), np.sqrt(np.maximum(second - first**2, 0.0))

    def quantiles(self, shares: Sequence[float]) -> Ints:
        """Least number with so much chance at or below it.

        Parameters
        ----------
        shares : sequence of float
            Chances.

        Returns
        -------
        n : ndarray of int, shape (R, len(shares))
            Usable cells.
        """
        weight, mean, sd = self._parts()
        inverse = 1.0 / sd
        offset = (0.5 - mean) * inverse
        low = np.full((mean.shape[0], len(shares)), -1.0)
        high = np.broadcast_to(np.maximum(self.n_most, 0.0)[:, None], low.shape).copy()
        goal = np.array(shares)
        while np.any(high - low > 1.0):
            middle = np.floor(0.5 * (low + high))
            z = middle[:, :, None] * inverse[:, None, :] + offset[:, None, :]
            below = np.matmul(ndtr(z), weight[:, :, None])[:, :, 0] >= goal
            high = np.where(below, middle, high)
            low = np.where(below, low, middle)
        return np.asarray(high.astype(np.int64))

    def _parts(self) -> tuple[Floats, Floats, Floats]:
        """Put each sowing's cells into parts by their means, shape (R, parts)."""
        n_rows = self.mass.shape[0]
        mean = self.mean.reshape(n_rows, -1)
        mass = self.mass.reshape(n_rows, -1)
        heavy = mass > _MASS_LEAST
        low = np.where(heavy, mean, np.inf).min(axis=1)
        high = np.where(heavy, mean, -np.inf).max(axis=1)
        scale = _N_PARTS / np.maximum(high - low, 1e-9)[:, None]
        index = ((mean - low[:, None]) * scale).astype(np.int64)
        np.clip(index, 0, _N_PARTS - 1, out=index)
        index += _N_PARTS * np.arange(n_rows)[:, None]
        parts = index.ravel()
        moment = mass * mean
        sums = [
            np.bincount(parts, weights=each.ravel(), minlength=n_rows * _N_PARTS).reshape(
                n_rows, -1
            )
            for each in (mass, moment, moment * mean, mass * self.variance.reshape(n_rows, -1))
        ]
        found = []
        for case in range(3):
            if case:  # that trays are lost is rare: fewer parts will do
                sums = [each.reshape(n_rows, -1, _COARSER).sum(axis=2) for each in sums[:4]]
            total, first, second, within = sums
            safe = np.maximum(total, 1e-300)
            middle = first / safe
            inside = np.maximum(second / safe - middle**2, 0.0)
            stay = 1.0 - self.loss_share[:, case : case + 1]
            taken = self.n_taken[:, None]
            spread = inside * stay**2 + within / safe * stay
            found.append(
                (
                    total * self.loss_weight[:, case : case + 1],
                    (middle + taken) * stay - taken,
                    np.sqrt(np.maximum(spread, _VAR_LEAST)),
                )
            )
        weight, means, sds = (np.hstack(each) for each in zip(*found, strict=True))
        return weight, means, sds


def outlook_of(
    sowings: Sequence[OpenSowing],
    looks: Looks,
    groups: TrayGroups,
    posterior: Posterior,
    rows: slice,
) -> Outlook:
    """Compute the usable cells of some sowings given each cell of their grids.

    Parameters
    ----------
    sowings : sequence of OpenSowing
        All sowings.
    looks : Looks
        Their looks.
    groups : TrayGroups
        Their trays.
    posterior : Posterior
        The posteriors of those asked for.
    rows : slice
        Which sowings.

    Returns
    -------
    outlook : Outlook
        Means and variances.
    """
    some = every_other(posterior.lag)
    found = usable_on_grid(sowings, looks, groups, some, posterior.stand, rows, np.float32)
    mean, variance = (filled_in(each, posterior.lag.shape[1]) for each in found)
    variance += spread_within(mean, variance)
    taken = groups.n_taken[rows].astype(np.float64)
    loss = np.array([each.tray_loss_frac for each in sowings[rows]])
    weight, share = loss_cases(groups.n_trays[rows], loss)
    return Outlook(
        posterior.mass,
        mean - taken[:, None, None],
        variance.astype(np.float64),
        groups.n_cells[rows] - taken,
        weight,
        share,
        taken,
    )


def usable_on_grid(
    sowings: Sequence[OpenSowing],
    looks: Looks,
    groups: TrayGroups,
    lag: Floats,
    stand: Floats,
    rows: slice,
    kind: type[np.floating] = np.float64,
) -> tuple[Reals, Reals]:
    """Mean and variance of usable cells at given lags and stands, with no tray lost.

    Parameters
    ----------
    sowings : sequence of OpenSowing
        All sowings.
    looks : Looks
        Their looks.
    groups : TrayGroups
        Their trays.
    lag : ndarray, shape (R, E) or (R, E, S)
        Lags, of the sowings in `rows`.
    stand : ndarray, shape (R, S) or (R, E, S)
        Chances of a seed to be up in the end.
    rows : slice
        Which sowings.
    kind : type, default float64
        Kind of number to reckon with.

    Returns
    -------
    mean, variance : ndarray, shape (R, E, S)
        Of usable cells, those handed over included.
    """
    chosen = sowings[rows]
    shape = (len(chosen), lag.shape[1], stand.shape[-1])
    mean = np.zeros(shape, dtype=kind)
    mean += groups.n_sure[rows][:, None, None]
    variance = np.zeros(shape, dtype=kind)
    on_time = np.array([each.on_time_frac for each in chosen], dtype=kind)[:, None, None]
    kept = np.array([each.kept_frac for each in chosen])
    flat = (stand[:, None, :] if stand.ndim == 2 else stand).astype(kind, copy=False)
    in_time = looks.right_frac(np.arange(rows.start, rows.stop), flat * on_time)
    part = slice(*np.searchsorted(groups.row, [rows.start, rows.stop]))
    key = np.stack([groups.row, groups.time, groups.n_seen, groups.n_unseen])[:, part]
    if not key.size:
        return mean, variance
    first = np.flatnonzero(np.any(np.diff(key, axis=1, prepend=-2), axis=0))
    row, time, seen, unseen = key[:, first]
    row = row - rows.start
    good, often = groups.n_good[part], groups.times[part]
    n_trays, total, squares = (
        np.add.reduceat(each, first) for each in (often, often * good, often * good**2)
    )
    weight = looks.weight[rows]
    right, times = looks.right_at_times(rows, lag, stand, kind)
    step = max(_PIECE // (shape[1] * shape[2]), 1)
    for looked in (False, True):
        for whole in (False, True):
            every = np.flatnonzero(((time >= 0) == looked) & ((unseen == 0) == whole))
            for start in range(0, every.size, step):
                at = every[start : start + step]
                of = row[at]
                end = in_time[of]
                found = usable_moments_of_trays(
                    n_trays[at][:, None, None],
                    total[at][:, None, None],
                    squares[at][:, None, None],
                    seen[at][:, None, None],
                    unseen[at][:, None, None],
                    weight[of][:, None, None],
                    right[time[at] - times.start] if looked else end,
                    end,
                    kept[of][:, None, None],
                )
                for out, each in zip((mean, variance), found, strict=True):
                    add_up(out, of, each)
    return mean, variance


def spread_within(mean: Reals, variance: Reals) -> Reals:
    """Variance to add to a cell's, where the next cell's counts are too far away to join up.

    Parameters
    ----------
    mean, variance : ndarray, shape (R, E, S)
        At the middles of cells.

    Returns
    -------
    variance : ndarray, shape (R, E, S)
        At most a twelfth of the squared change over the cell along both sides: the cell taken as
        evenly filled; 0 where the counts of neighbors overlap.
    """
    along, across = np.gradient(mean, axis=1) ** 2, np.gradient(mean, axis=2) ** 2
    lacking = _OVERLAP * np.maximum(along, across) - variance
    return np.asarray(np.clip(lacking, 0.0, (along + across) / 12.0))


def loss_cases(n_trays: Ints, loss_frac: Floats) -> tuple[Floats, Floats]:
    """Chances that none, one or more trays are lost whole, and the share of cells lost.

    Parameters
    ----------
    n_trays : ndarray of int, shape (R,)
        Trays that stand.
    loss_frac : ndarray, shape (R,)
        Chance that a tray is lost whole.

    Returns
    -------
    weight, share : ndarray, shape (R, 3)
        Chance of each case, and mean share of the trays that goes with it.

    Examples
    --------
    >>> weight, share = loss_cases(np.array([2]), np.array([0.1]))
    >>> weight.round(2).tolist(), share.tolist()
    ([[0.81, 0.18, 0.01]], [[0.0, 0.5, 1.0]])
    """
    n = np.maximum(n_trays.astype(np.float64), 1.0)
    none = (1.0 - loss_frac) ** n
    one = n * loss_frac * (1.0 - loss_frac) ** (n - 1.0)
    more = np.maximum(1.0 - none - one, 0.0)
    lost = np.where(more > 1e-12, (n * loss_frac - one) / np.maximum(more, 1e-12), 0.0)
    share = np.stack([np.zeros_like(n), 1.0 / n, np.clip(lost / n, 0.0, 1.0)], axis=1)
    return np.stack([none, one, more], axis=1), share


def exact_pmf(
    sowing: OpenSowing, looks: Looks, groups: TrayGroups, posterior: Posterior, row: int
) -> tuple[Floats, Ints]:
    """Exact distribution of a sowing's usable cells, given cells of its grid.

    Parameters
    ----------
    sowing : OpenSowing
        The sowing.
    looks, groups, posterior
        Of all sowings.
    row : int
        Its place among them.

    Returns
    -------
    pmf : ndarray, shape (C, N + 1)
        Chance of 0, 1, ... usable cells, those handed over taken off.
    cells : ndarray of int, shape (C,)
        Which cells of the grid, flat; those left out have next to no mass.
    """
    mass = posterior.mass[row].ravel()
    cells = np.flatnonzero(mass > _MASS_LEAST * mass.max())
    e, s = np.unravel_index(cells, posterior.mass[row].shape)
    lag, stand = posterior.lag[row, e][None, :, None], posterior.stand[row, s][None, :, None]
    end = looks.right_frac(np.array([row]), stand * sowing.on_time_frac)[0, :, 0]
    part = slice(*np.searchsorted(groups.row, [row, row + 1]))
    n_cells = int(groups.n_cells[row])
    spectrum = np.ones((cells.size, (n_cells + 1) // 2 + 1), dtype=np.complex128)
    if np.any(groups.time[part] >= 0):
        right, times = looks.right_at_times(slice(row, row + 1), lag, stand)
    for g in range(part.start, part.stop):
        now = end
        if groups.time[g] >= 0:
            now = right[groups.time[g] - times.start, :, 0]
        pmf = usable_pmf(
            int(groups.n_good[g]),
            int(groups.n_seen[g]),
            int(groups.n_unseen[g]),
            float(looks.weight[row]),
            now,
            end,
            sowing.kept_frac,
        )
        pmf *= 1.0 - sowing.tray_loss_frac
        pmf[:, 0] += sowing.tray_loss_frac
        spectrum *= np.fft.rfft(pmf, n_cells + 1, axis=1) ** int(groups.times[g])
    total = np.maximum(np.fft.irfft(spectrum, n_cells + 1, axis=1), 0.0)
    shift = int(groups.n_sure[row] - groups.n_taken[row])
    total = _shifted(total, shift)
    return total / total.sum(axis=1, keepdims=True), cells


def _shifted(pmf: Floats, by: int) -> Floats:
    """Move a distribution; below 0 counts as 0, above the end as the end."""
    out = np.zeros_like(pmf)
    where = np.clip(np.arange(pmf.shape[1]) + by, 0, pmf.shape[1] - 1)
    for n, at in enumerate(where):
        out[:, at] += pmf[:, n]
    return out


def joined(parts: Sequence[Outlook], posterior: Posterior) -> Outlook:
    """Put the outlooks of blocks together.

    Parameters
    ----------
    parts : sequence of Outlook
        In the order of the sowings.
    posterior : Posterior
        Of all of them.

    Returns
    -------
    outlook : Outlook
        Of all.
    """
    names = Outlook.__slots__[1:]
    rest = (np.concatenate([getattr(each, name) for each in parts]) for name in names)
    return Outlook(posterior.mass, *rest)
