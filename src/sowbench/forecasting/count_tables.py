"""Log-chances of counts as tables over the share of right cells, so that a grid is only looked up.

A beta-binomial's logarithm is a sum of terms ``ln Gamma(m + A u) - ln Gamma(A u)`` with whole m, so
that one table for each m serves every count; counts with the same times add up to one table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from sowbench.forecasting.looks import Looks
from sowbench.science.tray_process import LEAST_WEIGHT

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]

# Nodes of a table. They are even in u^(1/4) - (1 - u)^(1/4), so that they stand close at both ends,
# where the logarithm bends.
_N_NODES: Final = 385
_N_HALVINGS: Final = 60
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
    """The counts of some sowings, those with the same times in one table."""

    def __init__(self, tables: CountTables, rows: slice) -> None:
        looks, term = tables.looks, tables.term
        self.n_rows = rows.stop - rows.start
        pairs = slice(*np.searchsorted(looks.pair_of, [rows.start, rows.stop]))
        counts = slice(*np.searchsorted(looks.count_of, [pairs.start, pairs.stop]))
        self.times = slice(*np.searchsorted(looks.time_of, [rows.start, rows.stop]))
        low, mid, high = (each[pairs] for each in (looks.low, looks.mid, looks.high))
        owner = looks.pair_of[pairs] - rows.start
        moving = (low >= 0) | (high >= 0)
        of = looks.count_of[counts] - pairs.start
        often = looks.times[counts].astype(np.float32)[:, None]
        here = ~moving[of]
        self._plain = _summed(
            (term[tables.good[counts][here]] + term[tables.rest[counts][here]][:, ::-1])
            * often[here],
            of[here],
        )
        self._plain_owner, self._plain_mid = owner[~moving], mid[~moving] - self.times.start
        every = np.arange(self.times.stop - self.times.start)
        self._plain_is_all = np.array_equal(self._plain_mid, every)
        self._moving = None
        if moving.any():
            here = ~here
            parts = (
                _summed(term[which[counts][here]] * (sign * often[here]), of[here])
                for which, sign in ((tables.good, 1.0), (tables.rest, 1.0), (tables.both, -1.0))
            )
            self._moving = tuple(parts)
            # Behind the times stand never and from the first: shares 1 and 0.
            n_times = self.times.stop - self.times.start
            self._low = np.where(low < 0, n_times + 1, low - self.times.start)[moving]
            self._mid = mid[moving] - self.times.start
            self._high = np.where(high < 0, n_times, high - self.times.start)[moving]
            self._moving_owner = owner[moving]

    def log_likelihood(self, right: Singles) -> Singles:
        """Log-likelihood of the counts, up to a constant for each sowing.

        Parameters
        ----------
        right : ndarray, shape (N, E, S)
            Share of right cells at each time at which one looked.

        Returns
        -------
        log_likelihood : ndarray, shape (R, E, S)
            0 where nothing was counted.
        """
        out = np.zeros((self.n_rows, *right.shape[1:]), dtype=np.float32)
        if self._plain_owner.size:
            share = right if self._plain_is_all else right[self._plain_mid]
            _add(out, self._plain_owner, _looked_up(self._plain, share))
        if self._moving is not None:
            ends = np.zeros((2, *right.shape[1:]), dtype=np.float32)
            ends[0] = 1.0
            share = np.concatenate([right, ends])
            low, mid, high = share[self._low], share[self._mid], share[self._high]
            total = _looked_up(self._moving[0], np.maximum(mid - low, 0.0))
            total += _looked_up(self._moving[1], np.maximum(high - mid, 0.0))
            total += _looked_up(self._moving[2], np.maximum(high - low, 0.0))
            _add(out, self._moving_owner, total)
        return out


def _summed(values: Singles, of: Ints) -> NDArray[np.complex64]:
    """Add up tables by what they are of, with the step to the next node as imaginary part."""
    starts = np.flatnonzero(np.diff(of, prepend=-1))
    total = np.zeros((starts.size, _N_NODES), dtype=np.complex64)
    if starts.size:
        total.real = np.add.reduceat(values, starts) if starts.size < of.size else values
        total.imag[:, :-1] = np.diff(total.real, axis=1)
    return total


def _looked_up(table: NDArray[np.complex64], share: Singles) -> Singles:
    """Read tables in straight lines between nodes."""
    at, root = 1.0 - share, np.sqrt(share)
    for each in (at, at, root):
        np.sqrt(each, out=each)
    np.subtract(root, at, out=at)
    at += 1.0
    at *= _HALF
    floor = np.floor(at)
    at -= floor
    index = floor.astype(np.int64)
    index += (np.arange(table.shape[0]) * _N_NODES)[:, None, None]
    pair = table.ravel().take(index)
    at *= pair.imag
    at += pair.real
    return at


def _add(out: Singles, owner: Ints, values: Singles) -> None:
    """Add values to their owners, which are sorted."""
    starts = np.flatnonzero(np.diff(owner, prepend=-1))
    out[owner[starts]] += np.add.reduceat(values, starts)
