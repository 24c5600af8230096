"""Orders taken in from a file: kept, looked at row by row, mended, and only then taken."""

from __future__ import annotations

import re
import secrets
import shutil
import threading
import time
from collections import OrderedDict
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import msgspec

from sowbench.domain.records import Order
from sowbench.exchange.files import write_atomically
from sowbench.exchange.orders import COLUMNS, REQUIRED, check_orders
from sowbench.exchange.tables import Records, read_records
from sowbench.science.errors import InputFileError, OutOfRangeError, Problem, UnknownNameError
from sowbench.services.book_inputs import base_name, house_of
from sowbench.services.orders_known import order_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sowbench.domain.ports import Unit
    from sowbench.exchange.tables import Row
    from sowbench.services.desk import Desk

FOLDER: Final = "intake"
UPLOAD_MOST_BYTES: Final = 32 * 1024 * 1024
KEPT_D: Final = 7.0
"""A file that was given but not taken is kept so long [d]; ours."""

_FIELD_OF: Final = {
    **{
        each: each
        for each in (
            "customer", "variety", "substitutes", "unit", "system", "confidence_frac", "min_frac",
            "partial", "organic", "handover", "status", "note",
        )
    },
    "container": "containers",
}  # fmt: skip
"""Fields that a known order keeps where the file has no such column."""

_FILE, _EDITS = "file", "edits.json"
_ID: Final = re.compile(r"[0-9a-f]{32}")
_N_CACHED: Final = 2


@dataclass(frozen=True, slots=True)
class Edits:
    """What a person has changed of a file before it is taken.

    Attributes
    ----------
    name : str
        Name of the file as it was given.
    cells : dict of str to dict of str to str
        Texts in place of cells, by row and column.
    left_out : tuple of int
        Rows that are not taken.
    renamed : dict of str to str
        Headers of the file that stand for a column of ours.
    """

    name: str
    cells: dict[str, dict[str, str]] = field(default_factory=dict)
    left_out: tuple[int, ...] = ()
    renamed: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Change:
    """A known order that the file has otherwise."""

    before: Order
    after: Order


@dataclass(frozen=True, slots=True)
class Intake:
    """A file of orders that was looked at, against the orders of the book.

    Attributes
    ----------
    id : str
        Under which it is kept.
    edits : Edits
        Its name, and what was changed in it.
    n_rows : int
        Rows below the header, those left out counted too.
    new : tuple of Order
        Orders that the book does not have.
    changed : tuple of Change
        Orders that the book has otherwise.
    n_same : int
        Orders that the book has just so.
    n_others : int
        Orders of the book that are not in the file; they stay as they are.
    problems : tuple of Problem
        Everything that is wrong.
    bad_rows : tuple of Row
        Rows with a problem, as they are now.
    headers : tuple of str
        Headers that are not ours.
    notes : tuple of str
        What was left aside.
    seen_change : int
        Last change of the book when it was compared.
    free : tuple of str
        Columns of ours that the file lacks, so that a header may stand for one.
    """

    id: str
    edits: Edits
    n_rows: int
    new: tuple[Order, ...]
    changed: tuple[Change, ...]
    n_same: int
    n_others: int
    problems: tuple[Problem, ...]
    bad_rows: tuple[Row, ...]
    headers: tuple[str, ...]
    notes: tuple[str, ...]
    seen_change: int
    free: tuple[str, ...] = ()

    @property
    def ready(self) -> bool:
        """Whether it can be taken."""
        return not self.problems and bool(self.new or self.changed)


@dataclass(frozen=True, slots=True)
class Taken:
    """What was taken in."""

    n_new: int
    n_changed: int


class SeenOtherwiseError(OutOfRangeError):
    """The orders of the book are no longer as they were when the file was looked at."""

    def __init__(self, name: str) -> None:
        super().__init__(
            name,
            "compared with the orders as they are now",
            "a comparison with earlier ones",
            "Look at it once more; the orders of the book have changed in between.",
        )


_cached: OrderedDict[tuple[Path, str], Intake] = OrderedDict()
_caching = threading.Lock()


def keep_file(desk: Desk, name: str, data: bytes) -> str:
    """Keep a file of orders until it is taken in.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str
        Its name as given.
    data : bytes
        Its content.

    Returns
    -------
    intake_id : str
        Under which it is kept.

    Raises
    ------
    InputFileError
        If it is empty or too large; it is not kept then.
    """
    shown = base_name(name).strip()[:100] or "orders"
    if not data:
        raise InputFileError([Problem(shown, None, None, None, "is empty: not one byte is in it.")])
    if len(data) > UPLOAD_MOST_BYTES:
        rule = f"is larger than {UPLOAD_MOST_BYTES // 2**20} MiB; is this the right file?"
        raise InputFileError([Problem(shown, None, None, None, rule)])
    root = desk.data / FOLDER
    _forget_old(root)
    intake_id = secrets.token_hex(16)
    folder = root / intake_id
    folder.mkdir(mode=0o700, parents=True)
    (folder / _FILE).write_bytes(data)
    _write_edits(folder, Edits(shown))
    return intake_id


def kept_file(desk: Desk, intake_id: str) -> tuple[str, bytes]:
    """Return a file that is kept.

    Parameters
    ----------
    desk : Desk
        The desk.
    intake_id : str
        Under which it is kept.

    Returns
    -------
    name : str
        Its name as given.
    data : bytes
        Its content.

    Raises
    ------
    UnknownNameError
        If it is not kept any more.
    """
    folder = _folder(desk, intake_id)
    return _read_edits(folder).name, (folder / _FILE).read_bytes()


def look(desk: Desk, intake_id: str) -> Intake:
    """Look at a file that is kept: what it would change, and what is wrong with it.

    Parameters
    ----------
    desk : Desk
        The desk.
    intake_id : str
        Under which it is kept.

    Returns
    -------
    intake : Intake
        Its orders against those of the book.

    Raises
    ------
    UnknownNameError
        If it is not kept any more.
    """
    folder = _folder(desk, intake_id)
    edits = _read_edits(folder)
    key = (folder, msgspec.json.encode(edits).decode())
    with _caching:
        known = _cached.get(key)
    with desk.book.reading() as unit:
        if known is not None and known.seen_change == unit.orders_page.last_change():
            return known
        intake = _compared(unit, intake_id, (folder / _FILE).read_bytes(), edits)
    with _caching:
        _cached[key] = intake
        while len(_cached) > _N_CACHED:
            _cached.popitem(last=False)
    return intake


def mend(
    desk: Desk,
    intake_id: str,
    cells: Mapping[tuple[int, str], str],
    left_out: Mapping[int, bool],
    renamed: Mapping[str, str],
) -> None:
    """Change cells of a file that is kept, leave rows out, or say what a column is.

    Parameters
    ----------
    desk : Desk
        The desk.
    intake_id : str
        Under which it is kept.
    cells : mapping of (int, str) to str
        Texts in place of cells, by row and column.
    left_out : mapping of int to bool
        Rows that are left out, or are not any more.
    renamed : mapping of str to str
        Headers of the file that stand for a column of ours; blank takes that back.

    Raises
    ------
    UnknownNameError
        If it is not kept any more.
    """
    folder = _folder(desk, intake_id)
    edits = _read_edits(folder)
    changed = {row: dict(texts) for row, texts in edits.cells.items()}
    for (row, column), text in cells.items():
        if column in COLUMNS:
            changed.setdefault(str(row), {})[column] = text.strip()[:10_000]
    out = {row for row in (*edits.left_out, *left_out) if left_out.get(row, True)}
    names = {header: column for header, column in renamed.items() if header and column in COLUMNS}
    known = {**edits.renamed, **names}
    fresh = replace(
        edits,
        cells=changed,
        left_out=tuple(sorted(out)),
        renamed={each: column for each, column in known.items() if renamed.get(each) != ""},
    )
    _write_edits(folder, fresh)


def take(
    desk: Desk, intake_id: str, left_as_is: frozenset[str] = frozenset(), person: str = ""
) -> Taken:
    """Take the orders of a file that is kept into the book.

    Parameters
    ----------
    desk : Desk
        The desk.
    intake_id : str
        Under which it is kept.
    left_as_is : frozenset of str, default none
        Known orders that are not changed.
    person : str, default ""
        Who takes them in.

    Returns
    -------
    taken : Taken
        How many were new or changed.

    Raises
    ------
    InputFileError
        If anything in it is still wrong; nothing is taken then.
    SeenOtherwiseError
        If the orders of the book have changed since it was looked at.
    UnknownNameError
        If it is not kept any more.
    """
    folder = _folder(desk, intake_id)
    edits = _read_edits(folder)
    with _caching:
        intake = _cached.get((folder, msgspec.json.encode(edits).decode()))
    if intake is None:
        intake = look(desk, intake_id)
    if intake.problems:
        raise InputFileError(intake.problems)
    changed = [each.after for each in intake.changed if each.after.id not in left_as_is]
    with desk.book.writing() as unit:
        if unit.orders_page.last_change() != intake.seen_change:
            raise SeenOtherwiseError(edits.name)
        reason = f"taken in from {edits.name}"
        unit.orders.put([*intake.new, *changed], desk.clock(), person, reason)
        unit.commit()
    forget(desk, intake_id)
    return Taken(len(intake.new), len(changed))


def forget(desk: Desk, intake_id: str) -> None:
    """Let go of a file that is kept.

    Parameters
    ----------
    desk : Desk
        The desk.
    intake_id : str
        Under which it is kept.
    """
    folder = _folder(desk, intake_id)
    with _caching:
        for key in [each for each in _cached if each[0] == folder]:
            del _cached[key]
    shutil.rmtree(folder, ignore_errors=True)


def _compared(unit: Unit, intake_id: str, data: bytes, edits: Edits) -> Intake:
    """Read a file as it was changed, and compare its orders with those of the book."""
    _, catalog, _ = house_of(unit)
    seen = unit.orders_page.last_change()
    empty = Intake(intake_id, edits, 0, (), (), 0, 0, (), (), (), (), seen)
    try:
        records = read_records(edits.name, data, COLUMNS, REQUIRED, "orders", edits.renamed)
    except InputFileError as error:
        return replace(empty, problems=tuple(error.problems))
    n_rows = len(records.records)
    records = _edited(records, edits)
    checked = check_orders(records, words=order_words(catalog))
    known = unit.orders.named(each.id for each in checked.orders)
    absent = frozenset(COLUMNS) - frozenset(records.columns.values())
    new, changed, n_same = _against(checked.orders, known, absent)
    return Intake(
        id=intake_id,
        edits=edits,
        n_rows=n_rows,
        new=tuple(new),
        changed=tuple(changed),
        n_same=n_same,
        n_others=max(unit.orders_page.n_orders() - len(known), 0),
        problems=checked.problems,
        bad_rows=checked.bad_rows,
        headers=tuple(each for each in records.others.values() if not each.startswith("column ")),
        notes=checked.notes,
        seen_change=seen,
        free=tuple(each for each in COLUMNS if each in absent),
    )


def _edited(records: Records, edits: Edits) -> Records:
    """Put the texts of a person in place of cells, and leave rows out."""
    if not edits.cells and not edits.left_out:
        return records
    left_out = set(edits.left_out)
    columns = dict(records.columns)
    added = {column for texts in edits.cells.values() for column in texts}
    width = max((*columns, *records.others), default=-1) + 1
    for column in COLUMNS:
        if column in added and column not in columns.values():
            columns[width] = column
            width += 1
    place = {name: at for at, name in columns.items()}
    numbers, rows = [], []
    for number, record in zip(records.numbers, records.records, strict=True):
        if number in left_out:
            continue
        texts = edits.cells.get(str(number))
        row = record
        if texts or len(record) < width:
            row = [*record, *[None] * (width - len(record))]
            for column, text in (texts or {}).items():
                row[place[column]] = text
        numbers.append(number)
        rows.append(row)
    problems = [each for each in records.problems if each.row not in left_out]
    return Records(
        records.file, columns, records.others, numbers, rows, problems, plain=records.plain
    )


def _against(
    orders: tuple[Order, ...], known: Mapping[str, Order], absent: frozenset[str]
) -> tuple[list[Order], list[Change], int]:
    """Part orders into new ones, changed ones and the number of those that are the same."""
    if not known:
        return list(orders), [], 0
    new, changed, n_same = [], [], 0
    for each in orders:
        before = known.get(each.id)
        if before is None:
            new.append(each)
            continue
        after = _as_told(each, before, absent)
        if before == after:
            n_same += 1
        else:
            changed.append(Change(before, after))
    return new, changed, n_same


def _as_told(order: Order, before: Order, absent: frozenset[str]) -> Order:
    """Leave a known order as it is in what the file has no column for.

    A drop that stands alone in a file is still a drop; days that serve move along with the day.
    """
    left = {
        name: getattr(before, name)
        for column, name in _FIELD_OF.items()
        if column in absent and (name != "unit" or order.crop == before.crop)
    }
    moved = order.wanted_date - before.wanted_date
    if "earliest_on" in absent:
        left["earliest_date"] = min(before.earliest_date + moved, order.wanted_date)
    if "latest_on" in absent:
        left["latest_date"] = max(before.latest_date + moved, order.wanted_date)
    return replace(order, **left, standing_of=order.standing_of or before.standing_of)


def _folder(desk: Desk, intake_id: str) -> Path:
    """Return the folder in which a file is kept."""
    folder = desk.data / FOLDER / intake_id
    if not _ID.fullmatch(intake_id) or not (folder / _EDITS).is_file():
        raise UnknownNameError(intake_id, "file of orders; give it once more")
    return folder


def _read_edits(folder: Path) -> Edits:
    """Read what was changed of a file."""
    return msgspec.json.decode((folder / _EDITS).read_bytes(), type=Edits)


def _write_edits(folder: Path, edits: Edits) -> None:
    """Write what was changed of a file."""
    write_atomically(folder / _EDITS, msgspec.json.encode(edits))


def _forget_old(root: Path) -> None:
    """Let go of files that nobody has taken for a week."""
    oldest = time.time() - KEPT_D * 86_400
    for each in root.glob("*"):
        if _ID.fullmatch(each.name) and each.stat().st_mtime < oldest:
            shutil.rmtree(each, ignore_errors=True)
