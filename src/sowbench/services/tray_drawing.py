"""Containers drawn as they are: cells from above in millimeters, and one cell cut through."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from sowbench.domain.records import Container
from sowbench.domain.tray_grid import tray_grid

_FILLS: Final = 0.86
"""Share of its pitch that a cell fills in the drawing where no width is published (assumption)."""

_ROUND: Final = frozenset({"round", "cylinder", "cylinder in net"})


@dataclass(frozen=True, slots=True)
class TrayDrawing:
    """A container from above, standing on end; all lengths in millimeters.

    Attributes
    ----------
    width_mm : float
        Short side.
    length_mm : float
        Long side.
    cell_mm : float
        Width of a cell at its top, as drawn.
    bottom_mm : float or None
        Width at its bottom; None where it is not known.
    depth_mm : float or None
        Depth; None where it is not known.
    round_cells : bool
        Whether its cells are round.
    centers : tuple of tuple of float
        Middle of each cell, row by row.
    lines : str
        The same as one path of crossing lines, for a drawing in small.
    """

    width_mm: float
    length_mm: float
    cell_mm: float
    bottom_mm: float | None
    depth_mm: float | None
    round_cells: bool
    centers: tuple[tuple[float, float], ...]
    lines: str


def draw_tray(container: Container) -> TrayDrawing:
    """Lay a container out for drawing.

    Parameters
    ----------
    container : Container
        The container.

    Returns
    -------
    drawing : TrayDrawing
        Its cells where they are; where rows and columns are not known, a fair grid.
    """
    width, length = sorted((container.outer_length_mm, container.outer_width_mm))
    grid = tray_grid(container)
    pitch_x, pitch_y = width / grid.n_across, length / grid.n_rows
    most = min(pitch_x, pitch_y)
    cell = min(container.cell_top_mm or _FILLS * most, most)
    centers = tuple(
        (
            round((at % grid.n_across + 0.5) * pitch_x, 1),
            round((at // grid.n_across + 0.5) * pitch_y, 1),
        )
        for at in range(grid.n_cells)
    )
    across = "".join(f"M0 {round(row * pitch_y, 1)}H{width:g}" for row in range(1, grid.n_rows))
    down = "".join(f"M{round(col * pitch_x, 1)} 0V{length:g}" for col in range(1, grid.n_across))
    return TrayDrawing(
        width_mm=width,
        length_mm=length,
        cell_mm=round(cell, 1),
        bottom_mm=container.cell_bottom_mm,
        depth_mm=container.depth_mm,
        round_cells=container.cell_shape.casefold() in _ROUND,
        centers=centers,
        lines=across + down,
    )
