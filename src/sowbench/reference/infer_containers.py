"""Completes the published rows of containers by stated rules, and marks what was inferred.

Few published rows are whole. Each rule below fills one column from the others; what it filled is
written into the row's ``inferred`` column as ``column: basis: rule``, parted by `` | ``.
``containers.csv`` is the result; a test makes it anew and compares.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from sowbench.reference.tables import number, read_table

__all__ = ["COLUMNS", "bottom_for_volume", "complete_rows", "frustum_ml", "layout"]

COLUMNS: Final = (
    "id", "name", "kind", "container_class", "cells", "rows", "cols", "outer_length_mm",
    "outer_width_mm", "cell_top_mm", "cell_bottom_mm", "depth_mm", "cell_shape", "cell_volume_ml",
    "volume_low_ml", "volume_high_ml", "takes_mix", "reusable", "price", "organic_ok", "main_row",
    "other_rows", "source", "basis", "inferred", "note",
)  # fmt: skip

# The standard carrier: nominal 10 x 20 inch (from memory, in line with the outer sizes of [C21]).
CARRIER_LENGTH_MM: Final = 540.0
CARRIER_WIDTH_MM: Final = 280.0
# Median of opening / pitch over the square trays of [C21] that have both.
TOP_PER_PITCH: Final = 0.87
# Depth / opening of the smallest square tray of [C21] with both (200 cells: 44.5 / 22.9).
DEPTH_PER_TOP_SMALL: Final = 1.94
# Share of the straight prism that a tray cell holds, median over the square trays of [C21].
PRISM_SHARE: Final = 0.63
# Bottom / opening where neither bottom nor volume is published.
TAPER: Final = {
    "plug tray": (0.57, "median of the square trays of C21, by the frustum formula"),
    "flexible insert": (0.57, "median of the square trays of C21, by the frustum formula"),
    "polystyrene tray": (0.50, "the two remembered polystyrene cells with depth and volume"),
    "pot": (0.70, "usual taper of a pot, from the remembered round pots"),
}


@dataclass(slots=True)
class _Draft:
    """A row in the making."""

    cells: int | None = None
    rows: int | None = None
    cols: int | None = None
    outer_length_mm: float | None = None
    outer_width_mm: float | None = None
    cell_top_mm: float | None = None
    cell_bottom_mm: float | None = None
    depth_mm: float | None = None
    cell_volume_ml: float | None = None
    volume_low_ml: float | None = None
    volume_high_ml: float | None = None
    inferred: list[str] = field(default_factory=list)

    def infer(self, column: str, value: float | None, basis: str, rule: str) -> None:
        """Fill one column and say how."""
        setattr(self, column, value)
        self.inferred.append(f"{column}: {basis}: {rule}")


def frustum_ml(top_mm: float, bottom_mm: float, depth_mm: float, *, is_round: bool) -> float:
    """Volume of a cell that tapers evenly from its opening to its bottom.

    Parameters
    ----------
    top_mm, bottom_mm : float
        Width or diameter at the opening and at the bottom [mm].
    depth_mm : float
        Depth [mm].
    is_round : bool
        Whether the cell is round; square otherwise.

    Returns
    -------
    volume_ml : float
        Volume [ml]: depth / 3 x (top**2 + top x bottom + bottom**2), times pi / 4 if round.
    """
    square_mm3 = depth_mm / 3.0 * (top_mm**2 + top_mm * bottom_mm + bottom_mm**2)
    return square_mm3 * (math.pi / 4.0 if is_round else 1.0) / 1000.0


def bottom_for_volume(
    top_mm: float, depth_mm: float, volume_ml: float, *, is_round: bool
) -> float | None:
    """Bottom width with which `frustum_ml` gives a published volume; None if none does."""
    area_mm2 = volume_ml * 1000.0 / depth_mm / (math.pi / 4.0 if is_round else 1.0)
    inside = top_mm**2 - 4.0 * (top_mm**2 - 3.0 * area_mm2)
    if inside < 0:
        return None
    bottom_mm = (-top_mm + math.sqrt(inside)) / 2.0
    return bottom_mm if 0 < bottom_mm <= top_mm else None


def layout(cells: int, length_mm: float, width_mm: float) -> tuple[int, int] | None:
    """Rows and columns whose pitches along and across differ least; None if over a third.

    Parameters
    ----------
    cells : int
        Number of cells.
    length_mm, width_mm : float
        Outer size [mm].

    Returns
    -------
    rows_cols : tuple of int or None
        Rows across the width and columns along the length.
    """
    options = [(rows, cells // rows) for rows in range(1, cells + 1) if cells % rows == 0]

    def unlike(option: tuple[int, int]) -> float:
        rows, cols = option
        return abs(math.log((length_mm / cols) / (width_mm / rows)))

    best = min(options, key=unlike)
    return best if unlike(best) < math.log(4.0 / 3.0) else None


def _span(text: str) -> tuple[float | None, float | None, float | None]:
    """Middle, low and high of ``25`` or ``25-30``."""
    parts = [number(each) for each in text.split(";", maxsplit=1)[0].split("-")]
    if len(parts) == 2 and parts[0] is not None and parts[1] is not None:
        return (parts[0] + parts[1]) / 2.0, parts[0], parts[1]
    return (parts[0] if parts else None), None, None


def _published(row: Mapping[str, str]) -> _Draft:
    """Take what the source prints."""
    draft = _Draft()
    for column in ("cells", "rows", "cols"):
        text = row["cells_per_unit" if column == "cells" else column]
        setattr(draft, column, int(text) if text else None)
    draft.outer_length_mm = number(row["outer_length_mm"])
    draft.outer_width_mm = number(row["outer_width_mm"])
    draft.cell_top_mm = number(row["cell_top_mm"])
    draft.cell_bottom_mm = number(row["cell_bottom_mm"])
    wet = row["depth_mm"].rpartition(";")[2].replace("wet", "").strip()
    draft.depth_mm, low, high = _span(wet)
    if low is not None:
        draft.inferred.append(f"depth_mm: computed: middle of {low:g} to {high:g} mm")
    volume, low, high = _span(row["cell_volume_ml"])
    draft.cell_volume_ml, draft.volume_low_ml, draft.volume_high_ml = volume, low, high
    if low is not None:
        draft.inferred.append(f"cell_volume_ml: computed: middle of {low:g} to {high:g} ml")
    return draft


def _outer(draft: _Draft, kind: str) -> None:
    """Rule 1: a sheet, an insert and loose units stand in the standard carrier."""
    loose = kind in {"mineral-wool block", "pot", "peat pellet"}
    in_carrier = loose or kind in {"flexible insert", "mineral-wool cube", "foam cube"}
    rule = f"stands in the standard carrier, {CARRIER_LENGTH_MM:g} x {CARRIER_WIDTH_MM:g} mm"
    if in_carrier or draft.outer_length_mm is None:
        draft.infer("outer_length_mm", CARRIER_LENGTH_MM, "assumption", rule)
        draft.infer("outer_width_mm", CARRIER_WIDTH_MM, "assumption", rule)
    if draft.cols and draft.cell_top_mm and draft.cols * draft.cell_top_mm > CARRIER_LENGTH_MM:
        length_mm = draft.cols * draft.cell_top_mm
        draft.infer("outer_length_mm", length_mm, "computed", "the sheet is longer than a carrier")
    if not loose or draft.cell_top_mm is None:
        return
    if draft.cells is None or draft.cells <= 6:
        rows = int(CARRIER_WIDTH_MM // draft.cell_top_mm)
        cols = int(CARRIER_LENGTH_MM // draft.cell_top_mm)
        if kind == "peat pellet":  # room for fingers between pellets
            rows, cols = rows - 1, cols - 2
        draft.infer("cells", rows * cols, "computed", "as many as stand in the carrier")
        draft.infer("rows", rows, "computed", "as many as stand in the carrier")
        draft.infer("cols", cols, "computed", "as many as stand in the carrier")


def _top(draft: _Draft, sibling: Mapping[str, str] | None) -> None:
    """Rules 2 and 3: rows and columns from the outer size, the opening from the pitch."""
    assert draft.cells is not None  # noqa: S101 - every published row with cells has them here
    assert draft.outer_length_mm is not None  # noqa: S101 - rule 1 came first
    assert draft.outer_width_mm is not None  # noqa: S101 - rule 1 came first
    if draft.rows is None:
        found = layout(draft.cells, draft.outer_length_mm, draft.outer_width_mm)
        rule = "the layout with the squarest pitch on the outer size"
        if found is None:
            rule = "no rows and columns give this count on this size: cells stand staggered"
        rows, cols = found or (None, None)
        draft.infer("rows", rows, "computed", rule)
        draft.infer("cols", cols, "computed", rule)
    if draft.cell_top_mm is None:
        printed = number(sibling["cell_top_mm"]) if sibling else None
        if printed is not None and sibling is not None:
            draft.infer("cell_top_mm", printed, "computed", f"as {sibling['container']}")
        else:
            area_mm2 = draft.outer_length_mm * draft.outer_width_mm / draft.cells
            top_mm = round(TOP_PER_PITCH * math.sqrt(area_mm2), 1)
            rule = f"{TOP_PER_PITCH:g} of the pitch, median of the square trays of C21"
            draft.infer("cell_top_mm", top_mm, "computed", rule)


def _solid(draft: _Draft, kind: str, *, is_round: bool) -> None:
    """Rules 4 to 6: depth from volume, volume from taper, bottom from the frustum formula."""
    top_mm = draft.cell_top_mm
    assert top_mm is not None  # noqa: S101 - rule 3 came first
    straight = kind not in TAPER
    if draft.depth_mm is None:
        if draft.cell_volume_ml is not None:
            depth = draft.cell_volume_ml * 1000.0 / (PRISM_SHARE * top_mm**2)
            rule = f"volume / ({PRISM_SHARE:g} x opening squared), median share of C21"
        else:
            depth = DEPTH_PER_TOP_SMALL * top_mm
            rule = f"{DEPTH_PER_TOP_SMALL:g} x opening, as the 200-cell tray of C21"
        draft.infer("depth_mm", round(depth, 1), "computed", rule)
    assert draft.depth_mm is not None  # noqa: S101 - filled just now
    if straight and draft.cell_bottom_mm is None:
        draft.infer("cell_bottom_mm", top_mm, "computed", "straight sides")
    if draft.cell_volume_ml is None:
        if draft.cell_bottom_mm is None:
            ratio, why = TAPER[kind]
            draft.infer("cell_bottom_mm", round(ratio * top_mm, 1), "computed", f"{ratio:g} of "
                        f"the opening: {why}")  # fmt: skip
        assert draft.cell_bottom_mm is not None  # noqa: S101 - filled just now
        volume = frustum_ml(top_mm, draft.cell_bottom_mm, draft.depth_mm, is_round=is_round)
        draft.infer("cell_volume_ml", round(volume, 1), "computed", "frustum of the dimensions")
    volume_ml = draft.cell_volume_ml
    if draft.cell_bottom_mm is None and volume_ml is not None:
        bottom = bottom_for_volume(top_mm, draft.depth_mm, volume_ml, is_round=is_round)
        if bottom is None:
            rule = "no even taper gives the published volume: opening and bottom taken as equal"
            draft.infer("cell_bottom_mm", top_mm, "assumption", rule)
        else:
            rule = "even taper that gives the published volume from opening and depth"
            draft.infer("cell_bottom_mm", round(bottom, 1), "computed", rule)


def _text(value: float | str | None) -> str:
    if value is None:
        return ""
    return value if isinstance(value, str) else f"{value:g}"


def complete_rows() -> list[dict[str, str]]:
    """Make the complete rows of ``containers.csv`` from what is published and what was chosen.

    Returns
    -------
    rows : list of dict
        One row per container with every column of `COLUMNS`, as text.
    """
    published = {row["container"]: row for row in read_table("data/crops/containers.csv")}
    done = []
    for choice in read_table("container_choices.csv"):
        row = published[choice["main_row"]]
        others = [each for each in choice["other_rows"].split(";") if each]
        draft = _published(row)
        kind = choice["kind"]
        shape = row["cell_shape"] or "square"
        if "taken" in choice["note"]:
            _choice_of_two(draft, choice)
        _outer(draft, kind)
        sibling = next((published[each] for each in others if published[each]["cell_top_mm"]), None)
        _top(draft, sibling)
        is_round = shape.startswith(("round", "cylinder"))
        _solid(draft, kind, is_round=is_round)
        done.append(_row(choice, row, draft, shape, others))
    return done


def _choice_of_two(draft: _Draft, choice: Mapping[str, str]) -> None:
    """Take the one of two sizes on sale that the choice names."""
    if choice["id"] == "wool-40":
        for column in ("cell_top_mm", "cell_bottom_mm"):
            draft.infer(column, 40.0, "assumption", "sold as 40 mm as well, after C28")
        draft.infer("cell_volume_ml", 60.8, "computed", "40 x 40 x 38 mm")
    if choice["id"] == "flex-128":
        draft.inferred.clear()
        draft.infer("depth_mm", 28.6, "assumption", "the shallower of 28.6 and 50.8 mm on sale")


def _row(
    choice: Mapping[str, str],
    row: Mapping[str, str],
    draft: _Draft,
    shape: str,
    others: Sequence[str],
) -> dict[str, str]:
    """Put the finished row together."""
    memory = row["basis"] == "memory"
    notes = "; ".join(each for each in (choice["note"], row["notes"]) if each)
    values: dict[str, float | str | None] = {
        "id": choice["id"], "name": choice["name"], "kind": choice["kind"],
        "container_class": choice["container_class"], "cells": draft.cells, "rows": draft.rows,
        "cols": draft.cols, "outer_length_mm": draft.outer_length_mm,
        "outer_width_mm": draft.outer_width_mm, "cell_top_mm": draft.cell_top_mm,
        "cell_bottom_mm": draft.cell_bottom_mm, "depth_mm": draft.depth_mm, "cell_shape": shape,
        "cell_volume_ml": draft.cell_volume_ml, "volume_low_ml": draft.volume_low_ml,
        "volume_high_ml": draft.volume_high_ml, "takes_mix": choice["takes_mix"],
        "reusable": choice["reusable"], "price": choice["price"],
        "organic_ok": choice["organic_ok"], "main_row": choice["main_row"],
        "other_rows": ";".join(others), "source": row["source_id"],
        "basis": "from memory" if memory else "seen", "inferred": " | ".join(draft.inferred),
        "note": notes,
    }  # fmt: skip
    return {column: _text(values[column]) for column in COLUMNS}
