"""The house in: house.toml to the record of the house, with every stand-in value said aloud."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, get_type_hints
from zoneinfo import available_timezones

from sowbench.domain.records import (
    ContainerStock,
    Crew,
    House,
    Machine,
    Place,
    PlaceKind,
    Prices,
)
from sowbench.exchange.toml_tables import WEEKDAYS, TomlTable, read_toml, weekday
from sowbench.science.errors import InputFileError, Problem, UnknownNameError

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
_COVER_PAR_FRAC = {
    PlaceKind.YARD: 1.0,  # open sky
    PlaceKind.CHAMBER: 0.0,  # dark
    PlaceKind.COLD_STORE: 0.0,  # dark
    PlaceKind.LAMP_SHELF: 0.0,  # lamps alone
}
_COVERED = frozenset({PlaceKind.MIST, PlaceKind.HEALING})
_MINUTES_DAY = 1440.0


@dataclass(slots=True)
class _Reading:
    """What is read so far: problems, and sentences on what stands in for absent keys."""

    file: str
    problems: list[Problem] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)
    _places_of: dict[str, list[str]] = field(default_factory=dict)

    def assume(self, key: str, value: object, where: str, words: str = "") -> None:
        """Say that a default stands in for an absent key."""
        shown = f"{value:g}" if isinstance(value, float) else str(value)
        self.assumptions.append(f"{key} {shown}: {words or 'default'}, change in {where}")

    def assume_for_place(self, key: str, value: object, place: str, words: str = "") -> None:
        """Say the same of a place, one sentence for all places that share it."""
        shown = f"{value:g}" if isinstance(value, float) else str(value)
        self._places_of.setdefault(f"{key} {shown}: {words or 'default'}", []).append(place)

    def sentences(self) -> tuple[str, ...]:
        """Return every assumption."""
        for_places = (
            f"{sentence} for {', '.join(repr(each) for each in places)}, change in [[place]]"
            for sentence, places in self._places_of.items()
        )
        return (*self.assumptions, *for_places)


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
        places=(_windowsill(),),
        assumptions=(
            "no house file: a windowsill stands in; describe yours in a house file",
            "room_day_c 20, room_night_c 17: default, change in [house]",
            "light south: a window to the south, change in [house]",
            "area_m2 1.2 of which 1 usable: two windowsills about 2 m long, change in [[place]]",
            "no [crew]: no limit on hands, somebody looks in every day; minutes are still reported",
            "no [[container]]: every reference container can be bought at its price",
            *_price_assumptions(Prices()),
        ),
    )


def _windowsill() -> Place:
    """Return the place that stands in when a house names none."""
    return Place("windowsill", PlaceKind.WINDOWSILL, area_m2=1.2, usable_frac=1.0 / 1.2)


def read_house(
    path: str | Path,
    *,
    containers: Collection[str] | None = None,
    container_keys: Collection[str] | None = None,
    crop_keys: Collection[str] | None = None,
    minute_keys: Collection[str] | None = None,
    resolve_crop: Callable[[str], str] | None = None,
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
    reading = _Reading(str(path))
    tables, lists = _parts(reading, document)
    house = tables.get("house") or TomlTable(reading.file, "[house]", {}, reading.problems)
    record = _house(reading, house, Path(path).parent)
    stock, own = _containers(reading, lists["container"], containers, container_keys)
    known = None if containers is None else {*containers, *(str(each["id"]) for each in own)}
    record = replace(
        record,
        crew=_crew(reading, tables.get("crew"), lists["hands"]),
        minutes=_minutes(tables.get("minutes"), minute_keys),
        machines=_machines(lists["machine"], known),
        places=_places(reading, lists["place"], weather=house.has("weather")),
        stock=stock,
        own_containers=own,
        own_crops=_crops(lists["crop"], crop_keys, resolve_crop),
        prices=_prices(reading, tables.get("prices")),
    )
    house.refuse_rest()
    if reading.problems:
        raise InputFileError(reading.problems)
    return replace(record, assumptions=reading.sentences())


def _parts(
    reading: _Reading, document: dict[str, Any]
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


def _house(reading: _Reading, table: TomlTable, folder: Path) -> House:
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


def _crew(reading: _Reading, table: TomlTable | None, hands: list[TomlTable]) -> Crew:
    """Read [crew] and [[hands]]; without minutes there is no limit."""
    by_weekday = _hands(reading, hands)
    if table is None:
        table = TomlTable(reading.file, "[crew]", {}, reading.problems)
        if by_weekday is None:
            reading.assumptions.append("no [crew]: no limit on hands; minutes are still reported")
    minutes = table.number("minutes_per_day", least=0, most=1000 * _MINUTES_DAY, unit="min")
    if minutes is not None and by_weekday is not None:
        table.problem("minutes_per_day", "Give minutes_per_day or [[hands]], not both.")
    work_days = table.weekdays("work_days")
    if work_days is None:
        work_days = (0, 1, 2, 3, 4)
        if by_weekday is not None:
            work_days = tuple(day for day in range(7) if by_weekday[day] > 0)
        shown = ", ".join(WEEKDAYS[day] for day in work_days)
        reading.assume("work_days", shown, "[crew]")
    elif not work_days and isinstance(table.values["work_days"], list):
        table.problem("work_days", "work_days must name at least one weekday.")
    sow_days = table.weekdays("sow_days")
    for day in sow_days or ():
        if day not in work_days:
            table.problem("sow_days", f"{WEEKDAYS[day]} is a sow day but not among work_days.")
    if sow_days is not None and not sow_days:
        table.problem("sow_days", "sow_days must name at least one weekday; absent: work days.")
    weekend = table.number("weekend_minutes", most=1000 * _MINUTES_DAY, unit="min")
    rate = table.number("rate_per_hour")
    setup = table.number("setup_minutes", most=_MINUTES_DAY, unit="min")
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


def _hands(reading: _Reading, tables: list[TomlTable]) -> tuple[float, ...] | None:
    """Read [[hands]] and add up their minutes by weekday."""
    if not tables:
        return None
    total = [0.0] * 7
    told_apart = []
    for name, table in zip(_unique(tables, "name"), tables, strict=True):
        table.text("language")
        if table.texts("tasks"):
            told_apart.append(name)
        by_day = table.table("minutes") if isinstance(table.values.get("minutes"), dict) else None
        if by_day is None:
            minutes = table.number("minutes", most=_MINUTES_DAY, unit="min")
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
                    value = by_day.number(key, most=_MINUTES_DAY, unit="min")
                    total[day_found] += value or 0.0
        table.refuse_rest()
    if told_apart:
        reading.assumptions.append(
            f"tasks of {', '.join(told_apart)}: the minutes of all hands are added up; who does"
            " which task is not planned"
        )
    return tuple(total)


def _unique(tables: list[TomlTable], key: str) -> list[str]:
    """Take the required name of each table and refuse a name given twice."""
    names: list[str] = []
    for table in tables:
        name = table.text(key, required=True)
        if name and name in names:
            table.problem(
                key, f"This {key} stands in an earlier table already; each needs its own."
            )
        names.append(name)
    return names


def _minutes(table: TomlTable | None, keys: Collection[str] | None) -> dict[str, float]:
    """Read [minutes], the house's own rates."""
    if table is None:
        return {}
    rates = {
        key: table.number(key, above=0.0) for key in table.values if keys is None or key in keys
    }
    table.refuse_rest(keys or ())
    return {key: value for key, value in rates.items() if value is not None}


def _machines(tables: list[TomlTable], containers: Collection[str] | None) -> tuple[Machine, ...]:
    """Read [[machine]]."""
    names = _unique(tables, "name")
    machines = []
    for name, table in zip(names, tables, strict=True):
        takes = table.texts("containers")
        if not takes and not isinstance(table.values.get("containers"), (str, dict)):
            table.problem("containers", "containers must list at least one container it takes.")
        for each in takes if containers is not None else ():
            if each not in (containers or ()):
                error = UnknownNameError.among(each, "container", containers or ())
                table.problem("containers", str(error))
        pace = table.number("trays_per_hour", above=0.0, most=10_000)
        if pace is None and not table.has("trays_per_hour"):
            table.problem("trays_per_hour", "trays_per_hour is required.")
        changeover = table.number("changeover_minutes", most=_MINUTES_DAY, unit="min")
        table.refuse_rest()
        machines.append(Machine(name, takes, pace or 0.0, changeover or 0.0))
    return tuple(machines)


def _places(reading: _Reading, tables: list[TomlTable], *, weather: bool) -> tuple[Place, ...]:
    """Read [[place]]; a house without one has a windowsill."""
    if not tables:
        reading.assumptions.append(
            "no [[place]]: a windowsill of 1.2 m2, 1 of it usable, stands in"
        )
        return (_windowsill(),)
    names = _unique(tables, "name")
    return tuple(
        _place(reading, table, name, weather=weather)
        for name, table in zip(names, tables, strict=True)
    )


def _place(reading: _Reading, table: TomlTable, name: str, *, weather: bool) -> Place:
    """Read one [[place]]."""
    kind_text = table.choice("kind", [each.value for each in PlaceKind], "")
    if not kind_text and not table.has("kind"):
        table.problem("kind", 'kind is required, as "bench".')
    kind = PlaceKind(kind_text) if kind_text else PlaceKind.BENCH
    positions = table.whole("positions", least=1, most=1_000_000)
    area = table.number("area_m2", above=0.0, most=1_000_000, unit="m2")
    if table.has("positions") == table.has("area_m2"):
        table.problem(
            "positions" if table.has("positions") else None,
            "Give exactly one of positions (lifted units it holds) and area_m2 (bench top).",
        )
    usable = table.number("usable_frac", above=0.0, most=1)
    if table.has("usable_frac") and table.has("positions"):
        table.problem("usable_frac", "usable_frac goes with area_m2, not with positions.")
    temp = table.number("temp_c", least=-10, most=45, unit="°C")
    heat_day = table.number("heat_day_c", least=-10, most=45, unit="°C")
    heat_night = table.number("heat_night_c", least=-10, most=45, unit="°C")
    vent = table.number("vent_c", least=0, most=60, unit="°C")
    _check_climate(table, weather=weather)
    for key, heat in (("heat_day_c", heat_day), ("heat_night_c", heat_night)):
        if vent is not None and heat is not None and vent <= heat:
            table.problem("vent_c", f"vent_c must be above {key} ({heat:g}).")
    par = table.number("cover_par_frac", most=1)
    ppfd = table.number("lamp_ppfd_umol_m2_s", most=2500, unit="µmol m-2 s-1")
    lamp_h = table.number("lamp_h", most=24, unit="h")
    if ppfd and not table.has("lamp_h"):
        table.problem("lamp_ppfd_umol_m2_s", "Lamps also need lamp_h, the hours they burn a day.")
    if lamp_h and not table.has("lamp_ppfd_umol_m2_s"):
        table.problem("lamp_h", "Lamps also need lamp_ppfd_umol_m2_s, their light at the plants.")
    default_par = _COVER_PAR_FRAC.get(kind, 0.65)
    if not table.has("cover_par_frac"):
        reading.assume_for_place("cover_par_frac", default_par, name)
    if area is not None and not table.has("usable_frac"):
        reading.assume_for_place("usable_frac", 0.85, name)
    covered = table.flag("covered", default=kind in _COVERED)
    price = table.number("price_per_m2_day")
    if not table.has("price_per_m2_day"):
        reading.assume_for_place("price_per_m2_day", 0.0, name, "room costs nothing")
    offset = table.number("mix_offset_c", least=-10, most=20, unit="°C")
    table.refuse_rest()
    return Place(
        name=name,
        kind=kind,
        n_positions=positions,
        area_m2=area,
        usable_frac=0.85 if usable is None else usable,
        temp_c=temp,
        heat_day_c=heat_day,
        heat_night_c=heat_night,
        vent_c=vent,
        mix_offset_c=offset or 0.0,
        covered=covered,
        cover_par_frac=default_par if par is None else par,
        lamp_ppfd_umol_m2_s=ppfd or 0.0,
        lamp_h=lamp_h or 0.0,
        price_per_m2_day=price or 0.0,
    )


def _check_climate(table: TomlTable, *, weather: bool) -> None:
    """Check that a place is held constant, or heated and vented, or follows the outside."""
    controls = [each for each in ("heat_day_c", "heat_night_c", "vent_c") if table.has(each)]
    if table.has("temp_c") and controls:
        table.problem("temp_c", f"Give temp_c (held constant) or {', '.join(controls)}, not both.")
    elif controls and not weather:
        table.problem(controls[0], f"{controls[0]} needs a weather file in [house].")


def _containers(
    reading: _Reading,
    tables: list[TomlTable],
    containers: Collection[str] | None,
    keys: Collection[str] | None,
) -> tuple[tuple[ContainerStock, ...], tuple[dict[str, object], ...]]:
    """Read [[container]]: what the house owns, and values that are its own."""
    if not tables:
        reading.assumptions.append(
            "no [[container]]: every reference container can be bought at its price"
        )
    stock: list[ContainerStock] = []
    own: list[dict[str, object]] = []
    for name, table in zip(_unique(tables, "id"), tables, strict=True):
        back = table.whole("back_after_d", most=365)
        wash = table.whole("wash_d", most=365)
        stock.append(
            ContainerStock(
                container=name,
                n_in_stock=table.whole("in_stock"),
                price=table.number("price"),
                reusable=(table.flag("reusable", default=False) if table.has("reusable") else None),
                back_after_d=7 if back is None else back,
                wash_d=1 if wash is None else wash,
                per_rack=table.whole("per_rack", most=10_000) or 0,
            )
        )
        if keys is not None:
            table.refuse_rest(keys)
        values = table.rest()
        if values:
            own.append({"id": name, **values})
        elif containers is not None and name and name not in containers:
            error = UnknownNameError.among(name, "container", containers)
            table.problem("id", f"{error} A container of your own needs its cells and sizes here.")
    return tuple(stock), tuple(own)


def _crops(
    tables: list[TomlTable],
    keys: Collection[str] | None,
    resolve_crop: Callable[[str], str] | None,
) -> tuple[dict[str, object], ...]:
    """Read [[crop]], the house's own values of a crop, or a crop of its own."""
    own: list[dict[str, object]] = []
    for name, table in zip(_unique(tables, "id"), tables, strict=True):
        crop = name
        if resolve_crop is not None and name:
            try:
                crop = resolve_crop(name)
            except UnknownNameError:
                crop = name
        if keys is not None:
            table.refuse_rest(keys)
        own.append({"id": crop, **table.rest()})
    return tuple(own)


def _prices(reading: _Reading, table: TomlTable | None) -> Prices:
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
