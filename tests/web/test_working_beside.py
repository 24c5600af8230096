"""Workings of what could be raised beside the plan: answers to a customer, and offers."""

import itertools
from typing import Any
from urllib.parse import urlencode

import pytest
from bs4 import BeautifulSoup

from sowbench.science.errors import UnknownNameError
from sowbench.services.orders_promise import promise_view
from sowbench.services.working_beside import PARTS
from sowbench.services.working_pages import working_of

QUESTIONS = [
    {"crop": "lettuce", "plants": "300", "wanted_on": "2027-05-20"},
    {"crop": "tomato", "plants": "60", "wanted_on": "2027-03-20"},
]
SLIP_FRAC = 0.0005


@pytest.mark.parametrize("question", QUESTIONS)
def test_every_number_of_an_answer_comes_to_what_the_page_shows(demo_desk, question):
    outcome: Any = promise_view(demo_desk, question).outcome
    n_answers = 0
    for which, answer in (("day", outcome.on_day), ("earliest", outcome.earliest)):
        if answer is None:
            continue
        n_answers += 1

        def of(part: str, which: str = which) -> Any:
            return working_of(demo_desk, "promised", f"{part}/{which}?{urlencode(question)}")

        assert of("enough").figure == pytest.approx(answer.chance_enough_frac, abs=SLIP_FRAC)
        assert of("in-time").figure == pytest.approx(answer.chance_in_time_frac, abs=SLIP_FRAC)
        assert of("filled").figure == pytest.approx(answer.chance_filled_frac, abs=SLIP_FRAC)
        assert of("cost").figure == pytest.approx(answer.cost, rel=0.005, abs=0.02)
        assert of("cells").figure == answer.n_cells * answer.seeds_per_cell
        assert "sown" in {each.name for each in of("ready").inputs}
        for part in ("enough", "in-time", "filled", "cost"):
            assert "The answer has the same" in of(part).agrees, (which, part)
    assert n_answers


def test_every_offer_of_an_order_left_out_comes_to_what_the_plan_says(demo_desk):
    with demo_desk.book.reading() as unit:
        plan = unit.plans.body(unit.plans.current().id)
    offers = [(each.order, at, o) for each in plan.unmet for at, o in enumerate(each.offers)]
    assert offers
    for name, at, offer in itertools.islice(offers, 6):
        cost: Any = working_of(demo_desk, "offer", f"cost/{at}/{name}")
        sure: Any = working_of(demo_desk, "offer", f"filled/{at}/{name}")
        assert cost.figure == pytest.approx(offer.cost_change, rel=0.005, abs=0.02), (name, at)
        assert sure.figure == pytest.approx(offer.chance_filled_frac, abs=SLIP_FRAC), (name, at)
        assert "The answer has the same" in cost.agrees
        assert "The answer has the same" in sure.agrees


def test_the_page_of_promises_opens_the_workings_of_its_answers(demo_client):
    text = demo_client.get(f"/orders/promise?{urlencode(QUESTIONS[0])}").text
    soup = BeautifulSoup(text, "html.parser")
    urls = {str(each["data-working"]) for each in soup.select("main [data-working]")}
    assert len(urls) >= len(PARTS)
    for url in sorted(urls)[: len(PARTS)]:
        answer = demo_client.get(url)
        assert answer.status_code == 200, (url, answer.text)
        assert "How it is reckoned" in answer.text


@pytest.mark.parametrize(
    "of", ["nonsense/day?crop=lettuce", "cost/day?", "cost/never?" + urlencode(QUESTIONS[0])]
)
def test_what_was_not_asked_has_no_working(demo_desk, of):
    with pytest.raises(UnknownNameError):
        working_of(demo_desk, "promised", of)


@pytest.mark.parametrize("of", ["cost/0/no-such-order", "nonsense/0/N001", "cost/x/N001"])
def test_what_was_not_offered_has_no_working(demo_desk, of):
    with pytest.raises(UnknownNameError):
        working_of(demo_desk, "offer", of)
