"""Addresses of looking back: the season's figures, other choices, the file, and workings."""

from __future__ import annotations

from typing import Annotated

from litestar import get
from litestar.exceptions import NotFoundException
from litestar.params import QueryParameter
from litestar.response import Response, Template
from litestar.types import ControllerRouterHandler

from sowbench.science.errors import UnknownNameError
from sowbench.services.desk import Desk
from sowbench.services.look_back_page import GROUPS, BackFilter, back_table, back_view
from sowbench.services.look_back_working import back_working
from sowbench.web.season.queries import asked_day

From = Annotated[str | None, QueryParameter(name="from")]
To = Annotated[str | None, QueryParameter(name="to")]


def _asked(
    by: str,
    crop: str,
    container: str,
    customer: str,
    lot: str,
    from_text: str | None,
    to_text: str | None,
) -> BackFilter:
    """Read what is asked for; what cannot be read asks for nothing."""
    return BackFilter(
        by if by in GROUPS else GROUPS[0],
        crop,
        container,
        customer,
        lot,
        asked_day(from_text),
        asked_day(to_text),
    )


@get("/season/back", sync_to_thread=True)
def back(
    desk: Desk,
    by: str = "crop",
    crop: str = "",
    container: str = "",
    customer: str = "",
    lot: str = "",
    from_text: From = None,
    to_text: To = None,
) -> Template:
    """Show a season that is over."""
    page = back_view(desk, _asked(by, crop, container, customer, lot, from_text, to_text))
    return Template("back/back.html", context={"page": page, "here": "season", "by_names": GROUPS})


@get("/season/back.csv", sync_to_thread=True)
def table(
    desk: Desk,
    by: str = "crop",
    crop: str = "",
    container: str = "",
    customer: str = "",
    lot: str = "",
    from_text: From = None,
    to_text: To = None,
) -> Response[bytes]:
    """Hand out the figures as a file."""
    wanted = _asked(by, crop, container, customer, lot, from_text, to_text)
    headers = {"content-disposition": f'attachment; filename="season-by-{wanted.by}.csv"'}
    return Response(back_table(desk, wanted), media_type="text/csv; charset=utf-8", headers=headers)


@get("/working/back/{figure:str}", sync_to_thread=True)
def working(
    desk: Desk,
    figure: str,
    of: str = "",
    by: str = "",
    crop: str = "",
    container: str = "",
    customer: str = "",
    lot: str = "",
    from_text: From = None,
    to_text: To = None,
) -> Template:
    """Show how a figure of a season came about."""
    wanted = _asked(by, crop, container, customer, lot, from_text, to_text)
    try:
        found = back_working(desk, figure, wanted, of if by else None)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    return Template("working/working.html", context={"page": found})


routes: list[ControllerRouterHandler] = [back, table, working]
