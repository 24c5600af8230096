"""Log-chances of counts as tables over the share of right cells, so that a grid is only looked up.

A beta-binomial's logarithm is a sum of terms ``ln Gamma(m + A u) - ln Gamma(A u)`` with whole m, so
that one table for each m serves every count; counts with the same times add up to one table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from sowbench.forecasting.grid_sides import add_up
from sowbench.forecasting.looks import Looks, Reals
from sowbench.science.tray_process import LEAST_WEIGHT

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]

# Nodes of a table. They are even in u^(1/4) - (1 - u)^(1/4), so that they stand close at both ends,
# where the logarithm bends.
_N_NODES: Final = 385
_N_HALVINGS: Final = 60
# Numbers worked on at once: what stays near the processor.
_PIECE: Final = 24_000
_HALF: Final = np.float32(0.5 * (_N_NODES - 1))


def node_shares() -> Floats:
    """Shares at the nodes of a table, from 0 to 1.

    Returns
    -------
    share_frac : ndarray, shape (M,)
        Shares [fraction]; node i and the last less i add up to 1.

    Examples
    --------
    >>> shares = node_shares()
    >>> float(shares[0]), float(shares[shares.size // 2].round(12)), float(shares[-1])
    (0.0, 0.5, 1.0)
    """
    goal = np.linspace(-1.0, 0.0, _N_NODES // 2 + 1)
    low, high = np.zeros_like(goal), np.full_like(goal, 0.5)
    for _ in range(_N_HALVINGS):
        middle = 0.5 * (low + high)
        below = middle**0.25 - (1.0 - middle) ** 0.25 < goal
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    high[0], high[-1] = 0.0, 0.5
    return np.concatenate([high, 1.0 - high[-2::-1]])


@dataclass(frozen=True, slots=True, eq=False)
class CountTables:
    """Tables of ``ln Gamma(m + A u) - ln Gamma(A u)`` for the counts of many sowings.

    Attributes
    ----------
    looks : Looks
        The counts.
    term : ndarray, shape (T, M)
        One table for each pair of concentration A and whole m, less its middle value.
    good, rest, both : ndarray of int, shape (C,)
        Tables of the cells of each count that were right, of the others, and of all.
    """

    looks: Looks
    term: Singles
    good: Ints
    rest: Ints
    both: Ints


def count_tables(looks: Looks) -> CountTables:
    """Tabulate what the counts of many sowings need.

    Parameters
    ----------
    looks : Looks
        The counts.

    Returns
    -------
    tables : CountTables
        The tables.
    """
    kinds, kind_of = np.unique(looks.weight, return_inverse=True)
    good, seen = looks.k.astype(np.int64), looks.n.astype(np.int64)
    width = int(seen.max(initial=0)) + 1
    base = kind_of[looks.pair_of[looks.count_of]] * width
    asked = np.zeros(kinds.size * width, dtype=np.bool_)
    keys = (base + good, base + seen - good, base + seen)
    for each in keys:
        asked[each] = True
    found = np.flatnonzero(asked)
    place = np.cumsum(asked) - 1
    weight, number = kinds[found // width], (found % width).astype(np.float64)
    argument = np.maximum(weight[:, None] * node_shares(), LEAST_WEIGHT)
    term = gammaln(number[:, None] + argument) - gammaln(argument)
    term -= term[:, _N_NODES // 2 : _N_NODES // 2 + 1]
    return CountTables(looks, term.astype(np.float32), *(place[each] for each in keys))


class SomeCounts:
    """The counts of some sowings, those with the same times in one table.

    Parameters
    ----------
    tables : CountTables
        Counts of all sowings.
    rows : slice
        Which sowings.
    """

    def __init__(self, tables: CountTables, rows: slice) -> None:
        looks, term = tables.looks, tables.term
        self.looks, self.rows = looks, rows
        pairs = slice(*np.searchsorted(looks.pair_of, [rows.start, rows.stop]))
        counts = slice(*np.searchsorted(looks.count_of, [pairs.start, pairs.stop]))
        self.times = slice(*np.searchsorted(looks.time_of, [rows.start, rows.stop]))
        # Behind the times stand never and from the first, with shares of 1 and of 0.
        n_times = self.times.stop - self.times.start
        low, mid, high = (each[pairs] for each in (looks.low, looks.mid, looks.high))
        moving = (low >= 0) | (high >= 0)
        times = (
            np.where(low < 0, n_times + 1, low - self.times.start),
            mid - self.times.start,
            np.where(high < 0, n_times, high - self.times.start),
        )
        owner = looks.pair_of[pairs] - rows.start
        of = looks.count_of[counts] - pairs.start
        often = looks.times[counts].astype(np.float32)[:, None]
        here = ~moving[of]
        whole = term[tables.good[counts][here]]
        whole += term[tables.rest[counts][here]][:, ::-1]
        self._parts = [
            _Part(
                owner[~moving],
                (times[1][~moving],),
                (_table(_times(whole, often[here]), of[here]),),
            )
        ]
        if moving.any():
            here = ~here
            good, rest, both = (
                _table(_times(term[which[counts][here]], sign * often[here]), of[here])
                for which, sign in ((tables.good, 1.0), (tables.rest, 1.0), (tables.both, -1.0))
            )
            some = [each[moving] for each in times]
            self._parts.append(_Part(owner[moving], tuple(some), (good, rest, both)))

    def log_likelihood(self, lag: Floats, stand: Floats) -> Singles:
        """Log-likelihood of the counts, up to a constant for each sowing.

        Parameters
        ----------
        lag : ndarray, shape (R, E)
            Lags of the grid.
        stand : ndarray, shape (R, S)
            Chances of a seed to be up in the end.

        Returns
        -------
        log_likelihood : ndarray, shape (R, E, S)
            0 where nothing was counted.
        """
        looks = self.looks
        n_rows, n_lag, n_stand = *lag.shape, stand.shape[1]
        row = looks.time_of[self.times]
        up = np.ones((row.size + 2, n_lag))
        up[:-2] = looks.up_frac(self.times, lag[row - self.rows.start])
        up[-1] = 0.0
        end = np.concatenate([stand, np.ones((1, n_stand))])
        of = np.concatenate([row - self.rows.start, [n_rows, n_rows]])
        rule = np.concatenate([looks.rule_of[row], [0, 0]])
        single = up.astype(np.float32), end.astype(np.float32)

        def share(times: Ints, sides: tuple[Reals, Reals]) -> Reals:
            here = np.multiply(sides[0][times][:, :, None], sides[1][of[times]][:, None, :])
            return looks.right_of(rule[times], here)

        out = np.zeros((n_rows, n_lag, n_stand), dtype=np.float32)
        step = max(_PIECE // (n_lag * n_stand), 1)
        reader = _Reader((step, n_lag, n_stand))
        for part in self._parts:
            for first in range(0, part.owner.size, step):
                some = slice(first, first + step)
                if len(part.times) == 1:
                    total = reader.read(part.tables[0][some], share(part.times[0][some], single))
                else:  # differences of what may be nearly equal
                    low, mid, high = (share(each[some], (up, end)) for each in part.times)
                    total = reader.read(part.tables[0][some], mid - low).copy()
                    total += reader.read(part.tables[1][some], high - mid)
                    total += reader.read(part.tables[2][some], high - low)
                add_up(out, part.owner[some], total)
        return out


class _Part(NamedTuple):
    """Terms of one kind: their sowings, times that shares are taken at, and tables."""

    owner: Ints
    times: tuple[Ints, ...]
    tables: tuple[NDArray[np.complex64], ...]


def _times(values: Singles, often: Singles) -> Singles:
    """Multiply tables by how often a count was made, in place."""
    if np.any(often != 1.0):
        values *= often
    return values


def _table(values: Singles, of: Ints) -> NDArray[np.complex64]:
    """Add up tables by what they are of, with the step to the next node as imaginary part."""
    starts = np.flatnonzero(np.diff(of, prepend=-1))
    table = np.zeros((starts.size, _N_NODES), dtype=np.complex64)
    if starts.size:
        total = np.add.reduceat(values, starts) if starts.size < of.size else values
        table.real = total
        table.imag[:, :-1] = total[:, 1:] - total[:, :-1]
    return table


class _Reader:
    """Reads tables in straight lines between nodes, always in the same memory."""

    def __init__(self, shape: tuple[int, int, int]) -> None:
        self._at, self._floor = np.empty(shape, np.float32), np.empty(shape, np.float32)
        self._index, self._pair = np.empty(shape, np.int64), np.empty(shape, np.complex64)
        self._first = (np.arange(shape[0], dtype=np.float32) * _N_NODES)[:, None, None]

    def read(self, table: NDArray[np.complex64], share: Reals) -> Singles:
        """Return the values of each table, shape (n, M), at shares of shape (n, E, S)."""
        n = share.shape[0]
        at, floor, index, pair = self._at[:n], self._floor[:n], self._index[:n], self._pair[:n]
        floor[...] = share
        np.maximum(floor, 0.0, out=floor)
        np.subtract(1.0, floor, out=at)
        np.sqrt(floor, out=floor)
        np.sqrt(floor, out=floor)
        np.sqrt(at, out=at)
        np.sqrt(at, out=at)
        np.subtract(floor, at, out=at)
        at += 1.0
        at *= _HALF
        np.floor(at, out=floor)
        at -= floor
        floor += self._first[:n]
        index[...] = floor
        table.ravel().take(index, out=pair, mode="clip")
        at *= pair.imag
        at += pair.real
        return at
