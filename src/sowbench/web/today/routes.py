"""Addresses of the pages of a day's work."""

from __future__ import annotations

from datetime import date
from typing import Final

from litestar import get
from litestar.exceptions import NotFoundException
from litestar.response import Template
from litestar.types import ControllerRouterHandler

from sowbench.services.day_page import day_page
from sowbench.services.desk import Desk

FIRST_YEAR: Final = 2000
LAST_YEAR: Final = 2099


@get("/today", sync_to_thread=True)
def today(desk: Desk) -> Template:
    """Show the work of the day in the house."""
    return Template("today/day.html", context={"page": day_page(desk), "here": "today"})


@get("/today/{day:str}", sync_to_thread=True)
def another_day(desk: Desk, day: str) -> Template:
    """Show the work of another day."""
    try:
        when = date.fromisoformat(day)
    except ValueError:
        raise NotFoundException(f"A day is written as 2027-03-09; got {day}.") from None
    if not FIRST_YEAR <= when.year <= LAST_YEAR:
        raise NotFoundException(f"The book goes from {FIRST_YEAR} to {LAST_YEAR}; got {day}.")
    return Template("today/day.html", context={"page": day_page(desk, when), "here": "today"})


routes: list[ControllerRouterHandler] = [today, another_day]
