"""When sowings of a crop on a path through places come up, are grown, ready and overgrown.

docs/model.md sections 3 and 4; all sowing days of a season, weather nodes and paces at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sowbench.domain.records import Crop, Place, PlaceKind, ReadyRule
from sowbench.planning.calendar import SOWING_HOUR, Calendar
from sowbench.science.emergence import (
    ON_TIME_GRACE_H,
    accumulate,
    emergence_target,
    germination_target,
    hours_to,
    relative_fraction,
)
from sowbench.science.growth import (
    Clocks,
    cumulative_clocks,
    day_reached,
    light_usable_frac,
)
from sowbench.science.house import PlaceClimate

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

N_PACE_NODES = 9
N_WEATHER_NODES = 5
VINE_LEAST_H = 30.0
VINE_MOST_H = 48.0
EXIT_GRACE_H = 24.0
THIN_AFTER_D = 4
COUNT_AFTER_D = 2
FRACTION_HOURS = 48


@dataclass(frozen=True, slots=True)
class End:
    """Where a sowing stands from grown on: toning place (perhaps the growing place), cold store.

    Indices into the house's places; `hold` is -1 without a cold store.
    """

    tone: int
    hold: int = -1


@dataclass(frozen=True, slots=True)
class Route:
    """Places of a sowing until it is grown, and the ends it may then have.

    Indices into the house's places; `germ` equals `grow` where it is sown in the growing place.
    """

    germ: int
    grow: int
    ends: tuple[End, ...]


@dataclass(frozen=True)
class Timeline:
    """Life of a sowing for each sowing day on one path.

    Attributes
    ----------
    sow_day : ndarray of int, shape (n,)
    ok : ndarray of bool, shape (n,)
        Whether somebody lifts it out of the chamber in time, and it grows at all.
    exit_hour : ndarray, shape (n,)
        Hour of leaving the chamber (of sowing where there is none).
    exit_day, emerge_day, thin_day, count_day, pot_day, space_day, grown_day, ready_day : ndarray
        Plan days (typical weather and pace), shape (n,); pot_day and space_day are -1 without.
    ready : ndarray, shape (n_weather, n_pace, n)
        Fractional days.
    overgrown : ndarray, shape (n_ends, n_weather, n_pace, n)
        Fractional days, by end of the route.
    fraction : ndarray, shape (n_weather, n)
        Final emergence by temperature against the best.
    on_time : ndarray, shape (n,)
        Share of seeds up within three days of the median.
    """

    sow_day: IntArray
    ok: NDArray[np.bool_]
    exit_hour: FloatArray
    exit_day: IntArray
    emerge_day: IntArray
    thin_day: IntArray
    count_day: IntArray
    pot_day: IntArray
    space_day: IntArray
    grown_day: IntArray
    ready_day: IntArray
    ready: FloatArray
    overgrown: FloatArray
    fraction: FloatArray
    on_time: FloatArray


class Up(NamedTuple):
    """Chamber exit, whether it can be met, emergence, final fraction and share on time."""

    exit_hour: FloatArray
    ok: NDArray[np.bool_]
    start: FloatArray
    fraction: FloatArray
    on_time: FloatArray


class CropSeason:
    """A crop in every place of the house through the season; sums are made once and kept."""

    def __init__(
        self,
        crop: Crop,
        places: tuple[Place, ...],
        climates: tuple[PlaceClimate, ...],
        calendar: Calendar,
        z_nodes: FloatArray,
    ) -> None:
        self.crop = crop
        self.places = places
        self.climates = climates
        self.calendar = calendar
        self.z = z_nodes
        self.middle = N_WEATHER_NODES // 2
        self._progress: dict[int, FloatArray] = {}
        self._clocks: dict[tuple[int, float, float], Clocks] = {}
        self._mix_sum: dict[int, FloatArray] = {}
        self._emerged: dict[tuple[int, int, int, int], Up] = {}
        self._grown: dict[tuple[object, ...], FloatArray] = {}

    def forget(self) -> None:
        """Let go of what was kept; it is worked out again when asked."""
        self._progress.clear()
        self._clocks.clear()
        self._mix_sum.clear()
        self._emerged.clear()
        self._grown.clear()

    def progress(self, place: int) -> FloatArray:
        """Thermal time of emergence summed over hours, shape (n_weather, n_hours + 1)."""
        if place not in self._progress:
            mix = self.climates[place].temp_mix_c
            self._progress[place] = accumulate(mix, self.crop.emergence)
        return self._progress[place]

    def mix_sum(self, place: int) -> FloatArray:
        """Temperature of the mix summed over hours, shape (n_weather, n_hours + 1)."""
        if place not in self._mix_sum:
            mix = self.climates[place].temp_mix_c
            self._mix_sum[place] = np.concatenate(
                (np.zeros((mix.shape[0], 1)), np.cumsum(mix, axis=1)), axis=1
            )
        return self._mix_sum[place]

    def clocks(self, place: int, rule: ReadyRule) -> Clocks:
        """Growth clocks in a place."""
        key = (place, rule.temp_ref_c, rule.dli_ref_mol_m2_d)
        if key not in self._clocks:
            climate, growth = self.climates[place], self.crop.growth
            self._clocks[key] = cumulative_clocks(
                climate.temp_day_mean_c,
                climate.dli_mol_m2_d,
                growth.base_c,
                growth.optimum_c,
                growth.ceiling_c,
                rule.temp_ref_c,
                rule.dli_ref_mol_m2_d,
            )
        return self._clocks[key]

    def timeline(self, path: Route, rule: ReadyRule, sow_day: IntArray) -> Timeline:
        """Run all sowing days along a path."""
        calendar, middle = self.calendar, self.middle
        exit_hour, ok, start, fraction, on_time = self._up(path, sow_day)
        clocks = self.clocks(path.grow, rule)
        pace = np.exp(rule.sigma_growth * self.z)[None, :, None]
        key = (path.germ, path.grow, rule, len(sow_day), int(sow_day[0]))
        if key not in self._grown:
            self._grown[key] = day_reached(clocks, start, rule.days_ref * pace)
        grown = self._grown[key]
        ready = grown + rule.tone_d
        overgrown = np.stack([self._overgrown(end, rule, grown, ready, pace) for end in path.ends])
        z0 = len(self.z) // 2
        nominal = start[middle, z0]
        grown0, ready0 = grown[middle, z0], ready[middle, z0]
        ok = ok & np.isfinite(ready0)
        emerge_day = _whole_days(nominal, calendar.n_days)
        middle_clocks = Clocks(clocks.leaf_d[[middle]], clocks.mass_d[[middle]])
        moves = [
            self._move_day(middle_clocks, nominal, target)
            for target in (rule.pot_on_d_ref, rule.space_d_ref)
        ]
        return Timeline(
            sow_day,
            ok,
            exit_hour,
            _whole_days(exit_hour / 24.0, calendar.n_days),
            emerge_day,
            self._work(emerge_day + THIN_AFTER_D),
            self._work(emerge_day + COUNT_AFTER_D),
            moves[0],
            moves[1],
            _whole_days(np.ceil(grown0 - 1e-9), calendar.n_days),
            _whole_days(np.ceil(ready0 - 1e-9), calendar.n_days),
            ready,
            overgrown,
            fraction,
            on_time,
        )

    def _up(self, path: Route, sow_day: IntArray) -> Up:
        """Chamber exit, whether it can be met, emergence, final fraction and share on time."""
        key = (path.germ, path.grow, len(sow_day), int(sow_day[0]))
        if key in self._emerged:
            return self._emerged[key]
        sow_hour = sow_day.astype(np.float64) * 24.0 + SOWING_HOUR
        ok = np.ones(len(sow_day), dtype=bool)
        exit_hour = sow_hour.copy()
        if path.germ != path.grow:
            exit_hour, ok = self._exit(path.germ, sow_hour)
            exit_hour = np.minimum(exit_hour, float(self.progress(path.grow).shape[1] - 1))
        emerge_h = self._emergence(path, sow_hour, exit_hour)
        start = np.where(np.isfinite(emerge_h), emerge_h / 24.0, np.inf)
        nominal = start[self.middle, len(self.z) // 2]
        found = Up(
            exit_hour,
            ok,
            start,
            self._fraction(path, sow_hour, exit_hour),
            self._on_time(path, nominal * 24.0),
        )
        self._emerged[key] = found
        return found

    def _on_time(self, path: Route, emerge_hour: FloatArray) -> FloatArray:
        """Share of seeds up within the grace after the median, typical weather and pace."""
        emergence, progress = self.crop.emergence, self.progress(path.grow)[self.middle]
        last = len(progress) - 1.0
        start = np.where(np.isfinite(emerge_hour), np.minimum(emerge_hour, last), last)
        gained = _at(progress, np.minimum(start + ON_TIME_GRACE_H, last)) - _at(progress, start)
        ratio = 1.0 + gained / emergence.thermal_time_cd
        return np.asarray(ndtr(np.log(ratio) / emergence.sigma_seed))

    def _overgrown(
        self, end: End, rule: ReadyRule, grown: FloatArray, ready: FloatArray, pace: FloatArray
    ) -> FloatArray:
        """Day of being overgrown where it stands at the end, at least a day after ready."""
        if end.hold >= 0:
            return ready + max(self.crop.hold_d, 1)
        clocks = self.clocks(end.tone, rule)
        return np.maximum(day_reached(clocks, grown, rule.window_d_ref * pace), ready + 1.0)

    def light_frac(self, place: int, start: IntArray, stop: IntArray) -> FloatArray:
        """Usable share by the mean light of the growing days [start, stop)."""
        total = np.concatenate(([0.0], np.cumsum(self.climates[place].dli_mol_m2_d)))
        days = np.maximum(stop - start, 1)
        return np.asarray(light_usable_frac((total[start + days] - total[start]) / days))

    def _exit(self, germ: int, sow_hour: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
        """Hour at which trays are lifted out, and whether somebody is there in time."""
        crop = self.crop
        target = float(germination_target(crop.emergence))
        shows = hours_to(self.progress(germ)[self.middle], sow_hour, target)
        latest = shows + EXIT_GRACE_H
        if crop.vine:
            shows = np.maximum(shows, sow_hour + VINE_LEAST_H)
            latest = np.minimum(latest, sow_hour + VINE_MOST_H)
            latest = np.maximum(latest, shows)
            latest = np.minimum(latest, sow_hour + VINE_MOST_H)
        visit = self.calendar.next_visit(shows)
        ok = np.isfinite(visit) & (visit <= latest + 1e-9)
        return np.where(ok, visit, sow_hour), ok

    def _emergence(self, path: Route, sow_hour: FloatArray, exit_hour: FloatArray) -> FloatArray:
        """Hour of median emergence, shape (n_weather, n_pace, n)."""
        target = np.asarray(emergence_target(self.crop.emergence, z_pace=self.z))  # (n_pace,)
        grow = self.progress(path.grow)
        if path.germ == path.grow:
            start, goal = np.broadcast_arrays(sow_hour[None, :], target[:, None])
            return hours_to(grow, start, goal)
        germ = self.progress(path.germ)
        out = np.empty((grow.shape[0], len(target), len(sow_hour)))
        for w in range(grow.shape[0]):
            gained = _at(germ[w], exit_hour) - _at(germ[w], sow_hour)
            rest = target[:, None] - gained[None, :]
            inside = rest <= 0
            later = hours_to(grow[w], np.broadcast_to(exit_hour, rest.shape), np.maximum(rest, 0.0))
            within = hours_to(
                germ[w],
                np.broadcast_to(sow_hour, rest.shape),
                np.broadcast_to(target[:, None], rest.shape),
            )
            out[w] = np.where(inside, within, later)
        return out

    def _fraction(self, path: Route, sow_hour: FloatArray, exit_hour: FloatArray) -> FloatArray:
        """Final emergence against the best, by the mean of the mix over the first two days."""
        until = np.minimum(exit_hour, sow_hour + FRACTION_HOURS)
        end = sow_hour + FRACTION_HOURS
        grow = self.mix_sum(path.grow)
        last = grow.shape[1] - 1.0
        germ = self.mix_sum(path.germ)
        total = np.empty((grow.shape[0], len(sow_hour)))
        for w in range(grow.shape[0]):
            before = _at(germ[w], until) - _at(germ[w], sow_hour)
            after = _at(grow[w], np.minimum(end, last)) - _at(grow[w], np.minimum(until, last))
            total[w] = before + np.where(end > until, after, 0.0)
        return np.asarray(relative_fraction(total / FRACTION_HOURS, self.crop.emergence))

    def _move_day(self, clocks: Clocks, start: FloatArray, target_d: float | None) -> IntArray:
        """Return the work day on which plants are potted on or spaced; -1 without a target."""
        if target_d is None:
            return np.full(len(start), -1)
        reached = day_reached(clocks, start[None, :], target_d)[0]
        return self._work(_whole_days(np.floor(reached + 1e-9), self.calendar.n_days))

    def _work(self, day: IntArray) -> IntArray:
        """First work day at or after."""
        last = self.calendar.n_days - 1
        return self.calendar.next_work[np.clip(day, 0, last)]


def _at(cumulative: FloatArray, hour: FloatArray) -> FloatArray:
    """Value of a sum at fractional hours."""
    low = np.minimum(hour.astype(np.int64), len(cumulative) - 2)
    share = hour - low
    return np.asarray(cumulative[low] + (cumulative[low + 1] - cumulative[low]) * share)


def _whole_days(day: FloatArray, n_days: int) -> IntArray:
    """Whole days, never beyond the season's end."""
    bounded = np.where(np.isfinite(day), np.clip(day, 0, n_days), n_days)
    return np.floor(bounded).astype(np.int64)


def germinates_in(crop: Crop, climate: PlaceClimate) -> bool:
    """Whether the seed may germinate there: the place must have light if the seed needs it."""
    return crop.light_need.value != "light" or float(climate.dli_mol_m2_d.max()) > 0.0


GERMINATING = frozenset({PlaceKind.CHAMBER, PlaceKind.MAT, PlaceKind.MIST})
GROWING = frozenset({PlaceKind.BENCH, PlaceKind.WINDOWSILL, PlaceKind.LAMP_SHELF})


def routes_of(
    crop: Crop, places: tuple[Place, ...], climates: tuple[PlaceClimate, ...]
) -> list[Route]:
    """All routes through the house's places that a crop may take."""
    routes: list[Route] = []
    cold = [i for i, p in enumerate(places) if p.kind == PlaceKind.COLD_STORE]
    for g, grow in enumerate(places):
        growing = grow.kind in GROWING or (grow.kind == PlaceKind.YARD and crop.hardy)
        if not growing:
            continue
        germs = [g] if germinates_in(crop, climates[g]) else []
        germs += [
            i
            for i, p in enumerate(places)
            if p.kind in GERMINATING and germinates_in(crop, climates[i])
        ]
        tones = [g]
        for i, p in enumerate(places):
            outdoors = p.kind == PlaceKind.YARD
            if i == g or (outdoors and crop.tone_under_cover):
                continue
            if outdoors or p.kind == PlaceKind.BENCH:
                tones.append(i)
        ends = [End(t) for t in tones]
        if crop.hold_d > 0:
            ends += [End(t, h) for t in tones for h in cold]
        routes += [Route(a, g, tuple(ends)) for a in germs]
    return routes
