"""One order: its chance in parts, the sowings that fill it, what was given, what was changed."""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import TYPE_CHECKING, Final

import msgspec

from sowbench.domain.ports.orders_page import (
    ListedOrder,
    OrdersCursor,
    OrdersFilter,
    OrdersShown,
    StandingOrder,
)
from sowbench.domain.records import Order
from sowbench.exchange.orders import order_cell
from sowbench.science.errors import UnknownNameError
from sowbench.services.book_inputs import house_of
from sowbench.services.house_day import day_in_house, house_zone
from sowbench.services.orders_list import cursor_of, cursor_text
from sowbench.services.orders_words import (
    OrderLine,
    crop_name,
    line_of,
    unmet_words,
    window_words,
)

if TYPE_CHECKING:
    from sowbench.domain.book import Change
    from sowbench.domain.plan import OrderPlan, Sowing, Unmet
    from sowbench.domain.ports import Unit
    from sowbench.domain.ports.orders_page import OrderDelivery
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk

N_DROPS: Final = 40
"""Drops of a standing order on one page; ours."""

N_DROPS_EARLIER: Final = 6
"""Of them, those before the day that a page is about; ours."""

FIELD_WORDS: Final = {
    "id": "order",
    "customer": "customer",
    "crop": "crop",
    "plants": "plants",
    "wanted_date": "wanted on",
    "earliest_date": "from",
    "latest_date": "to",
    "variety": "variety",
    "substitutes": "substitutes",
    "unit": "counted in",
    "system": "goes to",
    "containers": "containers",
    "confidence_frac": "chance wanted",
    "min_frac": "counts as filled from",
    "partial": "in parts",
    "organic": "organic",
    "handover": "handed over",
    "status": "status",
    "note": "note",
    "standing_of": "standing order",
}
"""Fields of an order as a person reads them."""


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One field that was changed."""

    field: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class OrderChanged:
    """One change of an order: when, by whom, why, and what."""

    at: datetime
    person: str
    reason: str
    is_new: bool
    fields: tuple[FieldChange, ...]


@dataclass(frozen=True, slots=True)
class FillingSowing:
    """A sowing that fills the order: how many of its plants, and when."""

    name: str
    plants: int
    plants_in_all: int
    sow_date: date
    hand_over_date: date | None
    container: str
    place: str
    standing: bool
    expected: int
    expected_low: int
    expected_high: int


@dataclass(frozen=True, slots=True)
class OrderView:
    """The page of one order.

    Attributes
    ----------
    order : Order
        The order.
    line : OrderLine
        As the list shows it.
    window : str
        On which days it serves.
    planned : OrderPlan or None
        What the current plan gives it.
    sowings : tuple of FillingSowing
        The sowings that fill it.
    why, helps : str, tuple of str
        Why plants are left out and what would help; blank where none are.
    deliveries : tuple of OrderDelivery
        What was handed over.
    n_delivered : int
        Plants handed over.
    standing : StandingOrder or None
        The standing order it is a drop of.
    drops : tuple of OrderLine
        The drops of that standing order about the day of this one.
    changes : tuple of OrderChanged
        What was changed, the last first.
    facts : tuple of (str, str)
        What was ordered beside the usual.
    today : date
        The day in the house.
    zone : str
        Time zone of the house.
    has_plan : bool
        Whether there is a current plan.
    """

    order: Order
    line: OrderLine
    window: str
    planned: OrderPlan | None
    sowings: tuple[FillingSowing, ...]
    why: str
    helps: tuple[str, ...]
    deliveries: tuple[OrderDelivery, ...]
    n_delivered: int
    standing: StandingOrder | None
    drops: tuple[OrderLine, ...]
    changes: tuple[OrderChanged, ...]
    facts: tuple[tuple[str, str], ...]
    today: date
    zone: str
    has_plan: bool

    @property
    def is_open(self) -> bool:
        """Whether it can still be served."""
        return self.order.status != "cancelled" and self.order.latest_date >= self.today


@dataclass(frozen=True, slots=True)
class StandingView:
    """A standing order drop by drop; where the windows before and after these begin, if any."""

    standing: StandingOrder
    drops: tuple[OrderLine, ...]
    before: str
    after: str
    customer: str
    crop_name: str
    today: date


@dataclass(frozen=True, slots=True)
class _DropsWindow:
    """Which drops are shown: those about a day, else those before or after a place of the list."""

    around_date: date
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class _Drops:
    """Some drops of a standing order, and where the windows before and after them begin."""

    listed: list[ListedOrder]
    before: str
    after: str


_NO_DROPS: Final = _Drops([], "", "")


def order_view(
    desk: Desk, name: str, before: str = "", after: str = ""
) -> OrderView | StandingView:
    """Gather the page of one order, or of a standing order.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str
        Name of the order, or of the standing order.
    before, after : str, default ""
        Where the window of a standing order's drops ends, or begins, as the page gave it.

    Returns
    -------
    view : OrderView or StandingView
        What the page shows.

    Raises
    ------
    UnknownNameError
        If there is no order of that name.
    """
    with desk.book.reading() as unit:
        page = unit.orders_page
        today = day_in_house(unit, desk.clock())
        house, catalog, _ = house_of(unit)
        head = unit.plans.current()
        plan = None if head is None else head.id
        sure = house.confidence_frac
        order = unit.orders.get(name)
        base = name if order is None else order.standing_of
        standing = page.standing(base) if base else None
        window = _DropsWindow(today, before, after)
        if order is not None:
            window = _DropsWindow(order.wanted_date, "", "")
        drops = _drops(unit, plan, base, sure, window) if base else _NO_DROPS
        if order is None:
            if not drops.listed:
                raise UnknownNameError(name, "order")
            return _standing_view(name, standing, drops, catalog, today, planned=head is not None)
        found = None if plan is None else page.planned(plan, [name]).get(name)
        names = () if found is None else {each.sowing for each in found.planned.hand_over}
        sowings = page.sowings_for(plan, name, names) if plan is not None and names else []
        deliveries = page.deliveries(name)
        history = unit.orders.history(name)
        zone = house_zone(unit)
    planned = None if found is None else found.planned
    unmet = None if found is None else found.unmet
    n_delivered = sum(each.plants for each in deliveries)
    own = order.confidence_frac
    listed = _listed(order, planned, unmet, n_delivered, sure if own is None else own)
    why, helps = ("", ()) if unmet is None else unmet_words(unmet, order, house.prices.currency)
    return OrderView(
        order=order,
        line=line_of(listed, catalog, planned=head is not None),
        window=window_words(order),
        planned=planned,
        sowings=tuple(_filling(each, order.id, planned) for each in sowings),
        why=why,
        helps=helps,
        deliveries=tuple(deliveries),
        n_delivered=n_delivered,
        standing=standing,
        drops=tuple(line_of(each, catalog, planned=head is not None) for each in drops.listed),
        changes=tuple(_changed(each) for each in reversed(history)),
        facts=_facts(order),
        today=today,
        zone=zone.key,
        has_plan=head is not None,
    )


def _listed(
    order: Order,
    planned: OrderPlan | None,
    unmet: Unmet | None,
    n_delivered: int,
    confidence_frac: float,
) -> ListedOrder:
    """Put an order together as a list has it."""
    return ListedOrder(order, 0, planned, unmet, n_delivered, confidence_frac)


def _drops(
    unit: Unit, plan: int | None, name: str, confidence_frac: float, window: _DropsWindow
) -> _Drops:
    """Return some drops of a standing order, cancelled ones too, by day."""
    wanted = OrdersFilter(OrdersShown.ALL, standing_of=name)
    asked = (plan, wanted, window.around_date, confidence_frac)
    page = unit.orders_page
    upto, since = cursor_of(window.before), cursor_of(window.after)
    about = OrdersCursor(window.around_date, -1)
    earlier: list[ListedOrder] = []
    later: list[ListedOrder] = []
    if since is None:
        n_earlier = N_DROPS_EARLIER if upto is None else N_DROPS
        earlier = page.window_before(*asked, upto or about, n_earlier + 1)
        more_earlier, earlier = len(earlier) > n_earlier, earlier[-n_earlier:]
    else:
        more_earlier = True
    if upto is None:
        later = page.window(*asked, since or about, N_DROPS + 1)
        more_later, later = len(later) > N_DROPS, later[:N_DROPS]
    else:
        more_later = True
    found = earlier + later
    return _Drops(
        found,
        cursor_text(found[0]) if found and more_earlier else "",
        cursor_text(found[-1]) if found and more_later else "",
    )


def _standing_view(
    name: str,
    standing: StandingOrder | None,
    drops: _Drops,
    catalog: Catalog,
    today: date,
    *,
    planned: bool,
) -> StandingView:
    """Put a standing order together."""
    first, last = drops.listed[0].order, drops.listed[-1].order
    whole = standing or StandingOrder(name, 0, first.wanted_date, last.wanted_date)
    return StandingView(
        standing=whole,
        drops=tuple(line_of(each, catalog, planned=planned) for each in drops.listed),
        before=drops.before,
        after=drops.after,
        customer=first.customer,
        crop_name=crop_name(first.crop, catalog),
        today=today,
    )


def _filling(sowing: Sowing, order: str, planned: OrderPlan | None) -> FillingSowing:
    """Say what a sowing gives to an order."""
    given = () if planned is None else planned.hand_over
    mine = [each for each in given if each.sowing == sowing.sowing]
    share = sum(each.plants for each in mine) or sum(
        each.plants for each in sowing.orders if each.order == order
    )
    last = sowing.steps[-1] if sowing.steps else None
    return FillingSowing(
        name=sowing.sowing,
        plants=share,
        plants_in_all=sum(each.plants for each in sowing.orders),
        sow_date=sowing.sow_date,
        hand_over_date=mine[0].date if mine else None,
        container=last.container if last else "",
        place=last.place if last else "",
        standing=sowing.standing,
        expected=sowing.plants.p50,
        expected_low=sowing.plants.p05,
        expected_high=sowing.plants.p95,
    )


def _facts(order: Order) -> tuple[tuple[str, str], ...]:
    """List what was ordered beside the usual."""
    usual = Order(
        order.id, order.crop, order.plants, order.wanted_date, order.earliest_date,
        order.latest_date,
    )  # fmt: skip
    shown = ("variety", "substitutes", "system", "containers", "min_frac", "partial", "organic",
             "handover", "status", "note")  # fmt: skip
    return tuple(
        (FIELD_WORDS[each], order_cell(getattr(order, each)).replace("|", ", "))
        for each in shown
        if getattr(order, each) != getattr(usual, each)
    )


def _changed(change: Change) -> OrderChanged:
    """Say what a change changed."""
    before = None if change.before is None else msgspec.json.decode(change.before, type=Order)
    after = None if change.after is None else msgspec.json.decode(change.after, type=Order)
    return OrderChanged(
        at=change.at,
        person=change.person,
        reason=change.reason,
        is_new=before is None,
        fields=() if before is None or after is None else field_changes(before, after),
    )


def field_changes(before: Order, after: Order) -> tuple[FieldChange, ...]:
    """List the fields in which two versions of an order differ.

    Parameters
    ----------
    before, after : Order
        The versions.

    Returns
    -------
    changes : tuple of FieldChange
        In the order of the record.
    """
    return tuple(
        FieldChange(
            FIELD_WORDS[each.name],
            order_cell(getattr(before, each.name)),
            order_cell(getattr(after, each.name)),
        )
        for each in fields(Order)
        if getattr(before, each.name) != getattr(after, each.name)
    )
