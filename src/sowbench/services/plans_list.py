"""The plan versions of a house: their list, and the decision to work by one or set it aside."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from sowbench.services.book_inputs import house_of
from sowbench.services.house_day import day_in_house, house_zone
from sowbench.services.planning import latest_run

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead, PlanRun
    from sowbench.services.desk import Desk


@dataclass(frozen=True, slots=True)
class PlansView:
    """All plan versions, the newest first, and the last run of the planner."""

    heads: tuple[PlanHead, ...]
    run: PlanRun | None
    today: date
    zone: str
    n_open: int
    currency: str


def plans_view(desk: Desk) -> PlansView:
    """Gather the list of plans.

    Parameters
    ----------
    desk : Desk
        The desk.

    Returns
    -------
    view : PlansView
        What the page shows.
    """
    run = latest_run(desk)
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        house, _, _ = house_of(unit)
        head = unit.plans.current()
        counts = unit.orders_page.counts(
            None if head is None else head.id, today, house.confidence_frac
        )
        return PlansView(
            heads=tuple(unit.plans.heads()),
            run=run,
            today=today,
            zone=house_zone(unit).key,
            n_open=counts.open,
            currency=house.prices.currency,
        )


def accept(desk: Desk, plan_id: int) -> None:
    """Make a plan the one by which the house works.

    Parameters
    ----------
    desk : Desk
        The desk.
    plan_id : int
        Its number.

    Raises
    ------
    UnknownNameError
        If there is no plan of that number.
    OutOfRangeError
        If it is not proposed.
    """
    with desk.book.writing() as unit:
        unit.plans.accept(plan_id, desk.clock())
        unit.commit()


def decline(desk: Desk, plan_id: int) -> None:
    """Set a proposed plan aside.

    Parameters
    ----------
    desk : Desk
        The desk.
    plan_id : int
        Its number.

    Raises
    ------
    UnknownNameError
        If there is no plan of that number.
    OutOfRangeError
        If it is not proposed.
    """
    with desk.book.writing() as unit:
        unit.plans.decline(plan_id)
        unit.commit()
