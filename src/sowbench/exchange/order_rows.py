"""Rows of orders.csv to orders: one by one with every problem told, or many alike at once."""

from __future__ import annotations

import gc
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from sowbench.domain.records import Order
from sowbench.exchange.fields import Fields
from sowbench.exchange.tables import Cell, Records, Row

SYSTEMS = ("channel", "raft", "bucket", "bed", "field", "sale", "class")
MAX_DROPS = 1000

UNITS = {"plant": "plant", "plants": "plant", "cell": "cell", "cells": "cell", "clump": "cell"}
HANDOVER = {
    "trays": "trays",
    "in trays": "trays",
    "pulled": "pulled",
    "racks": "racks",
    "on racks": "racks",
}
STATUS = {
    "asked": "asked",
    "promised": "promised",
    "cancelled": "cancelled",
    "canceled": "cancelled",
}


@dataclass(frozen=True, slots=True)
class OrderWords:
    """Names that an order may use: see `sowbench.exchange.orders.read_orders`."""

    resolve_crop: Callable[[str], str]
    crop_unit: Callable[[str], str]
    containers: Collection[str] | None = None
    systems: Collection[str] = SYSTEMS
    resolve_container: Callable[[str], str] | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """An order as its row gives it, with its repeats; `repeat_every_d` None is once."""

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


def read_line(cells: Fields, known: OrderWords) -> Line | None:
    """Read one row.

    Parameters
    ----------
    cells : Fields
        The row.
    known : OrderWords
        Names that an order may use.

    Returns
    -------
    line : Line or None
        The order; None if anything in it is wrong.
    """
    name = cells.name("order")
    crop = cells.resolved("crop", known.resolve_crop)
    plants = cells.whole("plants", least=1, required=True)
    wanted = cells.day("wanted_on", required=True)
    earliest = cells.day("earliest_on") or wanted
    latest = cells.day("latest_on") or wanted
    every_d = cells.whole("repeat_every_d", least=1, most=3660)
    until = cells.day("repeat_until")
    _check_window(cells, wanted, earliest, latest)
    _check_repeat(cells, wanted, every_d, until)
    limits = cells.known(
        "container", cells.names("container"), known.containers, known.resolve_container
    )
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
        unit=cells.choice("unit", UNITS, "") or (known.crop_unit(crop) if crop else ""),
        system=cells.choice("system", system_words(known), "any"),
        containers=tuple(limits),
        confidence_frac=cells.share("confidence_frac", 0.5, 0.999),
        min_frac=_default(cells.share("min_frac", 0.0, 1.0, above=0.0), 1.0),
        partial=cells.yes_no("partial"),
        organic=cells.yes_no("organic"),
        handover=cells.choice("handover", HANDOVER, "trays"),
        status=cells.choice("status", STATUS, "promised"),
        note=cells.text("note"),
    )
    if order.substitutes and not order.variety:
        cells.problem(
            "substitutes",
            "Substitutes need a variety that they stand for; without one any lot of the crop does.",
        )
    return Line(cells.number, order, every_d, until) if cells.ok else None


def system_words(known: OrderWords) -> dict[str, str]:
    """Return the systems by their folded names.

    Parameters
    ----------
    known : OrderWords
        Names that an order may use.

    Returns
    -------
    words : dict of str to str
        With "any".
    """
    return {each.casefold(): each for each in (*known.systems, "any")}


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


def quick_lines(records: Records, known: OrderWords) -> list[Line | None]:
    """Read the rows in which nothing is unusual, column by column.

    A column has few different cells; each is read once, by the very rules of `read_line`, and all
    rows that hold it take its value.

    Parameters
    ----------
    records : Records
        The rows of a file.
    known : OrderWords
        Names that an order may use.

    Returns
    -------
    lines : list of Line or None
        By row; None where a row must be read by itself: something in it is wrong, or it is a
        standing order.
    """
    if not records.records:
        return []
    with _no_collector():
        return _quick(records, known)


@contextmanager
def _no_collector() -> Iterator[None]:
    """Keep the collector of cycles from walking many records that all stay, and have no cycles."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _quick(records: Records, known: OrderWords) -> list[Line | None]:
    """Read whole columns, then put the rows together."""
    columns = dict(
        zip(
            records.columns.values(),
            ([each[at] for each in records.records] for at in records.columns),
            strict=True,
        )
    )
    read = _Column(records, columns, known)
    names = read.plain_names("order")
    crops = read.values("crop", lambda cells: cells.resolved("crop", known.resolve_crop), "")
    wanted = read.values("wanted_on", lambda cells: cells.day("wanted_on", required=True), None)
    earliest = read.values("earliest_on", lambda cells: cells.day("earliest_on"), None)
    latest = read.values("latest_on", lambda cells: cells.day("latest_on"), None)
    units = read.values("unit", lambda cells: cells.choice("unit", UNITS, ""), "")
    usual = {each: known.crop_unit(each) for each in set(crops) if each}
    varieties = read.texts("variety")
    substitutes = read.values("substitutes", lambda cells: cells.names("substitutes"), ())
    plants = read.values("plants", lambda cells: cells.whole("plants", least=1, required=True), 0)
    rows = zip(
        names,
        crops,
        plants,
        wanted,
        [day or want for day, want in zip(earliest, wanted, strict=True)],
        [day or want for day, want in zip(latest, wanted, strict=True)],
        read.texts("customer"),
        varieties,
        substitutes,
        [unit or usual.get(crop, "") for unit, crop in zip(units, crops, strict=True)],
        read.values(
            "system", lambda cells: cells.choice("system", system_words(known), "any"), "any"
        ),
        read.values(
            "container",
            lambda cells: tuple(
                cells.known(
                    "container",
                    cells.names("container"),
                    known.containers,
                    known.resolve_container,
                )
            ),
            (),
        ),
        read.values(
            "confidence_frac", lambda cells: cells.share("confidence_frac", 0.5, 0.999), None
        ),
        read.values(
            "min_frac",
            lambda cells: _default(cells.share("min_frac", 0.0, 1.0, above=0.0), 1.0),
            1.0,
        ),
        read.values("partial", lambda cells: cells.yes_no("partial"), default=False),
        read.values("organic", lambda cells: cells.yes_no("organic"), default=False),
        read.values("handover", lambda cells: cells.choice("handover", HANDOVER, "trays"), "trays"),
        read.values("status", lambda cells: cells.choice("status", STATUS, "promised"), "promised"),
        read.texts("note"),
        strict=True,
    )
    read.once("repeat_every_d")
    read.once("repeat_until")
    ok = read.ok
    for at, (first, day, last) in enumerate(zip(earliest, wanted, latest, strict=True)):
        if day is None or (first or day) > day or (last or day) < day:
            ok[at] = False
    for at, (variety, others) in enumerate(zip(varieties, substitutes, strict=True)):
        if others and not variety:
            ok[at] = False
    numbers = records.numbers
    return [
        Line(numbers[at], Order(*row), None, None) if ok[at] else None
        for at, row in enumerate(rows)
    ]


class _Column:
    """Reads whole columns; `ok` says which rows have had nothing unusual so far."""

    def __init__(self, records: Records, columns: dict[str, list[Cell]], known: OrderWords) -> None:
        self._records = records
        self._columns = columns
        self._known = known
        self.ok = [True] * len(records.records)

    def values(self, column: str, read: Callable[[Fields], Any], default: Any) -> list[Any]:
        """Return the values of a column; the default where there is no such column."""
        cells = self._columns.get(column)
        if cells is None:
            return [default] * len(self.ok)
        keys: list[Any] = cells if self._records.plain else [(type(each), each) for each in cells]
        found: dict[Any, Any] = {}
        bad = set()
        for key in set(keys):
            cell = key if self._records.plain else key[1]
            fields = Fields(self._records, Row(0, {column: cell}), [])
            found[key] = read(fields)
            if not fields.ok:
                bad.add(key)
        if bad:
            self._mark(key in bad for key in keys)
        return [found[key] for key in keys]

    def texts(self, column: str) -> list[str]:
        """Return the texts of a column, blank where there is no such column."""
        cells = self._columns.get(column)
        if cells is None:
            return [""] * len(self.ok)
        if self._records.plain and not any(_is_odd(each) for each in set(cells)):
            return [each or "" for each in cells]  # type: ignore[misc]
        return self.values(column, lambda fields: fields.text(column), "")

    def plain_names(self, column: str) -> list[str]:
        """Return names; a row whose name is blank, or no name, is marked."""
        names = self.texts(column)
        self._mark(not each or "|" in each or not each.isprintable() for each in names)
        return names

    def once(self, column: str) -> None:
        """Mark the rows that have anything in a column."""
        cells = self._columns.get(column)
        if cells is not None:
            self._mark(each is not None and each != "" for each in cells)

    def _mark(self, unusual: Iterable[bool]) -> None:
        """Mark rows as unusual."""
        for at, each in enumerate(unusual):
            if each:
                self.ok[at] = False


def _is_odd(cell: Cell) -> bool:
    """Tell whether a text is not taken as it stands: an error of a spreadsheet, or escaped."""
    return bool(cell) and str(cell)[0] in "#'"
