"""Offers for what may fall short: what is stated is what the plan shows after one is taken."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import timedelta

import pytest
from litestar.testing import TestClient
from tests.web.conftest import ADDRESS
from tests.web.pages import page, send, words

from sowbench.bootstrap import open_desk
from sowbench.domain.journal import Entry, EntryKind
from sowbench.planning.patched import Patch, order_of, shares
from sowbench.services import ahead_offers
from sowbench.services.ahead_offers import OfferChangedError, offers_for, take_offer
from sowbench.services.forecasts import house_forecast
from sowbench.services.plan_patch import Change
from sowbench.web.app import create_app


def fewer(unit, forecast, inputs, name, promise):
    """Offer to promise a customer a quarter of the plants."""
    sowing = forecast.gathered.planned[name]
    order = order_of(inputs, sowing.orders[0].order)
    few = replace(order, plants=order.plants // 4)
    patch = Patch((shares(sowing, {order.id: few.plants}),), (few,))
    yield Change("fewer", order.id, "Tell them early: a quarter.", patch, order.latest_date)


@pytest.fixture
def short(demo_book, tmp_path, monkeypatch):
    """The demo with a sowing of which little came up, and an offer to promise fewer of it."""
    folder = tmp_path / "demo"
    shutil.copytree(demo_book, folder)
    with open_desk(folder) as desk:
        with desk.book.reading() as unit:
            gathered = house_forecast(unit, desk.today()).gathered
        name = max(
            (
                each
                for each in gathered.planned.values()
                if each.sowing in gathered.followed and len(each.orders) == 1 and not each.standing
                and each.orders[0].order not in gathered.given
            ),
            key=lambda each: gathered.order(each.orders[0].order).latest_date,
        ).sowing  # fmt: skip
        cells = gathered.planned[name].n_cells
        with desk.book.writing() as unit:
            count = Entry("ab" * 16, desk.today(), EntryKind.COUNTED, name, cells // 4, n_of=cells)
            unit.journal.add((replace(count, at=desk.clock()),), desk.clock())
            unit.commit()
        monkeypatch.setattr(ahead_offers, "changes_for", fewer)
        monkeypatch.setattr(ahead_offers, "_WORTH_FRAC", -1.0)
        yield desk, name


def test_what_an_offer_states_is_what_the_plan_shows_once_it_is_taken(short):
    desk, name = short
    offers = offers_for(desk, name)
    assert offers
    offer = next(each for each in offers if not each.against)
    plan_id = take_offer(desk, offer.id, "Ana")
    with desk.book.reading() as unit:
        head = unit.plans.current()
        after = house_forecast(unit, desk.today())
        run = unit.runs.latest()
        cost = unit.plans.body(plan_id).cost
    assert (head.id, run.plan, run.message) == (plan_id, plan_id, offer.words)
    assert cost == offer.plan.cost
    for each in offer.effects:
        now = after.orders[each.order]
        assert now.chance_filled_frac == each.after_frac
        assert now.chance_enough_frac == each.enough_after_frac


def test_an_offer_is_refused_once_something_was_entered(short):
    desk, name = short
    offer = offers_for(desk, name)[0]
    with desk.book.writing() as unit:
        late = Entry("cd" * 16, desk.today() - timedelta(days=1), EntryKind.NOTED, name)
        unit.journal.add((replace(late, at=desk.clock(), note="dry"),), desk.clock())
        unit.commit()
    with pytest.raises(OfferChangedError, match="was entered since"):
        take_offer(desk, offer.id)


def test_an_offer_has_a_page_and_is_taken_with_one_press(short):
    desk, name = short
    with TestClient(create_app(desk), base_url=ADDRESS) as client:
        part = client.get("/ahead/part/offers", params={"of": name}).text
        assert "What could be done" in part
        offer = next(each for each in offers_for(desk, name) if not each.against)
        shown = page(client, f"/ahead/offers?of={offer.id}")
        assert words(shown.h1) == offer.words
        answer = send(client, shown.select_one('form[action="/ahead/offers/take"]'))
        assert answer.status_code in {200, 303}
        again = client.get("/ahead/offers", params={"of": offer.id})
        assert again.status_code == 409
        assert "no longer offered" in again.text
