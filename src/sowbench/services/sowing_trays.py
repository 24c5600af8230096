"""Trays drawn as their containers are, with the cells as they were counted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from sowbench.domain.tray_grid import TrayGrid, fair_grid, tray_grid
from sowbench.services import wording

if TYPE_CHECKING:
    from sowbench.domain.ports.sowings_page import TrayState
    from sowbench.reference.catalog import Catalog

PITCH: Final = 10
"""Width of a cell with its edge, in units of the drawing."""
_CELL: Final = 8
_LEAST_TALL: Final = 4
# A drawing is at most so many times as high as it is wide.
_MOST_HIGH: Final = 2.0
_NAMES: Final = {"1": "full", "+": "many", "-": "few", "0": "empty", ".": "unseen"}


@dataclass(frozen=True, slots=True)
class TrayMap:
    """Cells of a tray as paths.

    Attributes
    ----------
    width, height : int
        Of the drawing.
    tall : int
        Height of a cell with its edge.
    full, unseen : str
        Rows of cells that are right, and of those not looked at, as lines to be dashed.
    many, few, empty : str
        Outlines of cells with too many, too few, nothing.
    """

    width: int
    height: int
    tall: int
    full: str
    unseen: str
    many: str
    few: str
    empty: str


@dataclass(frozen=True, slots=True)
class TrayDrawing:
    """One tray.

    Attributes
    ----------
    number : int
        Its number.
    words : str
        What was counted; blank if nothing.
    place : str
        Where it stands; how it went if it is gone.
    is_gone, is_counted : bool
        Whether it is gone, and whether it was counted.
    map : TrayMap or None
        Its cells, where it was counted cell by cell.
    """

    number: int
    words: str
    place: str
    is_gone: bool
    is_counted: bool
    map: TrayMap | None


def drawn_tray(tray: TrayState, cells: str, catalog: Catalog) -> TrayDrawing:
    """Draw one tray.

    Parameters
    ----------
    tray : TrayState
        The tray.
    cells : str
        Its map; blank if it was not counted cell by cell.
    catalog : Catalog
        The reference, for its rows and columns.

    Returns
    -------
    drawing : TrayDrawing
        The tray in words and lines.
    """
    container = catalog.containers.get(tray.container)
    grid = tray_grid(container) if container is not None else fair_grid(max(tray.n_cells, 1))
    place = tray.place or "place not said"
    if tray.gone_date is not None:
        place = f"{tray.gone_how or 'gone'} {wording.short_day(tray.gone_date)}"
    words = ""
    if tray.n_right is not None and tray.counted_date is not None:
        words = f"{tray.n_right:,} of {tray.n_seen or tray.n_cells:,}"
        words += f", {wording.short_day(tray.counted_date)}"
    return TrayDrawing(
        tray.number,
        words,
        place,
        tray.gone_date is not None,
        tray.counted_date is not None,
        tray_map(grid, cells, tray.n_cells) if cells else None,
    )


def tray_map(grid: TrayGrid, cells: str, n_cells: int) -> TrayMap:
    """Draw the cells of a tray, row by row.

    Parameters
    ----------
    grid : TrayGrid
        Its rows and columns.
    cells : str
        A mark a cell, as in domain.journal.CELL_MARKS.
    n_cells : int
        Cells that were filled.

    Returns
    -------
    drawing : TrayMap
        Its paths.
    """
    across = max(grid.n_across, 1)
    rows = max(grid.n_rows, 1)
    tall = max(min(PITCH, int(_MOST_HIGH * PITCH * across / rows)), _LEAST_TALL)
    edge = (PITCH - _CELL) // 2
    high = tall - 2 * edge
    parts: dict[str, list[str]] = {name: [] for name in _NAMES.values()}
    marks = cells[:n_cells].ljust(min(n_cells, across * rows), ".")[: across * rows]
    for row in range(-(-len(marks) // across)):
        line = marks[row * across : (row + 1) * across]
        at = 0
        while at < len(line):
            name = _NAMES.get(line[at], "unseen")
            stop = at + 1
            if name in {"full", "unseen"}:
                while stop < len(line) and _NAMES.get(line[stop], "unseen") == name:
                    stop += 1
                y = row * tall + tall / 2
                length = (stop - at) * PITCH - 2 * edge
                parts[name].append(f"M{at * PITCH + edge} {y:g}h{length}")
            else:
                x, y = at * PITCH + edge, row * tall + edge
                parts[name].append(f"M{x} {y:g}h{_CELL}v{high}h-{_CELL}z")
            at = stop
    paths = {name: "".join(each) for name, each in parts.items()}
    return TrayMap(across * PITCH, rows * tall, tall, **paths)
