"""What the pages of seed and supplies read; a fixed number of queries a page."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
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


class SeedPage(Protocol):
    """What the pages of seed and supplies read."""

    def takes(self, plan_id: int) -> dict[str, LotTake]:
        """Return what a plan still takes, by lot."""

    def sown_seeds(self, lots: Collection[str], since: date) -> dict[str, int]:
        """Return the seeds sown from lots since a day, by lot."""

    def sowings_of(self, plan_id: int | None, lot: str, limit: int = 100) -> list[LotSowing]:
        """Return the sowings of a plan from one lot, by day."""

    def supplies(self, plan_id: int) -> list[Supply]:
        """Return what a plan needs, by the day to order."""
