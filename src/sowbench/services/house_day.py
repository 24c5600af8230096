"""Which day it is in the house."""

from __future__ import annotations

import tomllib
from datetime import date, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

if TYPE_CHECKING:
    from sowbench.domain.ports import Unit


def day_in_house(unit: Unit, now: datetime) -> date:
    """Return the day in the house.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.
    now : datetime
        The instant, with its zone.

    Returns
    -------
    day : date
        The setting `today` if there is one, else the day in the time zone of the house.
    """
    fixed = unit.settings.get("today")
    if fixed:
        return date.fromisoformat(fixed)
    return now.astimezone(house_zone(unit)).date()


def house_zone(unit: Unit) -> ZoneInfo:
    """Return the time zone of the house, UTC where none is known.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.

    Returns
    -------
    zone : ZoneInfo
        The zone.
    """
    version = unit.houses.current()
    if version is None:
        return ZoneInfo("UTC")
    name = tomllib.loads(version.text).get("house", {}).get("time_zone", "UTC")
    try:
        return ZoneInfo(str(name))
    except (ZoneInfoNotFoundError, ValueError):
        return ZoneInfo("UTC")
