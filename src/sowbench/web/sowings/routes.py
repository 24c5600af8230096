"""Addresses of the sowings pages."""

from __future__ import annotations

import re
from typing import Annotated, Final

from litestar import get
from litestar.params import QueryParameter
from litestar.response import Template
from litestar.types import ControllerRouterHandler

from sowbench.services.desk import Desk
from sowbench.services.sowing_list import sowing_list
from sowbench.services.sowing_page import sowing_page
from sowbench.web.sowings.count import count_tray
from sowbench.web.sowings.count import routes as count_routes

_TRAY: Final = re.compile(r"(.+)/trays/([0-9]{1,6})")


@get("/sowings", sync_to_thread=True)
def sowings(
    desk: Desk,
    show: str = "",
    by: str = "",
    q: str = "",
    after: str = "",
) -> Template:
    """List the sowings that stand, that are to come, or that are finished.

    Parameters
    ----------
    desk : Desk
        The open book.
    show : str, default ""
        standing, coming or finished.
    by : str, default ""
        place or day.
    q : str, default ""
        What is searched for.
    after : str, default ""
        Where the page before ended.

    Returns
    -------
    page : Template
        The list.
    """
    page = sowing_list(desk, show, by, q, after)
    return Template("sowings/list.html", context={"page": page, "here": "sowings"})


@get("/sowings/{name:path}", sync_to_thread=True)
def sowing(
    desk: Desk,
    name: str,
    trays_from: Annotated[int, QueryParameter(name="trays", ge=1)] = 1,
    before: Annotated[int | None, QueryParameter(name="before", ge=1)] = None,
    correct: str = "",
) -> Template:
    """Show one sowing, or one of its trays to be counted.

    Parameters
    ----------
    desk : Desk
        The open book.
    name : str
        Name of the sowing, which may have a slash in it; of a tray with /trays/NUMBER after it.
    trays_from : int, default 1
        First tray that is drawn.
    before : int or None, default None
        Where the window of the journal begins.
    correct : str, default ""
        Id of an entry to be corrected.

    Returns
    -------
    page : Template
        Its page.
    """
    name = name.removeprefix("/")
    tray = _TRAY.fullmatch(name)
    if tray is not None:
        return count_tray(desk, tray[1], int(tray[2]))
    page = sowing_page(desk, name, trays_from, before, correct)
    return Template("sowings/sowing.html", context={"page": page, "here": "sowings"})


routes: list[ControllerRouterHandler] = [sowings, sowing, *count_routes]
