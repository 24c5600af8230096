"""The life of a sowing as a strip of places: as planned, and as it really went."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.domain.journal import EntryKind
from sowbench.domain.records import StepKind
from sowbench.services import wording

if TYPE_CHECKING:
    from sowbench.domain.journal import Entry
    from sowbench.domain.plan import Sowing
    from sowbench.domain.ports.sowings_page import Life, TrayState

STAY_KINDS: Final = (
    EntryKind.SOWN,
    EntryKind.BOUGHT_IN,
    EntryKind.PULLED,
    EntryKind.MOVED,
    EntryKind.SPACED,
    EntryKind.POTTED_ON,
    EntryKind.GRAFTED,
)
"""Kinds of entry that say where trays stand."""
# Width of a letter of the strip's type, on average [units of the drawing].
_LETTER: Final = 8.2
_AFTER_D: Final = 4
_STAGES: Final = {
    StepKind.PREPARE: "seed",
    StepKind.GERMINATE: "1",
    StepKind.TONE: "4",
    StepKind.HOLD: "4",
    StepKind.POT_ON: "3",
    StepKind.SPACE: "3",
    StepKind.GRAFT: "3",
}


@dataclass(frozen=True, slots=True)
class Block:
    """A stay in one place, drawn from `x` over `width`; `label` is blank where it does not fit."""

    x: float
    width: float
    label: str
    place: str
    words: str
    stage: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A day drawn as a line; `anchor` says on which side of it its words stand."""

    x: float
    words: str
    anchor: str
    text_x: float


@dataclass(frozen=True, slots=True)
class Bar:
    """A window drawn as a bar, with its middle."""

    x: float
    width: float
    middle: float


@dataclass(frozen=True, slots=True)
class Strip:
    """The whole strip, in units of a drawing `width` wide.

    Attributes
    ----------
    width : float
        Of the drawing.
    planned, real : tuple of Block
        Stays by the plan and by the journal.
    ready : Bar or None
        Ten to ninety percent of the ready day, with its middle.
    overgrown_x : float or None
        Middle day on which it is overgrown.
    today, wanted : Mark or None
        The day in the house, and the day on which it goes out.
    sown_words : str
        When it was, or is to be, sown.
    words : str
        All of it in a sentence, for who cannot see it.
    """

    width: float
    planned: tuple[Block, ...]
    real: tuple[Block, ...]
    ready: Bar | None
    overgrown_x: float | None
    today: Mark | None
    wanted: Mark | None
    sown_words: str
    words: str


@dataclass(frozen=True, slots=True)
class Stay:
    """A stretch in one place, by plan or journal; `to_date` is not part of it."""

    place: str
    from_date: date
    to_date: date
    kind: str = ""


def real_stays(
    entries: Iterable[Entry],
    life: Life | None,
    trays: Sequence[TrayState],
    today: date,
) -> tuple[Stay, ...]:
    """Follow where most of a sowing's trays stood.

    Parameters
    ----------
    entries : iterable of Entry
        Entries of `STAY_KINDS` that stand, in the order of days.
    life : Life or None
        What the journal says.
    trays : sequence of TrayState
        Its trays.
    today : date
        The day in the house; the last stay goes up to it.

    Returns
    -------
    stays : tuple of Stay
        One place after another.
    """
    n_trays = max(sum(each.gone_date is None for each in trays), 1)
    moves: list[tuple[date, str, str]] = []
    if life is not None and life.sown_date is not None:
        first = next((each.place for each in trays if each.from_date == life.sown_date), "")
        moves.append((life.sown_date, first, ""))
    for each in entries:
        if each.kind is EntryKind.SOWN and moves:
            moves[0] = (each.day_date, each.place, each.kind.value)
        elif each.place and (not each.trays or 2 * len(each.trays) >= n_trays):
            moves.append((each.day_date, each.place, each.kind.value))
    if len(moves) > 1 and not moves[0][1]:
        moves[0] = (moves[0][0], "", moves[0][2])
    end = today + timedelta(days=1)
    if life is not None and life.ended_date is not None:
        end = life.ended_date
    stays: list[Stay] = []
    for at, (day, place, kind) in enumerate(moves):
        until = moves[at + 1][0] if at + 1 < len(moves) else end
        if stays and stays[-1].place == place:
            stays[-1] = Stay(place, stays[-1].from_date, max(until, stays[-1].to_date), kind)
        elif until > day:
            stays.append(Stay(place, day, until, kind))
    return tuple(stays)


def life_strip(
    planned: Sowing | None, real: Sequence[Stay], today: date, width: float
) -> Strip | None:
    """Lay out the strip of a sowing.

    Parameters
    ----------
    planned : Sowing or None
        As planned.
    real : sequence of Stay
        As it went.
    today : date
        The day in the house.
    width : float
        Width of the drawing.

    Returns
    -------
    strip : Strip or None
        None where there is nothing to draw.
    """
    steps = (
        []
        if planned is None
        else [
            Stay(s.place, s.from_date, s.to_date, s.kind.value)
            for s in planned.steps
            if s.to_date > s.from_date
        ]
    )
    every = [*steps, *real]
    starts, ends = [s.from_date for s in every], [s.to_date for s in every]
    if not starts:
        return None
    if planned is not None and planned.ready_date.p90 is not None:
        ends.append(min(planned.ready_date.p90, max(ends) + timedelta(days=28)))
    first = min(starts)
    last = max(ends) + timedelta(days=_AFTER_D)
    scale = width / max((last - first).days, 1)

    def x(day: date) -> float:
        return float(round(min(max((day - first).days * scale, 0.0), width), 1))

    bar = None
    over_x = None
    if planned is not None:
        ready = planned.ready_date
        begin, end = x(ready.p10), x(ready.p90 or ready.p50)
        bar = Bar(begin, max(end - begin, 3.0), x(ready.p50))
        over = planned.overgrown_date.p50
        over_x = x(over) if over <= last else None
    wanted = None
    if planned is not None and planned.orders and steps:
        day = steps[-1].to_date
        wanted = _mark(x(day), f"goes out {wording.short_day(day)}", width)
    now = _mark(x(today), f"today, day {(today - first).days}", width)
    sow_date = real[0].from_date if real else first
    return Strip(
        width,
        _blocks(steps, x),
        _blocks(real, x),
        bar,
        over_x,
        now if first <= today <= last else None,
        wanted,
        f"{'sown' if real else 'sow'} {wording.short_day(sow_date)}",
        _words(planned, real, today),
    )


def _mark(at: float, words: str, width: float) -> Mark:
    """Place the words of a day on the side where there is room."""
    is_left = at + _LETTER * len(words) + 8 > width
    return Mark(at, words, "end" if is_left else "start", round(at + (-6 if is_left else 6), 1))


def _blocks(stays: Sequence[Stay], x: Callable[[date], float]) -> tuple[Block, ...]:
    """Draw stays side by side; a place that goes on is named once."""
    out: list[Block] = []
    before = ""
    for each in stays:
        begin, end = x(each.from_date), x(each.to_date)
        place = each.place or "place not said"
        fits = end - begin > _LETTER * len(place) + 10
        last_day = each.to_date - timedelta(days=1)
        words = f"{place}, {wording.span(each.from_date, last_day)}"
        label = place if fits and place != before else ""
        out.append(
            Block(begin, max(round(end - begin, 1), 2.0), label, place, words, _stage(each.kind))
        )
        before = place if label or place == before else before
    return tuple(out)


def _stage(kind: str) -> str:
    """Return the stage of the plants in a planned step."""
    try:
        return _STAGES.get(StepKind(kind), "2")
    except ValueError:
        return ""


def _words(planned: Sowing | None, real: Sequence[Stay], today: date) -> str:
    """Say the strip in words."""
    parts = []
    if planned is not None:
        course = [
            f"{each.place} from {wording.short_day(each.from_date)}" for each in planned.steps
        ]
        parts.append(f"Planned: {wording.listed(course)}.")
        span = wording.span(planned.ready_date.p10, planned.ready_date.p90)
        parts.append(f"Ready {span}, 8 times in 10.")
    if real:
        went = [f"{each.place or 'sown'} from {wording.short_day(each.from_date)}" for each in real]
        parts.append(f"As it went: {wording.listed(went)}.")
    parts.append(f"Today is {wording.day(today)}.")
    return " ".join(parts)
