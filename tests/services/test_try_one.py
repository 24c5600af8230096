"""One question is one order in an empty house."""

from datetime import date

import pytest
from tests.services.fakes import FROM_DATE, FakePlanner, fake_parts

from sowbench.planning.parameters import SolveParameters
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.services.try_one import Question, try_question

ON = date(2027, 5, 15)


def ask(question, planner=None):
    return try_question(question, FROM_DATE, SolveParameters(), 0, fake_parts(planner))


def test_the_answer_is_the_plan_of_one_order():
    planner = FakePlanner()
    answer = ask(Question("Tomatoes", 12, ON, confidence_frac=0.9), planner)
    ((inputs, _, _),) = planner.calls
    (order,) = inputs.orders
    assert (order.crop, order.plants, order.confidence_frac) == ("tomato", 12, 0.9)
    assert order.earliest_date == order.latest_date == ON
    assert (answer.crop, answer.noun) == ("tomato", "plants")
    assert answer.unmet is None
    assert answer.cost_of_raising == pytest.approx(104.5)
    assert answer.cards[0].steps[0].words


def test_plants_are_raised_even_if_it_does_not_pay_and_that_is_said():
    planner = FakePlanner(short_price_needed=50.0)
    answer = ask(Question("tomato", 12, ON), planner)
    prices = [inputs.house.prices.short_plant for inputs, _, _ in planner.calls]
    assert prices == pytest.approx([6.0, 60.0])
    assert answer.unmet is None
    assert any(each.startswith("short_plant 60.00: high") for each in answer.plan.assumptions)


def test_what_cannot_be_done_at_any_price_keeps_its_reason_and_its_offers():
    answer = ask(Question("tomato", 12, ON), FakePlanner(most=10))
    assert answer.sowings == ()
    assert answer.unmet.reason == "room"
    assert any(each.startswith("short_plant 6.00") for each in answer.plan.assumptions)


@pytest.mark.parametrize(
    ("question", "error", "words"),
    [
        (Question("tomatto", 12, ON), UnknownNameError, "tomato"),
        (Question("tomato", 0, ON), OutOfRangeError, "--plants"),
        (Question("tomato", 12, FROM_DATE), OutOfRangeError, "--on"),
        (Question("tomato", 12, ON, system="racket"), UnknownNameError, "bucket"),
        (Question("tomato", 12, ON, container="plug-71"), UnknownNameError, "plug-72"),
        (Question("tomato", 12, ON, earliest_date=date(2027, 5, 16)), OutOfRangeError,
         "--earliest"),
        (Question("tomato", 12, ON, latest_date=date(2027, 5, 14)), OutOfRangeError, "--latest"),
    ],
)  # fmt: skip
def test_a_question_that_makes_no_sense_is_refused_with_what_would(question, error, words):
    with pytest.raises(error, match=words):
        ask(question)
