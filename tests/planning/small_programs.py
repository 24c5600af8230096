"""Random programs of a few orders and candidates, and the same written out in full."""

from __future__ import annotations

from itertools import product

import numpy as np
from scipy.optimize import linprog

from sowbench.planning.program import Program
from sowbench.planning.resources import ResourceKind, Resources, SegmentBuilder

N_DAYS = 6
CREW, BENCH, TRAYS, SEED = range(4)
KINDS = (ResourceKind.CREW, ResourceKind.PLACE, ResourceKind.CONTAINER, ResourceKind.LOT)
MOST_PARTS, LEAST_FRAC = 3, 0.1


def random_program(seed, *, n_orders=3, n_candidates=6, crowded=1.0, with_crew=True):
    """Make a program of so many orders and candidates; a higher `crowded` leaves less room."""
    rng = np.random.default_rng(seed)
    members = [[o] for o in range(n_orders)] + [[o, o + 1] for o in range(n_orders - 1)]
    table = np.full((len(members), 4), -1, dtype=np.int32)
    for row, own in zip(table, members, strict=True):
        row[: len(own)] = own
    # Every order has a candidate of its own; the rest as it comes.
    group = np.concatenate(
        (np.arange(n_orders), rng.integers(0, len(members), n_candidates - n_orders))
    ).astype(np.int32)
    sow = rng.integers(0, N_DAYS - 2, n_candidates)
    lot = rng.integers(0, 2, n_candidates)
    pairs, lot_day = np.unique(lot * N_DAYS + sow, return_inverse=True)
    units = rng.integers(1, 4, n_candidates)
    builder = SegmentBuilder()
    owner = np.arange(n_candidates)
    stop = np.minimum(sow + rng.integers(1, 5, n_candidates), N_DAYS)
    builder.add(owner, BENCH, sow, stop, units.astype(float))
    builder.add(owner, TRAYS, sow, np.minimum(stop + 1, N_DAYS), units.astype(float))
    builder.add(owner, SEED, np.zeros_like(sow), np.ones_like(sow), 10.0 * units)
    if with_crew:
        builder.add(owner, CREW, sow, sow + 1, 5.0 + 3.0 * units)
        builder.add(owner, CREW, stop - 1, stop, 2.0 * units)
    per_order = units.mean() * n_orders / crowded
    capacity = np.empty((4, N_DAYS))
    capacity[CREW] = np.ceil(10.0 * per_order / 2)
    capacity[BENCH] = np.ceil(0.6 * per_order)
    capacity[TRAYS] = np.ceil(0.7 * per_order)
    capacity[SEED] = np.ceil(8.0 * per_order)
    if not with_crew:
        capacity[CREW] = np.inf
    size = (table[group] >= 0).sum(axis=1)
    return Program(
        members=table,
        group=group,
        cost_variable=np.round(rng.uniform(2.0, 9.0, n_candidates) * size, 2),
        cost_fixed=np.full(n_candidates, 1.0),
        lot_day=lot_day.astype(np.int32),
        lot_day_sow=(pairs % N_DAYS).astype(np.int32),
        n_units=units.astype(np.int32),
        splits=(size == 1) & (rng.random(n_candidates) < 0.8),
        short_cost=np.round(rng.uniform(8.0, 15.0, n_orders), 2),
        setup_minutes=4.0 if with_crew else 0.0,
        lot_change_cost=1.5,
        crew=CREW if with_crew else -1,
        sow_day=sow,
        segments=builder.build(n_candidates),
        resources=Resources(KINDS, ("crew", "bench", "tray", "lot"), capacity),
    )


def dense_use(program):
    """Use of each candidate by resource and day, setting up apart, shape (n, resources, days)."""
    out = np.zeros((program.n, *program.resources.capacity.shape))
    s = program.segments
    for j in range(program.n):
        for k in range(s.offset[j], s.offset[j + 1]):
            out[j, s.resource[k], s.start[k] : s.stop[k]] += s.amount[k]
    return out


def written_out(program):
    """Optimum of the linear program with every row and column there is, by another solver."""
    n, n_orders, n_pairs = program.n, program.n_orders, len(program.lot_day_sow)
    cost = np.concatenate(
        (
            program.cost_variable + program.cost_fixed,
            program.short_cost,
            np.full(n_pairs, program.lot_change_cost),
        )
    )
    rows, limits = [], []
    serves = np.zeros((n_orders, n))
    for j in range(n):
        serves[program.orders_of(j), j] = 1.0
    for o in range(n_orders):
        row = np.zeros(cost.size)
        row[:n] = -serves[o]
        row[n + o] = -1.0
        rows.append(row)
        limits.append(-1.0)
    use = dense_use(program)
    for r, d in np.argwhere(np.isfinite(program.resources.capacity)):
        row = np.zeros(cost.size)
        row[:n] = use[:, r, d]
        if r == program.crew:
            row[:n] += program.setup_minutes * (program.sow_day == d)
            row[n + n_orders :] = program.setup_minutes * (program.lot_day_sow == d)
        rows.append(row)
        limits.append(program.resources.capacity[r, d])
    for o, p in product(range(n_orders), range(n_pairs)):
        row = np.zeros(cost.size)
        row[:n] = serves[o] * (program.lot_day == p)
        row[n + n_orders + p] = -1.0
        rows.append(row)
        limits.append(0.0)
    found = linprog(cost, A_ub=np.array(rows), b_ub=np.array(limits), method="highs")
    assert found.status == 0
    return found.fun


def use_of(program, units):
    """Use of a choice by plain addition, `units` of each candidate; setting up included."""
    share = np.asarray(units) / program.n_units
    use = np.tensordot(share, dense_use(program), axes=1)
    if program.crew >= 0:
        for j in np.flatnonzero(units):
            use[program.crew, program.sow_day[j]] += program.setup_minutes
        for p in {int(program.lot_day[j]) for j in np.flatnonzero(units)}:
            use[program.crew, program.lot_day_sow[p]] += program.setup_minutes
    return use


def money_of(program, units):
    """Money of a choice by plain addition."""
    money, cover = 0.0, np.zeros(program.n_orders)
    for j in np.flatnonzero(units):
        share = units[j] / program.n_units[j]
        money += share * program.cost_variable[j] + program.cost_fixed[j]
        cover[program.orders_of(j)] += share
    money += program.lot_change_cost * len({int(program.lot_day[j]) for j in np.flatnonzero(units)})
    return money + float(np.maximum(1.0 - cover, 0.0) @ program.short_cost)


def fits(program, units):
    """Whether a choice uses no more than there is."""
    return bool((use_of(program, units) <= program.resources.capacity + 1e-6).all())


def allowed(program, units):
    """Whether only what may be split is, parts are large enough, and orders in at most three."""
    return bool(_allowed(program, np.asarray(units)[None, :])[0])


def _allowed(program, units):
    """The same for many choices, shape (n_choices, n)."""
    part = (units > 0) & (units < program.n_units)
    bad = part & (~program.splits | (units < LEAST_FRAC * program.n_units))
    serves = np.zeros((program.n, program.n_orders))
    for j in range(program.n):
        serves[j, program.orders_of(j)] = 1.0
    return ~bad.any(axis=1) & (((units > 0) @ serves) <= MOST_PARTS).all(axis=1)


def all_choices(program):
    """Every choice that is allowed and fits, shape (n_choices, n), and the money of each."""
    units = np.indices(program.n_units + 1).reshape(program.n, -1).T
    units = units[_allowed(program, units)]
    share, taken = units / program.n_units, (units > 0).astype(float)
    use = np.tensordot(share, dense_use(program), axes=1)
    days = np.arange(program.resources.n_days)
    pairs = np.arange(len(program.lot_day_sow))
    out = (taken @ (program.lot_day[:, None] == pairs) > 0).astype(float)
    if program.crew >= 0:
        times = taken @ (program.sow_day[:, None] == days)
        times += out @ (program.lot_day_sow[:, None] == days)
        use[:, program.crew] += program.setup_minutes * times
    ok = (use <= program.resources.capacity + 1e-6).all(axis=(1, 2))
    cover = np.zeros((len(units), program.n_orders))
    for j in range(program.n):
        cover[:, program.orders_of(j)] += share[:, [j]]
    money = share @ program.cost_variable + taken @ program.cost_fixed
    money += program.lot_change_cost * out.sum(axis=1)
    money += np.maximum(1.0 - cover, 0.0) @ program.short_cost
    return units[ok], money[ok]


def cheapest(program):
    """Least money of any choice, by trying them all."""
    return float(all_choices(program)[1].min())


def units_of(program, choice):
    """Units of each candidate of a choice."""
    units = np.zeros(program.n, dtype=int)
    for part in choice.parts:
        units[part.candidate] += part.units
    return units
