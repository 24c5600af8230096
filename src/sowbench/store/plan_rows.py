"""A plan laid out in rows, for the pages to read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import msgspec
from sqlalchemy import Table

from sowbench.domain.book import NewPlan
from sowbench.domain.jobs import job_keys
from sowbench.domain.plan import Plan, Sowing
from sowbench.store import tables as t

_BETWEEN: Final = "|"


def plain_number(value: Any) -> Any:
    """Turn a number of numpy into a plain one, for JSON.

    Parameters
    ----------
    value : object
        What JSON cannot say.

    Returns
    -------
    plain : object
        The number.

    Raises
    ------
    TypeError
        If it is no number.
    """
    item = getattr(value, "item", None)
    if item is None:
        raise TypeError(f"a plan must hold numbers, text and days; got {type(value).__name__}")
    return item()


_ENCODER: Final = msgspec.json.Encoder(enc_hook=plain_number)


def plan_body(plan: Plan) -> bytes:
    """Return a whole plan as JSON.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    body : bytes
        Its fields by name.
    """
    return _ENCODER.encode(plan)


def planned_rows(new: NewPlan, number: int) -> list[tuple[Table, list[dict[str, Any]]]]:
    """Lay a plan out in rows.

    Parameters
    ----------
    new : NewPlan
        The plan, with what was worked out beside it.
    number : int
        Its number.

    Returns
    -------
    rows : list of tuple
        Each table with its rows.
    """
    plan = new.plan
    return [
        (t.planned_sowing, _sowings(plan, new.cards, number)),
        (t.planned_stay, _stays(plan, number)),
        (t.planned_order, _orders(plan, number)),
        (t.planned_job, _jobs(plan, number)),
        (t.planned_use, _uses(new, number)),
        (t.planned_supply, _supplies(plan, number)),
    ]


def _sowings(plan: Plan, cards: Mapping[str, str], number: int) -> list[dict[str, Any]]:
    """Return the rows of the sowings."""
    return [
        {
            "plan": number,
            "sowing": each.sowing,
            "position": position,
            "crop": each.crop,
            "variety": each.variety,
            "lot": each.lot,
            "sow_date": each.sow_date,
            "end_date": _end_date(each),
            "n_cells": int(each.n_cells),
            "n_seeds": int(each.n_seeds),
            "orders": _BETWEEN.join(share.order for share in each.orders),
            "body": _text(each),
            "card": cards.get(each.sowing, ""),
        }
        for position, each in enumerate(plan.sowings)
    ]


def _end_date(sowing: Sowing) -> Any:
    """Return the first day on which nothing of a sowing is there any more."""
    return max((each.to_date for each in sowing.steps), default=sowing.sow_date)


def _stays(plan: Plan, number: int) -> list[dict[str, Any]]:
    """Return the rows of the stays of each sowing in each place."""
    return [
        {
            "plan": number,
            "sowing": each.sowing,
            "step": at,
            "kind": step.kind.value,
            "place": step.place,
            "container": step.container,
            "n_containers": int(step.n_containers),
            "n_cells": int(step.n_cells),
            "from_date": step.from_date,
            "to_date": step.to_date,
        }
        for each in plan.sowings
        for at, step in enumerate(each.steps)
    ]


def _orders(plan: Plan, number: int) -> list[dict[str, Any]]:
    """Return the rows of the orders, those of which nothing is planned too."""
    unmet = {each.order: each for each in plan.unmet}
    rows = []
    for each in plan.orders:
        missed = unmet.get(each.order)
        rows.append(
            {
                "plan": number,
                "name": each.order,
                "planned": int(each.planned),
                "n_unmet": 0 if missed is None else int(missed.plants),
                "chance_enough_frac": float(each.chance_enough_frac),
                "chance_in_time_frac": float(each.chance_in_time_frac),
                "chance_filled_frac": float(each.chance_filled_frac),
                "expected_short": float(each.expected_short),
                "body": _text(each),
                "unmet": "" if missed is None else _text(missed),
            }
        )
    named = {each.order for each in plan.orders}
    rows += [
        {
            "plan": number,
            "name": each.order,
            "planned": 0,
            "n_unmet": int(each.plants),
            "chance_enough_frac": 0.0,
            "chance_in_time_frac": 0.0,
            "chance_filled_frac": 0.0,
            "expected_short": float(each.plants),
            "body": "",
            "unmet": _text(each),
        }
        for each in unmet.values()
        if each.order not in named
    ]
    return rows


def _jobs(plan: Plan, number: int) -> list[dict[str, Any]]:
    """Return the rows of the jobs, each with the key that ticks it off."""
    return [
        {
            "plan": number,
            "key": key,
            "date": each.date,
            "task": each.task,
            "sowing": each.sowing,
            "place": each.place,
            "minutes": float(each.minutes),
            "slack_d": int(each.slack_d),
            "words": each.words,
        }
        for key, each in zip(job_keys(plan.tasks), plan.tasks, strict=True)
    ]


def _uses(new: NewPlan, number: int) -> list[dict[str, Any]]:
    """Return the rows of the use of places and hands."""
    return [
        {
            "plan": number,
            "name": each.name,
            "position": position,
            "unit": each.unit,
            "first_date": each.first_date,
            "use": _numbers(each.use),
            "capacity": None if each.capacity is None else _numbers(each.capacity),
        }
        for position, each in enumerate(new.uses)
    ]


def _supplies(plan: Plan, number: int) -> list[dict[str, Any]]:
    """Return the rows of the supplies."""
    return [
        {
            "plan": number,
            "position": position,
            "needed_date": each.needed_on,
            "order_by_date": each.order_by,
            "item": each.item,
            "amount": float(each.amount),
            "unit": each.unit,
            "in_stock": float(each.in_stock),
            "to_buy": float(each.to_buy),
        }
        for position, each in enumerate(plan.supplies)
    ]


def _numbers(values: Any) -> str:
    """Return a number a day as JSON."""
    return _text([float(each) for each in values])


def _text(record: Any) -> str:
    """Return a record as JSON."""
    return _ENCODER.encode(record).decode()
