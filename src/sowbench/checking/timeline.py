"""When plants emerge, are grown, ready and overgrown: docs/model.md sections 3 and 4 once more.

Written on its own, from the words of the model. Arrays run over (start, weather node, pace node);
hours and days count from midnight of day 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sowbench.checking.season import SOW_HOUR, Season
from sowbench.domain.plan import Sowing
from sowbench.domain.records import Crop, Emergence, ReadyRule, StepKind

Floats = NDArray[np.float64]

GROWING: Final = frozenset({StepKind.GROW, StepKind.POT_ON, StepKind.SPACE, StepKind.GRAFT})
EXIT_WITHIN_H: Final = 24.0
VINE_EXIT_H: Final = (30.0, 48.0)
Z_FIRST_TWENTIETH: Final = -1.645
LATE_EMERGER_H: Final = 72.0
FATE_H: Final = 48.0


@dataclass(frozen=True, slots=True)
class Course:
    """Where a sowing stands.

    Parameters
    ----------
    germinate : str or None
        Place left at the first visit after the root shows; None if it germinates where it grows.
    grow : tuple of (str, int)
        Growing places with the day number from which it stands there.
    tone : str
        Place after it is grown.
    hold : bool
        Whether it goes into a cold store when it is ready.
    """

    germinate: str | None
    grow: tuple[tuple[str, int], ...]
    tone: str
    hold: bool


@dataclass(frozen=True, slots=True, eq=False)
class Timeline:
    """Days of many starts of one crop on one course.

    Parameters
    ----------
    due_h, exit_h : ndarray, shape (S,)
        Hour at which the first seeds show the root, and the visit at which the tray leaves; NaN
        where it stays.
    exit_ok : ndarray of bool, shape (S,)
        Whether somebody is there in time.
    emergence_h : ndarray, shape (S, W, Z)
        Median emergence [h].
    grown_day, ready_day, overgrown_day : ndarray, shape (S, W, Z)
        Fractional days; inf where never.
    on_time_frac, light_frac : ndarray, shape (S,)
        Shares of section 5 and section 4.
    warm_frac : ndarray, shape (S, W)
        Final fraction relative to the best temperature.
    pot_on_day, space_day : ndarray, shape (S,)
        Fractional days at w = 0, z = 0; NaN where the rule has none.
    """

    due_h: Floats
    exit_h: Floats
    exit_ok: NDArray[np.bool_]
    emergence_h: Floats
    grown_day: Floats
    ready_day: Floats
    overgrown_day: Floats
    on_time_frac: Floats
    light_frac: Floats
    warm_frac: Floats
    pot_on_day: Floats
    space_day: Floats

    @property
    def middle(self) -> tuple[int, int]:
        """Return the index of w = 0, z = 0."""
        return self.ready_day.shape[1] // 2, self.ready_day.shape[2] // 2


def thermal_rate(temp_c: Floats, crop: Emergence) -> Floats:
    """Thermal time gathered in a day [°C d]."""
    top = crop.optimum_low_c - crop.base_c
    rate = np.zeros_like(temp_c)
    rising = (temp_c > crop.base_c) & (temp_c < crop.optimum_low_c)
    rate[rising] = temp_c[rising] - crop.base_c
    rate[(temp_c >= crop.optimum_low_c) & (temp_c <= crop.optimum_high_c)] = top
    falling = (temp_c > crop.optimum_high_c) & (temp_c < crop.ceiling_c)
    span = crop.ceiling_c - crop.optimum_high_c
    rate[falling] = top * (crop.ceiling_c - temp_c[falling]) / span
    return rate


def growth_rate(temp_c: Floats, crop: Crop, temp_ref_c: float) -> Floats:
    """Reference days gathered in a day at a temperature."""
    g = crop.growth
    best = g.optimum_c - g.base_c
    rate = np.clip(temp_c - g.base_c, 0.0, best)
    falling = temp_c > g.optimum_c
    span = g.ceiling_c - g.optimum_c
    left = (g.ceiling_c - temp_c[falling]) / span if span > 0 else np.zeros(falling.sum())
    rate[falling] = best * np.clip(left, 0.0, 1.0)
    return rate / (temp_ref_c - g.base_c)


def light_pace(dli_mol_m2_d: Floats, dli_ref_mol_m2_d: float) -> Floats:
    """Factor of light on the mass clock."""
    x = dli_mol_m2_d / dli_ref_mol_m2_d
    return np.minimum(1.0, x * 1.5 / (x + 0.5))


def light_share(mean_dli_mol_m2_d: Floats) -> Floats:
    """Usable share by mean light: 1 from 8 up, 0.7 from 3 down."""
    return np.clip(0.7 + 0.3 * (mean_dli_mol_m2_d - 3.0) / 5.0, 0.7, 1.0)


def relative_final_fraction(temp_c: Floats, crop: Emergence) -> Floats:
    """Final fraction relative to that at the best temperature."""
    return np.minimum(_alive(temp_c, crop) / _best_alive(crop), 1.0)


def _alive(temp_c: Floats, crop: Emergence) -> Floats:
    """Share of seeds that neither cold nor heat stops."""
    cold = ndtr((temp_c - crop.cold_c) / crop.cold_sd_c)
    return np.asarray(cold * ndtr((crop.hot_c - temp_c) / crop.hot_sd_c))


@lru_cache(maxsize=256)
def _best_alive(crop: Emergence) -> float:
    """Largest such share at any temperature."""
    return max(float(_alive(np.linspace(-10.0, 50.0, 6001), crop).max()), 1e-12)


def summed(values: Floats) -> Floats:
    """Running sum along the last axis, from 0."""
    out = np.zeros((*values.shape[:-1], values.shape[-1] + 1))
    np.cumsum(values, axis=-1, out=out[..., 1:])
    return out


def at(total: Floats, moment: Floats) -> Floats:
    """Read a running sum at fractional moments."""
    return np.asarray(np.interp(moment, np.arange(total.size), total))


def reach(total: Floats, goal: Floats) -> Floats:
    """First fractional moment at which a running sum reaches a goal; inf if never."""
    found = np.searchsorted(total, goal - 1e-9, side="left")
    inside = (found < total.size) & np.isfinite(goal)
    right = np.clip(found, 1, total.size - 1)
    low, high = total[right - 1], total[right]
    step = np.where(high > low, high - low, 1.0)
    moment = right - 1 + np.clip((goal - low) / step, 0.0, 1.0)
    return np.where(inside, np.where(found == 0, 0.0, moment), np.inf)


class Pace:
    """Running sums of a crop's clocks in every place, made when they are first asked for."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self._progress: dict[tuple[str, str], Floats] = {}
        self._warmth: dict[str, Floats] = {}
        self._clocks: dict[tuple[str, str, float, float], tuple[Floats, Floats]] = {}

    def progress(self, place: str, crop: Crop) -> Floats:
        """Thermal time of the mix, shape (W, hours + 1)."""
        key = (place, crop.id)
        if key not in self._progress:
            temp = self.season.climate(place).temp_mix_c
            self._progress[key] = summed(thermal_rate(temp, crop.emergence) / 24.0)
        return self._progress[key]

    def warmth(self, place: str) -> Floats:
        """Sum of the mix's temperature, shape (W, hours + 1)."""
        if place not in self._warmth:
            self._warmth[place] = summed(self.season.climate(place).temp_mix_c)
        return self._warmth[place]

    def clocks(self, place: str, crop: Crop, rule: ReadyRule) -> tuple[Floats, Floats]:
        """Leaf and mass clock of each day, not summed, shape (W, days)."""
        key = (place, crop.id, rule.temp_ref_c, rule.dli_ref_mol_m2_d)
        if key not in self._clocks:
            climate = self.season.climate(place)
            leaf = growth_rate(climate.temp_day_mean_c, crop, rule.temp_ref_c)
            mass = leaf * light_pace(climate.dli_mol_m2_d, rule.dli_ref_mol_m2_d)
            self._clocks[key] = (leaf, mass)
        return self._clocks[key]

    def path_clocks(
        self, path: Sequence[tuple[str, int]], crop: Crop, rule: ReadyRule
    ) -> tuple[Floats, Floats]:
        """Running sums of both clocks along places, shape (W, days + 1)."""
        leaf, mass = (each.copy() for each in self.clocks(path[0][0], crop, rule))
        for place, from_day in path[1:]:
            next_leaf, next_mass = self.clocks(place, crop, rule)
            leaf[:, max(from_day, 0) :] = next_leaf[:, max(from_day, 0) :]
            mass[:, max(from_day, 0) :] = next_mass[:, max(from_day, 0) :]
        return summed(leaf), summed(mass)


def chamber_exit(
    season: Season, pace: Pace, crop: Crop, place: str, sow_h: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Hour due, hour of the visit, and whether that is in time."""
    total = pace.progress(place, crop)[season.w_nodes.size // 2]
    em = crop.emergence
    wanted = em.germination_share * em.thermal_time_cd
    wanted *= np.exp(Z_FIRST_TWENTIETH * em.sigma_seed)
    due = reach(total, at(total, sow_h) + wanted)
    if crop.vine:
        due = np.maximum(due, sow_h + VINE_EXIT_H[0])
    left = np.array([season.first_visit(each) if np.isfinite(each) else np.inf for each in due])
    with np.errstate(invalid="ignore"):
        good = np.isfinite(left) & (left - due <= EXIT_WITHIN_H)
    if crop.vine:
        good &= left - sow_h <= VINE_EXIT_H[1]
    return due, left, good


def _emergence(
    season: Season, pace: Pace, crop: Crop, course: Course, sow_h: Floats, exit_h: Floats
) -> tuple[Floats, Floats, Floats]:
    """Median emergence [h], share on time and relative final fraction."""
    em = crop.emergence
    grow = course.grow[0][0]
    first = course.germinate or grow
    inside, outside = pace.progress(first, crop), pace.progress(grow, crop)
    warm_in, warm_out = pace.warmth(first), pace.warmth(grow)
    goal = em.thermal_time_cd * np.exp(em.sigma_pace * season.z_nodes)
    n_w = season.w_nodes.size
    out = np.empty((sow_h.size, n_w, season.z_nodes.size))
    warm = np.empty((sow_h.size, n_w))
    leaves = np.where(np.isfinite(exit_h), exit_h, np.inf)
    stays = np.minimum(leaves, inside.shape[1] - 1)
    for w in range(n_w):
        start = at(inside[w], sow_h)
        early = reach(inside[w], start[:, None] + goal)
        done = at(inside[w], stays) - start
        later = reach(outside[w], (at(outside[w], stays) - done)[:, None] + goal)
        out[:, w] = np.where(early <= leaves[:, None], early, later)
        end = sow_h + FATE_H
        turn = np.minimum(leaves, end)
        gained = at(warm_in[w], turn) - at(warm_in[w], sow_h)
        gained += at(warm_out[w], end) - at(warm_out[w], turn)
        warm[:, w] = relative_final_fraction(gained / FATE_H, em)
    w, z = n_w // 2, season.z_nodes.size // 2
    median = np.where(np.isfinite(out[:, w, z]), out[:, w, z], 0.0)

    def gathered(hour: Floats) -> Floats:
        turn = np.minimum(leaves, hour)
        return at(inside[w], turn) + at(outside[w], hour) - at(outside[w], turn)

    grace = gathered(median + LATE_EMERGER_H) - gathered(median)
    spread = max(em.sigma_seed, 1e-9)
    on_time = ndtr(np.log1p(grace / em.thermal_time_cd) / spread)
    return out, np.asarray(on_time), warm


def _both(clocks: tuple[Floats, Floats], w: int, start: Floats, gain: Floats) -> Floats:
    """First day on which both clocks have gained so much since a start."""
    day = np.full(np.broadcast(start, gain).shape, -np.inf)
    known = np.isfinite(start)
    begin = np.where(known, start, 0.0)
    for total in clocks:
        day = np.maximum(day, reach(total[w], at(total[w], begin) + gain))
    return np.where(known, np.maximum(day, begin), np.inf)


def timeline(
    season: Season, pace: Pace, crop: Crop, rule: ReadyRule, course: Course, sow_h: Floats
) -> Timeline:
    """Recompute the days of starts of a crop on a course.

    Parameters
    ----------
    season : Season
        Days and climate.
    pace : Pace
        Running sums by place.
    crop : Crop
        The crop.
    rule : ReadyRule
        What ready means.
    course : Course
        Places.
    sow_h : ndarray, shape (S,)
        Hours of sowing [h].

    Returns
    -------
    days : Timeline
        All days and shares.
    """
    n, n_w, n_z = sow_h.size, season.w_nodes.size, season.z_nodes.size
    due = exit_h = np.full(n, np.nan)
    exit_ok = np.ones(n, dtype=bool)
    if course.germinate is not None:
        due, exit_h, exit_ok = chamber_exit(season, pace, crop, course.germinate, sow_h)
    emergence, on_time, warm = _emergence(season, pace, crop, course, sow_h, exit_h)
    growing = pace.path_clocks(course.grow, crop, rule)
    slower = np.exp(rule.sigma_growth * season.z_nodes)
    grown = np.empty((n, n_w, n_z))
    for w in range(n_w):
        grown[:, w] = _both(growing, w, emergence[:, w] / 24.0, rule.days_ref * slower)
    over = overgrown_days(season, pace, crop, rule, course, grown)
    w, z = n_w // 2, n_z // 2
    start = emergence[:, w, z] / 24.0
    none = np.full(n, np.nan)
    pot_on = none if rule.pot_on_d_ref is None else _both(
        growing, w, start, np.full(n, rule.pot_on_d_ref)
    )  # fmt: skip
    spaced = none if rule.space_d_ref is None else _both(
        growing, w, start, np.full(n, rule.space_d_ref)
    )  # fmt: skip
    light = _mean_light(season, course, start, grown[:, w, z])
    return Timeline(
        due, exit_h, exit_ok, emergence, grown, grown + rule.tone_d, over, on_time,
        light_share(light), warm, pot_on, spaced,
    )  # fmt: skip


def overgrown_days(
    season: Season, pace: Pace, crop: Crop, rule: ReadyRule, course: Course, grown: Floats
) -> Floats:
    """Fractional days on which plants are overgrown, shape (S, W, Z)."""
    ready = grown + rule.tone_d
    if course.hold:
        return np.asarray(np.maximum(ready + crop.hold_d, ready + 1.0))
    toning = pace.path_clocks([(course.tone, 0)], crop, rule)
    slower = np.exp(rule.sigma_growth * season.z_nodes)
    over = np.empty_like(grown)
    for w in range(season.w_nodes.size):
        over[:, w] = _both(toning, w, grown[:, w], rule.window_d_ref * slower)
    return np.asarray(np.maximum(over, ready + 1.0))


def on_other_place(
    season: Season, pace: Pace, crop: Crop, rule: ReadyRule, course: Course, line: Timeline
) -> Timeline:
    """Return the same growing with another toning or holding place."""
    over = overgrown_days(season, pace, crop, rule, course, line.grown_day)
    return replace(line, overgrown_day=over)


def _mean_light(season: Season, course: Course, start: Floats, grown: Floats) -> Floats:
    """Mean daily light over the days touched from emergence to grown [mol m-2 d-1]."""
    light = season.climate(course.grow[0][0]).dli_mol_m2_d.copy()
    for place, from_day in course.grow[1:]:
        light[max(from_day, 0) :] = season.climate(place).dli_mol_m2_d[max(from_day, 0) :]
    total = summed(light)
    known = np.isfinite(start) & np.isfinite(grown)
    first = np.floor(np.where(known, start, 0.0))
    last = np.maximum(np.ceil(np.where(known, grown, 1.0)), first + 1)
    return np.where(known, (at(total, last) - at(total, first)) / (last - first), 0.0)


def course_of(season: Season, sowing: Sowing) -> Course | None:
    """Read the course of a sowing from its steps; None if a place is unknown."""
    steps = [each for each in sowing.steps if each.kind is not StepKind.PREPARE]
    standing = season.standings.get(sowing.sowing)
    if any(each.place not in season.places for each in steps):
        return None
    if not steps:
        if standing is None or standing.place not in season.places:
            return None
        return Course(None, ((standing.place, 0),), standing.place, hold=False)
    growing = [each for each in steps if each.kind in GROWING]
    germinating = next((each for each in steps if each.kind is StepKind.GERMINATE), None)
    path = [(each.place, season.index(each.from_date)) for each in growing]
    if standing is not None and standing.place in season.places:
        path.insert(0, (standing.place, 0))
        germinating = None
    if not path:
        path = [((germinating or steps[0]).place, 0)]
    toning = next((each for each in steps if each.kind is StepKind.TONE), None)
    germinate = None
    if germinating is not None and germinating.place != path[0][0]:
        germinate = germinating.place
    return Course(
        germinate,
        tuple(path),
        toning.place if toning is not None else path[-1][0],
        any(each.kind is StepKind.HOLD for each in steps),
    )


class Timelines:
    """Timelines of the plan's sowings, made when they are first asked for."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self.pace = Pace(season)
        self._made: dict[str, Timeline | None] = {}

    def of(self, sowing: Sowing) -> Timeline | None:
        """Return the timeline of a sowing; None where the plan leaves it undefined."""
        if sowing.sowing not in self._made:
            self._made[sowing.sowing] = self._make(sowing)
        return self._made[sowing.sowing]

    def _make(self, sowing: Sowing) -> Timeline | None:
        season = self.season
        crop = season.catalog.crops.get(sowing.crop)
        rule = season.rule_of(sowing)
        course = course_of(season, sowing)
        if crop is None or rule is None or course is None:
            return None
        hour = np.array([season.index(sowing.sow_date) * 24.0 + SOW_HOUR])
        return timeline(season, self.pace, crop, rule, course, hour)


def pace_at(days: Floats, z_nodes: Floats, day: float) -> Floats:
    """Slowest pace z of each weather node at which something is reached by a day, shape (W,)."""
    out = np.empty(days.shape[0])
    for w, row in enumerate(days):
        finite = np.isfinite(row)
        n = int(finite.sum())
        if n < 2:
            out[w] = z_nodes[0] if n and row[0] <= day else -np.inf
            continue
        x, z = np.maximum.accumulate(row[:n]), z_nodes[:n]
        right = int(np.clip(np.searchsorted(x, day, side="right"), 1, n - 1))
        rise = x[right] - x[right - 1]
        if rise <= 0:
            out[w] = np.inf if day >= x[right] else -np.inf
        else:
            out[w] = z[right - 1] + (day - x[right - 1]) / rise * (z[right] - z[right - 1])
        if n < row.size:
            out[w] = min(out[w], z_nodes[n])
    return out


def quantile_day(days: Floats, season: Season, share: float) -> float:
    """Fractional day by which a share of the chance is reached; inf if never."""
    low, high = 0.0, float(season.n_days)

    def chance(day: float) -> float:
        return float(ndtr(pace_at(days, season.z_nodes, day)) @ season.w_weights)

    if chance(high) < share:
        return np.inf
    while high - low > 1e-4:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if chance(middle) >= share else (middle, high)
    return high
