"""What the pages of the orders and the planner read; a fixed number of queries a page."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Protocol

from sowbench.domain.plan import OrderPlan, Sowing, Unmet
from sowbench.domain.records import Order


class OrdersShown(StrEnum):
    """Which orders a list shows."""

    OPEN = "open"
    RISKY = "risky"
    UNMET = "unmet"
    UNPLANNED = "unplanned"
    PAST = "past"
    CANCELLED = "cancelled"
    ALL = "all"


@dataclass(frozen=True, slots=True)
class OrdersFilter:
    """Which orders are asked for; a blank or None asks for any.

    Attributes
    ----------
    shown : OrdersShown
        Open orders are those not cancelled whose last day has not passed.
    customer, crop : str
        For whom, and of what.
    standing_of : str
        The standing order of which they are drops.
    words : str
        Part of the name or of the customer, upper and lower case alike.
    first_date, last_date : date or None
        Wanted between these days.
    """

    shown: OrdersShown = OrdersShown.OPEN
    customer: str = ""
    crop: str = ""
    standing_of: str = ""
    words: str = ""
    first_date: date | None = None
    last_date: date | None = None


@dataclass(frozen=True, slots=True)
class OrdersCursor:
    """Where a window of the list begins: after the order of this day and place in the file."""

    wanted_date: date
    position: int


@dataclass(frozen=True, slots=True)
class ListedOrder:
    """A line of the list: the order, its place in the file, what the plan gives, what was given."""

    order: Order
    position: int
    planned: OrderPlan | None
    unmet: Unmet | None
    n_delivered: int
    confidence_frac: float


@dataclass(frozen=True, slots=True)
class OrdersCount:
    """How many orders each choice of the list would show."""

    open: int
    risky: int
    unmet: int
    unplanned: int


@dataclass(frozen=True, slots=True)
class StandingOrder:
    """A standing order as a whole: its drops that are not cancelled, from first to last."""

    name: str
    n_drops: int
    first_date: date
    last_date: date


@dataclass(frozen=True, slots=True)
class OrderDelivery:
    """Plants handed over for an order."""

    entry: str
    sowing: str
    date: date
    plants: int


@dataclass(frozen=True, slots=True)
class PlannedOrder:
    """What a plan gives an order."""

    planned: OrderPlan
    unmet: Unmet | None


class OrdersPage(Protocol):
    """What the pages of the orders and the planner read."""

    def window(
        self,
        plan: int | None,
        wanted: OrdersFilter,
        today: date,
        confidence_frac: float,
        after: OrdersCursor | None,
        limit: int,
    ) -> list[ListedOrder]:
        """Return some orders by wanted day and place in the file, in one query."""

    def window_before(
        self,
        plan: int | None,
        wanted: OrdersFilter,
        today: date,
        confidence_frac: float,
        before: OrdersCursor,
        limit: int,
    ) -> list[ListedOrder]:
        """Return the orders just before a place of the list, in the order of the list."""

    def counts(self, plan: int | None, today: date, confidence_frac: float) -> OrdersCount:
        """Count the open orders, and those of them that need a look."""

    def customers(self, today: date) -> list[str]:
        """Return the customers of open orders."""

    def crops(self, today: date) -> list[str]:
        """Return the crops of open orders."""

    def standing(self, name: str) -> StandingOrder | None:
        """Return a standing order as a whole; None if no order is a drop of it."""

    def drops(self, plan: int | None, name: str, confidence_frac: float) -> list[ListedOrder]:
        """Return the drops of a standing order by day, cancelled ones too."""

    def planned(self, plan: int, names: Collection[str]) -> dict[str, PlannedOrder]:
        """Return what a plan gives some orders."""

    def sowings_for(self, plan: int, order: str, sowings: Collection[str]) -> list[Sowing]:
        """Return the planned sowings of these names, those that serve the order."""

    def sowings_of(self, plan: int, first: date, last: date) -> list[Sowing]:
        """Return the planned sowings that are in the house at some day of a span."""

    def deliveries(self, order: str) -> list[OrderDelivery]:
        """Return what was handed over for an order, by day."""

    def since(self, day: date) -> tuple[Order, ...]:
        """Return the orders that still serve on or after a day, in file order."""

    def last_change(self) -> int:
        """Return the number of the last change of anything entered; 0 before the first."""

    def n_orders(self) -> int:
        """Return how many orders the book has, cancelled ones too."""

    def standing_sowings(self) -> list[str]:
        """Return the sowings that were begun and have not ended by the journal."""
