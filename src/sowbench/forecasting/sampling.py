"""How many trays or cells to count today, and what the count is worth.

Two actions stand open for a sowing: leave it, or resow. A count is worth what it saves on average
by changing the action (preposterior analysis, [1]_); its risks are those of resowing in vain and
of leaving a short stand. Counts are enumerated, not sampled (docs/model.md section 14).

References
----------
.. [1] H. Raiffa, R. Schlaifer, Applied Statistical Decision Theory, 1961 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sowbench.forecasting.joint import Batch
from sowbench.forecasting.resow import losses_by_size
from sowbench.forecasting.resow_records import Second, Stakes
from sowbench.forecasting.supply import Parts
from sowbench.science.beta_binomial import tray_pmf
from sowbench.science.errors import OutOfRangeError
from sowbench.science.quadrature import normal_nodes
from sowbench.science.tray_process import concentration

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Chances of right cells at which distributions of counts are kept; straight between them.
_N_NODES: Final = 129
# Results of a count told apart while plans are compared; the plan that is chosen is reckoned whole.
_N_GROUPS: Final = 14
_WEIGHT_LEAST: Final = 1e-4
_TRAYS: Final = (1, 2, 4, 8, 16)
_SHARE_EDGE: Final = 1e-9


@dataclass(frozen=True, slots=True)
class CountingWork:
    """What counting takes.

    Attributes
    ----------
    minutes_a_tray, minutes_a_cell : float
        Minutes for finding a tray and writing down, and for looking at a cell [min].
    sample_cells : int
        Cells looked at in a tray where not all are.
    """

    minutes_a_tray: float = 0.5
    minutes_a_cell: float = 0.012
    sample_cells: int = 30

    def minutes(self, n_trays: int, n_cells: int) -> float:
        """Minutes that a count takes.

        Parameters
        ----------
        n_trays, n_cells : int
            Trays, and cells looked at in each.

        Returns
        -------
        minutes : float
            Minutes [min].
        """
        return n_trays * (self.minutes_a_tray + n_cells * self.minutes_a_cell)


@dataclass(frozen=True, slots=True)
class CountAsked:
    """A count worth making today.

    Attributes
    ----------
    question, order, row : int
        Which question of the parts, and its order and sowing.
    n_trays, n_cells_per_tray : int
        Trays to count, and cells to look at in each.
    is_again : bool
        Whether these trays were counted before.
    resow_at_most : int
        With so many right cells or fewer it is resown; with more it is left. -1: never resown.
    vain_frac, missed_frac : float
        Chance of resowing an order that would have been filled, and of leaving one that will be
        short, once the count is made (each of all such).
    value, minutes : float
        Money that the count saves on average, its own minutes not taken off, and its minutes.
    """

    question: int
    order: int
    row: int
    n_trays: int
    n_cells_per_tray: int
    is_again: bool
    resow_at_most: int
    vain_frac: float
    missed_frac: float
    value: float
    minutes: float

    @property
    def worth(self) -> float:
        """Money saved a minute of counting."""
        return self.value / max(self.minutes, 1e-9)


@dataclass(frozen=True, slots=True)
class RiskPlan:
    """A plan of counting by two shares of right cells.

    Attributes
    ----------
    n_trays, n_cells_per_tray : int
        Trays to count, and cells of each.
    resow_at_most : int
        With so many right cells or fewer it is resown.
    vain_frac, missed_frac : float
        Chance of resowing a good stand, and of leaving a poor one.
    """

    n_trays: int
    n_cells_per_tray: int
    resow_at_most: int
    vain_frac: float
    missed_frac: float


def total_pmf(n_trays: int, n_cells: int, right_frac: float | Floats, rho_tray: float) -> Floats:
    """Chances of every number of right cells in several trays; exact.

    Parameters
    ----------
    n_trays, n_cells : int
        Trays, and cells looked at in each.
    right_frac : float or ndarray, shape (...)
        Share of right cells.
    rho_tray : float
        Correlation between two cells of a tray.

    Returns
    -------
    pmf : ndarray, shape (..., n_trays * n_cells + 1)
        Of the sum of independent beta-binomials.

    Examples
    --------
    >>> total_pmf(2, 1, 0.5, 0.3).tolist()
    [0.25, 0.5, 0.25]
    """
    if n_trays < 1:
        raise OutOfRangeError("n_trays", "1 or more", n_trays)
    one = tray_pmf(n_cells, right_frac, rho_tray)
    if n_trays == 1:
        return one
    length = n_trays * n_cells + 1
    total = np.fft.irfft(np.fft.rfft(one, length, axis=-1) ** n_trays, length, axis=-1)
    total = np.maximum(total, 0.0)
    return np.asarray(total / total.sum(axis=-1, keepdims=True))


def plan_for_risks(
    cells_per_tray: int,
    rho_tray: float,
    good_frac: float,
    poor_frac: float,
    vain_frac: float,
    missed_frac: float,
    n_trays_most: int = 200,
) -> RiskPlan | None:
    """Find the fewest trays that tell a good stand from a poor one with stated risks.

    Parameters
    ----------
    cells_per_tray : int
        Cells looked at in each tray; 1 with `rho_tray` 0 is sampling of single cells.
    rho_tray : float
        Correlation between two cells of a tray.
    good_frac, poor_frac : float
        Share of right cells with which one would not resow, and with which one would.
    vain_frac, missed_frac : float
        Chances allowed of resowing the good stand, and of leaving the poor one.
    n_trays_most : int, default 200
        Trays that there are.

    Returns
    -------
    plan : RiskPlan or None
        The plan; None if all trays are too few.

    Raises
    ------
    OutOfRangeError
        If the poor share is not below the good one.

    Notes
    -----
    The single sampling plan with two points of the operating characteristic, in the trade's words
    producer's risk (in vain) and consumer's risk (missed); without correlation it is the textbook
    one, with it trays take the place of single units.

    Examples
    --------
    >>> plan = plan_for_risks(1, 0.0, 0.99, 0.92, 0.05, 0.05)
    >>> plan.n_trays, plan.resow_at_most
    (77, 74)
    """
    if not 0.0 <= poor_frac < good_frac <= 1.0:
        rule = f"from 0 to below good_frac {good_frac:g}, itself at most 1"
        raise OutOfRangeError("poor_frac", rule, poor_frac)
    for n_trays in range(1, n_trays_most + 1):
        good = np.cumsum(total_pmf(n_trays, cells_per_tray, good_frac, rho_tray))
        poor = np.cumsum(total_pmf(n_trays, cells_per_tray, poor_frac, rho_tray))
        # The largest number at which a good stand is not resown too often.
        at = int(np.searchsorted(good, vain_frac * (1.0 + 1e-12), side="right")) - 1
        missed = 1.0 - float(poor[at]) if at >= 0 else 1.0
        if missed <= missed_frac:
            return RiskPlan(n_trays, cells_per_tray, at, float(good[at]), missed)
    return None


def counts_worth_making(
    batch: Batch,
    parts: Parts,
    sizes: Sequence[Second],
    stakes: Stakes,
    work: CountingWork | None = None,
    *,
    vain_frac: float = 0.05,
    missed_frac: float = 0.10,
) -> tuple[CountAsked, ...]:
    """Find the counts that can change a decision today, in the order of their worth.

    Parameters
    ----------
    batch : Batch
        The working of a forecast.
    parts : Parts
        What its orders may get.
    sizes : sequence of Second
        Resowings that stand open for each question, as `resow.sizes_of` gives them: after the
        count the one that then saves most is sown.
    stakes : Stakes
        What is at stake.
    work : CountingWork or None, default None
        What counting takes.
    vain_frac, missed_frac : float, default 0.05 and 0.10
        Risks to keep if a plan that pays can keep them: the one that saves most of those that do
        is asked for, else the one that saves most of all.

    Returns
    -------
    asked : tuple of CountAsked
        Money saved a minute of counting, most first; only counts that save more than they cost.
    """
    effort = work or CountingWork()
    known = _perfect(parts, sizes, stakes)
    least = stakes.minute * effort.minutes(1, effort.sample_cells)
    asked = []
    for q in np.flatnonzero(known > least).tolist():
        some = _Question(batch, parts, sizes, stakes, q)
        best: tuple[bool, float, _Plan] | None = None
        for ladder in some.plans(effort):
            most = some.judged(ladder[-1], _N_GROUPS)  # fewer trays tell less
            for plan in ladder:
                cost = stakes.minute * effort.minutes(plan.n_trays, plan.n_cells)
                if most.value <= cost or (best and best[0] and most.value - cost <= best[1]):
                    break
                found = most if plan is ladder[-1] else some.judged(plan, _N_GROUPS)
                kept = found.vain_frac <= vain_frac and found.missed_frac <= missed_frac
                key = (kept, found.value - cost)
                if key[1] > 0.0 and (best is None or key > best[:2]):
                    best = (*key, plan)
        if best is not None:
            asked.append(some.asked(best[2], effort))
    return tuple(sorted(asked, key=lambda each: (-each.worth, each.question)))


def _perfect(parts: Parts, sizes: Sequence[Second], stakes: Stakes) -> Floats:
    """Money that knowing the usable cells at once would save: no count saves more, shape (Q,)."""
    z, weight = normal_nodes(7)
    every = np.arange(parts.need.size)
    mean = parts.mean[:, :, None] + np.sqrt(np.maximum(parts.variance, 0.0))[:, :, None] * z
    chance = parts.weight[:, :, None] * weight
    leave, resown = losses_by_size(parts, every, sizes, stakes, mean, np.zeros_like(mean))
    gains = [leave - each for each in resown]
    best = (chance * np.maximum(np.max(gains, axis=0), 0.0)).sum(axis=(1, 2))
    now = [(chance * gain).sum(axis=(1, 2)) for gain in gains]
    return np.asarray(best - np.maximum(np.max(now, axis=0), 0.0))


class _Judged(NamedTuple):
    """Value and risks of a count, and the number up to which it is resown."""

    value: float
    vain_frac: float
    missed_frac: float
    at_most: int


@dataclass(frozen=True, slots=True)
class _Plan:
    """Trays and cells that could be counted."""

    n_trays: int
    n_cells: int
    is_again: bool
    n_right: float = 0.0  # right cells of each at the last look
    n_left: int = 0  # cells of each that were not right


class _Question:
    """One order and sowing, and what counts of it would tell."""

    def __init__(
        self, batch: Batch, parts: Parts, sizes: Sequence[Second], stakes: Stakes, q: int
    ) -> None:
        self.parts, self.stakes, self.q = parts, stakes, q
        self.sizes = [
            Second(*(getattr(each, name)[[q]] for name in Second.__slots__)) for each in sizes
        ]
        self.row = int(parts.row[q])
        self.sowing = batch.sowings[self.row]
        self.groups = batch.groups
        self.keep = np.flatnonzero(parts.weight[q] > _WEIGHT_LEAST)
        self.slim = _slim(parts, q, self.keep)
        self.weight = self.slim.weight[0] / self.slim.weight[0].sum()

    def plans(self, work: CountingWork) -> list[list[_Plan]]:
        """Counts that could be made: of trays not looked at, and of the others again."""
        groups, found = self.groups, []
        part = slice(*np.searchsorted(groups.row, [self.row, self.row + 1]))
        seen, times = groups.n_seen[part], groups.times[part]
        fresh = seen == 0
        n_fresh = int(times[fresh].sum())
        if n_fresh:
            cells = int(groups.n_unseen[part][fresh].max())
            found += [
                [_Plan(n, looked, is_again=False) for n in _ladder(n_fresh)]
                for looked in sorted({cells, min(work.sample_cells, cells)})
            ]
        moved = self.slim.right_frac[0] - self.slim.was_frac[0]
        if (~fresh).any() and float(self.weight @ moved) > _SHARE_EDGE:
            n = int(times[~fresh].sum())
            right = float((groups.n_good[part] * times)[~fresh].sum()) / n
            looked = round(float((seen * times)[~fresh].sum()) / n)
            left = max(looked - round(right), 0)
            if left:
                found.append(
                    [
                        _Plan(k, looked, is_again=True, n_right=right, n_left=left)
                        for k in _ladder(n)
                    ]
                )
        return found

    def judged(self, plan: _Plan, n_groups: int) -> _Judged:
        """Tell what a count is worth, its results put into so many groups."""
        chance, numbers, mean_of, variance_of, slope = self._results(plan)
        total = self.weight @ chance
        if numbers.size > n_groups:
            below = np.cumsum(total) - 0.5 * total
            edges = np.flatnonzero(np.diff((below * n_groups).astype(np.int64), prepend=-1))
            mass = np.maximum(np.add.reduceat(total, edges), 1e-300)
            numbers = np.add.reduceat(total * numbers, edges) / mass
            chance = np.add.reduceat(chance, edges, axis=1)
        mean = self.slim.mean[0][:, None] + slope[:, None] * (numbers - mean_of[:, None])
        variance = self.slim.variance[0] - slope**2 * variance_of
        variance = np.broadcast_to(np.maximum(variance, 1.0)[:, None], mean.shape)
        at, joint = np.zeros(1, dtype=np.int64), self.weight[:, None] * chance
        leave, resown = losses_by_size(
            self.slim, at, self.sizes, self.stakes, mean[None], variance[None]
        )
        gains = [(joint * (leave - each)[0]).sum(axis=0) for each in resown]
        saved = np.concatenate([[0.0], np.cumsum(np.max(gains, axis=0))])
        best = int(np.argmax(saved))  # resown up to this number, left above it
        value = float(saved[best]) - max(float(np.sum(gains, axis=1).max()), 0.0)
        missed = self._missed(mean, variance)
        short, filled = joint * missed, joint * (1.0 - missed)
        vain = float(filled[:, :best].sum() / max(float(filled.sum()), 1e-300))
        lost = float(short[:, best:].sum() / max(float(short.sum()), 1e-300))
        at_most = math.floor(numbers[best - 1]) if best else -1
        return _Judged(value, vain, lost, at_most)

    def _missed(self, mean: Floats, variance: Floats) -> Floats:
        """Chance that the order is missed if nothing is done, with no tray lost."""
        need, first = float(self.slim.need[0]), self.slim.first_frac[0][:, None]
        sd = np.sqrt(variance + float(self.slim.other_variance[0]))
        return np.asarray(1.0 - first * ndtr((mean - need + 0.5) / sd))

    def _results(self, plan: _Plan) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Chances of each number in each part; its mean and variance; usable cells for each one."""
        rho = self.sowing.rho_tray
        weight = float(concentration(rho))
        now, was, end = (
            np.clip(getattr(self.slim, name)[0], _SHARE_EDGE, 1.0 - _SHARE_EDGE)
            for name in ("right_frac", "was_frac", "end_frac")
        )
        kept = self.sowing.kept_frac
        later = np.maximum(end - now, 0.0) * kept / (1.0 - now)
        if plan.is_again:
            more = np.clip((now - was) / (1.0 - was), _SHARE_EDGE, 1.0 - _SHARE_EDGE)
            inside = float(1.0 / (1.0 + weight * (1.0 - float(self.weight @ was))))
            pmf = total_pmf(plan.n_trays, plan.n_left, more, inside)
            base = round(plan.n_trays * plan.n_right)
            slope = np.maximum(np.minimum(now, end) - was, 0.0) * kept / (now - was + _SHARE_EDGE)
            slope = slope - later
        else:
            pmf = _at(_table(plan.n_trays, plan.n_cells, rho), now)
            base = 0
            unseen = max(self._tray_cells() - plan.n_cells, 0)
            slope = np.minimum(now, end) * kept / now - later
            slope = slope * (1.0 + unseen / (weight + plan.n_cells))
        numbers = base + np.arange(pmf.shape[1], dtype=np.float64)
        mean = pmf @ numbers
        variance = pmf @ numbers**2 - mean**2
        return pmf, numbers, mean, np.maximum(variance, 0.0), slope

    def _tray_cells(self) -> int:
        """Cells of a tray."""
        part = slice(*np.searchsorted(self.groups.row, [self.row, self.row + 1]))
        return int((self.groups.n_seen + self.groups.n_unseen)[part].max(initial=0))

    def asked(self, plan: _Plan, work: CountingWork) -> CountAsked:
        """Reckon a plan with every number told apart."""
        value, vain, missed, at_most = self.judged(plan, 10**9)
        return CountAsked(
            self.q, int(self.parts.order[self.q]), self.row, plan.n_trays, plan.n_cells,
            plan.is_again, at_most, vain, missed, value,
            work.minutes(plan.n_trays, plan.n_cells),
        )  # fmt: skip


def _ladder(n_trays: int) -> list[int]:
    """Numbers of trays that are tried, up to all."""
    return [*(each for each in _TRAYS if each < n_trays), n_trays]


def _slim(parts: Parts, q: int, keep: Ints) -> Parts:
    """Return one question with the parts that have weight."""
    fields = {}
    for name in Parts.__slots__:
        values = getattr(parts, name)[q : q + 1]
        wide = values.ndim == 2 and values.shape[1] == parts.weight.shape[1]
        fields[name] = values[:, keep] if wide else values
    return Parts(**fields)


@lru_cache(maxsize=64)
def _table(n_trays: int, n_cells: int, rho_tray: float) -> Floats:
    """Distributions of a count at the nodes of the share of right cells."""
    return total_pmf(n_trays, n_cells, _nodes(), rho_tray)


@lru_cache(maxsize=1)
def _nodes() -> Floats:
    """Shares at which distributions are kept: close together near 0 and 1."""
    angle = np.linspace(0.0, np.pi, _N_NODES)
    return np.asarray(0.5 * (1.0 - np.cos(angle)))


def _at(table: Floats, share: Floats) -> Floats:
    """Distributions at shares between the nodes, shape (P, K)."""
    nodes = _nodes()
    right = np.clip(np.searchsorted(nodes, share), 1, nodes.size - 1)
    part = (share - nodes[right - 1]) / (nodes[right] - nodes[right - 1])
    return np.asarray((1.0 - part)[:, None] * table[right - 1] + part[:, None] * table[right])


__all__: Sequence[str] = (
    "CountAsked",
    "CountingWork",
    "RiskPlan",
    "counts_worth_making",
    "plan_for_risks",
    "total_pmf",
)
