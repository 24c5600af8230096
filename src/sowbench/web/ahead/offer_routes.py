"""Addresses of offers: those for a sowing or an order, one with its effect, and taking it."""

from __future__ import annotations

from typing import Annotated, Final
from urllib.parse import urlencode

from litestar import get, post
from litestar.enums import RequestEncodingType
from litestar.params import Body
from litestar.response import Redirect, Template
from litestar.types import ControllerRouterHandler

from sowbench.science.errors import SowbenchError
from sowbench.services.ahead_offers import offer_of, offers_for, take_offer
from sowbench.services.desk import Desk

FormData = Annotated[dict[str, str], Body(media_type=RequestEncodingType.URL_ENCODED)]

_SEE_OTHER: Final = 303
_CONFLICT: Final = 409
_MOST_CHARACTERS: Final = 200


@get("/ahead/part/offers", sync_to_thread=True)
def part_of_offers(desk: Desk, of: str) -> Template:
    """Show what could be done for a sowing or an order, as a part of a page."""
    return Template("ahead/offers.html", context={"offers": _offers(desk, of)})


@get("/ahead/offers", sync_to_thread=True)
def one_offer(desk: Desk, of: str) -> Template:
    """Show one offer with its effect on every order, or what is offered now in its place."""
    return _page(desk, of)


@post("/ahead/offers/take", sync_to_thread=True, status_code=200)
def take(desk: Desk, data: FormData) -> Template | Redirect:
    """Take an offer."""
    name = data.get("offer", "")
    try:
        plan_id = take_offer(desk, name, data.get("person", "").strip()[:_MOST_CHARACTERS])
    except SowbenchError as error:
        return _page(desk, name, str(error))
    return Redirect(f"/plans/{plan_id}?{urlencode({'taken': 1})}", status_code=_SEE_OTHER)


def _offers(desk: Desk, of: str) -> tuple[object, ...]:
    """Return the offers; none where there is no plan."""
    try:
        return offers_for(desk, of)
    except SowbenchError:
        return ()


def _page(desk: Desk, name: str, problem: str = "") -> Template:
    """Show an offer; if it is no longer what it was, those that are made now."""
    offer = None
    try:
        offer = offer_of(desk, name)
    except SowbenchError as error:
        problem = problem or str(error)
    context = {
        "offer": offer,
        "offers": () if offer else _offers(desk, name.partition(".")[2]),
        "problem": problem,
        "here": "ahead",
    }
    return Template("ahead/offer.html", context=context, status_code=_CONFLICT if problem else 200)


routes: list[ControllerRouterHandler] = [part_of_offers, one_offer, take]
