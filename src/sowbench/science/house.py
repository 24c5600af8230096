"""Temperature and light of the places of a house, from weather, set points and cover."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np

from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.science.light import (
    LAMPS_H,
    LAMPS_PPFD_UMOL_M2_S,
    LIGHT_SIDES,
    inside_dli,
    outside_dli,
    window_dli,
)
from sowbench.science.weather_year import WeatherYear

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

AIR_HEAT_J_M3_K: Final = 1200.0
"""Heat that a cubic meter of air takes up for each degree: density times specific heat."""

EVAPORATIVE_COOLING_C: Final = 1.0
"""How far an uncovered wet mix stands below the air: assumption."""

ROOM_ERROR_C: Final = 0.5
"""Standard deviation of a room held at one temperature: assumption."""

ROOM_NO_WEATHER_ERROR_C: Final = 1.0
"""Standard deviation of a lived-in room or a house without weather: assumption."""

ROOM_DAY_C: Final = 20.0
ROOM_NIGHT_C: Final = 17.0
"""Room by day and night when nothing is given: assumptions of the file format."""

ROOM_DAY_HOURS: Final = (7, 21)
"""Hours between which a room is at its day temperature: assumption."""

VENT_ABOVE_HEAT_C: Final = 6.0
"""Vents open so far above the day's heating set point when not given: assumption."""

COLD_YEAR_NODE: Final = -2.0
"""Standard deviations below the typical season at which the coldest hour is taken."""

_DARK_KINDS: Final = frozenset({"chamber", "cold_store"})
_ROOM_KINDS: Final = frozenset({"windowsill", "lamp_shelf", "chamber", "mat", "healing"})


class PlaceLike(Protocol):
    """What is asked of a place: the attributes of the domain's record of the same names."""

    @property
    def kind(self) -> str:
        """Kind of place, such as bench or chamber."""

    @property
    def temp_c(self) -> float | None:
        """Temperature held constant [°C]."""

    @property
    def heat_day_c(self) -> float | None:
        """Heating set point by day [°C]."""

    @property
    def heat_night_c(self) -> float | None:
        """Heating set point by night [°C]."""

    @property
    def vent_c(self) -> float | None:
        """Temperature above which vents open [°C]."""

    @property
    def mix_offset_c(self) -> float:
        """Root zone against air [°C]."""

    @property
    def covered(self) -> bool:
        """Whether a cover or fog keeps the mix from cooling."""

    @property
    def cover_par_frac(self) -> float:
        """Share of outside light at the plants [fraction]."""

    @property
    def lamp_ppfd_umol_m2_s(self) -> float:
        """Photon flux of lamps [µmol m⁻² s⁻¹]."""

    @property
    def lamp_h(self) -> float:
        """Hours of lamps a day [h]."""


@dataclass(frozen=True, slots=True)
class Cover:
    """What the energy balance needs of a house, for each square meter of floor.

    The defaults are those of a small house under inflated double film; every value is editable.

    Parameters
    ----------
    u_w_m2_k : float, default 4.0
        Heat loss through the cover [W m⁻² K⁻¹]; 3.7-4.5 for double film (NRAES-33, from memory),
        6-7 for one layer.
    cover_per_floor : float, default 1.5
        Cover area over floor area; 1.2-1.5 for many spans, 1.8-2.0 for a small single house
        (Acta Horticulturae 107, article 17).
    air_changes_per_h : float, default 0.75
        Air changes with vents shut [h⁻¹]; tight double film 0.5-1 (NRAES-33, from memory).
    volume_per_floor_m : float, default 3.0
        House volume over floor area [m]; assumption.
    vent_max_m3_m2_s : float, default 0.05
        Most ventilation for each floor area [m³ m⁻² s⁻¹]; 0.04-0.05 (ASAE EP406, from memory).
    warming_frac : float, default 0.5
        Share of the sun let in that warms the air, the rest evaporates water: 1 - E F with E 0.5
        (ASAE EP406, from memory) and F near 1.
    """

    u_w_m2_k: float = 4.0
    cover_per_floor: float = 1.5
    air_changes_per_h: float = 0.75
    volume_per_floor_m: float = 3.0
    vent_max_m3_m2_s: float = 0.05
    warming_frac: float = 0.5

    @property
    def loss_w_m2_k(self) -> float:
        """Heat lost with vents shut, for each floor area and degree [W m⁻² K⁻¹]."""
        leak = AIR_HEAT_J_M3_K * self.air_changes_per_h * self.volume_per_floor_m / 3600
        return self.u_w_m2_k * self.cover_per_floor + leak


def season_spread(weather_spread_c: float, n_weeks: int = 4, autocorrelation: float = 0.3) -> float:
    """Year-to-year standard deviation of the mean of several weeks.

    Parameters
    ----------
    weather_spread_c : float
        Standard deviation of one week's mean between years [°C].
    n_weeks : int, default 4
        Weeks over which a sowing averages; 4 is an assumption.
    autocorrelation : float, default 0.3
        Correlation between neighboring weeks, falling by powers; 0.3 is an assumption.

    Returns
    -------
    season_spread_c : float
        Standard deviation of the mean [°C].

    Raises
    ------
    OutOfRangeError
        If the spread is below 0, the weeks fewer than 1, or the correlation not in [0, 1].

    Notes
    -----
    Variance of a mean of n values with correlation ``a**k`` at distance k:
    ``s**2 (n + 2 sum_k (n - k) a**k) / n**2``.

    Examples
    --------
    >>> round(season_spread(1.5), 3)
    0.935
    """
    if not weather_spread_c >= 0:
        raise OutOfRangeError("weather_spread_c", "0 °C or more", weather_spread_c)
    if n_weeks < 1:
        raise OutOfRangeError("n_weeks", "at least 1", n_weeks)
    if not 0 <= autocorrelation <= 1:
        raise OutOfRangeError("autocorrelation", "between 0 and 1", autocorrelation)
    n, a = n_weeks, autocorrelation
    total = n + 2 * sum((n - k) * a**k for k in range(1, n))
    return float(weather_spread_c * np.sqrt(total) / n)


def indoor_temperature(
    temp_out_c: ArrayLike,
    ghi_w_m2: ArrayLike,
    heat_c: ArrayLike,
    vent_c: float,
    transmission_frac: float = 0.70,
    cover: Cover | None = None,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Hourly temperature in a heated and vented house, and the heat it needs.

    Parameters
    ----------
    temp_out_c : array_like, shape (..., n_hours)
        Outside air temperature [°C].
    ghi_w_m2 : array_like, shape (n_hours,)
        Global horizontal irradiance [W m⁻²].
    heat_c : array_like, shape (n_hours,) or scalar
        Heating set point of each hour; -inf where there is no heat [°C].
    vent_c : float
        Temperature above which vents open [°C]; at least the heating set point.
    transmission_frac : float, default 0.70
        Share of global radiation that comes in [fraction, 0 to 1].
    cover : Cover or None, default None
        Cover, size and vents of the house; None is a small house under double film.

    Returns
    -------
    temp_in_c : ndarray, shape (..., n_hours)
        Inside air temperature [°C].
    heat_w_m2 : ndarray, shape (..., n_hours)
        Heat needed for each square meter of floor [W m⁻²].

    Raises
    ------
    OutOfRangeError
        If the vents open below the heating set point, or the transmission is not from 0 to 1.

    Notes
    -----
    Steady balance of each hour, without heat stored: not for daily means, on which it is 40 % low
    on a year's heat. With vents fully open and sun the house may stand above `vent_c`.

    References
    ----------
    .. [1] ANSI/ASAE EP406.4, "Heating, ventilating and cooling greenhouses" (form of the balance,
       from memory).
    .. [2] Acta Horticulturae 107, article 17, "Inventory of more significant parameters to
       characterize energy requirements for heating" (Q = k' A (t_in - t_out) - Q_s).

    Examples
    --------
    >>> temp, heat = indoor_temperature([5.0, 5.0], [0.0, 800.0], 15.0, 24.0)
    >>> temp.round(2).tolist(), heat.round(1).tolist()
    ([15.0, 24.0], [67.5, 0.0])
    """
    if not 0 <= transmission_frac <= 1:
        raise OutOfRangeError("transmission_frac", "between 0 and 1", transmission_frac)
    cover = cover or Cover()
    To = np.asarray(temp_out_c, dtype=np.float64)
    Th = np.asarray(heat_c, dtype=np.float64)
    if np.any(Th > vent_c):
        advice = "Vents that open below the heating set point would throw heat away."
        rule = f"at least the heating set point of {float(Th.max()):g} °C"
        raise OutOfRangeError("vent_c", rule, vent_c, advice)
    S = transmission_frac * cover.warming_frac * np.asarray(ghi_w_m2, dtype=np.float64)
    H = cover.loss_w_m2_k
    free = To + S / H
    vented = np.maximum(vent_c, To + S / (H + AIR_HEAT_J_M3_K * cover.vent_max_m3_m2_s))
    temp_in = np.where(free < Th, Th, np.where(free <= vent_c, free, vented))
    heat = np.where(free < Th, H * (np.where(np.isfinite(Th), Th, 0.0) - free), 0.0)
    return temp_in, heat


@dataclass(frozen=True, slots=True, eq=False)
class PlaceClimate:
    """Climate of one place through a season, for each weather node.

    Parameters
    ----------
    temp_air_c : ndarray, shape (n_nodes, n_hours)
        Air temperature of each hour from midnight of the first day [°C].
    temp_mix_c : ndarray, shape (n_nodes, n_hours)
        Temperature of the mix [°C].
    temp_day_mean_c : ndarray, shape (n_nodes, n_days)
        24 h mean of the air [°C].
    dli_mol_m2_d : ndarray, shape (n_days,)
        Daily light integral at the plants [mol m⁻² d⁻¹].
    coldest_hour_c : ndarray, shape (n_days,)
        Coldest hour of the air in a cold year, two standard deviations down [°C].
    heat_kwh_m2_d : ndarray, shape (n_days,)
        Heat needed by the floor in a typical year; 0 where the place is not heated by the
        energy balance [kWh m⁻² d⁻¹].
    assumptions : tuple of str
        What stood in for values that were not given, in words.
    """

    temp_air_c: NDArray[np.float64]
    temp_mix_c: NDArray[np.float64]
    temp_day_mean_c: NDArray[np.float64]
    dli_mol_m2_d: NDArray[np.float64]
    coldest_hour_c: NDArray[np.float64]
    heat_kwh_m2_d: NDArray[np.float64]
    assumptions: tuple[str, ...] = ()


def _held(
    base_c: NDArray[np.float64], nodes: NDArray[np.float64], error_c: float
) -> NDArray[np.float64]:
    """Shift hourly temperatures of a room by its own error."""
    return base_c[None, :] + nodes[:, None] * error_c


def _by_day_and_night(
    day_c: float, night_c: float, is_day: NDArray[np.bool_]
) -> NDArray[np.float64]:
    return np.where(is_day, day_c, night_c)


def _first(*values: float | None) -> float:
    """Return the first value that is given."""
    return next(each for each in values if each is not None)


def _air(
    place: PlaceLike,
    weather: WeatherYear | None,
    hours: NDArray[np.int64] | None,
    n_days: int,
    nodes: NDArray[np.float64],
    spread_c: float,
    room: tuple[float | None, float | None],
    notes: list[str],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return air temperature and heat of each node and hour."""
    no_heat = np.zeros((nodes.size, 24 * n_days))
    if place.temp_c is not None:
        held = np.full(24 * n_days, float(place.temp_c))
        notes.append(f"room held at {place.temp_c:g} °C, standard deviation {ROOM_ERROR_C:g} °C")
        return _held(held, nodes, ROOM_ERROR_C), no_heat
    climate_given = any(
        each is not None for each in (place.heat_day_c, place.heat_night_c, place.vent_c)
    )
    is_room = str(place.kind) in _ROOM_KINDS and room != (None, None) and not climate_given
    if weather is None or hours is None or is_room:
        clock = np.tile(np.arange(24), n_days)
        is_day = (clock >= ROOM_DAY_HOURS[0]) & (clock < ROOM_DAY_HOURS[1])
        day_c = _first(place.heat_day_c, room[0], place.heat_night_c, ROOM_DAY_C)
        night_c = _first(place.heat_night_c, room[1], place.heat_day_c, ROOM_NIGHT_C)
        notes.append(
            f"room at {day_c:g} °C from {ROOM_DAY_HOURS[0]} to {ROOM_DAY_HOURS[1]} h and "
            f"{night_c:g} °C else, standard deviation {ROOM_NO_WEATHER_ERROR_C:g} °C"
        )
        held = _by_day_and_night(day_c, night_c, is_day)
        return _held(held, nodes, ROOM_NO_WEATHER_ERROR_C), no_heat
    outside = weather.temp_air_c[hours][None, :] + nodes[:, None] * spread_c
    if not climate_given:
        return outside, no_heat
    ghi = weather.ghi_w_m2[hours]
    day = place.heat_day_c if place.heat_day_c is not None else place.heat_night_c
    night = place.heat_night_c if place.heat_night_c is not None else place.heat_day_c
    heat_day_c = -np.inf if day is None else float(day)
    heat_night_c = -np.inf if night is None else float(night)
    vent_c = place.vent_c
    if vent_c is None:
        vent_c = max(heat_day_c, heat_night_c) + VENT_ABOVE_HEAT_C
        notes.append(f"vents open at {vent_c:g} °C, {VENT_ABOVE_HEAT_C:g} °C above the heating")
    heat_c = _by_day_and_night(heat_day_c, heat_night_c, ghi > 0)
    notes.append(
        "house of 4.0 W m⁻² K⁻¹ cover, 1.5 m² of it and 3 m³ for each m² of floor, 0.75 air "
        "changes an hour, and half of the sun let in warming the air; global radiation comes "
        "in as photosynthetic light does"
    )
    return indoor_temperature(outside, ghi, heat_c, vent_c, place.cover_par_frac)


def _light(
    place: PlaceLike,
    weather: WeatherYear | None,
    hours: NDArray[np.int64] | None,
    n_days: int,
    house_light: str,
    latitude_deg: float | None,
    notes: list[str],
) -> NDArray[np.float64]:
    """Return the daily light at the plants."""
    lamp_ppfd, lamp_h = place.lamp_ppfd_umol_m2_s, place.lamp_h
    dark = np.zeros(n_days)
    if str(place.kind) in _DARK_KINDS:
        return inside_dli(dark, 0.0, lamp_ppfd, lamp_h)
    if weather is not None and hours is not None:
        outside = outside_dli(weather.ghi_w_m2[hours])
        return inside_dli(outside, place.cover_par_frac, lamp_ppfd, lamp_h)
    if house_light == "lamps":
        if not lamp_ppfd > 0 or not lamp_h > 0:
            lamp_ppfd = lamp_ppfd if lamp_ppfd > 0 else LAMPS_PPFD_UMOL_M2_S
            lamp_h = lamp_h if lamp_h > 0 else LAMPS_H
            notes.append(f"lamps of {lamp_ppfd:g} µmol m⁻² s⁻¹ for {lamp_h:g} h a day")
        return inside_dli(dark, 0.0, lamp_ppfd, lamp_h)
    side = house_light
    if not side:
        side = "north" if latitude_deg is not None and latitude_deg < 0 else "south"
    dli = window_dli(side, latitude_deg)
    notes.append(f"daily light of {dli:g} mol m⁻² d⁻¹ behind a window to the {side}")
    return inside_dli(np.full(n_days, dli), 1.0, lamp_ppfd, lamp_h)


def place_climate(
    place: PlaceLike,
    weather: WeatherYear | None,
    from_date: date,
    n_days: int,
    nodes: NDArray[np.float64],
    weather_spread_c: float = 1.5,
    room_day_c: float | None = None,
    room_night_c: float | None = None,
    house_light: str = "",
    latitude_deg: float | None = None,
) -> PlaceClimate:
    """Climate of a place through a season, for each weather node.

    Parameters
    ----------
    place : PlaceLike
        The place: its kind, set points, cover and lamps.
    weather : WeatherYear or None
        Typical year; None for a house without weather.
    from_date : date
        First day of the season.
    n_days : int
        Days of the season, at least 1.
    nodes : ndarray, shape (n_nodes,)
        How many standard deviations each node's season is warmer than the typical one.
    weather_spread_c : float, default 1.5
        Year-to-year standard deviation of a week's mean [°C].
    room_day_c, room_night_c : float or None, default None
        Temperature of the room from 7 to 21 h and else [°C]; 20 and 17 without either.
    house_light : str, default ""
        Light of a house without weather: "north", "east", "south" or "west" for the side its
        window faces, or "lamps"; blank is the sunny side.
    latitude_deg : float or None, default None
        Latitude, to tell the sunny side.

    Returns
    -------
    climate : PlaceClimate
        Temperatures, light and heat; docs/model.md section 2 says how.

    Raises
    ------
    OutOfRangeError
        If a value of the place is out of range.
    UnknownNameError
        If the light is none of the names.

    Notes
    -----
    A windowsill, lamp shelf, mat, chamber or healing place without set points stands in the room
    if the room's temperatures are given, else outside. A place with set points but no weather is
    at its set points.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> sill = SimpleNamespace(
    ...     kind="windowsill",
    ...     temp_c=None,
    ...     heat_day_c=None,
    ...     heat_night_c=None,
    ...     vent_c=None,
    ...     mix_offset_c=0.0,
    ...     covered=True,
    ...     cover_par_frac=0.65,
    ...     lamp_ppfd_umol_m2_s=0.0,
    ...     lamp_h=0.0,
    ... )
    >>> room = place_climate(sill, None, date(2027, 3, 1), 1, np.zeros(1), house_light="south")
    >>> room.temp_day_mean_c.tolist(), room.dli_mol_m2_d.tolist()
    ([[18.75]], [6.0])
    """
    if n_days < 1:
        raise OutOfRangeError("n_days", "at least 1 d", n_days)
    if house_light and house_light not in LIGHT_SIDES:
        raise UnknownNameError.among(house_light, "light", LIGHT_SIDES)
    hours = None if weather is None else weather.season_hours(from_date, n_days)
    spread_c = season_spread(weather_spread_c)
    notes: list[str] = []
    # A typical and a cold year ride along behind the nodes.
    all_nodes = np.append(np.asarray(nodes, dtype=np.float64), [0.0, COLD_YEAR_NODE])
    room = (room_day_c, room_night_c)
    air, heat = _air(place, weather, hours, n_days, all_nodes, spread_c, room, notes)
    by_day = air.reshape(all_nodes.size, n_days, 24)
    cooling_c = 0.0
    if not place.covered and str(place.kind) != "chamber":
        cooling_c = EVAPORATIVE_COOLING_C
        notes.append(f"wet mix {cooling_c:g} °C below the air while not covered")
    dli = _light(place, weather, hours, n_days, house_light, latitude_deg, notes)
    return PlaceClimate(
        temp_air_c=air[:-2],
        temp_mix_c=air[:-2] + (place.mix_offset_c - cooling_c),
        temp_day_mean_c=by_day[:-2].mean(axis=2),
        dli_mol_m2_d=dli,
        coldest_hour_c=by_day[-1].min(axis=1),
        heat_kwh_m2_d=heat[-2].reshape(n_days, 24).sum(axis=1) / 1000,
        assumptions=tuple(notes),
    )
