"""The house in: house.toml to the record of the house, with every stand-in value said aloud."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace
from pathlib import Path
from typing import Any, get_type_hints
from zoneinfo import available_timezones

from sowbench.domain.records import Crew, House, Prices
from sowbench.exchange.house_parts import (
    MINUTES_DAY,
    Check,
    Reading,
    check_own,
    read_containers,
    read_machines,
    read_places,
    unique_names,
    windowsill_place,
)
from sowbench.exchange.toml_tables import WEEKDAYS, TomlTable, read_toml, weekday
from sowbench.science.errors import InputFileError, UnknownNameError

TABLES = ("house", "crew", "minutes", "prices")
LISTS = ("hands", "machine", "place", "container", "crop")
LIGHTS = (
    "north",
    "north-east",
    "east",
    "south-east",
    "south",
    "south-west",
    "west",
    "north-west",
    "lamps",
)

# Stand-ins where neither the house nor a source says anything; all assumptions.
ROOM_DAY_C, ROOM_NIGHT_C = 20.0, 17.0


def windowsill_house() -> House:
    """Return the house that stands in when no house file is given.

    Returns
    -------
    house : House
        One windowsill of 1 m2, a heated room, no limit on hands; each stand-in is an assumption.
    """
    return House(
        name="windowsill",
        room_day_c=ROOM_DAY_C,
        room_night_c=ROOM_NIGHT_C,
        light="south",
        crew=Crew(work_days=tuple(range(7)), sow_days=tuple(range(7))),
        places=(windowsill_place(),),
        assumptions=(
            "no house file: a windowsill stands in; describe yours in a house file",
            "room_day_c 20, room_night_c 17: default, change in [house]",
            "light south: a window to the south, change in [house]",
            "area_m2 1.2 of which 1 usable: two windowsills about 2 m long, change in [[place]]",
            f"cover_par_frac {windowsill_place().cover_par_frac:g}: default, change in [[place]]",
            "no [crew]: no limit on hands, somebody looks in every day; minutes are still reported",
            "no [[container]]: every reference container can be bought at its price",
            *_price_assumptions(Prices()),
        ),
    )


def read_house(
    path: str | Path,
    *,
    containers: Collection[str] | None = None,
    container_keys: Collection[str] | None = None,
    crop_keys: Collection[str] | None = None,
    minute_keys: Collection[str] | None = None,
    resolve_crop: Callable[[str], str] | None = None,
    check_container: Check | None = None,
    check_crop: Check | None = None,
) -> House:
    """Read house.toml.

    Parameters
    ----------
    path : str or Path
        File to read.
    containers : collection of str or None, default None
        Ids of the reference containers; None takes any.
    container_keys, crop_keys : collection of str or None, default None
        Keys that [[container]] and [[crop]] may have beside those of formats; None takes any.
    minute_keys : collection of str or None, default None
        Rates that [minutes] may have; None takes any.
    resolve_crop : callable or None, default None
        From any spelling of a crop to its id, raising UnknownNameError; an own crop that is not
        known keeps the id that the house gives it.
    check_container, check_crop : callable or None, default None
        Check of the own values of a container or a crop; raises a SowbenchError, which is
        reported with the table it came from.

    Returns
    -------
    house : House
        The house; ``weather_file`` is a path that exists; ``assumptions`` lists every stand-in.

    Raises
    ------
    InputFileError
        With every problem of the file; nothing of it is taken then.
    """
    document = read_toml(path)
    reading = Reading(str(path))
    tables, lists = _parts(reading, document)
    house = tables.get("house") or TomlTable(reading.file, "[house]", {}, reading.problems)
    record = _house(reading, house, Path(path).parent)
    stock, own = read_containers(
        reading, lists["container"], containers, container_keys, check_container
    )
    known = None if containers is None else {*containers, *(str(each["id"]) for each in own)}
    record = replace(
        record,
        crew=_crew(reading, tables.get("crew"), lists["hands"]),
        minutes=_minutes(tables.get("minutes"), minute_keys),
        machines=read_machines(lists["machine"], known),
        places=read_places(reading, lists["place"], weather=house.has("weather")),
        stock=stock,
        own_containers=own,
        own_crops=_crops(lists["crop"], crop_keys, resolve_crop, check_crop),
        prices=_prices(reading, tables.get("prices")),
    )
    house.refuse_rest()
    if reading.problems:
        raise InputFileError(reading.problems)
    return replace(record, assumptions=reading.sentences())


def _parts(
    reading: Reading, document: dict[str, Any]
) -> tuple[dict[str, TomlTable], dict[str, list[TomlTable]]]:
    """Sort the file into its tables and its lists of tables, refusing what is neither."""
    tables: dict[str, TomlTable] = {}
    lists: dict[str, list[TomlTable]] = {each: [] for each in LISTS}
    top = TomlTable(reading.file, "The file", document, reading.problems)
    for name, value in document.items():
        if name in TABLES:
            top.has(name)
            if isinstance(value, dict):
                tables[name] = TomlTable(reading.file, f"[{name}]", value, reading.problems)
            else:
                top.problem(name, f"Write [{name}] as one table, in single brackets.")
        elif name in LISTS:
            top.has(name)
            if isinstance(value, list) and all(isinstance(each, dict) for each in value):
                lists[name] = [
                    TomlTable(reading.file, _list_name(name, at, each), each, reading.problems)
                    for at, each in enumerate(value, start=1)
                ]
            else:
                top.problem(name, f"Write each as [[{name}]], in double brackets.")
    top.refuse_rest({*TABLES, *LISTS})
    return tables, lists


def _list_name(name: str, at: int, values: dict[str, Any]) -> str:
    """Name one table of a list by its place and its own name."""
    own = values.get("name", values.get("id"))
    return f'[[{name}]] {at} "{own}"' if isinstance(own, str) and own else f"[[{name}]] {at}"


def _house(reading: Reading, table: TomlTable, folder: Path) -> House:
    """Read [house]."""
    name = table.text("name", required=True)
    latitude = table.number("latitude_deg", least=-90, most=90, unit="°")
    longitude = table.number("longitude_deg", least=-180, most=180, unit="°")
    if table.has("latitude_deg") != table.has("longitude_deg"):
        there, other = "latitude_deg", "longitude_deg"
        if table.has("longitude_deg"):
            there, other = other, there
        table.problem(there, f"Give {other} as well; the sun needs both.")
    spread = table.number("weather_spread_c", least=0, most=6, unit="°C")
    confidence = table.number("confidence_frac", least=0.5, most=0.999)
    room_day = table.number("room_day_c", least=5, most=40, unit="°C")
    room_night = table.number("room_night_c", least=0, most=40, unit="°C")
    light = table.choice("light", LIGHTS, "")
    weather = _weather_file(table, folder)
    if table.has("weather"):
        for key in ("room_day_c", "room_night_c", "light"):
            if table.has(key):
                table.problem(
                    key,
                    f"{key} is for a house without weather; with it give places temp_c or heat.",
                )
        if not table.has("weather_spread_c"):
            reading.assume("weather_spread_c", 1.5, "[house]")
    else:
        if room_day is None and not table.has("room_day_c"):
            room_day = ROOM_DAY_C
            reading.assume("room_day_c", ROOM_DAY_C, "[house]", "no weather file, default")
        if room_night is None and not table.has("room_night_c"):
            room_night = ROOM_NIGHT_C
            reading.assume("room_night_c", ROOM_NIGHT_C, "[house]", "no weather file, default")
        if not table.has("light"):
            light = "south"
            reading.assume("light", light, "[house]", "no weather file, a window to the south")
    if not table.has("confidence_frac"):
        reading.assume("confidence_frac", 0.95, "[house]")
    return House(
        name=name,
        latitude_deg=latitude,
        longitude_deg=longitude,
        time_zone=_time_zone(table),
        weather_file=weather,
        weather_spread_c=1.5 if spread is None else spread,
        room_day_c=room_day,
        room_night_c=room_night,
        light=light,
        confidence_frac=0.95 if confidence is None else confidence,
        school=table.flag("school", default=False),
    )


def _weather_file(table: TomlTable, folder: Path) -> str | None:
    """Find the weather file beside the house file."""
    text = table.text("weather")
    if not text:
        if table.has("weather") and isinstance(table.values["weather"], str):
            table.problem(
                "weather", "weather must name a file; leave the key out if there is none."
            )
        return None
    found = folder / text
    try:
        there = found.is_file()
    except (OSError, ValueError):
        there = False
    if not there:
        table.problem("weather", f"There is no weather file {str(found)!r}.")
        return None
    return str(found)


def _time_zone(table: TomlTable) -> str:
    """Check the name of the time zone where the system knows the list of names."""
    text = table.text("time_zone", "UTC") or "UTC"
    known = available_timezones() if text != "UTC" else set()
    if known and text not in known:
        near = UnknownNameError.among(text, "time zone", known).nearest
        advice = f" Did you mean {' or '.join(near)}?" if near else ""
        table.problem("time_zone", f"time_zone must be an IANA name, as Etc/GMT+5 or UTC.{advice}")
    return text


def _crew(reading: Reading, table: TomlTable | None, hands: list[TomlTable]) -> Crew:
    """Read [crew] and [[hands]]; without minutes there is no limit."""
    by_weekday = _hands(reading, hands)
    if table is None:
        table = TomlTable(reading.file, "[crew]", {}, reading.problems)
        if by_weekday is None:
            reading.assumptions.append("no [crew]: no limit on hands; minutes are still reported")
    minutes = table.number("minutes_per_day", least=0, most=1000 * MINUTES_DAY, unit="min")
    if minutes is not None and by_weekday is not None:
        table.problem("minutes_per_day", "Give minutes_per_day or [[hands]], not both.")
    work_days = table.weekdays("work_days")
    if work_days is None:
        work_days = (0, 1, 2, 3, 4)
        if by_weekday is not None:
            work_days = tuple(day for day in range(7) if by_weekday[day] > 0)
        shown = ", ".join(WEEKDAYS[day] for day in work_days)
        reading.assume("work_days", shown, "[crew]")
    elif table.values["work_days"] == []:
        table.problem("work_days", "work_days must name at least one weekday.")
    sow_days = table.weekdays("sow_days")
    for day in sow_days or ():
        if day not in work_days:
            table.problem("sow_days", f"{WEEKDAYS[day]} is a sow day but not among work_days.")
    if table.values.get("sow_days") == []:
        table.problem("sow_days", "sow_days must name at least one weekday; absent: work days.")
    weekend = table.number("weekend_minutes", most=1000 * MINUTES_DAY, unit="min")
    rate = table.number("rate_per_hour")
    setup = table.number("setup_minutes", most=MINUTES_DAY, unit="min")
    if weekend is None and len(work_days) < 7:
        reading.assume("weekend_minutes", 30.0, "[crew]")
    if rate is None:
        reading.assume("rate_per_hour", 0.0, "[crew]", "labor costs nothing")
    if setup is None:
        reading.assume("setup_minutes", 6.0, "[crew]")
    closed = table.days("closed")
    table.refuse_rest()
    return Crew(
        minutes_per_day=minutes,
        minutes_by_weekday=by_weekday,
        work_days=work_days,
        sow_days=sow_days or work_days,
        weekend_minutes=30.0 if weekend is None else weekend,
        closed=closed,
        rate_per_hour=rate or 0.0,
        setup_minutes=6.0 if setup is None else setup,
    )


def _hands(reading: Reading, tables: list[TomlTable]) -> tuple[float, ...] | None:
    """Read [[hands]] and add up their minutes by weekday."""
    if not tables:
        return None
    total = [0.0] * 7
    told_apart = []
    for name, table in zip(unique_names(tables, "name"), tables, strict=True):
        table.text("language")
        if table.texts("tasks"):
            told_apart.append(name)
        by_day = table.table("minutes") if isinstance(table.values.get("minutes"), dict) else None
        if by_day is None:
            minutes = table.number("minutes", most=MINUTES_DAY, unit="min")
            if minutes is None and not table.has("minutes"):
                table.problem("minutes", "minutes is required, as { Mon = 240, Thu = 480 }.")
            for day in range(5):  # A plain number is meant for Monday to Friday.
                total[day] += minutes or 0.0
        else:
            for key in by_day.values:
                day_found = weekday(key)
                if day_found is None:
                    by_day.problem(key, f"{key!r} is no weekday; use {', '.join(WEEKDAYS)}.")
                else:
                    value = by_day.number(key, most=MINUTES_DAY, unit="min")
                    total[day_found] += value or 0.0
        table.refuse_rest()
    if told_apart:
        reading.assumptions.append(
            f"tasks of {', '.join(told_apart)}: the minutes of all hands are added up; who does"
            " which task is not planned"
        )
    return tuple(total)


def _minutes(table: TomlTable | None, keys: Collection[str] | None) -> dict[str, float]:
    """Read [minutes], the house's own rates."""
    if table is None:
        return {}
    rates = {
        key: table.number(key, above=0.0) for key in table.values if keys is None or key in keys
    }
    table.refuse_rest(keys or ())
    return {key: value for key, value in rates.items() if value is not None}


def _crops(
    tables: list[TomlTable],
    keys: Collection[str] | None,
    resolve_crop: Callable[[str], str] | None,
    check: Check | None,
) -> tuple[dict[str, object], ...]:
    """Read [[crop]], the house's own values of a crop, or a crop of its own."""
    own: list[dict[str, object]] = []
    for name, table in zip(unique_names(tables, "id"), tables, strict=True):
        crop = name
        if resolve_crop is not None and name:
            try:
                crop = resolve_crop(name)
            except UnknownNameError:
                crop = name
        if keys is not None:
            table.refuse_rest(keys)
        values = {"id": crop, **table.rest()}
        check_own(table, values, check)
        own.append(values)
    return tuple(own)


def _prices(reading: Reading, table: TomlTable | None) -> Prices:
    """Read [prices]; each absent key takes its default, said aloud."""
    table = table or TomlTable(reading.file, "[prices]", {}, reading.problems)
    values: dict[str, Any] = {"currency": table.text("currency")}
    absent = set()
    for name in get_type_hints(Prices):
        if name == "currency":
            continue
        value = table.number(name, most=1_000_000)
        if value is not None:
            values[name] = value
        if not table.has(name):
            absent.add(name)
    table.refuse_rest()
    prices = Prices(**values)
    reading.assumptions += [
        each for each in _price_assumptions(prices) if each.split(maxsplit=1)[0] in absent
    ]
    return prices


def _price_assumptions(prices: Prices) -> list[str]:
    """Say each price as a default."""
    return [
        f"{name} {getattr(prices, name):.2f}: default, change in [prices]"
        for name in get_type_hints(Prices)
        if name != "currency"
    ]
