"""What the pages of seed and supplies read; a fixed number of queries a page."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol

from sowbench.domain.plan import Supply


@dataclass(frozen=True, slots=True)
class LotTake:
    """What a plan still takes of a lot: seeds of sowings not sown yet, and their days."""

    lot: str
    n_sowings: int
    n_seeds: int
    first_date: date
    last_date: date


@dataclass(frozen=True, slots=True)
class LotSowing:
    """One sowing from a lot, planned or sown."""

    sowing: str
    crop: str
    variety: str
    sow_date: date
    sown_date: date | None
    ended_date: date | None
    n_cells: int
    n_seeds: int
    orders: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SownSeeds:
    """Seeds sown from a lot on a day: as written down, else as planned for its cells."""

    lot: str
    date: date
    n_seeds: int


@dataclass(frozen=True, slots=True)
class Ordered:
    """The entry that says that something was ordered."""

    entry: str
    date: date
    person: str


class SeedPage(Protocol):
    """What the pages of seed and supplies read."""

    def takes(self, plan_id: int) -> dict[str, LotTake]:
        """Return what a plan still takes, by lot."""

    def sown(self, plan_id: int | None, lots: Collection[str], since: date) -> list[SownSeeds]:
        """Return the seeds sown from lots since a day, by lot and day."""

    def stock_stated(self, lots: Collection[str]) -> dict[str, datetime]:
        """Return when the stock of each lot was last stated anew."""

    def sowings_of(self, plan_id: int | None, lot: str, limit: int = 100) -> list[LotSowing]:
        """Return the sowings of a plan from one lot, by day."""

    def ordered(self, keys: Collection[str]) -> dict[str, Ordered]:
        """Return what says that supplies are ordered, by the key of their tick."""

    def supplies(self, plan_id: int) -> list[Supply]:
        """Return what a plan needs, by the day to order."""
