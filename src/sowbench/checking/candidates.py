"""Candidates of a crop under a rule as flat arrays: orders, containers, lots, seeds, days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.chances import plants_per_cell
from sowbench.checking.costs import LATE_CAP_D
from sowbench.checking.routes import Climates, Routes
from sowbench.checking.season import Season
from sowbench.checking.timing import LATE_MOST_D
from sowbench.checking.ways import ContainerPath, admissible_lots
from sowbench.domain.records import Crop, Order, Pin, SeedLot
from sowbench.science.ready_chance import screen_in_time

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

GROUP_MOST = 4
MORE_SEEDS_MOST = 2


@dataclass(frozen=True, slots=True)
class Group:
    """Orders that follow each other and may share a sowing, in their turn, with open plants."""

    orders: tuple[Order, ...]
    plants: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Offers:
    """Ways to sow groups of orders: G groups, K container paths, L lots, N candidates.

    Parameters
    ----------
    routes : Routes
        Where and when.
    members : tuple of Order
        All orders of the groups.
    paths, lots : tuple
        Containers and lots that candidates name by number.
    orders : ndarray of int, shape (G, 4)
        Members of each group in their turn, -1 without.
    plants : ndarray of int, shape (G, 4)
        Plants of each member.
    enough : ndarray of int, shape (G, 4)
        Usable cells that count as enough for each member and those before it.
    confidence : ndarray, shape (G, 4)
        Chance of enough that each asks for.
    wanted, per_cell : ndarray of int, shape (G,)
        Usable cells wanted of all, and plants in a cell.
    group, path, lot, seeds, route, row : ndarray of int, shape (N,)
        What each candidate is: numbers, seeds in a cell, and sowing day of the route.
    hand_over : ndarray of int, shape (N, 4)
        Days of handing over, -1 without.
    """

    routes: Routes
    members: tuple[Order, ...]
    paths: tuple[ContainerPath, ...]
    lots: tuple[SeedLot, ...]
    orders: Ints
    plants: Ints
    enough: Ints
    confidence: Floats
    wanted: Ints
    per_cell: Ints
    group: Ints
    path: Ints
    lot: Ints
    seeds: Ints
    route: Ints
    row: Ints
    hand_over: Ints

    @property
    def first_cells(self) -> Ints:
        """Cells of the container sown in, by path."""
        return np.array([each.first.cells for each in self.paths], dtype=np.int64)

    def take(self, rows: Ints) -> Offers:
        """Keep some candidates."""
        return Offers(
            self.routes, self.members, self.paths, self.lots, self.orders, self.plants,
            self.enough, self.confidence, self.wanted, self.per_cell, self.group[rows],
            self.path[rows], self.lot[rows], self.seeds[rows], self.route[rows], self.row[rows],
            self.hand_over[rows],
        )  # fmt: skip


class Enumerator:
    """Enumerates the candidates of groups, and prices what depends on their days alone."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self.pins: dict[str, list[Pin]] = {}
        for pin in season.pins:
            self.pins.setdefault(pin.target, []).append(pin)

    def offers(
        self, groups: Sequence[Group], paths: Sequence[Sequence[ContainerPath]], routes: Routes
    ) -> Offers | None:
        """Give every candidate of some groups, each with the container paths of its own."""
        climates = Climates(self.season, routes.crop)
        by_name = {(each.first.id, each.last.id): each for own in paths for each in own}
        path_number = {name: at for at, name in enumerate(by_name)}
        members = tuple(dict.fromkeys(order for group in groups for order in group.orders))
        lots = tuple(
            dict.fromkeys(lot for each in members for lot in admissible_lots(self.season, each))
        )
        parts: list[tuple[Ints, ...]] = []
        for number, (group, own) in enumerate(zip(groups, paths, strict=True)):
            route, row, hand = self._days(group.orders, routes)
            begin = np.where(hand >= 0, hand, hand.max(axis=1)[:, None]).min(axis=1)
            good = climates.allow(routes, route, row, begin, hand.max(axis=1))
            good &= self._pinned(group.orders, routes, route, row)
            route, row, hand = route[good], row[good], hand[good]
            for lot in admissible_lots(self.season, group.orders[0]):
                there = np.flatnonzero(self._in_time(lot, routes.sow[row]))
                for path in own if there.size else ():
                    if not self._container_pinned(group.orders, path):
                        continue
                    number_of_path = path_number[path.first.id, path.last.id]
                    for seeds in self._seeds(group.orders, routes.crop, lot):
                        same = np.ones(there.size, dtype=np.int64)
                        parts.append((
                            number * same, number_of_path * same, lots.index(lot) * same,
                            seeds * same, route[there], row[there], hand[there],
                        ))  # fmt: skip
        if not parts:
            return None
        return Offers(
            routes, members, tuple(by_name.values()), lots, *self._needs(groups, members),
            *(np.concatenate(each) for each in zip(*parts, strict=True)),
        )  # fmt: skip

    def _needs(
        self, groups: Sequence[Group], members: Sequence[Order]
    ) -> tuple[Ints, Ints, Ints, Floats, Ints, Ints]:
        """Members of the groups, with what they want and what counts as enough."""
        shape = (len(groups), GROUP_MOST)
        orders, plants, enough = (np.full(shape, fill, dtype=np.int64) for fill in (-1, 0, 0))
        confidence = np.zeros(shape)
        wanted = np.zeros(len(groups), dtype=np.int64)
        number = {each.id: at for at, each in enumerate(members)}
        for g, group in enumerate(groups):
            before = 0
            for m, (order, n) in enumerate(zip(group.orders, group.plants, strict=True)):
                cells, whole = self.season.wanted_cells(order, n), self.season.wanted_cells(order)
                fills = int(np.ceil(order.min_frac * whole - 1e-9)) - (whole - cells)
                orders[g, m], plants[g, m] = number[order.id], n
                enough[g, m] = before + max(fills, 0)
                confidence[g, m] = self.season.confidence(order)
                before += cells
            wanted[g] = before
        per_cell = [plants_per_cell(self.season, each.orders[0]) for each in groups]
        return orders, plants, enough, confidence, wanted, np.array(per_cell, dtype=np.int64)

    def _days(self, orders: Sequence[Order], routes: Routes) -> tuple[Ints, Ints, Ints]:
        """Routes and sowing days that are ready in time and not overgrown, with handing over."""
        season, n_days = self.season, self.season.n_days
        ready = routes.ready[routes.way]
        good = (routes.leave[routes.way] < n_days) & (ready < n_days)
        hand = np.full((*ready.shape, GROUP_MOST), -1, dtype=np.int64)
        for m, order in enumerate(orders):
            early, late = season.index(order.earliest_date), season.index(order.latest_date)
            wanted = min(max(season.index(order.wanted_date), early), late)
            day = np.where(ready > late, ready, np.maximum(ready, wanted))
            good &= (ready <= late + LATE_MOST_D) & (day < routes.open_until)
            hand[:, :, m] = day
        route, row = np.nonzero(good)
        return route, row, hand[route, row]

    def _in_time(self, lot: SeedLot, sown: Ints) -> Flags:
        """Tell whether a lot is there on sowing days, and not past its date."""
        there = np.ones(sown.size, dtype=bool)
        if lot.arrives_on is not None:
            there &= sown >= self.season.index(lot.arrives_on)
        if lot.use_by is not None:
            there &= sown <= self.season.index(lot.use_by)
        return there

    def _seeds(self, orders: Sequence[Order], crop: Crop, lot: SeedLot) -> list[int]:
        """Seeds per cell: what a pin says, else the usual number and up to two more."""
        pinned = {
            pin.seeds_per_cell
            for order in orders
            for pin in self.pins.get(order.id, [])
            if pin.seeds_per_cell is not None
        }
        if pinned:
            return sorted(pinned) if len(pinned) == 1 else []
        usual = crop.seeds_per_cell
        most = min(max(crop.max_seeds_per_cell, usual), usual + MORE_SEEDS_MOST)
        return [usual] if lot.pelleted or lot.primed else list(range(usual, most + 1))

    def _container_pinned(self, orders: Sequence[Order], path: ContainerPath) -> bool:
        """Tell whether the pins allow a container path."""
        pins = [pin for order in orders for pin in self.pins.get(order.id, [])]
        names = {path.first.id, path.last.id}
        return all(not pin.container or pin.container in names for pin in pins)

    def _pinned(self, orders: Sequence[Order], routes: Routes, route: Ints, row: Ints) -> Flags:
        """Tell which candidates the pins on places and days allow."""
        season = self.season
        names = list(season.places)
        good = np.ones(route.size, dtype=bool)
        sown = routes.sow[row]
        for order in orders:
            for pin in self.pins.get(order.id, []):
                if pin.place:
                    good &= np.array([each == pin.place for each in names])[routes.grow[route]]
                if pin.sow_date is not None:
                    good &= sown == season.index(pin.sow_date)
                if pin.not_before is not None:
                    good &= sown >= season.index(pin.not_before)
                if pin.not_after is not None:
                    good &= sown <= season.index(pin.not_after)
        return good

    def late_money(self, offers: Offers) -> Floats:
        """Money for the expected days late."""
        season, routes = self.season, offers.routes
        ready = np.ceil(routes.ready_day - 1e-9)
        expected = np.stack(
            [
                np.clip(ready - season.index(each.latest_date), 0.0, LATE_CAP_D)
                @ season.z_weights
                @ season.w_weights
                for each in offers.members
            ]
        )
        way = routes.way[offers.route]
        money = np.zeros(offers.group.size)
        for m in range(GROUP_MOST):
            member = offers.orders[offers.group, m]
            late = expected[member, way, offers.row] * offers.plants[offers.group, m]
            money += np.where(member >= 0, late, 0.0)
        return season.house.prices.late_plant_day * money

    def overgrown_money(self, offers: Offers) -> Floats:
        """Money for being overgrown when handed over."""
        season, routes = self.season, offers.routes
        money = np.zeros(offers.group.size)
        late = np.array([season.index(each.latest_date) for each in offers.members])
        for m in range(GROUP_MOST):
            member = offers.orders[offers.group, m]
            rows = np.flatnonzero(member >= 0)
            if not rows.size:
                continue
            keys = np.stack(
                (offers.route[rows], offers.row[rows], offers.hand_over[rows, m]), axis=1
            )
            unique, back = np.unique(keys, axis=0, return_inverse=True)
            route, row, day = unique.T
            over = routes.overgrown_day[route, row]
            screened = screen_in_time(
                routes.ready_day[routes.way[route], row], over, day, np.maximum(day, late.min()),
                day, season.w_weights,
            )  # fmt: skip
            plants = offers.plants[offers.group[rows], m]
            money[rows] += plants * screened.overgrown_frac[back.ravel()]
        return season.house.prices.overgrown_plant * money
