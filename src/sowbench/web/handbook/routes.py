"""Addresses of the handbook: its list, a crop, a container."""

from __future__ import annotations

from typing import Annotated, Final

from litestar import get
from litestar.params import QueryParameter
from litestar.response import Template
from litestar.types import ControllerRouterHandler

from sowbench.services.desk import Desk
from sowbench.services.handbook import container_page, crop_page, handbook_view

_HERE: Final = "handbook"


@get("/handbook", sync_to_thread=True)
def handbook(desk: Desk, q: str = "") -> Template:
    """List crops and containers."""
    page = handbook_view(desk, q.strip()[:100])
    return Template("handbook/handbook.html", context={"page": page, "here": _HERE})


@get("/handbook/crops/{name:str}", sync_to_thread=True)
def crop(
    desk: Desk,
    name: str,
    container: Annotated[str, QueryParameter(name="in")] = "",
    where: str = "",
) -> Template:
    """Show a crop, and how to sow it."""
    page = crop_page(desk, name, container, where)
    return Template("handbook/crop.html", context={"page": page, "here": _HERE})


@get("/handbook/containers/{name:str}", sync_to_thread=True)
def container(desk: Desk, name: str) -> Template:
    """Show a container as it is."""
    page = container_page(desk, name)
    return Template("handbook/container.html", context={"page": page, "here": _HERE})


routes: list[ControllerRouterHandler] = [handbook, crop, container]
