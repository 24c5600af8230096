"""Addresses of the season pages: the season, one place, one day, and what is fixed by hand."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from litestar import get, post
from litestar.enums import RequestEncodingType
from litestar.exceptions import NotFoundException
from litestar.params import Body, QueryParameter
from litestar.response import Redirect, Template
from litestar.types import ControllerRouterHandler

from sowbench.science.errors import UnknownNameError
from sowbench.services.desk import Desk
from sowbench.services.pins_page import FIELDS, pin_form, pins_view, save_pin, take_out
from sowbench.services.season_page import season_view
from sowbench.services.season_place import day_view, place_view
from sowbench.services.season_window import MOST_WEEKS, WEEKS
from sowbench.web.season.queries import asked_day, asked_whole

Asked = Annotated[str | None, QueryParameter(name="from")]
FormData = Annotated[dict[str, str], Body(media_type=RequestEncodingType.URL_ENCODED)]
_MOST_PAGES = 10_000


@get("/season", sync_to_thread=True)
def season(desk: Desk, from_text: Asked = None, weeks: str | None = None) -> Template:
    """Show the season: room and crew against what stands in it."""
    page = season_view(desk, asked_day(from_text), asked_whole(weeks, MOST_WEEKS))
    return Template("season/season.html", context={"page": page, "here": "season", "spans": WEEKS})


@get("/season/place", sync_to_thread=True)
def place(
    desk: Desk,
    of: str = "",
    from_text: Asked = None,
    weeks: str | None = None,
    page: str | None = None,
) -> Template | Redirect:
    """Show one place, each stay on its days."""
    n_weeks = None if weeks == "all" else asked_whole(weeks, MOST_WEEKS, 8)
    try:
        view = place_view(
            desk, of, asked_day(from_text), n_weeks, asked_whole(page, _MOST_PAGES, 1) or 1
        )
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    if view is None:
        return Redirect("/season")
    return Template("season/place.html", context={"page": view, "here": "season", "spans": WEEKS})


@get("/season/day", sync_to_thread=True)
def day(desk: Desk, on: str | None = None) -> Template | Redirect:
    """Show what stands where on a day."""
    view = day_view(desk, asked_day(on))
    if view is None:
        return Redirect("/season")
    return Template("season/day.html", context={"page": view, "here": "season"})


@get("/season/pins", sync_to_thread=True)
def pins(desk: Desk, kept: str = "", out: str = "") -> Template:
    """Show what is fixed by hand."""
    context = {"page": pins_view(desk), "here": "season", "kept": kept, "out": out}
    return Template("season/pins.html", context=context)


@get("/season/pins/pin", sync_to_thread=True)
def pin(desk: Desk, of: str = "", place: str = "", sow_date: str = "") -> Template | Redirect:
    """Show one pin to fill in, with a place or a day that was offered."""
    target = of.strip()
    if not target:
        return Redirect("/season/pins")
    offered = {"place": place, "sow_date": sow_date}
    try:
        form = pin_form(desk, target, {key: text for key, text in offered.items() if text})
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    return Template("season/pin.html", context={"page": form, "here": "season"})


@post("/season/pins/keep", sync_to_thread=True, status_code=200)
def keep_pin(desk: Desk, data: FormData) -> Template | Redirect:
    """Keep a pin that was filled in, or say what is wrong with it."""
    target = data.get("target", "")
    values = {each: data.get(each, "") for each in (*FIELDS, "note")}
    try:
        form = save_pin(desk, target, values)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    if form is None:
        return Redirect(f"/season/pins?kept={quote(target, safe='')}", status_code=303)
    return Template("season/pin.html", context={"page": form, "here": "season"}, status_code=422)


@post("/season/pins/out", sync_to_thread=True, status_code=303)
def pin_out(desk: Desk, data: FormData) -> Redirect:
    """Take a pin out."""
    target = data.get("target", "")
    take_out(desk, target)
    return Redirect(f"/season/pins?out={quote(target, safe='')}", status_code=303)


routes: list[ControllerRouterHandler] = [season, place, day, pins, pin, keep_pin, pin_out]
