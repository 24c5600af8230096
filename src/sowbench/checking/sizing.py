"""Cells to sow of a candidate, its shortage and its surplus, for many sowing days at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from sowbench.checking.chances import plants_per_cell
from sowbench.checking.costs import MIX_WASTE_FRAC, seed_price
from sowbench.checking.routes import Route
from sowbench.checking.season import Season
from sowbench.checking.stand import (
    EMERGENCE_FRAC,
    KEPT_FRAC,
    N_LOT,
    RHO_TRAY,
    TRAY_LOSS_FRAC,
    aged,
    aging_shift,
    cell_crowded,
    cell_ok,
)
from sowbench.checking.ways import ContainerPath
from sowbench.domain.records import Order, SeedLot
from sowbench.science.quadrature import beta_nodes
from sowbench.science.tray_chances import cells_for_confidence, chances_at

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SURELY_FRAC: Final = 0.96
"""Share of the cells by the normal formula that is hardly ever too many."""
_N_BINS: Final = 15
N_HALVES: Final = 11
SQRT_TAU: Final = float(np.sqrt(2 * np.pi))


@dataclass(frozen=True, slots=True, eq=False)
class Emerging:
    """Usable cells of one lot and number of seeds on all days of a route.

    Parameters
    ----------
    usable : ndarray, shape (S, 15)
        Usable share, weather and germination taken together in 15 steps.
    weights : ndarray, shape (S, 15)
        Their weights.
    mean, spread : ndarray, shape (S,)
        Mean and standard deviation of the usable share.
    crowded : ndarray, shape (S,)
        Share of cells to thin.
    """

    usable: Floats
    weights: Floats
    mean: Floats
    spread: Floats
    crowded: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Sized:
    """Cells of candidates with what to expect of them."""

    cells: Ints
    short: Floats
    surplus: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Offered:
    """Sowing days of a group on one route from one lot with so many seeds a cell.

    Parameters
    ----------
    orders, plants : tuple
        Orders in their turn, and the plants of each.
    enough : tuple of int
        Usable cells that count as enough for each order and those before it.
    wanted : int
        Usable cells wanted of all.
    path : ContainerPath
        Containers.
    route : Route
        Where and when.
    lot : SeedLot
        Seed.
    seeds : int
        Seeds in a cell.
    rows : ndarray of int, shape (D,)
        Which of the route's sowing days.
    hand_over : ndarray of int, shape (D, n_orders)
        Days of handing over.
    late_money : ndarray, shape (D,)
        Money for expected lateness.
    stand : Emerging
        Usable cells on all days of the route.
    """

    orders: tuple[Order, ...]
    plants: tuple[int, ...]
    enough: tuple[int, ...]
    wanted: int
    path: ContainerPath
    route: Route
    lot: SeedLot
    seeds: int
    rows: Ints
    hand_over: Ints
    late_money: Floats
    stand: Emerging


class Sizer:
    """Sizes candidates; what does not depend on toning and holding is kept."""

    def __init__(self, season: Season, constants: Mapping[str, Any]) -> None:
        self.season = season
        self.constants = constants
        self._stands: dict[tuple[object, ...], Emerging] = {}

    def forget(self) -> None:
        """Drop what was kept for another crop."""
        self._stands.clear()

    def stand(self, route: Route, lot: SeedLot, seeds: int) -> Emerging:
        """Return usable cells on all days of a route."""
        key = (route.rule, route.course.germinate, route.course.grow, lot.id, seeds)
        if key not in self._stands:
            self._stands[key] = self._emerging(route, lot, seeds)
        return self._stands[key]

    def _emerging(self, route: Route, lot: SeedLot, seeds: int) -> Emerging:
        """Work out the usable share at the nodes, and bring them into fifteen steps."""
        season, line, crop = self.season, route.line, route.crop
        p, weight = beta_nodes(lot.n_normal + 1.0, lot.n_tested - lot.n_normal + 1.0, N_LOT)
        shifts = [aging_shift(lot, self.constants, season.day(each)) for each in route.sow]
        old = p[None, :]
        if any(shifts):
            old = np.stack([aged(p, each) for each in shifts])
        frac = line.warm_frac * (EMERGENCE_FRAC * line.on_time_frac)[:, None]
        seed = np.clip(frac[:, :, None] * old[:, None, :], 0.0, 1.0)
        ok = cell_ok(seeds, seed, crop.plants_per_cell[0], lot.seedlings_per_unit)
        usable = (ok * KEPT_FRAC * line.light_frac[:, None, None]).reshape(route.sow.size, -1)
        weights = (season.w_weights[:, None] * weight[None, :]).ravel()
        middle = seed[:, season.w_nodes.size // 2]
        crowded = cell_crowded(seeds, middle, crop.plants_per_cell[1], lot.seedlings_per_unit)
        mean = usable @ weights
        spread = np.sqrt(np.maximum((usable**2) @ weights - mean**2, 0.0))
        order = np.argsort(usable, axis=1)
        sorted_u = np.take_along_axis(usable, order, 1).reshape(route.sow.size, _N_BINS, -1)
        sorted_w = weights[order].reshape(sorted_u.shape)
        mass = sorted_w.sum(axis=2)
        steps = (sorted_u * sorted_w).sum(axis=2) / mass
        return Emerging(steps, mass, mean, spread, np.asarray(crowded @ weight))

    def least_cells(self, offered: Offered) -> Floats:
        """Cells that are hardly ever too many: the normal formula, with something taken off."""
        stand, rows = offered.stand, offered.rows
        u = np.maximum(stand.mean[rows], 1e-3)
        tray = offered.path.first.cells
        most = np.zeros(rows.size)
        for order, need in zip(offered.orders, offered.enough, strict=True):
            z = max(float(ndtri(self.season.confidence(order))), 0.0)
            n = need / u
            for _ in range(2):
                inner = n * u * (1 - u) * (1 + (np.minimum(n, tray) - 1) * RHO_TRAY)
                sd = np.sqrt(np.maximum(inner + (n * stand.spread[rows]) ** 2, 0.0))
                n = (need + z * sd) / u
            most = np.maximum(most, np.maximum(_SURELY_FRAC * n, need))
        return np.ceil(most)

    def rough(self, offered: Offered, near: Ints) -> Sized:
        """Size by normal formulas: near enough to tell which candidates deserve exact figures."""
        rows, tray = offered.rows[near], offered.path.first.cells
        u, weight = offered.stand.usable[rows], offered.stand.weights[rows]
        least = self.least_cells(offered)[near]
        cells = least.copy()
        for order, need in zip(offered.orders, offered.enough, strict=True):
            # Between hardly ever too many and the most cells that are tried at all.
            few, many = least - 1, np.full(rows.size, 4.0 * need + 50)
            many = np.minimum(many, 2 * least + 20)
            for _ in range(N_HALVES):
                middle = np.ceil((few + many) / 2)
                chance = np.zeros(rows.size)
                for way, mean, sd in _losses(middle, u, tray):
                    at_least = ndtr((mean - need + 0.5) / sd)
                    chance += way * np.sum(weight * at_least, axis=1)
                enough = chance >= self.season.confidence(order)
                few, many = np.where(enough, few, middle), np.where(enough, middle, many)
            cells = np.maximum(cells, many)
        low = np.ceil(cells)
        high = np.ceil(low / tray) * tray
        worth = self.season.house.prices.short_plant
        worth *= plants_per_cell(self.season, offered.orders[0])
        least_gain = self._cell_price(offered) / worth if worth > 0 else np.inf
        active = np.flatnonzero(low < high)
        active = active[self._pays(offered, low, u, weight, active) > least_gain]
        while active.size:
            middle = np.floor((low[active] + high[active]) / 2)
            trial = low.copy()
            trial[active] = middle
            pays = self._pays(offered, trial, u, weight, active) > least_gain
            low[active[pays]] = middle[pays] + 1
            high[active[~pays]] = middle[~pays]
            active = active[low[active] < high[active]]
        short, expected = np.zeros(rows.size), np.zeros(rows.size)
        for way, mean, sd in _losses(low, u, tray):
            x = (offered.wanted - mean) / sd
            missing = sd * (x * ndtr(x) + np.exp(-0.5 * x * x) / SQRT_TAU)
            short += way * np.sum(weight * missing, axis=1)
            expected += way * np.sum(weight * mean, axis=1)
        surplus = np.maximum(expected - offered.wanted + short, 0.0)
        return Sized(low.astype(np.int64), short, surplus)

    def _pays(
        self, offered: Offered, cells: Floats, usable: Floats, weight: Floats, which: Ints
    ) -> Floats:
        """Return the shortage that one more cell takes away, by normal formulas."""
        gain = np.zeros(which.size)
        tray = offered.path.first.cells
        for way, mean, sd in _losses(cells[which], usable[which], tray):
            below = ndtr((offered.wanted - 0.5 - mean) / sd)
            gain += way * np.sum(weight[which] * usable[which] * below, axis=1)
        return gain

    def exact(self, offered: Offered, near: Ints) -> Sized:
        """Size exactly: fewest cells that are sure enough, then more while one pays for itself.

        Cells are 0 where no number of them is sure enough.
        """
        rows, tray = offered.rows[near], offered.path.first.cells
        usable, weights = offered.stand.usable[rows], offered.stand.weights[rows]
        cells = np.zeros(rows.size, dtype=np.int64)
        possible = np.ones(rows.size, dtype=bool)
        for order, need in zip(offered.orders, offered.enough, strict=True):
            found = cells_for_confidence(
                np.full(rows.size, need), self.season.confidence(order), tray, usable, weights
            )
            possible &= found > 0
            cells = np.maximum(cells, found)
        cells = np.where(possible, cells, offered.wanted)
        worth = self.season.house.prices.short_plant
        worth *= plants_per_cell(self.season, offered.orders[0])
        least_gain = self._cell_price(offered) / worth if worth > 0 else np.inf
        low, high = cells.copy(), -(-cells // tray) * tray

        def gain(at: Ints, which: Ints) -> Floats:
            first = self._expect(offered, at, usable[which], weights[which])[0]
            return first - self._expect(offered, at + 1, usable[which], weights[which])[0]

        active = np.flatnonzero(low < high)
        active = active[gain(low[active], active) > least_gain] if active.size else active
        while active.size:
            middle = (low[active] + high[active]) // 2
            pays = gain(middle, active) > least_gain
            low[active[pays]] = middle[pays] + 1
            high[active[~pays]] = middle[~pays]
            active = active[low[active] < high[active]]
        short, surplus = self._expect(offered, low, usable, weights)
        return Sized(np.where(possible, low, 0), short, surplus)

    def _cell_price(self, offered: Offered) -> float:
        """Money for one more cell in the last tray: its seed and its mix."""
        price = seed_price(self.season, offered.lot, offered.route.crop.id) * offered.seeds
        if offered.path.first.takes_mix:
            liters = offered.path.first.cell_volume_ml / 1000.0 * (1 + MIX_WASTE_FRAC)
            price += liters * self.season.house.prices.mix_per_l
        return price

    def _expect(
        self, offered: Offered, cells: Ints, usable: Floats, weights: Floats
    ) -> tuple[Floats, Floats]:
        """Expected cells short and above."""
        _, short, surplus = chances_at(
            np.full(cells.size, offered.wanted), cells, offered.path.first.cells, usable, weights,
            RHO_TRAY, TRAY_LOSS_FRAC,
        )  # fmt: skip
        return short, surplus


def _losses(cells: Floats, usable: Floats, tray: int) -> Iterator[tuple[Floats, Floats, Floats]]:
    """Give chance, mean and standard deviation of the usable cells by the trays lost.

    None, one full tray, the last tray, or two full trays; more are left out and the rest scaled.
    """
    n_full = np.maximum(np.ceil(cells / tray) - 1, 0.0)
    last = cells - n_full * tray
    odds = TRAY_LOSS_FRAC / (1 - TRAY_LOSS_FRAC)
    two = n_full * np.maximum(n_full - 1, 0.0) / 2 * odds**2
    ways = (np.ones_like(cells), n_full * odds, np.full_like(cells, odds), two)
    left = (cells, cells - tray, cells - last, cells - 2 * tray)
    total = np.sum(ways, axis=0)
    for way, some in zip(ways, left, strict=True):
        n = np.maximum(some, 0.0)[:, None]
        size = np.minimum(np.maximum(n, 1.0), tray)
        variance = n * usable * (1 - usable) * (1 + (size - 1) * RHO_TRAY)
        yield way / total, n * usable, np.sqrt(np.maximum(variance, 1e-6))
