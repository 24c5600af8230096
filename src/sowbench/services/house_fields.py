"""What can be filled in about a house: each value with its label, unit and what it changes."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import Enum
from typing import Final

from sowbench.domain.records import ContainerClass, PlaceKind
from sowbench.exchange.house import LIGHTS
from sowbench.reference.containers import CONTAINER_KEYS
from sowbench.reference.labor import labor_defaults


class FieldKind(Enum):
    """How a value is filled in."""

    TEXT = "text"
    NUMBER = "number"
    WHOLE = "whole"
    FLAG = "flag"
    CHOICE = "choice"
    WEEKDAYS = "weekdays"
    DAYS = "days"
    LIST = "list"
    WEEK = "week"


@dataclass(frozen=True, slots=True)
class HouseField:
    """One value of a table of house.toml.

    ``help`` says what it changes; ``default`` what holds where it is left blank, and ``assumed``
    whether nothing but an assumption stands behind that; ``source`` says what does.
    """

    key: str
    label: str
    kind: FieldKind = FieldKind.TEXT
    unit: str = ""
    help: str = ""
    default: str = ""
    assumed: bool = False
    choices: tuple[str, ...] = ()
    source: str = ""


MONEY_UNIT: Final = "money units of the house"
"""What money is counted in where the house names no currency."""

_T = FieldKind.TEXT
_N = FieldKind.NUMBER
_W = FieldKind.WHOLE
_F = FieldKind.FLAG
_C = FieldKind.CHOICE


def _minutes() -> tuple[HouseField, ...]:
    """List the rates of work, with the reference's own beside them."""
    return tuple(
        HouseField(
            rate.task, rate.label, _N, rate.unit, rate.why, f"{rate.value:g}",
            assumed=rate.basis == "assumption", source=f"{rate.source}, {rate.basis}",
        )
        for rate in labor_defaults().values()
    )  # fmt: skip


def _own_container() -> tuple[HouseField, ...]:
    """List the values of a container itself."""
    flags = {"takes_mix", "organic_ok"}
    words = {"name", "kind", "cell_shape"}
    found = []
    for key, (label, unit, _, _) in CONTAINER_KEYS.items():
        if key in {"price", "reusable"}:
            continue
        kind = _F if key in flags else _T if key in words else _N
        choices: tuple[str, ...] = ()
        if key == "container_class":
            kind, choices = _C, tuple(each.value for each in ContainerClass)
        if key in {"cells", "rows", "cols"}:
            kind = _W
        found.append(HouseField(key, label, kind, unit, choices=choices))
    return tuple(found)


TABLES: Final[Mapping[str, tuple[HouseField, ...]]] = {
    "house": (
        HouseField("name", "Name of the house"),
        HouseField("latitude_deg", "Latitude", _N, "°", "the sun, with longitude; blank: the"
                   " weather file's"),
        HouseField("longitude_deg", "Longitude", _N, "°", "west is below 0"),
        HouseField("time_zone", "Time zone", _T, "", "decides which day it is", "UTC"),
        HouseField("weather", "Weather file", _C, "", "typical year of the outside; take one in"
                   " with the house"),
        HouseField("weather_spread_c", "How much weeks differ between years", _N, "°C",
                   "wider: less sure of any day", "1.5", assumed=True),
        HouseField("room_day_c", "Room by day", _N, "°C", "only without a weather file", "20",
                   assumed=True),
        HouseField("room_night_c", "Room by night", _N, "°C", "only without a weather file", "17",
                   assumed=True),
        HouseField("light", "The window looks", _C, "", "only without a weather file", "south",
                   assumed=True, choices=LIGHTS),
        HouseField("confidence_frac", "Chance wanted that an order has enough", _N, "0.5 to 0.999",
                   "higher: more cells are sown", "0.95", assumed=True),
        HouseField("school", "A school: no treated seed, acid or concentrate on any card", _F),
    ),
    "crew": (
        HouseField("minutes_per_day", "Minutes of the whole crew on a work day", _N, "min",
                   "what a day can hold; blank: no limit"),
        HouseField("work_days", "Days of work", FieldKind.WEEKDAYS, "",
                   "when trays are moved, potted on, packed", "Mon to Fri", assumed=True),
        HouseField("sow_days", "Days of sowing", FieldKind.WEEKDAYS, "",
                   "sowings are put together on these", "the days of work"),
        HouseField("weekend_minutes", "Minutes on other days", _N, "min",
                   "for what cannot wait", "30", assumed=True),
        HouseField("closed", "Closed days", FieldKind.DAYS, "",
                   "nobody is there; 2027-05-31, 2027-12-24"),
        HouseField("rate_per_hour", "What an hour costs", _N, "money", "labor in the cost of a"
                   " plant", "0", assumed=True),
        HouseField("setup_minutes", "Minutes to set a sowing up, and for each change of lot", _N,
                   "min", "more: sowings are put together", "6", assumed=True),
    ),
    "hands": (
        HouseField("name", "Name"),
        HouseField("minutes", "Minutes", FieldKind.WEEK, "min",
                   "as Mon 240, Thu 480; or one number for Monday to Friday"),
        HouseField("tasks", "Does", FieldKind.LIST, "", "told, not planned; with commas between"),
        HouseField("language", "Language"),
    ),
    "minutes": _minutes(),
    "machine": (
        HouseField("name", "Name"),
        HouseField("containers", "Containers it takes", FieldKind.LIST, "",
                   "their ids, with commas between"),
        HouseField("trays_per_hour", "Trays an hour", _N, "", "faster: sowing takes less of a day"),
        HouseField("changeover_minutes", "Minutes to change over", _N, "min", "", "0"),
    ),
    "place": (
        HouseField("name", "Name of the place"),
        HouseField("kind", "Kind", _C, "", "what it can be used for",
                   choices=tuple(each.value for each in PlaceKind)),
        HouseField("positions", "Trays it holds", _W, "trays", "or else the area"),
        HouseField("area_m2", "Area of the bench top", _N, "m²", "or else trays"),
        HouseField("usable_frac", "Share of the area that can be filled", _N, "0 to 1",
                   "paths and gaps off", "0.85", assumed=True),
        HouseField("temp_c", "Held constant at", _N, "°C", "not with the next three"),
        HouseField("heat_day_c", "Heated by day to", _N, "°C", "needs a weather file"),
        HouseField("heat_night_c", "Heated by night to", _N, "°C", "needs a weather file"),
        HouseField("vent_c", "Vented above", _N, "°C", "needs a weather file"),
        HouseField("mix_offset_c", "Mix warmer than the air by", _N, "°C",
                   "a mat or the sun; decides how fast seed comes up", "0"),
        HouseField("covered", "Covered, or in fog: the mix does not cool by evaporation", _F),
        HouseField("cover_par_frac", "Light that comes through", _N, "0 to 1",
                   "less light: slower, fewer usable", "0.65; 1 in a yard; 0 in a chamber",
                   assumed=True),
        HouseField("lamp_ppfd_umol_m2_s", "Light of lamps at the plants", _N, "µmol m⁻² s⁻¹",
                   "with the hours"),
        HouseField("lamp_h", "Lamps burn", _N, "hours a day", "with the light"),
        HouseField("price_per_m2_day", "What a square meter costs a day", _N, "money",
                   "heat included; decides where a sowing stands", "0", assumed=True),
    ),
    "container": (
        HouseField("id", "Container", _T, "", "an id of the handbook, or one of your own"),
        HouseField("in_stock", "How many there are", _W, "",
                   "blank: as many as needed are bought"),
        HouseField("price", "What one costs", _N, "money", "", "the handbook's"),
        HouseField("reusable", "Comes back and is washed", _C, "", "held until it is back",
                   "the handbook's", choices=("yes", "no")),
        HouseField("back_after_d", "Days until it is back", _W, "d", "", "7", assumed=True),
        HouseField("wash_d", "Days until it is washed", _W, "d", "", "1", assumed=True),
        HouseField("per_rack", "How many go on a rack", _W, "", "", "no racks"),
    ),
    "prices": (
        HouseField("currency", "Currency", _T, "", "shown with money"),
        HouseField("short_plant", "A plant too few costs", _N, "money",
                   "higher: more is sown to be sure", "0.60", assumed=True),
        HouseField("late_plant_day", "A plant late by a day costs", _N, "money", "", "0.05",
                   assumed=True),
        HouseField("overgrown_plant", "An overgrown plant costs", _N, "money", "", "0.30",
                   assumed=True),
        HouseField("surplus_plant", "A plant too many still brings", _N, "money", "", "0.00",
                   assumed=True),
        HouseField("mix_per_l", "A liter of mix costs", _N, "money", "", "0.08", assumed=True),
        HouseField("label", "A label costs", _N, "money", "", "0.02", assumed=True),
    ),
}  # fmt: skip
"""Values of each table that has a form; those of a crop are the handbook's keys."""

OWN_CONTAINER: Final = _own_container()
"""Values of a container itself, for one that is the house's own."""

LISTS: Final = ("hands", "machine", "place", "container", "crop")
"""Tables of which a house may have several."""

TITLES: Final = {
    "house": "The house",
    "crew": "The crew",
    "hands": "One of the crew",
    "minutes": "Rates of work",
    "machine": "A machine",
    "place": "A place",
    "container": "A container",
    "crop": "Own values of a crop",
    "prices": "Prices",
}
"""What each table is about."""

FLAG_AS_CHOICE: Final = frozenset({"reusable"})
"""Flags of which a blank means something else than no."""


def in_words(message: str, fields: Iterable[HouseField]) -> str:
    """Say a problem with the labels of its fields, not with the keys of the file.

    Parameters
    ----------
    message : str
        What is wrong, as the reader of house.toml says it.
    fields : iterable of HouseField
        Fields that it may name.

    Returns
    -------
    text : str
        The same with labels in quotes.

    Examples
    --------
    >>> in_words("area_m2 must be above 0.", [HouseField("area_m2", "Area of the bench top")])
    '“Area of the bench top” must be above 0.'
    """
    for each in fields:
        if "_" in each.key:
            message = re.sub(
                rf"(?<![\w.]){re.escape(each.key)}(?![\w.=])", f"“{each.label}”", message
            )
    return message


def with_money(fields: Iterable[HouseField], currency: str) -> tuple[HouseField, ...]:
    """Say the unit of money as the house does.

    Parameters
    ----------
    fields : iterable of HouseField
        The fields.
    currency : str
        Currency of the house; blank if it has none.

    Returns
    -------
    fields : tuple of HouseField
        With "crowns" in place of "money".
    """
    word = currency or MONEY_UNIT
    return tuple(replace(each, unit=each.unit.replace("money", word)) for each in fields)
