"""What a plan is made from, out of the house book; and a set of files taken into a book."""

from __future__ import annotations

import re
import tempfile
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path, PurePath, PureWindowsPath
from typing import TYPE_CHECKING, Final

from sowbench.domain.records import House, Order, SeedLot
from sowbench.exchange.weather import read_weather
from sowbench.planning.inputs import PlanInputs
from sowbench.reference.catalog import Catalog
from sowbench.science.errors import InputFileError, Problem, UnknownNameError
from sowbench.science.weather_year import WeatherYear
from sowbench.services.book_state import (
    done_since,
    followed_sowings,
    given_before,
    less_given,
    pins_that_hold,
    standings_now,
)
from sowbench.services.inputs import InputFiles, load_house, load_inputs
from sowbench.services.seed_stock import stocks

if TYPE_CHECKING:
    from sowbench.domain.ports import Unit

HOUSE_FILE: Final = "house.toml"
_KEPT_HOUSES: Final = 8


@dataclass(frozen=True, slots=True)
class BookInputs:
    """What a plan is made from, as the book has it.

    Attributes
    ----------
    inputs : PlanInputs
        For the planner.
    cancelled : tuple of Order
        Orders that are not planned.
    house_version : int or None
        Version of the house; None where a windowsill stands in.
    based_on : int or None
        The plan that is kept to.
    learned : str
        What the house had learned, as JSON, to be kept with the plan; blank if nothing.
    """

    inputs: PlanInputs
    cancelled: tuple[Order, ...] = ()
    house_version: int | None = None
    based_on: int | None = None
    learned: str = ""


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What a set of files brought into a book."""

    n_orders: int
    n_lots: int
    n_standings: int
    n_pins: int
    house_version: int | None
    notes: tuple[str, ...]


def house_of(unit: Unit, version: int | None = None) -> tuple[House, Catalog, WeatherYear | None]:
    """Return the house of a book with the reference under its own values.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.
    version : int or None, default None
        Version of the house; None is the current one.

    Returns
    -------
    house : House
        The house; a windowsill where the book has none.
    catalog : Catalog
        The reference with the house's own values.
    weather : WeatherYear or None
        The typical year that the house names.

    Raises
    ------
    UnknownNameError
        If there is no such version.
    InputFileError
        With every problem of house.toml, or of its weather file.
    """
    found = unit.houses.current() if version is None else unit.houses.get(version)
    if found is None:
        if version is not None:
            raise UnknownNameError(str(version), "version of the house")
        return _windowsill()
    name = weather_name(found.text)
    if name and name not in unit.files.names():
        rule = f"The book has no weather file {name!r}; give it with the house."
        raise InputFileError([Problem(HOUSE_FILE, None, "weather", name, rule)])
    key = (found.text, unit.files.changed_at(name) if name else None)
    house = _HOUSES.get(key)
    if house is None:
        house = read_house_text(found.text, unit.files.get(name) if name else None)
        if len(_HOUSES) >= _KEPT_HOUSES:
            _HOUSES.pop(next(iter(_HOUSES)))
        _HOUSES[key] = house
    return house


_HOUSES: Final[dict[tuple[str, datetime | None], tuple[House, Catalog, WeatherYear | None]]] = {}
"""Houses read by this process, the oldest first; a version never changes."""


@lru_cache(maxsize=1)
def _windowsill() -> tuple[House, Catalog, WeatherYear | None]:
    """Return the house that stands in where the book has none."""
    return (*load_house(None), None)


def weather_name(text: str) -> str:
    """Return the name of the weather file that a house names.

    Parameters
    ----------
    text : str
        house.toml.

    Returns
    -------
    name : str
        Name without a folder; blank if the house names none, or cannot be read.

    Raises
    ------
    InputFileError
        If it is not the name of a file alone.
    """
    try:
        name = tomllib.loads(text).get("house", {}).get("weather", "")
    except (tomllib.TOMLDecodeError, AttributeError):
        return ""  # reading the house says what is wrong
    if not isinstance(name, str) or not name:
        return ""
    if name != base_name(name):
        rule = f"In a book, weather is the name of a file alone: {base_name(name)!r}."
        raise InputFileError([Problem(HOUSE_FILE, None, "weather", name, rule)])
    return name


def base_name(path: str) -> str:
    """Return the name of a file without its folders, whichever system wrote it.

    Parameters
    ----------
    path : str
        Path or name.

    Returns
    -------
    name : str
        The last part.
    """
    return PureWindowsPath(PurePath(path).name).name


def read_house_text(text: str, weather: bytes | None) -> tuple[House, Catalog, WeatherYear | None]:
    """Read a house from its text and the content of its weather file.

    Parameters
    ----------
    text : str
        house.toml.
    weather : bytes or None
        The file that the house names; None if it names none.

    Returns
    -------
    house : House
        The house; its weather file goes by its name.
    catalog : Catalog
        The reference with the house's own values.
    year : WeatherYear or None
        The weather.

    Raises
    ------
    InputFileError
        With every problem; it is told of house.toml, without a folder.
    """
    name = weather_name(text)
    with tempfile.TemporaryDirectory(prefix="sowbench-") as made:
        folder = Path(made)
        path = folder / HOUSE_FILE
        path.write_text(text, encoding="utf-8")
        if name and weather is not None:
            (folder / name).write_bytes(weather)
        try:
            house, catalog = load_house(path)
            year = None if house.weather_file is None else read_weather(house.weather_file)
        except InputFileError as error:
            raise InputFileError(_without_folder(error.problems, folder)) from None
    return replace(house, weather_file=name or None), catalog, year


def _without_folder(problems: Iterable[Problem], folder: Path) -> list[Problem]:
    """Name files as the person knows them."""
    prefix = f"{folder}/"
    return [
        replace(
            each,
            file=each.file.removeprefix(prefix),
            message=each.message.replace(prefix, ""),
        )
        for each in problems
    ]


def loaded_of(unit: Unit, from_date: date) -> BookInputs:
    """Gather what a plan is made from.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.
    from_date : date
        First day on which anything can be done.

    Returns
    -------
    loaded : BookInputs
        House, open orders, seed, what stands, pins, the current plan and what was done since.

    Raises
    ------
    InputFileError
        If the house that was kept cannot be read.
    """
    # What is learned is read off plans and journals, through this module.
    from sowbench.services.learned import learned_house_of, values_now

    house, catalog, weather = learned_house_of(unit, season=from_date.year)
    learned = values_now(unit, from_date.year)
    version = unit.houses.current()
    head = unit.plans.current()
    kept = None if head is None else unit.plans.body(head.id)
    begins = from_date if kept is None else min(kept.from_date, from_date)
    followed = followed_sowings(unit, kept)
    lives = {name: each.life for name, each in followed.items()}
    given = given_before(lives.values(), begins)
    orders = [less_given(each, given.get(each.id, 0)) for each in unit.orders_page.since(begins)]
    lots = lots_left(unit)
    standings = standings_now(unit.standings.all(), lives, kept, from_date, catalog)
    inputs = PlanInputs(
        house=house,
        catalog=catalog,
        orders=tuple(each for each in orders if each.status != "cancelled" and each.plants > 0),
        from_date=from_date,
        lots=lots or None,
        weather=weather,
        standings=standings,
        pins=pins_that_hold(unit, orders, kept),
        kept=kept,
        done=() if kept is None else done_since(kept, followed, begins, standings),
    )
    return BookInputs(
        inputs=inputs,
        cancelled=tuple(each for each in orders if each.status == "cancelled"),
        house_version=None if version is None else version.version,
        based_on=None if head is None else head.id,
        learned=learned.as_json() if learned else "",
    )


def lots_left(unit: Unit) -> tuple[SeedLot, ...]:
    """Return the seed lots with the seeds that are left of each.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.

    Returns
    -------
    lots : tuple of SeedLot
        What was sown since the stock was stated is taken off; the planner minds only what it sows.
    """
    lots = unit.lots.all()
    found = stocks(unit, lots)
    return tuple(replace(each, n_seeds=found[each.id].n_left) for each in lots)


def put_inputs(
    unit: Unit, files: InputFiles, from_date: date, at: datetime, person: str = ""
) -> TakenIn:
    """Take a set of files into a book, all or, if one is not right, nothing.

    Parameters
    ----------
    unit : Unit
        A unit of work that writes; the caller commits.
    files : InputFiles
        Orders, and as they are there house, seed, standing sowings and pins.
    from_date : date
        First day of the season, against which the files are read.
    at : datetime
        The instant.
    person : str, default ""
        Who gives them.

    Returns
    -------
    taken : TakenIn
        How much was new or changed, and what was left aside.

    Raises
    ------
    InputFileError
        With the problems of all files.
    """
    loaded = load_inputs(replace(files, keep=None, done=None), from_date)
    inputs = loaded.inputs
    reason = "taken in from files"
    version = None
    if files.house is not None:
        text = Path(files.house).read_text(encoding="utf-8-sig")
        weather = inputs.house.weather_file
        if weather is not None:
            path = Path(weather)
            unit.files.put(path.name, path.read_bytes(), at)
            text = _with_plain_weather(text, path.name)
        version = unit.houses.put(text, at, person, reason)
    orders = (*inputs.orders, *loaded.cancelled)
    return TakenIn(
        n_orders=unit.orders.put(orders, at, person, reason),
        n_lots=unit.lots.put(inputs.lots or (), at, person, reason),
        n_standings=unit.standings.put(inputs.standings, at, person, reason),
        n_pins=unit.pins.put(inputs.pins, at, person, reason),
        house_version=version,
        notes=loaded.notes,
    )


def _with_plain_weather(text: str, name: str) -> str:
    """Name the weather of a house without its folder, leaving everything else as it is."""
    pattern = r"^(\s*weather\s*=\s*)(\"[^\"\n]*\"|'[^'\n]*')"
    return re.sub(pattern, lambda found: f'{found[1]}"{name}"', text, count=1, flags=re.MULTILINE)
