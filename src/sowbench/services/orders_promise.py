"""Answer from the house book while the customer is on the phone."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Final
from urllib.parse import urlencode

from sowbench.science.errors import InputFileError, SowbenchError
from sowbench.services import wording
from sowbench.services.book_inputs import loaded_of
from sowbench.services.house_day import day_in_house
from sowbench.services.kept_results import Kept
from sowbench.services.offers import reason_words
from sowbench.services.orders_form import OrderForm, order_form, read_order
from sowbench.services.orders_words import crop_name, noun_of
from sowbench.services.promise import SAFE_FRAC, PromiseAnswer, PromiseOutcome, told_answer

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sowbench.domain.book import PlanHead
    from sowbench.domain.plan import Plan
    from sowbench.domain.records import Order
    from sowbench.planning.inputs import PlanInputs
    from sowbench.services.desk import Desk
    from sowbench.services.parts import PromiseLike

_ISO: Final = re.compile(r"\d{4}-\d{2}-\d{2}")

ASKED: Final = (
    "crop", "plants", "wanted_on", "earliest_on", "latest_on", "system", "variety", "container",
    "customer", "confidence_frac",
)  # fmt: skip
"""Columns of an order that a question may give."""


@dataclass(frozen=True, slots=True)
class PromiseView:
    """A question and its answer.

    Attributes
    ----------
    form : OrderForm
        The question, with what is wrong with it.
    has_plan : bool
        Whether there is a plan beside which it could fit.
    order : Order or None
        The question as an order; None if there is none yet.
    crop_name, noun : str
        What is asked for, in words.
    outcome : PromiseOutcome or None
        The answer; None if there is none.
    sentence : str
        The answer as one says it on the phone.
    safe : bool
        Whether it is sure enough to be promised.
    question : str
        The question as the address of the page has it.
    """

    form: OrderForm
    has_plan: bool
    order: Order | None = None
    crop_name: str = ""
    noun: str = "plants"
    outcome: PromiseOutcome | None = None
    sentence: str = ""
    safe: bool = False
    question: str = ""

    @property
    def reason(self) -> str:
        """Why the day asked for does not fit."""
        return "" if self.outcome is None else reason_words(self.outcome.reason)

    def squeezes(self, answer: PromiseAnswer) -> list[str]:
        """Say what an answer would leave nearly full, with days as one says them."""
        return [_ISO.sub(lambda found: _day(found[0]), each) for each in answer.squeezes]


def promise_view(desk: Desk, values: Mapping[str, str] | None = None) -> PromiseView:
    """Answer a question.

    Parameters
    ----------
    desk : Desk
        The desk.
    values : mapping of str to str or None, default None
        The question by columns of an order; None asks nothing yet.

    Returns
    -------
    view : PromiseView
        What the page shows.
    """
    texts = {each: (values or {}).get(each, "").strip() for each in ASKED}
    form = order_form(desk, values=texts)
    problems: dict[str, str] = {}
    try:
        asked = asked_of(desk, texts, problems)
        if asked is None:
            return PromiseView(
                replace(form, problems=problems) if problems else form, has_plan=_has_plan(desk)
            )
        outcome = told_answer(answer_to(desk, asked), asked.order, asked.inputs)
    except InputFileError:
        raise
    except SowbenchError as error:
        return PromiseView(replace(form, problems={"": str(error)}), has_plan=True)
    answer = outcome.on_day or outcome.earliest
    return PromiseView(
        form=form,
        has_plan=True,
        order=asked.order,
        crop_name=crop_name(asked.order.crop, asked.inputs.catalog),
        noun=noun_of(asked.order, asked.inputs.catalog),
        outcome=outcome,
        sentence=_sentence(asked.order, outcome),
        safe=answer is not None and answer.chance_filled_frac >= SAFE_FRAC,
        question=urlencode({key: text for key, text in texts.items() if text}),
    )


def _has_plan(desk: Desk) -> bool:
    """Tell whether there is a plan."""
    with desk.book.reading() as unit:
        return unit.plans.current() is not None


@dataclass(frozen=True, slots=True)
class Asked:
    """A question that can be answered, with the plan beside which it would have to fit."""

    order: Order
    inputs: PlanInputs
    plan: Plan
    head: PlanHead


def asked_of(
    desk: Desk, values: Mapping[str, str], problems: dict[str, str] | None = None
) -> Asked | None:
    """Read a question.

    Parameters
    ----------
    desk : Desk
        The desk.
    values : mapping of str to str
        The question by columns of an order.
    problems : dict of str to str or None, default None
        Takes what is wrong with it, by column.

    Returns
    -------
    asked : Asked or None
        None if nothing is asked, something is wrong with it, or there is no plan.
    """
    texts = {each: values.get(each, "").strip() for each in ASKED}
    with desk.book.reading() as unit:
        head = unit.plans.current()
        today = day_in_house(unit, desk.clock())
        if head is None or not any(texts.values()):
            return None
        loaded = loaded_of(unit, max(today, head.from_date))
    plan, inputs = loaded.inputs.kept, replace(loaded.inputs, kept=None)
    orders, wrong = read_order({**texts, "order": "promise", "status": "asked"}, inputs.catalog)
    if not wrong and orders[0].latest_date <= inputs.from_date:
        wrong["wanted_on"] = f"The day must be after {inputs.from_date}, the day in the house."
    if problems is not None:
        problems.update(wrong)
    return None if wrong or plan is None else Asked(orders[0], inputs, plan, head)


_MOST_KEPT: Final = 6
_answers: Final[Kept[tuple[object, ...], PromiseLike]] = Kept(_MOST_KEPT)


def answer_to(desk: Desk, asked: Asked) -> PromiseLike:
    """Answer a question; the same one again, as for its workings, from what was found before.

    Parameters
    ----------
    desk : Desk
        The desk.
    asked : Asked
        The question.

    Returns
    -------
    answer : PromiseLike
        On the wanted day, and the earliest.
    """
    inputs, head = asked.inputs, asked.head
    key = (
        desk.data_url, head.id, head.made_at, asked.order, inputs.from_date, inputs.orders,
        inputs.lots, inputs.standings, inputs.pins, inputs.done, id(inputs.house),
    )  # fmt: skip
    return _answers.get(key, lambda: desk.parts.promise(inputs, asked.plan, asked.order))


def _sentence(order: Order, outcome: PromiseOutcome) -> str:
    """Say the answer as on the phone."""
    if outcome.on_day is not None:
        if outcome.on_day.chance_filled_frac < SAFE_FRAC:
            return "There is room, but it is a gamble"
        same = outcome.on_day.date == order.wanted_date
        return "Yes, on that day" if same else f"Yes, on {wording.day(outcome.on_day.date)}"
    if outcome.earliest is None:
        return "No, not within four months"
    return f"Not then, but on {wording.day(outcome.earliest.date)}"


def _day(text: str) -> str:
    """Say a day of the planner's words."""
    return wording.day(date.fromisoformat(text))
