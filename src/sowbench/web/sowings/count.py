"""Addresses of counting: what can be counted, and one tray cell by cell."""

from __future__ import annotations

from litestar import get
from litestar.response import Template
from litestar.types import ControllerRouterHandler

from sowbench.services.count_page import count_list_page, count_page, start_marks
from sowbench.services.desk import Desk


@get("/count", sync_to_thread=True)
def choose(desk: Desk) -> Template:
    """Show what can be counted."""
    return Template(
        "today/count_list.html", context={"page": count_list_page(desk), "here": "count"}
    )


def count_tray(desk: Desk, sowing: str, number: int) -> Template:
    """Show one tray, to be counted.

    Parameters
    ----------
    desk : Desk
        The open book.
    sowing : str
        Name of the sowing.
    number : int
        Number of the tray.

    Returns
    -------
    page : Template
        Its page, at /sowings/NAME/trays/NUMBER.
    """
    page = count_page(desk, sowing, number)
    drawing = {
        "across": page.grid.n_across,
        "cells": page.n_cells,
        "clump": page.is_clump,
        "low": page.wanted_low,
        "high": page.wanted_high,
        "start": start_marks(page),
        "last": page.last.cells if page.last is not None else "",
    }
    return Template(
        "sowings/count.html", context={"page": page, "drawing": drawing, "here": "count"}
    )


routes: list[ControllerRouterHandler] = [choose]
