"""From settled sowings to the plan that is handed out: steps, dates, tasks, money, prices."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.plan import (
    HandOver,
    OrderPlan,
    Sowing,
    SowingShare,
    Span,
    Spread,
    Step,
    Task,
)
from sowbench.domain.records import StepKind
from sowbench.planning.options import Group, GroupTable, group_table
from sowbench.planning.placed import Placed, Settled
from sowbench.planning.resources import ResourceKind, SegmentBuilder
from sowbench.planning.season import Season
from sowbench.planning.uses import (
    Stay,
    add_uses,
    after_first,
    jobs_of,
    moves_of,
    rests_of,
    stages_of,
)
from sowbench.planning.work import Work
from sowbench.science.trays import tray_total_pmf

FloatArray = NDArray[np.float64]
_FINE_Z = np.linspace(-4.0, 4.0, 321)


def as_group(season: Season, placed: Placed) -> tuple[Placed, GroupTable]:
    """Give a sowing a group of its own, so that block functions see its orders alone."""
    row = placed.row
    keep = [m for m in range(row.hand_over.shape[1]) if row.hand_over[0, m] >= 0]
    hand = np.full_like(row.hand_over, -1)
    hand[0, : len(placed.orders)] = row.hand_over[0, keep[: len(placed.orders)]]
    if not placed.orders:
        hand[0, 0] = row.hand_over[0, 0]
    block = row.take(np.array([0]))
    block.group = np.array([0])
    block.hand_over = hand
    table = group_table(
        season,
        [Group(tuple(o for o, _ in placed.orders))],
        [[n for _, n in placed.orders]],
    )
    return replace(placed, row=block), table


def total_use(season: Season, placed: Iterable[Placed]) -> FloatArray:
    """Use by resource and day of sowings, setting up and changes of lot included."""
    resources, setup = season.resources, season.house.crew.setup_minutes
    crew = resources.index(ResourceKind.CREW, "crew")
    pairs: set[tuple[int, int]] = set()
    builder, rows = SegmentBuilder(), list(placed)
    for i, p in enumerate(rows):
        one, groups = as_group(season, p)
        add_uses(season, one.row, groups, builder, i, p.since)
    total = builder.build(len(rows)).use(np.ones(len(rows)), *resources.capacity.shape)
    for p in rows:
        if p.since < 0:
            total[crew, p.sow_day] += setup
            pairs.add((p.sow_day, p.option.lot))
    for day, _ in pairs:
        total[crew, day] += setup
    return total


@dataclass(frozen=True)
class Stretch:
    """A stay of one sowing with its kind and cells, for steps."""

    kind: StepKind
    stay: Stay
    start: int
    stop: int
    n_cells: int


def stretches(season: Season, placed: Placed) -> list[Stretch]:
    """Stays of a sowing in sequence, germination apart, shrinking as orders are handed over."""
    one, groups = as_group(season, placed)
    block = one.row
    stays = stages_of(season, block)
    moves = moves_of(season, block)
    emerge = int(block.timeline.emerge_day[block.sow[0]])
    potted = one.option.path.potted_on
    out: list[Stretch] = []
    route = block.route
    spaced = int(moves.space[0]) < int(moves.tone[0])
    sown, after = int(block.sizing.n_cells[0]), int(block.sizing.n_last[0])
    for stay in stays:
        a, b = int(stay.start[0]), int(stay.stop[0])
        if b <= a:
            continue
        kind = StepKind.GROW
        if int(stay.place[0]) == route.germ != route.grow:
            kind = StepKind.GERMINATE
        elif a >= int(moves.hold[0]) and int(block.hold[0]) >= 0:
            kind = StepKind.HOLD
        elif a >= int(moves.tone[0]):
            kind = StepKind.TONE
        elif spaced and a >= int(moves.space[0]):
            kind = StepKind.SPACE
        elif potted and a >= int(moves.pot[0]):
            kind = StepKind.POT_ON
        if kind == StepKind.GROW and route.germ == route.grow and a < emerge < b:
            out.append(Stretch(StepKind.GERMINATE, stay, a, emerge, sown))
            a = emerge
        out.append(Stretch(kind, stay, a, b, after if potted and a >= int(moves.pot[0]) else sown))
    last = out[-1]
    cells = float(block.sizing.n_last[0])
    for (begin, stop, left), stay in zip(
        after_first(block, groups), rests_of(block, groups, stays), strict=True
    ):
        if stop[0] > begin[0] and left[0] > 1e-9:
            rest = np.ceil(cells * float(left[0]) - 1e-9)
            out.append(Stretch(last.kind, stay, int(begin[0]), int(stop[0]), int(rest)))
    return out


def steps_of(season: Season, placed: Placed) -> tuple[Step, ...]:
    """Steps of a sowing: of what was handed in as standing, those that are still to come."""
    path = placed.option.path
    moves = moves_of(season, placed.row)
    since = placed.since if placed.standing else -1
    steps = []
    for s in stretches(season, placed):
        if s.stop <= since:
            continue
        after = path.potted_on and s.start >= int(moves.pot[0])
        container = path.last if after else path.first
        m2 = float(s.stay.m2[0])
        steps.append(
            Step(
                s.kind,
                container.id,
                int(np.ceil(s.stay.units[0] - 1e-9)),
                s.n_cells,
                round(s.n_cells / m2, 3) if m2 > 0 else 0.0,
                season.places[int(s.stay.place[0])].name,
                season.calendar.date(max(s.start, since)),
                season.calendar.date(s.stop),
                placed.mates,
            )
        )
    return tuple(steps)


def quantile_day(days: FloatArray, z_nodes: FloatArray, w_weights: FloatArray, p: float) -> float:
    """Quantile of a day over weather nodes and pace, straight in z between its nodes."""
    weight = np.exp(-0.5 * _FINE_Z**2)
    weight = weight / weight.sum()
    values = np.concatenate([_fine(row, z_nodes) for row in days])
    weights = np.concatenate([w * weight for w in w_weights])
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    return float(values[order][min(int(np.searchsorted(total, p)), len(values) - 1)])


def _fine(row: FloatArray, z_nodes: FloatArray) -> FloatArray:
    """Days on the fine grid of z, the last stretch of each side going on."""
    finite = np.isfinite(row)
    if finite.sum() < 2:
        return np.full(len(_FINE_Z), np.inf)
    z, d = z_nodes[finite], row[finite]
    out = np.interp(_FINE_Z, z, d)
    low, high = z[0] > _FINE_Z, z[-1] < _FINE_Z
    out[low] = d[0] + (d[1] - d[0]) / (z[1] - z[0]) * (_FINE_Z[low] - z[0])
    out[high] = d[-1] + (d[-1] - d[-2]) / (z[-1] - z[-2]) * (_FINE_Z[high] - z[-1])
    if not finite.all():
        out[z_nodes[int(np.argmin(finite))] <= _FINE_Z] = np.inf
    return np.asarray(out)


def date_of(season: Season, day: float) -> date:
    """First midnight at or after a fractional day, never beyond the climate's end."""
    last = season.calendar.n_days - 1
    return season.calendar.date(
        last if not np.isfinite(day) else min(int(np.ceil(day - 1e-9)), last)
    )


def spread_of(season: Season, placed: Placed) -> Spread:
    """Five, fifty and ninety-five percent points of the usable cells."""
    risk = placed.risk(season)
    pmf = tray_total_pmf(
        risk.n_cells, risk.cells_per_tray, risk.usable, risk.rho_tray, risk.tray_loss_frac
    )
    mixed = np.einsum("wkn,w,k->n", pmf, season.w_weights, risk.lot_weights)
    total = np.cumsum(mixed)
    points = [int(np.searchsorted(total, p * total[-1])) for p in (0.05, 0.5, 0.95)]
    return Spread(*points)


def sowing_record(season: Season, placed: Placed) -> Sowing:
    """The plan's record of a sowing."""
    t, s = placed.row.timeline, int(placed.row.sow[0])
    lot = season.lots[placed.option.lot].record
    ready, over = t.ready[:, :, s], t.overgrown[int(placed.row.end[0]), :, :, s]

    def day(which: FloatArray, p: float) -> date:
        return date_of(season, quantile_day(which, season.z_nodes, season.w_weights, p))

    per_cell = placed.row.crop.plants_per_cell
    return Sowing(
        placed.name,
        tuple(
            SowingShare(season.orders[o].id, n * season.plants_per_cell(season.orders[o]))
            for o, n in placed.orders
        ),
        placed.row.crop.id,
        lot.variety,
        lot.id,
        placed.option.seeds_per_cell,
        per_cell,
        placed.n_cells,
        placed.n_cells * placed.option.seeds_per_cell,
        season.calendar.date(placed.sow_day),
        steps_of(season, placed),
        Span(day(ready, 0.1), day(ready, 0.5), day(ready, 0.9)),
        Span(day(over, 0.1), day(over, 0.5)),
        spread_of(season, placed),
        placed.standing,
    )


def order_plans(season: Season, settled: Settled) -> list[OrderPlan]:
    """What each order gets and how sure it is."""
    given: dict[int, list[tuple[Placed, int, int]]] = {}
    for p in settled.placed:
        for k, (o, n) in enumerate(p.orders):
            given.setdefault(o, []).append((p, n, int(p.row.hand_over[0, k])))
    out = []
    for o, order in enumerate(season.orders):
        per_cell = season.plants_per_cell(order)
        rows = given.get(o, [])
        if not rows:
            out.append(OrderPlan(order.id, order.plants, 0, 0.0, 0.0, 0.0, float(order.plants)))
            continue
        planned = min(order.plants, sum(n for _, n, _ in rows) * per_cell)
        chance = settled.chances[o]
        hands, left = [], planned
        for p, n, day in sorted(rows, key=lambda r: r[2]):
            plants = min(left, n * per_cell)
            left -= plants
            hands.append(HandOver(season.calendar.date(day), p.name, plants))
        out.append(
            OrderPlan(
                order.id,
                order.plants,
                planned,
                round(float(chance.enough_frac), 6),
                round(float(chance.in_time_frac), 6),
                round(float(chance.filled_frac), 6),
                round(float(chance.expected_short) * per_cell + order.plants - planned, 4),
                tuple(why_risky(season, o, planned, float(chance.enough_frac), rows)),
                tuple(hands),
            )
        )
    return out


def why_risky(
    season: Season,
    order: int,
    planned: int,
    enough_frac: float,
    rows: Iterable[tuple[Placed, int, int]],
) -> list[str]:
    """Say which part is weak and what would raise it, for an order below its confidence."""
    record = season.orders[order]
    wanted = season.confidence(record)
    if planned < record.plants or enough_frac >= wanted - 5e-7:
        return []
    out = []
    for p, _, _ in rows:
        lot = season.lots[p.option.lot].record
        share = lot.n_normal / lot.n_tested
        if p.since >= 0:
            out.append(
                f"{p.name} stands already: chance of enough {enough_frac:.1%} against "
                f"{wanted:.1%} wanted. A later sowing of the same crop would raise it."
            )
            continue
        more = max(1, round(0.05 * p.n_cells))
        out.append(
            f"{p.name}: chance of enough {enough_frac:.1%} against {wanted:.1%} wanted; lot "
            f"{lot.id} tested {share:.0%}. About {more} more cells, or a fresher test, would "
            "raise it."
        )
    return out


def tasks_of(season: Season, placed: list[Placed]) -> list[Task]:
    """All jobs by day: around each sowing, changes of lot, and water by place."""
    work, crew = Work(season.rates), season.house.crew
    calendar = season.calendar
    tasks: list[Task] = []
    water: dict[tuple[int, int], float] = {}
    lots: dict[tuple[int, int], str] = {}
    for p in placed:
        one, groups = as_group(season, p)
        for job in jobs_of(season, one.row, groups, work):
            minutes = float(job.minutes[0])
            if minutes <= 0 or job.day[0] < max(0, p.since):
                continue
            if p.since >= 0 and job.task == "sow":
                continue
            if p.counted is not None and job.task == "count":
                continue
            if job.task == "sow":
                minutes += crew.setup_minutes
            day = int(job.day[0])
            tasks.append(
                Task(
                    calendar.date(day),
                    job.task,
                    p.name,
                    season.places[int(job.place[0])].name,
                    round(minutes, 3),
                    slack_of(season, p, job.task, day),
                )
            )
        if p.since < 0:
            lots.setdefault((p.sow_day, p.option.lot), p.name)
        for s in stretches(season, p):
            if season.is_watered[int(s.stay.place[0])]:
                for day in range(max(s.start, p.since), s.stop):
                    if calendar.attended[day]:
                        m2 = float(s.stay.m2[0])
                        key = (day, int(s.stay.place[0]))
                        water[key] = water.get(key, 0.0) + m2 * work.water_per_m2()
    for (day, lot), name in lots.items():
        if crew.setup_minutes > 0:
            tasks.append(
                Task(
                    calendar.date(day),
                    "change lot",
                    name,
                    "",
                    crew.setup_minutes,
                    0,
                    season.lots[lot].record.id,
                )
            )
    for (day, place), minutes in water.items():
        tasks.append(
            Task(calendar.date(day), "water", "", season.places[place].name, round(minutes, 3))
        )
    rank = {"water": 0, "move": 1, "change lot": 2, "sow": 3, "count": 4, "thin": 5}
    return sorted(tasks, key=lambda t: (t.date, rank.get(t.task, 6), t.place, t.sowing))


def slack_of(season: Season, placed: Placed, task: str, day: int) -> int:
    """Days by which a job can wait: packing until the last day that serves, toning a few days."""
    calendar = season.calendar
    if task == "pack":
        latest = max(calendar.day(season.orders[o].latest_date) for o, _ in placed.orders)
        return max(0, min(latest - day, 14))
    if task in {"tone", "space"}:
        hand = int(placed.row.hand_over[0].max())
        return max(0, min(placed.row.rule.tone_d or 2, hand - day - 1))
    return {"count": 2, "thin": 2, "pot on": 2}.get(task, 0)
