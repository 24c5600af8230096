"""Planned jobs as they stand on the page of a day: in trade words, in pictures, and to tick off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Final

import msgspec

from sowbench.domain.journal import EntryKind
from sowbench.services import wording
from sowbench.services.cards import Card
from sowbench.services.day_card import (
    Line,
    Part,
    Picture,
    card_pictures,
    cautions,
    marked,
    short_card,
)

if TYPE_CHECKING:
    from sowbench.domain.plan import Sowing, Step
    from sowbench.domain.ports.today_page import DayJob, PlannedHandOver
    from sowbench.services.day_house import HouseWalk

_DRAWN: Final = {
    "water": "water",
    "sow": "hands",
    "move": "move",
    "count": "count",
    "thin": "cut",
    "space": "space",
    "pot on": "pot",
    "tone": "4",
    "pack": "pack",
}
POTTING_BENCH: Final = "Potting bench"
"""Where jobs are done that have no place of their own, such as sowing."""
_AT_POTTING_BENCH: Final = frozenset({"sow", "change lot"})
_TRAYS: Final = frozenset({"plug tray", "polystyrene tray", "flexible insert", "paper plug"})
_TURNS: Final = ("water", "change lot", "sow", "move", "count", "thin", "space", "pot on",
                 "tone", "pack")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Amount:
    """A number of a tick that may be changed before it is sent.

    Attributes
    ----------
    name, label : str
        Field of the entry, and what it is called.
    value : int
        As planned.
    per : int
        Cells of a full container where `name` is n_containers, so that cells follow; else 0.
    most : int
        Cells planned, which do not grow with another container; 0 if that does not apply.
    """

    name: str
    label: str
    value: int
    per: int = 0
    most: int = 0


@dataclass(frozen=True, slots=True)
class Tick:
    """The entry that ticks a job off, as a form.

    Attributes
    ----------
    kind : str
        Kind of the entry.
    fields : mapping of str to str
        Its other fields, fixed.
    amounts : tuple of Amount
        Numbers that may be changed.
    seeds_per_cell : int
        Seeds follow the cells of a sowing; 0 for other jobs.
    last_of : str
        Key of the job of which this is one order's part: whichever part is the last to be ticked
        off ends the sowing. Blank if there are no parts, or plants are left for later orders.
    """

    kind: str
    fields: Mapping[str, str]
    amounts: tuple[Amount, ...] = ()
    seeds_per_cell: int = 0
    last_of: str = ""


@dataclass(frozen=True, slots=True)
class Done:
    """What ticked a job off.

    Attributes
    ----------
    entry : str
        Id of the entry, to be struck by a correction.
    when : str
        Time of day, or the day if it was another.
    person : str
        Who wrote it; blank if nobody said.
    """

    entry: str
    when: str
    person: str


@dataclass(frozen=True, slots=True)
class JobLine:
    """One job on the page.

    Attributes
    ----------
    key : str
        Key by which it is ticked off.
    task : str
        Kind of job, as in the plan.
    group : str
        Place on the walk under which it stands.
    title : str
        In trade words.
    beside : str
        Variety, lot or the like; blank if there is nothing to add.
    how : tuple of Line
        What to do, in short.
    cautions : tuple of str
        What can hurt someone.
    card : Card or None
        The whole card, for sowing.
    pictures : tuple of Picture
        The job without words.
    minutes : float
        Reckoned by the plan [min].
    wait : str
        How long it can wait; blank if it cannot, or is done.
    late_d : int
        Days it is late [d]; 0 if it is not.
    presses : bool
        Whether it is late beyond what the plan allows.
    tick : Tick
        The entry that ticks it off.
    count_trays : int
        Trays to count; 0 for other jobs, which need no count.
    sowing : str
        Sowing it is about; blank if none.
    done : Done or None
        What ticked it off.
    """

    key: str
    task: str
    group: str
    title: str
    beside: str
    how: tuple[Line, ...]
    cautions: tuple[str, ...]
    card: Card | None
    pictures: tuple[Picture, ...]
    minutes: float
    wait: str
    late_d: int
    presses: bool
    tick: Tick
    count_trays: int
    sowing: str
    done: Done | None


@dataclass(frozen=True, slots=True)
class Seen:
    """From where jobs are seen: the house, the day in it, and what orders get."""

    walk: HouseWalk
    today: date
    hand_overs: Mapping[str, Sequence[PlannedHandOver]]

    def clock(self, at: datetime | None) -> str:
        """Say the time of day in the house.

        Parameters
        ----------
        at : datetime or None
            An instant; None where only the day is known.

        Returns
        -------
        text : str
            As "8:12"; blank if it is not known.
        """
        if at is None:
            return ""
        local = at.astimezone(self.walk.zone)
        return f"{local.hour}:{local.minute:02d}"


def job_lines(job: DayJob, seen: Seen) -> list[JobLine]:
    """Write a planned job as the page shows it.

    Parameters
    ----------
    job : DayJob
        The job.
    seen : Seen
        The house and the day.

    Returns
    -------
    lines : list of JobLine
        One; packing has one for each order that gets plants of the sowing that day.
    """
    if job.task == "pack":
        return _pack(job, seen)
    title, beside, how = _words(job, seen.walk)
    card = msgspec.json.decode(job.card, type=Card) if job.card and job.task == "sow" else None
    if card is not None:
        how = short_card(card)
    return [
        _line(
            job,
            seen,
            title=title,
            beside=beside,
            how=how,
            card=card,
            tick=_tick(job, seen.walk),
        )
    ]


def turn_of(line: JobLine, walk: HouseWalk) -> tuple[int, int, str]:
    """Return the turn of a job on the walk.

    Parameters
    ----------
    line : JobLine
        The job.
    walk : HouseWalk
        The house.

    Returns
    -------
    turn : tuple of int, int, str
        Sorts jobs as one walks.
    """
    place = -1 if line.group == POTTING_BENCH else walk.turn(line.group)
    if line.task in _AT_POTTING_BENCH:
        # A change of lot comes right before the sowings from it.
        return place, _TURNS.index("sow"), f"{line.tick.fields.get('lot', '')} {line.task}"
    turn = _TURNS.index(line.task) if line.task in _TURNS else len(_TURNS)
    return place, turn, line.sowing


def container_words(walk: HouseWalk, container: str, n_containers: int, n_cells: int) -> str:
    """Say what is filled or moved.

    Parameters
    ----------
    walk : HouseWalk
        The house.
    container : str
        Id of a container.
    n_containers, n_cells : int
        How many of it, and the cells in use.

    Returns
    -------
    text : str
        As "4 trays of 288" or "30 mineral-wool cubes of 40 mm".
    """
    record = walk.containers.get(container)
    if record is None:
        return f"{n_containers:,} x {container}"
    if record.kind in _TRAYS:
        trays = wording.count(n_containers, "tray")
        if n_containers == 1 and n_cells < record.cells:
            return f"{trays} of {record.cells}, {wording.count(n_cells, 'cell')} of it"
        return f"{trays} of {record.cells}"
    what, *rest = record.name.split(", ")
    size = next((f" of {each}" for each in rest if each.endswith(" mm")), "")
    noun = what[:1].lower() + what[1:]
    if n_cells == 1 and noun.endswith("s"):
        noun = noun[:-1]
    return f"{n_cells:,} {noun}{size}"


def unit_noun(walk: HouseWalk, container: str) -> str:
    """Name what is lifted.

    Parameters
    ----------
    walk : HouseWalk
        The house.
    container : str
        Id of a container.

    Returns
    -------
    noun : str
        "tray", "sheet" or "carrier".
    """
    record = walk.containers.get(container)
    if record is None or record.kind in _TRAYS:
        return "tray"
    return "sheet" if "sheet of" in record.name else "carrier"


def when_words(at: str, day: date, today: date) -> str:
    """Say when an entry was written.

    Parameters
    ----------
    at : str
        Time of day; blank if only the day is known.
    day, today : date
        Its day, and the day in the house.

    Returns
    -------
    text : str
        As "8:12" today, "Mon 8 March" otherwise.
    """
    if day == today:
        return at or "today"
    return wording.day(day)


def _line(
    job: DayJob,
    seen: Seen,
    *,
    title: str,
    beside: str,
    how: tuple[Line, ...],
    tick: Tick,
    card: Card | None = None,
    key: str = "",
    minutes: float | None = None,
) -> JobLine:
    """Put a line together with what all jobs share."""
    late_d = max((seen.today - job.date).days, 0)
    last = job.date + timedelta(days=job.slack_d)
    done = _done(job, seen)
    wait = ""
    if done is None and job.slack_d and last > seen.today:
        wait = f"can wait until {wording.day(last)}"
    return JobLine(
        key=key or job.key,
        task=job.task,
        group=POTTING_BENCH if job.task in _AT_POTTING_BENCH or not job.place else job.place,
        title=title,
        beside=beside,
        how=how,
        cautions=() if card is None else cautions(card.steps),
        card=card,
        pictures=_pictures(job, seen.walk, card),
        minutes=job.minutes if minutes is None else minutes,
        wait=wait,
        late_d=late_d,
        presses=last < seen.today,
        tick=tick,
        count_trays=_step(job).n_containers if job.task == "count" and job.planned else 0,
        sowing=job.sowing,
        done=done,
    )


def _done(job: DayJob, seen: Seen) -> Done | None:
    """Say what ticked a job off."""
    if not job.done_entry:
        return None
    when = when_words(seen.clock(job.done_at), job.done_date or job.date, seen.today)
    return Done(job.done_entry, when, job.done_person)


def _step(job: DayJob) -> Step:
    """Return the step that a sowing is in on the day of a job, the one that it begins included."""
    planned = _planned(job)
    begun = [each for each in planned.steps if each.from_date <= job.date]
    return begun[-1] if begun else planned.steps[0]


def _before(job: DayJob) -> Step | None:
    """Return the step before the one that a job begins."""
    planned, step = _planned(job), _step(job)
    at = planned.steps.index(step)
    return planned.steps[at - 1] if at else None


def _planned(job: DayJob) -> Sowing:
    """Return the sowing of a job that has one."""
    if job.planned is None:
        raise LookupError(f"job {job.key} must be about a planned sowing; got none.")
    return job.planned


def _crop(job: DayJob, walk: HouseWalk) -> str:
    """Name the crop of a job, or its sowing where the plan no longer has it."""
    return job.sowing if job.planned is None else walk.crop_name(job.planned.crop)


def _words(job: DayJob, walk: HouseWalk) -> tuple[str, str, tuple[Line, ...]]:
    """Say a job: its title, what stands beside it, and how in short."""
    if job.task == "water":
        return "Water what is dry", "", ()
    if job.planned is None:
        return f"{wording.sentence_start(job.task)}: {job.sowing}", job.words, ()
    planned, step, crop = job.planned, _step(job), _crop(job, walk)
    of_what = container_words(walk, step.container, step.n_containers, step.n_cells)
    units = wording.count(step.n_containers, unit_noun(walk, step.container))
    variety = f"'{planned.variety}'" if planned.variety else ""
    if job.task == "sow":
        beside = f"lot {planned.lot}, {wording.count(planned.n_seeds, 'seed')}"
        return f"Sow {crop}, {of_what}", ", ".join(filter(None, (variety, beside))), ()
    if job.task == "change lot":
        return f"Set up for lot {job.words or planned.lot}", f"{crop} {variety}".strip(), ()
    return _later_words(job, walk, crop, variety, units, of_what)


def _later_words(
    job: DayJob, walk: HouseWalk, crop: str, variety: str, units: str, of_what: str
) -> tuple[str, str, tuple[Line, ...]]:
    """Say a job after sowing."""
    planned, step, before = _planned(job), _step(job), _before(job)
    where = before.place if before is not None and before.place != job.place else ""
    if job.task == "move":
        how = marked(f"From the |{where}|") if where else ()
        title = f"Bring {units} of {crop} here"
        if where and walk.is_chamber(where):
            title = f"Pull {units} of {crop} from the {where}"
            how = marked(f"To the |{job.place}|")
        return title, variety, (how,) if how else ()
    if job.task == "tone":
        how = marked(f"From the |{where}|") if where else marked("Cooler and drier from now on")
        return f"Bring {units} of {crop} here to tone", variety, (how,)
    if job.task == "count":
        days = (job.date - planned.sow_date).days
        sown = wording.day(planned.sow_date)
        return (
            f"Count {crop}, {of_what}",
            variety,
            (marked(f"Sown {sown}, |{wording.count(days, 'day')}| ago"),),
        )
    if job.task == "thin":
        low, high = planned.plants_per_cell
        keep = f"{low}" if low == high else f"{low} to {high}"
        return f"Thin {crop}, {of_what}", variety, (marked(f"Leave |{keep} a cell|, cut the rest"),)
    if job.task == "pot on":
        from_what = "" if before is None else container_words(
            walk, before.container, before.n_containers, before.n_cells
        )  # fmt: skip
        how = marked(f"From {from_what}") if from_what else ()
        return f"Pot on {crop} into {of_what}", variety, (how,) if how else ()
    if job.task == "space":
        density = f"{step.plants_per_m2:.0f} plants a square meter"
        return f"Space out {crop}, {units}", variety, (marked(f"To |{density}|"),)
    return f"{wording.sentence_start(job.task)} {crop}, {units}", variety, ()


def _tick(job: DayJob, walk: HouseWalk) -> Tick:
    """Make the entry that ticks a job off."""
    fields = {"job": job.key, "sowing": job.sowing, "place": job.place}
    if job.task == "water" or job.planned is None:
        kind = EntryKind.WATERED if job.task == "water" else _KINDS.get(job.task, EntryKind.NOTED)
        return Tick(kind, fields)
    planned, step = job.planned, _step(job)
    record = walk.containers.get(step.container)
    full = {} if record is None else {"values.n_cells_per_tray": str(record.cells)}
    noun = wording.sentence_start(unit_noun(walk, step.container)) + "s"
    if job.task in {"sow", "pot on"}:
        most = step.n_cells
        per = record.cells if record is not None else -(-most // max(step.n_containers, 1))
        amounts = (
            Amount("n_containers", noun, step.n_containers, per, most),
            Amount("n", "Cells", most),
        )
        kept = {"crop": planned.crop, "variety": planned.variety, "lot": planned.lot}
        sown = kept if job.task == "sow" else {}
        fields |= {**sown, "container": step.container, **full}
        seeds = planned.seeds_per_cell if job.task == "sow" else 0
        return Tick(_KINDS[job.task], fields, amounts, seeds)
    if job.task == "count":
        n_of = Amount("n_of", "Cells looked at", step.n_cells)
        return Tick(EntryKind.COUNTED, fields, (Amount("n", "Right", 0), n_of))
    if job.task == "change lot":
        lot = job.words or planned.lot
        return Tick(EntryKind.NOTED, fields | {"lot": lot, "note": f"Set up for lot {lot}"})
    kind = _KINDS.get(job.task, EntryKind.NOTED)
    before = _before(job)
    if job.task == "move" and before is not None and walk.is_chamber(before.place):
        kind = EntryKind.PULLED
    return Tick(kind, fields)


_KINDS: Final = {
    "sow": EntryKind.SOWN,
    "move": EntryKind.MOVED,
    "count": EntryKind.COUNTED,
    "thin": EntryKind.THINNED,
    "pot on": EntryKind.POTTED_ON,
    "space": EntryKind.SPACED,
    "tone": EntryKind.MOVED,
    "water": EntryKind.WATERED,
    "pack": EntryKind.DELIVERED,
    "change lot": EntryKind.NOTED,
}
"""Kind of the entry that ticks a job off, by task."""


def _pack(job: DayJob, seen: Seen) -> list[JobLine]:
    """Write a line for each order that gets plants of a sowing next."""
    crop = _crop(job, seen.walk)
    coming = [each for each in seen.hand_overs.get(job.sowing, ()) if each.date >= job.date]
    first = min((each.date for each in coming), default=None)
    now = [each for each in coming if each.date == first]
    last = not any(each.date != first for each in coming)
    variety = "" if job.planned is None or not job.planned.variety else f"'{job.planned.variety}'"
    fields = {"sowing": job.sowing, "place": job.place}
    ends = {"values.last": "1"} if last and len(now) < 2 else {}
    if not now:
        tick = Tick(EntryKind.DELIVERED, fields | {"job": job.key}, (Amount("n", "Plants", 0),))
        return [_line(job, seen, title=f"Pack {crop}", beside=variety, how=(), tick=tick)]
    lines = []
    for each in now:
        key = job.key if len(now) == 1 else f"{job.key}/{each.order}"
        whose = f"{each.customer}, order {each.order}" if each.customer else f"order {each.order}"
        how = [marked(f"For |{whose}|")]
        if each.date != job.date:
            how.append(marked(f"Goes out |{wording.day(each.date)}|"))
        tick = Tick(
            EntryKind.DELIVERED,
            {**fields, **ends, "job": key, "order": each.order},
            (Amount("n", "Plants", each.plants),),
            last_of=job.key if last and len(now) > 1 else "",
        )
        lines.append(
            _line(
                job,
                seen,
                title=f"Pack {each.plants:,} {crop}",
                beside=variety,
                how=tuple(how),
                tick=tick,
                key=key,
                minutes=job.minutes / len(now),
            )
        )
    return lines


def _pictures(job: DayJob, walk: HouseWalk, card: Card | None) -> tuple[Picture, ...]:
    """Draw a job: what is in hand, what is done with it, where it goes."""
    if job.task == "change lot":
        return ()
    drawn: list[Picture] = [Picture(_DRAWN.get(job.task, "hands"), job.task)]
    if job.planned is not None:
        step = _step(job)
        units = wording.count(step.n_containers, unit_noun(walk, step.container))
        drawn.append(Picture("tray", units, f"{step.n_containers:,}"))
    if job.task == "sow" and job.planned is not None:
        n_seeds = job.planned.seeds_per_cell
        drawn.append(Picture("seed", f"{wording.count(n_seeds, 'seed')} a cell", f"{n_seeds}"))
    if card is not None:
        drawn += card_pictures(card)
    kind = walk.places.get(job.place)
    if kind is not None and job.task in {"sow", "move", "tone", "pot on"}:
        drawn.append(Picture(kind.value, f"to the {job.place}"))
    return tuple(drawn)


__all__ = [
    "POTTING_BENCH",
    "Amount",
    "Done",
    "JobLine",
    "Line",
    "Part",
    "Seen",
    "Tick",
    "container_words",
    "job_lines",
    "turn_of",
    "unit_noun",
    "when_words",
]
