"""Shadow prices of a plan by resource and day, and what they make of its capacities."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.costs import filled_units
from sowbench.checking.hands import MACHINE_MIN, UNWATERED, Rates, Work
from sowbench.checking.report import Ledger
from sowbench.checking.rooms import container_spans, is_reusable, stays, step_area
from sowbench.checking.season import Season
from sowbench.checking.timeline import summed

Floats = NDArray[np.float64]


class Tariff:
    """What every resource costs on every day: the house's own money and the plan's prices."""

    def __init__(self, season: Season, rates: Rates, ledger: Ledger) -> None:
        self.season = season
        n = season.n_days
        self.place: dict[str, Floats] = defaultdict(lambda: np.zeros(n))
        self.crew = np.zeros(n)
        self.machine: dict[str, Floats] = defaultdict(lambda: np.zeros(n))
        self.container: dict[str, Floats] = defaultdict(lambda: np.zeros(n))
        self.lot: dict[str, float] = defaultdict(float)
        self.order: dict[str, float] = {}
        self.change: dict[tuple[str, str, int], float] = defaultdict(float)
        self.is_priced = bool(season.plan.prices)
        for row in season.plan.prices:
            index = season.index(row.date)
            ledger.require(
                row.price >= 0 or row.kind == "order", "prices are not negative",
                f"{row.kind} {row.name} {row.date}", "A shadow price is below 0.", 0, row.price,
            )  # fmt: skip
            price = max(row.price, 0.0)
            if not 0 <= index < n:
                continue
            if row.kind == "place":
                self.place[row.name][index] += price
            elif row.kind == "crew":
                self.crew[index] += price
            elif row.kind == "machine":
                self.machine[row.name][index] += price
            elif row.kind == "container":
                self.container[row.name][index] += price
            elif row.kind == "lot":
                self.lot[row.name] += price
            elif row.kind == "order":
                self.order[row.name] = self.order.get(row.name, 0.0) + row.price
            elif row.kind == "lot change":
                order, _, lot = row.name.rpartition("|")
                self.change[order, lot, index] += price
        self.minute = self.crew + season.house.crew.rate_per_hour / 60.0
        attended = np.array([season.is_attended(season.day(each)) for each in range(n)])
        water = np.where(attended, self.minute, 0.0) * rates.water(1.0)
        self.water = summed(water)
        self.dry = np.zeros_like(self.water)
        self.places = {name: summed(row) for name, row in self.place.items()}
        self.containers = {name: summed(row) for name, row in self.container.items()}

    def water_sum(self, place: str) -> Floats:
        """Running sum of the money to water a square meter at a place."""
        return self.dry if self.season.is_kind(place, *UNWATERED) else self.water

    def change_price(self, day: int) -> float:
        """Money for one change of lot on a day, hands at the plan's price."""
        return float(self.season.house.crew.setup_minutes * self.minute[day])

    def scale_changes(self) -> None:
        """Lower the shares of orders in a change of lot to what the change costs."""
        total: dict[tuple[str, int], float] = defaultdict(float)
        for (_, lot, day), price in self.change.items():
            total[lot, day] += price
        for key in self.change:
            _, lot, day = key
            whole = total[lot, day]
            if whole > 0:
                self.change[key] *= min(1.0, self.change_price(day) / whole)


def capacity_value(season: Season, tariff: Tariff, work: list[Work], rates: Rates) -> float:
    """Prices times what the house has left beside that which stands already."""
    value = 0.0
    standing = [
        (step, container, units)
        for sowing, step, container, units in stays(season)
        if season.is_given(sowing)
    ]
    first = season.index(season.inputs.from_date)
    for name, row in tariff.place.items():
        place = season.places.get(name)
        if place is None:
            continue
        by_position = place.n_positions is not None
        limit = float(place.n_positions or 0)
        if not by_position:
            limit = np.inf if place.area_m2 is None else place.area_m2 * place.usable_frac
        left = np.full(season.n_days, limit)
        for step, container, units in standing:
            if step.place == name:
                days = slice(max(season.index(step.from_date), first), season.index(step.to_date))
                left[days] -= units if by_position else step_area(step, container, units)
        value += _worth(row, left)
    minutes = np.array([season.minutes_limit(season.day(each)) for each in range(season.n_days)])
    for each in work:
        if is_given(season, each.sowing) and 0 <= each.day < season.n_days:
            minutes[each.day] -= each.minutes
    for step, container, units in standing:
        if not season.is_kind(step.place, *UNWATERED):
            days = slice(max(season.index(step.from_date), first), season.index(step.to_date))
            minutes[days] -= rates.water(step_area(step, container, units))
    value += _worth(tariff.crew, minutes)
    own_units = filled_units(season)
    for name, row in tariff.container.items():
        stock = season.stock.get(name)
        limit = np.inf if stock is None or stock.n_in_stock is None else float(stock.n_in_stock)
        left = np.full(season.n_days, limit)
        for sowing in season.plan.sowings if stock is not None else ():
            for held, start, end, last, _ in container_spans(sowing):
                if held == name and stock is not None and season.is_given(sowing):
                    back = stock.wash_d + (stock.back_after_d if last else 0)
                    days = slice(max(season.index(start), 0), season.index(end) + back)
                    left[days] -= own_units[sowing.sowing, name]
        if name in season.catalog.containers and is_reusable(
            season, season.catalog.containers[name]
        ):
            value += _worth(row, left)
    sows = np.array([season.can_sow_on(season.day(each)) for each in range(season.n_days)])
    for row in tariff.machine.values():
        value += _worth(row, np.where(sows, MACHINE_MIN, 0.0))
    for name, price in tariff.lot.items():
        lot = season.lots.get(name)
        if price > 0 and lot is not None:
            value += price * (np.inf if lot.n_seeds is None else lot.n_seeds)
    return value


def is_given(season: Season, sowing: str) -> bool:
    """Tell whether a sowing stands or is done, so that the plan has no choice in it."""
    made = season.sowings.get(sowing)
    return made is not None and season.is_given(made)


def _worth(price: Floats, left: Floats) -> float:
    """Sum of prices times what is left, where there is a price."""
    priced = price > 0
    return float(price[priced] @ left[priced])
