"""The house: its places with room and climate, crew, containers, machines, rates and prices."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from sowbench.domain.records import Place, PlaceKind
from sowbench.exchange.climate_picture import ClimateWeek, climate_spec
from sowbench.reference.crop_keys import CROP_KEYS
from sowbench.reference.labor import labor_defaults
from sowbench.science.errors import InputFileError
from sowbench.science.weather_year import day_of_common_year
from sowbench.services import wording
from sowbench.services.book_inputs import house_of
from sowbench.services.chart_colors import in_page_colors
from sowbench.services.house_day import day_in_house
from sowbench.services.house_fields import MONEY_UNIT, TABLES
from sowbench.services.house_forms import house_text, shown_value
from sowbench.services.place_climates import YearOfPlace, years_of_places

if TYPE_CHECKING:
    from sowbench.domain.records import House
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk

_WEEKS: Final = 52
_MOST_SQUARES: Final = 120
_STEADY_C: Final = 1.0


@dataclass(frozen=True, slots=True)
class PlaceCard:
    """One place as it is drawn: ``squares`` of trays or square meters, ``n_usable`` of them filled.

    ``square_words`` says what a square is; ``spec`` is the chart of the year, None where the
    temperature is held; ``assumed`` are keys that only an assumption stands behind.
    """

    at: int
    name: str
    kind: str
    kind_words: str
    room: str
    climate: str
    light: str
    price: str
    n_squares: int
    n_usable: int
    square_words: str
    spec: dict[str, Any] | None
    chart_words: str
    assumed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HouseValue:
    """One value with its label; ``is_assumed`` if nothing but an assumption stands behind it."""

    label: str
    value: str
    unit: str
    is_assumed: bool
    source: str = ""
    is_own: bool = False


@dataclass(frozen=True, slots=True)
class OwnedContainer:
    """A container that the house owns."""

    at: int
    id: str
    name: str
    n_in_stock: int | None
    price: float
    is_reusable: bool
    back: str
    per_rack: int
    is_own: bool


@dataclass(frozen=True, slots=True)
class NamedTable:
    """One of a list of tables: a machine, one of the crew, a crop; its values in words."""

    at: int
    name: str
    words: str


@dataclass(frozen=True, slots=True)
class HouseView:
    """The page of the house; ``version`` 0 is a book without one, in which a windowsill stands."""

    today: date
    version: int
    name: str
    heading: str
    currency: str
    places: tuple[PlaceCard, ...]
    general: tuple[HouseValue, ...]
    crew: tuple[HouseValue, ...]
    hands: tuple[NamedTable, ...]
    machines: tuple[NamedTable, ...]
    containers: tuple[OwnedContainer, ...]
    rates: tuple[HouseValue, ...]
    prices: tuple[HouseValue, ...]
    crops: tuple[NamedTable, ...]
    assumptions: tuple[str, ...]
    files: tuple[str, ...]
    plan_is_older: bool
    problems: tuple[str, ...] = ()


def house_view(desk: Desk) -> HouseView:
    """Gather the page of the house.

    Parameters
    ----------
    desk : Desk
        The desk.

    Returns
    -------
    view : HouseView
        What the page shows.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        text = house_text(unit)
        current = unit.houses.current()
        version = current.version if current else 0
        head = unit.plans.current()
        files = tuple(unit.files.names())
        problems: tuple[str, ...] = ()
        try:
            house, catalog, weather = house_of(unit)
        except InputFileError as error:
            problems = tuple(str(each) for each in error.problems)
            house = None
    older = head is not None and version not in {0, head.house_version}
    if house is None:
        return HouseView(today, version, "", "The house cannot be read", "", (), (), (), (), (),
                         (), (), (), (), (), files, older, problems)  # fmt: skip
    document = tomllib.loads(text)
    years = years_of_places(house, weather)
    tables = document.get("place", [])
    return HouseView(
        today=today,
        version=version,
        name=house.name,
        heading=_heading(house),
        currency=house.prices.currency,
        places=tuple(
            _card(
                at, place, tables[at] if at < len(tables) else {}, years[place.name], house, today
            )
            for at, place in enumerate(house.places)
        ),
        general=_values("house", document.get("house", {}), skip=("name",), house=house),
        crew=_values("crew", document.get("crew", {}), house=house),
        hands=_named(document.get("hands", [])),
        machines=_named(document.get("machine", [])),
        containers=_containers(document.get("container", []), catalog),
        rates=_rates(document.get("minutes", {})),
        prices=_values("prices", document.get("prices", {}), house=house),
        crops=_named(document.get("crop", []), labels={k: v.label for k, v in CROP_KEYS.items()}),
        assumptions=tuple(wording.assumed(house.assumptions)),
        files=files,
        plan_is_older=older,
    )


def capacity_words(place: Place) -> str:
    """Say what a place holds.

    Parameters
    ----------
    place : Place
        The place.

    Returns
    -------
    text : str
        As "36 trays", "59.5 m² of 70 m² of bench".
    """
    if place.n_positions is not None:
        return wording.count(place.n_positions, "tray")
    area = place.area_m2 or 0.0
    return f"{wording.amount(round(area * place.usable_frac, 1))} m² of {wording.amount(area)} m²"


def climate_words(place: Place, *, has_weather: bool) -> str:
    """Say how warm a place is kept.

    Parameters
    ----------
    place : Place
        The place.
    has_weather : bool
        Whether the house has a weather file.

    Returns
    -------
    text : str
        As "heated to 21 °C by day and 18 °C by night, vented above 26 °C".
    """
    if place.temp_c is not None:
        words = f"held at {place.temp_c:g} °C"
    else:
        parts = []
        day, night = place.heat_day_c, place.heat_night_c
        if day is not None and night is not None and day != night:
            parts.append(f"heated to {day:g} °C by day and {night:g} °C by night")
        elif day is not None or night is not None:
            parts.append(f"heated to {day if day is not None else night:g} °C")
        if place.vent_c is not None:
            parts.append(f"vented above {place.vent_c:g} °C")
        outside = has_weather and place.kind in {PlaceKind.YARD, PlaceKind.BENCH}
        words = ", ".join(parts) or ("as it is outside" if outside else "as warm as the room")
    if place.mix_offset_c:
        warmer = "warmer" if place.mix_offset_c > 0 else "cooler"
        words += f"; the mix {abs(place.mix_offset_c):g} °C {warmer}"
    return words


def _heading(house: House) -> str:
    """Say what the house is, in short."""
    n_trays = sum(each.n_positions or 0 for each in house.places)
    area = sum((each.area_m2 or 0.0) * each.usable_frac for each in house.places)
    room = []
    if n_trays:
        room.append(wording.count(n_trays, "tray"))
    if area:
        room.append(f"{wording.amount(round(area, 1))} m²")
    return f"{wording.count(len(house.places), 'place')} for {' and '.join(room) or 'nothing yet'}"


def _card(
    at: int,
    place: Place,
    table: Mapping[str, Any],
    year: YearOfPlace,
    house: House,
    today: date,
) -> PlaceCard:
    """Draw one place."""
    if place.n_positions is not None:
        n_whole, n_usable, what = place.n_positions, place.n_positions, "a tray"
    else:
        area = place.area_m2 or 0.0
        n_whole, what = max(round(area), 1), "a square meter"
        n_usable = max(round(area * place.usable_frac), 1)
    each = 1
    while n_whole / each > _MOST_SQUARES:
        each = each * 5 if str(each).startswith("1") else each * 2
    if each > 1:
        what = f"{each} {'trays' if place.n_positions is not None else 'square meters'}"
    weeks = _weeks(year, today)
    steady = max(w.high_c for w in weeks) - min(w.low_c for w in weeks) < _STEADY_C
    words = _chart_words(place, weeks)
    spec = None if steady else in_page_colors(climate_spec(weeks, words=words))
    lamps = ""
    if place.lamp_ppfd_umol_m2_s:
        lamps = f"lamps of {place.lamp_ppfd_umol_m2_s:g} µmol m⁻² s⁻¹ for {place.lamp_h:g} h"
    share = f"{wording.percent(place.cover_par_frac)} of the light comes through"
    dli = [w.dli_mol_m2_d for w in weeks]
    now = f"{dli[0]:.1f} mol m⁻² a day this week" if dli[0] > 0 else "dark"
    through = share if 0 < place.cover_par_frac < 1 else ""
    return PlaceCard(
        at=at,
        name=place.name,
        kind=place.kind.value,
        kind_words=place.kind.value.replace("_", " "),
        room=capacity_words(place),
        climate=climate_words(place, has_weather=house.weather_file is not None),
        light="; ".join(part for part in (now, through, lamps) if part),
        price=f"{wording.money(place.price_per_m2_day, house.prices.currency)} a m² and day"
        if place.price_per_m2_day
        else "",
        n_squares=max(round(n_whole / each), 1),
        n_usable=max(round(n_usable / each), 1),
        square_words=what,
        spec=spec,
        chart_words=words,
        assumed=_assumed_keys("place", table, place),
    )


def _assumed_keys(name: str, table: Mapping[str, Any], place: Place) -> tuple[str, ...]:
    """List what a place leaves to an assumption."""
    found = []
    for each in TABLES[name]:
        if not each.assumed or each.key in table:
            continue
        if each.key == "usable_frac" and place.n_positions is not None:
            continue
        value = getattr(place, each.key)
        found.append(f"{each.label.lower()} {value:g}")
    return tuple(found)


def _weeks(year: YearOfPlace, today: date) -> list[ClimateWeek]:
    """Sum the days of a typical year up by weeks, from the present one on."""
    monday = today - timedelta(days=today.weekday())
    weeks = []
    for at in range(_WEEKS):
        start = monday + timedelta(weeks=at)
        days = np.array([day_of_common_year(start + timedelta(days=n)) for n in range(7)])
        weeks.append(
            ClimateWeek(
                monday=start,
                mean_c=float(year.mean_c[days].mean()),
                mean_low_c=float(year.mean_low_c[days].mean()),
                mean_high_c=float(year.mean_high_c[days].mean()),
                low_c=float(year.low_c[days].min()),
                high_c=float(year.high_c[days].max()),
                coldest_c=float(year.coldest_c[days].min()),
                dli_mol_m2_d=float(year.dli_mol_m2_d[days].mean()),
            )
        )
    return weeks


def _chart_words(place: Place, weeks: list[ClimateWeek]) -> str:
    """Say what the chart of a place shows."""
    now = weeks[0]
    coldest = min(weeks, key=lambda each: each.coldest_c)
    return (
        f"{wording.sentence_start(place.name)} this week: {now.mean_c:.0f} °C on average, from"
        f" {now.low_c:.0f} to {now.high_c:.0f} °C by the hour. In a cold year it falls to"
        f" {coldest.coldest_c:.0f} °C, in the week of {wording.span(coldest.monday, None)}."
    )


def _values(
    name: str, table: Mapping[str, Any], *, house: House, skip: tuple[str, ...] = ()
) -> tuple[HouseValue, ...]:
    """Show the values of a table; those left to a default say which."""
    has_weather = house.weather_file is not None
    shown = []
    for each in TABLES[name]:
        if each.key in skip:
            continue
        if each.key in {"room_day_c", "room_night_c", "light"} and has_weather:
            continue
        if each.key == "weather_spread_c" and not has_weather:
            continue
        value = table.get(each.key)
        text = shown_value(value) if value is not None else each.default
        if not text and value is None:
            continue
        unit = "" if each.kind.value == "number" and " to " in each.unit else each.unit
        if each.unit == "money":
            number = float(value) if isinstance(value, int | float) else float(each.default or 0)
            text = wording.money(number, house.prices.currency)
            unit = "" if house.prices.currency else MONEY_UNIT
        label = each.label
        shown.append(HouseValue(label, text, unit, each.assumed and value is None))
    return tuple(shown)


def _rates(table: Mapping[str, Any]) -> tuple[HouseValue, ...]:
    """Show the rates of work, the house's own or the reference's."""
    found = []
    for rate in labor_defaults().values():
        own = rate.task in table
        value = table[rate.task] if own else rate.value
        found.append(
            HouseValue(
                label=rate.label,
                value=f"{value:g}" if isinstance(value, int | float) else str(value),
                unit=rate.unit,
                is_assumed=not own and rate.basis == "assumption",
                source="your own" if own else f"{rate.source}, {rate.basis}"
                if rate.source not in {"assumption", "memory"} else rate.basis,
                is_own=own,
            )
        )  # fmt: skip
    return tuple(found)


def _named(
    tables: list[Mapping[str, Any]], labels: Mapping[str, str] | None = None
) -> tuple[NamedTable, ...]:
    """Show the tables of a list, each with its values in words."""
    found = []
    for at, table in enumerate(tables):
        name = str(table.get("name", table.get("id", "")))
        parts = [
            f"{(labels or {}).get(key, key.replace('_', ' '))} {shown_value(value)}"
            for key, value in table.items()
            if key not in {"name", "id"}
        ]
        found.append(NamedTable(at, name, "; ".join(parts)))
    return tuple(found)


def _containers(tables: list[Mapping[str, Any]], catalog: Catalog) -> tuple[OwnedContainer, ...]:
    """Show what the house owns of each container."""
    found = []
    stock_keys = {each.key for each in TABLES["container"]}
    for at, table in enumerate(tables):
        container = catalog.containers.get(str(table.get("id", "")))
        if container is None:
            continue
        reusable = bool(table.get("reusable", container.reusable))
        back, wash = table.get("back_after_d", 7), table.get("wash_d", 1)
        found.append(
            OwnedContainer(
                at=at,
                id=container.id,
                name=container.name,
                n_in_stock=table.get("in_stock"),
                price=float(table.get("price", container.price)),
                is_reusable=reusable,
                back=f"back after {back} d, washed in {wash} d" if reusable else "goes out",
                per_rack=int(table.get("per_rack", 0)),
                is_own=bool(set(table) - stock_keys),
            )
        )
    return tuple(found)
