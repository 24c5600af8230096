"""How many cells a candidate sows: the fewest that reach the confidence, or the full last tray."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sowbench.planning.block import Option, Sizing
from sowbench.planning.quick_size import quick_cells, quick_short
from sowbench.planning.season import EMERGENCE_FRAC, Season, container_price
from sowbench.planning.timeline import PlacePath, Timeline
from sowbench.science.stand import cell_ok_prob, thin_per_cell, usable_frac

if TYPE_CHECKING:
    from sowbench.domain.records import Crop
    from sowbench.planning.options import Group

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def seed_chance(season: Season, lot: int, env: FloatArray) -> FloatArray:
    """Chance that a seed unit gives a seedling on time, shape (*env.shape, 9)."""
    return np.asarray(season.lots[lot].nodes * EMERGENCE_FRAC * env[..., None])


def usable_nodes(
    season: Season, crop: Crop, lot: int, seeds_per_cell: int, env: FloatArray, light: FloatArray
) -> FloatArray:
    """Usable share of a cell at each node of the lot, shape (*env.shape, 9)."""
    p = np.minimum(seed_chance(season, lot, env), 1.0)
    ok = cell_ok_prob(
        seeds_per_cell,
        p,
        crop.plants_per_cell[0],
        seedlings_per_unit=season.lots[lot].record.seedlings_per_unit,
    )
    return np.asarray(usable_frac(ok, light[..., None]))


def size_cells(
    season: Season,
    crop: Crop,
    places: PlacePath,
    timeline: Timeline,
    choices: list[Option],
    groups: list[Group],
    group: IntArray,
    choice: IntArray,
    sow: IntArray,
) -> Sizing:
    """Size every candidate of a block; equal cases are computed once."""
    env = np.round(timeline.fraction.T @ season.w_weights * timeline.on_time, 2)[sow]
    start = timeline.emerge_day[sow]
    stop = np.maximum(timeline.grown_day[sow], start + 1)
    light = np.round(season.crop_season(crop).light_frac(places.grow, start, stop), 2)
    codes = np.stack(
        (group, choice, np.round(env * 100).astype(int), np.round(light * 100).astype(int)), axis=1
    )
    unique, inverse = np.unique(codes, axis=0, return_inverse=True)
    sized = _size_unique(season, crop, choices, groups, unique)
    return Sizing(
        **{name: getattr(sized, name)[inverse] for name in sized.__dataclass_fields__}
    )


def _size_unique(
    season: Season, crop: Crop, choices: list[Option], groups: list[Group], unique: IntArray
) -> Sizing:
    n = len(unique)
    group, choice = unique[:, 0], unique[:, 1]
    env, light = unique[:, 2] / 100.0, unique[:, 3] / 100.0
    nodes = np.zeros((n, 9))
    weights = np.zeros((n, 9))
    per_tray = np.zeros(n, dtype=np.int64)
    last_cells = np.zeros(n, dtype=np.int64)
    per_cell_cost = np.zeros(n)
    thin_share = np.zeros(n)
    for c in np.unique(choice):
        rows = choice == c
        option = choices[int(c)]
        lot = season.lots[option.lot]
        nodes[rows] = usable_nodes(
            season, crop, option.lot, option.seeds_per_cell, env[rows], light[rows]
        )
        weights[rows] = lot.weights
        per_tray[rows] = option.path.first.cells
        last_cells[rows] = option.path.last.cells
        per_cell_cost[rows] = cell_cost(season, option)
        p = np.minimum(seed_chance(season, option.lot, env[rows]), 1.0) @ lot.weights
        share, _ = thin_per_cell(
            option.seeds_per_cell,
            p,
            crop.plants_per_cell[1],
            seedlings_per_unit=lot.record.seedlings_per_unit,
        )
        thin_share[rows] = share
    cells = np.zeros(n, dtype=np.int64)
    ok = np.ones(n, dtype=bool)
    size = np.array([len(g.orders) for g in groups])[group]
    needs = np.zeros((n, int(size.max())), dtype=np.int64)
    confidence = np.zeros(needs.shape)
    total = np.zeros(n, dtype=np.int64)
    for i, g in enumerate(group):
        before = 0
        for m, o in enumerate(groups[int(g)].orders):
            order = season.orders[o]
            needs[i, m] = before + season.enough_cells(order)
            before += season.need_cells(order)
            confidence[i, m] = season.confidence(order)
        total[i] = before
    for m in range(needs.shape[1]):
        rows = size > m
        found = quick_cells(
            needs[rows, m], confidence[rows, m], per_tray[rows], nodes[rows], weights[rows]
        )
        ok[rows] &= found >= 0
        cells[rows] = np.maximum(cells[rows], found)
    cells = np.maximum(cells, 1)
    units = -(-cells // per_tray)
    full = units * per_tray
    plants = np.array([season.plants_per_cell(season.orders[groups[int(g)].orders[0]])
                       for g in group])
    prices = season.house.prices

    def money(n_cells: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        short, surplus = quick_short(total, n_cells, per_tray, nodes, weights)
        return (
            n_cells * per_cell_cost
            + plants * (prices.short_plant * short - prices.surplus_plant * surplus),
            short,
            surplus,
        )

    cost_few, short_few, more_few = money(cells)
    cost_full, short_full, more_full = money(full)
    fill = ok & (cost_full < cost_few)
    cells = np.where(fill, full, cells)
    mean = (nodes * weights).sum(axis=1)
    n_last = np.where(
        np.array([choices[int(c)].path.potted_on for c in choice]),
        np.ceil(cells * mean - 1e-9).astype(np.int64),
        cells,
    )
    return Sizing(
        ok,
        cells,
        -(-cells // per_tray),
        n_last,
        -(-n_last // last_cells),
        total,
        mean,
        np.where(fill, short_full, short_few),
        np.where(fill, more_full, more_few),
        cells * thin_share,
    )


def cell_cost(season: Season, option: Option) -> float:
    """Money that one more cell in a tray that is there anyway takes: seed and mix."""
    lot = season.lots[option.lot]
    seed = option.seeds_per_cell * lot.price_per_1000 / 1000.0
    container = option.path.first
    mix = container.cell_volume_ml / 1000.0 * season.house.prices.mix_per_l
    return seed + (mix if container.takes_mix else 0.0)


def unit_cost(season: Season, option: Option) -> float:
    """Price of the first container."""
    return container_price(option.path.first, season.stock)
