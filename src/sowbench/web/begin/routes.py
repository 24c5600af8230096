"""Addresses of the first steps: what a book needs, files to download, taking files in."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Final
from urllib.parse import urlencode

from litestar import Response, get, post
from litestar.datastructures import UploadFile
from litestar.enums import RequestEncodingType
from litestar.params import Body
from litestar.response import Redirect, Template
from litestar.status_codes import HTTP_200_OK, HTTP_303_SEE_OTHER, HTTP_422_UNPROCESSABLE_ENTITY
from litestar.types import ControllerRouterHandler

from sowbench.science.errors import InputFileError
from sowbench.services.begin import (
    begin_view,
    take_in_demo,
    take_in_house,
    take_in_seed,
    take_in_standing,
)
from sowbench.services.begin_files import sample
from sowbench.services.begin_refused import Refused, refused
from sowbench.services.desk import Desk

Form = Annotated[dict[str, Any], Body(media_type=RequestEncodingType.MULTI_PART)]

_HERE: Final = "begin"


@get("/begin", sync_to_thread=True)
def begin(desk: Desk, said: str = "") -> Template:
    """Show the first steps."""
    return _page(desk, said[:300])


@get("/begin/files/{name:str}", sync_to_thread=True)
def download(name: str) -> Response[bytes]:
    """Give a file to start from."""
    return Response(
        sample(name),
        media_type="application/octet-stream",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


@post("/begin/demo", sync_to_thread=True, status_code=200)
def demo(desk: Desk) -> Redirect:
    """Take the invented nursery into an empty book."""
    n_orders = take_in_demo(desk)
    return _after(f"The invented nursery is in: {n_orders} orders. Now plan its season.")


@post("/begin/house", sync_to_thread=True, status_code=200)
def house(desk: Desk, data: Form) -> Template | Redirect:
    """Take in the house and its weather."""
    name, content = _file(data.get("file"))
    weather_name, weather = _file(data.get("weather"))
    return _taken(
        desk,
        "house",
        (name, content),
        lambda: take_in_house(desk, name, content, weather_name, weather),
    )


@post("/begin/seed", sync_to_thread=True, status_code=200)
def seed(desk: Desk, data: Form) -> Template | Redirect:
    """Take in seed lots."""
    name, content = _file(data.get("file"))
    return _taken(desk, "seed", (name, content), lambda: take_in_seed(desk, name, content))


@post("/begin/standing", sync_to_thread=True, status_code=200)
def standing(desk: Desk, data: Form) -> Template | Redirect:
    """Take in what stands already."""
    name, content = _file(data.get("file"))
    return _taken(desk, "standing", (name, content), lambda: take_in_standing(desk, name, content))


def _file(given: object) -> tuple[str, bytes]:
    """Return name and content of a file of a form; both empty if none was chosen."""
    if not isinstance(given, UploadFile):
        return "", b""
    return given.filename, given.file.read()


def _taken(
    desk: Desk, part: str, given: tuple[str, bytes], take: Callable[[], str]
) -> Template | Redirect:
    """Take a file in and say so, or show what is not right beside its rows."""
    try:
        return _after(take())
    except InputFileError as error:
        return _page(desk, wrong=refused(part, *given, error.problems))


def _page(desk: Desk, said: str = "", wrong: Refused | None = None) -> Template:
    """Show the first steps."""
    context = {"page": begin_view(desk, said, wrong), "here": _HERE}
    status = HTTP_200_OK if wrong is None else HTTP_422_UNPROCESSABLE_ENTITY
    return Template("begin/begin.html", context=context, status_code=status)


def _after(said: str) -> Redirect:
    """Go back to the first steps and say what was taken in."""
    return Redirect(f"/begin?{urlencode({'said': said})}", status_code=HTTP_303_SEE_OTHER)


routes: list[ControllerRouterHandler] = [begin, download, demo, house, seed, standing]
