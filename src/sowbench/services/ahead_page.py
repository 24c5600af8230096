"""What is coming: stands that may fall short or late, counts worth making, every open sowing."""

from __future__ import annotations

from datetime import date
from math import isfinite
from typing import TYPE_CHECKING, Final

from sowbench.services import wording
from sowbench.services.ahead_records import (
    Ahead,
    AheadPage,
    Band,
    CountWorth,
    OrderAhead,
    OrderNow,
    Orphan,
)
from sowbench.services.book_inputs import lots_left
from sowbench.services.forecasts import (
    WATCH_BELOW_FRAC,
    HouseForecast,
    State,
    house_forecast,
)
from sowbench.services.house_day import day_in_house
from sowbench.services.resow_ways import Resowings, resowings
from sowbench.services.sowing_journal import entry_words
from sowbench.services.sowing_words import Level, title_of

if TYPE_CHECKING:
    from sowbench.domain.journal import Entry
    from sowbench.domain.plan import OrderPlan, Sowing
    from sowbench.forecasting import Movement, SowingForecast
    from sowbench.forecasting.resow_records import ResowAdvice
    from sowbench.services.desk import Desk

COUNTS_SHOWN: Final = 8
_LEVELS: Final = {State.ACT: Level.ACT, State.WATCH: Level.WATCH, State.AS_PLANNED: Level.PLAIN}
_SMALL_PLANTS: Final = 0.5
_SMALL_D: Final = 0.5
# Days off the plan that are worth a word.
_SOON_D: Final = 2


def ahead_page(desk: Desk) -> AheadPage:
    """Put the page of what is coming together.

    Parameters
    ----------
    desk : Desk
        The open book.

    Returns
    -------
    page : AheadPage
        Its context.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        if unit.plans.current() is None:
            return AheadPage(today, "Nothing to look ahead to yet", has_plan=False)
        forecast = house_forecast(unit, today)
        found = resowings(forecast, lots_left(unit))
    every = [ahead_of(forecast, found, name) for name in forecast.gathered.names]
    pressing = [each for each in every if each.level in {Level.ACT, Level.WATCH}]
    pressing.sort(key=lambda each: (each.level is not Level.ACT, _soonest(each), each.name))
    orphans = _orphans(forecast)
    n_act = sum(each.level is Level.ACT for each in pressing) + len(orphans)
    return AheadPage(
        today,
        _heading(n_act, len(pressing) + len(orphans) - n_act),
        tuple(pressing),
        orphans,
        tuple(_count_of(forecast, found, at) for at in range(min(COUNTS_SHOWN, len(found.asked)))),
        tuple(each for each in every if each.is_sown and each.level is Level.PLAIN),
        sum(not each.is_sown for each in every),
        forecast.gathered.season.house.prices.currency,
    )


PLAN_MOST: Final = 3_000
"""Sowings of a plan up to which other pages ask for their part of the forecast unasked; in a larger
one it is made on the page of what is coming only."""


def is_asked_for(desk: Desk) -> bool:
    """Tell whether pages show their part of the forecast unasked.

    Parameters
    ----------
    desk : Desk
        The open book.

    Returns
    -------
    asked : bool
        Not without a plan, nor of one so large that it takes long.
    """
    with desk.book.reading() as unit:
        head = unit.plans.current()
    return head is not None and head.n_sowings <= PLAN_MOST


def ahead_sowing(desk: Desk, name: str) -> Ahead | None:
    """Say how one sowing looks today.

    Parameters
    ----------
    desk : Desk
        The open book.
    name : str
        Its name.

    Returns
    -------
    ahead : Ahead or None
        None for one that is over, or in no plan.
    """
    with desk.book.reading() as unit:
        if unit.plans.current() is None:
            return None
        forecast = house_forecast(unit, day_in_house(unit, desk.clock()))
        if name not in forecast.sowings:
            return None
        return ahead_of(forecast, resowings(forecast, lots_left(unit)), name)


def orders_now(desk: Desk, name: str = "") -> tuple[OrderNow, ...]:
    """Say how orders look now beside their plan.

    Parameters
    ----------
    desk : Desk
        The open book.
    name : str, default ""
        One order; blank for those that moved from what was planned.

    Returns
    -------
    orders : tuple of OrderNow
        Those that have a begun sowing, the most pressing first.
    """
    with desk.book.reading() as unit:
        if unit.plans.current() is None:
            return ()
        forecast = house_forecast(unit, day_in_house(unit, desk.clock()))
    gathered = forecast.gathered
    rows = []
    for each in gathered.orders:
        if name and each.order != name:
            continue
        begun = any(gathered.sowings[share.sowing].entries for share in each.need.shares)
        level = _LEVELS[forecast.state_of_order(each.order)]
        if not begun or (not name and level is Level.PLAIN):
            continue
        order, told, plan = (
            gathered.order(each.order),
            forecast.orders[each.order],
            forecast.plans[each.order],
        )
        rows.append(
            OrderNow(
                order.id,
                order.customer,
                gathered.season.catalog.crops[order.crop].name,
                order.wanted_date,
                told.chance_enough_frac,
                told.chance_in_time_frac,
                told.chance_filled_frac,
                plan.chance_enough_frac,
                plan.chance_in_time_frac,
                plan.chance_filled_frac,
                forecast.wanted(order.id),
                level,
            )
        )
    return tuple(sorted(rows, key=lambda row: (row.level is not Level.ACT, row.wanted_date)))


def _soonest(ahead: Ahead) -> date:
    """Return the first day on which it is wanted."""
    return min((each.wanted_date for each in ahead.orders), default=date.max)


def _heading(n_act: int, n_watch: int) -> str:
    """Say what is true of the whole."""
    if n_act:
        ask = "asks" if n_act == 1 else "ask"
        return f"{wording.count(n_act, 'stand')} {ask} for something to be done"
    if n_watch:
        return f"Nothing is short; {wording.count(n_watch, 'stand')} to watch"
    return "Everything comes as planned"


def ahead_of(forecast: HouseForecast, found: Resowings, name: str) -> Ahead:
    """Say how one sowing looks today.

    Parameters
    ----------
    forecast : HouseForecast
        The forecast of the house.
    found : Resowings
        What could be resown.
    name : str
        The sowing.

    Returns
    -------
    ahead : Ahead
        Its figures and sentences.
    """
    gathered = forecast.gathered
    planned, told = gathered.planned[name], forecast.sowings[name]
    season = gathered.season
    orders = _orders(forecast, planned)
    followed = gathered.followed.get(name)
    sown = followed is not None and (
        followed.life.sown_date is not None or followed.start is not None
    )
    wanted = sum(each.plants for each in orders)
    days = [_date(forecast, day) for day in (told.ready.p10, told.ready.p50, told.ready.p90)]
    later = None if days[1] is None else days[1] - planned.ready_date.p50
    behind = None if later is None else later.days
    container = planned.steps[-1].container if planned.steps else ""
    n_trays = planned.steps[-1].n_containers if planned.steps else 0
    crop = season.catalog.crops[planned.crop]
    state = forecast.state(name)
    band = Band(told.plants.p05, told.plants.p50, told.plants.p95, wanted)
    level = _own_level(_LEVELS[state], band, orders, behind) if sown else Level.PLAIN
    return Ahead(
        name=name,
        title=title_of(
            crop.name, planned.variety, n_trays, season.catalog.containers.get(container), container
        ),
        level=level,
        sentence=_sentence(forecast, planned, told, band, orders, level),
        counted=_counted(told),
        moved=_moved(forecast, forecast.moved.get(name)),
        resow=_resow(forecast, found, name, band, orders, level),
        band=band,
        ready=days[1],
        ready_first=days[0],
        ready_last=days[2],
        planned_ready=planned.ready_date.p50,
        overgrown=None if later is None else planned.overgrown_date.p50 + later,
        slower_frac=told.lag[1],
        orders=orders,
        is_sown=sown,
    )


def _date(forecast: HouseForecast, day: float) -> date | None:
    """Return a day of the season; None for never."""
    return forecast.gathered.season.day(round(day)) if isfinite(day) else None


def _orders(forecast: HouseForecast, planned: Sowing) -> tuple[OrderAhead, ...]:
    """Return the open orders of a sowing."""
    gathered = forecast.gathered
    followed = gathered.followed.get(planned.sowing)
    rows = []
    for share in planned.orders:
        told = forecast.orders.get(share.order)
        if told is None:
            continue
        order = gathered.order(share.order)
        had = 0
        if followed is not None:
            had = sum(h.plants for h in followed.life.handed_over if h.order == share.order)
        plan = forecast.plans.get(share.order)
        rows.append(
            OrderAhead(
                order.id,
                order.customer,
                max(share.plants - had, 0),
                order.wanted_date,
                told.chance_enough_frac,
                told.chance_in_time_frac,
                told.chance_filled_frac,
                0.0 if plan is None else plan.chance_filled_frac,
                1.0 if plan is None else plan.chance_enough_frac,
                _lacks_plants(forecast, order.id, told.chance_enough_frac, plan),
                forecast.n_serving.get(order.id, 0) <= 1,
                _LEVELS[forecast.state_of_order(order.id)],
            )
        )
    return tuple(rows)


def _lacks_plants(
    forecast: HouseForecast, order: str, enough_frac: float, plan: OrderPlan | None
) -> bool:
    """Tell whether an order lacks plants more than its plan did."""
    wanted = forecast.wanted(order)
    planned = wanted if plan is None else min(wanted, plan.chance_enough_frac)
    return planned - enough_frac >= WATCH_BELOW_FRAC


def _sentence(
    forecast: HouseForecast,
    planned: Sowing,
    told: SowingForecast,
    band: Band,
    orders: tuple[OrderAhead, ...],
    level: Level,
) -> str:
    """Say what is true of a sowing."""
    crop = forecast.gathered.season.catalog.crops[planned.crop].name
    for_whom = ""
    if orders:
        who = list(dict.fromkeys(each.customer or each.name for each in orders))
        for_whom = f" for {who[0]}" if len(who) == 1 else f" for {len(who)} customers"
    if not orders:
        return f"{crop}: nothing of it is wanted any more."
    ready = _date(forecast, told.ready.p50)
    behind = 0 if ready is None else (ready - planned.ready_date.p50).days
    if level is not Level.PLAIN:
        if ready is None:
            return f"{crop}{for_whom} may never be ready where it stands."
        if _is_short(band, orders):
            will = "will" if band.middle < band.wanted else "may"
            return (
                f"{crop}{for_whom} {will} be short: about {band.middle:,} of {band.wanted:,}"
                f" plants, {band.low:,} to {band.high:,}."
            )
        if behind > 0:
            return (
                f"{crop}{for_whom} will be late: ready about {wording.day(ready)},"
                f" {wording.count(behind, 'day')} later than planned."
            )
        if ready <= forecast.gathered.today:
            return (
                f"{crop}{for_whom} is ready, {wording.count(-behind, 'day')} before it was planned."
            )
        return (
            f"{crop}{for_whom} comes {wording.count(-behind, 'day')} too soon: ready about"
            f" {wording.day(ready)}, and overgrown sooner too."
        )
    if behind >= _SOON_D:
        return f"{crop}{for_whom} comes {wording.count(behind, 'day')} later than planned."
    if behind <= -_SOON_D:
        return f"{crop}{for_whom} comes {wording.count(-behind, 'day')} sooner than planned."
    return f"{crop}{for_whom} comes as planned."


def _is_short(band: Band, orders: tuple[OrderAhead, ...]) -> bool:
    """Tell whether it is plants that are lacking, and whether they may be those of this sowing."""
    if band.low >= band.wanted or not any(each.lacks_plants for each in orders):
        return False
    return band.middle < band.wanted or any(o.lacks_plants and o.is_alone for o in orders)


def _own_level(
    level: Level, band: Band, orders: tuple[OrderAhead, ...], behind_d: int | None
) -> Level:
    """Return how pressing a sowing is of its own; an order may lack plants of another one."""
    if _is_short(band, orders) or behind_d is None or abs(behind_d) >= _SOON_D:
        return level
    return Level.PLAIN


def _counted(told: SowingForecast) -> str:
    """Say what a forecast rests on."""
    if not told.n_counts:
        return "Not counted yet: the lot's test and the climate as planned."
    low, middle, high = (wording.percent(each) for each in told.right_frac)
    return (
        f"From {wording.count(told.n_counts, 'count')}: {middle} of the cells will be right,"
        f" {low} to {high} eight times in ten."
    )


def _moved(forecast: HouseForecast, movement: Movement | None) -> tuple[str, ...]:
    """Say what moved a sowing since yesterday."""
    if movement is None:
        return ()
    plants = movement.now.plants_mean - movement.before.plants_mean
    days = movement.now.ready.p50 - movement.before.ready.p50
    said = []
    if abs(plants) >= _SMALL_PLANTS:
        more = "more" if plants > 0 else "fewer"
        said.append(f"{wording.count(abs(plants), 'plant')} {more} than yesterday")
    if isfinite(days) and abs(days) >= _SMALL_D:
        said.append(f"{wording.count(abs(days), 'day')} {'later' if days > 0 else 'sooner'}")
    if not said:
        return ("Counted since yesterday, and nothing moved: it is as was expected.",)
    lines = [wording.sentence_start(" and ".join(said)) + "."]
    entries = {each.id: each for each in _entries(forecast, movement.sowing)}
    for cause in movement.causes[:3]:
        entry = entries.get(cause.entry)
        if entry is None or abs(cause.plants) < _SMALL_PLANTS:
            continue
        who = f" by {entry.person}" if entry.person else ""
        sign = "+" if cause.plants > 0 else "\u2212"
        lines.append(f"{entry_words(entry)}{who}: {sign}{abs(cause.plants):,.0f} plants")
    return tuple(lines)


def _entries(forecast: HouseForecast, name: str) -> tuple[Entry, ...]:
    """Return the entries of a sowing."""
    followed = forecast.gathered.followed.get(name)
    return () if followed is None else followed.entries


def _resow(
    forecast: HouseForecast,
    found: Resowings,
    name: str,
    band: Band,
    orders: tuple[OrderAhead, ...],
    level: Level,
) -> str:
    """Say what a resowing would need."""
    if level is Level.PLAIN:
        return ""
    if not _is_short(band, orders):
        told, planned = forecast.sowings[name], forecast.gathered.planned[name]
        ready = _date(forecast, told.ready.p50)
        if ready is None or ready > planned.ready_date.p50:
            return "Warmer or lighter it comes sooner; else tell the customer."
        return "Hold it cooler, or hand it over sooner."
    known = [found.of(each.name, name) for each in orders]
    advice = [each for each in known if each is not None]
    if not advice:
        return ""
    return _advice_words(forecast, max(advice, key=lambda each: each.n_cells))


def _advice_words(forecast: HouseForecast, advice: ResowAdvice) -> str:
    """Say what to think of resowing."""
    season = forecast.gathered.season
    if advice.last.day is None:
        return "A resowing would no longer be ready in time: tell the customer."
    last = wording.day(season.day(advice.last.day))
    if not advice.short:
        return f"It is not called short yet; a resowing would help until {last}."
    if not advice.n_cells:
        return f"It is enough as it stands if it is in time; a resowing would help until {last}."
    cells = wording.count(advice.n_cells, "cell")
    reach = "" if advice.reaches else ", which is all there is seed for"
    pays = "" if advice.pays else " It would cost more than it saves."
    return f"Resow {cells} of lot {advice.lot} by {last}{reach}.{pays}"


def _count_of(forecast: HouseForecast, found: Resowings, at: int) -> CountWorth:
    """Say what to count, and what its result would mean."""
    asked = found.asked[at]
    name = forecast.gathered.names[asked.row]
    planned = forecast.gathered.planned[name]
    season = forecast.gathered.season
    crop = season.catalog.crops[planned.crop].name
    cells = asked.n_trays * asked.n_cells_per_tray
    trays = wording.count(asked.n_trays, "tray")
    per_tray = season.catalog.containers[planned.steps[0].container].cells
    whole = asked.n_cells_per_tray >= per_tray
    each = "" if asked.n_trays == 1 else " each"
    words = f"{trays}, all cells" if whole else f"{asked.n_cells_per_tray} cells of {trays}{each}"
    if asked.is_again:
        words += ", the ones counted before"
    if asked.resow_at_most < 0:
        rule = "It tells how much is missing."
    else:
        rule = (
            f"With {asked.resow_at_most:,} of {cells:,} right or fewer, resow; with more, leave it."
            f" In vain {wording.percent(asked.vain_frac)}, missed"
            f" {wording.percent(asked.missed_frac)} of the times."
        )
    title = f"{crop} '{planned.variety}'" if planned.variety else crop
    return CountWorth(name, title, words, rule, asked.minutes, asked.value)


def _orphans(forecast: HouseForecast) -> tuple[Orphan, ...]:
    """Return orders of which the plan wanted something and no sowing is left."""
    gathered = forecast.gathered
    planned = {each.order for sowing in gathered.plan.sowings for each in sowing.orders}
    rows = []
    for each in gathered.orders:
        order = gathered.order(each.order)
        if each.need.shares or each.order not in planned or each.need.need <= 0:
            continue
        if order.latest_date < gathered.today:
            continue
        rows.append(
            Orphan(
                order.id,
                order.customer,
                gathered.season.catalog.crops[order.crop].name,
                max(order.plants - gathered.given.get(order.id, 0), 0),
                order.wanted_date,
            )
        )
    return tuple(rows)
