"""The values a crop has: their kinds, units and limits, and how a house's own value is checked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from enum import Enum
from typing import Final

from sowbench.domain.records import Emergence, Fact, Growth, LightNeed, Season
from sowbench.science.errors import OutOfRangeError, UnknownNameError

__all__ = ["CROP_KEYS", "Key", "Kind", "checked_value", "flatten", "house_fact"]


class Kind(Enum):
    """Kind of value."""

    NUMBER = "number"
    WHOLE = "whole number"
    FLAG = "yes or no"
    TEXT = "text"
    SPAN = "range of whole numbers such as 4-5"
    LIST = "list of names"


@dataclass(frozen=True, slots=True)
class Key:
    """One value of a crop: what it is called on a card, its unit and the limits it must keep."""

    label: str
    kind: Kind
    unit: str = ""
    least: float | None = None
    most: float | None = None
    choices: tuple[str, ...] = ()


_TEMP: Final = (-20.0, 60.0)

CROP_KEYS: Final[Mapping[str, Key]] = {
    "name": Key("name", Kind.TEXT),
    "scientific_name": Key("scientific name", Kind.TEXT),
    "kin": Key("kin", Kind.TEXT),
    "season": Key("raised", Kind.TEXT, choices=tuple(Season)),
    "group": Key("group", Kind.TEXT),
    "emergence.base_c": Key("base temperature", Kind.NUMBER, "°C", *_TEMP),
    "emergence.optimum_low_c": Key("optimum from", Kind.NUMBER, "°C", *_TEMP),
    "emergence.optimum_high_c": Key("optimum to", Kind.NUMBER, "°C", *_TEMP),
    "emergence.ceiling_c": Key("ceiling", Kind.NUMBER, "°C", *_TEMP),
    "emergence.thermal_time_cd": Key("thermal time to half up", Kind.NUMBER, "°C d", 1, 2000),
    "emergence.sigma_seed": Key("spread between seeds (log)", Kind.NUMBER, "", 0, 2),
    "emergence.sigma_pace": Key("doubt about the pace (log)", Kind.NUMBER, "", 0, 2),
    "emergence.germination_share": Key("share until the root shows", Kind.NUMBER, "", 0, 1),
    "emergence.top_frac": Key("best final fraction", Kind.NUMBER, "", 0, 1),
    "emergence.cold_c": Key("half fail below", Kind.NUMBER, "°C", -60, 60),
    "emergence.cold_sd_c": Key("spread of the cold limit", Kind.NUMBER, "°C", 0.01, 40),
    "emergence.hot_c": Key("half fail above", Kind.NUMBER, "°C", -20, 120),
    "emergence.hot_sd_c": Key("spread of the hot limit", Kind.NUMBER, "°C", 0.01, 40),
    "growth.base_c": Key("base temperature", Kind.NUMBER, "°C", *_TEMP),
    "growth.optimum_c": Key("optimum", Kind.NUMBER, "°C", *_TEMP),
    "growth.ceiling_c": Key("ceiling", Kind.NUMBER, "°C", *_TEMP),
    "min_c": Key("coldest hour while growing", Kind.NUMBER, "°C", *_TEMP),
    "tone_min_c": Key("coldest hour when toned", Kind.NUMBER, "°C", *_TEMP),
    "chill_below_c": Key("chill counts below", Kind.NUMBER, "°C", *_TEMP),
    "chill_days_max": Key("days of chill borne", Kind.WHOLE, "d", 0, 365),
    "hardy": Key("may be raised in the open", Kind.FLAG),
    "tone_under_cover": Key("toned under cover only", Kind.FLAG),
    "tone_days": Key("days of toning", Kind.NUMBER, "d", 0, 60),
    "hold_d": Key("may be held", Kind.WHOLE, "d", 0, 120),
    "hold_min_c": Key("held no colder than", Kind.NUMBER, "°C", *_TEMP),
    "light_need": Key("light while germinating", Kind.TEXT, choices=tuple(LightNeed)),
    "cover": Key("covered", Kind.FLAG),
    "cover_words": Key("cover", Kind.TEXT),
    "depth_mm": Key("depth", Kind.NUMBER, "mm", 0, 100),
    "seeds_per_g": Key("seeds per gram", Kind.NUMBER, "seeds/g", 0.01, 200_000),
    "seedlings_per_unit": Key("seedlings per seed or fruit", Kind.NUMBER, "seedlings", 0.1, 30),
    "seeds_per_cell": Key("seeds per cell, usual", Kind.WHOLE, "seeds", 1, 60),
    "max_seeds_per_cell": Key("seeds per cell, most", Kind.WHOLE, "seeds", 1, 60),
    "plants_per_cell": Key("plants wanted per cell", Kind.SPAN, "plants", 1, 60),
    "unit": Key("ordered by the", Kind.TEXT, choices=("plant", "cell")),
    "vine": Key("vine crop", Kind.FLAG),
    "germination_frac": Key("germination of a usual lot", Kind.NUMBER, "", 0.01, 1),
    "germination_min_frac": Key("federal minimum", Kind.NUMBER, "", 0, 1),
    "germination_test_c": Key("temperature of the test", Kind.NUMBER, "°C", *_TEMP),
    "germination_temp_c": Key("germination, handbooks", Kind.NUMBER, "°C", *_TEMP),
    "germination_minimum_c": Key("germinates from", Kind.NUMBER, "°C", *_TEMP),
    "germination_optimum_c": Key("germinates best at", Kind.NUMBER, "°C", *_TEMP),
    "germination_maximum_c": Key("germinates up to", Kind.NUMBER, "°C", *_TEMP),
    "day_temp_c": Key("day, handbooks", Kind.NUMBER, "°C", *_TEMP),
    "night_temp_c": Key("night, handbooks", Kind.NUMBER, "°C", *_TEMP),
    "seed_price_per_1000": Key("price of seed", Kind.NUMBER, "money per 1,000", 0, 1e6),
    "placing": Key("seed is placed", Kind.LIST),
    "cells_ok": Key("containers", Kind.LIST),
    "weeks_to_transplant": Key("weeks from sowing", Kind.NUMBER, "weeks", 0, 104),
    "leaves_when_ready": Key("leaves when ready", Kind.NUMBER, "true leaves", 0, 60),
    "tray_cells": Key("cells of a plug tray", Kind.SPAN, "cells per tray", 1, 2000),
    "other_containers": Key("other containers", Kind.LIST, "container kinds"),
    "cubes_not_below_mm": Key("cubes no smaller than", Kind.NUMBER, "mm", 0, 300),
}

_NESTED: Final = {
    "emergence": {each.name for each in fields(Emergence)},
    "growth": {each.name for each in fields(Growth)},
}
# What a house's own crop may have beside its values.
_BESIDE: Final = frozenset({"id", "like", "ready", "note"})


def flatten(own: Mapping[str, object]) -> dict[str, object]:
    """Bring a house's own values to flat keys and refuse unknown ones.

    Parameters
    ----------
    own : mapping
        Values by key, ``{"emergence.thermal_time_cd": 80}`` or ``{"emergence": {...}}``.

    Returns
    -------
    flat : dict
        Values by key of `CROP_KEYS`.

    Raises
    ------
    UnknownNameError
        If a key is no value of a crop.
    """
    flat: dict[str, object] = {}
    for key, value in own.items():
        if key in _BESIDE:
            continue
        if key in _NESTED and isinstance(value, Mapping):
            for inner, each in value.items():
                flat[f"{key}.{inner}"] = each
        else:
            flat[key] = value
    for key in flat:
        if key not in CROP_KEYS:
            raise UnknownNameError.among(key, "value of a crop", CROP_KEYS)
    return flat


def checked_value(key: str, value: object, whose: str) -> float | str | bool | None:
    """Check a value against its kind and limits.

    Parameters
    ----------
    key : str
        Key of `CROP_KEYS`.
    value : object
        Number, text, flag or list as it comes from a table or a file.
    whose : str
        Crop, for the message.

    Returns
    -------
    value : float, str, bool or None
        The value in its kind; lists become text with ``|`` between, ranges ``low-high``.

    Raises
    ------
    OutOfRangeError
        If the value is of another kind or outside its limits.
    """
    spec = CROP_KEYS[key]
    name = f"{key} of {whose}"
    if value is None or value == "":
        return None
    if spec.kind is Kind.FLAG:
        if isinstance(value, bool):
            return value
        if value in {"yes", "no"}:
            return value == "yes"
        raise OutOfRangeError(name, "yes or no", value)
    if spec.kind is Kind.LIST:
        parts = value.split("|") if isinstance(value, str) else value
        if isinstance(parts, list | tuple) and all(isinstance(each, str) for each in parts):
            return "|".join(each.strip() for each in parts if each.strip())
        raise OutOfRangeError(name, "a list of names", value)
    if spec.kind is Kind.SPAN:
        return _checked_span(name, spec, value)
    if spec.kind is Kind.TEXT:
        if not isinstance(value, str) or (spec.choices and value not in spec.choices):
            rule = f"one of {', '.join(spec.choices)}" if spec.choices else "text"
            raise OutOfRangeError(name, rule, value)
        return str(value)
    return _checked_number(name, spec, value)


def _checked_number(name: str, spec: Key, value: object) -> float:
    unit = f" {spec.unit}" if spec.unit else ""
    rule = f"a {spec.kind.value} from {spec.least:g} to {spec.most:g}{unit}"
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise OutOfRangeError(name, rule, value)
    try:
        found = float(value)
    except ValueError as error:
        raise OutOfRangeError(name, rule, value) from error
    least = spec.least if spec.least is not None else found
    most = spec.most if spec.most is not None else found
    if not least <= found <= most or (spec.kind is Kind.WHOLE and found != int(found)):
        raise OutOfRangeError(name, rule, value)
    return found


def _checked_span(name: str, spec: Key, value: object) -> str:
    parts: list[object]
    if isinstance(value, list | tuple):
        parts = list(value)
    elif isinstance(value, str):
        parts = [each.strip() for each in value.split("-")]
    else:
        parts = [value]
    if len(parts) not in {1, 2}:
        raise OutOfRangeError(name, f"a {spec.kind.value}", value)
    low, high = (_checked_number(name, spec, each) for each in (parts[0], parts[-1]))
    if low > high:
        raise OutOfRangeError(name, "a range from the lower to the higher", value)
    return f"{low:g}-{high:g}"


def house_fact(key: str, value: object, whose: str, before: Fact | None) -> Fact:
    """Turn a house's own value into a fact that keeps the reference's beside it."""
    checked = checked_value(key, value, whose)
    low = high = None
    if CROP_KEYS[key].kind is Kind.SPAN and isinstance(checked, str):
        low, high = (float(each) for each in checked.split("-"))
    others = () if before is None else (before, *before.others)
    why = "the house's own value"
    return Fact(key, checked, CROP_KEYS[key].unit, low, high, "house file", "house", why, others)
