"""The published and common schedules of raising transplants, as days of growth.

Each row is one source's weeks from sowing for one crop in one container class, with the
temperatures they hold for.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from sowbench.science.emergence import ThermalResponse, days_at_constant
from sowbench.science.growth import relative_rate

FOLDER: Final = Path(__file__).parent
_DATA: Final = FOLDER / "data" / "crops"

DAY_H: Final = 13.0
"""Hours of day in a row's 24 h mean: middle of 12 to 14 h, assumption."""

LEAST_GROWTH_D: Final = 3.0
"""Least days of growth a row is given when emergence takes nearly all of it: assumption."""

UNKNOWN_EMERGENCE_D: Final = 7.0
"""Days to emergence of a crop of which nothing else is known: assumption."""


@dataclass(frozen=True, slots=True)
class Row:
    """One source's weeks for a crop in a container class, with the temperatures they hold for."""

    crop: str
    container_class: str
    weeks_min: float
    weeks_max: float
    germination_c: float | None
    temp_24h_c: float | None
    germinate_d: float | None
    source_id: str
    basis: str
    widen: bool
    pot_on_weeks: float | None = None


def _table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _number(text: str) -> float | None:
    return float(text) if text else None


def _mid(low: str, high: str) -> float | None:
    """Return the middle of a range; of one end if only that is given."""
    ends = [float(each) for each in (low, high) if each]
    return sum(ends) / len(ends) if ends else None


def mean_24h(day_c: float | None, night_c: float | None) -> float | None:
    """Mean of a day of 13 h and a night of 11 h; one range given serves for both.

    Parameters
    ----------
    day_c, night_c : float or None
        Temperature by day and by night [°C].

    Returns
    -------
    temp_24h_c : float or None
        The mean [°C]; None if neither is given.

    Examples
    --------
    >>> mean_24h(24.0, 12.0), mean_24h(20.0, None)
    (18.5, 20.0)
    """
    if day_c is None or night_c is None:
        return day_c if night_c is None else night_c
    return (DAY_H * day_c + (24 - DAY_H) * night_c) / 24


def choices() -> list[dict[str, str]]:
    """Return what was chosen for each crop: response, labels of its rows, leaves and window.

    Returns
    -------
    choices : list of dict
        Rows of ``growth_choices.csv``.
    """
    return _table(_DATA / "growth_choices.csv")


def cardinal() -> dict[str, dict[str, str]]:
    """Return the temperature responses by crop or kin.

    Returns
    -------
    cardinal : dict
        Rows of ``growth_cardinal.csv`` by their first column.
    """
    return {row["crop"]: row for row in _table(_DATA / "growth_cardinal.csv")}


def schedule_rows() -> list[Row]:
    """Return every row of both schedules that states weeks, by crop.

    Returns
    -------
    rows : list of Row
        Published rows first, then those of common practice; pooled labels stand under each crop.
    """
    by_label: dict[str, list[dict[str, str]]] = {}
    for line in _table(_DATA / "transplant_schedule.csv"):
        # Cubes and blocks of the schedule are read from the second table, with their own rules.
        if line["weeks_min"] and line["system"].startswith("plug"):
            by_label.setdefault(line["crop"], []).append(line)
    rows = []
    for choice in choices():
        for labels, widen in ((choice["labels"], False), (choice["widen"], True)):
            for label in labels.split("|") if labels else []:
                rows += [
                    _published(choice["crop"], x, widen=widen) for x in by_label.get(label, [])
                ]
    for line in _table(_DATA / "transplant_more.csv"):
        rows.append(
            Row(
                line["crop"],
                line["container_class"],
                float(line["weeks_min"]),
                float(line["weeks_max"]),
                _number(line["germination_temp_c"]),
                _number(line["temp_24h_c"]),
                None,
                line["source_id"],
                line["basis"],
                line["use"] == "widen",
                _mid(line["pot_on_weeks_min"], line["pot_on_weeks_max"]),
            )
        )
    return rows


def _published(crop: str, line: dict[str, str], *, widen: bool) -> Row:
    day = _mid(line["day_temp_c_min"], line["day_temp_c_max"])
    night = _mid(line["night_temp_c_min"], line["night_temp_c_max"])
    return Row(
        crop,
        "plug",
        float(line["weeks_min"]),
        float(line["weeks_max"]),
        _mid(line["germination_temp_c_min"], line["germination_temp_c_max"]),
        mean_24h(day, night),
        _mid(line["days_to_germinate_min"], line["days_to_germinate_max"]),
        line["source_id"],
        "from memory" if line["basis"] == "memory" else line["basis"],
        widen,
    )


class EmergenceDays:
    """Median days to emergence by crop and temperature, for the rows of the schedules."""

    def __init__(self) -> None:
        path = FOLDER / "emergence.csv"
        rows = _table(path) if path.exists() else []
        names = ThermalResponse._fields
        self._model = {
            row["crop"]: ThermalResponse(*(float(row[each]) for each in names)) for row in rows
        }
        own: dict[str, list[float]] = {}
        for row in schedule_rows():
            if row.germinate_d is not None:
                own.setdefault(row.crop, []).append(row.germinate_d)
        self._stated = {crop: sum(days) / len(days) for crop, days in own.items()}

    def days(self, row: Row) -> float:
        """Return the emergence that a row's weeks include.

        Parameters
        ----------
        row : Row
            One row of a schedule.

        Returns
        -------
        days : float
            By the crop's emergence model at the row's germination temperature, or at the model's
            best temperature if that is not stated or it would not emerge; without a model, what
            the row or the crop's other rows state; 7 without any (assumption).
        """
        model = self._model.get(row.crop)
        if model is not None:
            best_c = (model.optimum_low_c + model.optimum_high_c) / 2
            temp_c = best_c if row.germination_c is None else row.germination_c
            days = float(days_at_constant(temp_c, model))
            return days if math.isfinite(days) else float(days_at_constant(best_c, model))
        if row.germinate_d is not None:
            return row.germinate_d
        return self._stated.get(row.crop, UNKNOWN_EMERGENCE_D)


def pace(temp_c: float, response: dict[str, str], temp_ref_c: float) -> float:
    """Relative pace at a temperature from a crop's row of the responses.

    Parameters
    ----------
    temp_c : float
        24 h mean [°C].
    response : dict
        The crop's row of the temperature responses.
    temp_ref_c : float
        Reference temperature [°C].

    Returns
    -------
    rate : float
        Days at the reference temperature that a day is worth.
    """
    base, optimum, ceiling = (float(response[x]) for x in ("base_c", "optimum_c", "ceiling_c"))
    return float(relative_rate(temp_c, base, optimum, ceiling, temp_ref_c))


def growth_days(
    row: Row, emergence: EmergenceDays, response: dict[str, str], temp_ref_c: float
) -> tuple[float, float, float]:
    """Days of growth of one row at the reference temperature: least, middle and most.

    Parameters
    ----------
    row : Row
        One row of a schedule.
    emergence : EmergenceDays
        Emergence to take off its weeks.
    response : dict
        The crop's row of the temperature responses.
    temp_ref_c : float
        Reference temperature [°C].

    Returns
    -------
    low_d, mid_d, high_d : float
        Days at the reference temperature, at least 3.
    """
    emerge_d = emergence.days(row)
    rate = 1.0 if row.temp_24h_c is None else pace(row.temp_24h_c, response, temp_ref_c)
    weeks = (row.weeks_min, (row.weeks_min + row.weeks_max) / 2, row.weeks_max)
    low, mid, high = (max(LEAST_GROWTH_D, 7 * each - emerge_d) * rate for each in weeks)
    return low, mid, high
