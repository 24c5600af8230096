"""Candidates at a plan's prices: on which days orders may be sown, and how cheaply."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.chances import plants_per_cell
from sowbench.checking.costs import LATE_CAP_D
from sowbench.checking.hands import Rates
from sowbench.checking.prices import Tariff, is_given
from sowbench.checking.pricing import Pricer
from sowbench.checking.rooms import stays, step_area
from sowbench.checking.routes import Calendar, Climates, Route, is_open
from sowbench.checking.season import Season
from sowbench.checking.sizing import Offered, Sized, Sizer
from sowbench.checking.timing import LATE_MOST_D
from sowbench.checking.ways import ContainerPath, admissible_lots
from sowbench.domain.records import Order, Pin
from sowbench.science.ready_chance import screen_in_time

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Evaluator:
    """Prices candidates with the house's money and the plan's shadow prices."""

    def __init__(
        self, season: Season, tariff: Tariff, rates: Rates, calendar: Calendar, sizer: Sizer
    ) -> None:
        self.season = season
        self.sizer = sizer
        self.pricer = Pricer(season, tariff, rates, calendar)
        self.pins: dict[str, list[Pin]] = {}
        for pin in season.pins:
            self.pins.setdefault(pin.target, []).append(pin)

    def given_room(self) -> float:
        """Money for the room of what stands already."""
        money = 0.0
        first = self.season.inputs.from_date
        for sowing, step, container, units in stays(self.season):
            place = self.season.places.get(step.place)
            if place is not None and is_given(self.season, sowing.sowing):
                days = max((step.to_date - max(step.from_date, first)).days, 0)
                area = units * container.area_m2
                if place.n_positions is None:
                    area = step_area(step, container, units)
                money += area * days * place.price_per_m2_day
        return money

    def offers(
        self,
        orders: tuple[Order, ...],
        plants: tuple[int, ...],
        path: ContainerPath,
        route: Route,
        climates: Climates,
    ) -> Iterator[Offered]:
        """Give the days on which orders can be sown together, by lot and seeds per cell."""
        season = self.season
        rows, hand_over = self._days(orders, route)
        if not rows.size:
            return
        good = is_open(season, climates, route, rows, hand_over)
        good &= self._pinned(orders, path, route, rows)
        rows, hand_over = rows[good], hand_over[good]
        if not rows.size:
            return
        late = self._late_money(orders, plants, route, rows)
        enough, wanted = self._needs(orders, plants)
        for lot in admissible_lots(season, orders[0]):
            there = np.ones(rows.size, dtype=bool)
            if lot.arrives_on is not None:
                there &= route.sow[rows] >= season.index(lot.arrives_on)
            if lot.use_by is not None:
                there &= route.sow[rows] <= season.index(lot.use_by)
            if not there.any():
                continue
            days = rows[there]
            for seeds in self._seeds(orders, route):
                yield Offered(
                    orders, plants, enough, wanted, path, route, lot, seeds, days,
                    hand_over[there], late[there], self.sizer.stand(route, lot, seeds),
                )  # fmt: skip

    def _needs(self, orders: Sequence[Order], plants: Sequence[int]) -> tuple[tuple[int, ...], int]:
        """Cells that count as enough for each order in its turn, and cells wanted of all."""
        before, enough = 0, []
        for order, n in zip(orders, plants, strict=True):
            wanted = self.season.wanted_cells(order, n)
            enough.append(before + int(np.ceil(order.min_frac * wanted - 1e-9)))
            before += wanted
        return tuple(enough), before

    def _seeds(self, orders: Sequence[Order], route: Route) -> list[int]:
        """Seeds per cell that the crop and the pins allow."""
        pinned = {
            pin.seeds_per_cell
            for order in orders
            for pin in self.pins.get(order.id, [])
            if pin.seeds_per_cell is not None
        }
        every = range(1, route.crop.max_seeds_per_cell + 1)
        return [each for each in every if not pinned or pinned == {each}]

    def _pinned(
        self, orders: Sequence[Order], path: ContainerPath, route: Route, rows: Ints
    ) -> NDArray[np.bool_]:
        """Tell which sowing days the pins allow."""
        good = np.ones(rows.size, dtype=bool)
        for order in orders:
            for pin in self.pins.get(order.id, []):
                if pin.container and pin.container not in {path.first.id, path.last.id}:
                    good[:] = False
                if pin.place and pin.place != route.course.grow[0][0]:
                    good[:] = False
                sown = route.sow[rows]
                if pin.sow_date is not None:
                    good &= sown == self.season.index(pin.sow_date)
                if pin.not_before is not None:
                    good &= sown >= self.season.index(pin.not_before)
                if pin.not_after is not None:
                    good &= sown <= self.season.index(pin.not_after)
        return good

    def _days(self, orders: Sequence[Order], route: Route) -> tuple[Ints, Ints]:
        """Sowing days that are ready in time and not overgrown, with the days of handing over."""
        ready, season = route.ready, self.season
        good = (route.leave < season.n_days) & (ready < season.n_days)
        columns = []
        for order in orders:
            early, late = season.index(order.earliest_date), season.index(order.latest_date)
            wanted = min(max(season.index(order.wanted_date), early), late)
            day = np.where(ready > late, ready, np.maximum(ready, wanted))
            good &= ready <= late + LATE_MOST_D
            good &= day < route.open_until
            columns.append(day)
        rows = np.flatnonzero(good)
        return rows, np.stack(columns, axis=1)[rows]

    def _late_money(
        self, orders: Sequence[Order], plants: Sequence[int], route: Route, rows: Ints
    ) -> Floats:
        """Money for the expected days late."""
        season = self.season
        ready = np.ceil(route.line.ready_day[rows] - 1e-9)
        money = np.zeros(rows.size)
        for order, n in zip(orders, plants, strict=True):
            late = np.clip(ready - season.index(order.latest_date), 0.0, LATE_CAP_D)
            expected = (late @ season.z_weights) @ season.w_weights
            money += season.house.prices.late_plant_day * n * expected
        return money

    def rough(self, offered: Offered, target: float) -> tuple[Ints, Floats]:
        """Return the days that may be below a target, with their rough reduced cost."""
        near = np.arange(offered.rows.size)
        cells = self.sizer.least_cells(offered)
        floor = self.pricer.reduced(offered, cells, near) + offered.late_money
        # No more can be got for surplus than for every usable cell.
        most = cells + offered.path.first.cells
        floor -= self.season.house.prices.surplus_plant * most
        near = near[floor < target]
        if not near.size:
            return near, np.empty(0)
        sized = self.sizer.rough(offered, near)
        money = self.pricer.reduced(offered, sized.cells.astype(np.float64), near)
        money += offered.late_money[near] + self._chance_money(offered, sized)
        near, money = near[money < target], money[money < target]
        if near.size:
            money += self.overgrown_money(offered, near)
        return near, money

    def exact(self, offered: Offered, day: int) -> float:
        """Return the reduced cost of one day; infinite if it cannot be sure enough."""
        near = np.array([day])
        sized = self.sizer.exact(offered, near)
        if sized.cells[0] <= 0:
            return np.inf
        money = self.pricer.reduced(offered, sized.cells.astype(np.float64), near)
        money += offered.late_money[near] + self._chance_money(offered, sized)
        return float((money + self.overgrown_money(offered, near))[0])

    def _chance_money(self, offered: Offered, sized: Sized) -> Floats:
        """Money for shortage and surplus."""
        prices = self.season.house.prices
        money = prices.short_plant * sized.short * plants_per_cell(self.season, offered.orders[0])
        return np.asarray(money - prices.surplus_plant * sized.surplus)

    def overgrown_money(self, offered: Offered, near: Ints) -> Floats:
        """Money for being overgrown when handed over."""
        season, line, rows = self.season, offered.route.line, offered.rows[near]
        money = np.zeros(near.size)
        for k, (order, n) in enumerate(zip(offered.orders, offered.plants, strict=True)):
            screened = screen_in_time(
                line.ready_day[rows], line.overgrown_day[rows], season.index(order.earliest_date),
                season.index(order.latest_date), offered.hand_over[near, k], season.w_weights,
            )  # fmt: skip
            money += season.house.prices.overgrown_plant * n * screened.overgrown_frac
        return money
