"""Workings of room and hands over some days: how full, what is left, what one more would save."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.checking.rooms import stays, step_area
from sowbench.exchange.season_use import FULL_FRAC, full_spells
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.services import wording
from sowbench.services.plan_body import plan_body
from sowbench.services.season_words import (
    cut,
    daily_uses,
    last_day,
    spell_words,
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
    from sowbench.domain.plan import Plan
    from sowbench.domain.ports import Unit
    from sowbench.domain.records import Place
    from sowbench.exchange.season_use import DailyUse
    from sowbench.services.working_model import Recomputed

MOST_DAYS: Final = 430
_MOST_LINES: Final = 35
_MOST_PAYING: Final = 12
_WEEK: Final = timedelta(days=7)
_SAME: Final = 0.1
_SAME_FRAC: Final = 0.02
_WHERE_ROOM: Final = "docs/model.md, section 6"
_WHERE_PRICE: Final = "docs/model.md, section 9"


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


def _written(value: float, unit: str) -> str:
    """Write an amount in the unit of a place, or minutes."""
    return f"{value:,.{1 if unit == 'm²' else 0}f} {unit}"


def _holds(use: UseOfDays) -> tuple[Input, ...]:
    """What there is, as inputs."""
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
        return Working("Room left", subject, "no limit", _holds(use), (line,))
    lines, here, plan = [], [], []
    for each in use.days:
        capacity = each.capacity or 0.0
        here.append(max(capacity - each.here, 0.0))
        plan.append(max(capacity - each.plan, 0.0))
        lines.append(
            Line(
                f"{wording.day(each.day)}:",
                f"{capacity:,.1f} - {each.here:,.1f}",
                _written(here[-1], use.unit),
            )
        )
    if use.daily.hands:
        figure, planned, unit_words = sum(here) / 60, sum(plan) / 60, "h"
        lines.append(Line("Hours left in the week.", "sum / 60", f"{figure:,.1f} h"))
    else:
        figure, planned, unit_words = min(here), min(plan), use.unit
        lines.append(
            Line("What is left on the fullest day.", "least of these", _written(figure, use.unit))
        )
    written = [f"{wording.amount(round(each, 1))} {unit_words}" for each in (figure, planned)]
    return Working(
        "Hands left" if use.daily.hands else "Room left",
        subject,
        written[0],
        _holds(use),
        tuple(lines),
        figure,
        planned,
        compared(*written, is_same=use.agrees),
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
    lines = [_day_line(each, use.unit) for each in _shown(use.days)]
    if len(use.days) > _MOST_LINES:
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
    here, plan = _written(fullest.here, use.unit), _written(fullest.plan, use.unit)
    return Working(
        "How busy" if use.daily.hands else "How full",
        f"{name}, {wording.span(use.days[0].day, use.days[-1].day)}",
        f"{_said(fullest, use.unit)} on {wording.day(fullest.day)}",
        _holds(use),
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
        return _written(each.here, unit)
    share = wording.percent(_share(each))
    return f"{_written(each.here, unit)} of {_written(each.capacity, unit)}, {share}"


def _day_line(each: DayUse, unit: str) -> Line:
    """One day as a line."""
    symbols = "" if each.capacity is None else f"{each.here:,.1f} / {each.capacity:,.1f}"
    share = _written(each.here, unit) if each.capacity is None else wording.percent(_share(each))
    return Line(f"{wording.day(each.day)}:", symbols, share)


def _shown(days: tuple[DayUse, ...]) -> list[DayUse]:
    """All days, or of many the fullest of each week."""
    if len(days) <= _MOST_LINES:
        return list(days)
    weeks: defaultdict[date, list[DayUse]] = defaultdict(list)
    for each in days:
        weeks[each.day - timedelta(days=each.day.weekday())].append(each)
    return [max(week, key=_share) for week in weeks.values()]


def saved_by_day(plan: Plan, daily: DailyUse) -> dict[date, float]:
    """Return what one more of a place, or one minute more, would save on each day.

    Parameters
    ----------
    plan : Plan
        The plan with its prices.
    daily : DailyUse
        The place, or the hands.

    Returns
    -------
    money : dict of date to float
        The plan's price of a day; days without one are left out.
    """
    found: defaultdict[date, float] = defaultdict(float)
    for each in plan.prices:
        is_it = each.kind == "crew" if daily.hands else (
            each.kind == "place" and each.name == daily.name
        )  # fmt: skip
        if is_it and each.price > 0:
            found[each.date] += each.price
    return dict(found)


def saved_on_full_days(plan: Plan, daily: DailyUse, today: date) -> tuple[float, list[date]]:
    """Return what one more would save on the days to come without room.

    Parameters
    ----------
    plan : Plan
        The plan with its prices.
    daily : DailyUse
        The place, or the hands.
    today : date
        The day in the house.

    Returns
    -------
    money : float
        Of a square meter or a position, on all these days; of the hands, of an hour on each.
    days : list of date
        The days.
    """
    coming = cut(daily, today, max(last_day(daily), today) + timedelta(days=1))
    days = [
        each.from_date + timedelta(days=at)
        for each in full_spells(coming)
        for at in range(each.n_days)
    ]
    prices = saved_by_day(plan, daily)
    per = 60.0 if daily.hands else 1.0
    return per * sum(prices.get(each, 0.0) for each in days), days


def press_working(unit: Unit, head: PlanHead, name: str, today: date, currency: str) -> Working:
    """Show why a place or the hands press, and what one more would save.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    name : str
        The place, or the hands.
    today : date
        The day in the house.
    currency : str
        Currency of the house.

    Returns
    -------
    working : Working
        The plan's prices of the full days, added up, and who pays them.
    """
    plan = plan_body(unit, head)
    daily = next((each for each in daily_uses(unit, head.id) if each.name == name), None)
    if daily is None:
        raise UnknownNameError(name, "place of this plan")
    saved, days = saved_on_full_days(plan, daily, today)
    what = "Hands" if daily.hands else wording.sentence_start(name)
    if not days:
        line = Line("It is full on no day to come, so one more would save nothing.", "", "0")
        return Working("What presses", name, "nothing", (), (line,), 0.0, 0.0)
    coming = cut(daily, today, max(last_day(daily), today) + timedelta(days=1))
    use = use_of_days(unit, head, name, days[0], days[-1] + timedelta(days=1))
    full = [each for each in use.days if each.day in set(days)]
    prices = saved_by_day(plan, daily)
    one = "hour" if daily.hands else "tray" if daily.unit == "trays" else daily.unit
    per = 60.0 if daily.hands else 1.0
    per_words = "One hour on each day" if daily.hands else f"One {one}"
    spells = wording.listed(spell_words(each) for each in full_spells(coming))
    lines = [
        Line(
            f"{what} without room {spells}: on these days {wording.percent(FULL_FRAC)} or more is "
            "taken.",
            "",
            wording.count(len(full), "day"),
        )
    ]
    lines += [_day_line(each, use.unit) for each in _shown(tuple(full))]
    inputs = [*_holds(use)]
    priced = [(each, per * prices[each]) for each in days if each in prices]
    inputs += [
        Input(f"price of one {one}, {wording.day(day)}", wording.money(price, currency), "",
              "opens in the plan's bound", PLANNED)
        for day, price in priced[:_MOST_LINES]
    ]  # fmt: skip
    lines.append(_price_line(one, currency, saved, has_price=bool(priced)))
    if daily.hands:
        lines += _by_task(plan, set(days))
    else:
        lines += _who_pays(use, name, prices, currency)
    lines += _left_out(plan, "crew" if daily.hands else "room")
    return Working(
        "What presses",
        f"{name}, {wording.count(len(full), 'day')} without room",
        f"{per_words} more would save about {wording.money(saved, currency)}",
        tuple(inputs),
        tuple(lines),
        saved,
        saved,
        compared(
            _written(sum(each.here for each in full), f"{use.unit} times days"),
            _written(sum(each.plan for each in full), f"{use.unit} times days"),
            is_same=use.agrees,
        ),
        where=f"{_WHERE_PRICE}, and the working of the plan's bound",
    )


def _price_line(one: str, currency: str, saved: float, *, has_price: bool) -> Line:
    """Tell what the price of a day is."""
    if not has_price:
        return Line(
            "The plan found no price for these days: they are full, but what stands there would "
            "cost no more elsewhere or on another day.",
            "Σ price of each day",
            wording.money(0.0, currency),
        )
    return Line(
        f"The price of a day is what the cheapest way to raise everything would cost less if there "
        f"were one {one} more on it: what the order that is crowded out would have saved by having "
        "it. The bound of the plan is made of these prices. It is true of the first one only: the "
        "next saves less.",
        "Σ price of each day",
        wording.money(saved, currency),
    )


def _who_pays(use: UseOfDays, name: str, prices: dict[date, float], currency: str) -> list[Line]:
    """Tell which orders compete for a place, by what their room is worth on the priced days."""
    if use.model is None or not prices:
        return []
    first, until = use.days[0].day, use.days[-1].day + timedelta(days=1)
    paid: defaultdict[str, float] = defaultdict(float)
    for sowing, amount, since, to in taken(use.model, name, first, until):
        paid[sowing] += sum(
            amount * prices.get(since + timedelta(days=at), 0.0) for at in range((to - since).days)
        )
    rows = sorted(((money, each) for each, money in paid.items() if money > 0), reverse=True)
    if not rows:
        return []
    total = sum(money for money, _ in rows)
    lines = [
        Line(
            "Who competes there: what the room of each sowing is worth on these days at these "
            "prices. Whoever moves elsewhere for less frees it for another.",
            "what it takes x price of each day",
            f"{wording.money(total, currency)} together",
        )
    ]
    for money, each in rows[:_MOST_PAYING]:
        orders = wording.listed(share.order for share in use.model.sowing(each).orders[:4])
        lines.append(Line(f"{each}{f', for {orders}' if orders else ''}:", "",
                          wording.money(money, currency)))  # fmt: skip
    if len(rows) > _MOST_PAYING:
        rest = sum(money for money, _ in rows[_MOST_PAYING:])
        lines.append(Line(f"{len(rows) - _MOST_PAYING} more:", "", wording.money(rest, currency)))
    return lines


def _left_out(plan: Plan, reason: str) -> list[Line]:
    """Name the orders that are not planned for want of room, or of hands."""
    rows = [each for each in plan.unmet if each.reason == reason]
    if not rows:
        return []
    what = "room, here or elsewhere" if reason == "room" else "hands"
    named = wording.listed(f"{each.order} ({each.plants:,} plants)" for each in rows)
    return [Line(f"Not planned at all for want of {what}: {named}. Their offers say what would "
                 "fit.")]  # fmt: skip


def _by_task(plan: Plan, days: set[date]) -> list[Line]:
    """Tell with what the hands are busy, and what of it can wait."""
    minutes: defaultdict[str, float] = defaultdict(float)
    waits = 0.0
    for task in plan.tasks:
        if task.date in days:
            minutes[task.task] += task.minutes
            waits += task.minutes if task.slack_d > 0 else 0.0
    total = sum(minutes.values()) or 1.0
    lines = [Line("With what the hands are busy on these days:", "sum by kind of job",
                  wording.minutes(total))]  # fmt: skip
    lines += [
        Line(f"{task}:", f"{value:,.0f} / {total:,.0f}", wording.percent(value / total))
        for task, value in sorted(minutes.items(), key=lambda each: -each[1])
    ]
    lines.append(
        Line("Jobs that can wait a day or more.", "", wording.minutes(waits) if waits else "none")
    )
    return lines
