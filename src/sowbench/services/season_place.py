"""One place through the season, each stay drawn on its days; and one day, place by place."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.science.errors import UnknownNameError
from sowbench.services import wording
from sowbench.services.book_inputs import house_of
from sowbench.services.house_day import day_in_house
from sowbench.services.season_page import PlaceRow, place_row
from sowbench.services.season_stood import as_it_stood
from sowbench.services.season_window import Window, window
from sowbench.services.season_words import amount_words, cut, daily_uses, holds_words, last_day

if TYPE_CHECKING:
    from sowbench.domain.ports.season_page import Stay, TraysThere
    from sowbench.exchange.season_use import DailyUse
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk

STAYS_A_PAGE: Final = 40
_STEP_WORDS: Final = {
    "prepare": "prepared",
    "germinate": "germinates",
    "grow": "grows",
    "pot_on": "grows, potted on",
    "space": "grows, spaced",
    "tone": "toned",
    "hold": "held",
    "graft": "grafted",
}
# Bars are drawn in a space as many units wide as the window has days.
_DONE, _HERE, _ELSEWHERE, _COMING = "done", "here", "elsewhere", "coming"


@dataclass(frozen=True, slots=True)
class StayBar:
    """A sowing's stay in a place as a bar on the days of the window.

    ``x_d`` and ``width_d`` are where the bar begins and how long it is, cut to the window;
    ``state`` is coming, here, elsewhere or done, and ``state_words`` says it.
    """

    sowing: str
    crop: str
    variety: str
    kind: str
    what: str
    when: str
    x_d: int
    width_d: int
    state: str
    state_words: str
    orders: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlaceView:
    """The page of one place.

    ``mondays_d`` are the first days of the window's weeks, counted in days; ``week_dates`` the same
    as days of the calendar.
    """

    name: str
    today: date
    window: Window
    row: PlaceRow | None
    bars: tuple[StayBar, ...]
    n_stays: int
    page: int
    n_pages: int
    mondays_d: tuple[int, ...]
    week_dates: tuple[date, ...]
    today_d: float | None


@dataclass(frozen=True, slots=True)
class DayStay:
    """A sowing in a place on a day.

    ``differs`` says what the journal says otherwise; ``due`` what the plan has for this very day
    and is not done yet.
    """

    sowing: str
    crop: str
    variety: str
    what: str
    step: str
    since: date | None
    until: date | None
    differs: str = ""
    due: str = ""


@dataclass(frozen=True, slots=True)
class DayPlace:
    """One place on a day; ``use`` is what of it is taken, of ``holds``."""

    name: str
    use: str
    holds: str
    is_full: bool
    stays: tuple[DayStay, ...]


@dataclass(frozen=True, slots=True)
class DayView:
    """What stands where on a day; ``by_journal`` where that is known for the day."""

    day: date
    today: date
    places: tuple[DayPlace, ...]
    by_journal: bool
    n_differ: int

    @property
    def before(self) -> date:
        """The day before."""
        return self.day - timedelta(days=1)

    @property
    def after(self) -> date:
        """The day after."""
        return self.day + timedelta(days=1)


def place_view(
    desk: Desk,
    name: str,
    from_date: date | None = None,
    weeks: int | None = 8,
    page: int = 1,
) -> PlaceView | None:
    """Gather the page of one place.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str
        Name of the place.
    from_date : date or None, default None
        First day to show; None is today's week.
    weeks : int or None, default 8
        Weeks to show; None is the whole season.
    page : int, default 1
        Which page of the stays.

    Returns
    -------
    view : PlaceView or None
        What the page shows; None without a plan.

    Raises
    ------
    UnknownNameError
        If there is no such place.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        head = unit.plans.current()
        if head is None:
            return None
        uses = daily_uses(unit, head.id)
        house, catalog, _ = house_of(unit)
        known = {each.name for each in uses if not each.hands} | {p.name for p in house.places}
        if name not in known:
            raise UnknownNameError.among(name, "place", known)
        last = max((last_day(each) for each in uses), default=head.until_date)
        shown = window(head.from_date, last, from_date or today, weeks)
        days = (shown.from_date, shown.until_date)
        n_stays = unit.season_page.n_stays(head.id, *days, name)
        n_pages = max(-(-n_stays // STAYS_A_PAGE), 1)
        page = min(max(page, 1), n_pages)
        stays = unit.season_page.stays(
            head.id, *days, name, STAYS_A_PAGE, (page - 1) * STAYS_A_PAGE
        )
    daily = next((each for each in uses if each.name == name), None)
    return PlaceView(
        name=name,
        today=today,
        window=shown,
        row=None if daily is None else place_row(daily, shown, today),
        bars=tuple(_bar(each, shown, today, catalog) for each in stays),
        n_stays=n_stays,
        page=page,
        n_pages=n_pages,
        mondays_d=tuple(range(0, shown.n_days, 7)),
        week_dates=tuple(shown.from_date + timedelta(days=at) for at in range(0, shown.n_days, 7)),
        today_d=(today - shown.from_date).days + 0.5
        if shown.from_date <= today < shown.until_date
        else None,
    )


def _bar(stay: Stay, shown: Window, today: date, catalog: Catalog) -> StayBar:
    """Lay a stay on the days of a window."""
    first, end = max(stay.from_date, shown.from_date), min(stay.to_date, shown.until_date)
    state, words = _state(stay, today)
    return StayBar(
        sowing=stay.sowing,
        crop=_crop_name(stay.crop, catalog),
        variety=stay.variety,
        kind=stay.kind,
        what=_what(stay.n_containers, stay.container, catalog),
        when=f"{_STEP_WORDS.get(stay.kind, stay.kind)}"
        f" {wording.span(stay.from_date, stay.to_date - timedelta(days=1))}",
        x_d=(first - shown.from_date).days,
        width_d=max((end - first).days, 1),
        state=state,
        state_words=words,
        orders=stay.orders,
    )


def _state(stay: Stay, today: date) -> tuple[str, str]:
    """Tell how a stay stands by the journal."""
    if stay.ended_date is not None:
        return _DONE, f"ended {wording.short_day(stay.ended_date)}"
    if stay.sown_date is None:
        late = stay.sow_date < today
        return _COMING, f"not sown, planned {wording.short_day(stay.sow_date)}" if late else ""
    if stay.place_now == stay.place:
        return _HERE, "stands here"
    if stay.to_date <= today:
        return _DONE, ""
    if stay.from_date <= today:
        return _ELSEWHERE, f"stands in {stay.place_now}" if stay.place_now else ""
    return _COMING, ""


def day_view(desk: Desk, day: date | None = None) -> DayView | None:
    """Gather what stands where on a day.

    Parameters
    ----------
    desk : Desk
        The desk.
    day : date or None, default None
        The day; None is today.

    Returns
    -------
    view : DayView or None
        What the page shows; None without a plan.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        head = unit.plans.current()
        if head is None:
            return None
        day = day or today
        uses = daily_uses(unit, head.id)
        house, catalog, _ = house_of(unit)
        names = list(
            dict.fromkeys(
                [each.name for each in uses if not each.hands]
                + [each.name for each in house.places]
            )
        )
        stays = unit.season_page.stays(head.id, day, day + timedelta(days=1), None, 5000)
        there: Sequence[TraysThere] = []
        if day == today:
            there = unit.season_page.trays_now(names)
        elif day < today:
            stays, there = as_it_stood(unit, day, stays)
    by_place: dict[str, list[DayStay]] = {
        name: _planned(name, day, today, stays, there, catalog) for name in names
    }
    by_use = {each.name: each for each in uses}
    places = tuple(
        _day_place(name, by_use.get(name), day, by_place[name])
        for name in names
        if by_place[name] or name in by_use
    )
    return DayView(
        day=day,
        today=today,
        places=places,
        by_journal=day <= today,
        n_differ=sum(bool(stay.differs) for each in places for stay in each.stays),
    )


def _day_place(name: str, daily: DailyUse | None, day: date, stays: list[DayStay]) -> DayPlace:
    """Say how full a place is on a day."""
    if daily is None:
        return DayPlace(name, "", "", is_full=False, stays=tuple(stays))
    one = cut(daily, day, day + timedelta(days=1))
    use = float(one.use[0])
    room = None if one.capacity is None else float(one.capacity[0])
    return DayPlace(
        name=name,
        use=amount_words(use, daily),
        holds=holds_words(daily),
        is_full=room is not None and use > 0 and use >= 0.98 * room,
        stays=tuple(stays),
    )


def _planned(
    place: str,
    day: date,
    today: date,
    stays: Sequence[Stay],
    there: Sequence[TraysThere],
    catalog: Catalog,
) -> list[DayStay]:
    """List what the plan has in a place, and beside it what the journal says."""
    by_journal = day <= today
    that_day = "today" if day == today else "that day"
    n_there: defaultdict[str, int] = defaultdict(int)
    for each in there:
        if each.place == place:
            n_there[each.sowing] += each.n_trays
    found = []
    planned = [each for each in stays if each.place == place]
    for stay in planned:
        differs = _differs(stay, n_there.get(stay.sowing, 0)) if by_journal else ""
        due = ""
        if differs and stay.from_date == day and stay.ended_date is None:
            due = f"comes here {that_day}" if stay.sown_date else f"to be sown {that_day}"
            differs = ""
        found.append(
            DayStay(
                sowing=stay.sowing,
                crop=_crop_name(stay.crop, catalog),
                variety=stay.variety,
                what=_what(stay.n_containers, stay.container, catalog),
                step=_STEP_WORDS.get(stay.kind, stay.kind),
                since=stay.from_date,
                until=stay.to_date - timedelta(days=1),
                differs=differs,
                due=due,
            )
        )
    known = {each.sowing for each in planned}
    elsewhere = {each.sowing: each for each in stays}
    for each in there:
        if each.place == place and each.sowing not in known:
            goes = elsewhere.get(each.sowing)
            is_due = goes is not None and goes.from_date == day
            differs = f"stands here; the plan has it nowhere {that_day}"
            if goes is not None:
                differs = f"stands here; the plan has it in {goes.place} {that_day}"
            found.append(
                DayStay(
                    sowing=each.sowing,
                    crop=_crop_name(each.crop, catalog),
                    variety=each.variety,
                    what=_what(each.n_trays, each.container, catalog),
                    step="",
                    since=None,
                    until=None,
                    differs="" if is_due else differs,
                    due=f"goes to {goes.place} {that_day}" if is_due and goes is not None else "",
                )
            )
    return found


def _differs(stay: Stay, n_trays: int) -> str:
    """Say where the journal and the plan part."""
    if stay.ended_date is not None and stay.ended_date >= stay.to_date - timedelta(days=1):
        return ""  # handed over on its last day here, as planned
    if stay.ended_date is not None:
        return f"ended on {wording.span(stay.ended_date, None)}"
    if stay.sown_date is None:
        return "not sown yet"
    if not n_trays:
        return f"stands in {stay.place_now}" if stay.place_now else "no tray of it is known"
    if n_trays != stay.n_containers:
        return f"{n_trays} of {stay.n_containers} trays stand here"
    return ""


def _what(n_containers: int, container: str, catalog: Catalog) -> str:
    """Say how many of which container."""
    record = catalog.containers.get(container)
    return f"{n_containers} × {record.name if record else container}"


def _crop_name(crop: str, catalog: Catalog) -> str:
    """Return the name of a crop."""
    record = catalog.crops.get(crop)
    return record.name if record else crop
