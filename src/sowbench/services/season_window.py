"""Which days the pages of the season show, and the windows before and after."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

WEEKS: Final = (4, 8, 16)
MOST_WEEKS: Final = 60
_BY_DAY_UP_TO_D: Final = 84


@dataclass(frozen=True, slots=True)
class Window:
    """Days shown, [from_date, until_date); ``weeks`` None is the whole season.

    ``earlier`` and ``later`` are the first days of the windows beside it, None where the plan has
    nothing there; ``by_week`` tells whether bars stand for weeks.
    """

    from_date: date
    until_date: date
    weeks: int | None
    earlier: date | None
    later: date | None

    @property
    def n_days(self) -> int:
        """Number of days."""
        return (self.until_date - self.from_date).days

    @property
    def last_date(self) -> date:
        """Last day shown."""
        return self.until_date - timedelta(days=1)

    @property
    def by_week(self) -> bool:
        """Whether a bar stands for a week."""
        return self.n_days > _BY_DAY_UP_TO_D


def window(
    first: date, last: date, from_date: date | None = None, weeks: int | None = None
) -> Window:
    """Choose the days to show.

    Parameters
    ----------
    first, last : date
        First and last day of the plan.
    from_date : date or None, default None
        First day asked for; the window begins on its Monday.
    weeks : int or None, default None
        Weeks asked for; None is the whole season.

    Returns
    -------
    window : Window
        Days within a year and some; a wish outside the plan is brought to its nearest end.
    """
    start = _monday(first)
    if weeks is None:
        n_days = min((last - start).days + 1, 7 * MOST_WEEKS)
        return Window(start, start + timedelta(days=max(n_days, 7)), None, None, None)
    weeks = min(max(weeks, 1), MOST_WEEKS)
    begin = _monday(min(max(from_date or first, start), last))
    until = begin + timedelta(weeks=weeks)
    earlier = None if begin <= start else max(begin - timedelta(weeks=weeks), start)
    return Window(begin, until, weeks, earlier, until if until <= last else None)


def _monday(day: date) -> date:
    """Return the Monday of a week."""
    return day - timedelta(days=day.weekday())
