"""Orders in: orders.csv to the orders of the house, standing orders expanded to their drops."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from pathlib import Path

from sowbench.domain.records import Order
from sowbench.exchange.fields import Fields
from sowbench.exchange.tables import Table, read_table
from sowbench.science.errors import InputFileError, Problem, UnknownNameError

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
SYSTEMS = ("channel", "raft", "bucket", "bed", "field", "sale", "class")
MAX_DROPS = 1000

_UNITS = {"plant": "plant", "plants": "plant", "cell": "cell", "cells": "cell", "clump": "cell"}
_HANDOVER = {
    "trays": "trays",
    "in trays": "trays",
    "pulled": "pulled",
    "racks": "racks",
    "on racks": "racks",
}
_STATUS = {
    "asked": "asked",
    "promised": "promised",
    "cancelled": "cancelled",
    "canceled": "cancelled",
}
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
class _Line:
    """An order as its row gives it, with its repeats."""

    row: int
    order: Order
    repeat_every_d: int | None
    repeat_until: date | None

    def drop_ids(self) -> dict[str, date]:
        """Return the ids of a standing order's drops with their days."""
        if self.repeat_every_d is None or self.repeat_until is None:
            return {}
        n_days = (self.repeat_until - self.order.wanted_date).days
        days = (
            self.order.wanted_date + timedelta(days=after)
            for after in range(0, n_days + 1, self.repeat_every_d)
        )
        return {f"{self.order.id}/{day.isoformat()}": day for day in days}


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
    table = read_table(path, COLUMNS, REQUIRED, sheet="orders")
    problems: list[Problem] = []
    lines: list[_Line] = []
    if not table.rows:
        problems.append(
            Problem(table.file, None, None, None, "There is no order below the header row.")
        )
    for row in table.rows:
        fields_of_row = Fields(table, row, problems)
        line = _line(fields_of_row, resolve_crop, crop_unit, containers, systems, resolve_container)
        if line is not None:
            lines.append(line)
    _check_names(table, problems)
    orders = _expanded(table, lines, problems)
    if problems:
        raise InputFileError(_in_file_order(problems))
    kept = tuple(each for each in orders if each.status != "cancelled")
    cancelled = tuple(each for each in orders if each.status == "cancelled")
    notes = list(table.notes)
    if cancelled:
        names = ", ".join(each.id for each in cancelled[:10])
        more = f" and {len(cancelled) - 10} more" if len(cancelled) > 10 else ""
        verb = "is" if len(cancelled) == 1 else "are"
        notes.append(f"{table.file}: {names}{more} {verb} cancelled and not planned.")
    return OrdersRead(kept, cancelled, tuple(notes))


def _line(
    cells: Fields,
    resolve_crop: Callable[[str], str],
    crop_unit: Callable[[str], str],
    containers: Collection[str] | None,
    systems: Collection[str],
    resolve_container: Callable[[str], str] | None,
) -> _Line | None:
    """Read one row; None if anything in it is wrong."""
    name = cells.name("order")
    crop = cells.resolved("crop", resolve_crop)
    plants = cells.whole("plants", least=1, required=True)
    wanted = cells.day("wanted_on", required=True)
    earliest = cells.day("earliest_on") or wanted
    latest = cells.day("latest_on") or wanted
    every_d = cells.whole("repeat_every_d", least=1, most=3660)
    until = cells.day("repeat_until")
    _check_window(cells, wanted, earliest, latest)
    _check_repeat(cells, wanted, every_d, until)
    limits = cells.known("container", cells.names("container"), containers, resolve_container)
    order = Order(
        id=name,
        crop=crop,
        plants=plants or 0,
        wanted_date=wanted or date.min,
        earliest_date=earliest or date.min,
        latest_date=latest or date.min,
        customer=cells.text("customer"),
        variety=cells.text("variety"),
        substitutes=cells.names("substitutes"),
        unit=cells.choice("unit", _UNITS, "") or (crop_unit(crop) if crop else ""),
        system=cells.choice("system", {each.casefold(): each for each in (*systems, "any")}, "any"),
        containers=tuple(limits),
        confidence_frac=cells.share("confidence_frac", 0.5, 0.999),
        min_frac=_default(cells.share("min_frac", 0.0, 1.0, above=0.0), 1.0),
        partial=cells.yes_no("partial"),
        organic=cells.yes_no("organic"),
        handover=cells.choice("handover", _HANDOVER, "trays"),
        status=cells.choice("status", _STATUS, "promised"),
        note=cells.text("note"),
    )
    if order.substitutes and not order.variety:
        cells.problem(
            "substitutes",
            "Substitutes need a variety that they stand for; without one any lot of the crop does.",
        )
    return _Line(cells.number, order, every_d, until) if cells.ok else None


def _default(value: float | None, default: float) -> float:
    """Return the value, or the default for a blank."""
    return default if value is None else value


def _check_window(
    cells: Fields, wanted: date | None, earliest: date | None, latest: date | None
) -> None:
    """Check that the day wanted lies between the first and the last day that still serve."""
    both = cells.has("earliest_on") and cells.has("latest_on")
    if both and earliest and latest and latest < earliest:
        cells.problem("latest_on", f"latest_on must not be before earliest_on ({earliest}).")
        return
    if wanted and earliest and wanted < earliest:
        cells.problem("earliest_on", f"earliest_on must not be after wanted_on ({wanted}).")
    if wanted and latest and wanted > latest:
        cells.problem("latest_on", f"latest_on must not be before wanted_on ({wanted}).")


def _check_repeat(
    cells: Fields, wanted: date | None, every_d: int | None, until: date | None
) -> None:
    """Check that a standing order has both its numbers, in order, and not too many drops."""
    if cells.has("repeat_every_d") and not cells.has("repeat_until"):
        cells.problem("repeat_every_d", "A standing order also needs repeat_until, its last day.")
    if cells.has("repeat_until") and not cells.has("repeat_every_d"):
        cells.problem(
            "repeat_until", "A standing order also needs repeat_every_d, as 7 for weekly."
        )
    if not (wanted and every_d and until):
        return
    if until < wanted:
        cells.problem("repeat_until", f"repeat_until must not be before wanted_on ({wanted}).")
    elif (until - wanted).days // every_d >= MAX_DROPS:
        cells.problem(
            "repeat_until",
            f"A standing order may have at most {MAX_DROPS} drops; is the year right?",
        )


def _check_names(table: Table, problems: list[Problem]) -> None:
    """Report every row whose order name stood in an earlier row."""
    first: dict[str, int] = {}
    for row in table.rows:
        name = Fields(table, row, []).text("order")
        if not name:
            continue
        if name in first:
            problems.append(
                Problem(
                    table.file,
                    row.number,
                    "order",
                    name,
                    f"This order name stands in row {first[name]} already; each order needs a name"
                    " of its own.",
                )
            )
        else:
            first[name] = row.number


def _expanded(table: Table, lines: Sequence[_Line], problems: list[Problem]) -> list[Order]:
    """Put the drops of standing orders in place of their rows; a row named as a drop changes it."""
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
                        table.file,
                        line.row,
                        "order",
                        name,
                        f"The standing order {base!r} has no drop on that day; the nearest names"
                        f" are {', '.join(near)}.",
                    )
                )
            orders.append(line.order)
    return orders


def _drops(line: _Line, drops: dict[str, date], changed: set[str]) -> list[Order]:
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
