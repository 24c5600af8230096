"""Addresses of the page of what is coming, and of the parts that other pages show of it.

A forecast is worked out anew when something was entered, so other pages ask for their part of it
once they are shown, and do not wait for it.
"""

from __future__ import annotations

from litestar import get
from litestar.response import Template
from litestar.types import ControllerRouterHandler

from sowbench.services.ahead_page import ahead_page, ahead_sowing, is_asked_for, orders_now
from sowbench.services.desk import Desk


@get("/ahead", sync_to_thread=True)
def ahead(desk: Desk) -> Template:
    """Show stands that may fall short or late, counts worth making, and every open sowing."""
    return Template("ahead/ahead.html", context={"page": ahead_page(desk), "here": "ahead"})


@get("/ahead/part/today", sync_to_thread=True)
def part_of_today(desk: Desk) -> Template:
    """Show what presses, and the counts asked for, on the day's page."""
    page = ahead_page(desk) if is_asked_for(desk) else None
    return Template("ahead/part_today.html", context={"page": page})


@get("/ahead/part/sowing", sync_to_thread=True)
def part_of_sowing(desk: Desk, of: str) -> Template:
    """Show what to expect of a sowing on its page."""
    each = ahead_sowing(desk, of) if is_asked_for(desk) else None
    return Template("ahead/part_sowing.html", context={"each": each})


@get("/ahead/part/orders", sync_to_thread=True)
def part_of_orders(desk: Desk, of: str = "") -> Template:
    """Show how orders look now beside their plan: one, or those that moved."""
    rows = orders_now(desk, of) if is_asked_for(desk) else ()
    return Template("ahead/part_orders.html", context={"rows": rows, "of": of})


routes: list[ControllerRouterHandler] = [ahead, part_of_today, part_of_sowing, part_of_orders]
