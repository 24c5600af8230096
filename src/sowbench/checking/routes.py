"""Every course through the house with its days, for all sowing days: what the bound runs over."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.season import SOW_HOUR, Season
from sowbench.checking.timeline import Course, Pace, Timeline, overgrown_days, summed, timeline
from sowbench.checking.ways import courses, holding_places, toning_places
from sowbench.domain.records import Crop, PlaceKind, ReadyRule

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]
NEVER = 1 << 30


@dataclass(frozen=True, slots=True, eq=False)
class Routes:
    """All courses of a crop under a rule: R routes over B ways to grow, for S sowing days.

    Parameters
    ----------
    crop, rule : Crop, ReadyRule
        What is raised, and what ready means.
    lines : tuple of Timeline
        Days of each way to grow, for every season and pace.
    way : ndarray of int, shape (R,)
        Way to grow of each route.
    germinate, grow, tone, hold : ndarray of int, shape (R,)
        Numbers of the places; -1 where it germinates in its growing place or is not held.
    overgrown_day : ndarray, shape (R, S, W, Z)
        Fractional days on which plants are overgrown.
    sow : ndarray of int, shape (S,)
        Day numbers of sowing.
    leave, toned, ready, held, pot_on, space, emerged : ndarray of int, shape (B, S)
        Days of leaving the chamber, of toning, of being ready, of going into a cold store, of
        potting on, of spacing and of emergence at w = 0, z = 0; `NEVER` if not.
    """

    crop: Crop
    rule: ReadyRule
    lines: tuple[Timeline, ...]
    way: Ints
    germinate: Ints
    grow: Ints
    tone: Ints
    hold: Ints
    overgrown_day: Floats
    sow: Ints
    leave: Ints
    toned: Ints
    ready: Ints
    held: Ints
    pot_on: Ints
    space: Ints
    emerged: Ints

    @property
    def ready_day(self) -> Floats:
        """Fractional days of being ready, shape (B, S, W, Z)."""
        return np.stack([each.ready_day for each in self.lines])

    @property
    def open_until(self) -> Floats:
        """Fractional day before which it is not overgrown at w = 0, z = 0, shape (R, S)."""
        n_w, n_z = self.overgrown_day.shape[2:]
        return self.overgrown_day[:, :, n_w // 2, n_z // 2]


class Calendar:
    """Look-up tables of the season's days."""

    def __init__(self, season: Season) -> None:
        days = range(season.n_days)
        self.next_work: Ints = np.array([season.work_day_from(each) for each in days])
        self.last_work: Ints = np.array([season.work_day_before(each) for each in days])
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
) -> Routes | None:
    """Lay out every route of a crop under a rule, for sowing days up to a latest day."""
    sow = calendar.sow[calendar.sow < latest]
    bases = list(courses(season, crop, toned=False))
    if not sow.size or not bases:
        return None
    hours = np.asarray(sow * 24.0 + SOW_HOUR, dtype=np.float64)
    number = {name: at for at, name in enumerate(season.places)}
    holds = holding_places(season, crop)
    lines, rows, over = [], [], []
    for at, base in enumerate(bases):
        line = timeline(season, pace, crop, rule, base, hours)
        lines.append(line)
        germinate = -1 if base.germinate is None else number[base.germinate]
        for tone in toning_places(season, crop, base.grow[0][0]):
            for hold in [None, *holds]:
                course = replace(base, tone=tone, hold=hold is not None)
                over.append(overgrown_days(season, pace, crop, rule, course, line.grown_day))
                held = -1 if hold is None else number[hold]
                rows.append((at, germinate, number[base.grow[0][0]], number[tone], held))
    way, germ, grow, toning, holding = np.array(rows, dtype=np.int64).T
    w, z = lines[0].middle

    def middle(name: str) -> Floats:
        return np.stack([getattr(each, name)[:, w, z] for each in lines])

    ready = _ceil(middle("ready_day"))
    return Routes(
        crop, rule, tuple(lines), way, germ, grow, toning, holding, np.stack(over), sow,
        np.stack([_leave(base, line, sow) for base, line in zip(bases, lines, strict=True)]),
        calendar.work_day(_ceil(middle("grown_day"))), ready, calendar.work_day(ready),
        calendar.work_day(_floor(np.stack([each.pot_on_day for each in lines]))),
        calendar.work_day(_floor(np.stack([each.space_day for each in lines]))),
        _floor(middle("emergence_h") / 24.0),
    )  # fmt: skip


def _leave(base: Course, line: Timeline, sow: Ints) -> Ints:
    """Day on which a tray leaves its germinating place."""
    if base.germinate is None:
        return sow
    return np.where(line.exit_ok, _floor(line.exit_h / 24.0), NEVER)


def _ceil(day: Floats) -> Ints:
    """First midnight at or after."""
    known = np.isfinite(day)
    return np.where(known, np.ceil(np.where(known, day, 0.0) - 1e-6), NEVER).astype(np.int64)


def _floor(day: Floats) -> Ints:
    """Midnight at or before."""
    known = np.isfinite(day)
    return np.where(known, np.floor(np.where(known, day, 0.0)), NEVER).astype(np.int64)


def between(total: Floats, place: Ints, first: Ints, last: Ints) -> Floats:
    """Differences of running sums by place over half-open intervals, 0 where they are empty."""
    a = np.clip(first, 0, total.shape[1] - 1)
    b = np.clip(last, 0, total.shape[1] - 1)
    return np.where(b > a, total[place, b] - total[place, a], 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Stays:
    """Places and days of candidates, each of shape (N,).

    It stands in `germinate` (-1: nowhere) from `sow` to `leave`, then in `grow` to `toned`, in
    `tone` to `held`, and in `hold` (-1: nowhere) until the last of it is handed over.
    """

    germinate: Ints
    grow: Ints
    tone: Ints
    hold: Ints
    sow: Ints
    leave: Ints
    toned: Ints
    held: Ints
    end: Ints


def stays_of(routes: Routes, route: Ints, row: Ints, end: Ints) -> Stays:
    """Return where candidates stand until they are handed over on given days."""
    way, hold = routes.way[route], routes.hold[route]
    held = np.where(hold >= 0, np.minimum(routes.held[way, row], end), end)
    return Stays(
        routes.germinate[route], routes.grow[route], routes.tone[route], hold, routes.sow[row],
        routes.leave[way, row], np.minimum(routes.toned[way, row], held), held, end,
    )  # fmt: skip


class Climates:
    """Running counts of cold and chill days and sums of temperature by place, of one crop."""

    def __init__(self, season: Season, crop: Crop) -> None:
        climates = [season.climate(each) for each in season.places]
        coldest = np.stack([each.coldest_hour_c for each in climates])
        mean = np.stack([each.temp_day_mean_c[season.w_nodes.size // 2] for each in climates])
        self.crop = crop
        self.cold, self.tone_cold, self.hold_cold = (
            summed((coldest < least - 1e-6).astype(np.float64))
            for least in (crop.min_c, crop.tone_min_c, crop.hold_min_c)
        )
        below = -np.inf if crop.chill_below_c is None else crop.chill_below_c
        self.chill = summed((mean < below).astype(np.float64))
        self.warmth = summed(mean)
        self.is_bench = np.array(
            [each.kind is PlaceKind.BENCH for each in season.places.values()], dtype=bool
        )

    def allow(self, routes: Routes, route: Ints, row: Ints, begin: Ints, end: Ints) -> Flags:
        """Tell which sowings the places allow: cold, chill, toning, holding.

        All of a shared sowing has gone to its last place before the first part is handed over, on
        `begin`; the last part goes on `end`.
        """
        at = stays_of(routes, route, row, end)
        inside, held = at.germinate >= 0, at.hold >= 0
        parts = (
            (self.cold, np.where(inside, at.germinate, at.grow), at.sow, at.leave),
            (self.cold, at.grow, at.leave, at.toned),
            (self.tone_cold, at.tone, at.toned, at.held),
            (self.hold_cold, np.where(held, at.hold, at.tone), at.held, at.end),
        )
        good = np.ones(route.size, dtype=bool)
        n_chill = np.zeros(route.size)
        for table, place, first, last in parts:
            good &= between(table, place, first, last) == 0
            n_chill += between(self.chill, place, first, last)
        if self.crop.chill_days_max is not None:
            good &= n_chill <= self.crop.chill_days_max
        moved = at.tone != at.grow
        there = between(self.warmth, at.tone, at.toned, at.held)
        before = between(self.warmth, at.grow, at.toned, at.held)
        good &= ~moved | ((at.held > at.toned) & (at.toned < begin))
        good &= ~(moved & self.is_bench[at.tone]) | (there <= before + 1e-6)
        waits = at.end - routes.ready[routes.way[route], row]
        return np.asarray(good & (~held | ((at.held < begin) & (waits <= self.crop.hold_d))))
