"""How many cells a candidate sows: the fewest that reach the confidence, or the full last tray."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sowbench.planning.block import Option, Sizing
from sowbench.planning.season import Season
from sowbench.planning.timeline import Route, Timeline
from sowbench.science.medium import WASTE_FRAC
from sowbench.science.quick_stand import (
    cells_that_pay,
    least_money_cells,
    least_short,
    quick_cells,
    quick_short,
)
from sowbench.science.stand import (
    EMERGENCE_FRAC,
    cell_ok_cover,
    cell_ok_prob,
    thin_per_cell,
    usable_frac,
)
from sowbench.science.trays import TRAY_LOSS_FRAC

if TYPE_CHECKING:
    from sowbench.domain.records import Crop
    from sowbench.planning.options import GroupTable

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Parts of one lot are short together where it is poor: at so many of its lowest nodes, or nowhere.
LOW_NODES = (0, 3, 4, 5, 6)
STEPS = 1000.0  # shares are sized in steps of 0.001, rounded down


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


@dataclass(frozen=True)
class Draft:
    """Candidates of one path before they are sized, as flat arrays of the same length."""

    route: Route
    timeline: Timeline
    group: IntArray
    choice: IntArray
    sow: IntArray
    hand_over: IntArray
    end: IntArray


def surroundings(
    season: Season, crop: Crop, draft: Draft
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Emergence by temperature and lateness, and usable share by light, in steps rounded down."""
    t = draft.timeline
    env = t.fraction.T @ season.w_weights * t.on_time
    start = t.emerge_day
    stop = np.maximum(t.grown_day, start + 1)
    light = season.crop_season(crop).light_frac(draft.route.grow, start, stop)
    return (
        np.floor(env * STEPS + 1e-9).astype(np.int64)[draft.sow],
        np.floor(light * STEPS + 1e-9).astype(np.int64)[draft.sow],
    )


def size_drafts(
    season: Season, crop: Crop, drafts: list[Draft], choices: list[Option], groups: GroupTable
) -> tuple[Sizing, Sizing, NDArray[np.bool_]]:
    """Size all candidates of a crop and rule; equal cases are computed once.

    Returns
    -------
    best, few : Sizing
        With the number of cells that costs least, and with the fewest that do.
    both : ndarray of bool
        Whether the two differ, so that where seed or trays are short the fewer may still fit.
    """
    around = [surroundings(season, crop, d) for d in drafts]
    codes = np.stack(
        (
            np.concatenate([d.group for d in drafts]),
            np.concatenate([d.choice for d in drafts]),
            np.concatenate([e for e, _ in around]),
            np.concatenate([x for _, x in around]),
        ),
        axis=1,
    )
    unique, inverse = np.unique(codes, axis=0, return_inverse=True)
    best, few, both = _size_unique(season, crop, choices, groups, unique)
    rows = inverse.ravel()
    return best.take(rows), few.take(rows), both[rows]


def _shares(
    season: Season,
    crop: Crop,
    choices: list[Option],
    unique: IntArray,
    *,
    cover: bool = False,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Usable share at the lot's nodes, their weights, and share of cells to thin.

    With `cover` the share is that of the concave cover, at least the mean over the weather.
    """
    chance = cell_ok_cover if cover else cell_ok_prob
    n = len(unique)
    nodes, weights, thin_share = np.zeros((n, 9)), np.zeros((n, 9)), np.zeros(n)
    kinds: dict[tuple[int, int], list[int]] = {}
    for c, option in enumerate(choices):
        kinds.setdefault((option.lot, option.seeds_per_cell), []).append(c)
    for (lot_index, n_seeds), own in kinds.items():
        rows = np.flatnonzero(np.isin(unique[:, 1], own))
        if not len(rows):
            continue
        lot = season.lots[lot_index]
        steps, at = np.unique(unique[rows, 2], return_inverse=True)
        p = np.minimum(seed_chance(season, lot_index, steps / STEPS), 1.0)
        per_unit = lot.record.seedlings_per_unit
        ok = chance(n_seeds, p, crop.plants_per_cell[0], seedlings_per_unit=per_unit)
        light = unique[rows, 3] / STEPS
        nodes[rows] = usable_frac(ok[at], light[:, None])
        weights[rows] = lot.weights
        _, share = thin_per_cell(
            n_seeds, p @ lot.weights, crop.plants_per_cell[1], seedlings_per_unit=per_unit
        )
        thin_share[rows] = share[at]
    return nodes, weights, thin_share


def _size_unique(
    season: Season, crop: Crop, choices: list[Option], groups: GroupTable, unique: IntArray
) -> tuple[Sizing, Sizing, NDArray[np.bool_]]:
    group, choice = unique[:, 0], unique[:, 1]
    nodes, weights, thin_share = _shares(season, crop, choices, unique)
    better = unique.copy()  # shares one step up: shortage is not overstated, the bound holds
    better[:, 2:] = np.minimum(better[:, 2:] + 1, int(STEPS))
    up, _, _ = _shares(season, crop, choices, better)
    top = up
    if crop.plants_per_cell[0] > 1:
        top, _, _ = _shares(season, crop, choices, better, cover=True)
    per_tray = np.array([c.path.first.cells for c in choices])[choice]
    last_cells = np.array([c.path.last.cells for c in choices])[choice]
    potted = np.array([c.path.potted_on for c in choices])[choice]
    per_cell_cost = np.array([cell_cost(season, c) for c in choices])[choice]
    needs, confidence = groups.needs[group], groups.confidence[group]
    total, plants = groups.total[group], groups.per_cell[group]
    fewest = np.ones(len(unique), dtype=np.int64)
    ok = np.ones(len(unique), dtype=bool)
    for m in range(needs.shape[1]):
        rows = np.flatnonzero(groups.orders[group, m] >= 0)
        if not len(rows):
            break
        found = quick_cells(
            needs[rows, m], confidence[rows, m], per_tray[rows], nodes[rows], weights[rows]
        )
        ok[rows] &= found >= 0
        fewest[rows] = np.maximum(fewest[rows], found)
    full = -(-fewest // per_tray) * per_tray
    prices = season.house.prices
    paying = cells_that_pay(
        fewest,
        full,
        per_cell_cost,
        np.asarray(plants * prices.short_plant, dtype=np.float64),
        np.asarray(plants * prices.surplus_plant, dtype=np.float64),
        total,
        per_tray,
        up,
        weights,
    )
    short_few, more_few = quick_short(total, fewest, per_tray, up, weights)
    short_best, more_best = quick_short(total, paying, per_tray, up, weights)
    mean = (nodes * weights).sum(axis=1)
    least = LeastMoney(season, per_tray, total, plants, fewest, full, per_cell_cost, top, weights)

    def sized(cells: IntArray, short: FloatArray, more: FloatArray) -> Sizing:
        n_last = np.where(potted, np.ceil(cells * mean - 1e-9).astype(np.int64), cells)
        return Sizing(
            ok,
            cells,
            -(-cells // per_tray),
            n_last,
            -(-n_last // last_cells),
            total,
            mean,
            short,
            more,
            cells * thin_share,
            *least.of(cells),
        )

    best = sized(paying, short_best, more_best)
    return best, sized(fewest, short_few, more_few), ok & (paying > 1.03 * fewest)


class LeastMoney:
    """Least that plans pay for shortage and surplus of candidates; docs/model.md section 9."""

    def __init__(
        self,
        season: Season,
        per_tray: IntArray,
        need: IntArray,
        plants: IntArray,
        fewest: IntArray,
        full: IntArray,
        cell_price: FloatArray,
        usable: FloatArray,
        weight: FloatArray,
    ) -> None:
        prices = season.house.prices
        self.stand = (per_tray, usable, weight)
        self.need, self.full = need, full
        brings = plants * prices.surplus_plant
        self.mean = (usable * weight).sum(axis=1) * (1.0 - TRAY_LOSS_FRAC)
        self.brings = brings
        self.short = np.maximum(plants * prices.short_plant - brings, 0.0)
        self.gain = np.maximum(brings - plants * prices.short_plant, 0.0) * need
        self.cell = cell_price - brings * self.mean
        self.cells = least_money_cells(
            fewest, full, self.cell, self.short, need, per_tray, usable, weight
        )

    def of(self, n_cells: IntArray) -> tuple[FloatArray, FloatArray]:
        """Money as the only sowing, and beside others, of candidates of so many cells."""
        _, usable, weight = self.stand
        m = np.maximum(self.cells, n_cells)
        alone = self.short * least_short(self.need, m, *self.stand) + self.cell * (m - n_cells)
        above = self.brings * (self.mean * n_cells - self.need) + self.gain
        more = self.full - n_cells
        beside = []
        for n_low in LOW_NODES:
            chance = weight[:, :n_low].sum(axis=1)
            good = (usable * weight)[:, :n_low].sum(axis=1) * (1.0 - TRAY_LOSS_FRAC)
            lack = self.short * (chance * self.need - good * n_cells)
            beside.append(lack + np.minimum(self.cell - self.short * good, 0.0) * more - above)
        return alone - above, np.stack(beside, axis=1)


def cell_cost(season: Season, option: Option) -> float:
    """Money that one more cell in a tray that is there anyway takes: seed and mix."""
    lot = season.lots[option.lot]
    seed = option.seeds_per_cell * lot.price_per_1000 / 1000.0
    container = option.path.first
    mix = container.cell_volume_ml / 1000.0 * (1.0 + WASTE_FRAC)
    mix *= season.house.prices.mix_per_l
    return seed + (mix if container.takes_mix else 0.0)
