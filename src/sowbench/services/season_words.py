"""What is used of places and hands over some days, cut out and put into words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.exchange.season_use import DailyUse, Spell, day_states, full_spells, fullest_day
from sowbench.services import wording

if TYPE_CHECKING:
    from sowbench.domain.book import PlannedUse
    from sowbench.domain.ports import Unit

HANDS: Final = "hands"
_UNITS: Final = {"m2": "m²", "positions": "trays", "units": "trays"}


def daily_uses(unit: Unit, plan_id: int) -> list[DailyUse]:
    """Read the use of places and hands by day.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.
    plan_id : int
        The plan.

    Returns
    -------
    uses : list of DailyUse
        Places in their order, then the hands.
    """
    return [_daily(each) for each in unit.season_page.uses(plan_id)]


def _daily(use: PlannedUse) -> DailyUse:
    """Take a use over; the days behind the last use are left off."""
    n_days = len(use.use)
    while n_days > 1 and not use.use[n_days - 1]:
        n_days -= 1
    is_hands = use.name == HANDS
    return DailyUse(
        name=use.name,
        unit="min" if is_hands else _UNITS.get(use.unit, use.unit),
        first_date=use.first_date,
        use=use.use[:n_days],
        capacity=None if use.capacity is None else use.capacity[:n_days],
        hands=is_hands,
    )


def cut(daily: DailyUse, from_date: date, until_date: date) -> DailyUse:
    """Lay a use over some days; on days that it does not know nothing is used.

    Parameters
    ----------
    daily : DailyUse
        Use by day.
    from_date, until_date : date
        First day, and the day after the last.

    Returns
    -------
    part : DailyUse
        A use with a value for each of the days.
    """
    n_days = (until_date - from_date).days
    shift = (from_date - daily.first_date).days

    def laid(values: Sequence[float], missing: float) -> list[float]:
        return [
            float(values[at]) if 0 <= at < len(values) else missing
            for at in range(shift, shift + n_days)
        ]

    capacity = None
    if daily.capacity is not None:
        missing = 0.0 if daily.hands else float(max(daily.capacity, default=0.0))
        capacity = laid(list(daily.capacity), missing)
    return DailyUse(
        daily.name, daily.unit, from_date, laid(list(daily.use), 0.0), capacity, daily.hands
    )


def holds_words(daily: DailyUse) -> str:
    """Say what a place holds, or the hands have in a day.

    Parameters
    ----------
    daily : DailyUse
        Use by day.

    Returns
    -------
    text : str
        As "36 trays", "59.5 m²", "8 h a day"; "no limit" where there is none.
    """
    if daily.capacity is None:
        return "no limit"
    most = float(max(daily.capacity, default=0.0))
    return f"{wording.minutes(most)} a day" if daily.hands else amount_words(most, daily)


def amount_words(value: float, daily: DailyUse) -> str:
    """Write an amount of a place, or of working time.

    Parameters
    ----------
    value : float
        How much, in the unit of the use.
    daily : DailyUse
        The use, for its unit.

    Returns
    -------
    text : str
        As "12.5 m²", "3 h".
    """
    if daily.hands:
        return wording.minutes(value)
    return f"{wording.amount(round(value, 1))} {daily.unit}"


def use_words(daily: DailyUse) -> str:
    """Say how full a place is over some days.

    Parameters
    ----------
    daily : DailyUse
        Use by day.

    Returns
    -------
    text : str
        As "full from 14 March to 9 April", "at most 71 %, on 3 May", "empty".
    """
    if not any(daily.use):
        return "nothing to do" if daily.hands else "empty"
    if daily.capacity is None:
        return f"at most {amount_words(float(max(daily.use)), daily)}"
    spells = full_spells(daily)
    if spells:
        said = wording.listed([spell_words(each) for each in spells[:3]])
        n_more = len(spells) - 3
        more = f" and {'once' if n_more == 1 else f'{n_more} times'} more" if n_more > 0 else ""
        over = "over" in day_states(daily)
        state = "more asked than there is" if over else "busy" if daily.hands else "full"
        return f"{state} {said}{more}"
    share, at = fullest_day(daily)
    if at is None:
        return "in use"
    when = daily.first_date + timedelta(days=at)
    return f"at most {wording.percent(share)}, on {wording.span(when, None)}"


def spell_words(spell: Spell) -> str:
    """Write a spell as people say it, its last day included.

    Parameters
    ----------
    spell : Spell
        The spell.

    Returns
    -------
    text : str
        As "on 14 March", "from 14 March to 9 April".
    """
    last = spell.to_date - timedelta(days=1)
    if spell.n_days == 1:
        return f"on {wording.span(last, None)}"
    return f"from {wording.span(spell.from_date, None)} to {wording.span(last, None)}"


def last_day(daily: DailyUse) -> date:
    """Return the last day of a use.

    Parameters
    ----------
    daily : DailyUse
        Use by day.

    Returns
    -------
    day : date
        The day; that of the first where there is none.
    """
    return daily.first_date + timedelta(days=max(len(daily.use) - 1, 0))
