"""Money and priced use of sowing so many cells: everything but chances, many days at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.costs import MIX_WASTE_FRAC, container_price, seed_price
from sowbench.checking.hands import COUNT_AFTER_D, THIN_AFTER_D, Rates, machine_for, sowing_minutes
from sowbench.checking.prices import Tariff
from sowbench.checking.routes import Calendar, Route, between, stays_of
from sowbench.checking.season import Season
from sowbench.checking.sizing import Offered
from sowbench.checking.ways import ContainerPath
from sowbench.domain.records import Container, Order, StepKind

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Pricer:
    """Prices candidates with the house's money and the plan's shadow prices."""

    def __init__(self, season: Season, tariff: Tariff, rates: Rates, calendar: Calendar) -> None:
        self.season = season
        self.tariff = tariff
        self.rates = rates
        self.calendar = calendar

    def reduced(self, offered: Offered, cells: Floats, near: Ints) -> Floats:
        """Money and priced use of sowing so many cells, chances left out."""
        path, route = offered.path, offered.route
        rows = offered.rows[near]
        sow, season = route.sow[rows], self.season
        units = np.ceil(cells / path.first.cells - 1e-9)
        mean = offered.stand.mean[rows]
        total = offered.wanted
        last_cells, last_units = cells, units
        if path.first is not path.last:
            last_cells = np.minimum(np.maximum(np.ceil(cells * mean), total), cells)
            last_units = np.ceil(last_cells / path.last.cells - 1e-9)
        n_seeds = cells * offered.seeds
        price = seed_price(season, offered.lot, route.crop.id)
        money = n_seeds * (price + self.tariff.lot.get(offered.lot.id, 0.0))
        money = money + self._filled(path.first, units, cells)
        if path.first is not path.last:
            money += self._filled(path.last, last_units, last_cells)
        setup = sowing_minutes(season, self.rates, path.first.id, 0.0, 0.0, easy=False)
        each_unit = sowing_minutes(season, self.rates, path.first.id, 1.0, 0.0, easy=False) - setup
        each_seed = (
            sowing_minutes(season, self.rates, path.first.id, 0.0, 1.0, easy=offered.lot.pelleted)
            - setup
        )
        machine = machine_for(season, path.first.id)
        setup += machine.changeover_minutes if machine is not None else 0.0
        minute = self.tariff.minute
        money += (setup + each_unit * units + each_seed * n_seeds) * minute[sow]
        for order in offered.orders:
            money += self._change_of_lot(order, offered.lot.id, sow)
        money += self._stand_work(offered, near, cells, units)
        money += self._path_money(offered, near, units, last_units, cells, last_cells)
        return np.asarray(money)

    def _filled(self, container: Container, units: Floats, cells: Floats) -> Floats:
        """Money for containers with labels and mix."""
        prices = self.season.house.prices
        money = units * (container_price(self.season, container) + prices.label)
        if container.takes_mix:
            liters = container.cell_volume_ml / 1000.0 * (1 + MIX_WASTE_FRAC)
            money = money + cells * liters * prices.mix_per_l
        return np.asarray(money)

    def _change_of_lot(self, order: Order, lot: str, sow: Ints) -> Floats:
        """The order's share of the day's changes of lot."""
        change = self.tariff.change
        return np.array([change.get((order.id, lot, int(day)), 0.0) for day in sow])

    def _stand_work(self, offered: Offered, near: Ints, cells: Floats, units: Floats) -> Floats:
        """Counting and thinning at the prices of their days."""
        line, rows = offered.route.line, offered.rows[near]
        w, z = line.middle
        emerged = np.floor(line.emergence_h[rows, w, z] / 24.0).astype(np.int64)
        end = offered.hand_over[near].max(axis=1)
        minute = self.tariff.minute
        money = np.zeros(near.size)
        for after, minutes in (
            (COUNT_AFTER_D, self.rates.seconds("count_s_per_tray", 1.0) * units),
            (
                THIN_AFTER_D,
                self.rates.per_hour("thin_cells_per_h", 1.0) * cells * offered.stand.crowded[rows],
            ),
        ):
            day = self.calendar.work_day(emerged + after)
            held = day < np.minimum(end, minute.size)
            money += np.where(held, minutes * minute[np.where(held, day, 0)], 0.0)
        return money

    def _path_money(
        self,
        offered: Offered,
        near: Ints,
        units: Floats,
        last_units: Floats,
        cells: Floats,
        last_cells: Floats,
    ) -> Floats:
        """Room, water, moves, containers and packing along the route."""
        route, path = offered.route, offered.path
        rows, hand = offered.rows[near], offered.hand_over[near]
        money = np.zeros(near.size)
        total = float(sum(offered.plants))
        minute, tariff = self.tariff.minute, self.tariff
        gone = 0.0
        begin = np.full(near.size, -1)
        for k, n in enumerate(offered.plants):
            # A part that is handed over earlier leaves the room; the rest stands on.
            share = 1.0 - gone / total
            end = hand[:, k]
            rest_units = np.ceil(share * last_cells / path.last.cells - 1e-9)
            money += self._stretches(
                offered, near, begin, end, units, np.minimum(last_units, rest_units),
                cells, share * last_cells,
            )  # fmt: skip
            pack = self.rates.seconds("pack_s_per_container", 1.0) * last_units * n / total
            money += pack * minute[self.calendar.last_work[end]]
            money += self._held(
                path.last, last_units * n / total, self._from(route, path, rows), end
            )
            gone += n
            begin = end
        if path.first is not path.last:
            potted = route.pot_on[rows]
            wash = self.season.stock.get(path.first.id)
            back = 0 if wash is None else wash.wash_d
            held = tariff.containers.get(path.first.id)
            if held is not None:
                money += units * between(held, route.sow[rows], potted + back)
            minutes = self.rates.seconds("fill_s_per_container", 1.0) * last_units
            minutes = minutes + self.rates.per_hour("pot_on_per_h", 1.0) * last_cells
            money += minutes * minute[np.minimum(potted, minute.size - 1)]
        return money

    def _from(self, route: Route, path: ContainerPath, rows: Ints) -> Ints:
        """Day from which the last container is in use."""
        return route.sow[rows] if path.first is path.last else route.pot_on[rows]

    def _held(self, container: Container, units: Floats, first: Ints, end: Ints) -> Floats:
        """Price of reusable containers until they are back and washed."""
        held, stock = self.tariff.containers.get(container.id), self.season.stock.get(container.id)
        if held is None or stock is None:
            return np.zeros(first.size)
        return units * between(held, first, end + stock.back_after_d + stock.wash_d)

    def _stretches(
        self,
        offered: Offered,
        near: Ints,
        begin: Ints,
        end: Ints,
        units: Floats,
        last_units: Floats,
        cells: Floats,
        last_cells: Floats,
    ) -> Floats:
        """Room, water and moves between two days of handing over."""
        route, path = offered.route, offered.path
        rows = offered.rows[near]
        final = offered.hand_over[near].max(axis=1)
        money = np.zeros(near.size)
        before = ""
        first_part = bool(np.all(begin < 0))
        potted = path.first is not path.last
        for kind, place, a, b in stays_of(route, rows, final):
            start, stop = np.maximum(a, begin), np.minimum(b, end)
            if potted:
                turn = np.clip(route.pot_on[rows], start, np.maximum(stop, start))
                money += self._room(place, path.first, units, cells, start, turn, route, rows)
                money += self._room(
                    place, path.last, last_units, last_cells, turn, stop, route, rows
                )
            else:
                money += self._room(
                    place, path.last, last_units, last_cells, start, stop, route, rows
                )
            moved = before and before != place and kind is not StepKind.GERMINATE
            if first_part and moved:
                carried = np.where(a >= route.pot_on[rows], last_units, units)
                went = (b > a) & (a < self.tariff.minute.size)
                day = np.where(went, a, 0)
                money += np.where(
                    went, self.rates.carry(1.0) * carried * self.tariff.minute[day], 0
                )
            before = place
        spaced = route.space[rows]
        if first_part and route.rule.space_d_ref is not None:
            held = spaced < np.minimum(final, self.tariff.minute.size)
            day = np.where(held, spaced, 0)
            minutes = self.rates.per_hour("space_per_h", 1.0) * last_cells
            money += np.where(held, minutes * self.tariff.minute[day], 0.0)
        return money

    def _room(
        self,
        name: str,
        container: Container,
        units: Floats,
        cells: Floats,
        start: Ints,
        stop: Ints,
        route: Route,
        rows: Ints,
    ) -> Floats:
        """Price of room and water in a place between two days, spaced from its day on."""
        place = self.season.places[name]
        by_position = place.n_positions is not None
        density = route.rule.space_plants_per_m2
        tray = units * container.area_m2
        money = np.zeros(units.size)
        wide = np.maximum(stop, start)
        parts = [(start, wide, tray)]
        if route.rule.space_d_ref is not None and density:
            turn = np.clip(route.space[rows], start, wide)
            parts = [(start, turn, tray), (turn, wide, np.maximum(cells / density, tray))]
        shadow = self.tariff.places.get(name)
        for a, b, area in parts:
            charged = tray if by_position else area
            money += charged * place.price_per_m2_day * np.maximum(b - a, 0)
            if shadow is not None:
                money += (units if by_position else area) * between(shadow, a, b)
            money += area * between(self.tariff.water_sum(name), a, b)
        return money
