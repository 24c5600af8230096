"""What a plan is made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from sowbench.domain.plan import Plan
from sowbench.domain.records import House, Order, Pin, SeedLot, Standing
from sowbench.reference.catalog import Catalog
from sowbench.science.weather_year import WeatherYear


@dataclass(frozen=True, slots=True)
class Done:
    """One journal entry that a re-plan minds: what happened to a sowing on a day.

    `kind` is one of sown, pulled from chamber, moved, counted, lost, dumped, delivered.
    """

    date: date
    kind: str
    sowing: str
    place: str = ""
    n: int | None = None
    n_of: int | None = None
    order: str = ""


@dataclass(frozen=True)
class PlanInputs:
    """Everything a plan is made from; `lots` None means that no seed file was given."""

    house: House
    catalog: Catalog
    orders: tuple[Order, ...]
    from_date: date
    lots: tuple[SeedLot, ...] | None = None
    weather: WeatherYear | None = None
    standings: tuple[Standing, ...] = ()
    pins: tuple[Pin, ...] = ()
    kept: Plan | None = None
    done: tuple[Done, ...] = ()
    notes: Mapping[str, str] = field(default_factory=dict)
