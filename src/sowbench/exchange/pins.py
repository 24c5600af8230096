"""Pins in: pins.csv to what the grower fixes by hand for an order or a sowing."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path

from sowbench.domain.records import Pin
from sowbench.exchange.fields import Fields
from sowbench.exchange.tables import read_table
from sowbench.science.errors import InputFileError, Problem

_VALUES = ("container", "seeds_per_cell", "sow_date", "place", "not_before", "not_after")
COLUMNS = ("order", "sowing", *_VALUES, "note")


@dataclass(frozen=True, slots=True)
class PinsRead:
    """Pins of a file, and notes for the person who gave it."""

    pins: tuple[Pin, ...]
    notes: tuple[str, ...] = ()


def read_pins(
    path: str | Path,
    *,
    orders: Collection[str] | None = None,
    sowings: Collection[str] | None = None,
    containers: Collection[str] | None = None,
    places: Collection[str] | None = None,
    resolve_container: Callable[[str], str] | None = None,
) -> PinsRead:
    """Read pins.csv, or a workbook with the same headers.

    Parameters
    ----------
    path : str or Path
        File to read.
    orders, sowings, containers, places : collection of str or None, default None
        Names known; None takes any.
    resolve_container : callable or None, default None
        From another spelling of a container to its id; raises UnknownNameError.

    Returns
    -------
    read : PinsRead
        Pins in file order.

    Raises
    ------
    InputFileError
        With every problem of the file; nothing of it is taken then.
    """
    table = read_table(path, COLUMNS, (), sheet="pins")
    problems: list[Problem] = []
    if not {"order", "sowing"} & set(table.columns):
        problems.append(
            Problem(
                table.file,
                None,
                "order",
                None,
                "The header needs a column order or sowing, for what is pinned.",
            )
        )
        raise InputFileError(problems)
    first: dict[str, int] = {}
    pins: list[Pin] = []
    for row in table.rows:
        cells = Fields(table, row, problems)
        pin = _pin(cells, orders, sowings, containers, places, resolve_container)
        if pin.target in first and pin.target:
            column = "order" if cells.has("order") else "sowing"
            cells.problem(
                column, f"This is pinned in row {first[pin.target]} already; use one row."
            )
        first.setdefault(pin.target, row.number)
        pins.append(pin)
    if problems:
        raise InputFileError(problems)
    return PinsRead(tuple(pins), table.notes)


def _pin(
    cells: Fields,
    orders: Collection[str] | None,
    sowings: Collection[str] | None,
    containers: Collection[str] | None,
    places: Collection[str] | None,
    resolve_container: Callable[[str], str] | None,
) -> Pin:
    """Read one row, leaving a problem for each cell that is wrong."""
    target = ""
    if cells.has("order") == cells.has("sowing"):
        cells.problem(None, "Each row needs either an order or a sowing to pin.")
    else:
        column, known = ("order", orders) if cells.has("order") else ("sowing", sowings)
        found = cells.known(column, [cells.text(column)], known)
        target = found[0] if found else ""
    if not any(cells.has(each) for each in _VALUES):
        cells.problem(None, f"Nothing is pinned; fill one of {', '.join(_VALUES)}.")
    sow_date = cells.day("sow_date")
    not_before = cells.day("not_before")
    not_after = cells.day("not_after")
    if not_before and not_after and not_after < not_before:
        cells.problem("not_after", f"not_after must not be before not_before ({not_before}).")
    elif sow_date and not_before and sow_date < not_before:
        cells.problem("sow_date", f"sow_date must not be before not_before ({not_before}).")
    elif sow_date and not_after and sow_date > not_after:
        cells.problem("sow_date", f"sow_date must not be after not_after ({not_after}).")
    container = [cells.text("container")] if cells.has("container") else []
    place = [cells.text("place")] if cells.has("place") else []
    return Pin(
        target=target,
        container="".join(cells.known("container", container, containers, resolve_container)),
        seeds_per_cell=cells.whole("seeds_per_cell", least=1, most=50),
        sow_date=sow_date,
        place="".join(cells.known("place", place, places)),
        not_before=not_before,
        not_after=not_after,
    )
