"""Default working rates with their sources; a house overrides any in ``[minutes]``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from sowbench.reference.tables import number, read_table

__all__ = ["LaborRate", "labor_defaults"]


@dataclass(frozen=True, slots=True)
class LaborRate:
    """One rate of work, in the unit that its name ends in."""

    task: str
    label: str
    value: float
    unit: str
    low: float | None
    high: float | None
    source: str
    basis: str
    why: str = ""


@cache
def _defaults() -> Mapping[str, LaborRate]:
    return {
        row["task"]: LaborRate(
            row["task"],
            row["label"],
            float(row["value"]),
            row["unit"],
            number(row["low"]),
            number(row["high"]),
            row["source"],
            row["basis"],
            row["why"],
        )
        for row in read_table("labor.csv")
    }


def labor_defaults() -> dict[str, LaborRate]:
    """Default rates by task; a new dict each time, so that a caller may change it."""
    return dict(_defaults())
