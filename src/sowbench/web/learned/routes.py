"""Addresses of what the house has learned, and of how good its forecasts were."""

from __future__ import annotations

import math
from typing import Annotated, Final

from litestar import get, post
from litestar.enums import RequestEncodingType
from litestar.params import Body
from litestar.response import Redirect, Template
from litestar.types import ControllerRouterHandler

from sowbench.science.errors import OutOfRangeError, SowbenchError
from sowbench.services.desk import Desk
from sowbench.services.learned import drop_evidence, freeze_factor, undo_choice
from sowbench.services.learned_calibration import calibration_view
from sowbench.services.learned_page import learned_view

FormData = Annotated[dict[str, str], Body(media_type=RequestEncodingType.URL_ENCODED)]

_HERE: Final = "learned"
_SEE_OTHER: Final = 303
_MOST_CHARACTERS: Final = 200


@get("/learned", sync_to_thread=True)
def learned(desk: Desk, done: str = "") -> Template:
    """Show what the house has learned."""
    return _learned(desk, done)


def _learned(desk: Desk, done: str = "", problem: str = "", status_code: int = 200) -> Template:
    """Show the factors, with what was just done or what was wrong."""
    context = {
        "page": learned_view(desk),
        "here": _HERE,
        "done": done if done in _DONE else "",
        "problem": problem,
    }
    return Template("learned/learned.html", context=context, status_code=status_code)


_DONE: Final = frozenset({"frozen", "dropped", "undone"})


@post("/learned/freeze", sync_to_thread=True, status_code=200)
def freeze(desk: Desk, data: FormData) -> Template | Redirect:
    """Freeze a factor."""
    try:
        multiplier = _multiplier(data.get("value", ""))
        freeze_factor(desk, data.get("key", ""), multiplier, *_who(data))
    except SowbenchError as error:
        return _learned(desk, problem=str(error), status_code=422)
    return Redirect("/learned?done=frozen", status_code=_SEE_OTHER)


@post("/learned/drop", sync_to_thread=True, status_code=200)
def drop(desk: Desk, data: FormData) -> Template | Redirect:
    """Leave one observation out."""
    try:
        drop_evidence(desk, data.get("key", ""), *_who(data))
    except SowbenchError as error:
        return _learned(desk, problem=str(error), status_code=422)
    return Redirect("/learned?done=dropped", status_code=_SEE_OTHER)


@post("/learned/undo", sync_to_thread=True, status_code=200)
def undo(desk: Desk, data: FormData) -> Template | Redirect:
    """Take back what was frozen or dropped."""
    try:
        undo_choice(desk, data.get("name", ""), *_who(data))
    except SowbenchError as error:
        return _learned(desk, problem=str(error), status_code=422)
    return Redirect("/learned?done=undone", status_code=_SEE_OTHER)


@get("/learned/calibration", sync_to_thread=True)
def calibration(desk: Desk) -> Template:
    """Show how good forecasts were."""
    context = {"page": calibration_view(desk), "here": _HERE}
    return Template("learned/calibration.html", context=context)


def _who(data: dict[str, str]) -> tuple[str, str]:
    """Return who decides and why."""
    return (
        data.get("person", "").strip()[:_MOST_CHARACTERS],
        data.get("reason", "").strip()[:_MOST_CHARACTERS],
    )


def _multiplier(text: str) -> float:
    """Read a factor."""
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        raise OutOfRangeError("factor", "a number such as 1.10", repr(text[:40])) from None
    if not math.isfinite(value):
        raise OutOfRangeError("factor", "a number such as 1.10", repr(text[:40]))
    return value


routes: list[ControllerRouterHandler] = [learned, freeze, drop, undo, calibration]
