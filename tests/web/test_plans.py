"""The pages of the plans: begin, follow, look at what moved, accept."""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from bs4 import BeautifulSoup
from litestar import Litestar
from litestar.testing import TestClient
from tests.web.conftest import ADDRESS

from sowbench.domain.plan import Moved, Plan
from sowbench.planning.inputs import PlanInputs
from sowbench.planning.parameters import SolveParameters
from sowbench.services.desk import Desk
from sowbench.services.parts import Made, Progress
from sowbench.web.app import create_app

HTML = {"accept": "text/html"}
WAIT_S = 60.0

Pages = TestClient[Litestar]


def moving(
    inputs: PlanInputs, parameters: SolveParameters, seed: int, progress: Progress | None = None
) -> Made:
    """Plan as before, but drop one sowing, make one larger, and leave one order out."""
    assert parameters.seconds == 60
    assert seed == 0
    assert progress is not None
    ends_s = time.monotonic() + WAIT_S
    while not progress("search", 80.0, 100.0):
        assert time.monotonic() < ends_s
        time.sleep(0.01)
    old = inputs.kept
    assert old is not None
    coming = [each for each in old.sowings if each.sow_date > inputs.from_date]
    gone, larger = coming[0], coming[1]
    sowings = tuple(
        replace(each, n_cells=each.n_cells + 100) if each is larger else each
        for each in old.sowings
        if each is not gone
    )
    orders = tuple(
        replace(each, chance_filled_frac=each.chance_filled_frac / 2)
        if each.order == larger.orders[0].order
        else each
        for each in old.orders
    )
    moved = (Moved(gone.sowing, "dropped", "", ""),)
    plan: Plan = replace(
        old, from_date=inputs.from_date, sowings=sowings, orders=orders, moved=moved
    )
    return Made(plan, ())


@pytest.fixture
def pages(demo_desk: Desk) -> Iterator[Pages]:
    """The demo's pages with a planner that waits to be stopped."""
    with ThreadPoolExecutor(1) as workers:
        desk = replace(
            demo_desk, executor=workers, parts=replace(demo_desk.parts, make_plan=moving)
        )
        with TestClient(create_app(desk), base_url=ADDRESS) as client:
            yield client


def parsed(client: Pages, path: str, status: int = 200) -> BeautifulSoup:
    """Ask for a page and parse it."""
    answer = client.get(path, headers=HTML)
    assert answer.status_code == status, answer.text[:500]
    return BeautifulSoup(answer.text, "html.parser")


def token_of(page: BeautifulSoup) -> dict[str, str]:
    """Return the token of a page's forms."""
    field = page.select_one("input[name=_csrf_token]")
    assert field is not None
    return {"_csrf_token": str(field["value"])}


def begin(client: Pages, **values: str) -> str:
    """Begin to plan; return where it is followed."""
    token = token_of(parsed(client, "/plans"))
    answer = client.post(
        "/plans/run", data={**token, **values}, headers=HTML, follow_redirects=False
    )
    assert answer.status_code == 303, answer.text[:500]
    return str(answer.headers["location"])


def test_a_run_is_followed_stopped_looked_at_and_accepted(pages: Pages) -> None:
    path = begin(pages, seconds="60")
    page = parsed(pages, path)
    assert page.select_one("noscript meta[http-equiv=refresh]")
    part = page.select_one(f"[hx-get='{path}']")
    assert part is not None
    assert part["hx-trigger"] == "every 1s"
    again = pages.post(
        "/plans/run", data=token_of(page), headers=HTML, follow_redirects=False
    ).headers["location"]
    assert again == f"{path}?already=1"
    assert "A plan is being made already" in parsed(pages, again).get_text()

    pages.post(f"{path}/stop", data=token_of(page), headers=HTML)
    ends_s = time.monotonic() + WAIT_S
    while True:
        answer = pages.get(path, headers={**HTML, "hx-request": "true"})
        if "hx-redirect" in answer.headers:
            break
        assert "<html" not in answer.text
        assert time.monotonic() < ends_s
        time.sleep(0.02)
    plan = answer.headers["hx-redirect"]

    page = parsed(pages, plan)
    assert page.h1 is not None
    assert page.h1.get_text() == "A new plan changes 2 sowings"
    kinds = [str(each["class"][0]) for each in page.select(".moved > li")]
    assert sorted(kinds) == ["gone", "moved"]
    larger = page.select_one(".moved > li.moved ins")
    assert larger is not None
    chances = page.select("section[aria-labelledby=chances] tbody tr")
    assert len(chances) == 1
    assert "▼" in chances[0].get_text()

    answer = pages.post(
        f"{plan}/decide", data={**token_of(page), "do": "accept"}, headers=HTML,
        follow_redirects=False,
    )  # fmt: skip
    assert answer.headers["location"] == "/season"
    page = parsed(pages, plan)
    assert page.h1 is not None
    assert page.h1.get_text().startswith("The plan of the house")
    assert not page.select("button[value=accept]")


@pytest.mark.parametrize(
    ("values", "word"),
    [
        ({"seconds": "1"}, "seconds must be"),
        ({"seconds": "soon"}, "'soon'"),
        ({"from_date": "2020-01-01"}, "first day"),
        ({"from_date": "3/9/2027"}, "year-month-day"),
        ({"from_date": "2150-01-01"}, "Take in orders first"),
    ],
)
def test_what_cannot_be_planned_is_said(
    demo_client: Pages, values: dict[str, str], word: str
) -> None:
    token = token_of(parsed(demo_client, "/plans"))

    answer = demo_client.post("/plans/run", data={**token, **values}, headers=HTML)

    assert answer.status_code == 422
    flag = BeautifulSoup(answer.text, "html.parser").select_one(".flag.act")
    assert flag is not None
    assert word in flag.get_text()


def test_plans_and_runs_that_are_not_there_are_not_found(demo_client: Pages) -> None:
    for path in ("/plans/99", "/plans/runs/99"):
        parsed(demo_client, path, 404)


def test_an_empty_book_asks_for_orders_before_a_plan(client: Pages) -> None:
    page = parsed(client, "/plans")

    assert not page.select("form[action='/plans/run']")
    assert page.select_one("a[href='/orders/take-in']")
