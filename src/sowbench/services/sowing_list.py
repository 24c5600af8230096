"""The list of sowings: those that stand, those to come, and on request those that are finished."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import TYPE_CHECKING, Final, TypeVar
from urllib.parse import urlencode

from sowbench.domain.ports.sowings_page import Cursor, ListedBy, Search, Shown
from sowbench.science.errors import OutOfRangeError, SowbenchError
from sowbench.services import wording
from sowbench.services.book_inputs import house_of
from sowbench.services.house_day import day_in_house
from sowbench.services.sowing_actions import house_actions
from sowbench.services.sowing_fields import REASONS, Action
from sowbench.services.sowing_words import (
    Level,
    by_sowing,
    stands_words,
    state_sentence,
    title_of,
    trays_of,
    wanted_of,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sowbench.domain.ports import Unit
    from sowbench.domain.ports.sowings_page import ListedSowing, TrayGroup
    from sowbench.domain.records import House, Order
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk

WINDOW: Final = 40
"""Sowings on one page of the list."""
_WORDS_MOST: Final = 100
Choices = TypeVar("Choices", bound=StrEnum)


@dataclass(frozen=True, slots=True)
class SowingLine:
    """One sowing in the list.

    Attributes
    ----------
    name : str
        Its name, as in its address.
    title : str
        What it is.
    state : str
        What is true of it, in a sentence.
    level : Level
        How pressing that is.
    where : str
        Where its trays stand.
    orders : str
        Whom it is for.
    stage : str
        Stage of the plants by the plan, "1" to "4"; "seed" before it is sown.
    n_trays, n_counted : int
        Trays that stand, and those counted.
    """

    name: str
    title: str
    state: str
    level: Level
    where: str
    orders: str
    stage: str
    n_trays: int
    n_counted: int


@dataclass(frozen=True, slots=True)
class ListGroup:
    """Sowings of one place, or of one day."""

    title: str
    kind: str
    lines: tuple[SowingLine, ...]


@dataclass(frozen=True, slots=True)
class Choice:
    """A way to show the list: its words, its address, and whether it is shown now."""

    words: str
    href: str
    is_here: bool


@dataclass(frozen=True, slots=True)
class SowingList:
    """The page of sowings.

    Attributes
    ----------
    heading : str
        How many stand, and how many are to come.
    shown, by : str
        What is shown, and in which order.
    words : str
        What was searched for.
    shows, orders : tuple of Choice
        The ways to show it.
    groups : tuple of ListGroup
        The sowings of this page.
    next_href, first_href : str
        Addresses of the next page and of the first; blank if there is none.
    is_empty_book : bool
        Whether nothing has been planned or sown yet.
    actions : tuple of Action
        What can be written down of the house and its trays.
    suggestions : mapping of str to sequence of str
        Places, containers and reasons to choose from.
    today : date
        The day in the house.
    """

    heading: str
    shown: str
    by: str
    words: str
    shows: tuple[Choice, ...]
    orders: tuple[Choice, ...]
    groups: tuple[ListGroup, ...]
    next_href: str
    first_href: str
    is_empty_book: bool
    actions: tuple[Action, ...]
    suggestions: Mapping[str, Sequence[str]]
    today: date


def sowing_list(
    desk: Desk, shown: str = "", by: str = "", words: str = "", after: str = ""
) -> SowingList:
    """Make a page of the list of sowings.

    Parameters
    ----------
    desk : Desk
        The open book.
    shown : str, default ""
        standing, coming or finished; blank is standing.
    by : str, default ""
        place or day; blank is place.
    words : str, default ""
        Searched for in names, crops, varieties, lots and names of orders.
    after : str, default ""
        Where the page before ended, as its next address says.

    Returns
    -------
    page : SowingList
        At most `WINDOW` sowings.

    Raises
    ------
    OutOfRangeError
        If an argument is none of what it can be.
    """
    which = _one_of(Shown, "show", shown or Shown.STANDING)
    order = _one_of(ListedBy, "by", by or ListedBy.PLACE)
    if which is Shown.FINISHED:
        order = ListedBy.DAY
    asked = " ".join(words.split())[:_WORDS_MOST]
    cursor = _cursor(after)
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        head = unit.plans.current()
        plan = None if head is None else head.id
        search = _search(unit, plan, asked)
        rows = unit.sowings_page.window(plan, which, order, search, cursor, WINDOW + 1)
        groups = by_sowing(unit.sowings_page.tray_groups([row.name for row in rows[:WINDOW]]))
        counts = unit.sowings_page.counts(plan)
        served = {
            share.order
            for row in rows[:WINDOW]
            if row.planned is not None
            for share in row.planned.orders
        }
        orders = unit.orders.named(sorted(served))
        house, catalog, _ = house_of(unit)
    kept = {"show": which.value, "by": order.value, "q": asked}
    next_href = ""
    if len(rows) > WINDOW:
        last = rows[WINDOW - 1]
        at = f"{last.day.isoformat()}|{last.place}|{last.name}"
        next_href = _href({**kept, "after": at})
    lines = [_line(row, groups.get(row.name, []), orders, catalog, today) for row in rows[:WINDOW]]
    kinds = {each.name: each.kind.value for each in house.places}
    return SowingList(
        heading=_heading(which, counts, asked, len(rows)),
        shown=which.value,
        by=order.value,
        words=asked,
        shows=tuple(
            Choice(_show_words(each, counts), _href({**kept, "show": each.value}), each is which)
            for each in Shown
        ),
        orders=()
        if which is Shown.FINISHED
        else tuple(
            Choice(f"by {each.value}", _href({**kept, "by": each.value}), each is order)
            for each in ListedBy
        ),
        groups=_grouped(rows[:WINDOW], lines, order, which, kinds),
        next_href=next_href,
        first_href=_href(kept) if cursor is not None else "",
        is_empty_book=plan is None and not counts[Shown.STANDING],
        actions=house_actions(today, house, catalog),
        suggestions=suggestions_of(house, catalog),
        today=today,
    )


def suggestions_of(house: House, catalog: Catalog) -> Mapping[str, Sequence[str]]:
    """Return what the fields of forms suggest.

    Parameters
    ----------
    house : House
        The house.
    catalog : Catalog
        The reference.

    Returns
    -------
    suggestions : mapping of str to sequence of str
        Places, containers (those of the house where it lists some) and reasons of loss.
    """
    own = tuple(each.container for each in house.stock) or tuple(catalog.containers)
    return {
        "places": tuple(each.name for each in house.places),
        "containers": own,
        "reasons": REASONS,
    }


def _one_of(choices: type[Choices], name: str, value: str) -> Choices:
    """Read one of a few words."""
    try:
        return choices(value)
    except ValueError:
        rule = "one of " + ", ".join(choices)
        raise OutOfRangeError(name, rule, value) from None


def _cursor(text: str) -> Cursor | None:
    """Read where the page before ended."""
    if not text:
        return None
    day, _, rest = text.partition("|")
    place, _, name = rest.partition("|")
    try:
        return Cursor(place, date.fromisoformat(day), name)
    except ValueError:
        raise OutOfRangeError("after", "as the next page's address has it", text) from None


def _search(unit: Unit, plan: int | None, words: str) -> Search:
    """Take an order's name for the sowings that fill it."""
    if not words:
        return Search()
    names: list[str] = []
    if plan is not None:
        for text in dict.fromkeys((words, words.upper())):
            found = unit.sowings_page.order_plans(plan, [text]).get(text)
            names += [each.sowing for each in found.hand_over] if found is not None else []
    return Search(words.lower(), tuple(names))


def _href(values: dict[str, str]) -> str:
    """Write the address of the list."""
    default = {"show": Shown.STANDING.value, "by": ListedBy.PLACE.value}
    kept = {name: value for name, value in values.items() if value and default.get(name) != value}
    return f"/sowings?{urlencode(kept)}" if kept else "/sowings"


def _show_words(shown: Shown, counts: dict[Shown, int]) -> str:
    """Say what is shown."""
    if shown is Shown.FINISHED:
        return "finished"
    return f"{counts[shown]:,} {'standing' if shown is Shown.STANDING else 'to come'}"


def _heading(shown: Shown, counts: dict[Shown, int], words: str, n_rows: int) -> str:
    """Say what the list shows."""
    if words:
        found = f"{WINDOW} sowings or more" if n_rows > WINDOW else wording.count(n_rows, "sowing")
        return f"{wording.sentence_start(found)} for “{words}”"
    if shown is Shown.FINISHED:
        return "Finished sowings"
    if shown is Shown.COMING:
        n = counts[Shown.COMING]
        return f"{wording.count(n, 'sowing')} to come" if n else "Nothing more to sow"
    n = counts[Shown.STANDING]
    return f"{wording.count(n, 'sowing')} in the house" if n else "Nothing stands in the house"


def _grouped(
    rows: Sequence[ListedSowing],
    lines: Sequence[SowingLine],
    by: ListedBy,
    shown: Shown,
    kinds: dict[str, str],
) -> tuple[ListGroup, ...]:
    """Put lines together by place or by day."""
    found: dict[str, tuple[str, list[SowingLine]]] = {}
    for row, line in zip(rows, lines, strict=True):
        if by is ListedBy.PLACE:
            title, kind = row.place or "Place not said", kinds.get(row.place, "")
        else:
            verb = {Shown.STANDING: "sown", Shown.COMING: "sow", Shown.FINISHED: "ended"}[shown]
            known = row.day.year > 1
            title, kind = (f"{verb} {wording.day(row.day)}" if known else "day not said"), ""
        found.setdefault(title, (kind, []))[1].append(line)
    return tuple(
        ListGroup(wording.sentence_start(title), kind, tuple(each))
        for title, (kind, each) in found.items()
    )


def _line(
    row: ListedSowing,
    groups: Sequence[TrayGroup],
    orders: Mapping[str, Order],
    catalog: Catalog,
    today: date,
) -> SowingLine:
    """Write one line."""
    life, planned = row.life, row.planned
    crop_id = (life.crop if life is not None else "") or (planned.crop if planned else "")
    variety = (life.variety if life is not None else "") or (planned.variety if planned else "")
    n_trays, container = trays_of(planned, groups)
    sentence = state_sentence(life, planned, today)
    names = [] if planned is None else [each.order for each in planned.orders]
    people = list(
        dict.fromkeys((orders[each].customer if each in orders else "") or each for each in names)
    )
    for_words = f"for {wording.listed(people)}" if people else ""
    if wanted_of(planned):
        for_words += f", {wanted_of(planned):,} wanted"
    where = stands_words(groups)
    if life is None and planned is not None and planned.steps:
        where = planned.steps[0].place
    return SowingLine(
        row.name,
        title_of(
            _crop_name(catalog, crop_id), variety, n_trays,
            catalog.containers.get(container), container,
        ),
        sentence.words,
        sentence.level,
        where,
        for_words,
        stage_of(row, today),
        sum(each.n_trays for each in groups),
        sum(each.n_counted for each in groups),
    )  # fmt: skip


def _crop_name(catalog: Catalog, crop: str) -> str:
    """Name a crop; one that nobody knows by what was written."""
    try:
        return catalog.crop(crop).name if crop else "Crop not said"
    except SowbenchError:
        return crop


def stage_of(row: ListedSowing, today: date) -> str:
    """Say the stage of a sowing by the plan.

    Parameters
    ----------
    row : ListedSowing
        The sowing.
    today : date
        The day in the house.

    Returns
    -------
    stage : str
        "seed" before it is sown, else "1" root, "2" seed leaves, "3" true leaves, "4" toned.
    """
    if row.life is None or row.planned is None or not row.planned.steps:
        return "seed" if row.life is None else "3"
    planned = row.planned
    if today >= planned.ready_date.p50:
        return "4"
    now = next((s for s in planned.steps if s.from_date <= today < s.to_date), planned.steps[-1])
    if now.kind.value in {"tone", "hold"}:
        return "4"
    if now.kind.value == "germinate":
        return "1"
    grow_d = max((planned.ready_date.p50 - planned.sow_date).days, 1)
    return "2" if (today - planned.sow_date).days < 0.45 * grow_d else "3"
