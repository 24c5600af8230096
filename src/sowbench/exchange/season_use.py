"""How full the season is: use of places and hands by day, and what is true of it in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from numpy.typing import NDArray

# A day counts as full from here, so that the last odd tray does not hide a full bench (ours).
FULL_FRAC: Final = 0.98
_OVER_FRAC: Final = 1.001


@dataclass(frozen=True, slots=True)
class DailyUse:
    """What is used of a place, or of the hands, on each day from a first one.

    ``capacity`` has a value for each day, or is None where there is no limit; ``unit`` is shown
    with it. ``hands`` marks the crew, of whom one speaks otherwise than of a bench. ``step_d`` is
    the number of days that each value stands for: 7 after `by_week`.
    """

    name: str
    unit: str
    first_date: date
    use: Sequence[float] | NDArray[Any]
    capacity: Sequence[float] | NDArray[Any] | None
    hands: bool = False
    step_d: int = 1


@dataclass(frozen=True, slots=True)
class Spell:
    """Days on end, [from_date, to_date), of one state."""

    from_date: date
    to_date: date

    @property
    def n_days(self) -> int:
        """Number of days."""
        return (self.to_date - self.from_date).days


def by_week(daily: DailyUse) -> DailyUse:
    """Sum up days by weeks, from Monday on: of a place the fullest day, of the hands all minutes.

    Parameters
    ----------
    daily : DailyUse
        Use by day.

    Returns
    -------
    weekly : DailyUse
        Use by week; a week that is cut off at either end has the days that there are.
    """
    before = daily.first_date.weekday()
    use, capacity = list(daily.use), None if daily.capacity is None else list(daily.capacity)
    starts = [0, *range(7 - before, len(use), 7)] if use else []
    weeks = [range(start, stop) for start, stop in pairwise([*starts, len(use)])]
    if daily.hands:
        use_by_week = [sum(use[at] for at in week) for week in weeks]
        room = None if capacity is None else [sum(capacity[at] for at in week) for week in weeks]
    else:
        fullest = [
            max(week, key=lambda at: (use[at] - capacity[at] if capacity else 0.0, use[at]))
            for week in weeks
        ]
        use_by_week = [use[at] for at in fullest]
        room = None if capacity is None else [capacity[at] for at in fullest]
    monday = daily.first_date - timedelta(days=before)
    return DailyUse(daily.name, daily.unit, monday, use_by_week, room, daily.hands, step_d=7)


def day_states(daily: DailyUse) -> list[str]:
    """Tell for each day whether there is room, no room, or too much.

    Parameters
    ----------
    daily : DailyUse
        Use by day.

    Returns
    -------
    states : list of str
        "room", "full" or "over" by day; a day without use is "room".

    Raises
    ------
    ValueError
        If use and capacity are not equally long.
    """
    if daily.capacity is None:
        return ["room"] * len(daily.use)
    if len(daily.capacity) != len(daily.use):
        raise ValueError(
            f"use and capacity of {daily.name!r} must have a value for each day; got"
            f" {len(daily.use)} and {len(daily.capacity)}."
        )
    states = []
    for use, capacity in zip(daily.use, daily.capacity, strict=True):
        if use > capacity * _OVER_FRAC + 1e-9:
            states.append("over")
        elif use > 0 and use >= capacity * FULL_FRAC and not _shut(daily, len(states)):
            states.append("full")
        else:
            states.append("room")
    return states


def full_spells(daily: DailyUse) -> list[Spell]:
    """List the spells without room, closed days of the crew not counted as an end.

    Parameters
    ----------
    daily : DailyUse
        Use by day.

    Returns
    -------
    spells : list of Spell
        In order of time.
    """
    busy = [
        at for at, state in enumerate(day_states(daily)) if state != "room" and not _shut(daily, at)
    ]
    spells: list[Spell] = []
    for at in busy:
        day = daily.first_date + timedelta(days=at)
        if spells and all(
            _shut(daily, between)
            for between in range((spells[-1].to_date - daily.first_date).days, at)
        ):
            spells[-1] = Spell(spells[-1].from_date, day + timedelta(days=1))
        else:
            spells.append(Spell(day, day + timedelta(days=1)))
    return spells


def _shut(daily: DailyUse, at: int) -> bool:
    """Tell whether the crew has next to no minutes on a day, as on a weekend."""
    if not daily.hands or daily.capacity is None:
        return False
    return daily.capacity[at] < 0.25 * max(daily.capacity)


def headline(uses: Sequence[DailyUse]) -> tuple[str, str]:
    """Say what is true of the season: where there is no room, or that all fits.

    Parameters
    ----------
    uses : sequence of DailyUse
        Places and hands.

    Returns
    -------
    head, more : str
        Where more is asked than there is; else the longest spell without room, and the others in
        short; else that all fits, and where it is closest.
    """
    over = [each for each in uses if "over" in day_states(each)]
    if over:
        return _over(over), ""
    spells = [(spell, each) for each in uses for spell in full_spells(each)]
    if not spells:
        return _fits(uses), ""
    spell, longest = max(spells, key=lambda each: each[0].n_days)
    if longest.hands:
        head = f"All hands are busy {_from_to(spell)}."
    else:
        head = f"{longest.name[:1].upper()}{longest.name[1:]} is full {_from_to(spell)}."
    others = []
    for each in uses:
        n_days = sum(state != "room" for state in day_states(each))
        if each is not longest and n_days:
            others.append(f"{'hands' if each.hands else each.name} on {in_days(n_days)}")
    return head, f"Also without room: {', '.join(others)}." if others else ""


def _over(uses: Sequence[DailyUse]) -> str:
    """Say where more is asked than there is."""
    parts = []
    for each in uses:
        states = day_states(each)
        first = each.first_date + timedelta(days=states.index("over"))
        n_more = states.count("over") - 1
        more = f" and on {n_more} other day{'s' if n_more > 1 else ''}" if n_more else ""
        name = "the hands" if each.hands else each.name
        parts.append(f"{name} on {_day(first)}{more}")
    return f"More is asked than there is: {', '.join(parts)}."


def fullest_day(daily: DailyUse) -> tuple[float, int | None]:
    """Find the day on which a place is fullest; days off are not counted for the hands.

    Parameters
    ----------
    daily : DailyUse
        Use by day.

    Returns
    -------
    share : float
        Use against capacity on that day; 0 if there is no use or no limit.
    at : int or None
        Number of the day from the first, 0 for the first itself; None with a share of 0.
    """
    shares = [
        use / capacity if capacity > 0 and not _shut(daily, at) else 0.0
        for at, (use, capacity) in enumerate(
            zip(daily.use, () if daily.capacity is None else daily.capacity, strict=False)
        )
    ]
    share = float(max(shares, default=0.0))
    return share, shares.index(share) if share > 0 else None


def _fits(uses: Sequence[DailyUse]) -> str:
    """Say that there is room on every day, and where it is closest."""
    fullest = max(uses, key=lambda each: fullest_day(each)[0])
    share, at = fullest_day(fullest)
    if at is None:
        return "Everything fits."
    when = _day(fullest.first_date + timedelta(days=at))
    return f"Everything fits; the fullest is {fullest.name}, {percent(share)} on {when}."


def _day(day: date) -> str:
    """Write a day as people say it."""
    return f"{day.day} {day:%B}"


def in_days(n_days: int) -> str:
    """Write a number of days.

    Parameters
    ----------
    n_days : int
        How many.

    Returns
    -------
    text : str
        "1 day", "3 days".
    """
    return "1 day" if n_days == 1 else f"{n_days} days"


def percent(share: float) -> str:
    """Write a share of 1 as a percent.

    Parameters
    ----------
    share : float
        Share of 1.

    Returns
    -------
    text : str
        Whole percent, as "98 %".
    """
    return f"{100 * share:.0f} %"


def _from_to(spell: Spell) -> str:
    """Write a spell as people say it, its last day included."""
    last = spell.to_date - timedelta(days=1)
    if spell.n_days == 1:
        return f"on {_day(last)}"
    return f"from {_day(spell.from_date)} to {_day(last)}"
