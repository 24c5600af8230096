"""Money of candidates, part by part; docs/model.md section 8."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.records import Container
from sowbench.planning.block import Block, CostParts
from sowbench.planning.season import Season, container_price, is_reusable
from sowbench.planning.uses import jobs_of, moves_of, rests_of, stages_of
from sowbench.planning.work import Work
from sowbench.science.cost import PARTS, USES_OF_REUSABLE
from sowbench.science.medium import WASTE_FRAC
from sowbench.science.ready_chance import screen_in_time

if TYPE_CHECKING:
    from sowbench.planning.options import GroupTable

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
RAISING = ("seed", "container", "mix", "labor", "room")


def container_money(season: Season, container: Container, n_units: FloatArray) -> FloatArray:
    """Price of units, a reusable one shared by its uses, with a label each."""
    price = container_price(container, season.stock)
    if is_reusable(container, season.stock):
        price /= USES_OF_REUSABLE
    return n_units * (price + season.house.prices.label)


def mix_liters(container: Container, n_cells: FloatArray) -> FloatArray:
    """Mix for so many cells with waste [L]; 0 for what brings its own medium."""
    if not container.takes_mix:
        return np.zeros_like(np.asarray(n_cells, dtype=float))
    return np.asarray(n_cells * container.cell_volume_ml / 1000.0 * (1.0 + WASTE_FRAC))


def timing_money(
    block: Block, rows: IntArray, latest: IntArray, hand_over: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Expected days late after `latest`, and chance of being overgrown at hand-over."""
    sow, end, timeline = block.sow[rows], block.end[rows], block.timeline
    codes = ((end * 4096 + sow) * 4096 + latest) * 4096 + hand_over
    _, first, inverse = np.unique(codes, return_index=True, return_inverse=True)
    sow, end, latest, hand_over = sow[first], end[first], latest[first], hand_over[first]
    screened = screen_in_time(
        np.moveaxis(timeline.ready[:, :, sow], 2, 0),
        timeline.overgrown[end, :, :, sow],
        np.minimum(latest, hand_over),
        latest,
        hand_over,
    )
    return screened.days_late[inverse], screened.overgrown_frac[inverse]


def own_costs(season: Season, block: Block, groups: GroupTable, since: int = -1) -> CostParts:
    """Money of every candidate of a block by part.

    Parameters
    ----------
    since : int, default -1
        First day that counts, for what stands already: what was spent on sowing it is not asked.
    """
    n, sizing, hand_over = len(block), block.sizing, block.hand_over
    prices, crew = season.house.prices, season.house.crew
    parts = {name: np.zeros(n) for name in PARTS} | raising_costs(season, block, groups, since)
    for m in range(hand_over.shape[1]):
        has = np.flatnonzero(hand_over[:, m] >= 0)
        if not len(has):
            break
        own = block.group[has]
        plants = groups.plants[own, m]
        late, over = timing_money(block, has, groups.latest[own, m], hand_over[has, m])
        parts["late"][has] += prices.late_plant_day * plants * late
        parts["overgrown"][has] += prices.overgrown_plant * plants * over
    per_cell = groups.per_cell[block.group]
    parts["short"] = prices.short_plant * sizing.short * per_cell
    parts["surplus"] = -prices.surplus_plant * sizing.surplus * per_cell
    setup = crew.setup_minutes / 60.0 * crew.rate_per_hour
    fixed = np.full(n, setup if since < 0 else 0.0)
    timing = parts["late"] + parts["overgrown"]
    return CostParts(parts, fixed, timing=timing)


def raising_costs(
    season: Season, block: Block, groups: GroupTable, since: int = -1
) -> dict[str, FloatArray]:
    """Money for seed, trays, mix, labor and room of every candidate of a block.

    Parameters
    ----------
    since : int, default -1
        As for `own_costs`.
    """
    n, sizing = len(block), block.sizing
    prices, crew = season.house.prices, season.house.crew
    parts = {name: np.zeros(n) for name in RAISING}
    for index, option in enumerate(block.choices):
        mine = block.choice == index
        path = option.path
        if not mine.any():
            continue
        cells, last = sizing.n_cells[mine].astype(float), sizing.n_last[mine].astype(float)
        if since >= 0:
            if path.potted_on:  # still to be filled
                ahead = moves_of(season, block).pot[mine] >= since
                units = np.where(ahead, sizing.n_last_units[mine], 0.0)
                parts["container"][mine] = container_money(season, path.last, units)
                liters = mix_liters(path.last, np.where(ahead, last, 0.0))
                parts["mix"][mine] = liters * prices.mix_per_l
            continue
        parts["seed"][mine] = (
            cells * option.seeds_per_cell * season.lots[option.lot].price_per_1000 / 1000.0
        )
        parts["container"][mine] = container_money(
            season, path.first, sizing.n_units[mine].astype(float)
        )
        liters = mix_liters(path.first, cells)
        if path.potted_on:
            parts["container"][mine] += container_money(
                season, path.last, sizing.n_last_units[mine].astype(float)
            )
            liters = liters + mix_liters(path.last, last)
        parts["mix"][mine] = liters * prices.mix_per_l
    work = Work(season.rates)
    minutes = np.zeros(n)
    for job in jobs_of(season, block, groups, work):
        if since < 0 or job.task != "sow":
            minutes += np.where(job.day >= since, job.minutes, 0.0)
    m2_days = np.zeros(n)
    stages = stages_of(season, block)
    there = np.concatenate(([0], np.cumsum(season.calendar.attended)))

    for stay in [*stages, *rests_of(block, groups, stages)]:
        a = np.maximum(stay.start, since)
        days = np.maximum(stay.stop - a, 0)
        parts["room"] += stay.taken(season) * days * season.room_price[stay.place]
        seen = there[np.maximum(stay.stop, a)] - there[a]
        m2_days += stay.m2 * np.where(season.is_watered[stay.place], seen, 0)
    minutes = minutes + m2_days * work.water_per_m2()
    parts["labor"] = np.asarray(minutes) / 60.0 * crew.rate_per_hour
    return parts
