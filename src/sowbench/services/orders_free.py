"""What will be free to sell by week: plants to expect beyond what is ordered, and room left."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.services.book_inputs import house_of
from sowbench.services.house_day import day_in_house
from sowbench.services.orders_words import crop_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sowbench.domain.book import PlannedUse
    from sowbench.domain.plan import Sowing
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk

N_WEEKS: Final = 12
_HANDS: Final = "hands"


@dataclass(frozen=True, slots=True)
class FreeCrop:
    """Plants of one crop that are ready in a week and not ordered.

    Attributes
    ----------
    crop, crop_name, variety : str
        What it is.
    plants, plants_low, plants_high : int
        Plants to expect beyond those ordered: the middle, and nine times in ten between.
    ready_date, overgrown_date : date
        From when to when they are fit to hand over, in the middle.
    sowings : tuple of str
        Where they stand.
    """

    crop: str
    crop_name: str
    variety: str
    plants: int
    plants_low: int
    plants_high: int
    ready_date: date
    overgrown_date: date
    sowings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FreeWeek:
    """What is free to sell in one week."""

    monday_date: date
    crops: tuple[FreeCrop, ...]

    @property
    def n_plants(self) -> int:
        """Plants to expect in all."""
        return sum(each.plants for each in self.crops)


@dataclass(frozen=True, slots=True)
class RoomWeek:
    """Room that is left in one week, on its fullest day; None where there is no limit."""

    monday_date: date
    left: float | None
    left_frac: float | None


@dataclass(frozen=True, slots=True)
class FreePlace:
    """Room that is left in a place, or hours of the hands, week by week."""

    name: str
    is_hands: bool
    unit: str
    weeks: tuple[RoomWeek, ...]


@dataclass(frozen=True, slots=True)
class FreeView:
    """What is free to sell, and what room is left for more.

    Attributes
    ----------
    has_plan : bool
        Whether there is a plan.
    today : date
        The day in the house.
    first_date : date
        Monday of the first week shown.
    before, after : date or None
        Monday of the weeks before and after; None where there is nothing more.
    weeks : tuple of FreeWeek
        Plants by week.
    mondays : tuple of date
        Mondays of the weeks shown.
    places : tuple of FreePlace
        Room by place, then hands.
    """

    has_plan: bool
    today: date
    first_date: date
    before: date | None = None
    after: date | None = None
    weeks: tuple[FreeWeek, ...] = ()
    mondays: tuple[date, ...] = ()
    places: tuple[FreePlace, ...] = ()


def free_view(desk: Desk, first: date | None = None, n_weeks: int = N_WEEKS) -> FreeView:
    """Gather what will be free to sell.

    Parameters
    ----------
    desk : Desk
        The desk.
    first : date or None, default None
        A day of the first week; None is this week.
    n_weeks : int, default 12
        Weeks shown.

    Returns
    -------
    view : FreeView
        Plants and room by week.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        head = unit.plans.current()
        this_week = _monday(today)
        start = max(_monday(first or today), this_week)
        if head is None:
            return FreeView(has_plan=False, today=today, first_date=start)
        _, catalog, _ = house_of(unit)
        end = start + timedelta(weeks=n_weeks)
        sowings = unit.orders_page.sowings_of(head.id, today, head.until_date)
        uses = unit.season_page.uses(head.id)
    mondays = tuple(start + timedelta(weeks=at) for at in range(n_weeks))
    shown = [each for each in sowings if each.ready_date.p50 < end]
    return FreeView(
        has_plan=True,
        today=today,
        first_date=start,
        before=start - timedelta(weeks=n_weeks) if start > this_week else None,
        after=end if end <= head.until_date else None,
        weeks=tuple(_week(each, shown, catalog, today) for each in mondays),
        mondays=mondays,
        places=tuple(_place(each, mondays) for each in uses),
    )


def _monday(day: date) -> date:
    """Return the Monday of a day's week."""
    return day - timedelta(days=day.weekday())


def ready_in_week(
    monday: date, sowings: Sequence[Sowing], today: date
) -> dict[tuple[str, str], list[Sowing]]:
    """Pick what becomes ready in a week; what is ready already is of this week.

    Parameters
    ----------
    monday : date
        First day of the week.
    sowings : sequence of Sowing
        Sowings that are in the house from today on.
    today : date
        The day in the house.

    Returns
    -------
    ready : dict of (str, str) to list of Sowing
        By crop and variety.
    """
    sunday = monday + timedelta(days=6)
    ready: dict[tuple[str, str], list[Sowing]] = {}
    for each in sowings:
        first = max(each.ready_date.p50, today)
        if monday <= first <= sunday and each.overgrown_date.p50 >= max(monday, today):
            ready.setdefault((each.crop, each.variety), []).append(each)
    return ready


def _week(monday: date, sowings: Sequence[Sowing], catalog: Catalog, today: date) -> FreeWeek:
    """Add up, crop by crop, what becomes ready in a week."""
    ready = ready_in_week(monday, sowings, today)
    crops = [
        free_crop(crop, variety, found, catalog) for (crop, variety), found in sorted(ready.items())
    ]
    return FreeWeek(monday, tuple(each for each in crops if each.plants > 0))


def free_crop(crop: str, variety: str, sowings: Sequence[Sowing], catalog: Catalog) -> FreeCrop:
    """Take the plants that are meant for orders from those to expect.

    Sowings come up each by its own luck, so that their ranges add up by their squares.

    Parameters
    ----------
    crop, variety : str
        What it is.
    sowings : sequence of Sowing
        The sowings of it that become ready in a week.
    catalog : Catalog
        The reference with the house's own values.

    Returns
    -------
    free : FreeCrop
        Plants beyond those ordered.
    """
    surplus = [each.plants.p50 - sum(share.plants for share in each.orders) for each in sowings]
    low = math.sqrt(sum((each.plants.p50 - each.plants.p05) ** 2 for each in sowings))
    high = math.sqrt(sum((each.plants.p95 - each.plants.p50) ** 2 for each in sowings))
    middle = sum(surplus)
    return FreeCrop(
        crop=crop,
        crop_name=crop_name(crop, catalog),
        variety=variety,
        plants=max(middle, 0),
        plants_low=max(round(middle - low), 0),
        plants_high=max(round(middle + high), 0),
        ready_date=min(each.ready_date.p50 for each in sowings),
        overgrown_date=max(each.overgrown_date.p50 for each in sowings),
        sowings=tuple(each.sowing for each in sowings),
    )


def _place(use: PlannedUse, mondays: Sequence[date]) -> FreePlace:
    """Say what is left of a place in each week on its fullest day; of the hands in the week."""
    is_hands = use.name == _HANDS
    weeks = []
    for monday in mondays:
        at = (monday - use.first_date).days
        days = [each for each in range(at, at + 7) if 0 <= each < len(use.use)]
        if use.capacity is None or not days:
            weeks.append(RoomWeek(monday, None, None))
            continue
        lefts = [max(use.capacity[each] - use.use[each], 0.0) for each in days]
        holds = [use.capacity[each] for each in days]
        left = sum(lefts) / 60 if is_hands else min(lefts)
        whole = sum(holds) / 60 if is_hands else max(holds)
        weeks.append(RoomWeek(monday, left, left / whole if whole > 0 else None))
    return FreePlace(use.name, is_hands, "h" if is_hands else use.unit, tuple(weeks))
