"""What finished sowings say of the handbook, read off their journals (docs/model.md section 15)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.season import N_ASSUMED_TEST, N_PACE, N_WEATHER
from sowbench.checking.stand import aged, aging_shift
from sowbench.checking.timeline import relative_final_fraction
from sowbench.domain.journal import Entry, EntryKind
from sowbench.forecasting import (
    CellRule,
    ForecastParameters,
    Forecasts,
    LotTest,
    OpenSowing,
    Pace,
    forecast_sowings,
)
from sowbench.forecasting.learning_records import FinishedSowing, Kept, Reading, Worked
from sowbench.science.emergence import accumulate
from sowbench.science.quadrature import normal_nodes
from sowbench.science.stand import CULL_FRAC, EMERGENCE_FRAC, SURVIVE_FRAC
from sowbench.services.learned_climate import Climates, Stay
from sowbench.services.learned_ready import ready_reading

if TYPE_CHECKING:
    from sowbench.domain.life_records import SowingLife
    from sowbench.domain.records import Crop, SeedLot, Standing
    from sowbench.reference.catalog import Catalog

__all__ = ["Ending", "finished_sowings"]

Floats = NDArray[np.float64]

_SOW_H: Final = 12
_FATE_H: Final = 48
_STEP_H: Final = 6
_MOST_D: Final = 90
# All but nothing is believed of the lot's test, so that the counts speak for themselves.
_DISBELIEF: Final = ForecastParameters(odd_lot_frac=0.999)
# A pace with a larger error variance, as a share of the handbook's, is a bound and no reading.
_ONE_SIDED: Final = 0.25
# Variance of the logit of a share of which nothing is known.
_FLAT_LOGIT: Final = math.pi**2 / 3.0
_MOVING: Final = frozenset(
    {EntryKind.SOWN, EntryKind.PULLED, EntryKind.MOVED, EntryKind.POTTED_ON, EntryKind.SPACED}
)


@dataclass(frozen=True, slots=True)
class Ending:
    """A sowing that has ended, with what its journal and its plan say.

    Attributes
    ----------
    life : SowingLife
        Where it stood in the end.
    entries : tuple of Entry
        Its entries that stand, in the order of arrival.
    start : Standing or None
        How it stood before the book.
    lot : SeedLot or None
        Its lot.
    system : str
        System of the order that it went to.
    minutes : tuple of Worked
        Minutes by task.
    seeds_per_cell : int
        Seeds in a cell.
    losses_entered : bool
        Whether the house enters losses.
    """

    life: SowingLife
    entries: tuple[Entry, ...]
    start: Standing | None = None
    lot: SeedLot | None = None
    system: str = "any"
    minutes: tuple[Worked, ...] = ()
    seeds_per_cell: int = 1
    losses_entered: bool = False


@dataclass(frozen=True, slots=True)
class _Course:
    """One ended sowing with its crop, its stays and what the climate gave it."""

    ending: Ending
    crop: Crop
    container: str
    stays: tuple[Stay, ...]
    sow_date: date
    ended_date: date
    progress_cd: Floats
    warm_frac: Floats


def finished_sowings(
    endings: Sequence[Ending], catalog: Catalog, climates: Climates
) -> dict[str, FinishedSowing]:
    """Read what ended sowings say of the handbook.

    Parameters
    ----------
    endings : sequence of Ending
        The sowings.
    catalog : Catalog
        The handbook with the house file's own values, nothing learned.
    climates : Climates
        Climate of the places.

    Returns
    -------
    finished : dict of str to FinishedSowing
        By name; those whose crop, container or place is not known have none.
    """
    courses = [each for each in (_course(one, catalog, climates) for one in endings) if each]
    counted = [each for each in courses if _is_counted(each)]
    readings: dict[str, tuple[Reading | None, Reading | None]] = {}
    if counted:
        opens = [_open(each) for each in counted]
        found = forecast_sowings(opens, (), _DISBELIEF)
        for row, each in enumerate(counted):
            readings[each.ending.life.sowing] = _readings(found, row, each, catalog)
    out = {}
    for each in courses:
        pace, stand = readings.get(each.ending.life.sowing, (None, None))
        out[each.ending.life.sowing] = _finished(each, catalog, climates, pace, stand)
    return out


def _course(ending: Ending, catalog: Catalog, climates: Climates) -> _Course | None:
    """Follow a sowing from place to place; None where too little is known."""
    life = ending.life
    crop = catalog.crops.get(life.crop)
    if crop is None or life.sown_date is None or life.ended_date is None or not life.trays:
        return None
    sown = next((each for each in ending.entries if each.kind is EntryKind.SOWN), None)
    if sown is None or life.ended_date <= life.sown_date:
        return None  # bought in, or it stood before the book: its beginning is not known
    container = catalog.containers.get(life.trays[-1].container)
    stays = _stays(ending, climates)
    if container is None or not stays:
        return None
    days = min((life.ended_date - life.sown_date).days + 1, _MOST_D)
    mix = climates.mix(stays, life.sown_date, days)[:, _SOW_H:]
    progress = np.asarray(accumulate(mix, crop.emergence))
    early = mix[:, :_FATE_H].mean(axis=1)
    return _Course(
        ending,
        crop,
        container.container_class.value,
        stays,
        life.sown_date,
        life.ended_date,
        progress,
        relative_final_fraction(early, crop.emergence),
    )


def _stays(ending: Ending, climates: Climates) -> tuple[Stay, ...]:
    """Places with the days from which most of a sowing stood there."""
    n_trays = len(ending.life.trays)
    stays: list[Stay] = []
    for each in sorted(ending.entries, key=lambda entry: entry.day_date):
        if each.kind not in _MOVING or not each.place:
            continue
        if each.trays and 2 * len(each.trays) < n_trays:
            continue
        if each.kind is EntryKind.SOWN:
            stays.clear()
        if each.place not in climates.places:
            return ()
        if not stays or stays[-1].place != each.place:
            stays.append(Stay(each.place, each.day_date))
    return tuple(stays)


def _is_counted(course: _Course) -> bool:
    """Whether a sowing was counted, and could have come up."""
    counts = any(each.kind is EntryKind.COUNTED for each in course.ending.entries)
    return counts and float(course.progress_cd.max()) > 0.0


def _open(course: _Course) -> OpenSowing:
    """Put a sowing before the forecast as if nothing were known of its lot."""
    life, crop = course.ending.life, course.crop
    hours = np.arange(0, course.progress_cd.shape[1], _STEP_H)
    z, _ = normal_nodes(N_PACE)
    days = np.tile(30.0 + z, (N_WEATHER, 1))  # ready days are not asked for here
    full = max((each.n_cells for each in life.trays), default=1)
    return OpenSowing(
        sowing=life.sowing,
        lot=life.lot,
        crop=crop.id,
        sow_date=course.sow_date,
        test=LotTest(0, 0),
        pace=Pace(
            crop.emergence.thermal_time_cd, crop.emergence.sigma_seed, crop.emergence.sigma_pace
        ),
        cell=CellRule(
            course.ending.seeds_per_cell, crop.plants_per_cell[0], crop.seedlings_per_unit
        ),
        hours_h=hours.astype(np.float64),
        progress_cd=course.progress_cd[:, hours],
        warm_frac=np.ones(N_WEATHER),
        ready_day=days,
        overgrown_day=days + 30.0,
        entries=course.ending.entries,
        standing=course.ending.start,
        n_cells=life.n_cells or 0,
        cells_per_tray=max(full, 1),
        emergence_frac=1.0,
    )


def _readings(
    found: Forecasts, row: int, course: _Course, catalog: Catalog
) -> tuple[Reading | None, Reading | None]:
    """Divide what was believed before out of a posterior: what the counts say of pace and stand."""
    batch = found.batch
    assert batch is not None  # noqa: S101 - there are sowings
    posterior, prior = batch.posterior, batch.prior
    mass = posterior.mass[row]
    weights = prior.weights
    delta = prior.delta[row]
    middle = float(weights @ delta)
    of_weather = float(weights @ (delta - middle) ** 2)
    mean, variance = _moments(mass.sum(axis=1), posterior.lag[row], posterior.lag_edges[row])
    pace = _without(mean + middle, variance, course.crop.emergence.sigma_pace**2 + of_weather)
    share = np.clip(posterior.stand[row], 1e-9, 1.0 - 1e-9)
    edges = np.clip(posterior.stand_edges[row], 1e-9, 1.0 - 1e-9)
    of_stand = mass.sum(axis=0)
    mean, variance = _moments(of_stand, _logit(share), _logit(edges))
    stand = _without(mean, variance, _FLAT_LOGIT)
    sigma = course.crop.emergence.sigma_pace
    if pace is not None and pace.variance > _ONE_SIDED * sigma**2:
        pace = None  # counted when all were up, or none: it only says not later, or not sooner
    if pace is not None:
        pace = Reading(pace.value, pace.variance + of_weather)
    if stand is not None:
        expected, doubt = _expected_stand(course, catalog)
        stand = Reading(stand.value - expected, stand.variance + doubt)
    return pace, stand


def _moments(mass: Floats, at: Floats, edges: Floats) -> tuple[float, float]:
    """Mean and variance of mass that fills cells evenly."""
    share = mass / mass.sum()
    mean = float(share @ at)
    return mean, float(share @ ((at - mean) ** 2 + np.diff(edges) ** 2 / 12.0))


def _without(mean: float, variance: float, prior: float) -> Reading | None:
    """Divide a normal about 0 out of a posterior; None where nothing is left."""
    precision = 1.0 / variance - 1.0 / prior
    if precision <= 1e-3 / prior:
        return None
    return Reading(mean / variance / precision, 1.0 / precision)


def _logit(frac: Floats) -> Floats:
    """Logarithm of the odds."""
    return np.asarray(np.log(frac / (1.0 - frac)))


def _expected_stand(course: _Course, catalog: Catalog) -> tuple[float, float]:
    """Logit of the share of seeds that should have come up, and its error variance."""
    lot = course.ending.lot
    if lot is None:
        n_tested = float(N_ASSUMED_TEST)
        n_normal, shift = n_tested * course.crop.germination_frac, 0.0
    else:
        n_tested, n_normal = float(lot.n_tested), float(lot.n_normal)
        shift = aging_shift(lot, catalog.viability, course.sow_date)
    p = (n_normal + 1.0) / (n_tested + 2.0)
    p = float(aged(np.array([p]), shift)[0])
    warm = float(course.warm_frac[course.warm_frac.size // 2])
    share = np.clip(p * warm * EMERGENCE_FRAC, 1e-6, 1.0 - 1e-6)
    # What a lot's test is wrong by is shared by its sowings: that is the effect of the lot.
    doubt = 1.0 / (n_normal + 1.0) + 1.0 / (n_tested - n_normal + 1.0) if lot is None else 0.0
    return float(_logit(np.array(share))), doubt


def _finished(
    course: _Course,
    catalog: Catalog,
    climates: Climates,
    pace: Reading | None,
    stand: Reading | None,
) -> FinishedSowing:
    """Put together what a sowing says."""
    ending, crop = course.ending, course.crop
    rule = catalog.rule_for(crop.id, ending.life.trays[-1].container, ending.system)
    lag = 0.0 if pace is None else pace.value
    ready = None
    if rule is not None:
        goal = crop.emergence.thermal_time_cd * math.exp(lag)
        middle = course.progress_cd[course.progress_cd.shape[0] // 2]
        hour = int(np.searchsorted(middle, goal))
        if hour < middle.size:
            up = course.sow_date + timedelta(days=(_SOW_H + hour) / 24.0)
            ready = ready_reading(
                ending.entries, course.stays, crop, rule, climates, up, course.ended_date
            )
    return FinishedSowing(
        sowing=ending.life.sowing,
        crop=crop.id,
        kin=crop.kin,
        container=course.container,
        place=_longest(course),
        sow_date=course.sow_date,
        ended_date=course.ended_date,
        sigma_pace=crop.emergence.sigma_pace,
        sigma_growth=0.3 if rule is None else rule.sigma_growth,
        pace_emergence=pace,
        pace_ready=ready,
        stand=stand,
        survived=_survived(ending),
        graded=_graded(ending),
        minutes=ending.minutes,
        germination_place=course.stays[0].place,
        lot=ending.life.lot,
    )


def _longest(course: _Course) -> str:
    """Place in which a sowing stood longest."""
    until = [each.from_date for each in course.stays[1:]] + [course.ended_date]
    days: dict[str, int] = {}
    for stay, to_date in zip(course.stays, until, strict=True):
        days[stay.place] = days.get(stay.place, 0) + (to_date - stay.from_date).days
    return max(days, key=lambda place: (days[place], place))


def _survived(ending: Ending) -> Kept | None:
    """Cells left of those that were right when they were last counted."""
    life = ending.life
    if not ending.losses_entered or not life.n_right or life.counted_date is None:
        return None
    n_lost = sum(
        each.n or 0
        for each in ending.entries
        if each.kind is EntryKind.LOST and each.day_date >= life.counted_date
    )
    n_kept = max(life.n_right - n_lost, 0)
    return Kept(n_kept, life.n_right, SURVIVE_FRAC, max(len(life.trays), 1))


def _graded(ending: Ending) -> Kept | None:
    """Cells fit of those graded, where it was written down how many were looked at."""
    graded = [
        each
        for each in ending.entries
        if each.kind is EntryKind.GRADED and each.n is not None and each.n_of
    ]
    if not graded:
        return None
    n_of = sum(each.n_of or 0 for each in graded)
    n_kept = min(sum(each.n or 0 for each in graded), n_of)
    return Kept(n_kept, n_of, 1.0 - CULL_FRAC, max(len(ending.life.trays), 1))
