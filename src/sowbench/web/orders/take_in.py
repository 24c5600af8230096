"""Addresses of taking orders in: give a file, look at it and mend it, take it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Final

from litestar import Request, get, post
from litestar.datastructures import UploadFile
from litestar.enums import RequestEncodingType
from litestar.exceptions import NotFoundException
from litestar.params import Body
from litestar.response import Redirect, Template
from litestar.types import ControllerRouterHandler

from sowbench.exchange.fields import shown_cell
from sowbench.exchange.orders import COLUMNS
from sowbench.science.errors import InputFileError, UnknownNameError
from sowbench.services.desk import Desk
from sowbench.services.orders_intake import (
    SeenOtherwiseError,
    forget,
    keep_file,
    look,
    mend,
    take,
)
from sowbench.services.orders_mending import (
    ForAll,
    for_all,
    likely_header,
    missing_columns,
    suggestions,
)
from sowbench.services.orders_one import FieldChange, field_changes

if TYPE_CHECKING:
    from sowbench.domain.records import Order
    from sowbench.exchange.tables import Row
    from sowbench.science.errors import Problem
    from sowbench.services.orders_intake import Intake

N_ROWS: Final = 40
"""Rows, or orders of one kind, shown at once; ours."""

_HERE: Final = "orders"
_SEE_OTHER: Final = 303
_ALWAYS: Final = ("order", "customer", "crop", "plants", "wanted_on")


@dataclass(frozen=True, slots=True)
class CellView:
    """A cell of a bad row: what it holds, what is wrong, what may be meant."""

    column: str
    text: str
    message: str
    may_be: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RowView:
    """A bad row: its cells, and what is wrong with it as a whole."""

    number: int
    title: str
    cells: tuple[CellView, ...]
    rest: tuple[tuple[str, str], ...]
    messages: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MissingView:
    """A column that the file lacks, and the headers that may stand for it."""

    column: str
    message: str
    likely: str


@dataclass(frozen=True, slots=True)
class ChangedView:
    """A known order that the file has otherwise."""

    order: Order
    fields: tuple[FieldChange, ...]


@dataclass(frozen=True, slots=True)
class TakeInView:
    """A file as its page shows it."""

    intake: Intake
    whole: tuple[str, ...]
    missing: tuple[MissingView, ...]
    for_all: tuple[ForAll, ...]
    rows: tuple[RowView, ...]
    n_bad: int
    n_more: int
    new: tuple[Order, ...]
    changed: tuple[ChangedView, ...]


@get("/orders/take-in", sync_to_thread=True)
def take_in(desk: Desk) -> Template:  # noqa: ARG001 - every page is of a book
    """Show how to give a file."""
    context = {"here": _HERE, "problems": (), "columns": COLUMNS}
    return Template("orders/take_in.html", context=context)


@post("/orders/take-in/file", sync_to_thread=True, status_code=200)
def give(
    desk: Desk,
    data: Annotated[dict[str, Any], Body(media_type=RequestEncodingType.MULTI_PART)],
) -> Template | Redirect:
    """Keep the file that was given, and go on to what it holds."""
    upload = data.get("file")
    try:
        if isinstance(upload, UploadFile):
            intake_id = keep_file(desk, upload.filename, upload.file.read())
        else:
            intake_id = keep_file(desk, "file", b"")
    except InputFileError as error:
        context = {"here": _HERE, "problems": error.problems, "columns": COLUMNS}
        return Template("orders/take_in.html", context=context, status_code=422)
    return Redirect(f"/orders/take-in/{intake_id}", status_code=_SEE_OTHER)


@get("/orders/take-in/{intake_id:str}", sync_to_thread=True)
def look_at(desk: Desk, intake_id: str) -> Template:
    """Show what a file would change, and what is wrong with it."""
    return _shown(desk, intake_id)


@post("/orders/take-in/{intake_id:str}/go", status_code=200)
async def go_on(desk: Desk, intake_id: str, request: Request[Any, Any, Any]) -> Template | Redirect:
    """Check a file again as it was mended, take it, or let go of it."""
    from anyio.to_thread import run_sync

    form = await request.form()
    fields = [(key, value) for key, value in form.multi_items() if isinstance(value, str)]
    return await run_sync(_gone_on, desk, intake_id, fields)


def _gone_on(desk: Desk, intake_id: str, fields: list[tuple[str, str]]) -> Template | Redirect:
    """Do what a form asks for."""
    values = dict(fields)
    try:
        if values.get("do") == "forget":
            forget(desk, intake_id)
            return Redirect("/orders/take-in", status_code=_SEE_OTHER)
        mend(desk, intake_id, *_mended(fields))
        if "fix_all" in values:
            alike = for_all(look(desk, intake_id).problems)
            way = next((each for each in alike if each.key == values["fix_all"]), None)
            if way is not None:
                texts = {(row, way.column): text for row, text in way.texts.items()}
                mend(desk, intake_id, texts, {}, {})
        if values.get("do") != "take":
            return Redirect(f"/orders/take-in/{intake_id}#rows", status_code=_SEE_OTHER)
        left = frozenset(value for key, value in fields if key == "leave")
        taken = take(desk, intake_id, left)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    except InputFileError:
        return _shown(desk, intake_id, status_code=422)
    except SeenOtherwiseError as error:
        return _shown(desk, intake_id, said=str(error), status_code=409)
    address = f"/orders?new={taken.n_new}&changed={taken.n_changed}"
    return Redirect(address, status_code=_SEE_OTHER)


def _mended(
    fields: list[tuple[str, str]],
) -> tuple[dict[tuple[int, str], str], dict[int, bool], dict[str, str]]:
    """Read what was mended: cells, rows left out, headers that stand for a column."""
    cells: dict[tuple[int, str], str] = {}
    left_out: dict[int, bool] = {}
    renamed: dict[str, str] = {}
    for key, value in fields:
        kind, _, rest = key.partition(".")
        row, _, column = rest.partition(".")
        if kind == "cell" and row.isdigit() and column:
            cells[int(row), column] = value
        elif kind == "out" and row.isdigit():
            left_out[int(row)] = True
        elif kind == "back" and row.isdigit():
            left_out[int(row)] = False
        elif kind == "header" and rest and value:
            renamed[value] = rest
        elif kind == "stands" and rest and value:
            renamed[rest] = value
    for key, value in fields:
        if key == "fix":
            row, _, rest = value.partition(".")
            column, _, text = rest.partition(".")
            if row.isdigit() and column:
                cells[int(row), column] = text
        elif key == "unname" and value:
            renamed[value] = ""
        elif key == "bring_back" and value.isdigit():
            left_out[int(value)] = False
    return cells, left_out, renamed


def _shown(desk: Desk, intake_id: str, said: str = "", status_code: int = 200) -> Template:
    """Show a file."""
    try:
        intake = look(desk, intake_id)
    except UnknownNameError as error:
        raise NotFoundException(str(error)) from error
    context = {"page": _view(intake), "here": _HERE, "said": said}
    return Template("orders/look.html", context=context, status_code=status_code)


def _view(intake: Intake) -> TakeInView:
    """Put a file together for its page."""
    columns = missing_columns(intake)
    by_row: dict[int, list[Problem]] = {}
    whole = []
    for each in intake.problems:
        if each.column in columns and each.message.startswith("The header lacks"):
            continue
        if each.row is None or (each.row not in {row.number for row in intake.bad_rows}):
            whole.append(f"Row {each.row}: {each.message}" if each.row else _sentence(each))
        else:
            by_row.setdefault(each.row, []).append(each)
    rows = [_row(each, by_row.get(each.number, [])) for each in intake.bad_rows[:N_ROWS]]
    return TakeInView(
        intake=intake,
        whole=tuple(whole),
        missing=tuple(
            MissingView(
                each.column or "", each.message, likely_header(each.column or "", intake.headers)
            )
            for each in intake.problems
            if each.column in columns and each.message.startswith("The header lacks")
        ),
        for_all=for_all(intake.problems),
        rows=tuple(rows),
        n_bad=len(intake.bad_rows),
        n_more=max(len(intake.bad_rows) - N_ROWS, 0),
        new=intake.new[:N_ROWS],
        changed=tuple(
            ChangedView(each.after, field_changes(each.before, each.after))
            for each in intake.changed[:N_ROWS]
        ),
    )


def _sentence(problem: Problem) -> str:
    """Say what is wrong with a file as a whole; what begins with a verb is said of its name."""
    message = problem.message
    return f"{problem.file} {message}" if message[:1].islower() else message


def _row(row: Row, problems: list[Problem]) -> RowView:
    """Show a bad row: cells that are wrong to be mended, the others as they are."""
    told: dict[str, Problem] = {}
    messages = []
    for each in problems:
        if each.column is None:
            messages.append(each.message)
        else:
            told.setdefault(each.column, each)
    cells = tuple(
        CellView(
            column,
            shown_cell(row.cells.get(column)),
            told[column].message,
            suggestions(told[column]),
        )
        for column in COLUMNS
        if column in told
    )
    rest = tuple(
        (column, shown_cell(row.cells.get(column)))
        for column in COLUMNS
        if column not in told and shown_cell(row.cells.get(column))
    )
    title = " · ".join(
        shown_cell(row.cells.get(each))
        for each in _ALWAYS[:3]
        if each not in told and shown_cell(row.cells.get(each))
    )
    return RowView(row.number, title, cells, rest, tuple(messages))


routes: list[ControllerRouterHandler] = [take_in, give, look_at, go_on]
