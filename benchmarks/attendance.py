"""What a plan asks of the crew: days on which someone must be there, lots a sowing day, hands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.script import Sown, script_of
from sowbench.domain.plan import Plan
from sowbench.planning.season import Season


@dataclass(frozen=True, slots=True)
class Attendance:
    """Shares of the sowings and loads of the days, as planned.

    Attributes
    ----------
    lift_frac, water_frac, deliver_frac, all_frac : float
        Share of sowings whose chamber exit, whose every day of watering, and whose every handing
        over falls on a day someone is there; and of those for which all three do.
    lots_per_sowing_day : float
        Different lots on an average sowing day: changes of lot, the first of a day counted.
    sowings_per_sowing_day : float
        Sowings on it.
    n_sowing_days : int
        Days on which anything is sown.
    over_minutes : float
        Minutes of work beyond the hands there are, summed over the days [min].
    """

    lift_frac: float
    water_frac: float
    deliver_frac: float
    all_frac: float
    lots_per_sowing_day: float
    sowings_per_sowing_day: float
    n_sowing_days: int
    over_minutes: float


def attendance(plan: Plan, season: Season) -> Attendance:
    """Measure a plan against the crew's days.

    Parameters
    ----------
    plan : Plan
        Any method's plan of the season.
    season : Season
        The season.

    Returns
    -------
    attendance : Attendance
        Its shares and loads; shares of nothing are 1.
    """
    script = script_of(plan, season)
    there = season.calendar.attended
    lift = np.array([s.chamber < 0 or bool(there[s.exit_day]) for s in script])
    water = np.array([_watered(s, season) for s in script])
    deliver = np.array([all(there[g.day] for g in s.given) for s in script])
    pairs = {(s.sow_day, s.lot) for s in script}
    days = {s.sow_day for s in script}
    minutes = np.zeros(season.calendar.n_days)
    for task in plan.tasks:
        minutes[season.calendar.day(task.date)] += task.minutes
    over = np.maximum(0.0, minutes - season.calendar.minutes - 1e-6)
    n_days = max(1, len(days))
    return Attendance(
        _mean(lift),
        _mean(water),
        _mean(deliver),
        _mean(lift & water & deliver),
        len(pairs) / n_days,
        len(script) / n_days,
        len(days),
        float(over.sum()),
    )


def _watered(sown: Sown, season: Season) -> bool:
    """Whether someone is there on every day on which the sowing stands where it must be watered."""
    there = season.calendar.attended
    return all(
        bool(there[stay.start : stay.stop].all())
        for stay in sown.stays
        if season.is_watered[stay.place] and stay.stop > stay.start
    )


def _mean(values: NDArray[np.bool_]) -> float:
    """Share of true values; 1 of none."""
    return float(values.mean()) if len(values) else 1.0
