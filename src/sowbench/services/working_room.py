"""Workings of room and hands over some days: how full, what is left, what one more would save."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.checking.rooms import stays, step_area
from sowbench.exchange.season_use import FULL_FRAC
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.services import wording
from sowbench.services.plan_body import plan_body
from sowbench.services.season_words import (
    cut,
    daily_uses,
    last_day,
)
from sowbench.services.working import (
    HOUSE,
    PLANNED,
    YOURS,
    Input,
    Line,
    Working,
    compared,
)
from sowbench.services.working_few import few_sowings
from sowbench.services.working_model import model_of

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead
    from sowbench.domain.ports import Unit
    from sowbench.domain.records import Place
    from sowbench.exchange.season_use import DailyUse
    from sowbench.services.working_model import Recomputed

MOST_DAYS: Final = 430
MOST_LINES: Final = 35
"""Days that are shown one by one; of more, the fullest of each week."""
_WEEK: Final = timedelta(days=7)
_SAME: Final = 0.1
_SAME_FRAC: Final = 0.02
_WHERE_ROOM: Final = "docs/model.md, section 6"


@dataclass(frozen=True, slots=True)
class DayUse:
    """Use of a place or of the hands on a day, worked out here and by the plan."""

    day: date
    here: float
    plan: float
    capacity: float | None


@dataclass(frozen=True, slots=True)
class UseOfDays:
    """Use of a place or of the hands over some days.

    Attributes
    ----------
    daily : DailyUse
        What the plan says, from its first day on.
    days : tuple of DayUse
        Day by day.
    model : Recomputed or None
        The sowings that stand there; None for hands, or where nothing stands.
    place : Place or None
        The place; None for the hands.
    """

    daily: DailyUse
    days: tuple[DayUse, ...]
    model: Recomputed | None
    place: Place | None

    @property
    def unit(self) -> str:
        """Unit of use."""
        return self.daily.unit

    @property
    def agrees(self) -> bool:
        """Whether each day comes to what the plan says."""
        return all(
            abs(each.here - each.plan) <= _SAME + _SAME_FRAC * each.plan for each in self.days
        )


def use_of_days(unit: Unit, head: PlanHead, name: str, first: date, until: date) -> UseOfDays:
    """Work out the use of a place or of the hands, day by day, from what stands or is done.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    name : str
        The place, or the hands.
    first, until : date
        First day, and the day after the last.

    Returns
    -------
    use : UseOfDays
        Day by day, beside what the plan says.

    Raises
    ------
    UnknownNameError
        If the plan has no such place.
    OutOfRangeError
        If no day of these is one of the plan's, or they are too many.
    """
    daily = next((each for each in daily_uses(unit, head.id) if each.name == name), None)
    if daily is None:
        raise UnknownNameError(name, "place of this plan")
    if until - first > timedelta(days=MOST_DAYS):
        raise OutOfRangeError("days", f"at most {MOST_DAYS} d", (until - first).days)
    begin = max(first, daily.first_date)
    end = min(until, max(last_day(daily), begin) + timedelta(days=1))
    n_days = (end - begin).days
    if n_days <= 0:
        raise OutOfRangeError(
            "days", wording.between(daily.first_date, last_day(daily)), wording.day(first)
        )
    here = [0.0] * n_days
    model: Recomputed | None = None
    place: Place | None = None
    if daily.hands:
        for task in plan_body(unit, head).tasks:
            if begin <= task.date < end:
                here[(task.date - begin).days] += task.minutes
    else:
        found = unit.season_page.stays(head.id, begin, end, name, 100_000)
        if found:
            model = model_of(few_sowings(unit, head, [each.sowing for each in found]))
            place = model.season.places.get(name)
            for _, amount, since, to in taken(model, name, begin, end):
                for at in range((since - begin).days, (to - begin).days):
                    here[at] += amount
    part = cut(daily, begin, end)
    days = tuple(
        DayUse(
            begin + timedelta(days=at),
            here[at],
            float(part.use[at]),
            None if part.capacity is None else float(part.capacity[at]),
        )
        for at in range(n_days)
    )
    return UseOfDays(daily, days, model, place)


def taken(
    model: Recomputed, place: str, begin: date, end: date
) -> list[tuple[str, float, date, date]]:
    """List what each sowing takes of a place over some days.

    Parameters
    ----------
    model : Recomputed
        The sowings that stand there.
    place : str
        The place.
    begin, end : date
        First day, and the day after the last.

    Returns
    -------
    rows : list of (str, float, date, date)
        The sowing, what it takes in the unit of the place, its first day, the day after its last.
    """
    found = model.season.places.get(place)
    by_position = found is not None and found.n_positions is not None
    rows = []
    for sowing, step, container, units in stays(model.season):
        since, to = max(step.from_date, begin), min(step.to_date, end)
        if step.place == place and since < to:
            amount = units if by_position else step_area(step, container, units)
            rows.append((sowing.sowing, amount, since, to))
    return rows


def written(value: float, unit: str) -> str:
    """Write an amount in the unit of a place, or minutes.

    Parameters
    ----------
    value : float
        How much.
    unit : str
        Its unit.

    Returns
    -------
    text : str
        As "12.5 m²", "36 trays".
    """
    return f"{value:,.{1 if unit == 'm²' else 0}f} {unit}"


def holds_inputs(use: UseOfDays) -> tuple[Input, ...]:
    """Tell what there is, as inputs.

    Parameters
    ----------
    use : UseOfDays
        Use of a place or of the hands.

    Returns
    -------
    inputs : tuple of Input
        Room or working time, and what is in it.
    """
    place = use.place
    if use.daily.hands:
        return (
            Input("working time", "by weekday and days off", "", "house file", YOURS),
            Input("minutes of each job", f"{len(use.days)} days", "", "jobs of the plan", PLANNED),
        )
    if place is None:
        return (Input("what stands there", "nothing", "", "", PLANNED),)
    words = "outer size of trays, or plants / plants per m²"
    rows = [Input("what stands there", "by sowing", "", words, PLANNED)]
    if place.n_positions is not None:
        rows.append(Input("positions", f"{place.n_positions:,}", "", "house file", YOURS))
    elif place.area_m2 is not None:
        rows += [
            Input("area", f"{place.area_m2:,.1f}", "m²", "house file", YOURS),
            Input("of it usable", wording.percent(place.usable_frac), "", "house file", HOUSE),
        ]
    return tuple(rows)


def room_left_working(unit: Unit, head: PlanHead, name: str, day: date) -> Working:
    """Show what is left of a place, or of the hands, in a week.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    name : str
        The place, or the hands.
    day : date
        A day of the week.

    Returns
    -------
    working : Working
        Of a place, what is left on its fullest day; of the hands, hours of the whole week.
    """
    monday = day - timedelta(days=day.weekday())
    use = use_of_days(unit, head, name, monday, monday + _WEEK)
    subject = f"{name}, week of {wording.span(monday, monday + timedelta(days=6))}"
    if use.daily.capacity is None:
        line = Line("It has no limit, so nothing is left to say.", "", "no limit")
        return Working("Room left", subject, "no limit", holds_inputs(use), (line,))
    lines, here, plan = [], [], []
    for each in use.days:
        capacity = each.capacity or 0.0
        here.append(max(capacity - each.here, 0.0))
        plan.append(max(capacity - each.plan, 0.0))
        lines.append(
            Line(
                f"{wording.day(each.day)}:",
                f"{capacity:,.1f} - {each.here:,.1f}",
                written(here[-1], use.unit),
            )
        )
    if use.daily.hands:
        figure, planned, unit_words = sum(here) / 60, sum(plan) / 60, "h"
        lines.append(Line("Hours left in the week.", "sum / 60", f"{figure:,.1f} h"))
    else:
        figure, planned, unit_words = min(here), min(plan), use.unit
        lines.append(
            Line("What is left on the fullest day.", "least of these", written(figure, use.unit))
        )
    said = [f"{wording.amount(round(each, 1))} {unit_words}" for each in (figure, planned)]
    return Working(
        "Hands left" if use.daily.hands else "Room left",
        subject,
        said[0],
        holds_inputs(use),
        tuple(lines),
        figure,
        planned,
        compared(*said, is_same=use.agrees),
        where=_WHERE_ROOM,
    )


def days_working(unit: Unit, head: PlanHead, name: str, first: date, until: date) -> Working:
    """Show how full a place is, or how busy the hands are, day by day.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    name : str
        The place, or the hands.
    first, until : date
        First day, and the day after the last.

    Returns
    -------
    working : Working
        The use of the fullest day, and the days it is chosen from.
    """
    use = use_of_days(unit, head, name, first, until)
    fullest = max(use.days, key=_share)
    lines = [day_line(each, use.unit) for each in shown_days(use.days)]
    if len(use.days) > MOST_LINES:
        lines.insert(0, Line(f"Of {len(use.days)} days the fullest of each week:"))
    n_full = sum(_share(each) >= FULL_FRAC for each in use.days)
    lines.append(
        Line(
            f"The fullest day is {wording.day(fullest.day)}. Full is a day from "
            f"{wording.percent(FULL_FRAC)} on: {wording.count(n_full, 'day')}.",
            "most of these",
            _said(fullest, use.unit),
        )
    )
    here, plan = written(fullest.here, use.unit), written(fullest.plan, use.unit)
    return Working(
        "How busy" if use.daily.hands else "How full",
        f"{name}, {wording.span(use.days[0].day, use.days[-1].day)}",
        f"{_said(fullest, use.unit)} on {wording.day(fullest.day)}",
        holds_inputs(use),
        tuple(lines),
        fullest.here,
        fullest.plan,
        compared(here, plan, is_same=use.agrees),
        where=_WHERE_ROOM,
    )


def _share(each: DayUse) -> float:
    """How full a day is; without a limit, what is used."""
    if each.capacity is None:
        return each.here
    return each.here / each.capacity if each.capacity > 0 else 0.0


def _said(each: DayUse, unit: str) -> str:
    """Say how full a day is."""
    if each.capacity is None:
        return written(each.here, unit)
    share = wording.percent(_share(each))
    return f"{written(each.here, unit)} of {written(each.capacity, unit)}, {share}"


def day_line(each: DayUse, unit: str) -> Line:
    """Show one day as a line.

    Parameters
    ----------
    each : DayUse
        The day.
    unit : str
        Unit of use.

    Returns
    -------
    line : Line
        Use and capacity, and their share.
    """
    symbols = "" if each.capacity is None else f"{each.here:,.1f} / {each.capacity:,.1f}"
    share = written(each.here, unit) if each.capacity is None else wording.percent(_share(each))
    return Line(f"{wording.day(each.day)}:", symbols, share)


def shown_days(days: tuple[DayUse, ...]) -> list[DayUse]:
    """Choose the days to show.

    Parameters
    ----------
    days : tuple of DayUse
        All of them.

    Returns
    -------
    shown : list of DayUse
        All, or of many the fullest of each week.
    """
    if len(days) <= MOST_LINES:
        return list(days)
    weeks: defaultdict[date, list[DayUse]] = defaultdict(list)
    for each in days:
        weeks[each.day - timedelta(days=each.day.weekday())].append(each)
    return [max(week, key=_share) for week in weeks.values()]
