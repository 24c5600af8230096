"""Parts of the house file: places, machines, containers, and what stands in for absent keys."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field

from sowbench.domain.records import ContainerStock, Machine, Place, PlaceKind
from sowbench.exchange.toml_tables import TomlTable
from sowbench.science.errors import Problem, SowbenchError, UnknownNameError

Check = Callable[[Mapping[str, object]], object]

MINUTES_DAY = 1440.0

# Stand-ins where neither the house nor a source says anything; all assumptions.
_COVER_PAR_FRAC = {
    PlaceKind.YARD: 1.0,  # open sky
    PlaceKind.CHAMBER: 0.0,  # dark
    PlaceKind.COLD_STORE: 0.0,  # dark
    PlaceKind.LAMP_SHELF: 0.0,  # lamps alone
}
_COVERED = frozenset({PlaceKind.MIST, PlaceKind.HEALING})


@dataclass(slots=True)
class Reading:
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


def windowsill_place() -> Place:
    """Return the place that stands in when a house names none.

    Returns
    -------
    place : Place
        A windowsill of 1.2 m2, 1 m2 of it usable; an assumption.
    """
    return Place("windowsill", PlaceKind.WINDOWSILL, area_m2=1.2, usable_frac=1.0 / 1.2)


def unique_names(tables: list[TomlTable], key: str) -> list[str]:
    """Take the required name of each table and refuse a name given twice.

    Parameters
    ----------
    tables : list of TomlTable
        Tables of one kind.
    key : str
        Key of the name.

    Returns
    -------
    names : list of str
        Name of each table; blank where it is missing, which is reported.
    """
    names: list[str] = []
    for table in tables:
        name = table.text(key, required=True)
        if name and name in names:
            table.problem(
                key, f"This {key} stands in an earlier table already; each needs its own."
            )
        names.append(name)
    return names


def read_machines(
    tables: list[TomlTable], containers: Collection[str] | None
) -> tuple[Machine, ...]:
    """Read [[machine]].

    Parameters
    ----------
    tables : list of TomlTable
        One table a machine.
    containers : collection of str or None
        Ids known, the house's own included; None takes any.

    Returns
    -------
    machines : tuple of Machine
        In the order of the file.
    """
    names = unique_names(tables, "name")
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
        changeover = table.number("changeover_minutes", most=MINUTES_DAY, unit="min")
        table.refuse_rest()
        machines.append(Machine(name, takes, pace or 0.0, changeover or 0.0))
    return tuple(machines)


def read_places(reading: Reading, tables: list[TomlTable], *, weather: bool) -> tuple[Place, ...]:
    """Read [[place]]; a house without one has a windowsill.

    Parameters
    ----------
    reading : Reading
        Takes the sentences on what stands in.
    tables : list of TomlTable
        One table a place.
    weather : bool
        Whether the house has a weather file.

    Returns
    -------
    places : tuple of Place
        In the order of the file.
    """
    if not tables:
        reading.assumptions.append(
            "no [[place]]: a windowsill of 1.2 m2, 1 of it usable, stands in"
        )
        return (windowsill_place(),)
    names = unique_names(tables, "name")
    return tuple(
        _place(reading, table, name, weather=weather)
        for name, table in zip(names, tables, strict=True)
    )


def _place(reading: Reading, table: TomlTable, name: str, *, weather: bool) -> Place:
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


def read_containers(
    reading: Reading,
    tables: list[TomlTable],
    containers: Collection[str] | None,
    keys: Collection[str] | None,
    check: Check | None,
) -> tuple[tuple[ContainerStock, ...], tuple[dict[str, object], ...]]:
    """Read [[container]]: what the house owns, and values that are its own.

    Parameters
    ----------
    reading : Reading
        Takes the sentences on what stands in.
    tables : list of TomlTable
        One table a container.
    containers, keys : collection of str or None
        Ids of the reference, and keys that own values may have; None takes any.
    check : callable or None
        Check of own values; raises a SowbenchError.

    Returns
    -------
    stock : tuple of ContainerStock
        What the house owns, in the order of the file.
    own : tuple of dict
        Own values, each with its ``id``.
    """
    if not tables:
        reading.assumptions.append(
            "no [[container]]: every reference container can be bought at its price"
        )
    stock: list[ContainerStock] = []
    own: list[dict[str, object]] = []
    for name, table in zip(unique_names(tables, "id"), tables, strict=True):
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
            check_own(table, own[-1], check)
        elif containers is not None and name and name not in containers:
            error = UnknownNameError.among(name, "container", containers)
            table.problem("id", f"{error} A container of your own needs its cells and sizes here.")
    return tuple(stock), tuple(own)


def check_own(table: TomlTable, values: Mapping[str, object], check: Check | None) -> None:
    """Let the owner of the reference check own values, and report what it says.

    Parameters
    ----------
    table : TomlTable
        Table the values came from.
    values : mapping
        The values, with their ``id``.
    check : callable or None
        The check; None takes anything.
    """
    if check is None:
        return
    try:
        check(values)
    except SowbenchError as error:
        table.problem(None, str(error))
