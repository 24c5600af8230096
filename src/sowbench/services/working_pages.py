"""Finds the working of a number by its address; what is heavy is worked out once a plan."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.domain.records import Order
from sowbench.science.errors import UnknownNameError
from sowbench.services.book_inputs import house_of
from sowbench.services.house_day import day_in_house
from sowbench.services.plan_body import plan_body
from sowbench.services.working import Line, Working
from sowbench.services.working_beside import offer_working, promised_working
from sowbench.services.working_card import (
    climate_working,
    container_working,
    half_up_working,
)
from sowbench.services.working_day import day_working, job_working
from sowbench.services.working_few import few_of_order, few_sowings, plan_head
from sowbench.services.working_forecast import FORECAST, forecast_working
from sowbench.services.working_free import free_working
from sowbench.services.working_job import HANDS, use_working
from sowbench.services.working_lot import germination_working
from sowbench.services.working_model import Recomputed, model_of
from sowbench.services.working_money import bound_working, cost_working, sowing_cost_working
from sowbench.services.working_order import Chance, chance_working
from sowbench.services.working_parts import part_working, short_working
from sowbench.services.working_press import press_working
from sowbench.services.working_ready import overgrown_working, ready_working
from sowbench.services.working_room import days_working, room_left_working
from sowbench.services.working_seed import (
    left_working,
    replicates_working,
    share_counted_working,
    taken_working,
)
from sowbench.services.working_sowing import cells_working, mix_working, plants_working
from sowbench.services.working_supplies import all_mix_working, supply_working

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead
    from sowbench.domain.plan import Sowing
    from sowbench.domain.ports import Unit
    from sowbench.services.desk import Desk

_OF_SOWING: Final[dict[str, Callable[[Recomputed, Sowing], Working]]] = {
    "cells": cells_working,
    "plants": plants_working,
    "ready": ready_working,
    "overgrown": overgrown_working,
    "sowing-cost": sowing_cost_working,
    "mix": mix_working,
}
NAMES: Final = (*_OF_SOWING, *(each.value for each in Chance), "minutes", "use", "germination",
                "cost", "bound", "supply", "room-left", "free", "days", "press",
                "promised", "offer", "day", "seeds-left", "seeds-taken", "replicates",
                "counted", "half-up", "container", "climate", "part", "short",
                *sorted(FORECAST))  # fmt: skip
"""What has a working, as its address names it."""


def working_of(
    desk: Desk,
    what: str,
    of: str = "",
    plan: int | None = None,
    day: date | None = None,
    until: date | None = None,
) -> Working:
    """Return the working of a number.

    Parameters
    ----------
    desk : Desk
        The open book.
    what : str
        Which number: one of `NAMES`.
    of : str, default ""
        Name of the sowing, order, job, place or lot.
    plan : int or None, default None
        Number of the plan; None is the current one.
    day : date or None, default None
        The day, where it matters; None is today.
    until : date or None, default None
        The day after the last, where several matter; None is the day itself.

    Returns
    -------
    working : Working
        Inputs, formula, result and sources.

    Raises
    ------
    UnknownNameError
        If there is no such number, plan, sowing, order, job, place or lot.
    """
    if what not in NAMES:
        raise UnknownNameError.among(what, "working", NAMES)
    if what == "promised":
        return promised_working(desk, of)
    if what == "replicates":
        return replicates_working(of)
    when = desk.today() if day is None else day
    if what == "day":
        return day_working(desk, of, when)
    with desk.book.reading() as unit:
        if what == "germination":
            lot = unit.lots.get(of)
            if lot is None:
                raise UnknownNameError(of, "lot")
            return germination_working(lot, house_of(unit)[1], when)
        if what in _OF_BOOK:
            return _OF_BOOK[what](unit, of)
        if what == "counted":
            return share_counted_working(unit, of, day)
        if what in _OF_HOUSE:
            house, catalog, weather = house_of(unit)
            if what == "climate":
                return climate_working(house, weather, catalog, of, when)
            return (
                half_up_working(of, catalog)
                if what == "half-up"
                else container_working(of, catalog)
            )
        if what in FORECAST:
            return forecast_working(unit, desk.today() if day is None else day, what, of)
        head = plan_head(unit, plan)
        if what in _OF_SOWING and not (what == "mix" and not of):
            model = model_of(few_sowings(unit, head, [of]))
            return _OF_SOWING[what](model, model.sowing(of))
        if what in set(Chance):
            row = unit.sowings_page.order_plans(head.id, [of]).get(of)
            if row is None:
                raise UnknownNameError(of, "order of this plan")
            if not row.hand_over:
                return _not_planned(unit.orders.get(of), of)
            return chance_working(model_of(few_of_order(unit, head, of)), of, Chance(what))
        if what == "minutes":
            return job_working(unit, head, of)
        if what == "short":
            return short_working(unit, head, of, house_of(unit, head.house_version)[0])
        if what == "use":
            return _use(unit, head, of, when)
        if what in _OF_ROOM:
            return _room(desk, unit, head, what, of, when, until)
        if what == "seeds-taken":
            return taken_working(unit, head, of)
        if what == "offer":
            return offer_working(unit, head, of)
        if what == "supply":
            return supply_working(unit, head, of)
        if what == "mix":
            return all_mix_working(unit, head)
        body = plan_body(unit, head)
        if what == "part":
            return part_working(unit, head, body, of)
        house = house_of(unit, head.house_version)[0]
    return cost_working(body, house) if what == "cost" else bound_working(body, house)


_OF_BOOK: Final[dict[str, Callable[[Unit, str], Working]]] = {
    "seeds-left": left_working,
}
_OF_HOUSE: Final = frozenset({"climate", "half-up", "container"})
_OF_ROOM: Final = frozenset({"room-left", "free", "days", "press"})


def _room(
    desk: Desk,
    unit: Unit,
    head: PlanHead,
    what: str,
    of: str,
    day: date,
    until: date | None,
) -> Working:
    """Room, hands and plants that are left, and what presses."""
    today = day_in_house(unit, desk.clock())
    if what == "room-left":
        return room_left_working(unit, head, of, day)
    if what == "days":
        return days_working(unit, head, of, day, until or day + timedelta(days=1))
    if what == "free":
        return free_working(unit, head, of, day, today)
    house = house_of(unit, head.house_version)[0]
    return press_working(unit, head, of, today, house.prices.currency)


def _use(unit: Unit, head: PlanHead, name: str, day: date) -> Working:
    """How full a place or the hands are."""
    use = unit.sowings_page.use(head.id, name, day)
    if use is None:
        raise UnknownNameError(name, "place of this plan")
    if name == HANDS:
        return use_working(None, use, day, unit.sowings_page.jobs_on(head.id, day))
    names = [each.sowing for each in unit.sowings_page.standing_in(head.id, name, day)]
    model = model_of(few_sowings(unit, head, names)) if names else None
    return use_working(model, use, day)


def _not_planned(order: Order | None, name: str) -> Working:
    """Say that nothing is planned for an order."""
    if order is None:
        raise UnknownNameError(name, "order")
    line = Line("Nothing is planned for it, so nothing can be enough or in time.", "", "0 %")
    return Working("Chance", name, "0 %", (), (line,), 0.0, 0.0)
