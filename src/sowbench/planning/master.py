"""The linear program over candidates, solved by adding columns and rows only as they matter."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import highspy
import numpy as np

from sowbench.planning.program import Duals, Program, dual_bound
from sowbench.planning.resources import FloatArray, IntArray
from sowbench.planning.solver import quiet_solver

Progress = Callable[[str, float, float], bool]


@dataclass
class LinearResult:
    """Outcome of the linear program.

    Attributes
    ----------
    bound : float
        Best proven lower bound.
    duals : Duals
        Prices behind that bound.
    reduced : ndarray, shape (n_candidates,)
        Reduced costs at those prices.
    columns, share : ndarray
        Candidates in the last solution and the share taken of each.
    value : float
        Value of the restricted program.
    optimal : bool
        Whether no candidate at all could improve it.
    pool : ndarray of int
        Candidates that were tried.
    rows, links : tuple
        (resource, day) and (order, lot and day) that mattered.
    """

    bound: float
    duals: Duals
    reduced: FloatArray
    columns: IntArray
    share: FloatArray
    value: float
    optimal: bool
    pool: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    rows: tuple[tuple[int, int], ...] = ()
    links: tuple[tuple[int, int], ...] = ()


class Master:
    """Restricted linear program with lazy rows for resources and lot changes."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.highs = quiet_solver()
        self.highs.setOptionValue("solver", "simplex")
        n = program.n_orders
        empty = np.zeros(n, dtype=np.int32)
        none_i, none_f = np.zeros(0, dtype=np.int32), np.zeros(0)
        self.highs.addRows(n, np.ones(n), np.full(n, np.inf), 0, empty, none_i, none_f)
        self.highs.addCols(
            n,
            program.short_cost,
            np.zeros(n),
            np.full(n, np.inf),
            n,
            np.arange(n, dtype=np.int32),
            np.arange(n, dtype=np.int32),
            np.ones(n),
        )
        self.n_rows = n
        self.kind: list[int] = [-1] * n  # candidate of each column; -1 short, -2 lot change
        self.column_of: dict[int, int] = {}
        self.resource_rows: dict[tuple[int, int], int] = {}
        self.days_by_resource: dict[int, list[tuple[int, int]]] = {}
        self.link_rows: dict[tuple[int, int], int] = {}
        self.pair_column: dict[int, int] = {}
        self.solution: FloatArray = np.zeros(n)
        self.row_dual: FloatArray = np.zeros(n)
        self.value = np.inf
        self.cost = program.bound_cost()

    def _uses(self, candidate: int) -> Iterator[tuple[int, int, int, float]]:
        """Uses of a candidate that a plan cannot save: resource, from, to, amount a day."""
        p = self.program
        _, at = p.saved.among(np.array([candidate]))
        for segments, j, sign in (
            (p.segments, candidate, 1.0),
            *((p.saved.segments, int(i), -1.0) for i in at),
        ):
            for k in range(int(segments.offset[j]), int(segments.offset[j + 1])):
                yield (
                    int(segments.resource[k]),
                    int(segments.start[k]),
                    int(segments.stop[k]),
                    sign * float(segments.amount[k]),
                )

    def _coefficients(self, candidate: int) -> dict[int, float]:
        """Entries of one candidate in the rows there are."""
        p = self.program
        entries: dict[int, float] = {}
        for o in p.orders_of(candidate):
            entries[o] = 1.0
            link = self.link_rows.get((o, int(p.lot_day[candidate])))
            if link is not None:
                entries[link] = -1.0
        for resource, start, stop, amount in self._uses(candidate):
            for day, row in self.days_by_resource.get(resource, ()):
                if start <= day < stop:
                    entries[row] = entries.get(row, 0.0) - amount
        if p.crew >= 0:
            row_at = self.resource_rows.get((p.crew, int(p.sow_day[candidate])))
            if row_at is not None:
                entries[row_at] = entries.get(row_at, 0.0) - p.setup_minutes
        return entries

    def add_columns(self, candidates: IntArray) -> int:
        """Add candidates that are not in yet; returns how many were added."""
        new = [int(j) for j in candidates if int(j) not in self.column_of]
        if not new:
            return 0
        starts: list[int] = []
        index: list[int] = []
        value: list[float] = []
        for j in new:
            starts.append(len(index))
            for row, v in self._coefficients(j).items():
                index.append(row)
                value.append(v)
            self.column_of[j] = len(self.kind)
            self.kind.append(j)
        n = len(new)
        cost = self.cost[new]
        self.highs.addCols(
            n,
            cost,
            np.zeros(n),
            np.where(cost > 0, np.inf, 1.0),  # what pays in itself is taken once at most
            len(index),
            np.array(starts, dtype=np.int32),
            np.array(index, dtype=np.int32),
            np.array(value, dtype=np.float64),
        )
        return n

    def add_resource_rows(self, cells: list[tuple[int, int]]) -> None:
        """Add a row for each (resource, day)."""
        p = self.program
        cells = [c for c in cells if c not in self.resource_rows]
        if not cells:
            return
        entries: list[dict[int, float]] = [{} for _ in cells]
        by_resource: dict[int, list[tuple[int, int]]] = {}
        for i, (r, d) in enumerate(cells):
            by_resource.setdefault(r, []).append((d, i))
        for j, column in self.column_of.items():
            for resource, start, stop, amount in self._uses(j):
                for d, i in by_resource.get(resource, ()):
                    if start <= d < stop:
                        entries[i][column] = entries[i].get(column, 0.0) - amount
            for d, i in by_resource.get(p.crew, ()):
                if d == p.sow_day[j]:
                    entries[i][column] = entries[i].get(column, 0.0) - p.setup_minutes
        for d, i in by_resource.get(p.crew, ()):
            for pair, column in self.pair_column.items():
                if p.lot_day_sow[pair] == d:
                    entries[i][column] = -p.setup_minutes
        lower = np.array([-p.resources.capacity[r, d] for r, d in cells])
        self._add_rows(entries, lower)
        for i, (r, d) in enumerate(cells):
            self.resource_rows[(r, d)] = self.n_rows + i
            self.days_by_resource.setdefault(r, []).append((d, self.n_rows + i))
        self.n_rows += len(cells)

    def _add_rows(self, entries: list[dict[int, float]], lower: FloatArray) -> None:
        starts: list[int] = []
        index: list[int] = []
        value: list[float] = []
        for row in entries:
            starts.append(len(index))
            index.extend(row)
            value.extend(row.values())
        n = len(entries)
        self.highs.addRows(
            n,
            lower,
            np.full(n, np.inf),
            len(index),
            np.array(starts, dtype=np.int32),
            np.array(index, dtype=np.int32),
            np.array(value, dtype=np.float64),
        )

    def add_links(self, links: list[tuple[int, int]]) -> None:
        """Charge changes of lot: for each (order, lot and day), its share needs the lot out."""
        p = self.program
        links = [k for k in links if k not in self.link_rows]
        if not links:
            return
        for pair in sorted({pair for _, pair in links} - set(self.pair_column)):
            row = self.resource_rows.get((p.crew, int(p.lot_day_sow[pair])))
            index = np.array([] if row is None else [row], dtype=np.int32)
            value = np.array([] if row is None else [-p.setup_minutes])
            self.pair_column[pair] = len(self.kind)
            self.kind.append(-2)
            self.highs.addCol(p.lot_change_cost, 0.0, np.inf, len(index), index, value)
        wanted = {k: i for i, k in enumerate(links)}
        entries: list[dict[int, float]] = [{self.pair_column[pair]: 1.0} for _, pair in links]
        for j, column in self.column_of.items():
            pair = int(p.lot_day[j])
            if pair in self.pair_column:
                for o in p.orders_of(j):
                    i = wanted.get((o, pair))
                    if i is not None:
                        entries[i][column] = -1.0
        self._add_rows(entries, np.zeros(len(links)))
        for i, k in enumerate(links):
            self.link_rows[k] = self.n_rows + i
        self.n_rows += len(links)

    def solve(self, seconds: float) -> bool:
        """Solve what is there; False when time ran out."""
        self.highs.setOptionValue("time_limit", max(seconds, 0.1) + self.highs.getRunTime())
        self.highs.run()
        if self.highs.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return False
        solution = self.highs.getSolution()
        self.solution = np.array(solution.col_value)
        self.row_dual = np.array(solution.row_dual)
        self.value = self.highs.getInfo().objective_function_value + self.program.constant
        return True

    def chosen(self) -> tuple[IntArray, FloatArray]:
        """Candidates with a share in the solution."""
        kind = np.array(self.kind)
        on = (kind >= 0) & (self.solution[: len(kind)] > 1e-7)
        return kind[on].astype(np.int64), self.solution[: len(kind)][on]

    def duals(self) -> Duals:
        """Prices of the last solution."""
        p = self.program
        price = np.zeros(p.resources.capacity.shape)
        for (r, d), row in self.resource_rows.items():
            price[r, d] = max(0.0, self.row_dual[row])
        links = {k: max(0.0, float(self.row_dual[row])) for k, row in self.link_rows.items()}
        links = scale_links(links, p, price)
        order = np.maximum(0.0, self.row_dual[: p.n_orders])
        return Duals(order, price, {k: v for k, v in links.items() if v > 0})

    def violated(self) -> list[tuple[int, int]]:
        """Resource days used beyond capacity and not yet rows: the worst of each run of days."""
        p = self.program
        columns, share = self.chosen()
        use = p.bound_use(columns, share)
        if p.crew >= 0:
            np.add.at(use[p.crew], p.sow_day[columns], p.setup_minutes * share)
            for pair, column in self.pair_column.items():
                use[p.crew, p.lot_day_sow[pair]] += p.setup_minutes * self.solution[column]
        over = use - p.resources.capacity
        tolerance = 1e-6 * np.maximum(1.0, np.where(np.isfinite(use), use, 1.0))
        found: list[tuple[int, int]] = []
        for r in range(over.shape[0]):
            days = np.flatnonzero(over[r] > tolerance[r])
            if len(days):
                runs = np.split(days, np.flatnonzero(np.diff(days) > 1) + 1)
                for run in runs:
                    picks = {int(run[np.argmax(over[r, run])]), int(run[0]), int(run[-1])}
                    picks.update(int(d) for d in run[:: max(1, len(run) // 4)])
                    found.extend((r, d) for d in picks)
        return [c for c in found if c not in self.resource_rows]

    def unpaid_links(self) -> list[tuple[int, int]]:
        """(order, lot and day) whose share is above what the change of lot was paid for."""
        p = self.program
        columns, share = self.chosen()
        total: dict[tuple[int, int], float] = {}
        for j, s in zip(columns, share, strict=True):
            for o in p.orders_of(int(j)):
                key = (o, int(p.lot_day[j]))
                total[key] = total.get(key, 0.0) + float(s)
        out = []
        for (o, pair), s in total.items():
            column = self.pair_column.get(pair)
            paid = 0.0 if column is None else float(self.solution[column])
            if s > paid + 1e-6 and (o, pair) not in self.link_rows:
                out.append((o, pair))
        return out


def scale_links(
    links: dict[tuple[int, int], float], program: Program, price: FloatArray
) -> dict[tuple[int, int], float]:
    """Lower link prices that sum to more than a change of lot costs on that day."""
    total: dict[int, float] = {}
    for (_, pair), v in links.items():
        total[pair] = total.get(pair, 0.0) + v
    out = {}
    for (o, pair), v in links.items():
        limit = program.lot_change_cost
        if program.crew >= 0:
            limit += program.setup_minutes * price[program.crew, program.lot_day_sow[pair]]
        out[(o, pair)] = v * min(1.0, limit / total[pair]) if total[pair] > 0 else 0.0
    return out


def best_by_order(program: Program, score: FloatArray, count: int, below: float) -> IntArray:
    """Candidates with the lowest score, at most `count` an order, all with score under `below`."""
    rows = np.flatnonzero(score < below)
    if not len(rows):
        return rows
    lead = program.members[program.group[rows], 0]
    order = np.lexsort((score[rows], lead))
    rows, lead = rows[order], lead[order]
    first = np.concatenate(([0], np.flatnonzero(np.diff(lead)) + 1))
    rank = np.arange(len(rows)) - np.repeat(first, np.diff(np.concatenate((first, [len(rows)]))))
    return np.asarray(rows[rank < count])


def solve_linear(
    program: Program,
    *,
    seconds: float,
    columns_per_order: int,
    progress: Progress | None = None,
    begin: LinearResult | None = None,
) -> LinearResult:
    """Solve the linear program over all candidates by column and row generation.

    Parameters
    ----------
    seconds : float
        Ceiling on the time [s].
    columns_per_order : int
        Candidates that an order adds in one round.
    progress : callable, optional
        Called with ("bound", bound, value); returns True to stop.
    begin : LinearResult, optional
        Outcome of a program that differs little, to begin from.
    """
    start = time.monotonic()
    master = Master(program)
    zero = np.zeros(program.resources.capacity.shape)
    if begin is not None and len(begin.pool):
        master.add_columns(begin.pool)
        master.add_resource_rows(list(begin.rows))
        master.add_links(list(begin.links))
    else:
        base = program.bound_priced(zero)
        master.add_columns(best_by_order(program, base, columns_per_order, np.inf))
    best: LinearResult | None = None
    while True:
        left = seconds - (time.monotonic() - start)
        if left <= 0 or not master.solve(left):
            break
        columns, share = master.chosen()
        duals = master.duals()
        rows = master.violated()
        links = master.unpaid_links()
        master.add_resource_rows(rows)
        master.add_links(links)
        if best is None and len(rows) + len(links) > 20:
            continue
        bound, reduced, _ = dual_bound(program, duals)
        if best is None or bound > best.bound:
            best = LinearResult(bound, duals, reduced, columns, share, master.value, optimal=False)
        best.columns, best.share, best.value = columns, share, master.value
        if progress is not None and progress("bound", best.bound, master.value):
            break
        entering = best_by_order(program, reduced, columns_per_order, -1e-6)
        added = master.add_columns(entering)
        if not added and not rows and not links:
            best.optimal = True
            break
        if master.value - bound <= 1e-5 * max(1.0, abs(bound)) and not rows and not links:
            best.optimal = True
            break
    if best is None:
        duals = Duals(np.minimum(program.short_cost, np.inf), zero, {})
        bound, reduced, _ = dual_bound(program, duals)
        best = LinearResult(
            bound, duals, reduced, np.zeros(0, dtype=np.int64), np.zeros(0), np.inf, optimal=False
        )
    best.pool = np.array(sorted(master.column_of), dtype=np.int64)
    best.rows, best.links = tuple(master.resource_rows), tuple(master.link_rows)
    return best
