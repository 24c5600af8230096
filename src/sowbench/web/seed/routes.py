"""Addresses of seed and supplies."""

from __future__ import annotations

import asyncio
from typing import Annotated, Any
from urllib.parse import quote

from litestar import Response, get, post
from litestar.datastructures import UploadFile
from litestar.enums import RequestEncodingType
from litestar.exceptions import NotFoundException
from litestar.params import Body
from litestar.response import Redirect, Template
from litestar.types import ControllerRouterHandler

from sowbench.exchange.seed import COLUMNS
from sowbench.science.errors import UnknownNameError
from sowbench.services.desk import Desk
from sowbench.services.seed_lots import (
    FLAGS,
    LotForm,
    look_at_seed,
    lot_form,
    save_lot,
    seed_file,
    take_seed_in,
)
from sowbench.services.seed_page import lot_view, seed_view
from sowbench.services.seed_test import (
    LAYOUTS,
    GerminationForm,
    germination_form,
    keep_germination,
)
from sowbench.services.supplies_page import supplies_view
from sowbench.web.season.queries import asked_whole

FormData = Annotated[dict[str, str], Body(media_type=RequestEncodingType.URL_ENCODED)]
FileData = Annotated[dict[str, Any], Body(media_type=RequestEncodingType.MULTI_PART)]
_MOST_PAGES = 10_000
_MOST_DIGITS = 15


def _number_of_entry(text: str) -> int | None:
    """Read the number of an entry; None for a blank, or for what makes no sense."""
    return int(text) if text.isdecimal() and len(text) <= _MOST_DIGITS else None


def _lot_address(name: str, more: str = "") -> str:
    return f"/seed/lot?of={quote(name, safe='')}{more}"


@get("/seed", sync_to_thread=True)
def seed(desk: Desk, q: str = "", page: str | None = None, taken: str = "") -> Template:
    """Show all lots, what is to be bought first."""
    view = seed_view(desk, q, asked_whole(page, _MOST_PAGES, 1) or 1)
    context = {"page": view, "here": "seed", "taken": taken if taken.isdigit() else ""}
    return Template("seed/seed.html", context=context)


@get("/seed/lot", sync_to_thread=True)
def lot(desk: Desk, of: str = "", kept: str = "", before: str = "") -> Template:
    """Show one lot."""
    try:
        view = lot_view(desk, of, _number_of_entry(before))
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    return Template("seed/lot.html", context={"page": view, "here": "seed", "kept": kept})


@get("/seed/{name:path}", sync_to_thread=False)
def lot_by_name(name: str) -> Redirect:
    """Go to the page of a lot, whose name may have a slash in it."""
    return Redirect(_lot_address(str(name).removeprefix("/")))


@get("/seed/new", sync_to_thread=True)
def new_lot(desk: Desk) -> Template:
    """Show the form of a new lot."""
    return _form(lot_form(desk))


@get("/seed/change", sync_to_thread=True)
def change_lot(desk: Desk, of: str = "") -> Template:
    """Show the form of a lot to change."""
    try:
        return _form(lot_form(desk, of))
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error


@post("/seed/keep", sync_to_thread=True, status_code=200)
def keep_lot(desk: Desk, data: FormData) -> Template | Redirect:
    """Keep a lot that was filled in, or say what is wrong with it."""
    values = {each: data.get(each, "") for each in COLUMNS if each in data or each in FLAGS}
    try:
        name, form = save_lot(desk, data.get("of", ""), values)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    if form is None:
        return Redirect(_lot_address(name, "&kept=lot"), status_code=303)
    return _form(form, 422)


def _form(form: LotForm, status_code: int = 200) -> Template:
    return Template(
        "seed/form.html", context={"page": form, "here": "seed"}, status_code=status_code
    )


@get("/seed/take-in", sync_to_thread=False)
def choose_file() -> Template:
    """Ask for a file of lots."""
    return Template("seed/take_in.html", context={"page": None, "here": "seed", "asked": ""})


@post("/seed/look", status_code=200)
async def look_at_file(desk: Desk, data: FileData) -> Template:
    """Show what a file of lots would change, or what is wrong with it."""
    file = data.get("file")
    if not isinstance(file, UploadFile) or not file.filename:
        asked = "Choose a file first: seed.csv, or a workbook with the same headers."
        context: dict[str, object] = {"page": None, "here": "seed", "asked": asked}
        return Template("seed/take_in.html", context=context, status_code=422)
    content = await file.read()
    view = await asyncio.to_thread(look_at_seed, desk, file.filename, content)
    context = {"page": view, "here": "seed", "asked": ""}
    return Template("seed/take_in.html", context=context, status_code=422 if view.problems else 200)


@post("/seed/take-in/keep", sync_to_thread=True, status_code=303)
def keep_file(desk: Desk, data: FormData) -> Redirect:
    """Take in a file of lots that was looked at."""
    n = take_seed_in(desk, data.get("table", ""), data.get("file", ""))
    return Redirect(f"/seed?taken={n}", status_code=303)


@get("/seed/seed.csv", sync_to_thread=True)
def download(desk: Desk) -> Response[bytes]:
    """Give all lots as a file."""
    return Response(
        seed_file(desk),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="seed.csv"'},
    )


@get("/seed/test", sync_to_thread=True)
def germination_test(desk: Desk, of: str = "", layout: str = "4 x 100") -> Template:
    """Show the form of a germination test."""
    try:
        return _test(germination_form(desk, of, layout))
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error


@post("/seed/test/keep", sync_to_thread=True, status_code=200)
def keep_germination_test(desk: Desk, data: FormData) -> Template | Redirect:
    """Judge a germination test; write it down if that is asked."""
    name, layout = data.get("of", ""), data.get("layout", "")
    do = data.get("do", "judge")
    try:
        if do == "judge" or not data.get("id"):
            return _test(germination_form(desk, name, layout, data))
        form = keep_germination(desk, name, layout, data, data["id"], take=do == "take")
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    if form.judged is None:
        return _test(form)
    taken = do == "take" and form.judged.accepted is not False
    return Redirect(_lot_address(name, f"&kept={'test' if taken else 'written'}"), status_code=303)


def _test(form: GerminationForm) -> Template:
    return Template(
        "seed/test.html",
        context={"page": form, "here": "seed", "layouts": tuple(LAYOUTS)},
        status_code=422 if form.problems else 200,
    )


@get("/supplies", sync_to_thread=True)
def supplies(desk: Desk) -> Template:
    """Show what is needed, by the week to order."""
    return Template("seed/supplies.html", context={"page": supplies_view(desk), "here": "seed"})


routes: list[ControllerRouterHandler] = [
    seed,
    lot,
    lot_by_name,
    new_lot,
    change_lot,
    keep_lot,
    choose_file,
    look_at_file,
    keep_file,
    download,
    germination_test,
    keep_germination_test,
    supplies,
]
