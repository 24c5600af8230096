"""Looks at the trays of many sowings as arrays, and their likelihood on grids of lag and stand.

docs/model.md section 13 has the table of the three kinds of count.
"""

from __future__ import annotations

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
Reals = NDArray[np.floating]

# Progress of 0 has no logarithm; by then nothing is up.
_LEAST_PROGRESS_CD: Final = 1e-6
# Nodes of the share of right cells over the chance of a seed to be up; straight between them.
_N_RULE: Final = 2049


class Factor(NamedTuple):
    """One beta-binomial of a tray's looks: k of n between three times, by hour.

    Parameters
    ----------
    low_h, mid_h, high_h : float
        Weights are those of being right between `low_h` and `mid_h`, and between `mid_h` and
        `high_h`; -1 is before anything is up, inf is never.
    k, n : int
        Cells.
    trust : float, default 1.0
        What its logarithm is multiplied with: below 1 where other cells were looked at than by the
        neighbor.
    """

    low_h: float
    mid_h: float
    high_h: float
    k: int
    n: int
    trust: float = 1.0


def factors_of(looks: Sequence[Look], n_cells: int = 0, weight: float = np.inf) -> Iterator[Factor]:
    """Turn the looks at one tray into independent beta-binomial counts.

    Parameters
    ----------
    looks : sequence of Look
        By hour.
    n_cells : int, default 0
        Cells of the tray; at least those looked at.
    weight : float, default inf
        Concentration of the tray.

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
    base = base_look(looks) if len(looks) > 1 else 0
    at = looks[base]
    yield Factor(-1.0, at.hour_h, np.inf, at.n_right, at.n_seen)
    tray = max(n_cells, at.n_seen + at.n_lost_before)
    right, seen, high, lost = at.n_right, at.n_seen, at.hour_h, at.n_lost_before
    for look in reversed(looks[:base]):
        lost_since = lost - look.n_lost_before  # right then, gone since
        n_all = min(round((right + lost_since) * look.n_seen / (seen + lost_since)), look.n_seen)
        trust = 1.0
        if look.n_seen == seen + lost_since:
            k = min(look.n_right, n_all)
        else:
            n_all = max(n_all, look.n_right)
            k = look.n_right
            share = (right + lost_since + 0.5) / (seen + lost_since + 1.0)
            of_late = (k + 0.5) / (n_all + 1.0)
            slip = of_late**2 * _slip(look.n_seen, seen + lost_since, tray, share)
            trust = _trust(n_all, of_late, weight * share, slip)
        yield Factor(-1.0, look.hour_h, high, k, n_all, trust)
        right, seen, high, lost = k, look.n_seen, look.hour_h, look.n_lost_before
    right, seen, low, lost = at.n_right, at.n_seen, at.hour_h, at.n_lost_before
    for look in looks[base + 1 :]:
        lost_since = look.n_lost_before - lost
        had, of = max(right - lost_since, 0), max(seen - lost_since, 1)
        n_had = min(round(had * look.n_seen / of), look.n_seen)
        k = max(look.n_right - n_had, 0)
        trust = 1.0
        if look.n_seen != of:
            share, n_rest = (had + 0.5) / (of + 1.0), look.n_seen - n_had
            newly = (k + 0.5) / (n_rest + 1.0)
            slip = (1.0 - newly) ** 2 * _slip(look.n_seen, of, tray, share)
            trust = _trust(n_rest, newly, weight * (1.0 - share), slip)
        yield Factor(low, look.hour_h, np.inf, k, look.n_seen - n_had, trust)
        right, seen, low, lost = n_had + k, look.n_seen, look.hour_h, look.n_lost_before


def _slip(n_here: int, n_there: int, n_tray: int, share: float) -> float:
    """Variance of right cells of one look as scaled from a look at other cells of the tray.

    Both are drawn from the tray without putting back: the variance of the difference of two
    hypergeometric counts, one of them scaled.
    """
    beside = (n_tray - n_here) + n_here / n_there * (n_tray - n_there)
    return n_here * share * (1.0 - share) * max(beside, 0.0) / max(n_tray - 1, 1)


def _trust(n: int, share: float, weight: float, slip: float) -> float:
    """Part of a count's variance that is its own, of all that it has."""
    over = 1.0 if np.isinf(weight) else (weight + n) / (weight + 1.0)
    own = max(n, 1) * share * (1.0 - share) * over
    return round(own / (own + slip), 3)


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
    rule_of : ndarray of int, shape (R,)
        Place of each sowing's cell rule among the tables.
    rules : ndarray, shape (K, M)
        Share of right cells at even chances of a seed to be up from 0 to 1, by cell rule; the
        first is that of one seed for one plant.
    time_of, hour_h, log_progress : ndarray, shape (N,)
        Sowing of each time at which one looked, its hour, and ln of progress then at w = 0.
    pair_of, low, mid, high : ndarray of int, shape (P,)
        Sowing of each triple of times, and the times; -1 for the beginning and for never.
    n_pair : ndarray, shape (P,)
        Counts of it, by how far they are trusted.
    count_of, k, n, times : ndarray, shape (C,)
        Triple of each different count, its cells, and how often it was made, by how far it is
        trusted.
    """

    log_goal: Floats
    sigma_seed: Floats
    weight: Floats
    rule_of: Ints
    rules: Floats
    time_of: Ints
    hour_h: Floats
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

    def right_frac(self, row: Ints, seed_frac: Reals) -> Reals:
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
        return self.right_of(self.rule_of[row], seed_frac)

    def right_of(self, rule: Ints, seed_frac: Reals) -> Reals:
        """Share of right cells by cell rule, for chances of a seed to be up.

        Parameters
        ----------
        rule : ndarray of int, shape (N,)
            Place of the cell rule of each first index of `seed_frac`.
        seed_frac : ndarray, shape (N, ...)
            Chance of a seed to be up [fraction].

        Returns
        -------
        right_frac : ndarray, shape (N, ...)
            Chance of a cell to be right.
        """
        if not rule.any():
            return seed_frac
        out = seed_frac.copy()
        here = np.flatnonzero(rule)
        wide = (-1, *([1] * (seed_frac.ndim - 1)))
        at = out[here] * (_N_RULE - 1)
        floor = np.minimum(np.floor(at), _N_RULE - 2)
        at -= floor
        index = floor.astype(np.int64) + (rule[here] * _N_RULE).reshape(wide)
        table = self.rules.ravel().astype(seed_frac.dtype, copy=False)
        low = table.take(index)
        index += 1
        out[here] = low + at * (table.take(index) - low)
        return out

    def up_frac(self, times: slice, lag: Floats) -> Floats:
        """Share of the seeds that come up at all which is up at a time.

        Parameters
        ----------
        times : slice
            Which times.
        lag : ndarray, shape (N, ...)
            Lags at each of them.

        Returns
        -------
        up_frac : ndarray, shape (N, ...)
            Shares [fraction].
        """
        of = self.time_of[times]
        wide = (-1, *([1] * (lag.ndim - 1)))
        ahead = (self.log_progress[times] - self.log_goal[of]).reshape(wide) - lag
        return np.asarray(ndtr(ahead / self.sigma_seed[of].reshape(wide)))

    def right_at_times(
        self, rows: slice, lag: Floats, stand: Floats, kind: type[np.floating] = np.float64
    ) -> tuple[Reals, slice]:
        """Share of right cells at each time of some sowings.

        Parameters
        ----------
        rows : slice
            Which sowings.
        lag : ndarray, shape (R, E) or (R, E, S)
            Lag at each cell of the grid.
        stand : ndarray, shape (R, S) or (R, E, S)
            Chance of a seed to be up in the end.
        kind : type, default float64
            Kind of number of the shares.

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
        up = self.up_frac(times, lag3).astype(kind, copy=False)
        return self.right_frac(of, up * stand3.astype(kind, copy=False)), times

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
    hour_h: list[float] = []
    progress: list[Floats] = []
    pairs: list[tuple[int, int, int, int]] = []
    n_pair: list[float] = []
    counts: list[tuple[int, int, int]] = []
    often: list[float] = []
    for row, (sowing, told) in enumerate(zip(sowings, evidence, strict=True)):
        found = _tallied(told, 1.0 / max(sowing.rho_tray, 1e-6) - 1.0)
        if not found:
            continue
        hours = sorted({hour for pair in found for hour in pair if 0.0 <= hour < np.inf})
        index = {hour: at for at, hour in enumerate(hours, len(time_of))}
        time_of += [row] * len(hours)
        hour_h += hours
        progress.append(_progress_at(sowing, hours))
        for (low, mid, high), tally in sorted(found.items(), key=_by_middle):
            at = len(pairs)
            pairs.append((row, index.get(low, -1), index[mid], index.get(high, -1)))
            n_pair.append(sum(tally.values()))
            counts += [(at, k, n) for k, n in tally]
            often += tally.values()
    table = np.array(pairs, dtype=np.int64).reshape(-1, 4)
    tally_table = np.array(counts, dtype=np.int64).reshape(-1, 3)
    rules, rule_of = _rules(sowings)
    return Looks(
        np.log([each.pace.thermal_time_cd for each in sowings]),
        np.array([each.pace.sigma_seed for each in sowings]),
        concentration([each.rho_tray for each in sowings]),
        rule_of,
        rules,
        np.array(time_of, dtype=np.int64),
        np.array(hour_h, dtype=np.float64),
        np.log(np.maximum(np.concatenate(progress or [np.zeros(0)]), _LEAST_PROGRESS_CD)),
        np.ascontiguousarray(table[:, 0]),
        np.ascontiguousarray(table[:, 1]),
        np.ascontiguousarray(table[:, 2]),
        np.ascontiguousarray(table[:, 3]),
        np.array(n_pair, dtype=np.float64),
        np.ascontiguousarray(tally_table[:, 0]),
        tally_table[:, 1].astype(np.float64),
        tally_table[:, 2].astype(np.float64),
        np.array(often, dtype=np.float64),
    )


_Tally = dict[tuple[float, float, float], dict[tuple[int, int], float]]


def _tallied(told: SowingEvidence, weight: float) -> _Tally:
    """Count how often each number of right cells was seen, by the times that it depends on."""
    found: _Tally = {}
    for tray in told.trays:
        if tray.chosen or not tray.looks:
            continue
        for low_h, mid_h, high_h, k, n, trust in factors_of(tray.looks, tray.n_cells, weight):
            pair = (low_h, mid_h, high_h)
            tally = found.get(pair)
            if tally is None:
                found[pair] = {(k, n): trust}
            else:
                tally[k, n] = tally.get((k, n), 0.0) + trust
    return found


def _by_middle(item: tuple[tuple[float, float, float], object]) -> tuple[float, float, float]:
    """Sort triples of times by the middle one."""
    low, mid, high = item[0]
    return mid, low, high


def _rules(sowings: Sequence[OpenSowing]) -> tuple[Floats, Ints]:
    """Tabulate the share of right cells by cell rule, and say which rule each sowing has."""
    places = {(1, 1, 1.0): 0}
    rule_of = np.empty(len(sowings), dtype=np.int64)
    for row, sowing in enumerate(sowings):
        cell = sowing.cell
        rule = (cell.seeds_per_cell, cell.plants_least, float(cell.seedlings_per_unit))
        if rule[:2] == (1, 1):
            rule = (1, 1, 1.0)
        rule_of[row] = places.setdefault(rule, len(places))
    even = np.linspace(0.0, 1.0, _N_RULE)
    tables = [cell_ok_prob(n, even, least, seedlings_per_unit=per) for n, least, per in places]
    return np.array(tables), rule_of


def _progress_at(sowing: OpenSowing, hour_h: Sequence[float]) -> Floats:
    """Return progress at w = 0 (of several nodes the middle one) at some hours."""
    middle = sowing.progress_cd[sowing.progress_cd.shape[0] // 2]
    return np.asarray(np.interp(hour_h, sowing.hours_h, middle))


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
    found = _progress_at(sowing, np.asarray(hour_h).tolist())
    return np.asarray(np.log(np.maximum(found, _LEAST_PROGRESS_CD)))
