"""Read a typical year of weather from an EPW, TMY3 or TM2 file.

Stamps in these files name the end of an hour: 01:00 is the hour from midnight to one. Inside, an
hour is named by its beginning. Rows of 29 February are left out. A missing temperature or global
radiation is filled by a straight line between its neighbors if at most six hours in a row are
missing, and reported; a longer gap is refused.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from sowbench.science.errors import InputFileError, Problem
from sowbench.science.weather_year import N_HOURS_YEAR, WeatherYear

if TYPE_CHECKING:
    from numpy.typing import NDArray

MAX_GAP_H: Final = 6
"""Longest run of missing hours that is filled by a straight line; ours, an assumption."""

_FORMATS: Final = "an EPW, TMY3 (csv) or TM2 file with one row for each hour of a year"
# First hour of each month in a year without 29 February.
_MONTH_START_D: Final = np.cumsum([0, 0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30])
_MONTH_LENGTH_D: Final = np.array([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
# Plausible values; what lies outside is one of the formats' marks for "missing".
_LIMITS: Final = {
    "temp_air_c": (-90.0, 60.0),
    "ghi_w_m2": (0.0, 1500.0),
    "dni_w_m2": (0.0, 1500.0),
    "dhi_w_m2": (0.0, 1500.0),
    "wind_m_s": (0.0, 98.0),
}
# Our names against pvlib's, by format, with the factor from the file's unit to ours.
_COLUMNS: Final[dict[str, dict[str, tuple[str, float]]]] = {
    "EPW": {
        "temp_air_c": ("temp_air", 1.0),
        "ghi_w_m2": ("ghi", 1.0),
        "dni_w_m2": ("dni", 1.0),
        "dhi_w_m2": ("dhi", 1.0),
        "wind_m_s": ("wind_speed", 1.0),
    },
    "TMY3": {
        "temp_air_c": ("temp_air", 1.0),
        "ghi_w_m2": ("ghi", 1.0),
        "dni_w_m2": ("dni", 1.0),
        "dhi_w_m2": ("dhi", 1.0),
        "wind_m_s": ("wind_speed", 1.0),
    },
    "TM2": {
        "temp_air_c": ("DryBulb", 0.1),
        "ghi_w_m2": ("GHI", 1.0),
        "dni_w_m2": ("DNI", 1.0),
        "dhi_w_m2": ("DHI", 1.0),
        "wind_m_s": ("Wspd", 0.1),
    },
}
_REQUIRED: Final = ("temp_air_c", "ghi_w_m2")
_HEADER_ROWS: Final = {"EPW": 8, "TMY3": 2, "TM2": 1}


@dataclass(frozen=True, slots=True)
class _Table:
    """Columns of a file before they are put in order."""

    file_format: str
    month: NDArray[np.int64]
    day: NDArray[np.int64]
    hour_ending: NDArray[np.int64]
    columns: dict[str, NDArray[np.float64]]
    latitude_deg: float
    longitude_deg: float
    utc_offset_h: float
    station: str


def read_weather(path: str | Path) -> WeatherYear:
    """Read a typical year of weather from an EPW, TMY3 (csv) or TM2 file.

    Parameters
    ----------
    path : str or Path
        The file; its format is told by its first line, not by its name.

    Returns
    -------
    year : WeatherYear
        The hours in the file's standard time; what was filled is in its notes.

    Raises
    ------
    InputFileError
        If the file cannot be read, is in none of the three formats, lacks a column or hours, has
        an hour twice, or a gap of more than six hours.
    """
    path = Path(path)
    head = _first_line(path)
    file_format = _format_of(head)
    if file_format is None:
        raise _refusal(path, f"must be {_FORMATS}; its first line fits none of them.", head[:60])
    try:
        table = _read(path, file_format)
    except InputFileError:
        raise
    except Exception as error:
        reason = f"{type(error).__name__}: {error}"[:160]
        message = f"cannot be read as {file_format}; the file must be complete and unchanged."
        raise InputFileError([Problem(str(path), None, None, reason, message)]) from error
    return _year(path, table)


def _refusal(path: Path, message: str, value: str | None = None) -> InputFileError:
    return InputFileError([Problem(str(path), None, None, value, message)])


def _first_line(path: Path) -> str:
    try:
        with path.open("rb") as file:
            raw = file.readline(4096)
    except OSError as error:
        message = f"cannot be opened ({error.strerror}); weather must name {_FORMATS}."
        raise InputFileError([Problem(str(path), None, None, None, message)]) from error
    return raw.decode("utf-8-sig", errors="replace").rstrip("\r\n")


def _format_of(head: str) -> str | None:
    """Tell the format by the first line: names and numbers of the station."""
    parts = head.split(",")
    if parts[0].strip().upper() == "LOCATION":
        return "EPW"
    if len(parts) == 7 and parts[0].strip().isdigit():
        return "TMY3"
    if "," not in head and head[1:6].strip().isdigit() and head[36:44].strip()[:1] in {"N", "S"}:
        return "TM2"
    return None


def _numbers(frame: Any, name: str, path: Path, first_row: int) -> NDArray[np.float64]:
    """Return one column as numbers; name every cell that is none."""
    import pandas as pd

    parsed: Any = pd.to_numeric(frame[name], errors="coerce")
    values: NDArray[np.float64] = parsed.to_numpy(dtype=np.float64)
    empty = frame[name].isna().to_numpy()
    bad = np.flatnonzero(np.isnan(values) & ~empty)
    if bad.size:
        raise InputFileError(
            Problem(
                str(path), int(i) + first_row, name, str(frame[name].iloc[i]), "must be a number."
            )
            for i in bad[:20]
        )
    return values


def _read(path: Path, file_format: str) -> _Table:
    """Read the file with pvlib and take the columns we use."""
    from pvlib import iotools

    read: Any = {"EPW": iotools.read_epw, "TMY3": iotools.read_tmy3, "TM2": iotools.read_tmy2}
    with warnings.catch_warnings():
        # The reader warns of cells that are no numbers; we name them below.
        warnings.simplefilter("ignore")
        data, meta = read[file_format](str(path))
    first_row = _HEADER_ROWS[file_format] + 1
    names = _COLUMNS[file_format]
    missing = [names[each][0] for each in _REQUIRED if names[each][0] not in data.columns]
    if missing:
        message = f"lacks the column {' and '.join(missing)}; {file_format} has both."
        raise InputFileError([Problem(str(path), None, None, None, message)])
    columns = {
        ours: _numbers(data, theirs, path, first_row) * factor
        for ours, (theirs, factor) in names.items()
        if theirs in data.columns
    }
    if file_format == "TMY3":
        stamps = data["Date (MM/DD/YYYY)"].str.split("/")
        month = stamps.str[0].astype(int).to_numpy()
        day = stamps.str[1].astype(int).to_numpy()
        hour = data["Time (HH:MM)"].str.split(":").str[0].astype(int).to_numpy()
        # Some writers print midnight as 00:00 of the new day.
        month, day, hour = _midnight_as_24(month, day, hour)
    else:
        month, day, hour = (
            _numbers(data, each, path, first_row).astype(np.int64)
            for each in ("month", "day", "hour")
        )
    town = meta.get("Name", meta.get("City", meta.get("city", "")))
    code = meta.get("USAF", meta.get("WBAN", meta.get("WMO_code", "")))
    return _Table(
        file_format,
        np.asarray(month, dtype=np.int64),
        np.asarray(day, dtype=np.int64),
        np.asarray(hour, dtype=np.int64),
        columns,
        float(meta["latitude"]),
        float(meta["longitude"]),
        float(meta["TZ"]),
        f"{str(town).strip().strip(chr(34))} ({str(code).strip()})",
    )


def _midnight_as_24(
    month: NDArray[np.int64], day: NDArray[np.int64], hour: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Name a stamp of 00:00 as 24:00 of the day before."""
    zero = hour == 0
    first = zero & (day == 1)
    month = np.where(first, (month - 2) % 12 + 1, month)
    day = np.where(first, _MONTH_LENGTH_D[month], np.where(zero, day - 1, day))
    return month, day, np.where(zero, 24, hour)


def _year(path: Path, table: _Table) -> WeatherYear:
    """Put the rows in order, check that every hour is there once, and fill short gaps."""
    first_row = _HEADER_ROWS[table.file_format] + 1
    month, day, hour = table.month, table.day, table.hour_ending
    bad = (month < 1) | (month > 12) | (day < 1) | (day > 31) | (hour < 1) | (hour > 24)
    if bad.any():
        raise InputFileError(
            Problem(
                str(path),
                int(i) + first_row,
                None,
                f"month {month[i]}, day {day[i]}, hour {hour[i]}",
                "must name month 1-12, day 1-31 and hour 1-24.",
            )
            for i in np.flatnonzero(bad)[:20]
        )
    kept = ~((month == 2) & (day == 29))
    slot = (_MONTH_START_D[month] + day - 1) * 24 + hour - 1
    count = np.bincount(slot[kept], minlength=N_HOURS_YEAR)
    twice = np.flatnonzero(count > 1)
    if twice.size:
        raise _refusal(
            path,
            f"must have each hour once; {twice.size} hours stand twice, the first at "
            f"{_hour_words(int(twice[0]))}.",
        )
    notes: list[str] = []
    arrays: dict[str, NDArray[np.float64] | None] = {}
    for name, (low, high) in _LIMITS.items():
        if name not in table.columns:
            arrays[name] = None
            continue
        values = np.full(N_HOURS_YEAR, np.nan)
        values[slot[kept]] = table.columns[name][kept]
        values[(values < low) | (values > high)] = np.nan
        gaps = _gaps(values)
        longest = max((length for _, length in gaps), default=0)
        if longest > MAX_GAP_H:
            if name not in _REQUIRED:
                arrays[name] = None
                continue
            start = next(start for start, length in gaps if length == longest)
            raise _refusal(
                path,
                f"must have {name} for each of {N_HOURS_YEAR} hours, or gaps of at most "
                f"{MAX_GAP_H} h; {longest} h are missing from {_hour_words(start)}.",
            )
        if gaps:
            n_filled = sum(length for _, length in gaps)
            values = _fill(values)
            notes.append(
                f"{name}: {n_filled} h in {len(gaps)} gaps filled by a straight line, "
                f"the first at {_hour_words(gaps[0][0])}"
            )
        arrays[name] = values
    temp_air_c, ghi_w_m2 = arrays["temp_air_c"], arrays["ghi_w_m2"]
    assert temp_air_c is not None  # noqa: S101 - required columns were checked on reading
    assert ghi_w_m2 is not None  # noqa: S101
    return WeatherYear(
        temp_air_c=temp_air_c,
        ghi_w_m2=ghi_w_m2,
        latitude_deg=table.latitude_deg,
        longitude_deg=table.longitude_deg,
        utc_offset_h=table.utc_offset_h,
        station=table.station,
        file_format=table.file_format,
        dni_w_m2=arrays["dni_w_m2"],
        dhi_w_m2=arrays["dhi_w_m2"],
        wind_m_s=arrays["wind_m_s"],
        notes=tuple(notes),
    )


def _hour_words(slot: int) -> str:
    """Say an hour of the year as month-day and hour."""
    day = slot // 24
    month = int(np.searchsorted(_MONTH_START_D[1:], day, side="right"))
    return f"{month:02d}-{day - int(_MONTH_START_D[month]) + 1:02d} {slot % 24:02d} h"


def _gaps(values: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Return start and length of each run of missing hours; a run may cross the new year."""
    missing = np.isnan(values)
    if missing.all():
        return [(0, values.size)]
    if not missing.any():
        return []
    starts = np.flatnonzero(missing & ~np.roll(missing, 1))
    ends = np.flatnonzero(missing & ~np.roll(missing, -1))
    if ends[0] < starts[0]:
        ends = np.roll(ends, -1)
    lengths = (ends - starts) % values.size + 1
    return [(int(start), int(length)) for start, length in zip(starts, lengths, strict=True)]


def _fill(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Fill missing hours by straight lines, around the new year too."""
    known = np.flatnonzero(~np.isnan(values))
    hours = np.arange(values.size)
    return np.interp(hours, known, values[known], period=values.size)
