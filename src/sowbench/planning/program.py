"""The season as a choice: orders, candidates to cover them with, what they use and cost."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from sowbench.planning.resources import (
    FloatArray,
    IntArray,
    Resources,
    SegmentBuilder,
    Segments,
    cumulative_prices,
)


def _nothing() -> Segments:
    return SegmentBuilder().build(0)


@dataclass(frozen=True)
class Saved:
    """What some candidates may use and cost less in a plan than by themselves.

    Attributes
    ----------
    rows : ndarray of int, shape (m,)
        Their numbers, rising.
    cost : ndarray, shape (m,)
        Money.
    segments : Segments
        Uses.
    """

    rows: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    cost: FloatArray = field(default_factory=lambda: np.zeros(0))
    segments: Segments = field(default_factory=_nothing)

    def among(self, chosen: IntArray) -> tuple[IntArray, IntArray]:
        """Give the places in `chosen` of candidates that save, and their places here."""
        if not len(self.rows):
            return self.rows, self.rows
        at = np.minimum(np.searchsorted(self.rows, chosen), len(self.rows) - 1)
        where = np.flatnonzero(self.rows[at] == chosen)
        return where, at[where]


@dataclass(frozen=True)
class Program:
    """Frozen data of the choice among candidates.

    Attributes
    ----------
    members : ndarray of int, shape (n_groups, 4)
        Orders of each group, padded with -1; a group of one is a plain order.
    group : ndarray of int, shape (n,)
        Group served by each candidate.
    cost_variable, cost_fixed : ndarray, shape (n,)
        Money that grows with the share of the candidate taken, and money due as soon as any of
        it is taken (setting up).
    lot_day : ndarray of int, shape (n,)
        Number of the (lot, sowing day) pair of each candidate.
    lot_day_sow : ndarray of int, shape (n_lot_days,)
        Sowing day of each pair.
    n_units : ndarray of int, shape (n,)
        Lifted units; a split takes whole ones.
    splits : ndarray of bool, shape (n,)
        Whether a part of it may be taken: of whole units, and where an order is handed over in one
        go only on the day that all its parts share.
    short_cost : ndarray, shape (n_orders,)
        Money of leaving an order unmet.
    setup_minutes, lot_change_cost : float
        Hands and money of a change of lot on a day.
    crew : int
        Index of the crew among the resources.
    sow_day : ndarray of int, shape (n,)
        Sowing day of each candidate.
    segments : Segments
        Uses that grow with the share; setting up is kept apart.
    relief : ndarray, shape (n,) or (0,)
        Money for shortage that a plan with the candidate may not have to pay.
    saved : Saved
        What may be saved by sharing trays. The bound leaves out both.
    constant : float
        Money that is in the bound whatever is chosen.
    """

    members: NDArray[np.int32]
    group: NDArray[np.int32]
    cost_variable: FloatArray
    cost_fixed: FloatArray
    lot_day: NDArray[np.int32]
    lot_day_sow: NDArray[np.int32]
    n_units: NDArray[np.int32]
    splits: NDArray[np.bool_]
    short_cost: FloatArray
    setup_minutes: float
    lot_change_cost: float
    crew: int
    sow_day: NDArray[np.int32]
    segments: Segments
    resources: Resources
    relief: NDArray[np.floating] = field(default_factory=lambda: np.zeros(0))
    saved: Saved = field(default_factory=Saved)
    constant: float = 0.0

    @property
    def n_orders(self) -> int:
        """Count orders."""
        return len(self.short_cost)

    @property
    def n(self) -> int:
        """Count candidates."""
        return len(self.group)

    def orders_of(self, candidate: int) -> list[int]:
        """Orders that a candidate serves."""
        row = self.members[self.group[candidate]]
        return [int(o) for o in row if o >= 0]

    def priced(self, price: FloatArray) -> FloatArray:
        """Cost of every candidate with its uses paid at the given prices, shape (n,)."""
        money = (
            self.cost_variable + self.cost_fixed + self.segments.priced(cumulative_prices(price))
        )
        if self.crew >= 0:
            money = money + self.setup_minutes * price[self.crew, self.sow_day]
        return money

    def whole(self) -> Program:
        """The same program with every candidate charged all that it costs by itself."""
        return replace(self, relief=np.zeros(0), saved=Saved(), constant=0.0)

    def bound_cost(self) -> FloatArray:
        """Least money that a plan pays for each candidate taken whole, shape (n,)."""
        money = self.cost_variable + self.cost_fixed
        if len(self.relief):
            money = money - self.relief
        money[self.saved.rows] -= self.saved.cost
        return np.asarray(money)

    def bound_priced(self, price: FloatArray) -> FloatArray:
        """`priced` less what a plan may not have to pay, shape (n,)."""
        money = self.priced(price)
        if len(self.relief):
            money -= self.relief
        saved = self.saved
        if len(saved.rows):
            money[saved.rows] -= saved.cost + saved.segments.priced(cumulative_prices(price))
        return money

    def bound_use(self, chosen: IntArray, share: FloatArray) -> FloatArray:
        """Least use by resource and day of shares of candidates, setting up apart."""
        shape = (len(self.resources.kinds), self.resources.n_days)
        use = self.segments.take(chosen).use(share, *shape)
        where, at = self.saved.among(chosen)
        if len(at):
            use -= self.saved.segments.take(at).use(share[where], *shape)
        return use

    def use(self, chosen: IntArray, share: FloatArray) -> FloatArray:
        """Use by resource and day of a choice, setting up and changes of lot included."""
        resources = self.resources
        use = self.segments.take(chosen).use(share, len(resources.kinds), resources.n_days)
        if self.crew >= 0 and len(chosen):
            np.add.at(use[self.crew], self.sow_day[chosen], self.setup_minutes)
            pairs = np.unique(self.lot_day[chosen])
            np.add.at(use[self.crew], self.lot_day_sow[pairs], self.setup_minutes)
        return use

    def cost(self, chosen: IntArray, share: FloatArray) -> float:
        """Money of a choice: its sowings, changes of lot, and the orders left short."""
        covered = np.zeros(self.n_orders)
        for j, s in zip(chosen, share, strict=True):
            covered[self.orders_of(int(j))] += s
        short = np.maximum(0.0, 1.0 - covered)
        pairs = len(np.unique(self.lot_day[chosen]))
        return float(
            (self.cost_variable[chosen] * share).sum()
            + self.cost_fixed[chosen].sum()
            + pairs * self.lot_change_cost
            + (short * self.short_cost).sum()
        )


@dataclass(frozen=True)
class Duals:
    """Prices that prove a bound: by order, by resource and day, and by linked (order, lot, day)."""

    order: FloatArray
    price: FloatArray
    link_candidate_group: dict[tuple[int, int], float]


def dual_bound(program: Program, duals: Duals) -> tuple[float, FloatArray, FloatArray]:
    """Prove a lower bound from any prices at or above 0.

    Returns
    -------
    bound : float
        No plan costs less.
    reduced : ndarray, shape (n_candidates,)
        Reduced cost of every candidate.
    order : ndarray, shape (n_orders,)
        Order prices after they were lowered until no candidate's reduced cost is negative.

    Notes
    -----
    Weak duality of the covering program: with order prices pi, resource prices lambda >= 0 and
    link prices delta that sum to at most the cost of a change of lot for each (lot, day), the sum
    of pi less the sum of lambda x capacity bounds every cover from below if no candidate has a
    negative reduced cost. A negative one is shared out among its orders, which keeps all others
    feasible. Candidates cost and use what `Program.bound_priced` says.
    """
    pi = np.minimum(duals.order, program.short_cost)
    member = program.members[program.group]
    present = member >= 0
    gain = np.where(present, pi[np.maximum(member, 0)], 0.0).sum(axis=1)
    reduced = program.bound_priced(duals.price) - gain
    if duals.link_candidate_group:
        reduced += link_price(program, duals.link_candidate_group)
    negative = reduced < 0
    if negative.any():
        size = present[negative].sum(axis=1)
        adjust = np.zeros(program.n_orders)
        for k in range(member.shape[1]):
            here = present[negative, k]
            np.minimum.at(adjust, member[negative, k][here], (reduced[negative] / size)[here])
        pi = pi + adjust
    finite = np.isfinite(program.resources.capacity)
    held = np.where(finite, program.resources.capacity, 0.0) * duals.price
    return float(pi.sum() - held.sum()) + program.constant, reduced, pi


def link_price(program: Program, links: dict[tuple[int, int], float]) -> FloatArray:
    """Price of the linked (order, lot and day) on each candidate, shape (n,)."""
    n_pairs = len(program.lot_day_sow)
    table: dict[int, float] = {o * n_pairs + p: v for (o, p), v in links.items()}
    keys = np.fromiter(table, dtype=np.int64, count=len(table))
    values = np.fromiter(table.values(), dtype=float, count=len(table))
    order = np.argsort(keys)
    keys, values = keys[order], values[order]
    out = np.zeros(program.n)
    member = program.members[program.group]
    for k in range(member.shape[1]):
        code = member[:, k].astype(np.int64) * n_pairs + program.lot_day
        at = np.clip(np.searchsorted(keys, code), 0, len(keys) - 1)
        out += np.where((member[:, k] >= 0) & (keys[at] == code), values[at], 0.0)
    return out
