"""Usable plants of many sowings, given each cell of their grids, and mixed over the cells."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sowbench.forecasting.evidence import SowingEvidence, TrayEvidence
from sowbench.forecasting.looks import Looks, base_look, log_progress_at
from sowbench.forecasting.posterior import CHUNK, Posterior
from sowbench.forecasting.records import OpenSowing
from sowbench.science.tray_process import usable_moments, usable_pmf

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Parts that a sowing's mixture is put into for its quantiles; each keeps its mean and variance.
_N_PARTS: Final = 64
_VAR_LEAST: Final = 1e-6
# Cells of a grid with less mass are left out of exact distributions.
_MASS_LEAST: Final = 1e-8


@dataclass(frozen=True, slots=True, eq=False)
class TrayGroups:
    """Trays that still stand, those of which the same is known together; sorted by sowing.

    Attributes
    ----------
    row : ndarray of int, shape (G,)
        Sowing.
    time : ndarray of int, shape (G,)
        Time of the look among those of `Looks`; -1 where none matters.
    n_good, n_seen, n_unseen : ndarray of int, shape (G,)
        Right cells, cells looked at, and others.
    times : ndarray of int, shape (G,)
        Trays of the kind.
    n_sure, n_trays, n_cells, n_taken : ndarray of int, shape (R,)
        Cells known to be fit, trays, cells, and plants already handed over of them.
    """

    row: Ints
    time: Ints
    n_good: Ints
    n_seen: Ints
    n_unseen: Ints
    times: Ints
    n_sure: Ints
    n_trays: Ints
    n_cells: Ints
    n_taken: Ints


def tray_groups(
    sowings: Sequence[OpenSowing], evidence: Sequence[SowingEvidence], looks: Looks
) -> TrayGroups:
    """Put the standing trays of many sowings into groups.

    Parameters
    ----------
    sowings : sequence of OpenSowing
        The sowings.
    evidence : sequence of SowingEvidence
        What their journals tell.
    looks : Looks
        Their looks as arrays.

    Returns
    -------
    groups : TrayGroups
        The groups.
    """
    bounds = np.searchsorted(looks.time_of, np.arange(len(sowings) + 1))
    table: list[tuple[int, ...]] = []
    sums = np.zeros((len(sowings), 4), dtype=np.int64)
    for row, (sowing, told) in enumerate(zip(sowings, evidence, strict=True)):
        times = looks.log_progress[bounds[row] : bounds[row + 1]]
        tally: Counter[tuple[int, int, int, int]] = Counter()
        for tray in told.trays:
            if not tray.stands:
                continue
            left = max(tray.n_cells - tray.n_lost, 0)
            sums[row, 1] += 1
            sums[row, 2] += left
            if tray.n_fit is not None:
                sums[row, 0] += min(tray.n_fit, left)
                continue
            good, seen, hour = _known(tray, left)
            time = -1
            if hour is not None:
                at = log_progress_at(sowing, np.array([hour]))[0]
                time = int(bounds[row] + np.argmin(np.abs(times - at)))
            tally[time, good, seen, left - seen] += 1
        sums[row, 3] = told.n_taken
        table += [(row, *key, n) for key, n in tally.items()]
    groups = np.array(table, dtype=np.int64).reshape(-1, 6)
    return TrayGroups(*groups.T, *sums.T)


def _known(tray: TrayEvidence, left: int) -> tuple[int, int, float | None]:
    """Return right cells, cells looked at and the hour, as the tray is now."""
    if tray.chosen and not tray.looks:
        return left, left, None
    if not tray.looks:
        added = min(tray.n_added, left)
        return added, added, None
    look = tray.looks[-1 if tray.chosen else base_look(tray.looks)]
    before = max(tray.n_cells - look.n_lost_before, 1)
    gone = tray.n_lost - look.n_lost_before
    here = round(gone * min(look.n_seen, before) / before)
    seen = min(max(look.n_seen - here, 0), left)
    good = min(max(look.n_right - here, 0) + tray.n_added, seen)
    return good, seen, None if tray.chosen else look.hour_h


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
            Chances.
        """
        out = np.zeros((row.size, *self.mass.shape[1:]))
        wanted = need[:, None, None]
        for case in range(3):
            mean, sd = self.given_loss(row, case)
            weight = self.loss_weight[row, case][:, None, None]
            out += weight * ndtr((mean - wanted + 0.5) / sd)
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
        first, second = np.zeros(self.mass.shape[0]), np.zeros(self.mass.shape[0])
        for case in range(3):
            mean, sd = self.given_loss(slice(None), case)
            weight = self.loss_weight[:, case][:, None, None] * self.mass
            first += (weight * mean).sum(axis=(1, 2))
            second += (weight * (mean**2 + sd**2)).sum(axis=(1, 2))
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
        goal = np.array(shares)[None, :]
        low = np.full((mean.shape[0], goal.size), -1.0)
        high = np.broadcast_to(np.maximum(self.n_most, 0.0)[:, None], low.shape).copy()
        while np.any(high - low > 1.0):
            middle = np.floor(0.5 * (low + high))
            z = (middle[:, :, None] + 0.5 - mean[:, None, :]) / sd[:, None, :]
            below = np.einsum("rqp,rp->rq", ndtr(z), weight) >= goal
            high = np.where(below, middle, high)
            low = np.where(below, low, middle)
        return np.asarray(high.astype(np.int64))

    def _parts(self) -> tuple[Floats, Floats, Floats]:
        """Put each sowing's cells into parts by their means, shape (R, 3 * parts)."""
        n_rows = self.mass.shape[0]
        mean = self.mean.reshape(n_rows, -1)
        mass = self.mass.reshape(n_rows, -1)
        low = np.where(mass > _MASS_LEAST, mean, np.inf).min(axis=1)
        high = np.where(mass > _MASS_LEAST, mean, -np.inf).max(axis=1)
        width = np.maximum(high - low, 1e-9)[:, None] / _N_PARTS
        index = np.clip(((mean - low[:, None]) / width).astype(np.int64), 0, _N_PARTS - 1)
        index += _N_PARTS * np.arange(n_rows)[:, None]
        size = n_rows * _N_PARTS

        def summed(values: Floats) -> Floats:
            found = np.bincount(index.ravel(), weights=values.ravel(), minlength=size)
            return np.asarray(found.reshape(n_rows, _N_PARTS))

        total = summed(mass)
        safe = np.maximum(total, 1e-300)
        middle = summed(mass * mean) / safe
        inside = summed(mass * mean**2) / safe - middle**2
        within = summed(mass * self.variance.reshape(n_rows, -1)) / safe
        weight, means, sds = [], [], []
        for case in range(3):
            stay = 1.0 - self.loss_share[:, case : case + 1]
            taken = self.n_taken[:, None]
            weight.append(total * self.loss_weight[:, case : case + 1])
            means.append((middle + taken) * stay - taken)
            spread = np.maximum(inside, 0.0) * stay**2 + within * stay
            sds.append(np.sqrt(np.maximum(spread, _VAR_LEAST)))
        return np.hstack(weight), np.hstack(means), np.hstack(sds)


def outlook_of(
    sowings: Sequence[OpenSowing], looks: Looks, groups: TrayGroups, posterior: Posterior
) -> Outlook:
    """Compute the usable cells of many sowings given each cell of their grids.

    Parameters
    ----------
    sowings : sequence of OpenSowing
        The sowings.
    looks : Looks
        Their looks.
    groups : TrayGroups
        Their trays.
    posterior : Posterior
        Their posteriors.

    Returns
    -------
    outlook : Outlook
        Means and variances.
    """
    mean, variance = usable_on_grid(
        sowings, looks, groups, posterior.lag, posterior.stand, slice(0, len(sowings))
    )
    variance = variance + spread_within(mean)
    taken = groups.n_taken.astype(np.float64)
    loss = np.array([each.tray_loss_frac for each in sowings])
    weight, share = loss_cases(groups.n_trays, loss)
    return Outlook(
        posterior.mass,
        mean - taken[:, None, None],
        variance,
        groups.n_cells - taken,
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
) -> tuple[Floats, Floats]:
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

    Returns
    -------
    mean, variance : ndarray, shape (R, E, S)
        Of usable cells, those handed over included.
    """
    chosen = sowings[rows]
    shape = (len(chosen), lag.shape[1], stand.shape[-1])
    mean = np.zeros(shape) + groups.n_sure[rows][:, None, None]
    variance = np.zeros(shape)
    on_time = np.array([each.on_time_frac for each in chosen])
    kept = np.array([each.kept_frac for each in chosen])
    index = np.arange(rows.start, rows.stop)
    flat = stand[:, None, :] if stand.ndim == 2 else stand
    in_time = looks.right_frac(index, flat * on_time[:, None, None])
    part = slice(*np.searchsorted(groups.row, [rows.start, rows.stop]))
    cells = shape[1] * shape[2]
    step = max(CHUNK // cells, 1)
    for first in range(part.start, part.stop, step):
        some = np.arange(first, min(first + step, part.stop))
        for moving in (False, True):
            at = some[(groups.time[some] >= 0) == moving]
            if not at.size:
                continue
            row = groups.row[at] - rows.start
            end = in_time[row]
            now = end
            if moving:
                span = slice(int(groups.row[at[0]]), int(groups.row[at[-1]]) + 1)
                inner = slice(span.start - rows.start, span.stop - rows.start)
                right, times = looks.right_at_times(span, lag[inner], stand[inner])
                now = right[groups.time[at] - times.start]
            found = usable_moments(
                groups.n_good[at][:, None, None],
                groups.n_seen[at][:, None, None],
                groups.n_unseen[at][:, None, None],
                looks.weight[groups.row[at]][:, None, None],
                now,
                end,
                kept[row][:, None, None],
            )
            times_made = groups.times[at][:, None, None]
            starts = np.flatnonzero(np.diff(row, prepend=-1))
            for total, each in zip((mean, variance), found, strict=True):
                total[row[starts]] += np.add.reduceat(each * times_made, starts)
    return mean, variance


def spread_within(mean: Floats) -> Floats:
    """Variance of a mean within each cell of a grid, the cell taken as evenly filled.

    Parameters
    ----------
    mean : ndarray, shape (R, E, S)
        Mean at the middles of cells.

    Returns
    -------
    variance : ndarray, shape (R, E, S)
        A twelfth of the squared change over the cell, along both sides.
    """
    along, across = np.asarray(np.gradient(mean, axis=1)), np.asarray(np.gradient(mean, axis=2))
    return np.asarray((along**2 + across**2) / 12.0)


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
    spectrum = np.ones((cells.size, n_cells // 2 + 1), dtype=np.complex128)
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
