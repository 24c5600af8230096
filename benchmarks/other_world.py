"""Another world than the planner's: years of weather, houses, lots and mishaps to play plans in.

The planner believes in one shift of the typical year, in the emergence of one table, in growth
spread log-normally about the mean of all handbooks, and in trays that fail one by one. Here
weather comes and goes over days, rooms drift, seed follows the other table, each season's growth
is that of a single handbook row, and what goes wrong goes wrong for many trays at once. Every
number below is an assumption of this benchmark, no finding; both worlds share the form of the
growth clocks and the prices.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from sowbench.domain.records import Place, PlaceKind
from sowbench.planning.season import Season
from sowbench.science.house import Cover, indoor_temperature
from sowbench.science.light import inside_dli, outside_dli

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

YEARS_AT_ONCE = 125


@dataclass(frozen=True, slots=True)
class World:
    """How the other world differs; all values are assumptions.

    Attributes
    ----------
    seed : int
        Seed of all its years.
    day_correlation : float
        Correlation of the outside temperature's deviation from one day to the next.
    season_shift_c : float
        Standard deviation of a whole season's shift, beside what comes and goes [°C].
    cloud_sd, cloud_correlation : float
        Spread of the logarithm of a day's light, and its correlation with the day before.
    room_bias_c : float
        Standard deviation of what a place is off by for a whole season [°C].
    room_drift_c, room_memory_h : float
        Standard deviation of what comes and goes in a place, and how long it lasts [°C], [h].
    cooling_low_c, cooling_high_c : float
        Cooling of a wet mix that is not covered, one value a place and season [°C].
    heater_faults, house_faults : float
        Faults a season of one place's heating, and of all heating at once.
    fault_low_h, fault_high_h : float
        How long a fault lasts [h].
    bad_lot_frac : float
        Chance that a lot is much worse this season than its test.
    bad_lot_low, bad_lot_high : float
        What is left of a bad lot's germination [fraction].
    lot_logit_sd : float
        Further spread of every lot's germination, in logits.
    tray_low, tray_high : float
        Emergence in the tray against the laboratory, one value a crop and season [fraction].
    kept_mean, kept_sd : float
        Share kept from emergence to handing over, one value a crop and season [fraction].
    rho_tray, rho_cell : float
        Correlation between cells of a tray, and between seeds of a cell.
    tray_loss_frac : float
        Trays lost one by one [fraction].
    outbreaks, outbreak_d, outbreak_trays : float
        Outbreaks of damping-off a place and season, how long one lasts [d], and the share of
        trays it takes of what emerges there meanwhile.
    cold_loss_frac : float
        Share of plants lost once they stand below the crop's minimum [fraction].
    stretched_frac : float
        Share of plants lost when a tray stays in the chamber a day too long [fraction].
    """

    seed: int = 20270104
    day_correlation: float = 0.7
    season_shift_c: float = 0.6
    cloud_sd: float = 0.35
    cloud_correlation: float = 0.4
    room_bias_c: float = 0.7
    room_drift_c: float = 0.8
    room_memory_h: float = 60.0
    cooling_low_c: float = 0.3
    cooling_high_c: float = 2.0
    heater_faults: float = 0.3
    house_faults: float = 0.1
    fault_low_h: float = 8.0
    fault_high_h: float = 48.0
    bad_lot_frac: float = 0.04
    bad_lot_low: float = 0.5
    bad_lot_high: float = 0.85
    lot_logit_sd: float = 0.25
    tray_low: float = 0.88
    tray_high: float = 1.0
    kept_mean: float = 0.93
    kept_sd: float = 0.03
    rho_tray: float = 0.03
    rho_cell: float = 0.10
    tray_loss_frac: float = 0.003
    outbreaks: float = 0.5
    outbreak_d: float = 7.0
    outbreak_trays: float = 0.2
    cold_loss_frac: float = 0.3
    stretched_frac: float = 0.2


OTHER_COVER = Cover(u_w_m2_k=5.0, air_changes_per_h=1.2, volume_per_floor_m=3.5, warming_frac=0.6)
"""An older, leakier house in which more of the sun warms the air (assumption)."""


@dataclass(frozen=True)
class Years:
    """Some years of the other world; the first axis of every array is the year.

    Attributes
    ----------
    temp_mix_c : list of ndarray, each of shape (n_years, n_hours)
        Temperature of the mix, by place.
    day_mean_c, day_low_c, dli_mol_m2_d : ndarray, shape (n_places, n_years, n_days)
        24 h mean and coldest hour of the air, and light at the plants.
    germination : ndarray, shape (n_lots, n_years)
        What the lot really is.
    in_tray, kept : dict of str to ndarray, shape (n_years,)
        By crop: emergence in the tray against the laboratory; share kept to handing over.
    pace_z, row_draw, row_place : dict of str to ndarray, shape (n_years,)
        By crop: pace of emergence; which handbook row is true, and where between its weeks.
    outbreak_day : ndarray, shape (n_places, n_years, 3)
        First days of up to three outbreaks; far off where there is none.
    """

    n_years: int
    temp_mix_c: list[Floats]
    day_mean_c: Floats
    day_low_c: Floats
    dli_mol_m2_d: Floats
    germination: Floats
    in_tray: dict[str, Floats]
    kept: dict[str, Floats]
    pace_z: dict[str, Floats]
    row_draw: dict[str, Floats]
    row_place: dict[str, Floats]
    outbreak_day: Floats


def drawn_years(season: Season, world: World, chunk: int, n_years: int) -> Years:
    """Draw some years; the same chunk gives the same years for every method.

    Parameters
    ----------
    season : Season
        House, lots and crops.
    world : World
        The other world.
    chunk : int
        Number of the chunk, from 0.
    n_years : int
        Years in it.

    Returns
    -------
    years : Years
        The years.
    """
    rng = np.random.default_rng([world.seed, chunk])
    n_days = season.calendar.n_days
    outside, sun = _weather(season, world, rng, n_years)
    faults_all = _faults(rng, world, world.house_faults, n_years, 24 * n_days)
    mixes, means, lows, light = [], [], [], []
    for place in season.places:
        air = _air(place, season, world, rng, outside, sun)
        if place.kind not in {PlaceKind.YARD, PlaceKind.COLD_STORE}:
            fault = faults_all | _faults(rng, world, world.heater_faults, n_years, 24 * n_days)
            air = np.where(fault, np.minimum(air, np.maximum(outside + 4.0, 2.0)), air)
        cooling = rng.uniform(world.cooling_low_c, world.cooling_high_c, (n_years, 1))
        if place.covered or place.kind == PlaceKind.CHAMBER:
            cooling = np.zeros_like(cooling)
        mixes.append(air + place.mix_offset_c - cooling)
        by_day = air.reshape(n_years, n_days, 24)
        means.append(by_day.mean(axis=2))
        lows.append(by_day.min(axis=2))
        light.append(_light(place, season, sun, n_years))
    crops = sorted({o.crop for o in season.orders})
    shape, scale = _beta(world.kept_mean, world.kept_sd)
    kept, in_tray, pace, row, where = {}, {}, {}, {}, {}
    for crop in crops:
        kept[crop] = rng.beta(shape, scale, n_years)
        in_tray[crop] = rng.uniform(world.tray_low, world.tray_high, n_years)
        pace[crop] = rng.standard_normal(n_years)
        row[crop] = rng.random(n_years)
        where[crop] = rng.random(n_years)
    days = rng.uniform(0, n_days, (len(season.places), n_years, 3))
    n_out = rng.poisson(world.outbreaks, (len(season.places), n_years))
    days[np.arange(3) >= n_out[:, :, None]] = -1e6
    return Years(
        n_years,
        mixes,
        np.array(means),
        np.array(lows),
        np.array(light),
        _germination(season, world, rng, n_years),
        in_tray,
        kept,
        pace,
        row,
        where,
        days,
    )


def _beta(mean: float, sd: float) -> tuple[float, float]:
    """Parameters of the beta distribution of a mean and spread."""
    size = mean * (1.0 - mean) / sd**2 - 1.0
    return mean * size, (1.0 - mean) * size


def _drift(rng: np.random.Generator, n_years: int, n: int, memory: float) -> Floats:
    """Deviations of unit spread whose correlation falls by 1/e in `memory` steps."""
    a = float(np.exp(-1.0 / memory))
    noise = rng.standard_normal((n_years, n)) * np.sqrt(1.0 - a * a)
    noise[:, 0] /= np.sqrt(1.0 - a * a)
    return np.asarray(lfilter([1.0], [1.0, -a], noise, axis=1))


def _weather(
    season: Season, world: World, rng: np.random.Generator, n_years: int
) -> tuple[Floats, Floats]:
    """Outside temperature by hour and the day's share of the typical light."""
    n_days = season.calendar.n_days
    if season.weather is None:
        message = "season must have weather; the other world shifts a typical year."
        raise ValueError(message)
    hours = season.weather.season_hours(season.calendar.first, n_days)
    a = world.day_correlation
    # Spread of a day from that of a week's mean: variance of a mean of seven correlated days.
    share = (7 + 2 * sum((7 - k) * a**k for k in range(1, 7))) / 49
    day_sd = season.house.weather_spread_c / np.sqrt(share)
    days = day_sd * _drift(rng, n_years, n_days + 1, -1.0 / np.log(a))
    # Between noon and noon in a straight line, so that no midnight jumps.
    at = np.arange(24 * n_days) / 24.0
    low = at.astype(np.int64)
    part = at - low
    shift = days[:, low] * (1 - part) + days[:, low + 1] * part
    shift += world.season_shift_c * rng.standard_normal((n_years, 1))
    outside = season.weather.temp_air_c[hours] + shift
    memory = -1.0 / np.log(world.cloud_correlation)
    cloud = world.cloud_sd * _drift(rng, n_years, n_days, memory)
    sun = np.clip(np.exp(cloud - world.cloud_sd**2 / 2), 0.25, 1.6)
    return outside, sun


def _air(
    place: Place,
    season: Season,
    world: World,
    rng: np.random.Generator,
    outside: Floats,
    sun: Floats,
) -> Floats:
    """Air of a place by hour, shape (n_years, n_hours)."""
    n_years, n_hours = outside.shape
    bias = world.room_bias_c * rng.standard_normal((n_years, 1))
    drift = world.room_drift_c * _drift(rng, n_years, n_hours, world.room_memory_h)
    if place.temp_c is not None:
        return place.temp_c + bias + drift
    given = [c for c in (place.heat_day_c, place.heat_night_c) if c is not None]
    if not given and place.vent_c is None:
        return outside + 0.3 * drift
    ghi = _radiation(season)
    day = place.heat_day_c if place.heat_day_c is not None else (given or [-np.inf])[0]
    night = place.heat_night_c if place.heat_night_c is not None else day
    vent = place.vent_c if place.vent_c is not None else max(day, night) + 6.0
    heat = np.where(ghi > 0, day, night)
    temp, _ = indoor_temperature(
        outside, ghi * np.repeat(sun, 24, axis=1), heat, vent, place.cover_par_frac, OTHER_COVER
    )
    return temp + bias + drift


def _radiation(season: Season) -> Floats:
    """Global radiation of the typical year by hour of the season."""
    assert season.weather is not None  # noqa: S101 - refused in _weather
    hours = season.weather.season_hours(season.calendar.first, season.calendar.n_days)
    return season.weather.ghi_w_m2[hours]


def _light(place: Place, season: Season, sun: Floats, n_years: int) -> Floats:
    """Light at the plants by day, shape (n_years, n_days)."""
    n_days = sun.shape[1]
    outside = np.zeros(n_days)
    if place.kind not in {PlaceKind.CHAMBER, PlaceKind.COLD_STORE}:
        outside = outside_dli(_radiation(season))
    lamps = inside_dli(np.zeros(1), 0.0, place.lamp_ppfd_umol_m2_s, place.lamp_h)[0]
    light = np.broadcast_to(outside * place.cover_par_frac, (n_years, n_days)) * sun
    return np.asarray(light + lamps)


def _faults(
    rng: np.random.Generator, world: World, per_season: float, n_years: int, n_hours: int
) -> NDArray[np.bool_]:
    """Hours in which heating is off, shape (n_years, n_hours)."""
    off = np.zeros((n_years, n_hours), dtype=bool)
    for year, count in enumerate(rng.poisson(per_season, n_years)):
        for _ in range(count):
            start = int(rng.integers(n_hours))
            off[year, start : start + int(rng.uniform(world.fault_low_h, world.fault_high_h))] = 1
    return off


def _germination(season: Season, world: World, rng: np.random.Generator, n_years: int) -> Floats:
    """True germination of each lot, shape (n_lots, n_years)."""
    out = np.zeros((len(season.lots), n_years))
    for k, lot in enumerate(season.lots):
        record = lot.record
        p = rng.beta(record.n_normal + 1, record.n_tested - record.n_normal + 1, n_years)
        p = np.clip(p, 1e-3, 1 - 1e-3)
        logit = np.log(p / (1 - p)) + world.lot_logit_sd * rng.standard_normal(n_years)
        p = 1.0 / (1.0 + np.exp(-logit))
        bad = rng.random(n_years) < world.bad_lot_frac
        out[k] = np.where(bad, p * rng.uniform(world.bad_lot_low, world.bad_lot_high, n_years), p)
    return out
