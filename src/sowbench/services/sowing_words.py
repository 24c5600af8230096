"""What is true of a sowing now, in one sentence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from sowbench.domain.records import StepKind
from sowbench.services import wording

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sowbench.domain.plan import Sowing
    from sowbench.domain.ports.sowings_page import Life, TrayGroup
    from sowbench.domain.records import Container
    from sowbench.services.sowing_emergence import Curve

# A count is held against what is still to come once it is so long after the middle seed is up.
_COUNT_LATE_D: Final = 2
# So long a count says how it is coming up; later it is growing on.
_FRESH_D: Final = 10


class Level(StrEnum):
    """How pressing a sentence is; blank is simply so."""

    PLAIN = ""
    GOOD = "good"
    WATCH = "watch"
    ACT = "act"


@dataclass(frozen=True, slots=True)
class Sentence:
    """What is true, and how pressing it is."""

    words: str
    level: Level = Level.PLAIN


def title_of(
    crop_name: str, variety: str, n_trays: int, container: Container | None, container_id: str
) -> str:
    """Name a sowing by what it is.

    Parameters
    ----------
    crop_name : str
        Name of the crop.
    variety : str
        Its variety, perhaps blank.
    n_trays : int
        Lifted units.
    container : Container or None
        What it stands in, if it is known.
    container_id : str
        Its id.

    Returns
    -------
    title : str
        As "Kale 'Winterbor', 14 trays of 128 cells".
    """
    what = f"{crop_name} '{variety}'" if variety else crop_name
    if not n_trays:
        return what
    if container is None:
        return f"{what}, {n_trays:,} x {container_id}" if container_id else what
    if container.kind == "tray" or container.container_class.value == "plug":
        trays = wording.count(n_trays, "tray")
        return f"{what}, {trays} of {container.cells} cells"
    return f"{what}, {n_trays:,} x {container.name}"


def stands_words(groups: Sequence[TrayGroup]) -> str:
    """Say where the trays of a sowing stand.

    Parameters
    ----------
    groups : sequence of TrayGroup
        Trays by place and container, the largest first.

    Returns
    -------
    words : str
        As "warm bench", "9 on the warm bench, 5 in the yard"; blank if nobody knows.
    """
    by_place: dict[str, int] = {}
    for each in groups:
        by_place[each.place] = by_place.get(each.place, 0) + each.n_trays
    known = {place: n for place, n in by_place.items() if place}
    if len(known) <= 1:
        return next(iter(known), "")
    return wording.listed(f"{n:,} {place}" for place, n in known.items())


def days_ago(day: date, today: date) -> str:
    """Say how long ago a day was.

    Parameters
    ----------
    day, today : date
        The day, and the day in the house.

    Returns
    -------
    words : str
        As "today", "yesterday", "Fri 5 March".
    """
    gone = (today - day).days
    if gone == 0:
        return "today"
    return "yesterday" if gone == 1 else wording.day(day)


def wanted_of(planned: Sowing | None) -> int:
    """Return the plants that orders want of a sowing.

    Parameters
    ----------
    planned : Sowing or None
        The sowing as planned.

    Returns
    -------
    n_plants : int
        0 without a plan.
    """
    return 0 if planned is None else sum(each.plants for each in planned.orders)


def state_sentence(life: Life | None, planned: Sowing | None, today: date) -> Sentence:
    """Say what is true of a sowing, from what a list knows of it.

    Parameters
    ----------
    life : Life or None
        What the journal says.
    planned : Sowing or None
        What the plan says.
    today : date
        The day in the house.

    Returns
    -------
    sentence : Sentence
        One sentence.
    """
    if life is not None and life.ended_date is not None:
        return _ended(life, today)
    if life is None or (life.sown_date is None and life.n_cells is None):
        return _to_come(planned, today)
    if planned is None:
        counted = _counted(life, today)
        words = f"In no plan. {counted}" if counted else "In no plan, and not counted yet."
        return Sentence(words, Level.WATCH)
    late = _past_window(planned, today)
    if late is not None:
        return late
    counted = _counted(life, today)
    if _is_below(life, planned):
        words = f"{counted} At that share it falls short of the {wanted_of(planned):,} wanted."
        return Sentence(words, Level.WATCH)
    ready = f"Ready about {wording.day(planned.ready_date.p50)}."
    return Sentence(f"{counted} {ready}".strip() if counted else f"Not counted yet. {ready}")


def _ended(life: Life, today: date) -> Sentence:
    """Say how a sowing ended."""
    when = days_ago(life.ended_date or today, today)
    if life.n_delivered:
        return Sentence(f"Ended {when}: {wording.count(life.n_delivered, 'plant')} handed over.")
    return Sentence(f"Ended {when}, nothing handed over.", Level.WATCH)


def _to_come(planned: Sowing | None, today: date) -> Sentence:
    """Say when a sowing is to be sown."""
    if planned is None:
        return Sentence("Nothing is known of its sowing.", Level.WATCH)
    day = planned.sow_date
    if day == today:
        return Sentence("To be sown today.", Level.WATCH)
    if day > today:
        return Sentence(f"To be sown {wording.day(day)}.")
    return Sentence(f"Was to be sown {wording.day(day)}; nobody has said that it was.", Level.ACT)


def _past_window(planned: Sowing, today: date) -> Sentence | None:
    """Say that it is ready, or overgrown, by the plan."""
    if today >= planned.overgrown_date.p50:
        since = wording.day(planned.overgrown_date.p50)
        return Sentence(f"Past its window by the plan, since about {since}.", Level.ACT)
    if today >= planned.ready_date.p50:
        until = wording.day(planned.overgrown_date.p50)
        return Sentence(f"Ready by the plan; overgrown from about {until}.", Level.GOOD)
    return None


def _counted(life: Life, today: date) -> str:
    """Say the last count."""
    if life.counted_date is None or not life.n_seen or life.n_right is None:
        return ""
    share = wording.percent(life.n_right / life.n_seen)
    when = days_ago(life.counted_date, today)
    return f"Counted {when}: {life.n_right:,} of {life.n_seen:,} cells right, {share}."


def _is_below(life: Life, planned: Sowing) -> bool:
    """Tell whether the share counted, over all cells that are left, is less than is wanted."""
    if life.n_right is None or not life.n_seen or not life.n_cells or life.counted_date is None:
        return False
    if (life.counted_date - planned.sow_date).days < _COUNT_LATE_D:
        return False
    wanted = sum(-(-each.plants // max(planned.plants_per_cell[0], 1)) for each in planned.orders)
    left = life.n_cells - life.n_lost
    return life.n_right / life.n_seen * left + life.n_delivered < wanted


def heading_of(
    life: Life | None,
    planned: Sowing | None,
    curve: Curve | None,
    share: tuple[date, float] | None,
    today: date,
) -> Sentence:
    """Say what is true of a sowing now, for the head of its page.

    Parameters
    ----------
    life : Life or None
        What the journal says.
    planned : Sowing or None
        What the plan says.
    curve : Curve or None
        How it comes up by the plan.
    share : tuple of (date, float) or None
        Day and share of the last count.
    today : date
        The day in the house.

    Returns
    -------
    sentence : Sentence
        A few words.
    """
    if life is not None and life.ended_date is not None:
        return _ended(life, today)
    if life is None or life.sown_date is None:
        return _to_come(planned, today)
    if planned is None:
        return Sentence(f"Sown {wording.day(life.sown_date)}; in no plan", Level.WATCH)
    late = _past_window(planned, today)
    if late is not None:
        return Sentence(late.words.rstrip("."), late.level)
    if curve is not None and share is not None:
        day, counted = share
        low, _, high = curve.at(day)
        if (today - day).days <= _FRESH_D:
            return _against_plan(counted, low, high)
        ready = wording.day(planned.ready_date.p50)
        said = f"{wording.percent(counted)} of cells at the count of {wording.short_day(day)}"
        if counted < low:
            return Sentence(f"Ready about {ready}, but only {said}", Level.WATCH)
        return Sentence(f"Ready about {ready}; {said}")
    if curve is None or curve.half_date is None:
        return Sentence(f"Standing; ready about {wording.day(planned.ready_date.p50)}")
    if today < curve.half_date:
        return Sentence(f"Nothing to see yet: half is up about {wording.day(curve.half_date)}")
    return _standing(planned, curve.half_date, today)


def _against_plan(counted: float, low: float, high: float) -> Sentence:
    """Hold a count against the plan of its day."""
    here, band = wording.percent(counted), f"{wording.percent(low)} to {wording.percent(high)}"
    if counted < low:
        words = f"Coming up worse than planned: {here} of cells, {band} by the plan"
        return Sentence(words, Level.ACT if counted < low - 0.1 else Level.WATCH)
    if counted > high:
        return Sentence(f"Coming up better than planned: {here} of cells", Level.GOOD)
    return Sentence(f"Coming up as planned: {here} of cells", Level.GOOD)


def _standing(planned: Sowing, half_date: date, today: date) -> Sentence:
    """Say which stretch of its life it is in, by the plan, where nobody has counted."""
    now = next((s for s in planned.steps if s.from_date <= today < s.to_date), None)
    ready = wording.day(planned.ready_date.p50)
    if now is not None and now.kind in {StepKind.TONE, StepKind.HOLD}:
        return Sentence(f"{'Toning' if now.kind is StepKind.TONE else 'Held'}; ready about {ready}")
    words = f"Up since about {wording.day(half_date)} by the plan; nobody has counted"
    return Sentence(words, Level.WATCH)


def trays_of(planned: Sowing | None, groups: Sequence[TrayGroup]) -> tuple[int, str]:
    """Return how many trays of which container a sowing has, or will have.

    Parameters
    ----------
    planned : Sowing or None
        What the plan says.
    groups : sequence of TrayGroup
        What stands, the largest first.

    Returns
    -------
    n_trays : int
        Trays of that container.
    container : str
        Id of the container; blank if nobody knows.
    """
    if groups:
        container = groups[0].container
        return sum(each.n_trays for each in groups if each.container == container), container
    if planned is not None and planned.steps:
        return planned.steps[0].n_containers, planned.steps[0].container
    return 0, ""


def by_sowing(groups: Sequence[TrayGroup]) -> Mapping[str, list[TrayGroup]]:
    """Sort tray groups by their sowing.

    Parameters
    ----------
    groups : sequence of TrayGroup
        Groups of several sowings.

    Returns
    -------
    groups : mapping of str to list of TrayGroup
        By sowing, in the same order.
    """
    found: dict[str, list[TrayGroup]] = {}
    for each in groups:
        found.setdefault(each.sowing, []).append(each)
    return found
