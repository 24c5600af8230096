"""Addresses of the house: its page, a form for each part, its text, its versions, its files."""

from __future__ import annotations

import asyncio
from typing import Annotated, Any

from litestar import Response, get, post
from litestar.datastructures import UploadFile
from litestar.enums import RequestEncodingType
from litestar.exceptions import NotFoundException
from litestar.params import Body
from litestar.response import Redirect, Template
from litestar.types import ControllerRouterHandler

from sowbench.exchange.toml_tables import WEEKDAYS
from sowbench.science.errors import UnknownNameError
from sowbench.services.book_inputs import HOUSE_FILE, base_name
from sowbench.services.desk import Desk
from sowbench.services.house_forms import HouseForm, house_form, save_table, take_table_out
from sowbench.services.house_page import house_view
from sowbench.services.house_versions import (
    HouseLook,
    TextForm,
    bring_back,
    house_file,
    look_at_house,
    save_text,
    take_looked_at,
    text_form,
    version_view,
    versions_view,
)
from sowbench.web.season.queries import asked_whole

FormData = Annotated[dict[str, str], Body(media_type=RequestEncodingType.URL_ENCODED)]
FileData = Annotated[dict[str, Any], Body(media_type=RequestEncodingType.MULTI_PART)]
_MOST_TABLES = 100_000


def _at(text: str | None) -> int | None:
    """Read which of a list of tables is meant; they are counted from 1 in addresses."""
    number = asked_whole(text, _MOST_TABLES)
    return None if number is None else number - 1


@get("/house", sync_to_thread=True)
def house(desk: Desk, kept: str = "", wrong: str = "") -> Template:
    """Show the house."""
    context = {"page": house_view(desk), "here": "house", "kept": kept, "wrong": wrong}
    return Template("house/house.html", context=context)


@get("/house/edit", sync_to_thread=True)
def edit(desk: Desk, table: str = "", at: str | None = None) -> Template:
    """Show one part of the house to fill in."""
    try:
        return _form(house_form(desk, table, _at(at)))
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error


@post("/house/keep", sync_to_thread=True, status_code=200)
def keep(desk: Desk, data: FormData) -> Template | Redirect:
    """Keep one part of the house, or say what is wrong with it."""
    table = data.get("table", "")
    try:
        kept, form = save_table(desk, table, _at(data.get("at")), data)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    if kept is None and form is not None:
        return _form(form, 422)
    comments = "" if kept is None or kept.kept_comments else "&comments=gone"
    return Redirect(f"/house?kept={table}{comments}#{table}", status_code=303)


@post("/house/out", sync_to_thread=True, status_code=200)
def out(desk: Desk, data: FormData) -> Template | Redirect:
    """Take one of a list of parts out."""
    table, at = data.get("table", ""), _at(data.get("at"))
    try:
        kept, problems = take_table_out(desk, table, 0 if at is None else at)
        if kept is not None:
            return Redirect(f"/house?kept={table}#{table}", status_code=303)
        form = house_form(desk, table, at)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    context = {"page": form, "here": "house", "weekdays": WEEKDAYS, "out": problems}
    return Template("house/form.html", context=context, status_code=422)


def _form(form: HouseForm, status_code: int = 200) -> Template:
    return Template(
        "house/form.html",
        context={"page": form, "here": "house", "weekdays": WEEKDAYS, "out": ()},
        status_code=status_code,
    )


@get("/house/text", sync_to_thread=True)
def text(desk: Desk) -> Template:
    """Show the text of the house to edit."""
    return _text(text_form(desk))


@post("/house/text/keep", sync_to_thread=True, status_code=200)
def keep_text(desk: Desk, data: FormData) -> Template | Redirect:
    """Keep the edited text, or show every problem by its line."""
    form = save_text(desk, data.get("text", ""))
    return Redirect("/house?kept=text", status_code=303) if form is None else _text(form, 422)


def _text(form: TextForm, status_code: int = 200) -> Template:
    return Template(
        "house/text.html", context={"page": form, "here": "house"}, status_code=status_code
    )


@get("/house/take-in", sync_to_thread=False)
def choose_files() -> Template:
    """Ask for a house file and its weather."""
    return Template("house/take_in.html", context={"page": None, "here": "house"})


@post("/house/take-in/keep", status_code=200)
async def keep_files(desk: Desk, data: FileData) -> Template | Redirect:
    """Show what a house file and its weather would change, or every problem."""
    given, outside = data.get("house"), data.get("weather")
    content = await given.read() if isinstance(given, UploadFile) and given.filename else None
    weather = None
    if isinstance(outside, UploadFile) and outside.filename:
        weather = (outside.filename, await outside.read())
    form = await asyncio.to_thread(look_at_house, desk, content, weather)
    if isinstance(form, HouseLook):
        return Template("house/look.html", context={"page": form, "here": "house", "said": ""})
    context = {"page": form, "here": "house"}
    name = "house/text.html" if form.text else "house/take_in.html"
    return Template(name, context=context, status_code=422)


@post("/house/take-in/go", sync_to_thread=True, status_code=200)
def take_files(desk: Desk, data: FormData) -> Template | Redirect:
    """Take in a house file that was looked at."""
    seen = asked_whole(data.get("seen"), 10**6, 0) if data.get("seen") != "0" else 0
    try:
        form = take_looked_at(desk, data.get("text", ""), data.get("weather", ""), seen or 0)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    if form is None:
        return Redirect("/house?kept=file", status_code=303)
    if isinstance(form, HouseLook):
        context = {"page": form, "here": "house", "said": "changed"}
        return Template("house/look.html", context=context, status_code=409)
    return _text(form, 422)


@get("/house/versions", sync_to_thread=True)
def versions(desk: Desk, of: str | None = None) -> Template:
    """Show all versions of the house, or one with what it changed."""
    number = asked_whole(of, 10**6)
    if of is None:
        context = {"page": versions_view(desk), "here": "house"}
        return Template("house/versions.html", context=context)
    try:
        view = version_view(desk, number or 0)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    return Template("house/version.html", context={"page": view, "here": "house"})


@post("/house/versions/back", sync_to_thread=True, status_code=200)
def back(desk: Desk, data: FormData) -> Template | Redirect:
    """Bring an earlier version back."""
    try:
        form = bring_back(desk, asked_whole(data.get("version"), 10**6) or 0)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    return Redirect("/house?kept=back", status_code=303) if form is None else _text(form, 422)


@get("/house/file", sync_to_thread=True)
def download(desk: Desk, name: str = HOUSE_FILE) -> Response[bytes]:
    """Give house.toml or its weather file."""
    try:
        content = house_file(desk, name)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    plain = base_name(name).encode("ascii", "ignore").decode("ascii")
    shown = "".join(each for each in plain if each.isalnum() or each in "._- ") or "file"
    return Response(
        content,
        media_type="application/toml; charset=utf-8"
        if name == HOUSE_FILE
        else "application/octet-stream",
        headers={"Content-Disposition": f'attachment; filename="{shown}"'},
    )


routes: list[ControllerRouterHandler] = [
    house,
    edit,
    keep,
    out,
    text,
    keep_text,
    choose_files,
    keep_files,
    take_files,
    versions,
    back,
    download,
]
