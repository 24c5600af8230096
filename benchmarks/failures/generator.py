"""Seasons with failures planted: sowings, lots, orders, weather and people's rounds, by seed.

Frozen together with `parameters` and `world`: see there. Every draw is a uniform number of a
stream named by what it is for, turned by inverse distribution functions, so that leaving the
planted failures out changes nothing else.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, expit, logit, ndtri

from benchmarks.failures.clocks import planned_days, planned_on_time
from benchmarks.failures.parameters import CROPS, PLACES, Believed, Failures, Hands

Floats = NDArray[np.float64]

FROM_DATE = date(2027, 1, 4)  # a Monday, day 0
N_DAYS = 280
FIRST_SOW_DAY, LAST_SOW_DAY = 14, 140
N_SOWINGS = 120
LOTS_A_CROP = 3
_SIZE_MEDIAN, _SIZE_SD, _SIZE_LEAST, _SIZE_MOST = 500.0, 0.8, 60, 3000
_CONFIDENCES = (0.8, 0.9, 0.95)


def stream(*key: int | str) -> np.random.Generator:
    """Return the stream of uniform numbers of a name.

    Parameters
    ----------
    *key : int or str
        Its name.

    Returns
    -------
    rng : Generator
        Of which only `random` is used.
    """
    words = [each if isinstance(each, int) else zlib.crc32(each.encode()) for each in key]
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(words)))


def normal(rng: np.random.Generator, shape: int | tuple[int, ...] = ()) -> Floats:
    """Draw standard normal numbers by inversion.

    Parameters
    ----------
    rng : Generator
        Stream.
    shape : int or tuple of int, default ()
        How many.

    Returns
    -------
    z : ndarray
        The numbers.
    """
    return np.asarray(ndtri(np.clip(rng.random(shape), 1e-12, 1.0 - 1e-12)))


def between(rng: np.random.Generator, low: float, high: float) -> float:
    """Draw an evenly spread number.

    Parameters
    ----------
    rng : Generator
        Stream.
    low, high : float
        Ends.

    Returns
    -------
    x : float
        The number.
    """
    return low + (high - low) * float(rng.random())


@dataclass(frozen=True, slots=True)
class Lot:
    """A lot of seed.

    Attributes
    ----------
    name : str
        Its name.
    crop : int
        Its crop.
    n_normal, n_tested : int
        Its test, which the house knows.
    germination : float
        What it really is while it is not bad [fraction].
    bad_share : float
        What is left of that if it is bad; 1 if it is not.
    """

    name: str
    crop: int
    n_normal: int
    n_tested: int
    germination: float
    bad_share: float


@dataclass(frozen=True, slots=True)
class Sowing:
    """A sowing as planned, and its order.

    Attributes
    ----------
    name : str
        Its name.
    crop, lot : int
        Its crop and lot.
    sow_day : int
        Day it is sown, at noon.
    n_cells : int
        Cells sown.
    wanted : int
        Plants its order wants; fewer are short.
    wanted_day, earliest_day, latest_day : int
        Days of the order.
    confidence_frac : float
        Chance that is wanted of enough plants.
    partial : bool
        Whether the order takes plants on several days.
    """

    name: str
    crop: int
    lot: int
    sow_day: int
    n_cells: int
    wanted: int
    wanted_day: int
    earliest_day: int
    latest_day: int
    confidence_frac: float
    partial: bool

    @property
    def n_trays(self) -> int:
        """Trays sown."""
        return -(-self.n_cells // CROPS[self.crop].cells_per_tray)


@dataclass(frozen=True, slots=True)
class Event:
    """A planted failure of temperature.

    Attributes
    ----------
    kind : str
        "cold week" or "heater fault".
    place : int
        Where; -1 is everywhere.
    first_day, n_days : int
        When it begins, and how many days it lasts.
    size_c : float
        By how much it is colder, or how cold it is.
    share : float
        Where between its least and its most the loss lies, 0 to 1.
    """

    kind: str
    place: int
    first_day: int
    n_days: int
    size_c: float
    share: float


@dataclass(frozen=True, slots=True)
class Round:
    """Somebody counts of their own accord.

    Attributes
    ----------
    sowing : int
        Which sowing.
    day : int
        When.
    trays : tuple of int
        Numbers of the trays, from 1.
    n_cells : int
        Cells looked at in each; 0 is all.
    person : str
        Who.
    """

    sowing: int
    day: int
    trays: tuple[int, ...]
    n_cells: int
    person: str


@dataclass(frozen=True)
class Season:
    """A season with failures planted.

    Attributes
    ----------
    seed : int
        Its seed.
    failures, believed, hands
        What it was made with.
    lots, sowings, events, rounds : tuple
        What there is.
    calm_c : ndarray, shape (places, days)
        Mean of a place on a day without planted failures [°C].
    believed_c : ndarray, shape (places, days)
        What the house plans with [°C].
    """

    seed: int
    failures: Failures
    believed: Believed
    hands: Hands
    lots: tuple[Lot, ...]
    sowings: tuple[Sowing, ...]
    events: tuple[Event, ...]
    rounds: tuple[Round, ...]
    calm_c: Floats
    believed_c: Floats


def made_season(seed: int, n_sowings: int = N_SOWINGS, failures: Failures | None = None) -> Season:
    """Make a season.

    Parameters
    ----------
    seed : int
        Its seed.
    n_sowings : int, default 120
        Sowings, each with an order.
    failures : Failures or None, default None
        What goes wrong; the frozen rates by default.

    Returns
    -------
    season : Season
        The season.
    """
    world = failures or Failures()
    believed = Believed()
    day = np.arange(N_DAYS)
    believed_c = np.array(
        [each.start_c + each.rise_c * np.minimum(day / 180, 1) for each in PLACES]
    )
    lots = _lots(seed, world)
    sowings = tuple(_sowing(seed, i, believed, believed_c, lots) for i in range(n_sowings))
    return Season(
        seed, world, believed, Hands(), lots, sowings, _events(seed, world),
        _rounds(seed, sowings, believed_c), _calm(seed, world, believed_c), believed_c,
    )  # fmt: skip


def work_day(day: int) -> bool:
    """Tell whether somebody is at work.

    Parameters
    ----------
    day : int
        Day of the season.

    Returns
    -------
    works : bool
        True from Monday to Friday.
    """
    return day % 7 < 5


def date_of(day: int) -> date:
    """Return the date of a day of the season.

    Parameters
    ----------
    day : int
        Day of the season.

    Returns
    -------
    date : date
        Its date.
    """
    return FROM_DATE + timedelta(days=day)


def _lots(seed: int, world: Failures) -> tuple[Lot, ...]:
    """Draw the lots of all crops."""
    lots = []
    for crop, each in enumerate(CROPS):
        for number in range(LOTS_A_CROP):
            name = f"{each.name} lot {number + 1}"
            rng = stream(seed, "lot", name)
            n_normal = round(200 * between(rng, 0.88, 0.98))
            p = float(betaincinv(n_normal + 1.0, 201.0 - n_normal, float(rng.random())))
            p = float(expit(logit(np.clip(p, 1e-3, 1 - 1e-3)) + world.lot_logit_sd * normal(rng)))
            bad = rng.random() < world.bad_lot_frac
            left = between(rng, world.bad_lot_low, world.bad_lot_high)
            lots.append(Lot(name, crop, n_normal, 200, p, left if bad else 1.0))
    return tuple(lots)


def _sowing(
    seed: int, number: int, believed: Believed, believed_c: Floats, lots: tuple[Lot, ...]
) -> Sowing:
    """Plan one sowing for an order, as the house believes."""
    rng = stream(seed, "sowing", number)
    index = int(rng.random() * len(CROPS))
    crop = CROPS[index]
    day = FIRST_SOW_DAY + int(rng.random() * (LAST_SOW_DAY - FIRST_SOW_DAY))
    day -= max(day % 7 - 4, 0)
    lot = index * LOTS_A_CROP + int(rng.random() * LOTS_A_CROP)
    size = _SIZE_MEDIAN * np.exp(_SIZE_SD * float(normal(rng)))
    wanted = int(np.clip(size, _SIZE_LEAST, _SIZE_MOST))
    confidence = _CONFIDENCES[int(rng.random() * len(_CONFIDENCES))]
    _, ready = planned_days(crop, believed_c, day)
    length = ready - day
    wanted_day = int(np.ceil(ready + between(rng, 0.0, 0.1) * length))
    earliest = wanted_day - 2 - int(3 * rng.random())
    latest = wanted_day + 2 + int(between(rng, 0.15, 0.35) * length)
    partial = bool(rng.random() < 0.5)
    on_time = planned_on_time(crop, believed_c, day, believed)
    n_cells = cells_for(wanted, confidence, crop.cells_per_tray, lots[lot], on_time, believed)
    return Sowing(
        f"{crop.name} {number}", index, lot, day, n_cells, wanted, wanted_day, earliest, latest,
        confidence, partial,
    )  # fmt: skip


def cells_for(
    wanted: int,
    confidence_frac: float,
    cells_per_tray: int,
    lot: Lot,
    on_time_frac: float,
    believed: Believed,
) -> int:
    """Cells that give enough plants with a chance, as the house believes.

    Parameters
    ----------
    wanted : int
        Plants wanted.
    confidence_frac : float
        Chance.
    cells_per_tray : int
        Cells of a tray.
    lot : Lot
        The lot by its test.
    on_time_frac : float
        Share of seedlings that comes soon enough [fraction].
    believed : Believed
        What the house plans with.

    Returns
    -------
    n_cells : int
        Cells, by a normal count with the spread of lot, trays and lost trays.
    """
    p = (lot.n_normal + 1.0) / (lot.n_tested + 2.0)
    p_var = p * (1.0 - p) / (lot.n_tested + 3.0)
    share = believed.emergence_frac * on_time_frac * believed.kept_frac
    usable = p * share
    z = float(ndtri(confidence_frac))
    n = int(wanted)
    while True:
        tray = min(n, cells_per_tray)
        inside = usable * (1.0 - usable) * (1.0 + (tray - 1) * believed.rho_tray)
        lost = believed.tray_loss_frac * tray * usable**2
        sd = np.sqrt(n * (inside + lost) + (n * share) ** 2 * p_var)
        if n * usable * (1.0 - believed.tray_loss_frac) - z * sd >= wanted:
            return n
        n += 1


def _events(seed: int, world: Failures) -> tuple[Event, ...]:
    """Draw the planted failures of temperature."""
    events = []
    for week in range(N_DAYS // 7):
        rng = stream(seed, "cold week", week)
        if rng.random() < world.cold_week_frac:
            size = between(rng, world.cold_low_c, world.cold_high_c)
            events.append(Event("cold week", -1, 7 * week, 7, size, float(rng.random())))
        for place in range(len(PLACES)):
            rng = stream(seed, "heater fault", week, place)
            if rng.random() < world.heater_fault_frac:
                first = 7 * week + int(7 * rng.random())
                lasts = 1 + int(world.fault_days_most * rng.random())
                temp = between(rng, world.fault_low_c, world.fault_high_c)
                share = float(rng.random())
                events.append(Event("heater fault", place, first, lasts, temp, share))
    return tuple(events)


def _calm(seed: int, world: Failures, believed_c: Floats) -> Floats:
    """Draw the season's temperature without planted failures."""
    rng = stream(seed, "weather")
    shift = world.season_shift_c * float(normal(rng))
    a = world.day_correlation
    noise = normal(rng, N_DAYS) * np.sqrt(1.0 - a * a)
    days = np.zeros(N_DAYS)
    days[0] = noise[0] / np.sqrt(1.0 - a * a)
    for day in range(1, N_DAYS):
        days[day] = a * days[day - 1] + noise[day]
    own = world.place_shift_c * normal(rng, len(PLACES))
    return np.asarray(believed_c + shift + own[:, None] + world.day_sd_c * days)


def _rounds(seed: int, sowings: tuple[Sowing, ...], believed_c: Floats) -> tuple[Round, ...]:
    """Draw when people count of their own accord: Tuesdays and Fridays, a tray or three."""
    rounds = []
    for i, sowing in enumerate(sowings):
        rng = stream(seed, "rounds", sowing.name)
        up, _ = planned_days(CROPS[sowing.crop], believed_c, sowing.sow_day)
        for day in range(sowing.sow_day + 1, int(up) + 12):
            draws = rng.random(5)
            if day % 7 not in {1, 4} or day < up - 2.0 or draws[0] > 0.45:
                continue
            n = min(1 + int(3 * draws[1]), sowing.n_trays)
            first = int(draws[2] * (sowing.n_trays - n + 1)) + 1
            sample = 30 if draws[3] < 0.25 else 0
            person = ("A", "B", "C")[int(3 * draws[4])]
            rounds.append(Round(i, day, tuple(range(first, first + n)), sample, person))
    return tuple(sorted(rounds, key=lambda each: (each.day, each.sowing)))
