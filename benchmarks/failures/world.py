"""What becomes of a start in a season with failures planted, cell by cell.

Frozen together with `parameters` and `generator`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv

from benchmarks.failures.clocks import progress_from, rates, reached
from benchmarks.failures.generator import (
    N_DAYS,
    Event,
    Season,
    between,
    normal,
    stream,
    work_day,
)
from benchmarks.failures.parameters import CROPS, PLACES

Floats = NDArray[np.float64]

NEVER = 1e6


@dataclass(frozen=True, slots=True)
class Start:
    """A start of one crop from one lot: the sowing itself, or a resowing.

    Attributes
    ----------
    name : str
        Its name, which names its draws too.
    crop, lot : int
        Its crop and lot.
    sow_day, n_cells : int
        When, and how many cells.
    """

    name: str
    crop: int
    lot: int
    sow_day: int
    n_cells: int


@dataclass(frozen=True, slots=True, eq=False)
class Grown:
    """What became of a start.

    Attributes
    ----------
    up_day, gone_day : ndarray, shape (trays, cells)
        When a cell's seedling is up and when it is gone; far off for never, and for cells that
        the last tray lacks.
    usable : ndarray of bool, shape (trays, cells)
        Whether it would be handed over, if it is not gone.
    n_cells : ndarray of int, shape (trays,)
        Cells of each tray.
    ready_day, overgrown_day : float
        Its window.
    """

    up_day: Floats
    gone_day: Floats
    usable: NDArray[np.bool_]
    n_cells: NDArray[np.int64]
    ready_day: float
    overgrown_day: float

    def n_usable(self) -> int:
        """Plants there are when it is ready.

        Returns
        -------
        n : int
            Plants.
        """
        return int((self.usable & (self.gone_day > self.ready_day)).sum())

    def right(self, tray: int, day: int) -> NDArray[np.bool_]:
        """Cells of a tray with a live seedling at noon of a day.

        Parameters
        ----------
        tray : int
            Number from 1.
        day : int
            The day.

        Returns
        -------
        right : ndarray of bool
            One a cell.
        """
        n, at = int(self.n_cells[tray - 1]), day + 0.5
        up, gone = self.up_day[tray - 1, :n], self.gone_day[tray - 1, :n]
        return np.asarray((up <= at) & (gone > at))


class World:
    """A season, with the planted failures that are let in.

    Parameters
    ----------
    season : Season
        The season.
    planted : bool, default True
        Whether lots may be bad and weeks cold.
    until_day : int, default N_DAYS
        Cold weeks and faults that begin later stay out.
    """

    def __init__(self, season: Season, *, planted: bool = True, until_day: int = N_DAYS) -> None:
        self.season = season
        self.planted = planted
        self.events = tuple(
            each for each in season.events if planted and each.first_day <= until_day
        )
        self.temp_c = season.calm_c.copy()
        for event in self.events:
            days = slice(event.first_day, event.first_day + event.n_days)
            places = range(len(PLACES)) if event.place < 0 else [event.place]
            for place in places:
                part = self.temp_c[place, days]
                cold = part - event.size_c
                if event.kind == "heater fault":
                    cold = np.minimum(part, event.size_c)
                self.temp_c[place, days] = cold

    def grown(self, start: Start) -> Grown:
        """Tell what becomes of a start.

        Parameters
        ----------
        start : Start
            The start.

        Returns
        -------
        grown : Grown
            What becomes of it.
        """
        season, world = self.season, self.season.failures
        crop, lot = CROPS[start.crop], season.lots[start.lot]
        per_tray = crop.cells_per_tray
        n_trays = -(-start.n_cells // per_tray)
        n_cells = np.full(n_trays, per_tray, dtype=np.int64)
        n_cells[-1] = start.n_cells - (n_trays - 1) * per_tray
        of_crop = stream(season.seed, "crop", crop.name)
        crop_pace, crop_growth = normal(of_crop, 2)
        in_tray = between(of_crop, world.in_tray_low, world.in_tray_high)
        size = world.kept_mean * (1.0 - world.kept_mean) / world.kept_sd**2 - 1.0
        shape = world.kept_mean * size, (1.0 - world.kept_mean) * size
        kept = float(betaincinv(*shape, float(of_crop.random())))
        rng = stream(season.seed, "start", start.name)
        own_pace, own_growth = normal(rng, 2)
        p = lot.germination * in_tray * (lot.bad_share if self.planted else 1.0)
        weight = (1.0 - world.rho_tray) / world.rho_tray
        share = betaincinv(weight * p, weight * (1.0 - p), rng.random(n_trays))
        tray_pace = world.tray_pace_sd * normal(rng, n_trays)
        log_pace = (
            world.crop_pace_sd * crop_pace + world.sowing_pace_sd * own_pace + tray_pace[:, None]
        )
        goal = crop.other_thermal_time_cd * np.exp(
            log_pace + crop.sigma_seed * normal(rng, (n_trays, per_tray))
        )
        temp = self.temp_c[crop.place]
        clock = progress_from(rates(temp, crop.other_base_c, crop.optimum_c), start.sow_day + 0.5)
        up = reached(*clock, goal)
        up[rng.random((n_trays, per_tray)) >= share[:, None]] = NEVER
        up[np.arange(per_tray)[None, :] >= n_cells[:, None]] = NEVER
        gone = np.full(up.shape, NEVER)
        self._lose_trays(start, up, gone, rng)
        usable = rng.random(up.shape) < kept
        for event in self.events:
            if event.place in {-1, crop.place}:
                _strike(self.season, start, event, up, gone)
        alive = np.where(up < NEVER, up, np.nan)
        median = np.full(n_trays, NEVER)
        some = np.isfinite(alive).any(axis=1)
        median[some] = np.nanmedian(alive[some], axis=1)
        usable &= up <= median[:, None] + world.late_d
        growth = world.crop_growth_sd * crop_growth + world.sowing_growth_sd * own_growth
        middle = float(np.median(up[up < NEVER])) if some.any() else NEVER
        grow = rates(temp, crop.growth_base_c, crop.growth_optimum_c)
        days = crop.growth_d * (18.0 - crop.growth_base_c) * np.exp(growth)
        ready = NEVER
        if middle < N_DAYS:
            ready = float(reached(*progress_from(grow, middle), days))
        return Grown(up, gone, usable & (up < NEVER), n_cells, ready, ready + crop.window_d)

    def _lose_trays(self, start: Start, up: Floats, gone: Floats, rng: np.random.Generator) -> None:
        """Take whole trays, one by one and by outbreaks of damping-off; neither is planted."""
        world, place = self.season.failures, CROPS[start.crop].place
        for tray in range(up.shape[0]):
            draws = rng.random(4)
            here = up[tray] < NEVER
            if not here.any():
                continue
            middle = float(np.median(up[tray, here]))
            if middle >= N_DAYS:
                continue
            at = middle + 1.0 + 9.0 * draws[1]
            if draws[0] < world.tray_loss_frac:
                gone[tray] = np.minimum(gone[tray], at)
            week = int(middle) // 7
            out = stream(self.season.seed, "outbreak", place, week).random() < world.outbreak_frac
            if out and draws[2] < world.outbreak_trays:
                gone[tray] = np.minimum(gone[tray], middle + 3.0 + 5.0 * draws[3])

    def read_c(self, place: int, day: int) -> float:
        """Read a place's thermometer: the day's mean, with its error.

        Parameters
        ----------
        place, day : int
            Where and when.

        Returns
        -------
        temp_c : float
            What it shows [°C].
        """
        off = 0.3 * float(normal(stream(self.season.seed, "meter", place)))
        noise = 0.3 * float(normal(stream(self.season.seed, "reading", place, day)))
        return float(self.temp_c[place, day]) + off + noise

    def counted(
        self, grown: Grown, name: str, day: int, tray: int, n_cells: int = 0
    ) -> tuple[int, int]:
        """Let somebody count a tray at noon.

        Parameters
        ----------
        grown : Grown
            The start.
        name : str
            Its name.
        day : int
            The day.
        tray : int
            Number of the tray, from 1.
        n_cells : int, default 0
            Cells looked at; 0 is all.

        Returns
        -------
        n_right, n_seen : int
            What is written down: off by a few cells every other time, never below 0.
        """
        right = grown.right(tray, day)
        rng = stream(self.season.seed, "count", name, day, tray)
        draws = rng.random(2)
        if 0 < n_cells < right.size:
            right = right[np.argsort(rng.random(right.size), kind="stable")[:n_cells]]
        n, seen = int(right.sum()), int(right.size)
        if n and draws[0] < 0.5:
            z = float(normal(stream(self.season.seed, "miscount", name, day, tray)))
            n += round(z * (1.0 + 0.01 * seen))
        return int(np.clip(n, 0, seen)), seen


def _strike(season: Season, start: Start, event: Event, up: Floats, gone: Floats) -> None:
    """Let a cold week or a fault take seed in the mix and plants of a start."""
    world, crop = season.failures, CROPS[start.crop]
    first, last = float(event.first_day), float(event.first_day + event.n_days)
    if last <= start.sow_day + 0.5:
        return
    draws = stream(season.seed, "strike", start.name, event.first_day).random((2, *up.shape))
    lying = up > first
    if event.kind == "cold week":
        share = world.cold_rot_low + (world.cold_rot_high - world.cold_rot_low) * event.share
        rot, killed = share * (1.0 if crop.warm else 0.5), 0.0
    else:
        share = world.chill_low + (world.chill_high - world.chill_low) * event.share
        rot, killed = (0.5 * share, share) if crop.warm else (0.0, 0.0)
    if start.sow_day + 0.5 > last - 1.0:
        rot = 0.0  # hardly wet yet
    standing = ~lying & (draws[1] < killed)
    gone[standing] = np.minimum(gone[standing], last)
    up[lying & (draws[0] < rot)] = NEVER


def start_of(season: Season, index: int) -> Start:
    """Return a sowing as a start.

    Parameters
    ----------
    season : Season
        The season.
    index : int
        Which sowing.

    Returns
    -------
    start : Start
        The start.
    """
    each = season.sowings[index]
    return Start(each.name, each.crop, each.lot, each.sow_day, each.n_cells)


def noon_work_days(first: int, last: int) -> list[int]:
    """Work days from one day to another.

    Parameters
    ----------
    first, last : int
        Days, both included.

    Returns
    -------
    days : list of int
        Those on which somebody is at work.
    """
    return [day for day in range(first, last + 1) if work_day(day)]
