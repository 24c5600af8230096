"""The page of one sowing: what is true of it, its life, its trays, its journal, what to do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any, Final

import msgspec

from sowbench.domain.journal import EntryKind
from sowbench.domain.tray_grid import tray_grid
from sowbench.science.errors import SowbenchError, UnknownNameError
from sowbench.services import wording
from sowbench.services.book_inputs import house_of
from sowbench.services.cards import Card
from sowbench.services.desk import TODAY_SETTING
from sowbench.services.house_day import day_in_house
from sowbench.services.kept_results import Kept
from sowbench.services.sowing_actions import sowing_actions
from sowbench.services.sowing_emergence import (
    CountPoint,
    Curve,
    count_points,
    emergence_spec,
    planned_curve,
)
from sowbench.services.sowing_fields import Action, Field, correction_fields
from sowbench.services.sowing_ground import Ground
from sowbench.services.sowing_journal import JournalLine, entry_words, journal_lines, text_fields
from sowbench.services.sowing_list import suggestions_of
from sowbench.services.sowing_strip import STAY_KINDS, Strip, life_strip, real_stays
from sowbench.services.sowing_trays import TrayDrawing, drawn_tray
from sowbench.services.sowing_words import Level, heading_of, title_of, wanted_of
from sowbench.services.working_few import few_sowings
from sowbench.services.working_model import Recomputed, model_of
from sowbench.services.working_money import sowing_cost

if TYPE_CHECKING:
    from sowbench.domain.book import Kept as KeptEntry
    from sowbench.domain.book import PlanHead
    from sowbench.domain.plan import OrderPlan, Sowing, Step
    from sowbench.domain.ports import Unit
    from sowbench.domain.ports.sowings_page import Given, Life, PlannedJob, TrayState
    from sowbench.domain.records import Container, Order
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk

TRAYS_WINDOW: Final = 48
"""Trays drawn on one page."""
JOURNAL_WINDOW: Final = 25
"""Entries of the journal on one page."""
_COUNTS_MOST: Final = 5_000
_STAYS_MOST: Final = 500
_STRIP_WIDE: Final = 1180.0
_STRIP_NARROW: Final = 356.0
_card = msgspec.json.Decoder(Card)


@dataclass(frozen=True, slots=True)
class OrderLine:
    """An order that the sowing fills, or has filled."""

    name: str
    customer: str
    plants: int
    given: int
    wanted_date: date | None
    chance: OrderPlan | None
    confidence: float


@dataclass(frozen=True, slots=True)
class Correction:
    """The form that corrects an entry: what it replaces, and its fields filled in.

    `job` is what the entry ticks off, and its replacement then too; `has_map` tells that it maps a
    tray cell by cell, which a form cannot.
    """

    id: str
    kind: str
    words: str
    fields: tuple[Field, ...]
    job: str
    has_map: bool


@dataclass(frozen=True, slots=True)
class SowingPage:
    """The page of a sowing.

    Attributes
    ----------
    name : str
        Its name.
    title : str
        What it is.
    heading : str
        What is true of it now.
    level : Level
        How pressing that is.
    over : str
        What it is and whom it is for.
    strips : tuple of Strip
        Its life, for a wide and for a narrow screen; none where nothing is known.
    planned : Sowing or None
        As planned.
    life : Life or None
        As the journal has it.
    wanted : int
        Plants that orders want of it.
    spec : dict or None
        Chart of emergence.
    chart_words : str
        The chart in words.
    points : tuple of CountPoint
        Counts by day.
    cost : float or None
        What it costs by the plan; None where that can no longer be known.
    currency : str
        Currency of the house.
    half_date : date or None
        Day on which half is up by the plan.
    trays : tuple of TrayDrawing
        The trays of this window.
    n_trays, n_standing, n_counted : int
        All trays, those that stand, and those of them that were counted.
    container : str
        Id of the container that it stands in.
    is_drawn_as_is : bool
        Whether rows and columns are those of the container.
    trays_from, next_trays, before_trays : int
        First tray of this window and of the windows beside it; 0 if there is none.
    journal : tuple of JournalLine
        Entries of this window, the newest first.
    next_before : int
        Where the next window of the journal begins; 0 if there is none.
    correction : Correction or None
        The entry that is being corrected.
    orders : tuple of OrderLine
        Orders that it fills.
    card : Card or None
        How to sow.
    steps : tuple of Step
        Its way through the house by the plan.
    jobs : tuple of PlannedJob
        Jobs around it by the plan.
    actions : tuple of Action
        What can be written down.
    groups : tuple of str
        Headings of the actions.
    suggestions : mapping of str to sequence of str
        Places, containers and reasons to choose from.
    today : date
        The day in the house.
    plan : int or None
        The plan by which it stands.
    """

    name: str
    title: str
    heading: str
    level: Level
    over: str
    strips: tuple[Strip, ...]
    planned: Sowing | None
    life: Life | None
    wanted: int
    spec: dict[str, Any] | None
    chart_words: str
    points: tuple[CountPoint, ...]
    cost: float | None
    currency: str
    half_date: date | None
    trays: tuple[TrayDrawing, ...]
    n_trays: int
    n_standing: int
    n_counted: int
    container: str
    is_drawn_as_is: bool
    trays_from: int
    next_trays: int
    before_trays: int
    journal: tuple[JournalLine, ...]
    next_before: int
    correction: Correction | None
    orders: tuple[OrderLine, ...]
    card: Card | None
    steps: tuple[Step, ...]
    jobs: tuple[PlannedJob, ...]
    actions: tuple[Action, ...]
    groups: tuple[str, ...]
    suggestions: Mapping[str, Sequence[str]]
    today: date
    plan: int | None


def sowing_page(
    desk: Desk,
    name: str,
    trays_from: int = 1,
    before_seq: int | None = None,
    correct: str = "",
) -> SowingPage:
    """Make the page of a sowing.

    Parameters
    ----------
    desk : Desk
        The open book.
    name : str
        Name of the sowing.
    trays_from : int, default 1
        First tray that is drawn.
    before_seq : int or None, default None
        Where the window of the journal begins.
    correct : str, default ""
        Id of an entry to be corrected.

    Returns
    -------
    page : SowingPage
        What is true of it.

    Raises
    ------
    UnknownNameError
        If neither the plan nor the journal knows it.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        is_day_fixed = bool(unit.settings.get(TODAY_SETTING))
        head = unit.plans.current()
        page = unit.sowings_page
        life = page.life(name)
        planned = None if head is None else page.planned(head.id, [name]).get(name)
        if life is None and planned is None:
            raise UnknownNameError(name, "sowing")
        trays = page.trays(name)
        shown, window = _window(trays, trays_from)
        maps = page.tray_maps(name, [each.number for each in shown])
        counts = page.told_by(name, [EntryKind.COUNTED], _COUNTS_MOST)
        moves = page.told_by(name, STAY_KINDS, _STAYS_MOST)
        kept = page.entries(name, before_seq, JOURNAL_WINDOW + 1)
        given = page.given(name)
        order_names = {each.order for each in given if each.order}
        order_names |= {each.order for each in planned.orders} if planned is not None else set()
        orders = unit.orders.named(sorted(order_names))
        chances = page.order_plans(head.id, order_names) if head is not None else {}
        jobs = page.jobs(head.id, name) if head is not None else []
        card = page.card(head.id, name) if head is not None and planned is not None else ""
        asked = unit.journal.get(correct) if correct else None
        house, catalog, _ = house_of(unit)
        curve, cost = _reckoned(unit, head, planned)
    points = count_points(counts, trays)
    last = points[-1] if points else None
    sentence = heading_of(
        life, planned, curve, None if last is None else (last.day, last.share), today
    )
    stays = real_stays(moves, life, trays, today)
    strips = [life_strip(planned, stays, today, width) for width in (_STRIP_WIDE, _STRIP_NARROW)]
    container_id, container = _container(trays, planned, catalog)
    served = [orders[each] for each in orders]
    ground = Ground(today, life, planned, trays, jobs, served, house, catalog)
    actions = sowing_actions(ground)
    standing = [each for each in trays if each.gone_date is None]
    grid = tray_grid(container) if container is not None else None
    return SowingPage(
        name=name,
        title=_title(life, planned, trays, catalog),
        heading=sentence.words,
        level=sentence.level,
        over=_over(name, served),
        strips=tuple(each for each in strips if each is not None),
        planned=planned,
        life=life,
        wanted=wanted_of(planned),
        spec=emergence_spec(curve, points, today),
        chart_words=_chart_words(curve, points),
        points=points,
        cost=cost,
        currency=house.prices.currency,
        half_date=None if curve is None else curve.half_date,
        trays=tuple(drawn_tray(each, maps.get(each.number, ""), catalog) for each in shown),
        n_trays=len(trays),
        n_standing=len(standing),
        n_counted=sum(each.counted_date is not None for each in standing),
        container=container_id,
        is_drawn_as_is=grid is not None and grid.drawn_as_is,
        trays_from=window[0],
        next_trays=window[1],
        before_trays=window[2],
        journal=journal_lines(kept[:JOURNAL_WINDOW], house.time_zone, is_day_fixed=is_day_fixed),
        next_before=kept[JOURNAL_WINDOW - 1].seq if len(kept) > JOURNAL_WINDOW else 0,
        correction=_correction(asked, name),
        orders=_orders(planned, orders, given, chances, house.confidence_frac),
        card=_card.decode(card) if card else None,
        steps=() if planned is None else planned.steps,
        jobs=tuple(jobs),
        actions=actions,
        groups=tuple(dict.fromkeys(each.group for each in actions)),
        suggestions=suggestions_of(house, catalog),
        today=today,
        plan=None if head is None else head.id,
    )


def _window(
    trays: Sequence[TrayState], first: int
) -> tuple[Sequence[TrayState], tuple[int, int, int]]:
    """Take the trays of one window, those that stand first; and where the windows beside begin."""
    ordered = sorted(trays, key=lambda each: (each.gone_date is not None, each.number))
    at = min(max(first - 1, 0), max(len(ordered) - 1, 0)) // TRAYS_WINDOW * TRAYS_WINDOW
    shown = ordered[at : at + TRAYS_WINDOW]
    after = at + TRAYS_WINDOW
    return shown, (
        at + 1,
        after + 1 if after < len(ordered) else 0,
        at + 1 - TRAYS_WINDOW if at else 0,
    )


def _reckoned(
    unit: Unit, head: PlanHead | None, planned: Sowing | None
) -> tuple[Curve | None, float | None]:
    """Work out how it comes up, and what it costs, by the plan, if that can still be known."""
    if head is None or planned is None:
        return None, None
    try:
        few = few_sowings(unit, head, [planned.sowing])
        return _figures.get(few.key, lambda: _figures_of(model_of(few), planned))
    except (SowbenchError, KeyError):
        return None, None


_figures: Final[Kept[tuple[object, ...], tuple[Curve | None, float | None]]] = Kept(512)


def _figures_of(model: Recomputed, planned: Sowing) -> tuple[Curve | None, float | None]:
    """Work out the curve and the cost of one sowing."""
    return planned_curve(model, planned), sum(sowing_cost(model, planned).values())


def _container(
    trays: Sequence[TrayState], planned: Sowing | None, catalog: Catalog
) -> tuple[str, Container | None]:
    """Return the container that it stands in, or is to be sown in."""
    name = next((each.container for each in trays if each.gone_date is None), "")
    if not name and planned is not None and planned.steps:
        name = planned.steps[0].container
    return name, catalog.containers.get(name)


def _title(
    life: Life | None, planned: Sowing | None, trays: Sequence[TrayState], catalog: Catalog
) -> str:
    """Say what it is."""
    crop = (life.crop if life is not None else "") or (planned.crop if planned else "")
    variety = (life.variety if life is not None else "") or (planned.variety if planned else "")
    container_id, container = _container(trays, planned, catalog)
    n = sum(each.gone_date is None and each.container == container_id for each in trays)
    if not n and planned is not None and planned.steps and life is None:
        n = planned.steps[0].n_containers
    try:
        name = catalog.crop(crop).name if crop else "Crop not said"
    except SowbenchError:
        name = crop
    return title_of(name, variety, n, container, container_id)


def _over(name: str, orders: Sequence[Order]) -> str:
    """Say for whom it is."""
    people = list(dict.fromkeys(each.customer or each.id for each in orders))
    shown = people[:3] + ([f"{len(people) - 3} more"] if len(people) > 3 else [])
    return f"{name}, for {wording.listed(shown)}" if shown else name


def _chart_words(curve: Curve | None, points: Sequence[CountPoint]) -> str:
    """Say the chart in words."""
    parts = []
    if curve is not None:
        low, middle, high = (
            100 * float(each[-1]) for each in (curve.low, curve.middle, curve.high)
        )
        half = "" if curve.half_date is None else f" half up about {wording.day(curve.half_date)},"
        parts.append(
            f"As planned:{half} in the end {middle:.0f} % of cells with what is wanted, "
            f"8 times in 10 {low:.0f} to {high:.0f} %."
        )
    parts += [
        f"Counted {wording.day(each.day)}: {each.n_right:,} of {each.n_seen:,}, "
        f"{wording.percent(each.share)}."
        for each in points[-5:]
    ]
    return " ".join(parts)


def _orders(
    planned: Sowing | None,
    orders: Mapping[str, Order],
    given: Sequence[Given],
    chances: Mapping[str, OrderPlan],
    confidence_frac: float,
) -> tuple[OrderLine, ...]:
    """List the orders that it fills or has filled."""
    meant = {} if planned is None else {each.order: each.plants for each in planned.orders}
    handed: dict[str, int] = {}
    for each in given:
        handed[each.order] = handed.get(each.order, 0) + each.plants
    out = []
    for name in dict.fromkeys((*meant, *handed)):
        order = orders.get(name)
        own = None if order is None else order.confidence_frac
        out.append(
            OrderLine(
                name,
                "" if order is None else order.customer,
                meant.get(name, 0),
                handed.get(name, 0),
                None if order is None else order.wanted_date,
                chances.get(name),
                confidence_frac if own is None else own,
            )
        )
    return tuple(out)


def _correction(asked: KeptEntry | None, name: str) -> Correction | None:
    """Fill in the form that replaces an entry of this sowing."""
    if asked is None or asked.entry.sowing != name or asked.struck_by:
        return None
    entry = asked.entry
    fields = correction_fields(entry.kind, text_fields(entry))
    return Correction(
        entry.id, entry.kind.value, entry_words(entry), fields, entry.job, bool(entry.cells)
    )
