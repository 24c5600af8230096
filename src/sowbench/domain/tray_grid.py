"""How the cells of a tray are laid out, and numbered, on every page and in the map of a count."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, sqrt

from sowbench.domain.records import Container


@dataclass(frozen=True, slots=True)
class TrayGrid:
    """A tray that stands on end: rows run across its short side, row 1 is the far one.

    Attributes
    ----------
    n_across : int
        Cells in a row.
    n_rows : int
        Rows; the last may be part-filled where the layout is not known.
    n_cells : int
        Cells in the whole tray.
    drawn_as_is : bool
        False where the reference gives no rows and columns (cells that stand staggered, pots set
        down loosely): the grid is then only a fair picture.
    """

    n_across: int
    n_rows: int
    n_cells: int
    drawn_as_is: bool


def tray_grid(container: Container) -> TrayGrid:
    """Lay out the cells of a container.

    Parameters
    ----------
    container : Container
        The container.

    Returns
    -------
    grid : TrayGrid
        Its layout.
    """
    if container.rows and container.cols and container.rows * container.cols == container.cells:
        across, down = sorted((container.rows, container.cols))
        return TrayGrid(across, down, container.cells, drawn_as_is=True)
    sides = (container.outer_length_mm, container.outer_width_mm)
    return fair_grid(container.cells, max(sides) / min(sides) if min(sides) > 0 else 2.0)


def fair_grid(n_cells: int, length_per_width: float = 2.0) -> TrayGrid:
    """Lay out cells whose rows and columns nobody gave.

    Parameters
    ----------
    n_cells : int
        Cells, at least 1.
    length_per_width : float, default 2.0
        Long side over short side; twice is the usual tray (assumption).

    Returns
    -------
    grid : TrayGrid
        A grid with cells about as long as wide.
    """
    across = max(1, round(sqrt(n_cells / length_per_width)))
    return TrayGrid(across, ceil(n_cells / across), n_cells, drawn_as_is=False)
