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
    Picture,
    card_pictures,
    cautions,
    marked,
    short_card,
)
from sowbench.services.job_words import (
    crop_words,
    job_words,
    step_before,
    step_of,
    unit_noun,
    when_words,
)

if TYPE_CHECKING:
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
    title, beside, how = job_words(job, seen.walk)
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
        count_trays=step_of(job).n_containers if job.task == "count" and job.planned else 0,
        sowing=job.sowing,
        done=done,
    )


def _done(job: DayJob, seen: Seen) -> Done | None:
    """Say what ticked a job off."""
    if not job.done_entry:
        return None
    when = when_words(seen.clock(job.done_at), job.done_date or job.date, seen.today)
    return Done(job.done_entry, when, job.done_person)


def _tick(job: DayJob, walk: HouseWalk) -> Tick:
    """Make the entry that ticks a job off."""
    fields = {"job": job.key, "sowing": job.sowing, "place": job.place}
    if job.task == "water" or job.planned is None:
        kind = EntryKind.WATERED if job.task == "water" else _KINDS.get(job.task, EntryKind.NOTED)
        return Tick(kind, fields)
    planned, step = job.planned, step_of(job)
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
    before = step_before(job)
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
    crop = crop_words(job, seen.walk)
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
        step = step_of(job)
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
