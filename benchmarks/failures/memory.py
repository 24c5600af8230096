"""What the house of a season with failures planted has learned: paces, and what lots come to."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from benchmarks.failures.clocks import planned_on_time
from benchmarks.failures.generator import N_DAYS, Season, date_of, made_season
from benchmarks.failures.house import House, Paces
from benchmarks.failures.parameters import CROPS, PLACES
from benchmarks.failures.world import Grown, World, start_of
from sowbench.forecasting import ForecastParameters, forecast_sowings
from sowbench.forecasting.learning import Learned, learn
from sowbench.forecasting.learning_records import (
    GRADE,
    PACE_EMERGENCE,
    PACE_READY,
    FinishedSowing,
    Kept,
    Reading,
)

# Seeds of last year's seasons are those of this year's and so many more.
LAST_YEAR = 50_000
# Sowings of which counts say less tell nothing of their lot (a rule parameter).
SHARE_SD_MOST = 0.06
# The counts alone are to speak: pace all but unknown, the lot's test not believed.
_UNKNOWN = ForecastParameters(odd_lot_frac=0.99)
_UNKNOWN_PACE = 1.0
_SPAN80 = 2.563  # of a normal, from its 10 to its 90 % point, in standard deviations
_READY_SPAN_D = 3.0  # between a look at which it is not ready and one at which it is


@dataclass(frozen=True, slots=True)
class Told:
    """What a sowing's counts alone say of it.

    Attributes
    ----------
    lag, lag_sd : float
        Of its pace.
    share_frac, share_sd_frac : float
        Share of cells right in the end.
    """

    lag: float
    lag_sd: float
    share_frac: float
    share_sd_frac: float


@dataclass(frozen=True, slots=True)
class Ended:
    """How a sowing ends.

    Attributes
    ----------
    day : int
        Day on which it is over.
    ready_day : float
        Day on which it was ready; looked at every few days.
    n_kept, n_of : int
        Plants fit to hand over, of the cells that were right in the end.
    n_trays : int
        Trays that they stood in.
    """

    day: int
    ready_day: float
    n_kept: int
    n_of: int
    n_trays: int


def told_by_counts(
    house: House, some: list[int], today: int, *, learned: bool = False
) -> dict[int, Told]:
    """Tell what counts alone say of sowings.

    Parameters
    ----------
    house : House
        The house.
    some : list of int
        Which sowings; those without counts are left out.
    today : int
        Temperatures are measured until then.
    learned : bool, default False
        Whether the learned pace is believed; else next to nothing is known of it, and the lag is
        against the handbook's.

    Returns
    -------
    told : dict of int to Told
        By sowing.
    """
    counted = [index for index in some if len(house.entries[index]) > 1]
    sowings = [house.open_sowing(index, today, learned=learned) for index in counted]
    vague = [replace(each, pace=replace(each.pace, sigma_pace=_UNKNOWN_PACE)) for each in sowings]
    found = forecast_sowings(vague, (), _UNKNOWN).sowings
    return {
        index: Told(
            each.lag[1],
            (each.lag[2] - each.lag[0]) / _SPAN80,
            each.right_frac[1],
            (each.right_frac[2] - each.right_frac[0]) / _SPAN80,
        )
        for index, each in zip(counted, found, strict=True)
    }


class Memory:
    """What a house knows of earlier sowings.

    Parameters
    ----------
    house : House
        The house.
    before : tuple of FinishedSowing, default ()
        Sowings of earlier seasons.
    """

    def __init__(self, house: House, before: tuple[FinishedSowing, ...] = ()) -> None:
        self.house, self.before = house, before
        self._finished: dict[int, FinishedSowing] = {}

    def update(self, ended: dict[int, Ended], today: int) -> None:
        """Learn from what is over, and from what is counted of lots.

        Parameters
        ----------
        ended : dict of int to Ended
            How sowings end.
        today : int
            Today.
        """
        house = self.house
        started = [i for i, each in enumerate(house.season.sowings) if each.sow_day < today]
        told = told_by_counts(house, started, today)
        for index, end in ended.items():
            if end.day < today and index not in self._finished:
                self._finished[index] = finished_sowing(house, index, told.get(index), end)
        learned = learn((*self.before, *self._finished.values()))
        house.learn(paces(learned, house.season), {})
        known = told_by_counts(house, started, today, learned=True)
        house.learn(paces(learned, house.season), lot_tests(house, known))


def finished_sowing(
    house: House, index: int, told: Told | None, end: Ended, years_ago: int = 0
) -> FinishedSowing:
    """Return a sowing that is over, as learning takes it.

    Parameters
    ----------
    house : House
        The house.
    index : int
        Which sowing.
    told : Told or None
        What its counts say.
    end : Ended
        How it ended.
    years_ago : int, default 0
        How many years ago.

    Returns
    -------
    finished : FinishedSowing
        With what it says of both paces, and of grading.
    """
    season = house.season
    sowing, crop = season.sowings[index], CROPS[season.sowings[index].crop]
    shift = timedelta(weeks=52 * years_ago)
    emergence = growth = None
    if told is not None and told.lag_sd > 0.0:
        emergence = Reading(told.lag, told.lag_sd**2)
        up = house.handbook_up(index, told.lag)
        if up < end.ready_day < N_DAYS:
            days = house.growth_days(index, up, end.ready_day)
            error = _READY_SPAN_D**2 / 12.0 / max(days, 1.0) ** 2
            error += (told.lag_sd * (up - sowing.sow_day) / max(days, 1.0)) ** 2
            growth = Reading(float(np.log(days / crop.growth_d)), error)

    believed = season.believed
    kept = believed.kept_frac * planned_on_time(crop, season.believed_c, sowing.sow_day, believed)
    graded = Kept(end.n_kept, end.n_of, kept, end.n_trays) if end.n_of else None

    def when(of: int) -> date:
        return date_of(of) - shift

    return FinishedSowing(
        f"{sowing.name} {years_ago}", crop.name, "warm" if crop.warm else "cool", "tray",
        PLACES[crop.place].name, when(sowing.sow_day), when(max(end.day, sowing.sow_day)),
        crop.sigma_pace, season.believed.sigma_growth, emergence, growth,
        None, None, graded,
    )  # fmt: skip


def paces(learned: Learned, season: Season) -> dict[int, Paces]:
    """Return what to use of both paces and of grading, by crop.

    Parameters
    ----------
    learned : Learned
        What was learned.
    season : Season
        For what the house believes without it.

    Returns
    -------
    paces : dict of int to Paces
        By crop.
    """
    found = {}
    for at, crop in enumerate(CROPS):
        kin, place = "warm" if crop.warm else "cool", PLACES[crop.place].name
        up, grow, kept = (
            learned.applied(
                what, crop.name, kin, sigma, container="tray", place=place, season=date_of(0).year
            )
            for what, sigma in (
                (PACE_EMERGENCE, crop.sigma_pace),
                (PACE_READY, season.believed.sigma_growth),
                (GRADE, None),
            )
        )
        found[at] = Paces(up.multiplier, up.sigma, grow.multiplier, grow.sigma, kept.multiplier)
    return found


def lot_tests(house: House, told: dict[int, Told]) -> dict[int, list[tuple[int, float, float]]]:
    """Return what each lot came to in each of its sowings.

    Parameters
    ----------
    house : House
        The house.
    told : dict of int to Told
        What counts say, by sowing.

    Returns
    -------
    of_lot : dict of int to list of tuple
        By lot: sowing, germination that its counts speak for, and its standard deviation.
    """
    of_lot: dict[int, list[tuple[int, float, float]]] = {}
    share = house.season.believed.emergence_frac
    for index, each in told.items():
        lot = house.season.sowings[index].lot
        if each.share_sd_frac > SHARE_SD_MOST:
            continue
        of_lot.setdefault(lot, []).append(
            (index, min(each.share_frac / share, 1.0), each.share_sd_frac / share)
        )
    return of_lot


def last_year(season: Season) -> tuple[FinishedSowing, ...]:
    """Return the finished sowings of a season like this one, a year ago.

    Parameters
    ----------
    season : Season
        This year's.

    Returns
    -------
    finished : tuple of FinishedSowing
        Of another seed, with the counts that people made of their own accord.
    """
    ago = made_season(season.seed + LAST_YEAR, len(season.sowings), season.failures)
    world = World(ago)
    house = House(ago, world)
    grown = [world.grown(start_of(ago, i)) for i in range(len(ago.sowings))]
    for each in ago.rounds:
        name = ago.sowings[each.sowing].name
        results = [
            world.counted(grown[each.sowing], name, each.day, tray, each.n_cells)
            for tray in each.trays
        ]
        house.write_count(each.sowing, each.day, each.trays, results)
    every = list(range(len(ago.sowings)))
    told = told_by_counts(house, every, N_DAYS)
    return tuple(
        finished_sowing(house, i, told.get(i), end_of(ago, i, grown[i]), years_ago=1) for i in every
    )


def end_of(season: Season, index: int, grown: Grown) -> Ended:
    """Tell how a sowing ends.

    Parameters
    ----------
    season : Season
        The season.
    index : int
        Which sowing.
    grown : Grown
        What became of it.

    Returns
    -------
    end : Ended
        It is over once it is handed over, or when its order's last day is past.
    """
    sowing = season.sowings[index]
    ready = min(grown.ready_day, float(N_DAYS))
    day = min(max(int(ready) + 1, sowing.earliest_day), max(sowing.latest_day, sowing.sow_day + 1))
    here = (grown.up_day <= ready) & (grown.gone_day > ready)
    kept = int((grown.usable & here).sum())
    return Ended(day, grown.ready_day, kept, int(here.sum()), sowing.n_trays)
