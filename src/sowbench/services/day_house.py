"""The house as one walks it: its places in order, its work days, its containers and crops."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sowbench.domain.records import Container, Crop, PlaceKind
from sowbench.domain.tray_grid import TrayGrid, fair_grid, tray_grid
from sowbench.reference.catalog import load_catalog
from sowbench.science.errors import SowbenchError

if TYPE_CHECKING:
    from sowbench.domain.ports import Unit

_DAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
# Keys of a [[container]] that say what the house owns, not what the container is.
_STOCK_KEYS: Final = frozenset({"in_stock", "back_after_d", "wash_d", "per_rack"})
_LIFTED_FROM: Final = frozenset({PlaceKind.CHAMBER})


@dataclass(frozen=True, slots=True)
class HouseWalk:
    """What the pages of a day's work need of the house.

    Attributes
    ----------
    places : mapping of str to PlaceKind
        Kinds by name, in walking order.
    work_days : frozenset of str
        As "Mon"; empty is every day.
    closed : frozenset of date
        Days on which nobody works.
    zone : ZoneInfo
        Time zone of the house.
    containers, crops : mapping
        Records by id.
    """

    places: Mapping[str, PlaceKind]
    work_days: frozenset[str]
    closed: frozenset[date]
    zone: ZoneInfo
    containers: Mapping[str, Container]
    crops: Mapping[str, Crop]

    def turn(self, place: str) -> int:
        """Return the turn of a place on the walk; places that the house does not name are last.

        Parameters
        ----------
        place : str
            Name of a place.

        Returns
        -------
        turn : int
            From 0 up.
        """
        return next((at for at, name in enumerate(self.places) if name == place), len(self.places))

    def is_chamber(self, place: str) -> bool:
        """Tell whether trays are pulled from a place when they leave it.

        Parameters
        ----------
        place : str
            Name of a place.

        Returns
        -------
        pulled : bool
            True for a chamber.
        """
        return self.places.get(place) in _LIFTED_FROM

    def crop_name(self, crop: str) -> str:
        """Name a crop as within a sentence.

        Parameters
        ----------
        crop : str
            Id of a crop.

        Returns
        -------
        name : str
            Its name, or the id of one that is not known.
        """
        record = self.crops.get(crop)
        return crop if record is None else record.name[:1].lower() + record.name[1:]

    def grid(self, container: str, n_cells: int) -> TrayGrid:
        """Lay out a container; one that is not known gets a fair grid of the cells it holds.

        Parameters
        ----------
        container : str
            Id of a container.
        n_cells : int
            Cells in the tray at hand.

        Returns
        -------
        grid : TrayGrid
            The layout.
        """
        record = self.containers.get(container)
        if record is None or record.cells < n_cells:
            return fair_grid(max(n_cells, 1))
        return tray_grid(record)

    def day_off(self, day: date) -> str:
        """Say why nobody works on a day.

        Parameters
        ----------
        day : date
            The day.

        Returns
        -------
        reason : str
            Blank on a work day.
        """
        if day in self.closed:
            return "the house is closed"
        weekday = _DAYS[day.weekday()]
        return "no work day" if self.work_days and weekday not in self.work_days else ""


def house_walk(unit: Unit) -> HouseWalk:
    """Read the house as one walks it.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.

    Returns
    -------
    walk : HouseWalk
        The current house; without one, no places and every day a work day.
    """
    version = unit.houses.current()
    return _walk("" if version is None else version.text)


@lru_cache(maxsize=8)
def _walk(text: str) -> HouseWalk:
    """Read the text of a house; it was checked when it was taken in."""
    document = tomllib.loads(text)
    crew = document.get("crew", {})
    places = {
        str(each.get("name", "")): PlaceKind(each.get("kind", PlaceKind.BENCH))
        for each in document.get("place", [])
    }
    catalog = load_catalog()
    containers = dict(catalog.containers)
    crops = dict(catalog.crops)
    own = [
        {key: value for key, value in each.items() if key not in _STOCK_KEYS}
        for each in document.get("container", [])
    ]
    try:
        whole = load_catalog(document.get("crop", []), own)
    except SowbenchError:
        # Taken in by an earlier version with what this one no longer knows: names stay as ids.
        pass
    else:
        containers, crops = dict(whole.containers), dict(whole.crops)
    closed = {each for each in (_day(day) for day in crew.get("closed", [])) if each}
    try:
        zone = ZoneInfo(str(document.get("house", {}).get("time_zone", "UTC")))
    except (ZoneInfoNotFoundError, ValueError):
        zone = ZoneInfo("UTC")
    work_days = frozenset(str(each)[:3].capitalize() for each in crew.get("work_days", []))
    return HouseWalk(places, work_days, frozenset(closed), zone, containers, crops)


def _day(value: object) -> date | None:
    """Read a day as TOML gives it, a date or its text."""
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError:
        return None
