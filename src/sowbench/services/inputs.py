"""Read everything a plan is made from, and report what is wrong in all files at once."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Protocol, TypeVar

from sowbench.domain.journal import Entry, EntryKind, SowingState, sowing_states, whole_entries
from sowbench.domain.plan import Plan
from sowbench.domain.records import House, Order, Pin, SeedLot, Standing
from sowbench.exchange.house import read_house, windowsill_house
from sowbench.exchange.journal import read_journal
from sowbench.exchange.orders import SYSTEMS, read_orders
from sowbench.exchange.pins import read_pins
from sowbench.exchange.plan_json import read_plan
from sowbench.exchange.seed import read_seed
from sowbench.exchange.standing import read_standing
from sowbench.exchange.weather import read_weather
from sowbench.planning.inputs import Done, PlanInputs
from sowbench.reference.catalog import Catalog, load_catalog
from sowbench.reference.containers import CONTAINER_KEYS, own_container
from sowbench.reference.crop_keys import CROP_KEYS
from sowbench.reference.labor import labor_defaults
from sowbench.science.errors import InputFileError, Problem, SowbenchError
from sowbench.science.weather_year import WeatherYear

T = TypeVar("T")


class _Noted(Protocol):
    """What was read from a file, with notes for the person who gave it."""

    @property
    def notes(self) -> tuple[str, ...]:
        """The notes."""


N = TypeVar("N", bound=_Noted)

_CROP_KEYS = {*CROP_KEYS, *(each.split(".")[0] for each in CROP_KEYS), "like", "ready", "note"}
_CONTAINER_KEYS = {*CONTAINER_KEYS, "like", "note"}


@dataclass(frozen=True, slots=True)
class InputFiles:
    """The files of a plan; only the orders are needed.

    Attributes
    ----------
    orders : str or Path
        orders.csv, or a workbook with the same headers.
    house, seed, standing, pins : str, Path or None
        The other files of the season.
    keep : str, Path or None
        plan.json of a plan to stay close to, or the folder it is in.
    done : str, Path or None
        Journal of what has happened since.
    """

    orders: str | Path
    house: str | Path | None = None
    seed: str | Path | None = None
    standing: str | Path | None = None
    keep: str | Path | None = None
    done: str | Path | None = None
    pins: str | Path | None = None


@dataclass(frozen=True, slots=True)
class Loaded:
    """Inputs as they were read, cancelled orders, and notes for the person who gave them."""

    files: InputFiles
    inputs: PlanInputs
    cancelled: tuple[Order, ...] = ()
    notes: tuple[str, ...] = ()


def load_house(path: str | Path | None) -> tuple[House, Catalog]:
    """Read a house and lay its own values over the reference.

    Parameters
    ----------
    path : str, Path or None
        house.toml; None stands for a windowsill.

    Returns
    -------
    house : House
        The house.
    catalog : Catalog
        The reference with the house's own values.

    Raises
    ------
    InputFileError
        With every problem of the file.
    """
    base = load_catalog()
    if path is None:
        # Who raises plants at home raises them even where it would be cheaper not to.
        return with_short_plant(windowsill_house(), 10.0), base
    house = read_house(
        path,
        containers=base.containers,
        container_keys=_CONTAINER_KEYS,
        crop_keys=_CROP_KEYS,
        minute_keys=labor_defaults(),
        resolve_crop=base.crop_id,
        check_container=lambda own: own_container(own, base.containers),
        check_crop=lambda own: load_catalog([own]),
    )
    if not house.own_crops and not house.own_containers:
        return house, base
    try:
        return house, load_catalog(house.own_crops, house.own_containers)
    except SowbenchError as error:
        raise InputFileError([Problem(str(path), None, None, None, str(error))]) from error


def with_short_plant(house: House, factor: float) -> House:
    """Let a short plant cost more in a house, and say so among its assumptions.

    Parameters
    ----------
    house : House
        The house.
    factor : float
        How many times more; 1 changes nothing.

    Returns
    -------
    house : House
        The same house with the higher price.
    """
    if factor == 1.0:
        return house
    price = factor * house.prices.short_plant
    others = [each for each in house.assumptions if not each.startswith("short_plant ")]
    said = f"short_plant {price:.2f}: high enough that plants are raised even if it does not pay"
    return replace(
        house,
        prices=replace(house.prices, short_plant=price),
        assumptions=(*others, said),
    )


def load_inputs(files: InputFiles, from_date: date) -> Loaded:
    """Read all files of a plan.

    Parameters
    ----------
    files : InputFiles
        The files.
    from_date : date
        First day on which anything can be done.

    Returns
    -------
    loaded : Loaded
        The inputs, with notes on what was left aside.

    Raises
    ------
    InputFileError
        With the problems of all files, if there is one in any.
    """
    reading = _Reading(files)
    weather = reading.weather()
    orders, cancelled = reading.orders()
    lots = reading.lots()
    standings = reading.standings()
    kept = reading.kept()
    read_entries = reading.entries()
    pins = reading.pins()
    if reading.problems:
        raise InputFileError(reading.problems)
    sizes: dict[str, tuple[int, int, int | None]] = {
        each.sowing: (each.n_cells, each.steps[0].n_containers, None)
        for each in (kept.sowings if kept else ())
        if each.steps
    }
    sizes |= {each.sowing: (each.n_cells, each.n_containers, each.n_counted) for each in standings}
    entries = whole_entries(read_entries, sizes)
    before = {each.sowing for each in kept.sowings} if kept else set()
    stands = {each.sowing for each in standings}
    before -= stands
    inputs = PlanInputs(
        house=reading.house,
        catalog=reading.catalog,
        orders=orders,
        from_date=from_date,
        lots=lots,
        weather=weather,
        standings=standings_after(standings, entries, before),
        pins=pins,
        kept=kept,
        done=tuple(
            _done(each)
            for each in entries
            if each.sowing in before
            # What other sowings gave before the kept plan was made is off the orders too.
            or (each.kind is EntryKind.DELIVERED and each.sowing not in stands)
        ),
    )
    return Loaded(files, inputs, cancelled, tuple(reading.notes))


class _Reading:
    """Reads one file after another, keeping the problems of each for the end.

    A file that was not right leaves its names unknown, so that nothing else is blamed for it.
    """

    def __init__(self, files: InputFiles) -> None:
        self.files = files
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        found = self._read(lambda: load_house(files.house), files.house or "house")
        self.house, self.catalog = found or (windowsill_house(), load_catalog())
        self._house_known = found is not None
        self._order_names: set[str] | None = None
        self._sowing_names: set[str] | None = set()
        self._kept: Plan | None = None

    def _read(self, reader: Callable[[], T], file: str | Path) -> T | None:
        """Read one file; None, and its problems kept, if it is not right."""
        try:
            return reader()
        except InputFileError as error:
            self.problems += error.problems
        except SowbenchError as error:
            self.problems.append(Problem(str(file), None, None, None, str(error)))
        return None

    def _noted(self, reader: Callable[[], N], file: str | Path) -> N | None:
        """Read one file and keep its notes; None, and its problems kept, if it is not right."""
        read = self._read(reader, file)
        if read is not None:
            self.notes += read.notes
        return read

    @property
    def _places(self) -> list[str] | None:
        """Names of the places, None if the house file is not right."""
        return [each.name for each in self.house.places] if self._house_known else None

    @property
    def _containers(self) -> dict[str, int] | None:
        """Cells by container, None if the house file is not right."""
        if not self._house_known:
            return None
        return {name: each.cells for name, each in self.catalog.containers.items()}

    def weather(self) -> WeatherYear | None:
        """Read the typical year that the house names."""
        path = self.house.weather_file
        if path is None:
            return None
        year = self._read(lambda: read_weather(path), path)
        if year is not None:
            self.notes += [f"{Path(path).name}: {each}" for each in year.notes]
        return year

    def orders(self) -> tuple[tuple[Order, ...], tuple[Order, ...]]:
        """Read the orders: those to plan and those cancelled."""
        own_systems = {system for _, _, system in self.catalog.ready_rules}
        read = self._noted(
            lambda: read_orders(
                self.files.orders,
                resolve_crop=self.catalog.crop_id,
                crop_unit=lambda crop: self.catalog.crops[crop].unit,
                containers=self._containers,
                systems=dict.fromkeys((*SYSTEMS, *sorted(own_systems - {"any"}))),
            ),
            self.files.orders,
        )
        if read is None:
            return (), ()
        every = (*read.orders, *read.cancelled)
        self._order_names = {each.id for each in every} | {each.standing_of for each in every}
        return read.orders, read.cancelled

    def lots(self) -> tuple[SeedLot, ...] | None:
        """Read the seed; None without a file."""
        path = self.files.seed
        if path is None:
            return None
        read = self._noted(lambda: read_seed(path, resolve_crop=self.catalog.crop_id), path)
        return () if read is None else read.lots

    def standings(self) -> tuple[Standing, ...]:
        """Read what stands already."""
        path = self.files.standing
        if path is None:
            return ()
        read = self._noted(
            lambda: read_standing(
                path,
                resolve_crop=self.catalog.crop_id,
                container_cells=self._containers,
                places=self._places,
                orders=self._order_names,
            ),
            path,
        )
        if read is None:
            self._sowing_names = None
            return ()
        if self._sowing_names is not None:
            self._sowing_names |= {each.sowing for each in read.standing}
        return read.standing

    def kept(self) -> Plan | None:
        """Read the plan to stay close to."""
        if self.files.keep is None:
            return None
        path = plan_path(self.files.keep)
        self._kept = self._read(lambda: read_plan(path), path)
        if self._kept is None:
            self._sowing_names = None
        elif self._sowing_names is not None:
            self._sowing_names |= {each.sowing for each in self._kept.sowings}
        return self._kept

    def entries(self) -> tuple[Entry, ...]:
        """Read what has happened."""
        path = self.files.done
        if path is None:
            return ()
        read = self._noted(
            lambda: read_journal(
                path,
                resolve_crop=self.catalog.crop_id,
                places=self._places,
                orders=self._order_names,
                sowings=self._sowing_names,
                containers=self._containers,
            ),
            path,
        )
        if read is None:
            self._sowing_names = None
            return ()
        if self._sowing_names is not None:
            self._sowing_names |= {each.sowing for each in read.entries}
        return read.entries

    def pins(self) -> tuple[Pin, ...]:
        """Read what the grower has fixed."""
        path = self.files.pins
        if path is None:
            return ()
        read = self._noted(
            lambda: read_pins(
                path,
                orders=self._order_names,
                sowings=self._sowing_names,
                containers=self._containers,
                places=self._places,
            ),
            path,
        )
        return () if read is None else read.pins


def plan_path(path: str | Path) -> Path:
    """Find plan.json, named itself or by the folder it is in.

    Parameters
    ----------
    path : str or Path
        plan.json or its folder.

    Returns
    -------
    path : Path
        The file.
    """
    path = Path(path)
    return path / "plan.json" if path.is_dir() else path


def standings_after(
    standings: Iterable[Standing], entries: Iterable[Entry], planned: Collection[str]
) -> tuple[Standing, ...]:
    """Bring what stands up to date with the journal.

    Parameters
    ----------
    standings : iterable of Standing
        What the file says stands in the house.
    entries : iterable of Entry
        What has happened.
    planned : collection of str
        Sowings of the kept plan, which the planner follows itself.

    Returns
    -------
    standings : tuple of Standing
        Moved, counted and with losses taken off; what is all gone is left out, and what was sown
        without a plan has joined.
    """
    states = {name: state for name, state in sowing_states(entries).items() if name not in planned}
    found = []
    for each in standings:
        state = states.pop(each.sowing, None)
        if state is None:
            found.append(each)
        elif not state.ended and each.n_cells > state.n_lost:
            found.append(_followed(each, state))
    for state in states.values():
        if state.sown_date is None or state.ended or (state.n_cells or 0) <= state.n_lost:
            continue
        fresh = Standing(
            sowing=state.sowing,
            crop=state.crop,
            variety=state.variety,
            lot=state.lot,
            container=state.container,
            n_containers=state.n_containers or 1,
            n_cells=state.n_cells or 0,
            place=state.place,
            sown_date=state.sown_date,
        )
        found.append(_followed(fresh, state))
    return tuple(found)


def _followed(standing: Standing, state: SowingState) -> Standing:
    """Take over what the journal says of a sowing."""
    n_counted, counted_date = standing.n_counted, standing.counted_date
    n_usable = standing.n_usable
    lost_since = state.n_lost
    if state.n_counted is not None:
        n_counted, counted_date, n_usable = state.n_counted, state.counted_date, None
        lost_since = state.n_lost_since_count
    return replace(
        standing,
        place=state.place or standing.place,
        n_cells=standing.n_cells - state.n_lost,
        counted_date=counted_date,
        n_counted=None if n_counted is None else max(n_counted - lost_since, 0),
        n_usable=None if n_usable is None else max(n_usable - lost_since, 0),
    )


def _done(entry: Entry) -> Done:
    """Name an entry as the planner does."""
    return Done(
        entry.day_date, entry.kind.value, entry.sowing, entry.place, entry.n, order=entry.order
    )
