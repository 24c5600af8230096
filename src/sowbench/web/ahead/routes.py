"""Addresses of the page of what is coming."""

from __future__ import annotations

from litestar import get
from litestar.response import Template
from litestar.types import ControllerRouterHandler

from sowbench.services.ahead_page import ahead_page
from sowbench.services.desk import Desk


@get("/ahead", sync_to_thread=True)
def ahead(desk: Desk) -> Template:
    """Show stands that may fall short or late, counts worth making, and every open sowing."""
    return Template("ahead/ahead.html", context={"page": ahead_page(desk), "here": "ahead"})


routes: list[ControllerRouterHandler] = [ahead]
