"""One round of the integer search: free some orders, keep the rest, choose again at best."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import highspy
import numpy as np

from sowbench.planning.program import Program
from sowbench.planning.resources import FloatArray, IntArray
from sowbench.planning.solver import quiet_solver

# What HiGHS would try besides, and what takes longer than it saves in programs this small.
EXTRAS = (
    "mip_allow_restart",
    "mip_detect_symmetry",
    "mip_heuristic_run_rins",
    "mip_heuristic_run_rens",
)


@dataclass(frozen=True, slots=True)
class Part:
    """A share of a candidate that is taken: `units` of its lifted units."""

    candidate: int
    units: int


@dataclass
class Choice:
    """Parts taken, in no particular order."""

    parts: list[Part] = field(default_factory=list)

    def arrays(self, program: Program) -> tuple[IntArray, FloatArray]:
        """Candidates and shares."""
        chosen = np.array([p.candidate for p in self.parts], dtype=np.int64)
        units = np.array([p.units for p in self.parts], dtype=float)
        return chosen, units / program.n_units[chosen] if len(chosen) else units

    def cost(self, program: Program) -> float:
        """Money of the choice."""
        return program.cost(*self.arrays(program))

    def residual(self, program: Program) -> FloatArray:
        """What the choice leaves of each resource on each day."""
        return program.resources.capacity - program.use(*self.arrays(program))


@dataclass
class SubModel:
    """Columns and rows of one round, gathered before they are handed to the solver."""

    cost: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    integer: list[bool] = field(default_factory=list)
    start: list[float] = field(default_factory=list)
    rows: list[tuple[float, float, list[int], list[float]]] = field(default_factory=list)

    def column(self, cost: float, upper: float, start: float, *, integer: bool) -> int:
        """Add a column, return its index."""
        self.cost.append(cost)
        self.upper.append(upper)
        self.integer.append(integer)
        self.start.append(start)
        return len(self.cost) - 1

    def row(self, low: float, high: float, index: list[int], value: list[float]) -> None:
        """Add a row."""
        self.rows.append((low, high, index, value))

    def solve(self, seconds: float, gap_frac: float, node_limit: int | None) -> FloatArray | None:
        """Solve from the start values; None when nothing feasible came back."""
        highs = quiet_solver()
        highs.setOptionValue("mip_rel_gap", gap_frac)
        highs.setOptionValue("time_limit", seconds)
        # Programs this small are solved sooner without these; and the presolve of HiGHS 1.16, which
        # two of them run again inside, now and then loses the start or never ends.
        highs.setOptionValue("presolve", "off")
        for extra in EXTRAS:
            highs.setOptionValue(extra, "off")
        if node_limit is not None:
            highs.setOptionValue("mip_max_nodes", node_limit)
        n = len(self.cost)
        none_i = np.zeros(0, dtype=np.int32)
        highs.addCols(
            n,
            np.array(self.cost),
            np.zeros(n),
            np.array(self.upper, dtype=float),
            0,
            np.zeros(n, dtype=np.int32),
            none_i,
            np.zeros(0),
        )
        starts: list[int] = []
        index: list[int] = []
        value: list[float] = []
        for _, _, i, v in self.rows:
            starts.append(len(index))
            index.extend(i)
            value.extend(v)
        highs.addRows(
            len(self.rows),
            np.array([r[0] for r in self.rows]),
            np.array([r[1] for r in self.rows]),
            len(index),
            np.array(starts, dtype=np.int32),
            np.array(index, dtype=np.int32),
            np.array(value, dtype=float),
        )
        kinds = np.flatnonzero(self.integer).astype(np.int32)
        highs.changeColsIntegrality(
            len(kinds), kinds, np.full(len(kinds), highspy.HighsVarType.kInteger)
        )
        solution = highspy.HighsSolution()
        solution.col_value = self.start
        highs.setSolution(solution)
        highs.run()
        if highs.getInfo().primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
            return None
        return np.array(highs.getSolution().col_value)


def resource_rows(
    program: Program,
    columns: IntArray,
    share_column: list[tuple[int, float]],
    set_up_column: list[int],
    pair_columns: dict[int, int],
    residual: FloatArray,
    most: FloatArray,
) -> list[tuple[float, list[int], list[float]]]:
    """Rows of the resources that could run out, one for each run of days with the same users.

    `share_column[i]` is the column of candidate i's share and the factor from column to share.
    `most` bounds how much of the candidates can be taken together by resource and day.
    """
    rows: list[tuple[float, list[int], list[float]]] = []
    segments = program.segments.take(columns)
    owner = np.repeat(np.arange(len(columns)), np.diff(segments.offset))
    resource, start, stop, amount = (
        segments.resource,
        segments.start.astype(np.int64),
        segments.stop.astype(np.int64),
        segments.amount,
    )
    column = np.array([c for c, _ in share_column])[owner]
    weight = amount * np.array([f for _, f in share_column])[owner]
    if program.crew >= 0:
        sow = program.sow_day[columns].astype(np.int64)
        pairs = np.array(list(pair_columns), dtype=np.int64)
        pair_day = program.lot_day_sow[pairs].astype(np.int64) if len(pairs) else pairs
        extra = len(columns) + len(pairs)
        resource = np.concatenate((resource, np.full(extra, program.crew, dtype=np.int32)))
        start = np.concatenate((start, sow, pair_day))
        stop = np.concatenate((stop, sow + 1, pair_day + 1))
        column = np.concatenate(
            (column, np.array(set_up_column), np.array(list(pair_columns.values()), dtype=np.int64))
        ).astype(np.int64)
        weight = np.concatenate((weight, np.full(extra, program.setup_minutes)))
    for r in np.unique(resource):
        tight = most[r] > residual[r] + 1e-9
        if not tight.any():
            continue
        here = np.flatnonzero(resource == r)
        edges = np.unique(np.concatenate((start[here], stop[here])))
        for a, b in pairwise(edges):
            if not tight[a:b].any():
                continue
            active = here[(start[here] <= a) & (stop[here] >= b)]
            if not len(active):
                continue
            index, place = np.unique(column[active], return_inverse=True)
            total = np.bincount(place, weights=weight[active])
            rows.append((float(residual[r, a:b].min()), index.tolist(), total.tolist()))
    return rows


def improve(
    program: Program,
    choice: Choice,
    free: set[int],
    pool: IntArray,
    *,
    seconds: float,
    gap_frac: float,
    max_parts: int,
    min_part_frac: float,
    split_pool: set[int],
    node_limit: int | None = None,
) -> Choice:
    """Choose again for the free orders among `pool`, everything else kept; never gets worse.

    Parameters
    ----------
    free : set of int
        Orders that are chosen anew; parts that also serve other orders stay.
    pool : ndarray of int
        Candidates on offer whose orders are all free.
    split_pool : set of int
        Candidates that may be taken in part.
    """
    kept = [p for p in choice.parts if not all(o in free for o in program.orders_of(p.candidate))]
    gone = [p for p in choice.parts if all(o in free for o in program.orders_of(p.candidate))]
    held = {o for p in kept for o in program.orders_of(p.candidate)}
    while True:  # a part that shares an order with what is kept is kept, too
        again = [p for p in gone if held.intersection(program.orders_of(p.candidate))]
        if not again:
            break
        kept += again
        gone = [p for p in gone if p not in again]
        held.update(o for p in again for o in program.orders_of(p.candidate))
    orders = sorted(free - held)
    if not orders:
        return choice
    open_orders = set(orders)
    columns = [int(j) for j in pool if all(o in open_orders for o in program.orders_of(int(j)))]
    columns = sorted(set(columns) | {p.candidate for p in gone})
    if not columns:
        return choice
    base = Choice(kept)
    residual = base.residual(program)
    taken = {p.candidate: p.units for p in gone}
    paid = {int(program.lot_day[p.candidate]) for p in kept}
    model = SubModel()
    parts_of: dict[int, tuple[int, float]] = {}
    cover: dict[int, tuple[list[int], list[float]]] = {o: ([], []) for o in orders}
    share_column: list[tuple[int, float]] = []
    set_up_column: list[int] = []
    pair_columns: dict[int, int] = {}
    pair_started = {int(program.lot_day[p.candidate]) for p in gone}
    for j in columns:
        units = int(program.n_units[j])
        own = program.orders_of(j)
        splits = bool(program.splits[j]) and j in split_pool
        on = 1.0 if j in taken else 0.0
        if splits:
            k = model.column(
                float(program.cost_variable[j]) / units, units, taken.get(j, 0), integer=True
            )
            z = model.column(float(program.cost_fixed[j]), 1.0, on, integer=True)
            least = max(1.0, np.ceil(min_part_frac * units))
            model.row(0.0, np.inf, [z, k], [float(units), -1.0])
            model.row(0.0, np.inf, [k, z], [1.0, -least])
            factor = 1.0 / units
        else:
            if on and taken[j] != units:
                continue
            k = z = model.column(
                float(program.cost_variable[j] + program.cost_fixed[j]), 1.0, on, integer=True
            )
            factor = 1.0
        parts_of[j] = (k, factor)
        share_column.append((k, factor))
        set_up_column.append(z)
        for o in own:
            cover[o][0].append(k)
            cover[o][1].append(factor)
        pair = int(program.lot_day[j])
        if pair not in paid:
            if pair not in pair_columns:
                pair_columns[pair] = model.column(
                    program.lot_change_cost, 1.0, float(pair in pair_started), integer=False
                )
            model.row(0.0, np.inf, [pair_columns[pair], z], [1.0, -1.0])
    columns_used = np.array(list(parts_of), dtype=np.int64)
    covered = dict.fromkeys(orders, 0.0)
    for p in gone:
        for o in program.orders_of(p.candidate):
            covered[o] += p.units / program.n_units[p.candidate]
    most = np.zeros_like(residual)
    owner_units: dict[int, list[int]] = {o: [] for o in orders}
    for i, j in enumerate(columns_used):
        owner_units[program.orders_of(int(j))[0]].append(i)
    for rows_of_order in owner_units.values():
        if rows_of_order:
            most += _largest_use(program, columns_used[rows_of_order], residual.shape)
    if program.crew >= 0:
        for pair in pair_columns:
            most[program.crew, program.lot_day_sow[pair]] += program.setup_minutes
    z_of = dict(zip(columns_used.tolist(), set_up_column, strict=True))
    for o in orders:
        u = model.column(
            float(program.short_cost[o]), 1.0, max(0.0, 1.0 - covered[o]), integer=False
        )
        index, value = cover[o]
        model.row(1.0, np.inf, [*index, u], [*value, 1.0])
        own = [z_of[j] for j in parts_of if o in program.orders_of(j)]
        if len(own) > max_parts:
            model.row(0.0, float(max_parts), own, [1.0] * len(own))
    for high, index, value in resource_rows(
        program, columns_used, share_column, set_up_column, pair_columns, residual, most
    ):
        model.row(-np.inf, max(high, 0.0) + 1e-9, index, value)
    values = model.solve(seconds, gap_frac, node_limit)
    if values is None:
        return choice
    new = list(kept)
    for j, (k, factor) in parts_of.items():
        units = int(program.n_units[j])
        count = round(float(values[k]) * factor * units)
        if count > 0:
            new.append(Part(j, count))
    result = Choice(new)
    return result if result.cost(program) < choice.cost(program) - 1e-7 else choice


def _largest_use(program: Program, rows: IntArray, shape: tuple[int, ...]) -> FloatArray:
    """Most that any single one of the candidates uses by resource and day (shares add to 1)."""
    segments = program.segments.take(rows)
    owner = np.repeat(np.arange(len(rows)), np.diff(segments.offset))
    out = np.zeros(shape)
    for r in np.unique(segments.resource):
        here = segments.resource == r
        table = np.zeros((len(rows), shape[1] + 1))
        np.add.at(table, (owner[here], segments.start[here]), segments.amount[here])
        np.add.at(table, (owner[here], segments.stop[here]), -segments.amount[here])
        out[r] = np.cumsum(table, axis=1)[:, :-1].max(axis=0)
    if program.crew >= 0:
        days = np.bincount(program.sow_day[rows], minlength=shape[1])[: shape[1]]
        out[program.crew] += np.minimum(days, 3) * program.setup_minutes
    return out
