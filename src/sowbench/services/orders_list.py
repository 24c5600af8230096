"""The list of orders: who wants what by when, and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.domain.ports.orders_page import (
    OrdersCount,
    OrdersCursor,
    OrdersFilter,
    OrdersShown,
)
from sowbench.services.book_inputs import house_of
from sowbench.services.house_day import day_in_house
from sowbench.services.orders_words import OrderLine, crop_name, line_of

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead
    from sowbench.domain.ports import Unit
    from sowbench.domain.ports.orders_page import ListedOrder
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk

N_LINES: Final = 40
"""Orders on one page; ours."""

_END: Final = OrdersCursor(date.max, 2**31 - 1)


@dataclass(frozen=True, slots=True)
class Choice:
    """One choice of a filter: its value, its words, and whether it is chosen."""

    value: str
    words: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Week:
    """The orders of one week, with the Monday it begins on."""

    monday_date: date
    n_plants: int
    lines: tuple[OrderLine, ...]


@dataclass(frozen=True, slots=True)
class OrdersView:
    """The list of orders.

    Attributes
    ----------
    heading : str
        What is true now.
    n_orders : int
        Orders of the book, cancelled ones too; 0 is an empty book.
    plan : PlanHead or None
        The current plan.
    proposed : int or None
        The last proposed plan, which waits to be looked at.
    counts : OrdersCount
        How many need a look.
    wanted : OrdersFilter
        What was asked for.
    shown, customers, crops : tuple of Choice
        Choices of the filter.
    weeks : tuple of Week
        The orders.
    before, after : str
        Where the windows before and after begin; blank if there are none.
    today : date
        The day in the house.
    """

    heading: str
    n_orders: int
    plan: PlanHead | None
    proposed: int | None
    counts: OrdersCount
    wanted: OrdersFilter
    shown: tuple[Choice, ...]
    customers: tuple[Choice, ...]
    crops: tuple[Choice, ...]
    weeks: tuple[Week, ...]
    before: str
    after: str
    today: date

    @property
    def is_filtered(self) -> bool:
        """Whether anything but the open orders was asked for."""
        return self.wanted != OrdersFilter()


def orders_view(
    desk: Desk, wanted: OrdersFilter | None = None, before: str = "", after: str = ""
) -> OrdersView:
    """Gather the list of orders.

    Parameters
    ----------
    desk : Desk
        The desk.
    wanted : OrdersFilter or None, default None
        Which orders; None is those open.
    before, after : str, default ""
        Where the window ends, or begins, as the list gave it.

    Returns
    -------
    view : OrdersView
        What the page shows.
    """
    wanted = wanted or OrdersFilter()
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        house, catalog, _ = house_of(unit)
        heads = unit.plans.heads(1)
        head = unit.plans.current()
        plan = None if head is None else head.id
        sure = house.confidence_frac
        counts = unit.orders_page.counts(plan, today, sure)
        customers = unit.orders_page.customers(today)
        crops = unit.orders_page.crops(today)
        n_orders = unit.orders_page.n_orders()
        lines, first, last = _window(unit, plan, wanted, today, sure, before, after)
    newest = heads[0] if heads else None
    return OrdersView(
        heading=_heading(counts, n_orders, planned=head is not None),
        n_orders=n_orders,
        plan=head,
        proposed=newest.id if newest is not None and newest.state == "proposed" else None,
        counts=counts,
        wanted=wanted,
        shown=_shown_choices(counts, wanted, planned=head is not None),
        customers=_choices(customers, wanted.customer, {}),
        crops=_choices(crops, wanted.crop, {each: crop_name(each, catalog) for each in crops}),
        weeks=_weeks(lines, catalog, planned=head is not None),
        before=first,
        after=last,
        today=today,
    )


def _window(
    unit: Unit,
    plan: int | None,
    wanted: OrdersFilter,
    today: date,
    confidence_frac: float,
    before: str,
    after: str,
) -> tuple[list[ListedOrder], str, str]:
    """Return some orders, and where the windows before and after them begin."""
    page = unit.orders_page
    asked = (plan, wanted, today, confidence_frac)
    upto = cursor_of(before)
    if upto is None and not after and wanted.shown is OrdersShown.PAST:
        upto = _END  # what is over is looked at from its end
    if upto is not None:
        found = page.window_before(*asked, upto, N_LINES + 1)
        more_before, found = len(found) > N_LINES, found[-N_LINES:]
        more_after = upto != _END
    else:
        since = cursor_of(after)
        found = page.window(*asked, since, N_LINES + 1)
        more_after, found = len(found) > N_LINES, found[:N_LINES]
        more_before = since is not None
    if not found:
        return [], "", ""
    return (
        found,
        cursor_text(found[0]) if more_before else "",
        cursor_text(found[-1]) if more_after else "",
    )


def cursor_text(listed: ListedOrder) -> str:
    """Write where a window begins or ends.

    Parameters
    ----------
    listed : ListedOrder
        Its last or first order.

    Returns
    -------
    text : str
        As "2027-04-12.31".
    """
    return f"{listed.order.wanted_date.isoformat()}.{listed.position}"


def cursor_of(text: str) -> OrdersCursor | None:
    """Read where a window begins or ends.

    Parameters
    ----------
    text : str
        As `cursor_text` writes it.

    Returns
    -------
    cursor : OrdersCursor or None
        None for a blank, or for what makes no sense.
    """
    day, _, position = text.partition(".")
    try:
        return OrdersCursor(date.fromisoformat(day), int(position))
    except ValueError:
        return None


def _heading(counts: OrdersCount, n_orders: int, *, planned: bool) -> str:
    """Say what is true of the orders now."""
    if not n_orders:
        return "No orders yet"
    if not counts.open:
        return "No order is open"
    noun = "order" if counts.open == 1 else "orders"
    text = f"{counts.open:,} open {noun}"
    if not planned:
        return f"{text}, not yet planned"
    said = []
    if counts.unmet:
        said.append(f"{counts.unmet:,} not met")
    if counts.risky:
        said.append(f"{counts.risky:,} may come short")
    if counts.unplanned:
        said.append(f"{counts.unplanned:,} not yet planned")
    return f"{text}: {', '.join(said)}" if said else f"{text}, all planned"


def _shown_choices(
    counts: OrdersCount, wanted: OrdersFilter, *, planned: bool
) -> tuple[Choice, ...]:
    """Offer the choices of the list, those that would show nothing left out."""
    choices = [(OrdersShown.OPEN, f"open {counts.open:,}", True)]
    if planned:
        choices += [
            (OrdersShown.UNMET, f"not met {counts.unmet:,}", counts.unmet > 0),
            (OrdersShown.RISKY, f"may come short {counts.risky:,}", counts.risky > 0),
            (
                OrdersShown.UNPLANNED,
                f"not yet planned {counts.unplanned:,}",
                counts.unplanned > 0,
            ),
        ]
    choices += [
        (OrdersShown.PAST, "past", True),
        (OrdersShown.CANCELLED, "cancelled", True),
    ]
    return tuple(
        Choice(shown.value, words, wanted.shown is shown)
        for shown, words, useful in choices
        if useful or wanted.shown is shown
    )


def _choices(values: list[str], chosen: str, words: dict[str, str]) -> tuple[Choice, ...]:
    """Offer values to choose from; the one chosen is among them even if it is of no open order."""
    every = values if not chosen or chosen in values else [*values, chosen]
    return tuple(Choice(each, words.get(each, each), each == chosen) for each in every)


def _weeks(listed: list[ListedOrder], catalog: Catalog, *, planned: bool) -> tuple[Week, ...]:
    """Put orders together by the week in which they are wanted."""
    weeks: dict[date, list[OrderLine]] = {}
    for each in listed:
        day = each.order.wanted_date
        monday = day - timedelta(days=day.weekday())
        weeks.setdefault(monday, []).append(line_of(each, catalog, planned=planned))
    return tuple(
        Week(monday, sum(each.plants for each in lines), tuple(lines))
        for monday, lines in weeks.items()
    )
