"""Orders in: orders.csv to the orders of the house, standing orders expanded to their drops."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date
from pathlib import Path

from sowbench.domain.records import Order
from sowbench.exchange.fields import Fields
from sowbench.exchange.order_rows import (
    MAX_DROPS,
    SYSTEMS,
    Line,
    OrderWords,
    quick_lines,
    read_line,
)
from sowbench.exchange.tables import Records, Row, aside_notes, read_bytes, read_records
from sowbench.science.errors import InputFileError, Problem, UnknownNameError

__all__ = [
    "COLUMNS",
    "MAX_DROPS",
    "REQUIRED",
    "SYSTEMS",
    "OrderChange",
    "OrdersChecked",
    "OrdersRead",
    "check_orders",
    "order_cell",
    "order_changes",
    "order_values",
    "read_orders",
]

COLUMNS = (
    "order",
    "customer",
    "crop",
    "variety",
    "substitutes",
    "plants",
    "unit",
    "wanted_on",
    "earliest_on",
    "latest_on",
    "repeat_every_d",
    "repeat_until",
    "system",
    "container",
    "confidence_frac",
    "min_frac",
    "partial",
    "organic",
    "handover",
    "status",
    "note",
)
REQUIRED = ("order", "crop", "plants", "wanted_on")

# Names of the record that a person knows by another name at the door.
_DOOR_NAMES = {
    "id": "order",
    "wanted_date": "wanted_on",
    "earliest_date": "earliest_on",
    "latest_date": "latest_on",
    "containers": "container",
}


@dataclass(frozen=True, slots=True)
class OrdersRead:
    """Orders of a file: those to plan, those cancelled, and notes for the person who gave it."""

    orders: tuple[Order, ...]
    cancelled: tuple[Order, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class OrderChange:
    """One difference between known orders and the same orders read again.

    ``kind`` is ``new``, ``gone``, ``cancelled`` or ``changed``; only a change names its ``column``
    with the value ``before`` and ``after``, as the file would spell them.
    """

    order: str
    kind: str
    column: str = ""
    before: str = ""
    after: str = ""


@dataclass(frozen=True, slots=True)
class OrdersChecked:
    """What a file of orders holds: the orders of the rows that are right, and what is wrong.

    Attributes
    ----------
    file : str
        Name for messages.
    orders : tuple of Order
        In file order, cancelled ones too; drops stand in place of their standing order.
    problems : tuple of Problem
        In file order, those of the whole file first.
    notes : tuple of str
        What was left aside.
    bad_rows : tuple of Row
        Rows with a problem, as they were.
    """

    file: str
    orders: tuple[Order, ...]
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]
    bad_rows: tuple[Row, ...]


def read_orders(
    path: str | Path,
    *,
    resolve_crop: Callable[[str], str],
    crop_unit: Callable[[str], str],
    containers: Collection[str] | None = None,
    systems: Collection[str] = SYSTEMS,
    resolve_container: Callable[[str], str] | None = None,
) -> OrdersRead:
    """Read orders.csv, or a workbook with the same headers.

    Parameters
    ----------
    path : str or Path
        File to read.
    resolve_crop : callable
        From any spelling of a crop to its id; raises UnknownNameError.
    crop_unit : callable
        From a crop's id to the unit in which it is usually counted, "plant" or "cell".
    containers : collection of str or None, default None
        Ids of the containers known; None takes any.
    systems : collection of str, default SYSTEMS
        Destination systems known, those of the house included.
    resolve_container : callable or None, default None
        From another spelling of a container to its id; raises UnknownNameError.

    Returns
    -------
    read : OrdersRead
        Orders by wanted day are not sorted: file order is kept, the drops of a standing order in
        place of their row.

    Raises
    ------
    InputFileError
        With every problem of the file; nothing of it is taken then.
    """
    checked = check_orders(
        read_records(str(path), read_bytes(path), COLUMNS, REQUIRED, "orders"),
        words=OrderWords(resolve_crop, crop_unit, containers, systems, resolve_container),
    )
    if checked.problems:
        raise InputFileError(checked.problems)
    kept = tuple(each for each in checked.orders if each.status != "cancelled")
    cancelled = tuple(each for each in checked.orders if each.status == "cancelled")
    notes = list(checked.notes)
    if cancelled:
        names = ", ".join(each.id for each in cancelled[:10])
        more = f" and {len(cancelled) - 10} more" if len(cancelled) > 10 else ""
        verb = "is" if len(cancelled) == 1 else "are"
        notes.append(f"{checked.file}: {names}{more} {verb} cancelled and not planned.")
    return OrdersRead(kept, cancelled, tuple(notes))


def check_orders(records: Records, *, words: OrderWords) -> OrdersChecked:
    """Make orders of the records of a file, and say what is wrong with the others.

    Parameters
    ----------
    records : Records
        The file as it was found.
    words : OrderWords
        Names that an order may use.

    Returns
    -------
    checked : OrdersChecked
        The orders of the rows that are right, every problem, and notes.
    """
    problems = list(records.problems)
    aside = records.kept_aside()
    notes = aside_notes(records.file, aside, COLUMNS, records.columns.values())
    if not records.records and not problems:
        problems.append(
            Problem(records.file, None, None, None, "There is no order below the header row.")
        )
    if any(each.row is None or each.column is not None for each in problems):
        return OrdersChecked(records.file, (), tuple(problems), notes, ())  # the header is wrong
    wide = {each.row for each in problems}
    found = quick_lines(records, words)
    for at, number in enumerate(records.numbers):
        if found[at] is None and number not in wide:
            found[at] = read_line(Fields(records, records.row(at), problems), words)
    _check_names(records, problems)
    lines = [each for each in found if each is not None and each.row not in wide]
    orders = _expanded(records.file, lines, problems)
    bad = {each.row for each in problems}
    rows = (
        tuple(records.row(at) for at, number in enumerate(records.numbers) if number in bad)
        if bad
        else ()
    )
    return OrdersChecked(records.file, tuple(orders), tuple(_in_file_order(problems)), notes, rows)


def _check_names(records: Records, problems: list[Problem]) -> None:
    """Report every row whose order name stood in an earlier row."""
    place = next((at for at, name in records.columns.items() if name == "order"), None)
    if place is None:
        return
    cells = [each[place] for each in records.records]
    if records.plain and len(set(cells)) == len(cells):
        return
    first: dict[str, int] = {}
    for number, cell in zip(records.numbers, cells, strict=True):
        name = Fields(records, Row(number, {"order": cell}), []).text("order")
        if not name:
            continue
        if name in first:
            problems.append(
                Problem(
                    records.file,
                    number,
                    "order",
                    name,
                    f"This order name stands in row {first[name]} already; each order needs a name"
                    " of its own.",
                )
            )
        else:
            first[name] = number


def _expanded(file: str, lines: Sequence[Line], problems: list[Problem]) -> list[Order]:
    """Put the drops of standing orders in place of their rows; a row named as a drop changes it."""
    if all(each.repeat_every_d is None for each in lines):
        return [each.order for each in lines]
    drop_of: dict[str, tuple[str, date]] = {}
    standing: dict[str, dict[str, date]] = {}
    for line in lines:
        drops = line.drop_ids()
        if drops:
            standing[line.order.id] = drops
            drop_of |= {each: (line.order.id, day) for each, day in drops.items()}
    changed = {line.order.id for line in lines if line.order.id in drop_of}
    orders: list[Order] = []
    for line in lines:
        name = line.order.id
        if name in standing:
            orders += _drops(line, standing[name], changed)
        elif name in drop_of:
            orders.append(replace(line.order, standing_of=drop_of[name][0]))
        else:
            base = name.rpartition("/")[0]
            if base in standing and _is_day(name.rpartition("/")[2]):
                near = UnknownNameError.among(name, "drop", standing[base]).nearest
                problems.append(
                    Problem(
                        file,
                        line.row,
                        "order",
                        name,
                        f"The standing order {base!r} has no drop on that day; the nearest names"
                        f" are {', '.join(near)}.",
                    )
                )
            orders.append(line.order)
    return orders


def _drops(line: Line, drops: dict[str, date], changed: set[str]) -> list[Order]:
    """Make the drops of a standing order, except those that a row of their own changes."""
    order = line.order
    before = order.wanted_date - order.earliest_date
    after = order.latest_date - order.wanted_date
    return [
        replace(
            order,
            id=name,
            wanted_date=day,
            earliest_date=day - before,
            latest_date=day + after,
            standing_of=order.id,
        )
        for name, day in drops.items()
        if name not in changed
    ]


def _is_day(text: str) -> bool:
    """Tell whether a text is a day in ISO 8601."""
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _in_file_order(problems: Iterable[Problem]) -> list[Problem]:
    """Sort problems by row; those of the whole file first."""
    return sorted(problems, key=lambda each: each.row or 0)


def order_changes(old: Iterable[Order], new: Iterable[Order]) -> list[OrderChange]:
    """Compare known orders with the same orders read again.

    Parameters
    ----------
    old, new : iterable of Order
        Orders before and after; cancelled ones may be among them.

    Returns
    -------
    changes : list of OrderChange
        In the order of `old`, then what is new in the order of `new`. Nothing is changed by this:
        it is a proposal to look at.
    """
    before = {each.id: each for each in old}
    after = {each.id: each for each in new}
    changes: list[OrderChange] = []
    for name, known in before.items():
        found = after.get(name)
        if found is None:
            changes.append(OrderChange(name, "gone"))
        elif found.status == "cancelled" and known.status != "cancelled":
            changes.append(OrderChange(name, "cancelled", "status", known.status, "cancelled"))
        else:
            changes += _field_changes(known, found)
    changes += [OrderChange(name, "new") for name in after if name not in before]
    return changes


def _field_changes(known: Order, found: Order) -> list[OrderChange]:
    """List the columns in which two readings of an order differ."""
    return [
        OrderChange(
            known.id,
            "changed",
            _DOOR_NAMES.get(each.name, each.name),
            order_cell(getattr(known, each.name)),
            order_cell(getattr(found, each.name)),
        )
        for each in fields(Order)
        if getattr(known, each.name) != getattr(found, each.name)
    ]


def order_values(order: Order) -> dict[str, object]:
    """Name the values of an order by the columns of orders.csv.

    Parameters
    ----------
    order : Order
        The order; a drop of a standing order is written as an order of its own.

    Returns
    -------
    values : dict of str to object
        Value by column; blank ones are left out.
    """
    values: dict[str, object] = {}
    for each in fields(Order):
        name = _DOOR_NAMES.get(each.name, each.name)
        value = getattr(order, each.name)
        if name in COLUMNS and value not in {None, "", ()}:
            values[name] = "|".join(value) if isinstance(value, tuple) else value
    return values


def order_cell(value: object) -> str:
    """Show a value of an order as its column spells it.

    Parameters
    ----------
    value : object
        Text, number, day, yes or no, names, or None.

    Returns
    -------
    text : str
        The cell's text; None is blank.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return "|".join(str(each) for each in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
