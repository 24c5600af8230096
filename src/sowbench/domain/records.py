"""The records of the trade: crops, containers, places, lots, orders and what stands already."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum


class Season(StrEnum):
    """Whether a crop is raised cool or warm."""

    COOL = "cool"
    WARM = "warm"


class LightNeed(StrEnum):
    """What seed wants of light while it germinates."""

    LIGHT = "light"
    DARK = "dark"
    EITHER = "either"
    CONFLICTING = "conflicting"


class ContainerClass(StrEnum):
    """How a container behaves for growth and readiness."""

    PLUG = "plug"
    CUBE = "cube"
    PELLET = "pellet"
    BLOCK = "block"
    POT = "pot"


class PlaceKind(StrEnum):
    """Kinds of place where trays can stand."""

    CHAMBER = "chamber"
    BENCH = "bench"
    YARD = "yard"
    WINDOWSILL = "windowsill"
    MAT = "mat"
    LAMP_SHELF = "lamp_shelf"
    MIST = "mist"
    COLD_STORE = "cold_store"
    HEALING = "healing"


class StepKind(StrEnum):
    """What a step of a sowing is for."""

    PREPARE = "prepare"
    GERMINATE = "germinate"
    GROW = "grow"
    POT_ON = "pot_on"
    SPACE = "space"
    TONE = "tone"
    HOLD = "hold"
    GRAFT = "graft"


@dataclass(frozen=True, slots=True)
class Fact:
    """One value of a reference card with where it comes from.

    ``basis`` is one of ``seen``, ``computed``, ``from memory``, ``common practice``, ``assumption``
    or ``house``; ``others`` keeps the values of other sources; ``why`` says why this one is used.
    """

    key: str
    value: float | str | bool | None
    unit: str = ""
    low: float | None = None
    high: float | None = None
    source: str = ""
    basis: str = ""
    why: str = ""
    others: tuple[Fact, ...] = ()


@dataclass(frozen=True, slots=True)
class Emergence:
    """Thermal-time parameters of emergence; see docs/model.md section 3."""

    base_c: float
    optimum_low_c: float
    optimum_high_c: float
    ceiling_c: float
    thermal_time_cd: float
    sigma_seed: float
    sigma_pace: float
    germination_share: float
    top_frac: float
    cold_c: float
    cold_sd_c: float
    hot_c: float
    hot_sd_c: float


@dataclass(frozen=True, slots=True)
class Growth:
    """Temperature response of a crop after emergence; see docs/model.md section 4."""

    base_c: float
    optimum_c: float
    ceiling_c: float


@dataclass(frozen=True, slots=True)
class ReadyRule:
    """When a crop in a container class is ready for a system, at reference conditions."""

    crop: str
    container_class: ContainerClass
    system: str
    days_ref: float
    temp_ref_c: float
    dli_ref_mol_m2_d: float
    sigma_growth: float
    window_d_ref: float
    leaves: float
    tone_d: int
    pot_on_d_ref: float | None = None
    pot_on_from_class: ContainerClass | None = None
    space_d_ref: float | None = None
    space_plants_per_m2: float | None = None
    words: str = ""
    source: str = ""
    basis: str = ""


@dataclass(frozen=True, slots=True)
class Crop:
    """Reference values of one crop; ``facts`` carries every value with its sources for the card."""

    id: str
    name: str
    scientific_name: str
    kin: str
    season: Season
    emergence: Emergence
    growth: Growth
    min_c: float
    tone_min_c: float
    chill_below_c: float | None
    chill_days_max: int | None
    hardy: bool
    tone_under_cover: bool
    hold_d: int
    hold_min_c: float
    light_need: LightNeed
    cover: bool
    depth_mm: float
    seeds_per_g: float
    seedlings_per_unit: float
    seeds_per_cell: int
    max_seeds_per_cell: int
    plants_per_cell: tuple[int, int]
    unit: str
    vine: bool
    germination_frac: float
    germination_test_c: float
    seed_price_per_1000: float
    placing: tuple[str, ...]
    cells_ok: tuple[str, ...]
    facts: Mapping[str, Fact] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Container:
    """A tray, sheet or carrier: one lifted unit with its cells."""

    id: str
    name: str
    kind: str
    container_class: ContainerClass
    cells: int
    rows: int | None
    cols: int | None
    outer_length_mm: float
    outer_width_mm: float
    cell_top_mm: float | None
    cell_bottom_mm: float | None
    depth_mm: float | None
    cell_shape: str
    cell_volume_ml: float
    takes_mix: bool
    reusable: bool
    price: float
    organic_ok: bool
    facts: Mapping[str, Fact] = field(default_factory=dict)

    @property
    def area_m2(self) -> float:
        """Footprint of one lifted unit [m2]."""
        return self.outer_length_mm * self.outer_width_mm / 1e6


@dataclass(frozen=True, slots=True)
class ContainerStock:
    """What the house owns of a container."""

    container: str
    n_in_stock: int | None = None
    price: float | None = None
    reusable: bool | None = None
    back_after_d: int = 7
    wash_d: int = 1
    per_rack: int = 0


@dataclass(frozen=True, slots=True)
class SeedLot:
    """One bought or saved portion of seed with its germination test."""

    id: str
    crop: str
    variety: str
    n_tested: int
    n_normal: int
    n_seeds: int | None
    tested_on: date | None = None
    arrives_on: date | None = None
    use_by: date | None = None
    seeds_per_g: float | None = None
    seedlings_per_unit: float = 1.0
    price_per_1000: float | None = None
    pack_sizes: tuple[int, ...] = ()
    moisture_frac: float | None = None
    storage_c: float | None = None
    treated: bool = False
    pelleted: bool = False
    primed: bool = False
    organic: bool = False
    passport: str = ""
    assumed: bool = False


@dataclass(frozen=True, slots=True)
class Order:
    """So many plants of a crop wanted on a day; a standing order's drop is an order of its own."""

    id: str
    crop: str
    plants: int
    wanted_date: date
    earliest_date: date
    latest_date: date
    customer: str = ""
    variety: str = ""
    substitutes: tuple[str, ...] = ()
    unit: str = "plant"
    system: str = "any"
    containers: tuple[str, ...] = ()
    confidence_frac: float | None = None
    min_frac: float = 1.0
    partial: bool = False
    organic: bool = False
    handover: str = "trays"
    status: str = "promised"
    note: str = ""
    standing_of: str = ""


@dataclass(frozen=True, slots=True)
class Standing:
    """A sowing that stands in the house on the first day, or plants bought in."""

    sowing: str
    crop: str
    variety: str
    lot: str
    container: str
    n_containers: int
    n_cells: int
    place: str
    sown_date: date
    counted_date: date | None = None
    n_counted: int | None = None
    n_usable: int | None = None
    orders: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Pin:
    """What the grower fixes by hand for an order or a sowing."""

    target: str
    container: str = ""
    seeds_per_cell: int | None = None
    sow_date: date | None = None
    place: str = ""
    not_before: date | None = None
    not_after: date | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere trays can stand, with room and climate."""

    name: str
    kind: PlaceKind
    n_positions: int | None = None
    area_m2: float | None = None
    usable_frac: float = 0.85
    temp_c: float | None = None
    heat_day_c: float | None = None
    heat_night_c: float | None = None
    vent_c: float | None = None
    mix_offset_c: float = 0.0
    covered: bool = False
    cover_par_frac: float = 0.65
    lamp_ppfd_umol_m2_s: float = 0.0
    lamp_h: float = 0.0
    price_per_m2_day: float = 0.0


@dataclass(frozen=True, slots=True)
class Machine:
    """A sowing machine: the containers it takes and its pace."""

    name: str
    containers: tuple[str, ...]
    trays_per_hour: float
    changeover_minutes: float = 0.0


@dataclass(frozen=True, slots=True)
class Crew:
    """Hands and the days on which they work; ``minutes_per_day`` None means no limit."""

    minutes_per_day: float | None = None
    minutes_by_weekday: tuple[float, ...] | None = None
    work_days: tuple[int, ...] = (0, 1, 2, 3, 4)
    sow_days: tuple[int, ...] = (0, 1, 2, 3, 4)
    weekend_minutes: float = 30.0
    closed: frozenset[date] = frozenset()
    rate_per_hour: float = 0.0
    setup_minutes: float = 6.0


@dataclass(frozen=True, slots=True)
class Prices:
    """Money values of the house; the defaults are assumptions."""

    currency: str = ""
    short_plant: float = 0.60
    late_plant_day: float = 0.05
    overgrown_plant: float = 0.30
    surplus_plant: float = 0.0
    mix_per_l: float = 0.08
    label: float = 0.02


@dataclass(frozen=True, slots=True)
class House:
    """The propagation house: place on earth, rooms, crew, containers, own values and prices."""

    name: str
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    time_zone: str = "UTC"
    weather_file: str | None = None
    weather_spread_c: float = 1.5
    room_day_c: float | None = None
    room_night_c: float | None = None
    light: str = ""
    confidence_frac: float = 0.95
    school: bool = False
    crew: Crew = field(default_factory=Crew)
    minutes: Mapping[str, float] = field(default_factory=dict)
    machines: tuple[Machine, ...] = ()
    places: tuple[Place, ...] = ()
    stock: tuple[ContainerStock, ...] = ()
    own_containers: tuple[Mapping[str, object], ...] = ()
    own_crops: tuple[Mapping[str, object], ...] = ()
    prices: Prices = field(default_factory=Prices)
    assumptions: tuple[str, ...] = ()
