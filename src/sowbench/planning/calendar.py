"""Days and hours of a season: work days, sowing days, and when somebody looks in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.records import Crew

VISIT_HOURS_WORK_DAY = (8, 12, 17)
VISIT_HOURS_OFF_DAY = (8,)
SOWING_HOUR = 12


@dataclass(frozen=True)
class Calendar:
    """The season's days, counted from its first.

    Attributes
    ----------
    first : date
        Day 0.
    is_work, is_sow : ndarray of bool, shape (n_days,)
        Whether hands are there, and whether sowing is done.
    next_work, last_work : ndarray of int, shape (n_days,)
        First work day at or after, last work day at or before; n_days or -1 if there is none.
    visit_hour : ndarray of int
        Hours since the first midnight at which somebody looks in, rising.
    minutes : ndarray, shape (n_days,)
        Minutes of the crew; infinite without a limit.
    """

    first: date
    is_work: NDArray[np.bool_]
    is_sow: NDArray[np.bool_]
    next_work: NDArray[np.int64]
    last_work: NDArray[np.int64]
    visit_hour: NDArray[np.int64]
    minutes: NDArray[np.float64]

    @property
    def attended(self) -> NDArray[np.bool_]:
        """Whether anybody is there on each day, shape (n_days,)."""
        there = np.zeros(self.n_days, dtype=bool)
        there[np.unique(self.visit_hour // 24)] = True
        return there

    @property
    def n_days(self) -> int:
        """Days of the season."""
        return len(self.is_work)

    def day(self, when: date) -> int:
        """Count days from the first."""
        return (when - self.first).days

    def date(self, day: int) -> date:
        """Date of a day."""
        return self.first + timedelta(days=int(day))

    def next_visit(self, hour: NDArray[np.float64]) -> NDArray[np.float64]:
        """First visit at or after an hour; inf if there is none."""
        at = np.searchsorted(self.visit_hour, np.where(np.isfinite(hour), hour, 1e12) - 1e-9)
        ok = at < len(self.visit_hour)
        if not len(self.visit_hour):
            return np.full(np.shape(hour), np.inf)
        return np.where(ok, self.visit_hour[np.minimum(at, len(self.visit_hour) - 1)], np.inf)


def make_calendar(crew: Crew, first: date, n_days: int) -> Calendar:
    """Lay the crew's week over the season."""
    dates = [first + timedelta(days=k) for k in range(n_days)]
    closed = np.array([d in crew.closed for d in dates])
    weekday = np.array([d.weekday() for d in dates])
    is_work = np.isin(weekday, crew.work_days) & ~closed
    is_sow = np.isin(weekday, crew.sow_days) & is_work
    days = np.arange(n_days)
    next_work = np.full(n_days, n_days)
    last_work = np.full(n_days, -1)
    work = days[is_work]
    if len(work):
        at = np.searchsorted(work, days)
        next_work = np.where(at < len(work), work[np.minimum(at, len(work) - 1)], n_days)
        at = np.searchsorted(work, days, side="right") - 1
        last_work = np.where(at >= 0, work[np.maximum(at, 0)], -1)
    visits: list[int] = []
    for k in range(n_days):
        hours: tuple[int, ...] = VISIT_HOURS_WORK_DAY if is_work[k] else ()
        if not is_work[k] and crew.weekend_minutes > 0:
            hours = VISIT_HOURS_OFF_DAY
        visits.extend(24 * k + h for h in hours)
    if crew.minutes_by_weekday is not None:
        on_work = np.array(crew.minutes_by_weekday)[weekday]
    elif crew.minutes_per_day is not None:
        on_work = np.full(n_days, crew.minutes_per_day)
    else:
        on_work = np.full(n_days, np.inf)
    off = crew.weekend_minutes if crew.weekend_minutes > 0 else np.inf  # nobody, so no jobs either
    minutes = np.where(is_work, on_work, np.where(np.isfinite(on_work), off, np.inf))
    return Calendar(
        first, is_work, is_sow, next_work, last_work, np.array(visits, dtype=np.int64), minutes
    )
