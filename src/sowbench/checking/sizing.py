"""Cells to sow of candidates, their shortage and their surplus: model section 6, all at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from sowbench.checking.costs import seed_price
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
from sowbench.domain.records import SeedLot
from sowbench.science.medium import WASTE_FRAC
from sowbench.science.quadrature import beta_nodes
from sowbench.science.quick_stand import cells_that_pay, quick_cells

if TYPE_CHECKING:
    from sowbench.checking.candidates import Offers
    from sowbench.checking.routes import Routes
    from sowbench.checking.season import Season

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
LACK_AT: Final = (0, 3, 4, 5, 6)
"""Lowest nodes of a lot at which the parts of an order may be taken to lack together."""
SMALL_CELLS: Final = 100
"""Up to so many wanted cells the bound keeps the spread of one tray."""
FEWER_FRAC: Final = 1.03
"""Fewest cells are a candidate of their own where those that pay are more than so many times."""
STEPS: Final = 1000
"""Shares are sized in steps of 0.001."""


@dataclass(frozen=True, slots=True, eq=False)
class Sized:
    """Cells of candidates with what to expect of them, each of shape (N,).

    `cells` is 0 where no number of them is sure enough. `least` and `none` are the money that plans
    pay for shortage and surplus at the least: as the only sowing of the orders, and with others, of
    shape (N, 5) for the nodes of `LACK_AT`.
    """

    cells: Ints
    least: Floats
    none: Floats
    mean: Floats
    crowded: Floats

    def take(self, rows: Ints) -> Sized:
        """Keep some candidates."""
        return _spread(self, rows)


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
        top = self._usable(offers, better, covered=True)[0]
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

        brings = plants * prices.surplus_plant
        worth = plants * prices.short_plant - brings
        per_cell = self._cell_price(offers, unique)
        kept = (top * weight).sum(axis=1) * (1 - TRAY_LOSS_FRAC)
        per_cell = per_cell - brings * kept
        full = -(-cells // tray) * tray

        def short(n: Ints) -> Floats:
            return np.maximum(worth, 0.0) * short_at_means(wanted, n, tray, top, weight)

        def beside(n: Ints) -> Floats:
            """Shortage with others of the lot, if all lack at so many of its lowest nodes."""
            rows = []
            for nodes in LACK_AT:
                share = weight[:, :nodes]
                brought = np.maximum(worth, 0.0) * (1 - TRAY_LOSS_FRAC)
                brought = brought * (share * top[:, :nodes]).sum(axis=1)
                lack = np.maximum(worth, 0.0) * share.sum(axis=1) * wanted - brought * n
                rows.append(lack + np.minimum(per_cell - brought, 0.0) * (full - n))
            return np.stack(rows, axis=1)

        best = lowest(lambda n: short(n) + per_cell * n, cells, full)

        def sized(n: Ints) -> Sized:
            above = brings * (kept * n - wanted) + np.maximum(-worth, 0.0) * wanted
            added = np.maximum(best, n)
            least = short(added) + per_cell * (added - n) - above
            none = beside(n) - above[:, None]
            return Sized(np.where(possible, n, 0), least, none, mean, crowded)

        few = sized(cells)
        apart = most > FEWER_FRAC * cells
        return replace(few, cells=np.where(apart, few.cells, 0)), sized(most)

    def _usable(
        self, offers: Offers, unique: Ints, *, covered: bool = False
    ) -> tuple[Floats, Floats, Floats]:
        """Usable share at the lot's nodes with their weights, and share of cells to thin.

        Covered shares are at least the mean over the weather.
        """
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
            if covered and crop.plants_per_cell[0] > 1:
                ok = np.maximum(ok, _covered(int(seeds), seed, crop.plants_per_cell[0], per_unit))
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


def _covered(seeds: int, p: Floats, plants: int, per_unit: float) -> Floats:
    """Straight line from 0 that touches the chance of a good cell, up to where it does."""
    at = np.arange(1, STEPS + 1) / STEPS
    rises = cell_ok(seeds, at, plants, per_unit) / at
    steepest = np.array([rises[k:].max() for k in range(STEPS)])
    next_step = np.clip(np.ceil(p * STEPS).astype(np.int64), 1, STEPS) - 1
    return np.asarray(np.minimum(p * steepest[next_step] * (1 + 1e-6), 1.0))


def short_at_means(wanted: Ints, n: Ints, tray: Ints, usable: Floats, weight: Floats) -> Floats:
    """Cells short if in every case of lost trays as many are usable as on average."""
    loss, keep = TRAY_LOSS_FRAC, 1 - TRAY_LOSS_FRAC
    n_full = np.ceil(n / tray) - 1
    last = n - n_full * tray
    stay = keep ** (n_full + 1)
    cases = [(stay, n + 0.0), (n_full * loss * keep**n_full, n - tray + 0.0)]
    cases.append((loss * keep**n_full, n - last))
    rest = 1 - sum(chance for chance, _ in cases)
    some = rest > 1e-12
    left = keep * n - sum(chance * cells for chance, cells in cases)
    cases.append((np.where(some, rest, 0.0), np.where(some, left / np.where(some, rest, 1.0), 0.0)))
    short = np.zeros(n.size)
    for chance, cells in cases:
        lacks = wanted[:, None] - np.maximum(cells, 0.0)[:, None] * usable
        lacks = np.maximum(lacks, 0.0)
        small = np.flatnonzero(wanted <= SMALL_CELLS)
        if cells is cases[0][1] and small.size:  # no tray lost: one of them is not at its mean
            tray_cells = np.minimum(n, tray)[small]
            rest = (n[small] - tray_cells)[:, None] * usable[small]
            lacks[small] = one_tray_short(wanted[small, None] - rest, tray_cells, usable[small])
        short += chance * (lacks * weight).sum(axis=1)
    return short


def one_tray_short(wanted: Floats, cells: Ints, usable: Floats) -> Floats:
    """Expected shortage of a beta-binomial tray, added up from no usable cell on."""
    share = np.clip(usable, 1e-9, 1 - 1e-9)
    alpha, beta = share * (1 / RHO_TRAY - 1), (1 - share) * (1 / RHO_TRAY - 1)
    n = np.broadcast_to(cells[:, None].astype(np.float64), share.shape)
    log = gammaln(n + beta) - gammaln(beta)
    log += gammaln(alpha + beta) - gammaln(n + alpha + beta)
    short = np.zeros(share.shape)
    for k in range(max(int(np.ceil(wanted.max())), 0)):
        short += np.maximum(wanted - k, 0.0) * np.where(n >= k, np.exp(log), 0.0)
        more = np.log(np.maximum(n - k, 1e-300)) - np.log(np.maximum(n - k - 1 + beta, 1e-12))
        log = np.minimum(log + more + np.log((k + alpha) / (k + 1)), 0.0)
    return short


def lowest(money: Callable[[Ints], Floats], least: Ints, most: Ints) -> Ints:
    """Number from least to most at which money that falls and then rises is lowest."""
    low, high = least.copy(), np.maximum(most, least)
    while np.any(low < high):
        middle = (low + high) // 2
        falls = money(middle + 1) < money(middle)
        active = low < high
        low = np.where(active & falls, middle + 1, low)
        high = np.where(active & ~falls, middle, high)
    return low


def _steps(share: Floats) -> Ints:
    """Shares in steps of 0.001, rounded down."""
    return np.floor(share * STEPS + 1e-9).astype(np.int64)


def _spread(sized: Sized, at: Ints) -> Sized:
    """Give each candidate the figures of its case."""
    return Sized(
        sized.cells[at], sized.least[at], sized.none[at], sized.mean[at], sized.crowded[at]
    )
