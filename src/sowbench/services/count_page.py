"""The pages of counting: what can be counted, and one tray cell by cell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final

from sowbench.domain.records import Container
from sowbench.domain.tray_grid import TrayGrid
from sowbench.science.errors import UnknownNameError
from sowbench.services import wording
from sowbench.services.day_house import HouseWalk, house_walk
from sowbench.services.day_jobs import Seen
from sowbench.services.house_day import day_in_house
from sowbench.services.job_words import when_words

if TYPE_CHECKING:
    from sowbench.domain.book import Kept
    from sowbench.domain.ports import Unit
    from sowbench.domain.ports.today_page import SowingStands, TrayStands
    from sowbench.services.desk import Desk

STANDING_MOST: Final = 300
"""Most sowings in the list of what can be counted."""

TRAYS_WINDOW: Final = 24
"""Trays in the row of trays; those before and after are a link away."""


@dataclass(frozen=True, slots=True)
class TrayMark:
    """A tray in the row of trays.

    Attributes
    ----------
    number : int
        Its number.
    is_here : bool
        Whether the page shows this one.
    is_counted : bool
        Whether it was counted on the day.
    words : str
        As "tray 4, 112 of 128 on Tue 9 March".
    """

    number: int
    is_here: bool
    is_counted: bool
    words: str


@dataclass(frozen=True, slots=True)
class Counted:
    """One count of the tray on the day, or the last one before.

    Attributes
    ----------
    entry : str
        Id of the entry, to be struck if it is wrong.
    n_right, n_seen : int
        Cells with what is wanted, of those looked at.
    cells : str
        Map of the count; blank if it was counted by number only.
    when, person : str
        When and by whom.
    """

    entry: str
    n_right: int
    n_seen: int
    cells: str
    when: str
    person: str


@dataclass(frozen=True, slots=True)
class CountPage:
    """Context of the page on which a tray is counted.

    Attributes
    ----------
    sowing, title, over : str
        Name of the sowing, what it is ("Kale, tray 4 of 14"), and where and since when it stands.
    number, n_cells : int
        Number of the tray, and cells sown in it.
    grid : TrayGrid
        Its layout.
    wanted_low, wanted_high : int
        Plants wanted in a cell.
    is_clump : bool
        Whether more than one is wanted, so that too few has a meaning.
    entry_date : date
        Day under which the count is written.
    job : str
        Key of the planned count that this one ticks off; blank if none is open.
    today : tuple of Counted
        Counts of this tray on the day that stand, the first first; several are a conflict.
    last : Counted or None
        The last count before the day.
    trays : tuple of TrayMark
        Trays of the sowing that are still here, as many as a row shows, this one among them.
    n_trays, n_counted : int
        How many are still here in all, and those of them counted on the day.
    trays_before, trays_after : int
        Trays at which the row before and the row after begin; 0 if there is none.
    uncounted : int
        Next tray that was not counted on the day; 0 if there is none.
    before, after : int
        Numbers of the trays on either side; 0 if there is none.
    gone : str
        How the tray went, if it is gone; a gone tray is not counted.
    """

    sowing: str
    title: str
    over: str
    number: int
    n_cells: int
    grid: TrayGrid
    wanted_low: int
    wanted_high: int
    is_clump: bool
    entry_date: date
    job: str
    today: tuple[Counted, ...]
    last: Counted | None
    trays: tuple[TrayMark, ...]
    n_trays: int
    n_counted: int
    trays_before: int
    trays_after: int
    uncounted: int
    before: int
    after: int
    gone: str


@dataclass(frozen=True, slots=True)
class ToCount:
    """A sowing that can be counted.

    Attributes
    ----------
    sowing, title, beside : str
        Name, what it is, and since when it stands.
    n_trays, n_counted : int
        Trays that are here, and those with a count.
    first_tray : int
        Tray with which counting begins.
    counted : str
        Day of the last count; blank if there is none.
    is_due : bool
        Whether the plan has a count of it up to the day that nobody made.
    """

    sowing: str
    title: str
    beside: str
    n_trays: int
    n_counted: int
    first_tray: int
    counted: str
    is_due: bool


@dataclass(frozen=True, slots=True)
class CountListPage:
    """Context of the page on which one chooses what to count.

    Attributes
    ----------
    due : tuple of ToCount
        What the plan wants counted.
    places : tuple of (str, tuple of ToCount)
        Everything else that stands in the house, by place in walking order.
    """

    due: tuple[ToCount, ...]
    places: tuple[tuple[str, tuple[ToCount, ...]], ...]


def count_page(desk: Desk, sowing: str, number: int) -> CountPage:
    """Read the page of one tray.

    Parameters
    ----------
    desk : Desk
        The open book.
    sowing : str
        Name of the sowing.
    number : int
        Number of the tray.

    Returns
    -------
    page : CountPage
        What the page shows.

    Raises
    ------
    UnknownNameError
        If there is no such tray; only what is sown has trays.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        walk = house_walk(unit)
        tray = unit.today_page.tray(sowing, number)
        trays = unit.today_page.trays(sowing)
        plan = unit.plans.current()
        planned = None if plan is None else unit.today_page.planned(plan.id, sowing)
        job = None if plan is None else unit.today_page.open_count(plan.id, sowing, today)
        counts = unit.today_page.counts_of_day(sowing, today, number)
    if tray is None:
        known = [f"{each.number}" for each in trays]
        raise UnknownNameError(f"{number}", f"tray of {sowing}", known[:8])
    here = [each for each in trays if each.gone_date is None]
    numbers = [each.number for each in here]
    at = next((i for i, each in enumerate(numbers) if each >= number), 0)
    first = at - at % TRAYS_WINDOW
    window = here[first : first + TRAYS_WINDOW]
    open_now = [each.number for each in here if each.counted_date != today]
    open_now = [each for each in open_now if each != number]
    seen = Seen(walk, today, {})
    crop = "" if planned is None else walk.crop_name(planned.crop)
    low, high = (1, 1) if planned is None else planned.plants_per_cell
    container = walk.containers.get(tray.container)
    return CountPage(
        sowing=sowing,
        title=f"{wording.sentence_start(crop or sowing)}, tray {number} of {len(trays)}",
        over=_over(tray, container, None if planned is None else planned.sow_date),
        number=number,
        n_cells=tray.n_cells or (container.cells if container is not None else 0),
        grid=walk.grid(tray.container, tray.n_cells or 1),
        wanted_low=low,
        wanted_high=high,
        is_clump=high > 1,
        entry_date=today,
        job="" if job is None else job.key,
        today=tuple(_counted(each, seen) for each in counts if _is_of(each, number)),
        last=_last(tray, today),
        trays=tuple(_mark(each, number, today) for each in window),
        n_trays=len(here),
        n_counted=sum(each.counted_date == today for each in here),
        trays_before=numbers[first - TRAYS_WINDOW] if first else 0,
        trays_after=next(iter(numbers[first + TRAYS_WINDOW :]), 0),
        uncounted=next((each for each in open_now if each > number), next(iter(open_now), 0)),
        before=max((each for each in numbers if each < number), default=0),
        after=min((each for each in numbers if each > number), default=0),
        gone="" if tray.gone_date is None else f"{tray.gone_how}, {wording.day(tray.gone_date)}",
    )


def _over(tray: TrayStands, container: Container | None, sow_date: date | None) -> str:
    """Say where a tray stands, what it is, and since when."""
    parts = [tray.place, tray.container if container is None else container.name]
    if sow_date is not None:
        parts.append(f"sown {wording.day(sow_date)}")
    return ", ".join(each for each in parts if each)


def _is_of(kept: Kept, number: int) -> bool:
    """Tell whether a count stands and is of this one tray."""
    return kept.entry.trays == (number,) and not kept.struck_by


def _counted(kept: Kept, seen: Seen) -> Counted:
    """Say one count."""
    entry = kept.entry
    return Counted(
        entry.id,
        entry.n or 0,
        len(entry.cells) if entry.n_of is None else entry.n_of,
        entry.cells,
        when_words(seen.clock(entry.at), entry.day_date, seen.today),
        entry.person,
    )


def _last(tray: TrayStands, today: date) -> Counted | None:
    """Say the last count before the day."""
    if tray.counted_date is None or tray.counted_date >= today or tray.n_right is None:
        return None
    return Counted(
        tray.count_entry,
        tray.n_right,
        tray.n_seen or 0,
        tray.cells,
        wording.day(tray.counted_date),
        tray.counted_by,
    )


def _mark(tray: TrayStands, here: int, today: date) -> TrayMark:
    """Mark a tray in the row of trays."""
    words = f"tray {tray.number}"
    if tray.counted_date is not None and tray.n_right is not None:
        seen = "" if tray.n_seen is None else f" of {tray.n_seen:,}"
        words += f", {tray.n_right:,}{seen} on {wording.day(tray.counted_date)}"
    return TrayMark(tray.number, tray.number == here, tray.counted_date == today, words)


def count_list_page(desk: Desk) -> CountListPage:
    """Read what can be counted.

    Parameters
    ----------
    desk : Desk
        The open book.

    Returns
    -------
    page : CountListPage
        What is due first, then all that stands, by place.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        walk = house_walk(unit)
        standing = unit.today_page.standing(STANDING_MOST)
        due = _due(unit, today)
    rows = [(each, _to_count(each, walk, each.sowing in due)) for each in standing]
    by_place: dict[str, list[ToCount]] = {}
    for each, row in sorted(rows, key=lambda pair: walk.turn(pair[0].place)):
        if not row.is_due:
            by_place.setdefault(each.place, []).append(row)
    return CountListPage(
        tuple(row for _, row in rows if row.is_due),
        tuple((place, tuple(every)) for place, every in by_place.items()),
    )


def _due(unit: Unit, today: date) -> frozenset[str]:
    """Return the sowings whose planned count is open."""
    plan = unit.plans.current()
    if plan is None:
        return frozenset()
    return frozenset(unit.today_page.counts_due(plan.id, today))


def _to_count(stands: SowingStands, walk: HouseWalk, is_due: bool) -> ToCount:  # noqa: FBT001
    """Say a sowing that can be counted."""
    crop = wording.sentence_start(walk.crop_name(stands.crop)) if stands.crop else stands.sowing
    beside = [f"'{stands.variety}'" if stands.variety else "", stands.place]
    if stands.sown_date is not None:
        beside.append(f"sown {wording.day(stands.sown_date)}")
    return ToCount(
        sowing=stands.sowing,
        title=f"{crop}, {wording.count(stands.n_trays, 'tray')}",
        beside=", ".join(each for each in beside if each),
        n_trays=stands.n_trays,
        n_counted=stands.n_trays_counted,
        first_tray=stands.first_tray,
        counted="" if stands.counted_date is None else wording.day(stands.counted_date),
        is_due=is_due,
    )


def start_marks(page: CountPage) -> str:
    """Return the marks with which the map begins: those of the day's last count, else none.

    Parameters
    ----------
    page : CountPage
        The page.

    Returns
    -------
    cells : str
        A mark a cell of the tray.
    """
    blank = "." * page.n_cells
    of_today: Sequence[Counted] = page.today
    cells = of_today[-1].cells if of_today else ""
    return cells if len(cells) == page.n_cells else blank
