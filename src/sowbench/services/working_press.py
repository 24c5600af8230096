"""Workings of what presses: the days without room, what one more would save, and who competes."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.exchange.season_use import FULL_FRAC, full_spells
from sowbench.science.errors import UnknownNameError
from sowbench.services import wording
from sowbench.services.plan_body import plan_body
from sowbench.services.season_words import cut, daily_uses, last_day, spell_words
from sowbench.services.working import PLANNED, Input, Line, Working, compared
from sowbench.services.working_room import (
    MOST_LINES,
    day_line,
    holds_inputs,
    shown_days,
    taken,
    use_of_days,
    written,
)

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead
    from sowbench.domain.plan import Plan
    from sowbench.domain.ports import Unit
    from sowbench.exchange.season_use import DailyUse
    from sowbench.services.working_room import UseOfDays

_MOST_PAYING: Final = 12
_WHERE_PRICE: Final = "docs/model.md, section 9"


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
    lines += [day_line(each, use.unit) for each in shown_days(tuple(full))]
    inputs = [*holds_inputs(use)]
    priced = [(each, per * prices[each]) for each in days if each in prices]
    inputs += [
        Input(f"price of one {one}, {wording.day(day)}", wording.money(price, currency), "",
              "opens in the plan's bound", PLANNED)
        for day, price in priced[:MOST_LINES]
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
            written(sum(each.here for each in full), f"{use.unit} times days"),
            written(sum(each.plan for each in full), f"{use.unit} times days"),
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
