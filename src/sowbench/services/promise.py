"""Answer while the customer is on the phone: whether one more order fits beside the plan."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from sowbench.exchange.plan_json import read_plan
from sowbench.services.inputs import InputFiles, load_inputs, plan_path
from sowbench.services.made_from import read_record
from sowbench.services.try_one import Question, order_of

if TYPE_CHECKING:
    from pathlib import Path

    from sowbench.domain.plan import Plan
    from sowbench.domain.records import Order
    from sowbench.planning.inputs import PlanInputs
    from sowbench.services.parts import Parts, PromiseAnswerLike, PromiseLike

# Under this chance that it is filled, an answer is no promise but a gamble (assumption).
SAFE_FRAC: Final = 0.5


@dataclass(frozen=True, slots=True)
class PromiseAnswer:
    """One way to fill the order: when to sow, in what, where, how sure, what it costs."""

    date: dt.date
    sow_date: dt.date
    container: str
    container_name: str
    lot: str
    seeds_per_cell: int
    n_cells: int
    place: str
    cost: float
    cost_per_plant: float
    chance_enough_frac: float
    chance_in_time_frac: float
    chance_filled_frac: float
    squeezes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PromiseOutcome:
    """What can be promised on the wanted day, and the earliest day at all."""

    question: Question
    crop: str
    currency: str
    plan_file: str
    on_day: PromiseAnswer | None
    earliest: PromiseAnswer | None
    reason: str
    notes: tuple[str, ...] = ()


def promise_question(
    question: Question,
    plan: str | Path,
    files: InputFiles | None,
    from_date: dt.date | None,
    parts: Parts,
) -> PromiseOutcome:
    """Look for room for one more order beside a plan that stays as it is.

    Parameters
    ----------
    question : Question
        What is wanted.
    plan : str or Path
        plan.json or its folder.
    files : InputFiles or None
        The files that the plan was made from; None takes those written down beside it.
    from_date : date or None
        First day on which anything can be done; None takes the plan's own.
    parts : Parts
        The planner.

    Returns
    -------
    outcome : PromiseOutcome
        On the wanted day, and the earliest.

    Raises
    ------
    InputFileError
        If a file is not right.
    UnknownNameError, OutOfRangeError
        If the question makes no sense.
    """
    path = plan_path(plan)
    made = read_plan(path)
    notes: tuple[str, ...] = ()
    if files is None:
        files, notes = read_record(path)
    loaded = load_inputs(files, from_date or made.from_date)
    inputs = loaded.inputs
    order = order_of(question, inputs.catalog, inputs.from_date)
    return replace(
        promise_beside(order, inputs, made, parts),
        question=question,
        plan_file=str(path),
        notes=notes,
    )


def promise_beside(order: Order, inputs: PlanInputs, plan: Plan, parts: Parts) -> PromiseOutcome:
    """Look for room for one more order beside a plan, whether of files or of a book.

    Parameters
    ----------
    order : Order
        What is asked for.
    inputs : PlanInputs
        What the plan was made from.
    plan : Plan
        The plan.
    parts : Parts
        The planner.

    Returns
    -------
    outcome : PromiseOutcome
        On the wanted day, and the earliest; without a file.
    """
    return told_answer(parts.promise(inputs, plan, order), order, inputs)


def told_answer(found: PromiseLike, order: Order, inputs: PlanInputs) -> PromiseOutcome:
    """Tell what the planner found.

    Parameters
    ----------
    found : PromiseLike
        What can be promised.
    order : Order
        What is asked for.
    inputs : PlanInputs
        What the plan was made from.

    Returns
    -------
    outcome : PromiseOutcome
        On the wanted day, and the earliest; without a file.
    """

    def taken(answer: PromiseAnswerLike | None) -> PromiseAnswer | None:
        if answer is None:
            return None
        return PromiseAnswer(
            date=answer.date,
            sow_date=answer.sow_date,
            container=answer.container,
            container_name=inputs.catalog.containers[answer.container].name,
            lot=answer.lot,
            seeds_per_cell=answer.seeds_per_cell,
            n_cells=answer.n_cells,
            place=answer.place,
            cost=answer.cost,
            cost_per_plant=answer.cost / order.plants,
            chance_enough_frac=answer.chance_enough_frac,
            chance_in_time_frac=answer.chance_in_time_frac,
            chance_filled_frac=answer.chance_filled_frac,
            squeezes=tuple(answer.squeezes),
        )

    return PromiseOutcome(
        question=_question_of(order),
        crop=order.crop,
        currency=inputs.house.prices.currency,
        plan_file="",
        on_day=taken(found.on_day),
        earliest=taken(found.earliest),
        reason=found.reason,
    )


def _question_of(order: Order) -> Question:
    """Write an order as a question."""
    return Question(
        plants=order.plants,
        crop=order.crop,
        wanted_date=order.wanted_date,
        system=order.system,
        container=order.containers[0] if order.containers else "",
        earliest_date=order.earliest_date,
        latest_date=order.latest_date,
        confidence_frac=order.confidence_frac,
    )
