"""From the linear program to a plan in whole trays, then round after round of improvement."""

from __future__ import annotations

import time
from copy import copy
from dataclasses import dataclass

import numpy as np

from sowbench.planning.master import LinearResult, Progress, best_by_order
from sowbench.planning.neighborhood import Choice, Part, improve
from sowbench.planning.parameters import SolveParameters
from sowbench.planning.program import Program
from sowbench.planning.resources import FloatArray, IntArray, cumulative_prices

NO_CLOCK_S = 1e6
START_NODES = 100
# How far shifted and how long, in orders, the stretches are that the first plan goes through.
START_STRETCHES = ((0, 120), (60, 120), (0, 240))
ROUND_NODES = 400
# Money that a candidate may cost above its price and still be tried.
NEAR_LEAST = 5.0
# Candidates of the order that is picked first, one of which is made room for.
TARGETS = 8


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
    """Large-neighborhood search around the linear program's prices.

    Candidates are charged all that they cost by themselves, so that where the linear program ends
    the search does, too; `proven` is the bound below every plan, which is told.
    """

    def __init__(
        self,
        program: Program,
        linear: LinearResult,
        parameters: SolveParameters,
        rng: np.random.Generator,
        proven: float | None = None,
    ) -> None:
        self.program = program
        self.proven = linear.bound if proven is None else proven
        self.linear = linear
        self.parameters = parameters
        self.rng = rng
        pool = best_by_order(program, linear.reduced, parameters.pool_per_order, np.inf)
        self.pool = np.unique(np.concatenate((pool, linear.columns)))
        best = best_by_order(program, linear.reduced, parameters.split_per_order, np.inf)
        self.split_pool = {int(j) for j in np.concatenate((best, linear.columns))}
        self.by_order: dict[int, list[int]] = {}
        for j in self.pool[np.argsort(linear.reduced[self.pool], kind="stable")]:
            for o in program.orders_of(int(j)):
                self.by_order.setdefault(o, []).append(int(j))
        members = program.members[program.group[self.pool]]
        self.single = {int(j) for j, m in zip(self.pool, members, strict=True) if m[1] < 0}

    def start(self, seconds: float) -> Choice:
        """First plan in whole trays: greedy by reduced cost, then stretches of the season in turn.

        On offer are the candidates of the linear program and of the plan at hand.
        """
        program, linear = self.program, self.linear
        until = time.monotonic() + seconds
        best_share, sown = np.zeros(program.n_orders), np.zeros(program.n_orders)
        for j, s in zip(linear.columns, linear.share, strict=True):
            own = program.orders_of(int(j))
            best_share[own] = np.maximum(best_share[own], s)
            sown[own] += s * program.sow_day[j]
        score = linear.reduced.copy()
        score[linear.columns] -= 10.0 * linear.share
        choice = greedy(program, score, np.argsort(-best_share, kind="stable"), self.pool)
        turn = np.argsort(sown, kind="stable")
        for shift, size in START_STRETCHES:
            for first in range(-shift, program.n_orders, size):
                left = NO_CLOCK_S if self.parameters.by_work else until - time.monotonic()
                if left <= 0:
                    return choice
                support = {int(j) for j in linear.columns} | {p.candidate for p in choice.parts}
                choice = improve(
                    program,
                    choice,
                    set(turn[max(0, first) : first + size].tolist()),
                    np.array(sorted(support), dtype=np.int64),
                    seconds=left,
                    gap_frac=0.002,
                    node_limit=START_NODES,
                    max_parts=self.parameters.max_parts,
                    min_part_frac=self.parameters.min_part_frac,
                    split_pool={int(j) for j in linear.columns},
                )
        return choice

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
        own = self.by_order.get(seed, [])
        price = self.linear.duals.price
        wanted = np.zeros_like(price)
        segments = program.segments
        for j in own[:8]:
            for k in range(int(segments.offset[j]), int(segments.offset[j + 1])):
                wanted[segments.resource[k], segments.start[k] : segments.stop[k]] = 1.0
        wanted *= price + (0.02 * price.max() if price.max() > 0 else 1.0)
        partners = {seed}
        relation += self.users(choice, wanted)
        if own:  # one of its best candidates is to be made room for
            target = own[int(rng.integers(min(len(own), TARGETS)))]
            partners.update(program.orders_of(target))
            lack = self.lacking(choice, target, partners)
            if lack.any():
                relation *= 0.2 / max(float(relation.max()), 1e-9)
                among = self.users(choice, lack)
                relation += among / max(float(among.max()), 1e-9)
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
        relation[sorted(partners)] = np.inf
        picked = set(np.argsort(-relation, kind="stable")[:size].tolist())
        for p in choice.parts:
            own = program.orders_of(p.candidate)
            if len(own) > 1 and any(o in picked for o in own):
                picked.update(own)
        return picked

    def users(self, choice: Choice, wanted: FloatArray) -> FloatArray:
        """What each order's parts use of the wanted cells, shape (n_orders,)."""
        program = self.program
        out = np.zeros(program.n_orders)
        chosen, share = choice.arrays(program)
        if len(chosen):
            common = program.segments.take(chosen).priced(cumulative_prices(wanted)) * share
            for j, c in zip(chosen, common, strict=True):
                out[program.orders_of(int(j))] += c
        return out

    def lacking(self, choice: Choice, target: int, partners: set[int]) -> FloatArray:
        """One over what lacks of each resource and day for a candidate, 0 where nothing does.

        The parts that serve `partners` already are thought to be gone.
        """
        program = self.program
        stays = [not partners.intersection(program.orders_of(p.candidate)) for p in choice.parts]
        rest = Choice([p for p, s in zip(choice.parts, stays, strict=True) if s])
        lack = program.use(np.array([target]), np.ones(1)) - rest.residual(program)
        short = lack > 1e-6
        return np.asarray(np.where(short, 1.0 / np.where(short, lack, 1.0), 0.0))

    def near(self, choice: Choice, free: set[int], count: int) -> IntArray:
        """Candidates of the free orders that could pay, at most `count` of each order.

        A candidate whose reduced cost is above all that the free orders now cost too much, and
        what they leave unused, can hardly be part of anything better.
        """
        own = {j for o in free for j in self.by_order.get(o, [])[:count]}
        rows = np.array(sorted(own), dtype=np.int64)
        excess = self.excess(choice)
        most = float(excess[sorted(free)].sum()) + NEAR_LEAST
        return rows[self.linear.reduced[rows] <= most]

    def within(self, program: Program) -> Search:
        """The same search where there is less of some resource."""
        other = copy(self)
        other.program = program
        return other

    def run(
        self,
        choice: Choice,
        deadline: float,
        progress: Progress | None,
        *,
        most_rounds: int | None = None,
        enough: float = 0.0,
    ) -> SearchResult:
        """Improve until the deadline, the work limit or the wanted gap.

        Parameters
        ----------
        most_rounds : int or None, default None
            Work limit; None is that of the parameters.
        enough : float, default 0.0
            Cost at which the search ends, too.
        """
        program, parameters = self.program, self.parameters
        cost = choice.cost(program)
        rounds = idle = 0
        size, count = parameters.neighborhood_orders, parameters.near_per_order
        limit = parameters.rounds if most_rounds is None else most_rounds
        while limit is None or rounds < limit:
            left = NO_CLOCK_S if parameters.by_work else deadline - time.monotonic()
            gap = (cost - self.linear.bound) / max(abs(self.linear.bound), 1e-9)
            if left <= 0.3 or gap <= parameters.gap_frac or cost <= enough:
                break
            scale = (0.5, 1.0, 1.5)[int(self.rng.integers(3))]
            free = self.pick(choice, max(4, int(size * scale)))
            pool = self.near(choice, free, count)
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
                count = min(count + 2, parameters.pool_per_order)
            choice, cost = better, new_cost
            if progress is not None and progress("search", self.proven, cost):
                break
        return SearchResult(choice, cost, rounds)
