"""What each place of a house is like through a typical year: temperatures and light by day."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from sowbench.science.house import place_climate
from sowbench.science.weather_year import day_of_common_year

if TYPE_CHECKING:
    from sowbench.domain.records import House
    from sowbench.science.weather_year import WeatherYear

N_DAYS: Final = 365
# Ten and ninety percent points of how much warmer a season is than the typical one.
_NODES: Final = np.array([-1.2816, 0.0, 1.2816])
_A_COMMON_YEAR: Final = date(2027, 1, 1)


@dataclass(frozen=True)
class YearOfPlace:
    """A typical year of one place, a value for each day from 1 January, 29 February left out.

    Attributes
    ----------
    mean_c : ndarray, shape (365,)
        24 h mean of the air [°C].
    mean_low_c, mean_high_c : ndarray, shape (365,)
        The same in a season cooler and warmer than nine in ten [°C].
    low_c, high_c : ndarray, shape (365,)
        Coldest and warmest hour of the day [°C].
    coldest_c : ndarray, shape (365,)
        Coldest hour in a cold year [°C].
    dli_mol_m2_d : ndarray, shape (365,)
        Light at the plants [mol m-2 d-1].
    heat_kwh_m2_d : ndarray, shape (365,)
        Heat needed by a square meter [kWh m-2 d-1].
    assumptions : tuple of str
        What stood in for values that were not given.
    """

    mean_c: NDArray[np.float64]
    mean_low_c: NDArray[np.float64]
    mean_high_c: NDArray[np.float64]
    low_c: NDArray[np.float64]
    high_c: NDArray[np.float64]
    coldest_c: NDArray[np.float64]
    dli_mol_m2_d: NDArray[np.float64]
    heat_kwh_m2_d: NDArray[np.float64]
    assumptions: tuple[str, ...]

    def coldest_between(self, from_date: date, to_date: date) -> float:
        """Return the coldest hour in a cold year on some days.

        Parameters
        ----------
        from_date, to_date : date
            First day, and the day after the last.

        Returns
        -------
        coldest_c : float
            The hour [°C].
        """
        days = np.arange(from_date.toordinal(), max(to_date, from_date).toordinal() + 1)
        return float(min(self.coldest_c[_index(int(day))] for day in days[:N_DAYS]))


_KEPT: Final[OrderedDict[int, tuple[House, dict[str, YearOfPlace]]]] = OrderedDict()
_MOST: Final = 3


def years_of_places(house: House, weather: WeatherYear | None) -> dict[str, YearOfPlace]:
    """Work out a typical year of every place of a house.

    Parameters
    ----------
    house : House
        The house.
    weather : WeatherYear or None
        Its weather.

    Returns
    -------
    years : dict of str to YearOfPlace
        By place; worked out once and kept while the house is in use.
    """
    kept = _KEPT.get(id(house))
    if kept is not None and kept[0] is house:
        return kept[1]
    years = {}
    for place in house.places:
        climate = place_climate(
            place,
            weather,
            _A_COMMON_YEAR,
            N_DAYS,
            _NODES,
            house.weather_spread_c,
            house.room_day_c,
            house.room_night_c,
            house.light,
            house.latitude_deg,
        )
        by_day = climate.temp_air_c[1].reshape(N_DAYS, 24)
        years[place.name] = YearOfPlace(
            mean_c=climate.temp_day_mean_c[1],
            mean_low_c=climate.temp_day_mean_c[0],
            mean_high_c=climate.temp_day_mean_c[2],
            low_c=by_day.min(axis=1),
            high_c=by_day.max(axis=1),
            coldest_c=climate.coldest_hour_c,
            dli_mol_m2_d=climate.dli_mol_m2_d,
            heat_kwh_m2_d=climate.heat_kwh_m2_d,
            assumptions=climate.assumptions,
        )
    _KEPT[id(house)] = (house, years)
    while len(_KEPT) > _MOST:
        _KEPT.popitem(last=False)
    return years


def _index(ordinal: int) -> int:
    """Return which day of a common year a day is."""
    return day_of_common_year(date.fromordinal(ordinal))
