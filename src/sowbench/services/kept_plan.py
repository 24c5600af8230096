"""A plan as the house book keeps it: with its cards and the use of places and hands."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from sowbench.domain.book import NewPlan, PlannedUse
from sowbench.services.cards import sowing_cards

if TYPE_CHECKING:
    from sowbench.planning.inputs import PlanInputs
    from sowbench.services.parts import Made


def new_plan_of(
    made: Made,
    inputs: PlanInputs,
    based_on: int | None = None,
    house_version: int | None = None,
) -> NewPlan:
    """Put together what a book keeps of a plan.

    Parameters
    ----------
    made : Made
        The plan with the daily use of places and hands.
    inputs : PlanInputs
        What it was made from.
    based_on : int or None, default None
        The plan that it kept to.
    house_version : int or None, default None
        Version of the house; None where a windowsill stood in.

    Returns
    -------
    new : NewPlan
        To be added to the book as proposed.
    """
    cards = sowing_cards(made.plan, inputs)
    return NewPlan(
        plan=made.plan,
        uses=tuple(
            PlannedUse(
                each.name,
                each.unit,
                each.first_date,
                [float(value) for value in each.use],
                None if each.capacity is None else [float(value) for value in each.capacity],
            )
            for each in made.uses
        ),
        cards={each.sowing: msgspec.json.encode(each).decode() for each in cards},
        based_on=based_on,
        house_version=house_version,
    )
