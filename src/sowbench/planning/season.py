"""The frozen data of a season: house, calendar, climates, orders, lots and resources."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.records import (
    Container,
    ContainerStock,
    Crop,
    House,
    Machine,
    Order,
    Place,
    PlaceKind,
    ReadyRule,
    SeedLot,
)
from sowbench.planning.calendar import Calendar, make_calendar
from sowbench.planning.resources import ResourceKind, Resources
from sowbench.planning.timeline import N_PACE_NODES, N_WEATHER_NODES, CropSeason
from sowbench.reference.catalog import Catalog
from sowbench.science.house import PlaceClimate, place_climate
from sowbench.science.labor import LaborRates
from sowbench.science.quadrature import normal_nodes
from sowbench.science.stand import lot_nodes
from sowbench.science.viability import aged_germination_nodes
from sowbench.science.weather_year import WeatherYear

AFTER_LAST_D = 14
CLIMATE_BEYOND_D = 90
N_LOT_NODES = 9
MACHINE_HOURS = 8.0


@dataclass(frozen=True)
class Lot:
    """A seed lot with the nodes of its germination after aging.

    Attributes
    ----------
    nodes, weights : ndarray, shape (9,)
        Germination and weight of each node.
    ready_date : date or None
        First day on which it is in the house.
    notes : tuple of str
        What was assumed about it.
    """

    record: SeedLot
    nodes: NDArray[np.float64]
    weights: NDArray[np.float64]
    price_per_1000: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Season:
    """Everything the planner knows before it chooses.

    `orders` are those to be planned, each with its need in cells in `need_cells`; of what stands
    already `covered` says for each how many cells are meant for it, and `standing_usable` how many
    can be expected at the most, at the nodes of its lot.
    """

    house: House
    catalog: Catalog
    calendar: Calendar
    from_day: int
    until_date: date
    places: tuple[Place, ...]
    climates: tuple[PlaceClimate, ...]
    orders: tuple[Order, ...]
    lots: tuple[Lot, ...]
    containers: Mapping[str, Container]
    stock: Mapping[str, ContainerStock]
    resources: Resources
    rates: LaborRates
    w_weights: NDArray[np.float64]
    z_nodes: NDArray[np.float64]
    z_weights: NDArray[np.float64]
    weather: WeatherYear | None
    assumptions: tuple[str, ...] = ()
    covered: Mapping[str, int] = field(default_factory=dict)
    standing_usable: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)
    _crops: dict[str, CropSeason] = field(default_factory=dict)

    @cached_property
    def by_position(self) -> NDArray[np.bool_]:
        """Whether room is counted in lifted units, by place."""
        return np.array([p.n_positions is not None for p in self.places])

    @cached_property
    def is_watered(self) -> NDArray[np.bool_]:
        """Whether trays need water every day, by place."""
        return np.array([watered(p) for p in self.places])

    @cached_property
    def room_price(self) -> NDArray[np.float64]:
        """Price of a square meter and day, by place."""
        return np.array([p.price_per_m2_day for p in self.places])

    def warmth(self, place: int) -> NDArray[np.float64]:
        """24 h means of a place in a typical year, summed over days from 0 [°C d]."""
        means = self.climates[place].temp_day_mean_c
        return np.concatenate(([0.0], np.cumsum(means[len(means) // 2])))

    def crop_season(self, crop: Crop) -> CropSeason:
        """Give the crop's sums in every place, made once."""
        if crop.id not in self._crops:
            self._crops[crop.id] = CropSeason(
                crop, self.places, self.climates, self.calendar, self.z_nodes
            )
        return self._crops[crop.id]

    def rule(self, crop: Crop, container: Container, system: str) -> ReadyRule | None:
        """Ready rule of a crop in a container for a system."""
        return self.catalog.rule_for(crop.id, container.id, system)

    def machine_for(self, container: str) -> Machine | None:
        """First sowing machine that takes a container."""
        return next((m for m in self.house.machines if container in m.containers), None)

    def confidence(self, order: Order) -> float:
        """Wanted chance of enough plants."""
        return order.confidence_frac or self.house.confidence_frac

    def whole_cells(self, order: Order) -> int:
        """Usable cells that fill an order wholly."""
        crop = self.catalog.crops[order.crop]
        if order.unit == "plant":
            return -(-order.plants // max(1, crop.plants_per_cell[0]))
        return order.plants

    def need_cells(self, order: Order) -> int:
        """Usable cells of an order that new sowings have to give."""
        return max(0, self.whole_cells(order) - self.covered.get(order.id, 0))

    def whole_enough(self, order: Order) -> int:
        """Usable cells that count as filled."""
        return int(np.ceil(order.min_frac * self.whole_cells(order) - 1e-9))

    def enough_cells(self, order: Order) -> int:
        """Usable cells of an order that new sowings must give for it to count as filled."""
        return max(0, self.whole_enough(order) - self.covered.get(order.id, 0))

    def open_plants(self, order: Order) -> int:
        """Plants of an order that new sowings have to give."""
        if order.id not in self.covered:
            return order.plants
        return min(order.plants, self.need_cells(order) * self.plants_per_cell(order))

    def plants_per_cell(self, order: Order) -> int:
        """Plants that a cell of the order stands for."""
        crop = self.catalog.crops[order.crop]
        return max(1, crop.plants_per_cell[0]) if order.unit == "plant" else 1


def make_season(
    house: House,
    catalog: Catalog,
    orders: tuple[Order, ...],
    lots: tuple[SeedLot, ...],
    weather: WeatherYear | None,
    from_date: date,
    *,
    first_date: date | None = None,
    used: NDArray[np.float64] | None = None,
) -> Season:
    """Lay out a season from its records.

    Parameters
    ----------
    from_date : date
        First day on which anything can be sown.
    first_date : date, optional
        Day 0, earlier when something already stands.
    used : ndarray, shape (n_resources, n_days), optional
        What is taken of each resource already; see `resources_of` for the sequence.
    """
    first = min(first_date or from_date, from_date)
    latest = max((o.latest_date for o in orders), default=from_date)
    until = date.fromordinal(latest.toordinal() + AFTER_LAST_D)
    n_days = (until - first).days + 1 + CLIMATE_BEYOND_D
    calendar = make_calendar(house.crew, first, n_days)
    w_nodes, w_weights = normal_nodes(N_WEATHER_NODES)
    z_nodes, z_weights = normal_nodes(N_PACE_NODES)
    climates = tuple(
        place_climate(
            p,
            weather,
            first,
            n_days,
            w_nodes,
            house.weather_spread_c,
            house.room_day_c,
            house.room_night_c,
            house.light,
            house.latitude_deg,
        )
        for p in house.places
    )
    aged = tuple(_aged(lot, catalog, from_date) for lot in lots)
    containers = {s.container: catalog.containers[s.container] for s in house.stock} or dict(
        catalog.containers
    )
    stock = {s.container: s for s in house.stock}
    resources = resources_of(house, containers, stock, aged, calendar)
    if used is not None:
        resources = Resources(
            resources.kinds, resources.names, np.maximum(resources.capacity - used, 0.0)
        )
    notes = [
        f"{p.name}: {note}"
        for p, c in zip(house.places, climates, strict=True)
        for note in c.assumptions
    ]
    notes += [note for lot in aged for note in lot.notes]
    return Season(
        house,
        catalog,
        calendar,
        calendar.day(from_date),
        until,
        house.places,
        climates,
        orders,
        aged,
        containers,
        stock,
        resources,
        LaborRates.from_table({k: r.value for k, r in catalog.labor.items()}, house.minutes),
        w_weights,
        z_nodes,
        z_weights,
        weather,
        tuple(dict.fromkeys((*house.assumptions, *notes))),
    )


def _aged(lot: SeedLot, catalog: Catalog, on: date) -> Lot:
    """Lay the nodes of a lot's germination, lowered for its age where that can be known."""
    crop = catalog.crops[lot.crop]
    nodes, weights = lot_nodes(lot.n_normal, lot.n_tested)
    price = lot.price_per_1000
    notes: list[str] = []
    if price is None:
        price = crop.seed_price_per_1000
        notes.append(f"Lot {lot.id}: seed at {price:g} per 1000 (assumption).")
    constants = catalog.viability.get(lot.crop)
    plain = not (lot.primed or lot.pelleted)
    known = lot.moisture_frac is not None and lot.storage_c is not None and lot.tested_on
    if constants is not None and plain and known and lot.tested_on is not None:
        days = max(0, (on - lot.tested_on).days)
        nodes = aged_germination_nodes(
            nodes, constants, lot.moisture_frac or 0.0, lot.storage_c or 0.0, float(days)
        )
    elif lot.tested_on is not None and (on - lot.tested_on).days > 0 and not lot.assumed:
        notes.append(f"Lot {lot.id}: no correction for age since its test.")
    return Lot(lot, np.asarray(nodes), np.asarray(weights), float(price), tuple(notes))


def is_limited(container: Container, stock: Mapping[str, ContainerStock]) -> bool:
    """Whether the house has only so many of a container at a time."""
    own = stock.get(container.id)
    if own is None or own.n_in_stock is None:
        return False
    return is_reusable(container, stock)


def is_reusable(container: Container, stock: Mapping[str, ContainerStock]) -> bool:
    """Whether a container comes back and is used again."""
    own = stock.get(container.id)
    if own is not None and own.reusable is not None:
        return own.reusable
    return container.reusable


def container_price(container: Container, stock: Mapping[str, ContainerStock]) -> float:
    """Price of one lifted unit."""
    own = stock.get(container.id)
    return own.price if own is not None and own.price is not None else container.price


def resources_of(
    house: House,
    containers: Mapping[str, Container],
    stock: Mapping[str, ContainerStock],
    lots: tuple[Lot, ...],
    calendar: Calendar,
) -> Resources:
    """Lay out capacities: places, the crew, reusable containers, machines, lots."""
    kinds: list[ResourceKind] = []
    names: list[str] = []
    rows: list[NDArray[np.float64]] = []
    n_days = calendar.n_days

    def add(kind: ResourceKind, name: str, row: NDArray[np.float64] | float) -> None:
        kinds.append(kind)
        names.append(name)
        rows.append(np.broadcast_to(np.asarray(row, dtype=float), (n_days,)))

    for place in house.places:
        add(ResourceKind.PLACE, place.name, place_capacity(place))
    add(ResourceKind.CREW, "crew", calendar.minutes)
    for container in containers.values():
        if is_limited(container, stock):
            add(ResourceKind.CONTAINER, container.id, float(stock[container.id].n_in_stock or 0))
    for machine in house.machines:
        add(
            ResourceKind.MACHINE,
            machine.name,
            np.where(calendar.is_sow, MACHINE_HOURS * 60.0, 0.0),
        )
    for lot in lots:
        if lot.record.n_seeds is not None:
            add(ResourceKind.LOT, lot.record.id, float(lot.record.n_seeds))
    return Resources(tuple(kinds), tuple(names), np.array(rows))


def place_capacity(place: Place) -> float:
    """Room of a place: lifted units, or usable area [m2]; infinite if not given."""
    if place.n_positions is not None:
        return float(place.n_positions)
    if place.area_m2 is not None:
        return place.area_m2 * place.usable_frac
    return float("inf")


def watered(place: Place) -> bool:
    """Whether trays there need water every day."""
    return place.kind not in {PlaceKind.CHAMBER, PlaceKind.COLD_STORE}
