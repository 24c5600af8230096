"""Climate of a house's places along the stays of finished sowings: a typical year, taken round."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.season import N_WEATHER
from sowbench.science.house import PlaceClimate, place_climate
from sowbench.science.quadrature import normal_nodes
from sowbench.science.weather_year import day_of_common_year

if TYPE_CHECKING:
    from sowbench.domain.records import House, Place
    from sowbench.science.weather_year import WeatherYear

__all__ = ["Climates", "Stay"]

Floats = NDArray[np.float64]

_N_DAYS: Final = 365
_A_COMMON_YEAR: Final = date(2027, 1, 1)


@dataclass(frozen=True, slots=True)
class Stay:
    """A place, and the day from which a sowing stood there."""

    place: str
    from_date: date


class Climates:
    """Typical years of the places of a house at each weather node, made when first asked for.

    Parameters
    ----------
    house : House
        The house.
    weather : WeatherYear or None
        Its weather.
    """

    def __init__(self, house: House, weather: WeatherYear | None) -> None:
        self._house, self._weather = house, weather
        self._nodes = normal_nodes(N_WEATHER)[0]
        self.places: dict[str, Place] = {each.name: each for each in house.places}
        self._made: dict[str, PlaceClimate] = {}

    def year(self, place: str) -> PlaceClimate:
        """Return the typical year of a place.

        Parameters
        ----------
        place : str
            Its name.

        Returns
        -------
        climate : PlaceClimate
            From 1 January, 365 days.
        """
        if place not in self._made:
            house = self._house
            self._made[place] = place_climate(
                self.places[place], self._weather, _A_COMMON_YEAR, _N_DAYS, self._nodes,
                house.weather_spread_c, house.room_day_c, house.room_night_c,
                house.light, house.latitude_deg,
            )  # fmt: skip
        return self._made[place]

    def mix(self, stays: Sequence[Stay], first: date, n_days: int) -> Floats:
        """Temperature of the mix hour by hour.

        Parameters
        ----------
        stays : sequence of Stay
            Places, the first first.
        first : date
            First day.
        n_days : int
            Number of days.

        Returns
        -------
        temp_mix_c : ndarray, shape (W, 24 * n_days)
            At each weather node [°C]; a move counts from noon of its day.
        """
        out = np.empty((self._nodes.size, 24 * n_days))
        for stay, begin, end in _spans(stays, first, n_days, 12):
            hours = np.arange(begin, end)
            days = _days_of_year(first, n_days)[hours // 24]
            out[:, begin:end] = self.year(stay.place).temp_mix_c[:, days * 24 + hours % 24]
        return out

    def days(self, stays: Sequence[Stay], first: date, n_days: int) -> tuple[Floats, Floats]:
        """Air and light day by day.

        Parameters
        ----------
        stays : sequence of Stay
            Places, the first first.
        first : date
            First day.
        n_days : int
            Number of days.

        Returns
        -------
        temp_c : ndarray, shape (W, n_days)
            24 h mean of the air [°C].
        dli_mol_m2_d : ndarray, shape (n_days,)
            Light at the plants [mol m-2 d-1].
        """
        temp, light = np.empty((self._nodes.size, n_days)), np.empty(n_days)
        of_year = _days_of_year(first, n_days)
        for stay, begin, end in _spans(stays, first, n_days, 0):
            days = np.arange(begin // 24, end // 24)
            year = self.year(stay.place)
            temp[:, days] = year.temp_day_mean_c[:, of_year[days]]
            light[days] = year.dli_mol_m2_d[of_year[days]]
        return temp, light


def _days_of_year(first: date, n_days: int) -> NDArray[np.int64]:
    """Day of a common year of each day."""
    return np.array(
        [day_of_common_year(first + timedelta(days=each)) for each in range(n_days)], dtype=np.int64
    )


def _spans(
    stays: Sequence[Stay], first: date, n_days: int, hour: int
) -> list[tuple[Stay, int, int]]:
    """Hours of each stay since the first day's midnight; a move counts from an hour of its day."""
    begins = [0, *(24 * (each.from_date - first).days + hour for each in stays[1:])]
    ends = [*begins[1:], 24 * n_days]
    out = []
    for stay, begin, end in zip(stays, begins, ends, strict=True):
        low, high = max(begin, 0), min(end, 24 * n_days)
        if low < high:
            out.append((stay, low, high))
    return out
