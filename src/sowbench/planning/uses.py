"""What candidates use: room, trays, hands, machines and seed, by day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sowbench.planning.block import Block, Moves, Option
from sowbench.planning.resources import IntArray, ResourceKind, SegmentBuilder
from sowbench.planning.season import Season, is_limited
from sowbench.planning.work import Work

if TYPE_CHECKING:
    from sowbench.planning.options import GroupTable
    from sowbench.planning.timeline import End, Route, Timeline

FloatArray = NDArray[np.float64]


def last_use_day(season: Season, timeline: Timeline, rows: IntArray, last: IntArray) -> IntArray:
    """Day on which sowings go to the toning place: a work day from grown on, at most `last`."""
    limit = season.calendar.n_days - 1
    move = season.calendar.next_work[np.clip(timeline.grown_day[rows], 0, limit)]
    return np.asarray(np.minimum(move, last))


def hold_from(season: Season, route: Route, end: End, ready: IntArray, tone: IntArray) -> IntArray:
    """Work day from which plants are held cold: when ready, and toned if that is elsewhere."""
    limit = season.calendar.n_days - 1
    day = season.calendar.next_work[np.clip(ready, 0, limit)]
    return day if end.tone == route.grow else np.maximum(day, tone)


def pack_day(season: Season, hand_over: IntArray) -> IntArray:
    """Day on which plants handed over on a day are packed."""
    limit = season.calendar.n_days - 1
    return season.calendar.last_work[np.clip(hand_over, 0, limit)]


@dataclass(frozen=True)
class Stay:
    """A stretch of the candidates in one place.

    Attributes
    ----------
    place : ndarray of int, shape (n,)
        Index of the place.
    start, stop : ndarray of int, shape (n,)
        Days [start, stop); empty where the candidate has no such stretch.
    units : ndarray, shape (n,)
        Lifted units.
    tray_m2, m2 : ndarray, shape (n,)
        Outer area of the units, and the area taken with spacing.
    """

    place: IntArray
    start: IntArray
    stop: IntArray
    units: FloatArray
    tray_m2: FloatArray
    m2: FloatArray

    def taken(self, season: Season) -> FloatArray:
        """Area paid for: of the units where room is counted in positions."""
        return np.where(season.by_position[self.place], self.tray_m2, self.m2)


def of_choice(block: Block, value: Callable[[Option], float]) -> NDArray[Any]:
    """Value of each candidate's choice, shape (n,)."""
    return np.array([value(c) for c in block.choices])[block.choice]


def first_hand_over(block: Block) -> IntArray:
    """Day on which the first member of the group is handed over."""
    return np.asarray(np.where(block.hand_over >= 0, block.hand_over, 10**6).min(axis=1))


def moves_of(season: Season, block: Block) -> Moves:
    """Work out the days of all moves until the first member is handed over."""
    if block.moves is None:
        block.moves = _moves(season, block)
    return block.moves


def _moves(season: Season, block: Block) -> Moves:
    t, rows = block.timeline, block.sow
    end = first_hand_over(block)
    tone = last_use_day(season, t, rows, end)
    start = t.exit_day[rows] if block.route.germ != block.route.grow else t.sow_day[rows]
    potted = of_choice(block, lambda c: c.path.potted_on)
    pot = np.where(potted, np.minimum(np.maximum(t.pot_day[rows], start), tone), start)
    space = np.where(
        t.space_day[rows] >= 0, np.minimum(np.maximum(t.space_day[rows], pot), tone), tone
    )
    moved = block.tone != block.route.grow
    limit = season.calendar.n_days - 1
    ready = season.calendar.next_work[np.clip(t.ready_day[rows], 0, limit)]
    hold = np.where(moved, np.maximum(ready, tone), ready)
    hold = np.where(block.hold >= 0, np.minimum(hold, end), end)
    tone = np.minimum(tone, hold)
    pot, space = np.minimum(pot, tone), np.minimum(space, tone)
    return Moves(start, pot, space, tone, hold, end)


def last_place(block: Block) -> IntArray:
    """Place from which each candidate is handed over."""
    return np.where(block.hold >= 0, block.hold, block.tone)


def stages_of(season: Season, block: Block) -> list[Stay]:
    """Stays until the first member is handed over; the last one is where it is."""
    moves, size, route = moves_of(season, block), block.sizing, block.route
    potted = of_choice(block, lambda c: c.path.potted_on)
    units = size.n_units.astype(float)
    units_m2 = units * of_choice(block, lambda c: c.path.first.area_m2)
    final = np.where(potted, size.n_last_units, units).astype(float)
    final_m2 = np.where(potted, final * of_choice(block, lambda c: c.path.last.area_m2), units_m2)
    spaced_m2 = final_m2
    if block.rule.space_plants_per_m2:
        spaced_m2 = np.maximum(final_m2, size.n_last / block.rule.space_plants_per_m2)
    late_m2 = np.where(moves.space < moves.tone, spaced_m2, final_m2)
    out = []
    sow = block.timeline.sow_day[block.sow]
    germ, grow = np.full(len(block), route.germ), np.full(len(block), route.grow)
    if route.germ != route.grow:
        out.append(Stay(germ, sow, moves.start, units, units_m2, units_m2))
    out.append(Stay(grow, moves.start, moves.pot, units, units_m2, units_m2))
    out.append(Stay(grow, moves.pot, moves.space, final, final_m2, final_m2))
    out.append(Stay(grow, moves.space, moves.tone, final, final_m2, spaced_m2))
    out.append(Stay(block.tone, moves.tone, moves.hold, final, final_m2, late_m2))
    if (block.hold >= 0).any():
        out.append(Stay(last_place(block), moves.hold, moves.end, final, final_m2, final_m2))
    return out


def rests_of(block: Block, groups: GroupTable, stages: list[Stay]) -> list[Stay]:
    """Stays of what is left of shared sowings after each hand-over, in whole units."""
    tone = stages[-2] if (block.hold >= 0).any() else stages[-1]
    size = block.sizing
    per_unit = of_choice(block, lambda c: c.path.last.cells)
    unit_m2 = of_choice(block, lambda c: c.path.last.area_m2)
    spaced = (block.hold < 0) & (tone.m2 > tone.tray_m2 + 1e-9)
    out = []
    for a, b, left in after_first(block, groups):
        cells = np.ceil(size.n_last * left - 1e-9)
        units = np.ceil(cells / per_unit - 1e-9)
        m2 = units * unit_m2
        if block.rule.space_plants_per_m2:
            m2 = np.where(spaced, np.maximum(m2, cells / block.rule.space_plants_per_m2), m2)
        out.append(Stay(last_place(block), a, b, units, units * unit_m2, m2))
    return out


def after_first(block: Block, groups: GroupTable) -> list[tuple[IntArray, IntArray, FloatArray]]:
    """Stays of shared sowings after the first member left: (from, to, share still there)."""
    share = groups.share[block.group]
    out: list[tuple[IntArray, IntArray, FloatArray]] = []
    if (block.hand_over[:, 1] < 0).all():
        return out
    order = np.argsort(np.where(block.hand_over >= 0, block.hand_over, 10**6), axis=1)
    days = np.take_along_axis(block.hand_over, order, axis=1)
    sizes = np.take_along_axis(share, order, axis=1)
    left = np.ones(len(block))
    for m in range(days.shape[1] - 1):
        left = left - sizes[:, m]
        has = days[:, m + 1] >= 0
        if has.any():
            out.append(
                (
                    np.where(has, days[:, m], 0),
                    np.where(has, days[:, m + 1], 0),
                    np.where(has, left, 0.0),
                )
            )
    return out


def add_uses(
    season: Season,
    block: Block,
    groups: GroupTable,
    builder: SegmentBuilder,
    at: int,
    since: int = -1,
) -> None:
    """Add all uses of a block's candidates.

    Parameters
    ----------
    at : int
        Number of the block's first candidate.
    since : int, default -1
        First day that counts, for what stands already: no sowing, and no use before it.
    """
    work = Work(season.rates)
    resources, calendar = season.resources, season.calendar
    n = len(block)
    owner = np.arange(at, at + n)
    t, rows, size = block.timeline, block.sow, block.sizing
    crew = resources.index(ResourceKind.CREW, "crew")
    hands = bool(np.isfinite(resources.capacity[crew]).any())
    water = work.water_per_m2()

    def stand(stay: Stay) -> None:
        room = np.where(season.by_position[stay.place], stay.units, stay.m2)
        a = np.maximum(stay.start, since)
        builder.add(owner, stay.place, a, stay.stop, room)
        if hands:
            wet = season.is_watered[stay.place]
            builder.add(owner, crew, a, stay.stop, np.where(wet, stay.m2 * water, 0.0))

    stages = stages_of(season, block)
    for stay in [*stages, *rests_of(block, groups, stages)]:
        stand(stay)
    for each in jobs_of(season, block, groups, work):
        if hands:
            inside = (each.day >= max(0, since)) & (each.day < calendar.n_days)
            inside &= (since < 0) | (each.task != "sow")
            builder.add(owner, crew, each.day, each.day + 1, np.where(inside, each.minutes, 0.0))
    add_trays(season, block, builder, owner, since)
    if since >= 0:
        return
    for index, choice in enumerate(block.choices):
        mine = block.choice == index
        lot = resources.index(ResourceKind.LOT, season.lots[choice.lot].record.id)
        if lot >= 0:
            zero = np.zeros(int(mine.sum()), dtype=np.int64)
            builder.add(
                owner[mine], lot, zero, zero + 1, size.n_cells[mine] * choice.seeds_per_cell
            )
        machine = season.machine_for(choice.path.first.id)
        if machine is not None:
            m = resources.index(ResourceKind.MACHINE, machine.name)
            day = t.sow_day[rows[mine]]
            minutes = size.n_units[mine] / machine.trays_per_hour * 60.0
            builder.add(owner[mine], m, day, day + 1, minutes + machine.changeover_minutes)


@dataclass(frozen=True)
class Job:
    """A job of every candidate on its day; minutes are 0 where it does not arise.

    `place` is where the plants stand when it is done.
    """

    task: str
    place: IntArray
    day: IntArray
    minutes: FloatArray


def jobs_of(season: Season, block: Block, groups: GroupTable, work: Work) -> list[Job]:
    """Jobs of the candidates in their sequence, setting up and watering apart."""
    t, rows, size, route = block.timeline, block.sow, block.sizing, block.route
    moves = moves_of(season, block)
    potted = of_choice(block, lambda c: c.path.potted_on)
    units = size.n_units.astype(float)
    final = np.where(potted, size.n_last_units, units).astype(float)
    last_cells = size.n_last.astype(float)
    germ, grow = np.full(len(block), route.germ), np.full(len(block), route.grow)
    out = [Job("sow", germ, t.sow_day[rows], sowing_minutes(season, block, work))]
    if route.germ != route.grow:
        out.append(Job("move", grow, moves.start, work.carry(units)))
    count_day = np.minimum(t.count_day[rows], moves.end)
    out.append(Job("count", grow, count_day, work.count(units)))
    thin_day = np.minimum(t.thin_day[rows], moves.end)
    out.append(Job("thin", grow, thin_day, work.thin(size.thin_cells)))
    if potted.any():
        minutes = work.pot_on(last_cells) + work.fill(final)
        out.append(Job("pot on", grow, moves.pot, np.where(potted, minutes, 0.0)))
    if block.rule.space_plants_per_m2:
        minutes = np.where(moves.space < moves.tone, work.space(last_cells), 0.0)
        out.append(Job("space", grow, moves.space, minutes))
    carry = work.carry(final)
    moved = (block.tone != grow) & (moves.tone < moves.hold)
    out.append(Job("tone", block.tone, moves.tone, np.where(moved, carry, 0.0)))
    held = (block.hold >= 0) & (moves.hold < moves.end)
    if held.any():
        out.append(Job("move", block.hold, moves.hold, np.where(held, carry, 0.0)))
    last = last_place(block)
    share = groups.share[block.group]
    for m in range(block.hand_over.shape[1]):
        has = block.hand_over[:, m] >= 0
        if has.any():
            day = np.where(has, pack_day(season, np.maximum(block.hand_over[:, m], 0)), -1)
            out.append(Job("pack", last, day, np.where(has, work.pack(final * share[:, m]), 0.0)))
    return out


def sowing_minutes(season: Season, block: Block, work: Work) -> FloatArray:
    """Minutes of filling, sowing and carrying on the sowing day, without setting up."""
    size = block.sizing
    units = size.n_units.astype(float)
    minutes = work.fill(units) + work.carry(units)
    for index, choice in enumerate(block.choices):
        mine = block.choice == index
        machine = season.machine_for(choice.path.first.id)
        if machine is not None:
            minutes[mine] += units[mine] / machine.trays_per_hour * 60.0
            minutes[mine] += machine.changeover_minutes
        else:
            seeds = size.n_cells[mine] * float(choice.seeds_per_cell)
            pelleted = season.lots[choice.lot].record.pelleted
            minutes[mine] += work.place_seed(seeds, pelleted=pelleted)
    return minutes


def add_trays(
    season: Season, block: Block, builder: SegmentBuilder, owner: IntArray, since: int
) -> None:
    """Hold reusable containers from filling until they are back and washed."""
    size, moves = block.sizing, moves_of(season, block)
    last = block.hand_over.max(axis=1)
    sow = block.timeline.sow_day[block.sow]
    for index, choice in enumerate(block.choices):
        mine = np.flatnonzero(block.choice == index)
        if not len(mine):
            continue
        path = choice.path
        parts = [(path.first, sow[mine], last[mine], size.n_units[mine], False)]
        if path.potted_on:
            pot = moves.pot[mine]
            parts = [
                (path.first, sow[mine], pot, size.n_units[mine], True),
                (path.last, pot, last[mine], size.n_last_units[mine], False),
            ]
        for container, a, b, units, stays_home in parts:
            if not is_limited(container, season.stock):
                continue
            stock = season.stock[container.id]
            away = stock.wash_d + (0 if stays_home else stock.back_after_d)
            stop = np.minimum(b + away, season.calendar.n_days)
            r = season.resources.index(ResourceKind.CONTAINER, container.id)
            builder.add(owner[mine], r, np.maximum(a, since), stop, units.astype(float))
