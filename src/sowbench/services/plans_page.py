"""A plan version against the one by which the house works: what moved, and what it brings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final

from sowbench.domain.book import PlanState
from sowbench.science.errors import UnknownNameError
from sowbench.services import wording
from sowbench.services.book_inputs import house_of
from sowbench.services.house_day import day_in_house, house_zone
from sowbench.services.offers import offer_words, reason_words
from sowbench.services.orders_words import crop_name
from sowbench.services.plan_body import plan_body

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead
    from sowbench.domain.plan import Moved, OrderPlan, Plan, Sowing
    from sowbench.domain.records import Order
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk

NOTABLE_FRAC: Final = 0.02
"""A chance that changed by less is told of nowhere (ours)."""

COST_WORDS: Final = {
    "seed": "seed",
    "container": "containers",
    "mix": "mix",
    "labor": "labor",
    "room": "heat and room",
    "short": "plants that may be short",
    "late": "plants that may be late",
    "overgrown": "plants that may be overgrown",
    "surplus": "surplus sold",
}
"""Parts of the cost in words."""

_MOVED_WORDS: Final = {
    "sowing day": "sow",
    "lot": "lot",
    "container": "in",
    "cells": "cells",
    "seeds per cell": "seeds a cell",
    "place": "grows in",
    "last day": "until",
}


@dataclass(frozen=True, slots=True)
class MovedField:
    """One thing of a sowing that is otherwise."""

    what: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class MovedSowing:
    """A sowing that is new, gone, or otherwise than in the plan before.

    Attributes
    ----------
    name : str
        The sowing; of one that is gone, its old name.
    kind : str
        "new", "gone", "moved" or "instead".
    title : str
        What it is, in words.
    day : date
        Day of sowing.
    fields : tuple of MovedField
        What is otherwise.
    orders : tuple of str
        For whom.
    instead_of : str
        Sowing whose job it takes over.
    """

    name: str
    kind: str
    title: str
    day: date
    fields: tuple[MovedField, ...]
    orders: tuple[str, ...]
    instead_of: str = ""


@dataclass(frozen=True, slots=True)
class ChangedOrder:
    """An order whose chance is otherwise than in the plan before."""

    name: str
    customer: str
    crop_name: str
    before_frac: float | None
    after_frac: float | None
    n_unmet_before: int
    n_unmet: int

    @property
    def better(self) -> bool:
        """Whether it is surer than before."""
        return (self.after_frac or 0.0) > (self.before_frac or 0.0)


@dataclass(frozen=True, slots=True)
class UnmetLine:
    """An order of which plants are left out, why, and what would help."""

    name: str
    customer: str
    crop_name: str
    plants: int
    why: str
    helps: tuple[str, ...]
    is_new: bool


@dataclass(frozen=True, slots=True)
class CostLine:
    """One part of the cost, before and after; ``key`` is its name in the plan."""

    key: str
    words: str
    before: float | None
    after: float


@dataclass(frozen=True, slots=True)
class PlanView:
    """A plan version as its page shows it.

    Attributes
    ----------
    head : PlanHead
        The plan.
    against : PlanHead or None
        The plan it is compared with.
    heading : str
        What is true of it.
    n_new, n_gone, n_moved, n_kept : int
        Sowings new, gone, otherwise, and just as they were.
    moved : tuple of MovedSowing
        Those that are not as they were, by day.
    orders : tuple of ChangedOrder
        Orders whose chance is notably otherwise, the worst first.
    unmet : tuple of UnmetLine
        Orders that are not met.
    costs : tuple of CostLine
        Parts of the cost.
    currency : str
        Currency of the house.
    today : date
        The day in the house.
    zone : str
        Time zone of the house.
    assumptions : tuple of str
        What the plan took for granted.
    stale : bool
        Whether another plan became current since it was made.
    """

    head: PlanHead
    against: PlanHead | None
    heading: str
    n_new: int
    n_gone: int
    n_moved: int
    n_kept: int
    moved: tuple[MovedSowing, ...]
    orders: tuple[ChangedOrder, ...]
    unmet: tuple[UnmetLine, ...]
    costs: tuple[CostLine, ...]
    currency: str
    today: date
    zone: str
    assumptions: tuple[str, ...]
    stale: bool


def plan_view(desk: Desk, plan_id: int) -> PlanView:
    """Compare a plan version with the one it is to follow, or has followed.

    Parameters
    ----------
    desk : Desk
        The desk.
    plan_id : int
        Its number.

    Returns
    -------
    view : PlanView
        What the page shows.

    Raises
    ------
    UnknownNameError
        If there is no plan of that number.
    """
    with desk.book.reading() as unit:
        head = unit.plans.head(plan_id)
        if head is None:
            raise UnknownNameError(str(plan_id), "plan")
        current = unit.plans.current()
        other = current
        if head.state is not PlanState.PROPOSED:
            other = None if head.based_on is None else unit.plans.head(head.based_on)
        if other is not None and other.id == head.id:
            other = None
        plan = plan_body(unit, head)
        before = None if other is None else plan_body(unit, other)
        house, catalog, _ = house_of(unit)
        names = {each.order for each in plan.orders} | {each.order for each in plan.unmet}
        orders = unit.orders.named(names)
        today = day_in_house(unit, desk.clock())
        zone = house_zone(unit).key
    moved = () if before is None else _moved(plan, before, catalog)
    kinds = [each.kind for each in moved]
    changed = () if before is None else _changed_orders(plan, before, orders, catalog)
    n_new, n_gone = kinds.count("new"), kinds.count("gone")
    n_moved = kinds.count("moved") + kinds.count("instead")
    return PlanView(
        head=head,
        against=other,
        heading=_heading(head, other, len(moved)),
        n_new=n_new,
        n_gone=n_gone,
        n_moved=n_moved,
        n_kept=len(plan.sowings) - n_new - n_moved,
        moved=moved,
        orders=changed,
        unmet=_unmet(plan, before, orders, catalog, house.prices.currency),
        costs=_costs(plan, before),
        currency=house.prices.currency,
        today=today,
        zone=zone,
        assumptions=tuple(wording.assumed(plan.assumptions)),
        stale=(
            head.state is PlanState.PROPOSED and current is not None and head.based_on != current.id
        ),
    )


def _met_words(head: PlanHead) -> str:
    """Say how many orders a plan meets."""
    if head.n_orders == 1:
        return "the one order is not met" if head.n_unmet else "the one order is met"
    if not head.n_unmet:
        return f"all {head.n_orders:,} orders met"
    return f"{head.n_orders - head.n_unmet:,} of {head.n_orders:,} orders met"


def _heading(head: PlanHead, other: PlanHead | None, n_moved: int) -> str:
    """Say what is true of a plan."""
    met = _met_words(head)
    if head.state is PlanState.CURRENT:
        return f"The plan of the house: {met}"
    if head.state is PlanState.PROPOSED:
        if other is None:
            return f"A first plan: {met}"
        changes = "1 sowing" if n_moved == 1 else f"{n_moved:,} sowings"
        return f"A new plan changes {changes}" if n_moved else "The new plan changes no sowing"
    return f"An earlier plan: {met}" if head.state is PlanState.PAST else "A plan set aside"


def _moved(plan: Plan, before: Plan, catalog: Catalog) -> tuple[MovedSowing, ...]:
    """List the sowings that are not as they were; what is over by now is not gone but done."""
    new, old = (
        {
            each.sowing: each
            for each in sowings
            if each.steps and each.steps[-1].to_date > plan.from_date
        }
        for sowings in (plan.sowings, before.sowings)
    )
    twins = _twins(plan.moved)
    found = []
    for name, sowing in new.items():
        was = old.get(name) or old.get(twins.get(name, ""))
        fields = () if was is None else _fields(was, sowing)
        if was is None:
            found.append(_moved_sowing(sowing, "new", (), catalog))
        elif name not in old:
            one = _moved_sowing(sowing, "instead", fields, catalog, was.sowing)
            found.append(one)
        elif fields:
            found.append(_moved_sowing(sowing, "moved", fields, catalog))
    taken = {twins[name] for name in new if name in twins and name not in old}
    found += [
        _moved_sowing(sowing, "gone", (), catalog)
        for name, sowing in old.items()
        if name not in new and name not in taken
    ]
    return tuple(sorted(found, key=lambda each: (each.day, each.name)))


def _twins(moved: Sequence[Moved]) -> dict[str, str]:
    """Return the old sowing whose job each new one takes over."""
    return {each.sowing: each.before for each in moved if each.what == "instead of"}


def _fields(old: Sowing, new: Sowing) -> tuple[MovedField, ...]:
    """List what the crew would notice."""
    from sowbench.planning.replan import differences

    return tuple(
        MovedField(_MOVED_WORDS.get(each.what, each.what), _text(each.before), _text(each.after))
        for each in differences(old, new)
    )


def _text(value: str) -> str:
    """Write days as days, and numbers with their thousands apart."""
    try:
        return wording.day(date.fromisoformat(value))
    except ValueError:
        return f"{int(value):,}" if value.isascii() and value.isdigit() else value


def _moved_sowing(
    sowing: Sowing,
    kind: str,
    fields: tuple[MovedField, ...],
    catalog: Catalog,
    instead_of: str = "",
) -> MovedSowing:
    """Put one difference in words."""
    variety = f" '{sowing.variety}'" if sowing.variety else ""
    start = sowing.steps[0] if sowing.steps else None
    trays = "" if start is None else f", {start.n_containers} x {start.container}"
    return MovedSowing(
        name=sowing.sowing,
        kind=kind,
        title=f"{crop_name(sowing.crop, catalog)}{variety}, {sowing.n_cells:,} cells{trays}",
        day=sowing.sow_date,
        fields=fields,
        orders=tuple(each.order for each in sowing.orders),
        instead_of=instead_of,
    )


def _changed_orders(
    plan: Plan, before: Plan, orders: Mapping[str, Order], catalog: Catalog
) -> tuple[ChangedOrder, ...]:
    """List the orders whose chance is notably otherwise."""
    old = {each.order: each for each in before.orders}
    old_unmet = {each.order: each.plants for each in before.unmet}
    unmet = {each.order: each.plants for each in plan.unmet}
    found = []
    for each in plan.orders:
        was = old.get(each.order)
        before_frac, after_frac = _filled(was), _filled(each)
        n_before, n_now = old_unmet.get(each.order, 0), unmet.get(each.order, 0)
        notable = abs((after_frac or 0.0) - (before_frac or 0.0)) >= NOTABLE_FRAC
        if was is None or notable or (n_before == 0) != (n_now == 0):
            order = orders.get(each.order)
            found.append(
                ChangedOrder(
                    name=each.order,
                    customer="" if order is None else order.customer,
                    crop_name="" if order is None else crop_name(order.crop, catalog),
                    before_frac=before_frac,
                    after_frac=after_frac,
                    n_unmet_before=n_before,
                    n_unmet=n_now,
                )
            )
    return tuple(sorted(found, key=_gain))


def _gain(each: ChangedOrder) -> float:
    """Return how much surer an order is than before."""
    return (each.after_frac or 0.0) - (each.before_frac or 0.0)


def _filled(planned: OrderPlan | None) -> float | None:
    """Return the chance that an order is filled; None where nothing is planned of it."""
    return None if planned is None or not planned.planned else planned.chance_filled_frac


def _unmet(
    plan: Plan,
    before: Plan | None,
    orders: Mapping[str, Order],
    catalog: Catalog,
    currency: str,
) -> tuple[UnmetLine, ...]:
    """List the orders that are not met."""
    known = set() if before is None else {each.order for each in before.unmet}
    found = []
    for each in plan.unmet:
        order = orders.get(each.order)
        found.append(
            UnmetLine(
                name=each.order,
                customer="" if order is None else order.customer,
                crop_name="" if order is None else crop_name(order.crop, catalog),
                plants=each.plants,
                why=each.words or f"{reason_words(each.reason)}.",
                helps=tuple(
                    offer_words(
                        each.offers, each.plants if order is None else order.plants, currency
                    )
                ),
                is_new=before is not None and each.order not in known,
            )
        )
    return tuple(found)


def _costs(plan: Plan, before: Plan | None) -> tuple[CostLine, ...]:
    """List the parts of the cost, those that are nothing in both left out."""
    found = []
    for name, words in COST_WORDS.items():
        after = plan.cost_parts.get(name, 0.0)
        was = None if before is None else before.cost_parts.get(name, 0.0)
        if abs(after) >= 0.005 or abs(was or 0.0) >= 0.005:
            found.append(CostLine(name, words, was, after))
    return tuple(found)
