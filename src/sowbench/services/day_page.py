"""The page of a day's work: the jobs of the current plan in walking order, and what is late."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.domain.journal import EntryKind
from sowbench.services import wording
from sowbench.services.day_house import HouseWalk, house_walk
from sowbench.services.day_jobs import (
    POTTING_BENCH,
    Done,
    JobLine,
    Seen,
    job_lines,
    turn_of,
)
from sowbench.services.house_day import day_in_house
from sowbench.services.job_words import when_words

if TYPE_CHECKING:
    from sowbench.domain.book import Kept
    from sowbench.domain.ports import Unit
    from sowbench.domain.ports.today_page import DayJob, PlannedHandOver, TickedOff
    from sowbench.services.desk import Desk

LATE_D: Final = 30
"""Jobs of so many days back are shown as late [d]; what is older is history."""
LATE_MOST: Final = 60
"""Most late jobs that are shown."""
_ALSO_MOST: Final = 40


@dataclass(frozen=True, slots=True)
class Stay:
    """One stop on the walk.

    Attributes
    ----------
    place : str
        Name of the place.
    kind : str
        Kind of place; blank for the potting bench.
    minutes : float
        Reckoned for all its jobs [min].
    jobs : tuple of JobLine
        In the order in which they are done there.
    n_open : int
        How many are not done.
    """

    place: str
    kind: str
    minutes: float
    jobs: tuple[JobLine, ...]
    n_open: int


@dataclass(frozen=True, slots=True)
class Also:
    """Something written down on the day that ticks no job of the page.

    Attributes
    ----------
    entry : str
        Its id, to be struck.
    words : str
        What it says.
    sowing : str
        Sowing it is about; blank if none.
    when, person : str
        When and by whom.
    """

    entry: str
    words: str
    sowing: str
    when: str
    person: str


@dataclass(frozen=True, slots=True)
class DayPage:
    """Context of the page of a day's work.

    Attributes
    ----------
    day, today : date
        Day of the page, and the day in the house.
    entry_date : date
        Day under which ticks of this page are written: never a day to come.
    day_words : str
        As "Tuesday 9 March".
    has_plan : bool
        Whether there is a plan to work by.
    heading : str
        What is true now: "7 jobs, about 3 h 10".
    n_jobs, n_open : int
        Jobs of the day, and those not done.
    minutes, minutes_open : float
        Reckoned for all jobs and for those not done [min].
    stays : tuple of Stay
        In walking order.
    late : tuple of JobLine
        Undone jobs of earlier days, the most pressing first; only on the page of today.
    also : tuple of Also
        What else was written down on the day, the last first.
    zone : str
        Time zone of the house, in which times of day are said.
    day_off : str
        Why nobody works; blank on a work day.
    before, after : date
        Days on either side.
    next_day : date or None
        Where the day has no job: the next day that has one.
    """

    day: date
    today: date
    entry_date: date
    day_words: str
    has_plan: bool
    heading: str
    n_jobs: int
    n_open: int
    minutes: float
    minutes_open: float
    stays: tuple[Stay, ...]
    late: tuple[JobLine, ...]
    also: tuple[Also, ...]
    zone: str
    day_off: str
    before: date
    after: date
    next_day: date | None


def day_page(desk: Desk, day: date | None = None) -> DayPage:
    """Read the page of a day's work.

    Parameters
    ----------
    desk : Desk
        The open book.
    day : date or None, default None
        The day; the day in the house if it is not given.

    Returns
    -------
    page : DayPage
        What the page shows.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        return _page(unit, today, day or today)


def _page(unit: Unit, today: date, day: date) -> DayPage:
    """Read a day; the number of queries is the same for every day with jobs."""
    walk = house_walk(unit)
    plan = unit.plans.current()
    jobs: Sequence[DayJob] = []
    late: Sequence[DayJob] = []
    if plan is not None:
        jobs = unit.today_page.jobs(plan.id, day)
        if day == today:
            first = today - timedelta(days=LATE_D)
            late = unit.today_page.late(plan.id, first, today, LATE_MOST)
    packed = [each for each in (*jobs, *late) if each.task == "pack"]
    names = {name for each in packed for name in each.orders}
    hand_overs: dict[str, list[PlannedHandOver]] = defaultdict(list)
    ticked: dict[str, TickedOff] = {}
    if plan is not None:
        for each in unit.today_page.hand_overs(plan.id, names):
            hand_overs[each.sowing].append(each)
        ticked = unit.today_page.ticked({each.sowing for each in packed})
    seen = Seen(walk, today, hand_overs)
    lines = _joined_water(_lines(jobs, seen, ticked))
    stays = _stays(lines, walk)
    late_lines = [each for each in _lines(late, seen, ticked) if each.done is None]
    shown = {each.done.entry for each in lines if each.done is not None}
    n_open = sum(each.done is None for each in lines)
    minutes_open = sum(each.minutes for each in lines if each.done is None)
    day_off = walk.day_off(day)
    return DayPage(
        day=day,
        today=today,
        entry_date=min(day, today),
        day_words=f"{day:%A} {day.day} {day:%B}",
        has_plan=plan is not None,
        heading=_heading(len(lines), n_open, minutes_open, day_off),
        n_jobs=len(lines),
        n_open=n_open,
        minutes=sum(each.minutes for each in lines),
        minutes_open=minutes_open,
        stays=stays,
        late=tuple(sorted(late_lines, key=lambda each: (not each.presses, -each.late_d))),
        also=_also(unit.journal.on_day(day), shown, seen),
        zone=walk.zone.key,
        day_off=day_off,
        before=day - timedelta(days=1),
        after=day + timedelta(days=1),
        next_day=None if plan is None or lines else unit.today_page.next_day(plan.id, day),
    )


def _lines(jobs: Iterable[DayJob], seen: Seen, ticked: dict[str, TickedOff]) -> list[JobLine]:
    """Write the lines of jobs; an order's part of packing is done by its own tick."""
    lines: list[JobLine] = []
    for job in jobs:
        parts = job_lines(job, seen)
        for at, line in enumerate(parts):
            tick = ticked.get(line.key) if line.key != job.key else None
            if tick is not None:
                parts[at] = replace(line, done=_part_done(tick, seen))
        lines += [_ending(each, parts) for each in parts]
    return lines


def _ending(line: JobLine, parts: Sequence[JobLine]) -> JobLine:
    """Let the part of packing that is the last to be ticked off end the sowing."""
    others = [each for each in parts if each is not line]
    if not line.tick.last_of or any(each.done is None for each in others):
        return line
    fields = {**line.tick.fields, "values.last": "1"}
    return replace(line, tick=replace(line.tick, fields=fields))


def _part_done(part: TickedOff, seen: Seen) -> Done:
    """Say what ticked off one order's part of packing."""
    return Done(part.entry, when_words(seen.clock(part.at), part.date, seen.today), part.person)


def _joined_water(lines: Sequence[JobLine]) -> list[JobLine]:
    """Make one line of the watering of each place."""
    joined: dict[str, JobLine] = {}
    for each in lines:
        if each.task != "water":
            joined[each.key] = each
            continue
        key = f"water {each.group}"
        first = joined.get(key)
        if first is not None:
            each = replace(first, minutes=first.minutes + each.minutes)  # noqa: PLW2901
        joined[key] = each
    return list(joined.values())


def _stays(lines: Iterable[JobLine], walk: HouseWalk) -> tuple[Stay, ...]:
    """Put the jobs in walking order, by place."""
    by_place: dict[str, list[JobLine]] = {}
    for each in sorted(lines, key=lambda line: (turn_of(line, walk), line.key)):
        by_place.setdefault(each.group, []).append(each)
    return tuple(
        Stay(
            place=place,
            kind="" if place == POTTING_BENCH else str(walk.places.get(place, "")),
            minutes=sum(each.minutes for each in jobs),
            jobs=tuple(jobs),
            n_open=sum(each.done is None for each in jobs),
        )
        for place, jobs in by_place.items()
    )


def _heading(n_jobs: int, n_open: int, minutes_open: float, day_off: str) -> str:
    """Say what is true now."""
    if n_jobs == 0:
        return f"Nothing to do: {day_off}" if day_off else "Nothing to do by the plan"
    if n_open == 0:
        return "The one job is done" if n_jobs == 1 else f"All {n_jobs} jobs are done"
    about = f"about {wording.minutes(minutes_open).removesuffix(' min')}"
    if minutes_open < 59.5:
        about += " min"
    if n_open < n_jobs:
        return f"{n_open} of {n_jobs} jobs left, {about}"
    return f"{wording.count(n_jobs, 'job')}, {about}"


def _also(entries: Sequence[Kept], shown: set[str], seen: Seen) -> tuple[Also, ...]:
    """Say what else was written down on a day, struck entries and corrections left out."""
    rows = []
    for kept in reversed(entries):
        entry = kept.entry
        if kept.struck_by or entry.kind is EntryKind.CORRECTED or entry.id in shown:
            continue
        rows.append(
            Also(
                entry.id,
                entry_words(kept),
                entry.sowing,
                when_words(seen.clock(entry.at), entry.day_date, seen.today),
                entry.person,
            )
        )
    return tuple(rows[:_ALSO_MOST])


def entry_words(kept: Kept) -> str:
    """Say an entry in a few words.

    Parameters
    ----------
    kept : Kept
        The entry.

    Returns
    -------
    text : str
        As "counted, tray 4: 112 of 128".
    """
    entry = kept.entry
    text = str(entry.kind)
    if entry.trays:
        shown = ", ".join(f"{each}" for each in entry.trays[:4])
        more = f" and {len(entry.trays) - 4} more" if len(entry.trays) > 4 else ""
        text += f", tray{'s' if len(entry.trays) > 1 else ''} {shown}{more}"
    if entry.n is not None:
        text += f": {entry.n:,}" + (f" of {entry.n_of:,}" if entry.n_of is not None else "")
    about = [entry.order, entry.place, entry.reason or entry.note]
    return ", ".join([text, *(each for each in about if each)])
