"""The season at a glance: what stands in each place by day, against what it holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from sowbench.exchange.picture import place_spec
from sowbench.exchange.season_use import DailyUse, by_week, day_states, full_spells
from sowbench.services import wording
from sowbench.services.book_inputs import house_of
from sowbench.services.chart_colors import in_page_colors
from sowbench.services.house_day import day_in_house
from sowbench.services.plan_body import plan_body
from sowbench.services.season_flags import SeasonFlag, season_flags
from sowbench.services.season_window import Window, window
from sowbench.services.season_words import cut, daily_uses, holds_words, last_day, use_words

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead
    from sowbench.services.desk import Desk


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """One place, or the hands, in the season.

    ``holds`` is what there is, ``words`` what is true of it in the days shown, ``spec`` the chart;
    ``no_room`` tells whether there is a day without room, ``over`` whether more is asked than
    there is.
    """

    name: str
    is_hands: bool
    holds: str
    words: str
    spec: dict[str, Any]
    no_room: bool
    over: bool


@dataclass(frozen=True, slots=True)
class SeasonView:
    """The page of the season; ``head`` None is a book without a plan."""

    head: PlanHead | None
    today: date
    n_sowings: int = 0
    n_orders: int = 0
    heading: str = ""
    window: Window | None = None
    rows: tuple[PlaceRow, ...] = ()
    flags: tuple[SeasonFlag, ...] = ()
    n_pins: int = 0
    house_changed: bool = False


def season_view(desk: Desk, from_date: date | None = None, weeks: int | None = None) -> SeasonView:
    """Gather the page of the season.

    Parameters
    ----------
    desk : Desk
        The desk.
    from_date : date or None, default None
        First day to show; None is today's week.
    weeks : int or None, default None
        Weeks to show; None is the whole season.

    Returns
    -------
    view : SeasonView
        What the page shows.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        head = unit.plans.current()
        if head is None:
            return SeasonView(None, today)
        uses = daily_uses(unit, head.id)
        house, catalog, weather = house_of(unit)
        plan = plan_body(unit, head)
        version = unit.houses.current()
        n_sowings = unit.season_page.n_sown_or_coming(head.id)
        n_pins = len(unit.pins.all())
        served = unit.orders.named([each.order for each in plan.unmet])
    last = max((last_day(each) for each in uses), default=head.until_date)
    shown = window(head.from_date, last, from_date or today, weeks)
    return SeasonView(
        head=head,
        today=today,
        n_sowings=n_sowings,
        n_orders=head.n_orders,
        heading=_heading(uses, today),
        window=shown,
        rows=tuple(place_row(each, shown, today) for each in uses),
        flags=season_flags(plan, uses, house, catalog, weather, today, served),
        n_pins=n_pins,
        house_changed=version is not None and version.version != head.house_version,
    )


def place_row(daily: DailyUse, shown: Window, today: date) -> PlaceRow:
    """Put one place, or the hands, into a picture and words.

    Parameters
    ----------
    daily : DailyUse
        Use by day.
    shown : Window
        Days shown.
    today : date
        The day in the house.

    Returns
    -------
    row : PlaceRow
        The row.
    """
    part = cut(daily, shown.from_date, shown.until_date)
    states = day_states(part)
    words = use_words(part)
    bars = by_week(part) if shown.by_week else part
    spec = place_spec(bars, shown.from_date, shown.until_date, today=today, words=words)
    return PlaceRow(
        name=daily.name,
        is_hands=daily.hands,
        holds=holds_words(daily),
        words=words,
        spec=in_page_colors(spec),
        no_room=any(each != "room" for each in states),
        over="over" in states,
    )


def _heading(uses: Sequence[DailyUse], today: date) -> str:
    """Say what is true of the season from today on."""
    coming = [cut(each, today, max(last_day(each), today) + timedelta(days=1)) for each in uses]
    over = [each for each in coming if "over" in day_states(each)]
    if over:
        names = wording.listed(["the hands" if each.hands else each.name for each in over])
        return f"More is asked than there is: {names}"
    n_full = sum(bool(full_spells(each)) for each in coming if not each.hands)
    n_places = sum(not each.hands for each in coming)
    if n_full:
        return f"{n_full} of {wording.count(n_places, 'place')} will be full some of the time"
    return "There is room in every place"
