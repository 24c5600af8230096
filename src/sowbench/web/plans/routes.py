"""Addresses of the plans: begin a run, follow it, look at a plan, accept or decline it."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Final

from litestar import Request, get, post
from litestar.enums import RequestEncodingType
from litestar.exceptions import NotFoundException
from litestar.params import Body
from litestar.response import Redirect, Template
from litestar.types import ControllerRouterHandler

from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.services.desk import Desk
from sowbench.services.planning import (
    SECONDS_LEAST,
    SECONDS_MOST,
    AlreadyPlanningError,
    begin_run,
    run_view,
    stop_run,
)
from sowbench.services.plans_list import accept, decline, plans_view
from sowbench.services.plans_page import plan_view

FormData = Annotated[dict[str, str], Body(media_type=RequestEncodingType.URL_ENCODED)]
SECONDS_USUAL: Final = 30.0
SECONDS: Final = ((15, "15 seconds"), (30, "half a minute"), (60, "a minute"), (300, "5 minutes"))
"""Times of a search to choose from, with their words."""

_HERE: Final = "season"
_SEE_OTHER: Final = 303
_REFRESH_S: Final = 2


@get("/plans", sync_to_thread=True)
def plans(desk: Desk, problem: str = "") -> Template:
    """List the plans so far."""
    return _plans(desk, problem)


def _plans(desk: Desk, problem: str = "", status_code: int = 200) -> Template:
    """Show the list of plans."""
    context = {
        "page": plans_view(desk),
        "here": _HERE,
        "problem": problem,
        "seconds": SECONDS,
        "usual": int(SECONDS_USUAL),
    }
    return Template("plans/list.html", context=context, status_code=status_code)


@post("/plans/run", sync_to_thread=True, status_code=200)
def begin(desk: Desk, data: FormData) -> Template | Redirect:
    """Begin to plan, and go on to where its progress is shown."""
    try:
        seconds = _seconds(data.get("seconds", ""))
        run_id = begin_run(desk, seconds, _first_day(data.get("from_date", "")))
    except AlreadyPlanningError as error:
        return Redirect(f"/plans/runs/{error.run}?already=1", status_code=_SEE_OTHER)
    except OutOfRangeError as error:
        return _plans(desk, str(error), 422)
    return Redirect(f"/plans/runs/{run_id}", status_code=_SEE_OTHER)


@get("/plans/runs/{run_id:int}", sync_to_thread=True)
def run(
    desk: Desk, run_id: int, request: Request[Any, Any, Any], already: str = ""
) -> Template | Redirect:
    """Show how far a run is; asked by a script, the part that changes."""
    try:
        page = run_view(desk, run_id)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    by_script = request.headers.get("hx-request") == "true"
    context = {"page": page, "here": _HERE, "already": bool(already)}
    if page.run.plan is not None:
        address = f"/plans/{page.run.plan}"
        if not by_script:
            return Redirect(address)
        return Template("plans/run_part.html", context=context, headers={"HX-Redirect": address})
    if by_script:
        return Template("plans/run_part.html", context=context)
    return Template("plans/run.html", context=context)


@post("/plans/runs/{run_id:int}/stop", sync_to_thread=True, status_code=200)
def stop(desk: Desk, run_id: int) -> Redirect:
    """End a search with the best plan so far."""
    try:
        stop_run(desk, run_id)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    return Redirect(f"/plans/runs/{run_id}", status_code=_SEE_OTHER)


@get("/plans/{plan_id:int}", sync_to_thread=True)
def plan(desk: Desk, plan_id: int) -> Template:
    """Show a plan: what moved, and what it brings."""
    try:
        page = plan_view(desk, plan_id)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    return Template("plans/plan.html", context={"page": page, "here": _HERE})


@post("/plans/{plan_id:int}/decide", sync_to_thread=True, status_code=200)
def decide(desk: Desk, plan_id: int, data: FormData) -> Redirect:
    """Accept a plan, or set it aside."""
    try:
        if data.get("do") == "accept":
            accept(desk, plan_id)
            return Redirect("/season", status_code=_SEE_OTHER)
        decline(desk, plan_id)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    return Redirect("/plans", status_code=_SEE_OTHER)


def _seconds(text: str) -> float:
    """Read how long to search."""
    if not text.strip():
        return SECONDS_USUAL
    try:
        return float(text)
    except ValueError:
        rule = f"a number of seconds from {SECONDS_LEAST:.0f} to {SECONDS_MOST:.0f}"
        raise OutOfRangeError("seconds", rule, repr(text)) from None


def _first_day(text: str) -> date | None:
    """Read the first day to be planned; blank is today."""
    if not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise OutOfRangeError("first day", "written year-month-day", repr(text)) from None


routes: list[ControllerRouterHandler] = [plans, begin, run, stop, plan, decide]
