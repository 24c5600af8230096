"""Every sowing day on every course through the house, with its days: what the bound runs over."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.placing import least_temperature
from sowbench.checking.season import SOW_HOUR, Season
from sowbench.checking.timeline import (
    Course,
    Pace,
    Timeline,
    on_other_place,
    summed,
    timeline,
)
from sowbench.checking.ways import courses, holding_places, toning_places
from sowbench.domain.records import Crop, PlaceKind, ReadyRule, StepKind

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
NEVER = 1 << 30


@dataclass(frozen=True, slots=True, eq=False)
class Route:
    """All sowing days of a crop on one course, as day numbers of shape (S,).

    Parameters
    ----------
    crop, rule, course : Crop, ReadyRule, Course
        What is raised, what ready means, and where.
    hold : str or None
        Cold store to hold it in once it is ready.
    line : Timeline
        Days for every season and pace.
    sow, leave, tone, ready, held : ndarray of int, shape (S,)
        Day of sowing, of leaving the chamber, of toning, of being ready, and the first work day
        from then on, on which it may go into a cold store; `NEVER` if not.
    pot_on, space : ndarray of int, shape (S,)
        Days of potting on and spacing; `NEVER` where the rule has none.
    open_until : ndarray, shape (S,)
        Last fractional day before it is overgrown.
    """

    crop: Crop
    rule: ReadyRule
    course: Course
    hold: str | None
    line: Timeline
    sow: Ints
    leave: Ints
    tone: Ints
    ready: Ints
    held: Ints
    pot_on: Ints
    space: Ints
    open_until: Floats


class Calendar:
    """Look-up tables of the season's days."""

    def __init__(self, season: Season) -> None:
        days = range(season.n_days)
        self.next_work: Ints = np.array([season.work_day_from(each) for each in days])
        self.last_work: Ints = np.array([season.work_day_before(each) for each in days])
        self.attended = np.array([season.is_attended(season.day(each)) for each in days])
        first = season.index(season.inputs.from_date)
        last = season.index(season.until)
        self.sow: Ints = np.array(
            [each for each in range(first, last + 1) if season.can_sow_on(season.day(each))],
            dtype=np.int64,
        )

    def work_day(self, index: Ints) -> Ints:
        """Return the first work day at or after day numbers, `NEVER` outside the season."""
        inside = (index >= 0) & (index < self.next_work.size)
        return np.where(inside, self.next_work[np.where(inside, index, 0)], NEVER)


def routes_of(
    season: Season, pace: Pace, calendar: Calendar, crop: Crop, rule: ReadyRule, latest: int
) -> Iterator[Route]:
    """Give every route of a crop under a rule, for sowing days up to a latest day."""
    sow = calendar.sow[calendar.sow < latest]
    if not sow.size:
        return
    hours = np.asarray(sow * 24.0 + SOW_HOUR, dtype=np.float64)
    holds: list[str | None] = [None, *holding_places(season, crop)]
    for base in courses(season, crop, toned=False):
        line = timeline(season, pace, crop, rule, base, hours)
        for tone in toning_places(season, crop, base.grow[0][0]):
            for hold in holds:
                course = replace(base, tone=tone, hold=hold is not None)
                other = on_other_place(season, pace, crop, rule, course, line)
                yield _route(calendar, crop, rule, course, hold, other, sow)


def _route(
    calendar: Calendar,
    crop: Crop,
    rule: ReadyRule,
    course: Course,
    hold: str | None,
    line: Timeline,
    sow: Ints,
) -> Route:
    """Turn fractional days into the days of the plan."""
    w, z = line.middle
    leave = sow
    if course.germinate is not None:
        leave = np.where(line.exit_ok, _floor(line.exit_h / 24.0), NEVER)
    ready = _ceil(line.ready_day[:, w, z])
    return Route(
        crop, rule, course, hold, line, sow, leave,
        calendar.work_day(_ceil(line.grown_day[:, w, z])), ready, calendar.work_day(ready),
        calendar.work_day(_floor(line.pot_on_day)), calendar.work_day(_floor(line.space_day)),
        line.overgrown_day[:, w, z],
    )  # fmt: skip


def _ceil(day: Floats) -> Ints:
    """First midnight at or after."""
    known = np.isfinite(day)
    return np.where(known, np.ceil(np.where(known, day, 0.0) - 1e-6), NEVER).astype(np.int64)


def _floor(day: Floats) -> Ints:
    """Midnight at or before."""
    known = np.isfinite(day)
    return np.where(known, np.floor(np.where(known, day, 0.0)), NEVER).astype(np.int64)


class Climates:
    """Running counts of cold and chill days and sums of temperature by place."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self._cold: dict[tuple[str, float], Floats] = {}
        self._chill: dict[tuple[str, float], Floats] = {}
        self._mean: dict[str, Floats] = {}

    def n_cold(self, place: str, least_c: float, first: Ints, last: Ints) -> Floats:
        """Count days too cold."""
        key = (place, least_c)
        if key not in self._cold:
            coldest = self.season.climate(place).coldest_hour_c
            self._cold[key] = summed((coldest < least_c - 1e-6).astype(np.float64))
        return between(self._cold[key], first, last)

    def n_chill(self, place: str, below_c: float, first: Ints, last: Ints) -> Floats:
        """Count chill days."""
        key = (place, below_c)
        if key not in self._chill:
            mean = self.season.climate(place).temp_day_mean_c[self.season.w_nodes.size // 2]
            self._chill[key] = summed((mean < below_c).astype(np.float64))
        return between(self._chill[key], first, last)

    def warmth(self, place: str, first: Ints, last: Ints) -> Floats:
        """Sum of daily means."""
        if place not in self._mean:
            mean = self.season.climate(place).temp_day_mean_c[self.season.w_nodes.size // 2]
            self._mean[place] = summed(mean)
        return between(self._mean[place], first, last)


def between(total: Floats, first: Ints, last: Ints) -> Floats:
    """Difference of a running sum over half-open intervals, 0 where they are empty."""
    a = np.clip(first, 0, total.size - 1)
    b = np.clip(last, 0, total.size - 1)
    return np.where(b > a, total[b] - total[a], 0.0)


def stays_of(route: Route, rows: Ints, end: Ints) -> list[tuple[StepKind, str, Ints, Ints]]:
    """Return kind, place, first and last day of each stretch, handed over on given days."""
    course = route.course
    grow = course.grow[0][0]
    begin = route.leave[rows]
    done = np.minimum(route.held[rows], end) if route.hold is not None else end
    tone = np.minimum(route.tone[rows], done)
    stays = []
    if course.germinate is not None:
        stays.append((StepKind.GERMINATE, course.germinate, route.sow[rows], begin))
    stays.append((StepKind.GROW, grow, begin, tone))
    stays.append((StepKind.TONE, course.tone, tone, done))
    if route.hold is not None:
        stays.append((StepKind.HOLD, route.hold, done, end))
    return stays


def is_open(
    season: Season, climates: Climates, route: Route, rows: Ints, hand_over: Ints
) -> NDArray[np.bool_]:
    """Tell which sowings the places allow: cold, chill, toning, holding.

    All of a shared sowing has gone to its last place before the first part is handed over.
    """
    crop = route.crop
    begin, end = hand_over.min(axis=1), hand_over.max(axis=1)
    grow = route.course.grow[0][0]
    good = np.ones(rows.size, dtype=bool)
    n_chill = np.zeros(rows.size)
    toned = route.course.tone != grow
    for kind, place, first, last in stays_of(route, rows, end):
        good &= climates.n_cold(place, least_temperature(crop, kind), first, last) == 0
        if crop.chill_below_c is not None:
            n_chill += climates.n_chill(place, crop.chill_below_c, first, last)
        if kind is StepKind.TONE and toned:
            good &= (last > first) & (first < begin)
            if season.places[place].kind is PlaceKind.BENCH:
                there = climates.warmth(place, first, last)
                good &= there <= climates.warmth(grow, first, last) + 1e-6
        if kind is StepKind.HOLD:
            good &= (first < begin) & (last - route.ready[rows] <= crop.hold_d)
    if crop.chill_below_c is not None and crop.chill_days_max is not None:
        good &= n_chill <= crop.chill_days_max
    return good
