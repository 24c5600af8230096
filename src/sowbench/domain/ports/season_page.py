"""What the pages of the season read; a fixed number of queries a page."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import Protocol

from sowbench.domain.book import PlannedUse


@dataclass(frozen=True, slots=True)
class Stay:
    """A planned stretch of a sowing in one place, on [from_date, to_date).

    ``sow_date`` to ``end_date`` is the whole planned life; ``sown_date`` and ``ended_date`` are
    what the journal says of it, and ``place_now`` where most of its trays stand.
    """

    sowing: str
    step: int
    kind: str
    place: str
    container: str
    n_containers: int
    n_cells: int
    from_date: date
    to_date: date
    crop: str
    variety: str
    orders: tuple[str, ...]
    sow_date: date
    end_date: date
    sown_date: date | None
    ended_date: date | None
    place_now: str


@dataclass(frozen=True, slots=True)
class TraysThere:
    """Trays of one sowing that stand in one place now, by the journal."""

    sowing: str
    crop: str
    variety: str
    place: str
    container: str
    n_trays: int


@dataclass(frozen=True, slots=True)
class Target:
    """An order or a coming sowing that can be pinned, in words enough to choose it."""

    name: str
    is_sowing: bool
    crop: str
    words: str
    date: date


class SeasonPage(Protocol):
    """What the pages of the season read."""

    def uses(self, plan_id: int) -> list[PlannedUse]:
        """Return the use of places and hands by day, in the order of the plan."""

    def n_sown_or_coming(self, plan_id: int) -> int:
        """Return how many sowings of a plan are in it."""

    def stays(
        self,
        plan_id: int,
        from_date: date,
        until_date: date,
        place: str | None = None,
        limit: int = 500,
        offset: int = 0,
    ) -> list[Stay]:
        """Return planned stays that touch [from_date, until_date), by first day."""

    def n_stays(self, plan_id: int, from_date: date, until_date: date, place: str) -> int:
        """Return how many stays touch the days in a place."""

    def trays_now(self, places: Collection[str]) -> list[TraysThere]:
        """Return what stands in these places now, by the journal."""

    def targets(self, plan_id: int | None, from_date: date, limit: int) -> list[Target]:
        """Return orders still to be served and sowings still to be sown, by day."""

    def target(self, plan_id: int | None, name: str) -> Target | None:
        """Return one order, or else one sowing of the plan."""
