"""Answer from the house book while the customer is on the phone."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Final

from sowbench.science.errors import InputFileError, SowbenchError
from sowbench.services import wording
from sowbench.services.book_inputs import loaded_of
from sowbench.services.house_day import day_in_house
from sowbench.services.offers import reason_words
from sowbench.services.orders_form import OrderForm, order_form, read_order
from sowbench.services.orders_words import crop_name, noun_of
from sowbench.services.promise import SAFE_FRAC, PromiseAnswer, PromiseOutcome, promise_beside

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sowbench.domain.records import Order
    from sowbench.services.desk import Desk

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
    """

    form: OrderForm
    has_plan: bool
    order: Order | None = None
    crop_name: str = ""
    noun: str = "plants"
    outcome: PromiseOutcome | None = None
    sentence: str = ""
    safe: bool = False

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
    with desk.book.reading() as unit:
        head = unit.plans.current()
        today = day_in_house(unit, desk.clock())
        if head is None or not any(texts.values()):
            return PromiseView(form, has_plan=head is not None)
        loaded = loaded_of(unit, max(today, head.from_date))
    inputs = replace(loaded.inputs, kept=None)
    orders, problems = read_order({**texts, "order": "promise", "status": "asked"}, inputs.catalog)
    if not problems and orders[0].latest_date <= inputs.from_date:
        problems["wanted_on"] = f"The day must be after {inputs.from_date}, the day in the house."
    if problems:
        return PromiseView(replace(form, problems=problems), has_plan=True)
    order = orders[0]
    plan = loaded.inputs.kept
    assert plan is not None  # noqa: S101 - there is a current plan
    try:
        outcome = promise_beside(order, inputs, plan, desk.parts)
    except InputFileError:
        raise
    except SowbenchError as error:
        return PromiseView(replace(form, problems={"": str(error)}), has_plan=True)
    answer = outcome.on_day or outcome.earliest
    return PromiseView(
        form=form,
        has_plan=True,
        order=order,
        crop_name=crop_name(order.crop, inputs.catalog),
        noun=noun_of(order, inputs.catalog),
        outcome=outcome,
        sentence=_sentence(order, outcome),
        safe=answer is not None and answer.chance_filled_frac >= SAFE_FRAC,
    )


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
