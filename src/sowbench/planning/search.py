"""From the linear program to a plan in whole trays, then round after round of improvement."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from sowbench.planning.master import LinearResult, Progress, best_by_order
from sowbench.planning.neighborhood import Choice, Part, improve
from sowbench.planning.parameters import SolveParameters
from sowbench.planning.program import Program
from sowbench.planning.resources import FloatArray, IntArray

NO_CLOCK_S = 1e6
START_NODES = 2000
ROUND_NODES = 400
# Money that a candidate may cost above its price and still be tried.
NEAR_LEAST = 5.0


@dataclass(frozen=True)
class SearchResult:
    """The choice found, what it costs and how many rounds it took."""

    choice: Choice
    cost: float
    rounds: int


def greedy(program: Program, score: FloatArray, order: IntArray, pool: IntArray) -> Choice:
    """Give each order in turn its best candidate that still fits whole.

    Parameters
    ----------
    score : ndarray, shape (n_candidates,)
        What to minimize.
    order : ndarray of int
        Orders in the sequence in which they are served.
    pool : ndarray of int
        Candidates on offer.
    """
    by_order: dict[int, list[int]] = {}
    for j in pool[np.argsort(score[pool], kind="stable")]:
        own = program.orders_of(int(j))
        for o in own:
            by_order.setdefault(o, []).append(int(j))
    residual = program.resources.capacity.copy()
    covered = np.zeros(program.n_orders, dtype=bool)
    paid: set[int] = set()
    parts: list[Part] = []
    for o in order:
        if covered[o]:
            continue
        for j in by_order.get(int(o), ()):
            own = program.orders_of(j)
            if covered[own].any() or score[j] > sum(program.short_cost[k] for k in own):
                continue
            rows = np.array([j])
            use = program.use(rows, np.ones(1))
            if int(program.lot_day[j]) in paid and program.crew >= 0:
                use[program.crew, program.sow_day[j]] -= program.setup_minutes
            if (use <= residual + 1e-6).all():
                residual -= use
                paid.add(int(program.lot_day[j]))
                covered[own] = True
                parts.append(Part(j, int(program.n_units[j])))
                break
    return Choice(parts)


class Search:
    """Large-neighborhood search around the linear program's prices."""

    def __init__(
        self,
        program: Program,
        linear: LinearResult,
        parameters: SolveParameters,
        rng: np.random.Generator,
    ) -> None:
        self.program = program
        self.linear = linear
        self.parameters = parameters
        self.rng = rng
        pool = best_by_order(program, linear.reduced, parameters.pool_per_order, np.inf)
        self.pool = np.unique(np.concatenate((pool, linear.columns)))
        best = best_by_order(program, linear.reduced, parameters.split_per_order, np.inf)
        self.split_pool = {int(j) for j in np.concatenate((best, linear.columns))}
        self.by_order: dict[int, list[int]] = {}
        for j in self.pool:
            for o in program.orders_of(int(j)):
                self.by_order.setdefault(o, []).append(int(j))
        members = program.members[program.group[self.pool]]
        self.single = {int(j) for j, m in zip(self.pool, members, strict=True) if m[1] < 0}

    def start(self, seconds: float) -> Choice:
        """First plan in whole trays: greedy by reduced cost, then a choice among few."""
        program, linear = self.program, self.linear
        best_share = np.zeros(program.n_orders)
        for j, s in zip(linear.columns, linear.share, strict=True):
            for o in program.orders_of(int(j)):
                best_share[o] = max(best_share[o], s)
        score = linear.reduced.copy()
        score[linear.columns] -= 10.0 * linear.share
        order = np.argsort(-best_share, kind="stable")
        choice = greedy(program, score, order, self.pool)
        support = np.unique(
            np.concatenate((linear.columns, [p.candidate for p in choice.parts])).astype(np.int64)
        )
        return improve(
            program,
            choice,
            set(range(program.n_orders)),
            support,
            seconds=NO_CLOCK_S if self.parameters.by_work else seconds,
            gap_frac=0.002,
            node_limit=START_NODES,
            max_parts=self.parameters.max_parts,
            min_part_frac=self.parameters.min_part_frac,
            split_pool={int(j) for j in linear.columns},
        )

    def excess(self, choice: Choice) -> FloatArray:
        """Money by which each order's cover is above its price in the linear program."""
        program = self.program
        out = np.zeros(program.n_orders)
        covered = np.zeros(program.n_orders)
        for p in choice.parts:
            own = program.orders_of(p.candidate)
            share = p.units / program.n_units[p.candidate]
            extra = share * self.linear.reduced[p.candidate]
            extra += (1.0 - share) * float(program.cost_fixed[p.candidate])
            out[own] += extra / len(own)
            covered[own] += share
        short = np.maximum(0.0, 1.0 - covered)
        left = short * np.maximum(0.0, program.short_cost - self.linear.duals.order)
        return np.asarray(out + left)

    def pick(self, choice: Choice, size: int) -> set[int]:
        """Orders to free: one that costs too much and those that stand in its way."""
        program, rng = self.program, self.rng
        weight = np.maximum(self.excess(choice), 0.0) + 1e-3
        seed = int(rng.choice(program.n_orders, p=weight / weight.sum()))
        mode = rng.random()
        relation = np.zeros(program.n_orders)
        use_price = self.linear.duals.price
        segments = program.segments
        wanted = np.zeros_like(use_price)
        for j in self.by_order.get(seed, [])[:8]:
            for k in range(int(segments.offset[j]), int(segments.offset[j + 1])):
                wanted[segments.resource[k], segments.start[k] : segments.stop[k]] = 1.0
        wanted *= use_price + (0.02 * use_price.max() if use_price.max() > 0 else 1.0)
        cumulative = np.concatenate(
            (np.zeros((wanted.shape[0], 1)), np.cumsum(wanted, axis=1)), axis=1
        )
        chosen, share = choice.arrays(program)
        if len(chosen):
            common = segments.take(chosen).priced(cumulative) * share
            for j, c in zip(chosen, common, strict=True):
                relation[program.orders_of(int(j))] += c
        if mode < 0.3:
            lot_days = {int(program.lot_day[j]) for j in self.by_order.get(seed, [])}
            for o, js in self.by_order.items():
                relation[o] += sum(int(program.lot_day[j]) in lot_days for j in js[:8]) * (
                    relation.max() / 8 + 1e-6
                )
        relation = relation * (0.3 + rng.random(program.n_orders)) + 1e-9 * rng.random(
            program.n_orders
        )
        uncovered = np.ones(program.n_orders, dtype=bool)
        for p in choice.parts:
            uncovered[program.orders_of(p.candidate)] = False
        relation[uncovered] += relation.max() * 0.5 * rng.random(int(uncovered.sum()))
        relation[seed] = np.inf
        picked = set(np.argsort(-relation, kind="stable")[:size].tolist())
        for p in choice.parts:
            own = program.orders_of(p.candidate)
            if len(own) > 1 and any(o in picked for o in own):
                picked.update(own)
        return picked

    def near(self, choice: Choice, free: set[int]) -> IntArray:
        """Candidates of the free orders that could pay.

        A candidate whose reduced cost is above all that the free orders now cost too much, and
        what they leave unused, can hardly be part of anything better.
        """
        rows = np.array(sorted({j for o in free for j in self.by_order.get(o, [])}), dtype=np.int64)
        excess = self.excess(choice)
        most = float(excess[sorted(free)].sum()) + NEAR_LEAST
        return rows[self.linear.reduced[rows] <= most]

    def run(self, choice: Choice, deadline: float, progress: Progress | None) -> SearchResult:
        """Improve until the deadline, the work limit or the wanted gap."""
        program, parameters = self.program, self.parameters
        cost = choice.cost(program)
        rounds = idle = 0
        size = parameters.neighborhood_orders
        while parameters.rounds is None or rounds < parameters.rounds:
            left = NO_CLOCK_S if parameters.by_work else deadline - time.monotonic()
            gap = (cost - self.linear.bound) / max(abs(self.linear.bound), 1e-9)
            if left <= 0.3 or gap <= parameters.gap_frac:
                break
            scale = (0.5, 1.0, 1.5)[int(self.rng.integers(3))]
            free = self.pick(choice, max(4, int(size * scale)))
            pool = self.near(choice, free)
            split = self.split_pool | {p.candidate for p in choice.parts}
            better = improve(
                program,
                choice,
                free,
                pool,
                seconds=NO_CLOCK_S if parameters.by_work else min(left, parameters.round_seconds),
                gap_frac=parameters.round_gap_frac,
                max_parts=parameters.max_parts,
                min_part_frac=parameters.min_part_frac,
                split_pool=split,
                node_limit=ROUND_NODES,
            )
            rounds += 1
            new_cost = better.cost(program)
            idle = 0 if new_cost < cost - 1e-6 else idle + 1
            if idle > 12:
                size, idle = min(size + 4, program.n_orders), 0
            choice, cost = better, new_cost
            if progress is not None and progress("search", self.linear.bound, cost):
                break
        return SearchResult(choice, cost, rounds)
