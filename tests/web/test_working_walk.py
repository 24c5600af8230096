"""Walks the pages of the demo: each number that was computed opens its working there."""

import re
from pathlib import Path
from typing import Any

import pytest
from bs4 import BeautifulSoup

from sowbench.services.working_pages import NAMES

BOOK = Path(__file__).parents[2] / "docs" / "book.md"
SAME = ("The plan has the same", "The answer has the same")
MOST_OF_A_KIND = 3

PAGES: dict[str, set[str]] = {
    "/today": {"day"},
    "/orders": {"enough", "in-time"},
    "/orders/{unmet}": {"offer", "short", "enough", "in-time", "filled", "plants"},
    "/orders/{standing}": {"enough", "in-time"},
    "/ahead": {"forecast", "forecast-ready", "forecast-order", "forecast-count", "filled"},
    "/ahead/part/orders": {"forecast-order", "enough", "filled"},
    "/ahead/part/sowing?of={coming}": {"forecast", "forecast-ready", "forecast-order"},
    "/orders/free": {"room-left", "free"},
    "/orders/promise?crop=lettuce&plants=300&wanted_on=2027-05-20": {"promised"},
    "/plans": {"cost"},
    "/plans/1": {"cost", "bound", "offer", "part"},
    "/season": {"days", "press"},
    "/season/place?of=warm%20bench": {"days"},
    "/season/day": {"use"},
    "/sowings/{coming}": {
        "plants", "ready", "overgrown", "cells", "sowing-cost", "filled", "minutes", "mix",
    },
    "/sowings/{counted}": {"counted"},
    "/seed": {"germination", "seeds-left", "seeds-taken"},
    "/seed/lot?of=S01": {"germination", "seeds-left", "seeds-taken"},
    "/supplies": {"supply", "mix"},
    "/house": {"climate"},
    "/handbook/crops/lettuce": {"half-up"},
    "/handbook/containers/plug-128": {"container"},
}  # fmt: skip
"""Pages with the workings that their numbers open."""


@pytest.fixture
def names(demo_desk) -> dict[str, str]:
    """Names in the demo's plan for addresses."""
    with demo_desk.book.reading() as unit:
        plan = unit.plans.body(unit.plans.current().id)
        counted = [e.entry.sowing for e in unit.journal.latest(300) if e.entry.cells]
    orders = {each.order: each for each in plan.orders}
    unmet = [u.order for u in plan.unmet if u.offers and orders[u.order].hand_over]
    return {
        "unmet": unmet[0],
        "standing": next(each.order.partition("/")[0] for each in plan.orders if "/" in each.order),
        "coming": next(
            each.sowing for each in plan.sowings
            if each.sow_date > demo_desk.today() and each.orders
        ),
        "counted": counted[0],
    }  # fmt: skip


def test_every_computed_number_of_every_page_opens_a_working_that_ends_at_it(demo_client, names):
    for pattern, kinds in PAGES.items():
        address = pattern.format(**names)
        soup: Any = BeautifulSoup(demo_client.get(address).text, "html.parser")
        found: dict[str, list[str]] = {}
        for each in soup.select("[data-working]"):
            url = str(each["data-working"])
            kind = url.removeprefix("/working/").partition("?")[0]
            found.setdefault(kind, []).append(url)
            assert each.name == "button", (address, url)
            assert each.get_text(strip=True) or each.select_one("svg"), (address, url)
        assert kinds <= set(found), (address, kinds - set(found))
        for kind, urls in found.items():
            if kind not in NAMES:
                continue
            for url in urls[:MOST_OF_A_KIND]:
                answer = demo_client.get(url)
                assert answer.status_code == 200, (address, url, answer.text)
                page: Any = BeautifulSoup(answer.text, "html.parser")
                assert page.select_one(".worked-result").get_text(strip=True), url
                assert page.select(".worked-lines li"), url
                text = page.get_text()
                assert "have changed since the plan was made" not in text, (address, url)
                assert "bring them together" not in text, (address, url)


def test_the_house_books_page_lists_every_working():
    text = BOOK.read_text(encoding="utf-8")
    section = text[text.index("## 7. What each number opens") :]
    told = set(re.findall(r"`([a-z-]+)`", section))
    assert set(NAMES) <= told, set(NAMES) - told
    assert "half-up" in NAMES
