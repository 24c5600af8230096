"""What stands already: standing.csv to the sowings of the first day, bought-in plants included."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from sowbench.domain.jobs import reads_as_tray
from sowbench.domain.records import Standing
from sowbench.exchange.fields import Fields
from sowbench.exchange.tables import read_table
from sowbench.science.errors import InputFileError, Problem

COLUMNS = (
    "sowing",
    "crop",
    "variety",
    "lot",
    "container",
    "n_containers",
    "n_cells",
    "place",
    "sown_on",
    "counted_on",
    "n_counted",
    "n_usable",
    "orders",
    "note",
)
NAME_RULE = (
    'A sowing\'s name must not end in "/", nor in "/trays/" and a number: it would be taken for '
    "one of its trays. Put a dash instead."
)
REQUIRED = ("sowing", "crop", "container", "n_containers", "n_cells", "place", "sown_on")


@dataclass(frozen=True, slots=True)
class StandingRead:
    """Standing sowings of a file, and notes for the person who gave it."""

    standing: tuple[Standing, ...]
    notes: tuple[str, ...] = ()


def read_standing(
    path: str | Path,
    *,
    resolve_crop: Callable[[str], str],
    container_cells: Mapping[str, int] | None = None,
    places: Collection[str] | None = None,
    orders: Collection[str] | None = None,
    resolve_container: Callable[[str], str] | None = None,
) -> StandingRead:
    """Read standing.csv, or a workbook with the same headers.

    Parameters
    ----------
    path : str or Path
        File to read.
    resolve_crop : callable
        From any spelling of a crop to its id; raises UnknownNameError.
    container_cells : mapping of str to int, or None, default None
        Cells of each known container by its id; None takes any container.
    places, orders : collection of str or None, default None
        Names of the house's places and of the orders; None takes any.
    resolve_container : callable or None, default None
        From another spelling of a container to its id; raises UnknownNameError.

    Returns
    -------
    read : StandingRead
        Standing sowings in file order.

    Raises
    ------
    InputFileError
        With every problem of the file; nothing of it is taken then.
    """
    table = read_table(path, COLUMNS, REQUIRED, sheet="standing")
    problems: list[Problem] = []
    first: dict[str, int] = {}
    found: list[Standing] = []
    for row in table.rows:
        cells = Fields(table, row, problems)
        each = _standing(cells, resolve_crop, container_cells, places, orders, resolve_container)
        if each.sowing in first and each.sowing:
            cells.problem(
                "sowing",
                f"This sowing stands in row {first[each.sowing]} already; give each row a name of"
                " its own.",
            )
        first.setdefault(each.sowing, row.number)
        found.append(each)
    if problems:
        raise InputFileError(problems)
    return StandingRead(tuple(found), table.notes)


def _standing(
    cells: Fields,
    resolve_crop: Callable[[str], str],
    container_cells: Mapping[str, int] | None,
    places: Collection[str] | None,
    orders: Collection[str] | None,
    resolve_container: Callable[[str], str] | None,
) -> Standing:
    """Read one row, leaving a problem for each cell that is wrong."""
    name = cells.name("sowing")
    if reads_as_tray(name):
        cells.problem("sowing", NAME_RULE)
    crop = cells.resolved("crop", resolve_crop)
    container = _one(cells, "container", container_cells, resolve_container)
    n_containers = cells.whole("n_containers", least=1, required=True)
    n_cells = cells.whole("n_cells", least=1, required=True)
    if container_cells is not None and container and n_containers and n_cells:
        most = n_containers * container_cells[container]
        if n_cells > most:
            cells.problem("n_cells", f"{n_containers} of {container} hold {most} cells at most.")
    sown = cells.day("sown_on", required=True)
    counted = cells.day("counted_on")
    n_counted = cells.whole("n_counted")
    n_usable = cells.whole("n_usable")
    if sown and counted and counted < sown:
        cells.problem("counted_on", f"counted_on must not be before sown_on ({sown}).")
    if n_counted is not None and n_cells and n_counted > n_cells:
        cells.problem("n_counted", f"n_counted must not be more than n_cells ({n_cells}).")
    most_usable = n_counted if n_counted is not None else n_cells
    if n_usable is not None and most_usable is not None and n_usable > most_usable:
        column = "n_counted" if n_counted is not None else "n_cells"
        cells.problem("n_usable", f"n_usable must not be more than {column} ({most_usable}).")
    if counted is None and (cells.has("n_counted") or cells.has("n_usable")):
        column = "n_counted" if cells.has("n_counted") else "n_usable"
        if not cells.has("counted_on"):
            cells.problem(column, "A count also needs counted_on, its day.")
    return Standing(
        sowing=name,
        crop=crop,
        variety=cells.text("variety"),
        lot=cells.text("lot"),
        container=container,
        n_containers=n_containers or 0,
        n_cells=n_cells or 0,
        place=_one(cells, "place", places),
        sown_date=sown or date.min,
        counted_date=counted,
        n_counted=n_counted,
        n_usable=n_usable,
        orders=tuple(cells.known("orders", cells.names("orders"), orders)),
    )


def _one(
    cells: Fields,
    column: str,
    known: Collection[str] | None,
    resolve: Callable[[str], str] | None = None,
) -> str:
    """Read one required name that must be known."""
    text = cells.text(column, required=True)
    found = cells.known(column, [text], known, resolve) if text else []
    return found[0] if found else ""
