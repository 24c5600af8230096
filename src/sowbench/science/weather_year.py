"""A typical year of weather by the hour, and how a season's days map onto it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np

from sowbench.science.errors import OutOfRangeError

if TYPE_CHECKING:
    from numpy.typing import NDArray

N_HOURS_YEAR: Final = 8760
"""Hours in a year without 29 February."""

# A year without 29 February, to number the days of any year from 0 to 364.
_COMMON_YEAR: Final = 2001


def day_of_common_year(day: date) -> int:
    """Return the number of a calendar day from 0 to 364; 29 February counts as the 28th.

    Parameters
    ----------
    day : date
        Any calendar day.

    Returns
    -------
    day_index : int
        0 for 1 January to 364 for 31 December.

    Examples
    --------
    >>> day_of_common_year(date(2028, 2, 29)), day_of_common_year(date(2028, 3, 1))
    (58, 59)
    """
    day_of_month = 28 if (day.month, day.day) == (2, 29) else day.day
    same = date(_COMMON_YEAR, day.month, day_of_month)
    return (same - date(_COMMON_YEAR, 1, 1)).days


@dataclass(frozen=True, slots=True, eq=False)
class WeatherYear:
    """One year of hourly weather at one place, in the place's standard time.

    Index ``24 * d + h`` of each array is the hour that begins at h o'clock on day d of a year
    without 29 February. Radiation is the mean over that hour. Files state temperature and wind at
    the end of an hour; they stand with the hour that ends then.

    Parameters
    ----------
    temp_air_c : ndarray, shape (8760,)
        Air temperature [°C].
    ghi_w_m2 : ndarray, shape (8760,)
        Global horizontal irradiance [W m⁻²].
    latitude_deg, longitude_deg : float
        Place on earth, north and east positive [degrees].
    utc_offset_h : float
        Standard time minus universal time [h].
    station : str
        Name of the station as the file gives it.
    file_format : str
        "EPW", "TMY3" or "TM2"; "" if it came from no file.
    dni_w_m2, dhi_w_m2 : ndarray, shape (8760,), or None
        Direct normal and diffuse horizontal irradiance [W m⁻²], if known.
    wind_m_s : ndarray, shape (8760,), or None
        Wind speed [m s⁻¹], if known.
    notes : tuple of str, default ()
        What was filled in while reading, in words.

    Raises
    ------
    OutOfRangeError
        If an array has another shape, or temperature or global radiation is not finite.
    """

    temp_air_c: NDArray[np.float64]
    ghi_w_m2: NDArray[np.float64]
    latitude_deg: float
    longitude_deg: float
    utc_offset_h: float
    station: str = ""
    file_format: str = ""
    dni_w_m2: NDArray[np.float64] | None = None
    dhi_w_m2: NDArray[np.float64] | None = None
    wind_m_s: NDArray[np.float64] | None = None
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse arrays of another length and gaps in what every calculation needs."""
        for name in ("temp_air_c", "ghi_w_m2", "dni_w_m2", "dhi_w_m2", "wind_m_s"):
            values = getattr(self, name)
            if values is not None and values.shape != (N_HOURS_YEAR,):
                raise OutOfRangeError(name, f"of shape ({N_HOURS_YEAR},)", values.shape)
        for name in ("temp_air_c", "ghi_w_m2"):
            values = getattr(self, name)
            n_bad = int(np.count_nonzero(~np.isfinite(values)))
            if n_bad:
                raise OutOfRangeError(name, "finite in every hour", f"{n_bad} hours that are not")

    def season_hours(self, from_date: date, n_days: int) -> NDArray[np.int64]:
        """Index of each hour of a season into the year's arrays, wrapping over the new year.

        Parameters
        ----------
        from_date : date
            First day of the season.
        n_days : int
            Number of days, at least 1.

        Returns
        -------
        hour_index : ndarray of int, shape (24 * n_days,)
            Positions from 0 to 8759; 29 February repeats 28 February.

        Raises
        ------
        OutOfRangeError
            If `n_days` is below 1.

        Examples
        --------
        >>> hours = np.zeros(8760)
        >>> year = WeatherYear(hours, hours, 0.0, 0.0, 0.0)
        >>> year.season_hours(date(2026, 12, 31), 2)[[0, 23, 24]].tolist()
        [8736, 8759, 0]
        """
        if n_days < 1:
            raise OutOfRangeError("n_days", "at least 1 d", n_days)
        days = np.array(
            [day_of_common_year(from_date + timedelta(days=i)) for i in range(n_days)],
            dtype=np.int64,
        )
        return (days[:, None] * 24 + np.arange(24, dtype=np.int64)).ravel()
