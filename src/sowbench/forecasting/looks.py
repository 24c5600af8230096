"""Looks at the trays of many sowings as arrays, and their likelihood on grids of lag and stand.

docs/model.md section 13 has the table of the three kinds of count.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, ndtr

from sowbench.forecasting.evidence import Look, SowingEvidence
from sowbench.forecasting.records import OpenSowing
from sowbench.science.stand import cell_ok_prob
from sowbench.science.tray_process import LEAST_WEIGHT, concentration

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Progress of 0 has no logarithm; by then nothing is up.
_LEAST_PROGRESS_CD: Final = 1e-6


class Factor(NamedTuple):
    """One beta-binomial of a tray's looks: k of n between three times, by hour.

    Parameters
    ----------
    low_h, mid_h, high_h : float
        Weights are those of being right between `low_h` and `mid_h`, and between `mid_h` and
        `high_h`; -1 is before anything is up, inf is never.
    k, n : int
        Cells.
    """

    low_h: float
    mid_h: float
    high_h: float
    k: int
    n: int


def factors_of(looks: Sequence[Look]) -> Iterator[Factor]:
    """Turn the looks at one tray into independent beta-binomial counts.

    Parameters
    ----------
    looks : sequence of Look
        By hour.

    Yields
    ------
    factor : Factor
        That of the look with the most cells first, then earlier ones backward, then later ones.

    Examples
    --------
    >>> looks = [Look(144.0, 30, 128, 0), Look(240.0, 110, 128, 0)]
    >>> [(each.k, each.n) for each in factors_of(looks)]
    [(110, 128), (30, 110)]
    """
    if not looks:
        return
    base = base_look(looks)
    at = looks[base]
    yield Factor(-1.0, at.hour_h, np.inf, at.n_right, at.n_seen)
    right, seen, high, lost = at.n_right, at.n_seen, at.hour_h, at.n_lost_before
    for look in reversed(looks[:base]):
        lost_since = lost - look.n_lost_before  # right then, gone since
        n_all = min(round((right + lost_since) * look.n_seen / (seen + lost_since)), look.n_seen)
        if look.n_seen == seen + lost_since:
            k = min(look.n_right, n_all)
        else:
            n_all = max(n_all, look.n_right)
            k = look.n_right
        yield Factor(-1.0, look.hour_h, high, k, n_all)
        right, seen, high, lost = k, look.n_seen, look.hour_h, look.n_lost_before
    right, seen, low, lost = at.n_right, at.n_seen, at.hour_h, at.n_lost_before
    for look in looks[base + 1 :]:
        lost_since = look.n_lost_before - lost
        had, of = max(right - lost_since, 0), max(seen - lost_since, 1)
        n_had = min(round(had * look.n_seen / of), look.n_seen)
        k = max(look.n_right - n_had, 0)
        yield Factor(low, look.hour_h, np.inf, k, look.n_seen - n_had)
        right, seen, low, lost = n_had + k, look.n_seen, look.hour_h, look.n_lost_before


def base_look(looks: Sequence[Look]) -> int:
    """Return which look has the most cells; of several, the last.

    Parameters
    ----------
    looks : sequence of Look
        By hour, at least one.

    Returns
    -------
    index : int
        Its place.
    """
    return max(range(len(looks)), key=lambda i: (looks[i].n_seen + looks[i].n_lost_before, i))


@dataclass(frozen=True, slots=True, eq=False)
class Looks:
    """Looks of many sowings; times, pairs of times and counts are sorted by sowing.

    Attributes
    ----------
    log_goal, sigma_seed, weight : ndarray, shape (R,)
        Logarithm of the thermal time, spread between seeds, concentration of trays.
    seeds, least, per_unit : ndarray, shape (R,)
        What is in a cell.
    time_of, log_progress : ndarray, shape (N,)
        Sowing of each time at which one looked, and ln of progress then at w = 0.
    pair_of, low, mid, high : ndarray of int, shape (P,)
        Sowing of each triple of times, and the times; -1 for the beginning and for never.
    n_pair : ndarray, shape (P,)
        Counts of it.
    count_of, k, n, times : ndarray, shape (C,)
        Triple of each different count, its cells, and how often it was made.
    """

    log_goal: Floats
    sigma_seed: Floats
    weight: Floats
    seeds: Ints
    least: Ints
    per_unit: Floats
    time_of: Ints
    log_progress: Floats
    pair_of: Ints
    low: Ints
    mid: Ints
    high: Ints
    n_pair: Floats
    count_of: Ints
    k: Floats
    n: Floats
    times: Floats

    def right_frac(self, row: Ints, seed_frac: Floats) -> Floats:
        """Share of right cells, for chances of a seed to be up.

        Parameters
        ----------
        row : ndarray of int, shape (N,)
            Sowing of each first index of `seed_frac`.
        seed_frac : ndarray, shape (N, ...)
            Chance of a seed to be up [fraction].

        Returns
        -------
        right_frac : ndarray, shape (N, ...)
            Chance of a cell to be right.
        """
        out = seed_frac
        kinds = {
            (int(s), int(p), float(u))
            for s, p, u in zip(
                self.seeds[row], self.least[row], self.per_unit[row], strict=True
            )
        }  # fmt: skip
        for seeds, least, per_unit in kinds - {(1, 1, u) for *_, u in kinds}:
            here = (self.seeds[row] == seeds) & (self.least[row] == least)
            here &= self.per_unit[row] == per_unit
            if out is seed_frac:
                out = seed_frac.copy()
            out[here] = cell_ok_prob(seeds, seed_frac[here], least, seedlings_per_unit=per_unit)
        return out

    def right_at_times(self, rows: slice, lag: Floats, stand: Floats) -> tuple[Floats, slice]:
        """Share of right cells at each time of some sowings.

        Parameters
        ----------
        rows : slice
            Which sowings.
        lag : ndarray, shape (R, E) or (R, E, S)
            Lag at each cell of the grid.
        stand : ndarray, shape (R, S) or (R, E, S)
            Chance of a seed to be up in the end.

        Returns
        -------
        right_frac : ndarray, shape (N, E, S)
            Shares.
        times : slice
            Which times these are.
        """
        times = slice(*np.searchsorted(self.time_of, [rows.start, rows.stop]))
        row = self.time_of[times] - rows.start
        of = self.time_of[times]
        lag3 = lag[row][:, :, None] if lag.ndim == 2 else lag[row]
        stand3 = stand[row][:, None, :] if stand.ndim == 2 else stand[row]
        z = (self.log_progress[times] - self.log_goal[of])[:, None, None] - lag3
        up = ndtr(z / self.sigma_seed[of][:, None, None])
        return self.right_frac(of, up * stand3), times

    def log_likelihood(self, rows: slice, lag: Floats, stand: Floats) -> Floats:
        """Log-likelihood of all counts of some sowings, without constants.

        Parameters
        ----------
        rows : slice
            Which sowings.
        lag, stand : ndarray
            As for `right_at_times`.

        Returns
        -------
        log_likelihood : ndarray, shape (R, E, S)
            0 where nothing was counted.
        """
        n_rows = rows.stop - rows.start
        shape = (n_rows, lag.shape[1], stand.shape[-1])
        out = np.zeros(shape)
        pairs = slice(*np.searchsorted(self.pair_of, [rows.start, rows.stop]))
        if pairs.stop == pairs.start:
            return out
        counts = slice(*np.searchsorted(self.count_of, [pairs.start, pairs.stop]))
        right, times = self.right_at_times(rows, lag, stand)
        low, mid, high = (each[pairs] - times.start for each in (self.low, self.mid, self.high))
        begins, ends = self.low[pairs] < 0, self.high[pairs] < 0
        q = right[mid]
        a, b = q.copy(), 1.0 - q
        if not begins.all():
            a[~begins] -= right[low[~begins]]
        if not ends.all():
            b[~ends] = right[high[~ends]] - q[~ends]
        weight = self.weight[self.pair_of[pairs]][:, None, None]
        for each in (a, b):
            np.multiply(each, weight, out=each)
            np.maximum(each, LEAST_WEIGHT, out=each)
        of = self.count_of[counts] - pairs.start
        alone = of.size == pairs.stop - pairs.start  # one count for each pair
        k, n = self.k[counts][:, None, None], self.n[counts][:, None, None]
        part = k + (a if alone else a[of])
        gammaln(part, out=part)
        other = (n - k) + (b if alone else b[of])
        part += gammaln(other, out=other)
        moving = np.flatnonzero(~(begins & ends))  # else a + b is the concentration: a constant
        if moving.size:
            both = (a + b)[moving]
            place = np.full(begins.size, -1)
            place[moving] = np.arange(moving.size)
            which = np.flatnonzero(place[of] >= 0)
            part[which] -= gammaln(n[which] + both[place[of[which]]])
        part *= self.times[counts][:, None, None]
        total = part
        if not alone:
            first_count = np.searchsorted(of, np.arange(pairs.stop - pairs.start))
            total = np.add.reduceat(part, first_count)
        once = gammaln(a, out=a)
        once += gammaln(b, out=b)
        if moving.size:
            once[moving] -= gammaln(both)
        once *= self.n_pair[pairs][:, None, None]
        total -= once
        owner = self.pair_of[pairs] - rows.start
        first = np.flatnonzero(np.diff(owner, prepend=-1))
        out[owner[first]] = np.add.reduceat(total, first)
        return out


def gather_looks(sowings: Sequence[OpenSowing], evidence: Sequence[SowingEvidence]) -> Looks:
    """Put the looks of many sowings into arrays.

    Parameters
    ----------
    sowings : sequence of OpenSowing
        The sowings.
    evidence : sequence of SowingEvidence
        What their journals tell.

    Returns
    -------
    looks : Looks
        The same as arrays.
    """
    time_of: list[int] = []
    log_progress: list[float] = []
    pairs: list[tuple[int, int, int, int, float]] = []
    counts: list[tuple[int, int, int, int]] = []
    for row, (sowing, told) in enumerate(zip(sowings, evidence, strict=True)):
        found: dict[tuple[float, float, float], Counter[tuple[int, int]]] = {}
        for tray in told.trays:
            if not tray.chosen:
                for each in factors_of(tray.looks):
                    pair = (each.low_h, each.mid_h, each.high_h)
                    found.setdefault(pair, Counter())[each.k, each.n] += 1
        if not found:
            continue
        hours = sorted({hour for pair in found for hour in pair if 0.0 <= hour < np.inf})
        index = {hour: len(time_of) + i for i, hour in enumerate(hours)}
        time_of += [row] * len(hours)
        log_progress += log_progress_at(sowing, np.array(hours)).tolist()
        for (low, mid, high), tally in found.items():
            at = len(pairs)
            pairs.append(
                (row, index.get(low, -1), index[mid], index.get(high, -1), float(tally.total()))
            )
            counts += [(at, k, n, m) for (k, n), m in tally.items()]
    table = np.array(pairs, dtype=np.float64).reshape(-1, 5)
    tally_table = np.array(counts, dtype=np.int64).reshape(-1, 4)
    return Looks(
        np.log([each.pace.thermal_time_cd for each in sowings]),
        np.array([each.pace.sigma_seed for each in sowings]),
        concentration([each.rho_tray for each in sowings]),
        np.array([each.cell.seeds_per_cell for each in sowings], dtype=np.int64),
        np.array([each.cell.plants_least for each in sowings], dtype=np.int64),
        np.array([each.cell.seedlings_per_unit for each in sowings], dtype=np.float64),
        np.array(time_of, dtype=np.int64),
        np.array(log_progress, dtype=np.float64),
        table[:, 0].astype(np.int64),
        table[:, 1].astype(np.int64),
        table[:, 2].astype(np.int64),
        table[:, 3].astype(np.int64),
        table[:, 4],
        tally_table[:, 0],
        tally_table[:, 1].astype(np.float64),
        tally_table[:, 2].astype(np.float64),
        tally_table[:, 3].astype(np.float64),
    )


def log_progress_at(sowing: OpenSowing, hour_h: Floats) -> Floats:
    """Return the logarithm of progress at w = 0 (of several nodes the middle one).

    Parameters
    ----------
    sowing : OpenSowing
        The sowing.
    hour_h : ndarray, shape (N,)
        Hours since sowing [h].

    Returns
    -------
    log_progress : ndarray, shape (N,)
        ``ln`` of thermal time [°C d].
    """
    middle = sowing.progress_cd[sowing.progress_cd.shape[0] // 2]
    found = np.interp(hour_h, sowing.hours_h, middle)
    return np.asarray(np.log(np.maximum(found, _LEAST_PROGRESS_CD)))
