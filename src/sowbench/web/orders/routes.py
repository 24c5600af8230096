"""Addresses of the orders: the list, one order, taking in, a promise, what is free to sell."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Final
from urllib.parse import urlencode

from litestar import get, post
from litestar.enums import RequestEncodingType
from litestar.exceptions import NotFoundException
from litestar.params import Body
from litestar.response import Redirect, Template
from litestar.types import ControllerRouterHandler

from sowbench.domain.ports.orders_page import OrdersFilter, OrdersShown
from sowbench.science.errors import UnknownNameError
from sowbench.services.desk import Desk
from sowbench.services.orders_form import order_form, save_order, set_status
from sowbench.services.orders_free import free_view
from sowbench.services.orders_list import orders_view
from sowbench.services.orders_one import OrderView, order_view
from sowbench.services.orders_promise import ASKED, promise_view
from sowbench.web.formats import order_address
from sowbench.web.orders.take_in import routes as take_in_routes

FormData = Annotated[dict[str, str], Body(media_type=RequestEncodingType.URL_ENCODED)]
_HERE: Final = "orders"
_SEE_OTHER: Final = 303


@get("/orders", sync_to_thread=True)
def orders(
    desk: Desk,
    show: str = "open",
    customer: str = "",
    crop: str = "",
    week: str = "",
    q: str = "",
    before: str = "",
    after: str = "",
    new: str = "",
    changed: str = "",
) -> Template:
    """Show the list of orders."""
    first, last = _days_of(week)
    wanted = OrdersFilter(
        shown=_shown(show),
        customer=customer,
        crop=crop,
        words=q.strip()[:100],
        first_date=first,
        last_date=last,
    )
    page = orders_view(desk, wanted, before, after)
    asked = {"show": show, "customer": customer, "crop": crop, "week": week, "q": q}
    query = urlencode({key: text for key, text in asked.items() if text and text != "open"})
    context = {
        "page": page,
        "here": _HERE,
        "week": week if first else "",
        "query": query,
        "n_new": _number(new),
        "n_changed": _number(changed),
    }
    return Template("orders/list.html", context=context)


@get("/orders/new", sync_to_thread=True)
def new_order(desk: Desk) -> Template:
    """Show an order to fill in."""
    return Template("orders/form.html", context={"page": order_form(desk), "here": _HERE})


@get("/orders/edit", sync_to_thread=True)
def edit_order(desk: Desk, of: str = "") -> Template:
    """Show a known order to change."""
    try:
        page = order_form(desk, of)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    return Template("orders/form.html", context={"page": page, "here": _HERE})


@post("/orders/keep", sync_to_thread=True, status_code=200)
def keep_order(desk: Desk, data: FormData) -> Template | Redirect:
    """Keep an order that was filled in, or say what is wrong with it."""
    try:
        saved, form = save_order(desk, data.get("of", ""), data)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    if form is None:
        return Redirect(order_address(saved), status_code=_SEE_OTHER)
    context = {"page": form, "here": _HERE}
    return Template("orders/form.html", context=context, status_code=422)


@post("/orders/status", sync_to_thread=True, status_code=200)
def change_status(desk: Desk, data: FormData) -> Redirect:
    """Cancel an order, or promise it."""
    name = data.get("of", "")
    try:
        set_status(desk, name, data.get("status", ""), data.get("reason", ""))
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    return Redirect(order_address(name), status_code=_SEE_OTHER)


@get("/orders/promise", sync_to_thread=True)
def promise(
    desk: Desk,
    crop: str = "",
    plants: str = "",
    wanted_on: str = "",
    earliest_on: str = "",
    latest_on: str = "",
    system: str = "",
    variety: str = "",
    container: str = "",
    customer: str = "",
    confidence_frac: str = "",
) -> Template:
    """Answer while the customer is on the phone."""
    asked = (
        crop, plants, wanted_on, earliest_on, latest_on, system, variety, container, customer,
        confidence_frac,
    )  # fmt: skip
    page = promise_view(desk, dict(zip(ASKED, asked, strict=True)))
    return Template("orders/promise.html", context={"page": page, "here": _HERE})


@get("/orders/free", sync_to_thread=True)
def free(desk: Desk, from_week: str = "") -> Template:
    """Show what will be free to sell, week by week."""
    page = free_view(desk, _day(from_week))
    return Template("orders/free.html", context={"page": page, "here": _HERE})


@get("/orders/{name:path}", sync_to_thread=True)
def one_order(desk: Desk, name: str, before: str = "", after: str = "") -> Template:
    """Show one order, or a standing order drop by drop."""
    return _order(desk, name.removeprefix("/"), before, after)


@get("/orders/called", sync_to_thread=True)
def order_called(desk: Desk, name: str = "", before: str = "", after: str = "") -> Template:
    """Show an order whose name cannot stand in an address."""
    return _order(desk, name, before, after)


def _order(desk: Desk, name: str, before: str, after: str) -> Template:
    """Show one order, or a standing order drop by drop."""
    try:
        page = order_view(desk, name, before, after)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    template = "orders/order.html" if isinstance(page, OrderView) else "orders/standing.html"
    return Template(template, context={"page": page, "here": _HERE})


def _shown(text: str) -> OrdersShown:
    """Read which orders are asked for; what cannot be read asks for those open."""
    try:
        return OrdersShown(text)
    except ValueError:
        return OrdersShown.OPEN


def _day(text: str) -> date | None:
    """Read a day; None where there is none, or none that can be read."""
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        return None


def _days_of(week: str) -> tuple[date | None, date | None]:
    """Read a week, as a browser writes it ("2027-W14"), or the day it begins on."""
    year, found, number = week.partition("-W")
    try:
        if found:
            whole = int(year), int(number)
            return date.fromisocalendar(*whole, 1), date.fromisocalendar(*whole, 7)
        day = _day(week)
        if day is not None:
            number_of = day.isocalendar()
            return (
                date.fromisocalendar(number_of.year, number_of.week, 1),
                date.fromisocalendar(number_of.year, number_of.week, 7),
            )
    except ValueError:
        return None, None
    return None, None


def _number(text: str) -> int | None:
    """Read a whole number of an address; None where there is none."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None


routes: list[ControllerRouterHandler] = [
    orders,
    new_order,
    edit_order,
    keep_order,
    change_status,
    promise,
    free,
    *take_in_routes,
    order_called,
    one_order,
]
