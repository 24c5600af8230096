"""Addresses of the workings: fragments for the dialog."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from litestar import get
from litestar.params import QueryParameter
from litestar.response import Template
from litestar.types import ControllerRouterHandler

from sowbench.services.desk import Desk
from sowbench.services.working_pages import working_of


@get("/working/{what:str}", sync_to_thread=True)
def working(
    desk: Desk,
    what: str,
    of: Annotated[str, QueryParameter(name="of")] = "",
    plan: int | None = None,
    day: date | None = None,
    until: date | None = None,
) -> Template:
    """Show how a number came about.

    Parameters
    ----------
    desk : Desk
        The open book.
    what : str
        Which number.
    of : str, default ""
        Of which sowing, order, job, place or lot.
    plan : int or None, default None
        Number of the plan; None is the current one.
    day : date or None, default None
        The day, where it matters.
    until : date or None, default None
        The day after the last, where several matter.

    Returns
    -------
    fragment : Template
        What the dialog shows.
    """
    found = working_of(desk, what, of, plan, day, until)
    return Template("working/working.html", context={"page": found})


routes: list[ControllerRouterHandler] = [working]
