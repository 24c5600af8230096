"""Cells to sow of candidates, their shortage and their surplus: model section 6, all at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.costs import seed_price
from sowbench.checking.stand import (
    EMERGENCE_FRAC,
    KEPT_FRAC,
    N_LOT,
    aged,
    aging_shift,
    cell_crowded,
    cell_ok,
)
from sowbench.domain.records import SeedLot
from sowbench.science.medium import WASTE_FRAC
from sowbench.science.quadrature import beta_nodes
from sowbench.science.quick_stand import cells_that_pay, quick_cells, quick_short

if TYPE_CHECKING:
    from sowbench.checking.candidates import Offers
    from sowbench.checking.routes import Routes
    from sowbench.checking.season import Season

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
STEPS: Final = 1000
"""Shares are sized in steps of 0.001."""


@dataclass(frozen=True, slots=True, eq=False)
class Sized:
    """Cells of candidates with what to expect of them, each of shape (N,).

    `cells` is 0 where no number of them is sure enough.
    """

    cells: Ints
    short: Floats
    surplus: Floats
    mean: Floats
    crowded: Floats


class Sizer:
    """Sizes candidates; those that agree in everything that counts are sized once."""

    def __init__(self, season: Season, constants: Mapping[str, Any]) -> None:
        self.season = season
        self.constants = constants

    def surroundings(self, routes: Routes) -> tuple[Ints, Ints]:
        """Emergence with lateness, and light, in steps rounded down, shape (B, S)."""
        emerges = np.stack(
            [(each.warm_frac @ self.season.w_weights) * each.on_time_frac for each in routes.lines]
        )
        light = np.stack([each.light_frac for each in routes.lines])
        return _steps(emerges), _steps(light)

    def nodes(self, lot: SeedLot) -> tuple[Floats, Floats]:
        """Germination of a lot on the first day and its weights, shape (9,)."""
        p, weight = beta_nodes(lot.n_normal + 1.0, lot.n_tested - lot.n_normal + 1.0, N_LOT)
        shift = aging_shift(lot, self.constants, self.season.inputs.from_date)
        return aged(p, shift), weight

    def size(self, offers: Offers) -> tuple[Sized, Sized]:
        """Size with the fewest cells, and with the number that pays."""
        way = offers.routes.way[offers.route]
        emerges, light = self.surroundings(offers.routes)
        keys = np.stack(
            (
                offers.group, offers.path, offers.lot, offers.seeds, emerges[way, offers.row],
                light[way, offers.row],
            ),
            axis=1,
        )  # fmt: skip
        unique, back = np.unique(keys, axis=0, return_inverse=True)
        few, paying = self._size(offers, unique)
        at = back.ravel()
        return _spread(few, at), _spread(paying, at)

    def _size(self, offers: Offers, unique: Ints) -> tuple[Sized, Sized]:
        """Size distinct cases."""
        group, path = unique[:, 0], unique[:, 1]
        usable, weight, crowded = self._usable(offers, unique)
        better = unique.copy()
        better[:, 4:] = np.minimum(better[:, 4:] + 1, STEPS)
        up = self._usable(offers, better)[0]
        tray = offers.first_cells[path]
        cells = np.ones(len(unique), dtype=np.int64)
        possible = np.ones(len(unique), dtype=bool)
        for m in range(offers.enough.shape[1]):
            rows = np.flatnonzero(offers.orders[group, m] >= 0)
            if not rows.size:
                break
            found = quick_cells(
                offers.enough[group[rows], m], offers.confidence[group[rows], m], tray[rows],
                usable[rows], weight[rows],
            )  # fmt: skip
            possible[rows] &= found >= 0
            cells[rows] = np.maximum(cells[rows], found)
        prices = self.season.house.prices
        plants = offers.per_cell[group].astype(np.float64)
        wanted = offers.wanted[group]
        most = cells_that_pay(
            cells, -(-cells // tray) * tray, self._cell_price(offers, unique),
            plants * prices.short_plant, plants * prices.surplus_plant, wanted, tray, up, weight,
        )  # fmt: skip
        mean = (usable * weight).sum(axis=1)

        def sized(n: Ints) -> Sized:
            short, surplus = quick_short(wanted, n, tray, up, weight)
            return Sized(np.where(possible, n, 0), short, surplus, mean, crowded)

        return sized(cells), sized(most)

    def _usable(self, offers: Offers, unique: Ints) -> tuple[Floats, Floats, Floats]:
        """Usable share at the lot's nodes with their weights, and share of cells to thin."""
        n = len(unique)
        usable, weights, crowded = np.zeros((n, N_LOT)), np.zeros((n, N_LOT)), np.zeros(n)
        crop = offers.routes.crop
        pairs, kind = np.unique(unique[:, 2:4], axis=0, return_inverse=True)
        kind = kind.ravel()
        for at, (number, seeds) in enumerate(pairs):
            rows = np.flatnonzero(kind == at)
            lot = offers.lots[int(number)]
            p, weight = self.nodes(lot)
            seed = np.minimum(unique[rows, 4, None] / STEPS * EMERGENCE_FRAC * p, 1.0)
            per_unit = lot.seedlings_per_unit
            ok = cell_ok(int(seeds), seed, crop.plants_per_cell[0], per_unit)
            usable[rows] = ok * KEPT_FRAC * (unique[rows, 5, None] / STEPS)
            weights[rows] = weight
            many = cell_crowded(int(seeds), seed, crop.plants_per_cell[1], per_unit)
            crowded[rows] = many @ weight
        return usable, weights, crowded

    def _cell_price(self, offers: Offers, unique: Ints) -> Floats:
        """Money for one more cell in the last tray: its seed and its mix."""
        crop = offers.routes.crop.id
        seed = np.array([seed_price(self.season, each, crop) for each in offers.lots])
        mix = np.array(
            [
                each.first.cell_volume_ml / 1000.0 * (1 + WASTE_FRAC) if each.first.takes_mix else 0
                for each in offers.paths
            ]
        )
        price = mix[unique[:, 1]] * self.season.house.prices.mix_per_l
        return np.asarray(seed[unique[:, 2]] * unique[:, 3] + price)


def _steps(share: Floats) -> Ints:
    """Shares in steps of 0.001, rounded down."""
    return np.floor(share * STEPS + 1e-9).astype(np.int64)


def _spread(sized: Sized, at: Ints) -> Sized:
    """Give each candidate the figures of its case."""
    return Sized(
        sized.cells[at], sized.short[at], sized.surplus[at], sized.mean[at], sized.crowded[at]
    )
