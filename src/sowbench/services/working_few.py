"""What a few sowings of a plan were made from: the few rows of the book they are about."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from sowbench.domain.plan import OrderPlan, Plan, Sowing, Unmet
from sowbench.science.errors import UnknownNameError
from sowbench.services.learned import plan_house_of

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead
    from sowbench.domain.journal import Entry
    from sowbench.domain.ports import Unit
    from sowbench.domain.records import House, Order, SeedLot, Standing
    from sowbench.reference.catalog import Catalog
    from sowbench.science.weather_year import WeatherYear


@dataclass(frozen=True, slots=True)
class Few:
    """What a few sowings of a plan were made from.

    Attributes
    ----------
    head : PlanHead
        The plan.
    house, catalog, weather
        The house as that plan knew it.
    sowings : tuple of Sowing
        As planned, those of the plan that matter.
    orders : tuple of Order
        Orders that they serve, in file order.
    order_plans : dict of str to OrderPlan
        What the plan says of these orders.
    lots : tuple of SeedLot or None
        Their lots; None where they are only assumed.
    standings : tuple of Standing
        Those that stood already.
    kept : tuple of Sowing
        The same sowings in the plan that this one kept to.
    entries : tuple of Entry
        What the journal knew of them when the plan was made.
    unmet : tuple of Unmet
        What is left out, where the whole plan is asked for.
    """

    head: PlanHead
    house: House
    catalog: Catalog
    weather: WeatherYear | None
    sowings: tuple[Sowing, ...]
    orders: tuple[Order, ...]
    order_plans: dict[str, OrderPlan]
    lots: tuple[SeedLot, ...] | None
    standings: tuple[Standing, ...] = ()
    kept: tuple[Sowing, ...] = ()
    entries: tuple[Entry, ...] = ()
    unmet: tuple[Unmet, ...] = ()

    @property
    def key(self) -> tuple[object, ...]:
        """What the figures depend on; the plan fixes the version of the house."""
        return (
            self.head.id,
            self.head.made_at,
            self.sowings,
            self.orders,
            self.lots,
            self.standings,
            len(self.unmet),
            tuple(each.id for each in self.entries),
        )


def plan_head(unit: Unit, plan: int | None) -> PlanHead:
    """Return a plan by its number, or the current one.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    plan : int or None
        Number of the plan; None is the current one.

    Returns
    -------
    head : PlanHead
        The plan.

    Raises
    ------
    UnknownNameError
        If there is no such plan.
    """
    head = unit.plans.current() if plan is None else unit.plans.head(plan)
    if head is None:
        raise UnknownNameError("current" if plan is None else str(plan), "plan")
    return head


def few_sowings(unit: Unit, head: PlanHead, names: Iterable[str]) -> Few:
    """Read what a few sowings of a plan were made from.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    names : iterable of str
        Names of the sowings.

    Returns
    -------
    few : Few
        The sowings with their orders and lots.

    Raises
    ------
    UnknownNameError
        If the plan has none of them.
    """
    wanted = tuple(dict.fromkeys(names))
    planned = unit.sowings_page.planned(head.id, wanted)
    if not planned:
        raise UnknownNameError(", ".join(wanted), "sowing of this plan")
    house, catalog, weather = plan_house_of(unit, head)
    sowings = tuple(planned.values())
    order_names = {each.order for sowing in sowings for each in sowing.orders}
    orders = unit.orders.named(order_names)
    found = [unit.lots.get(each) for each in dict.fromkeys(s.lot for s in sowings)]
    lots = tuple(each for each in found if each is not None)
    standings: tuple[Standing, ...] = ()
    if any(each.standing for each in sowings):
        standings = tuple(each for each in unit.standings.all() if each.sowing in planned)
    kept: tuple[Sowing, ...] = ()
    entries: tuple[Entry, ...] = ()
    if head.based_on is not None and any(each.sow_date < head.from_date for each in sowings):
        kept = tuple(unit.sowings_page.planned(head.based_on, wanted).values())
        entries = tuple(
            kept_entry.entry
            for name in wanted
            for kept_entry in unit.journal.of_sowing(name)
            if kept_entry.received_at <= head.made_at and not kept_entry.struck_by
        )
    return Few(
        head,
        house,
        catalog,
        weather,
        sowings,
        tuple(orders.values()),
        unit.sowings_page.order_plans(head.id, order_names),
        lots or None,
        standings,
        kept,
        entries,
    )


def few_of_plan(unit: Unit, head: PlanHead, plan: Plan) -> Few:
    """Read what all sowings of a plan were made from, for what needs neither orders nor chances.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    plan : Plan
        The whole of it.

    Returns
    -------
    few : Few
        All its sowings with their lots, without their orders.
    """
    house, catalog, weather = plan_house_of(unit, head)
    lots = {each.lot for each in plan.sowings}
    names = {each.sowing for each in plan.sowings if each.standing}
    return Few(
        head,
        house,
        catalog,
        weather,
        plan.sowings,
        (),
        {},
        tuple(each for each in unit.lots.all() if each.id in lots) or None,
        tuple(each for each in unit.standings.all() if each.sowing in names) if names else (),
    )


def few_whole_plan(unit: Unit, head: PlanHead, plan: Plan) -> Few:
    """Read all that a plan was made from, for what needs its orders and chances too.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    plan : Plan
        The whole of it.

    Returns
    -------
    few : Few
        All its sowings with their lots and orders.
    """
    few = few_sowings(unit, head, [each.sowing for each in plan.sowings])
    return replace(
        few,
        orders=tuple(unit.orders.named([each.order for each in plan.orders]).values()),
        order_plans={each.order: each for each in plan.orders},
        unmet=plan.unmet,
    )


def few_of_order(unit: Unit, head: PlanHead, order: str) -> Few:
    """Read what the chances of an order were made from.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    order : str
        Name of the order.

    Returns
    -------
    few : Few
        Its sowings, and all that these serve.

    Raises
    ------
    UnknownNameError
        If the plan has no such order.
    """
    row = unit.sowings_page.order_plans(head.id, [order]).get(order)
    if row is None:
        raise UnknownNameError(order, "order of this plan")
    return few_sowings(unit, head, [each.sowing for each in row.hand_over])
