"""Money and priced use of sowing so many cells: everything but chances, all candidates at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.candidates import GROUP_MOST, Offers
from sowbench.checking.costs import container_price, seed_price
from sowbench.checking.hands import (
    COUNT_AFTER_D,
    THIN_AFTER_D,
    Rates,
    machine_for,
    machine_minutes,
    sowing_minutes,
)
from sowbench.checking.prices import Tariff
from sowbench.checking.routes import NEVER, Calendar, Stays, between, stays_of
from sowbench.checking.season import Season
from sowbench.checking.sizing import Sized
from sowbench.checking.slim import Units, units_of
from sowbench.checking.ways import ContainerPath
from sowbench.domain.records import Container
from sowbench.science.medium import WASTE_FRAC

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Pricer:
    """Prices candidates with the house's money and the plan's shadow prices."""

    def __init__(self, season: Season, tariff: Tariff, rates: Rates, calendar: Calendar) -> None:
        self.season = season
        self.tariff = tariff
        self.rates = rates
        self.calendar = calendar
        places = list(season.places.values())
        self.by_position = np.array([each.n_positions is not None for each in places], dtype=bool)
        self.rent = np.array([each.price_per_m2_day for each in places])
        none = np.zeros(season.n_days + 1)
        self.shadow = np.stack([tariff.places.get(each.name, none) for each in places])
        self.water = np.stack([tariff.water_sum(each.name) for each in places])

    def reduced(self, offers: Offers, sized: Sized, units: Units | None = None) -> Floats:
        """Money and priced use of sowing so many cells, chances left out.

        Parameters
        ----------
        units : Units, optional
            Units that are paid for; by default all, in whole units.
        """
        return _Priced(self, offers, sized, units).money()


class _Priced:
    """Candidates with their cells and units in every container."""

    def __init__(self, pricer: Pricer, offers: Offers, sized: Sized, units: Units | None) -> None:
        self.pricer, self.offers, self.sized = pricer, offers, sized
        self.season, self.rates = pricer.season, pricer.rates
        self.minute = pricer.tariff.minute
        routes = offers.routes
        self.way = routes.way[offers.route]
        self.sow = routes.sow[offers.row]
        self.pot_on = routes.pot_on[self.way, offers.row]
        self.potted = self._of_path(lambda each: each.first is not each.last).astype(bool)
        self.first_m2 = self._of_path(lambda each: each.first.area_m2)
        self.last_m2 = self._of_path(lambda each: each.last.area_m2)
        self.last_per_unit = self._of_path(lambda each: each.last.cells)
        self.cells = sized.cells.astype(np.float64)
        none = np.zeros(self.cells.size, dtype=bool)
        paid = units_of(offers, sized, none, none) if units is None else units
        self.units, self.last_cells, self.last_units = (
            paid.units, paid.last_cells, paid.last_units,
        )  # fmt: skip

    def _of_path(self, value: Callable[[ContainerPath], Any]) -> NDArray[Any]:
        """Value of each candidate's container path."""
        return np.array([float(value(each)) for each in self.offers.paths])[self.offers.path]

    def _at(self, day: Ints, minutes: Floats) -> Floats:
        """Money for minutes on a day; nothing on a day after the season."""
        inside = (day >= 0) & (day < self.minute.size)
        return np.where(inside, minutes * self.minute[np.where(inside, day, 0)], 0.0)

    def money(self) -> Floats:
        """Sum of everything."""
        money = self._seed() + self._filled() + self._sowing() + self._change_of_lot()
        money += self._stand_work() + self._potting()
        return np.asarray(money + self._along())

    def _seed(self) -> Floats:
        offers, tariff = self.offers, self.pricer.tariff
        crop = offers.routes.crop.id
        price = np.array(
            [
                seed_price(self.season, each, crop) + tariff.lot.get(each.id, 0.0)
                for each in offers.lots
            ]
        )
        return np.asarray(self.cells * offers.seeds * price[offers.lot])

    def _filled(self) -> Floats:
        """Money for containers with labels and mix."""
        prices = self.season.house.prices

        def one(container: Container) -> float:
            return container_price(self.season, container) + prices.label

        def mix(container: Container) -> float:
            liters = container.cell_volume_ml / 1000.0 * (1 + WASTE_FRAC)
            return liters * prices.mix_per_l if container.takes_mix else 0.0

        money = self.units * self._of_path(lambda each: one(each.first))
        money += self.cells * self._of_path(lambda each: mix(each.first))
        later = self.last_units * self._of_path(lambda each: one(each.last))
        later += self.last_cells * self._of_path(lambda each: mix(each.last))
        return np.asarray(money + np.where(self.potted, later, 0.0))

    def _sowing(self) -> Floats:
        """Setting up, filling, sowing and carrying."""
        season, offers = self.season, self.offers

        def minutes(path: ContainerPath, units: float, seeds: float, *, easy: bool) -> float:
            name = path.first.id
            return sowing_minutes(season, self.rates, name, units, seeds, easy=easy)

        def fixed(path: ContainerPath) -> float:
            machine = machine_for(season, path.first.id)
            more = machine.changeover_minutes if machine is not None else 0.0
            return minutes(path, 0.0, 0.0, easy=False) + more

        setup = self._of_path(fixed)
        empty = self._of_path(lambda each: minutes(each, 0.0, 0.0, easy=False))
        unit = self._of_path(lambda each: minutes(each, 1.0, 0.0, easy=False)) - empty
        seed = self._of_path(lambda each: minutes(each, 0.0, 1.0, easy=False)) - empty
        pelleted = self._of_path(lambda each: minutes(each, 0.0, 1.0, easy=True)) - empty
        easy = np.array([each.pelleted for each in offers.lots])[offers.lot]
        seed = np.where(easy, pelleted, seed) * self.cells * offers.seeds
        return self._at(self.sow, setup + unit * self.units + seed) + self._machines()

    def _machines(self) -> Floats:
        """Priced minutes of the sowing machines."""
        money = np.zeros(self.sow.size)
        for at, path in enumerate(self.offers.paths):
            machine = machine_for(self.season, path.first.id)
            if machine is None or machine.name not in self.pricer.tariff.machine:
                continue
            rows = np.flatnonzero(self.offers.path == at)
            minutes = machine_minutes(self.season, path.first.id, self.units[rows])
            money[rows] = minutes * self.pricer.tariff.machine[machine.name][self.sow[rows]]
        return money

    def _change_of_lot(self) -> Floats:
        """Shares of the orders in the changes of lot of the day."""
        offers = self.offers
        share = np.zeros((len(offers.members), len(offers.lots), self.minute.size))
        lots = {each.id: at for at, each in enumerate(offers.lots)}
        orders = {each.id: at for at, each in enumerate(offers.members)}
        for (order, lot, day), price in self.pricer.tariff.change.items():
            if order in orders and lot in lots:
                share[orders[order], lots[lot], day] = price
        money = np.zeros(self.sow.size)
        for m in range(GROUP_MOST):
            member = offers.orders[offers.group, m]
            money += np.where(member >= 0, share[member, offers.lot, self.sow], 0.0)
        return money

    def _stand_work(self) -> Floats:
        """Counting and thinning at the prices of their days."""
        emerged = self.offers.routes.emerged[self.way, self.offers.row]
        end = self.offers.hand_over.max(axis=1)
        money = np.zeros(end.size)
        count = self.rates.seconds("count_s_per_tray", 1.0) * self.units
        thin = self.rates.per_hour("thin_cells_per_h", 1.0) * self.cells * self.sized.crowded
        for after, minutes in ((COUNT_AFTER_D, count), (THIN_AFTER_D, thin)):
            day = self.pricer.calendar.work_day(emerged + after)
            money += np.where(day < end, self._at(day, minutes), 0.0)
        return money

    def _potting(self) -> Floats:
        """Filling and potting on, and the first containers until then."""
        minutes = self.rates.seconds("fill_s_per_container", 1.0) * self.last_units
        minutes = minutes + self.rates.per_hour("pot_on_per_h", 1.0) * self.last_cells
        money = self._at(np.minimum(self.pot_on, self.minute.size - 1), minutes)
        money += self.units * self._container_days(self.sow, self.pot_on, last=False)
        return np.where(self.potted, money, 0.0)

    def _along(self) -> Floats:
        """Room, water, moves, containers and packing along the way."""
        offers, routes = self.offers, self.offers.routes
        end = offers.hand_over.max(axis=1)
        at = stays_of(routes, offers.route, offers.row, end)
        money = self._moves(at)
        plants = offers.plants[offers.group]
        total = plants.sum(axis=1).astype(np.float64)
        gone = np.zeros(end.size)
        begin = np.full(end.size, -1)
        first = np.where(self.potted, self.pot_on, self.sow)
        for k in range(GROUP_MOST):
            day = offers.hand_over[:, k]
            has = day >= 0
            if not has.any():
                break
            # A part that is handed over earlier leaves the room; the rest stands on.
            part, share = plants[:, k] / total, 1.0 - gone / total
            rest = np.ceil(share * self.last_cells / self.last_per_unit - 1e-9)
            stop = np.where(has, day, begin)
            money += self._stretch(at, begin, stop, np.minimum(self.last_units, rest), share)
            pack = self.rates.seconds("pack_s_per_container", 1.0) * self.last_units * part
            packed = self.pricer.calendar.last_work[np.maximum(day, 0)]
            held = self._container_days(first, stop, last=True)
            money += np.where(has, self._at(packed, pack) + self.last_units * part * held, 0.0)
            gone = gone + plants[:, k]
            begin = stop
        return money

    def _container_days(self, first: Ints, end: Ints, *, last: bool) -> Floats:
        """Price of a reusable container from a day until it is back and washed."""
        season, tariff = self.season, self.pricer.tariff
        money = np.zeros(first.size)
        for at, path in enumerate(self.offers.paths):
            name = path.last.id if last else path.first.id
            total, stock = tariff.containers.get(name), season.stock.get(name)
            rows = np.flatnonzero(self.offers.path == at)
            if total is None or stock is None or not rows.size:
                continue
            back = end[rows] + stock.wash_d + (stock.back_after_d if last else 0)
            row = np.zeros(rows.size, dtype=np.int64)
            money[rows] = between(total[None, :], row, first[rows], back)
        return money

    def _moves(self, at: Stays) -> Floats:
        """Carrying to the growing, toning and holding place, and spacing."""
        end = at.end
        carried = np.where(at.leave >= self.pot_on, self.last_units, self.units)
        carry = self.rates.carry(1.0)
        money = np.where(at.germinate >= 0, self._at(at.leave, carry * carried), 0.0)
        moved = (at.tone != at.grow) & (at.toned < end)
        money += np.where(moved, self._at(at.toned, carry * self.last_units), 0.0)
        held = (at.hold >= 0) & (at.held < end)
        money += np.where(held, self._at(at.held, carry * self.last_units), 0.0)
        spaced = self._spaced_from(at)
        minutes = self.rates.per_hour("space_per_h", 1.0) * self.last_cells
        return np.asarray(money + np.where(spaced < NEVER, self._at(spaced, minutes), 0.0))

    def _spaced_from(self, at: Stays) -> Ints:
        """Day from which plants stand apart; `NEVER` where they do not before toning."""
        rule = self.offers.routes.rule
        space = self.offers.routes.space[self.way, self.offers.row]
        if rule.space_d_ref is None or not rule.space_plants_per_m2:
            return np.full(space.size, NEVER)
        return np.where(space < at.toned, np.maximum(space, at.leave), NEVER)

    def _stretch(
        self, at: Stays, begin: Ints, stop: Ints, last_units: Floats, share: Floats
    ) -> Floats:
        """Room and water between two days of handing over."""
        parts = (
            (np.maximum(at.germinate, 0), at.sow, np.where(at.germinate >= 0, at.leave, at.sow)),
            (at.grow, at.leave, at.toned),
            (at.tone, at.toned, at.held),
            (np.maximum(at.hold, 0), at.held, np.where(at.hold >= 0, at.end, at.held)),
        )
        money = np.zeros(stop.size)
        turn = np.where(self.potted, self.pot_on, 0)
        spaced = self._spaced_from(at)
        small, wide = self.units * self.first_m2, last_units * self.last_m2
        apart = wide
        density = self.offers.routes.rule.space_plants_per_m2
        if density:
            apart = np.maximum(share * self.last_cells / density, wide)
        for number, (place, a, b) in enumerate(parts):
            start, end = np.maximum(a, begin), np.minimum(b, stop)
            mid = np.clip(turn, start, np.maximum(end, start))
            money += self._room(place, self.units, small, small, start, mid)
            late = np.maximum(end, mid)
            if number < len(parts) - 1:  # in a cold store they stand close again
                late = np.clip(spaced, mid, late)
            money += self._room(place, last_units, wide, wide, mid, late)
            money += self._room(place, last_units, wide, apart, late, np.maximum(end, late))
        return money

    def _room(
        self, place: Ints, units: Floats, tray_m2: Floats, m2: Floats, start: Ints, stop: Ints
    ) -> Floats:
        """Price of room and water in a place between two days."""
        pricer = self.pricer
        by_position = pricer.by_position[place]
        days = np.maximum(np.minimum(stop, self.season.n_days) - start, 0)
        money = np.where(by_position, tray_m2, m2) * pricer.rent[place] * days
        money += np.where(by_position, units, m2) * between(pricer.shadow, place, start, stop)
        return np.asarray(money + m2 * between(pricer.water, place, start, stop))
