"""What a check knows about the season: days, people, climate, lots, orders and places."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property
from typing import Any, Final, Protocol, SupportsInt

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.earlier import left_of, open_orders, pins_by_order, stood_before
from sowbench.domain.journal import Entry
from sowbench.domain.plan import Plan, Sowing
from sowbench.domain.records import (
    Container,
    ContainerStock,
    Crop,
    House,
    Order,
    Pin,
    Place,
    PlaceKind,
    ReadyRule,
    SeedLot,
    Standing,
)
from sowbench.science.errors import SowbenchError
from sowbench.science.house import PlaceClimate, place_climate
from sowbench.science.quadrature import normal_nodes
from sowbench.science.weather_year import WeatherYear

N_WEATHER: Final = 5
N_PACE: Final = 9
SOW_HOUR: Final = 12
VISIT_HOURS: Final = (8, 12, 17)
AFTER_LATEST_D: Final = 14
RUN_ON_D: Final = 150
"""Days of climate after the plan's last day, so that slow plants have a day too."""
N_ASSUMED_TEST: Final = 100


class CatalogLike(Protocol):
    """What is asked of the reference data."""

    @property
    def crops(self) -> Mapping[str, Crop]:
        """Crops by id, the house's own included."""

    @property
    def containers(self) -> Mapping[str, Container]:
        """Containers by id, the house's own included."""

    @property
    def labor(self) -> Mapping[str, Any]:
        """Default rates of work by name, each a number or with a ``value``."""

    def rule_for(self, crop: str, container: str, system: str) -> ReadyRule | None:
        """Ready rule of a crop in a container for a system; None if there is none."""

    def suits(self, crop: str, container: str, system: str) -> bool:
        """Tell whether a crop may be handed over to a system in a container."""

    def cells_suit(self, crop: str, container: str) -> bool:
        """Tell whether a crop may stand in a container at some time."""


@dataclass(frozen=True, slots=True)
class CheckInputs:
    """What a plan was made from.

    Parameters
    ----------
    house : House
        The house.
    orders : tuple of Order
        The orders in file order.
    lots : tuple of SeedLot or None
        The lots; None when no seed file was given: lots are then assumed as the plan names them.
    standings : tuple of Standing
        What stands on the first day.
    pins : tuple of Pin
        What the grower has fixed.
    catalog : CatalogLike
        Reference data with the house's own values.
    weather : WeatherYear or None
        Typical year.
    from_date : date
        First day on which anything can be done.
    kept : Plan or None
        Earlier plan that this one was made again from.
    entries : tuple of Entry
        What the journal says has happened to the sowings of the kept plan.
    """

    house: House
    orders: tuple[Order, ...]
    lots: tuple[SeedLot, ...] | None
    catalog: CatalogLike
    from_date: date
    standings: tuple[Standing, ...] = ()
    pins: tuple[Pin, ...] = ()
    weather: WeatherYear | None = None
    kept: Plan | None = None
    entries: tuple[Entry, ...] = ()


class Season:
    """Inputs of a check with everything derived from them that several rules need."""

    def __init__(self, plan: Plan, inputs: CheckInputs) -> None:
        self.plan = plan
        self.inputs = inputs
        self.house = inputs.house
        self.catalog = inputs.catalog
        live = {each.id: each for each in inputs.orders if each.status != "cancelled"}
        earlier = (inputs.kept, inputs.entries, inputs.from_date)
        self.orders: dict[str, Order] = open_orders(live, *earlier)
        self.cancelled = {each.id for each in inputs.orders if each.status == "cancelled"}
        self.file_order = {each.id: at for at, each in enumerate(inputs.orders)}
        self.standings = {each.sowing: each for each in inputs.standings}
        self.left = left_of(*earlier, self.standings)
        self.standings |= stood_before(self.left)
        self.places: dict[str, Place] = {each.name: each for each in inputs.house.places}
        self.stock: dict[str, ContainerStock] = {
            each.container: each for each in inputs.house.stock
        }
        self.sowings: dict[str, Sowing] = {each.sowing: each for each in plan.sowings}
        self.lots: dict[str, SeedLot] = {each.id: each for each in inputs.lots or ()}
        if inputs.lots is None:
            for each in plan.sowings:
                if each.lot not in self.lots and each.crop in self.catalog.crops:
                    self.lots[each.lot] = assumed_lot(
                        each.lot, self.catalog.crops[each.crop], each.variety
                    )
        self.pins = pins_by_order(inputs.pins, live, inputs.kept)
        # Lots that only what stands already names: nothing more can be sown from them.
        self.stand_ins: dict[str, SeedLot] = {
            each.lot: replace(
                assumed_lot(each.lot, self.catalog.crops[each.crop], each.variety), n_seeds=0
            )
            for each in plan.sowings
            if each.lot not in self.lots and each.crop in self.catalog.crops and self.is_given(each)
        }
        starts = [each.sown_date for each in inputs.standings]
        starts += [each.sow_date for each in plan.sowings]
        self.day0 = min([inputs.from_date, *starts])
        self.until = max(
            [each.latest_date for each in self.orders.values()], default=inputs.from_date
        ) + timedelta(days=AFTER_LATEST_D)
        last = max([self.until, plan.until_date])
        self.n_days = (last - self.day0).days + 1 + RUN_ON_D
        self.w_nodes, self.w_weights = normal_nodes(N_WEATHER)
        self.z_nodes, self.z_weights = normal_nodes(N_PACE)
        self._climates: dict[str, PlaceClimate] = {}

    def index(self, day: date) -> int:
        """Return the number of a day since day 0."""
        return (day - self.day0).days

    def day(self, index: SupportsInt) -> date:
        """Return the date of a day number."""
        return self.day0 + timedelta(days=int(index))

    def is_given(self, sowing: Sowing) -> bool:
        """Tell whether a sowing stands on the first day, so that the plan has no choice in it."""
        if sowing.sowing in self.standings or sowing.sowing in self.left:
            return True
        return sowing.sow_date < self.inputs.from_date

    def lot(self, name: str) -> SeedLot | None:
        """Return a lot, also one that is only known from what stands already."""
        return self.lots.get(name) or self.stand_ins.get(name)

    def climate(self, place: str) -> PlaceClimate:
        """Return the climate of a place through the season, made once."""
        if place not in self._climates:
            house = self.house
            self._climates[place] = place_climate(
                self.places[place], self.inputs.weather, self.day0, self.n_days, self.w_nodes,
                house.weather_spread_c, house.room_day_c, house.room_night_c,
                house.light, house.latitude_deg,
            )  # fmt: skip
        return self._climates[place]

    @cached_property
    def used_containers(self) -> set[str]:
        """Containers that the house may use: its own list, or all of the reference."""
        own = {str(each["id"]) for each in self.house.own_containers if "id" in each}
        listed = set(self.stock) | own
        return listed or set(self.catalog.containers)

    # People

    def is_work_day(self, day: date) -> bool:
        """Tell whether the crew works."""
        crew = self.house.crew
        return day.weekday() in crew.work_days and day not in crew.closed

    def is_attended(self, day: date) -> bool:
        """Tell whether anybody looks in."""
        return self.is_work_day(day) or self.house.crew.weekend_minutes > 0

    def minutes_limit(self, day: date) -> float:
        """Return the crew's minutes of a day, infinite without a limit [min]."""
        crew = self.house.crew
        if not self.is_work_day(day):
            return crew.weekend_minutes
        if crew.minutes_by_weekday is not None:
            return crew.minutes_by_weekday[day.weekday()]
        return np.inf if crew.minutes_per_day is None else crew.minutes_per_day

    def visit_hours(self, day: date) -> tuple[int, ...]:
        """Return the hours at which somebody looks in."""
        if self.is_work_day(day):
            return VISIT_HOURS
        return VISIT_HOURS[:1] if self.house.crew.weekend_minutes > 0 else ()

    def first_visit(self, hour: float) -> float:
        """Return the first visit at or after an hour since day 0 [h]; inf if none in 30 days."""
        first = int(hour // 24)
        for index in range(first, first + 30):
            for visit in self.visit_hours(self.day(index)):
                if index * 24 + visit >= hour - 1e-9:
                    return float(index * 24 + visit)
        return np.inf

    def work_day_from(self, index: int) -> int:
        """Return the first work day at or after a day number."""
        for later in range(index, index + 60):
            if self.is_work_day(self.day(later)):
                return later
        return index

    def work_day_before(self, index: int) -> int:
        """Return the day itself if it is a work day, else the work day before."""
        for earlier in range(index, index - 60, -1):
            if self.is_work_day(self.day(earlier)):
                return earlier
        return index

    def can_sow_on(self, day: date) -> bool:
        """Tell whether the house sows on a day."""
        crew = self.house.crew
        return day.weekday() in crew.sow_days and day not in crew.closed

    # Orders and rules

    def wanted_cells(self, order: Order, plants: int | None = None) -> int:
        """Return how many usable cells fill an order, or a part of it."""
        n_plants = order.plants if plants is None else plants
        crop = self.catalog.crops.get(order.crop)
        if order.unit == "cell" or crop is None:
            return n_plants
        return -(-n_plants // max(crop.plants_per_cell[0], 1))

    def confidence(self, order: Order) -> float:
        """Return the chance of enough that an order asks for."""
        own = order.confidence_frac
        return self.house.confidence_frac if own is None else own

    def rule_of(self, sowing: Sowing) -> ReadyRule | None:
        """Return the ready rule of a sowing, by the container it ends in."""
        standing = self.standings.get(sowing.sowing)
        if sowing.steps:
            container = sowing.steps[-1].container
        elif standing is not None:
            container = standing.container
        else:
            return None
        systems = [
            self.orders[each.order].system for each in sowing.orders if each.order in self.orders
        ]
        return self.rule(sowing.crop, container, systems[0] if systems else "any")

    def rule(self, crop: str, container: str, system: str) -> ReadyRule | None:
        """Return a ready rule, None where the reference has none."""
        try:
            return self.catalog.rule_for(crop, container, system)
        except (SowbenchError, KeyError):
            return None

    def is_dark_place(self, place: str) -> bool:
        """Tell whether plants get no light at a place."""
        return bool(np.all(self.climate(place).dli_mol_m2_d <= 0.0))

    def is_kind(self, place: str, *kinds: PlaceKind) -> bool:
        """Tell whether a place is of one of some kinds."""
        return place in self.places and self.places[place].kind in kinds


def assumed_lot(name: str, crop: Crop, variety: str) -> SeedLot:
    """Return the lot that stands in where there is no seed file."""
    return SeedLot(
        id=name,
        crop=crop.id,
        variety=variety,
        n_tested=N_ASSUMED_TEST,
        n_normal=round(N_ASSUMED_TEST * crop.germination_frac),
        n_seeds=None,
        seedlings_per_unit=crop.seedlings_per_unit,
        organic=True,
        assumed=True,
    )


def days_between(first: int, last: int) -> NDArray[np.int64]:
    """Return the day numbers of a half-open interval."""
    return np.arange(first, max(last, first), dtype=np.int64)
