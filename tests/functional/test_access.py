"""Every page with axe-core in both color schemes, at both widths: nobody is kept out of one."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from playwright.sync_api import Browser, Page
from tests.functional.conftest import PHONE, Served
from tests.web.conftest import demo_book, demo_desk  # noqa: F401 - fixtures of the pages' tests

from sowbench.bootstrap import open_desk
from sowbench.services.desk import Desk

AXE = Path(__file__).parents[1] / "vendor" / "axe-core" / "axe.min.js"
DESK = {"width": 1280, "height": 900}
GRAVE = {"serious", "critical"}


def pages_of(desk: Desk) -> list[str]:
    """Return the address of a page of every kind in the demo's book."""
    with desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        plan = unit.plans.body(head.id)
        counted = [each.entry.sowing for each in unit.journal.latest(200) if each.entry.cells]
    sowing = quote(counted[0], safe="")
    unmet = plan.unmet[0].order
    return [
        "/today",
        "/today/2027-03-08",
        "/count",
        "/ahead",
        "/orders",
        "/orders?show=unmet",
        f"/orders/{quote(unmet, safe='')}",
        f"/orders/{quote(plan.orders[0].order, safe='')}",
        "/orders/new",
        "/orders/take-in",
        "/orders/promise",
        "/orders/promise?crop=lettuce&plants=300&wanted_on=2027-05-20",
        "/orders/free",
        "/plans",
        f"/plans/{head.id}",
        "/season",
        "/season/pins",
        f"/season/pins/pin?of={quote(unmet, safe='')}",
        "/sowings",
        f"/sowings/{sowing}",
        f"/sowings/{sowing}/trays/1",
        "/seed",
        "/seed/S01",
        "/supplies",
        "/house",
        "/handbook",
        "/handbook?q=lettuce",
        "/handbook/crops/lettuce",
        "/handbook/containers/plug-128",
        "/season/place?of=warm%20bench",
        "/season/back",
        "/season/back?by=customer",
        "/season/day?on=2027-03-09",
        "/season/day?on=2027-03-05",
        "/begin",
        "/no/such/page",
    ]


def watched(browser: Browser, size: dict[str, int], told: list[str]) -> Page:
    """Open a page whose complaints are written down: errors, and breaches of the policy."""
    context = browser.new_context(viewport=size, service_workers="block")  # type: ignore[arg-type]
    page = context.new_page()
    page.on("pageerror", lambda error: told.append(str(error)))
    page.on(
        "console",
        lambda said: (
            told.append(said.text)
            if said.type in {"error", "warning"}
            and "Service Worker registration blocked" not in said.text
            and "status of 404" not in said.text
            else None
        ),
    )
    return page


def faults(page: Page) -> list[str]:
    """Return the grave faults that axe-core finds, each with where."""
    found: dict[str, Any] = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{each['id']}: {each['nodes'][0]['target']} {each['nodes'][0]['failureSummary']}"
        for each in found["violations"]
        if each["impact"] in GRAVE
    ]


@pytest.fixture(params=[PHONE, DESK], ids=["phone", "desk"])
def size(request: pytest.FixtureRequest) -> dict[str, int]:
    """Width and height of the window."""
    sizes: dict[str, int] = request.param
    return sizes


def look(page: Page, url: str, paths: list[str], told: list[str], width: int) -> list[str]:
    """Go through pages in both schemes and return all that is wrong."""
    axe = AXE.read_text(encoding="utf-8")
    wrong = []
    for path in paths:
        told.clear()
        page.emulate_media(color_scheme="light")
        page.goto(url + path)
        page.evaluate(axe)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            wrong += [f"{path} {scheme}: {each}" for each in faults(page)]
            if page.locator("button.working:visible").count():
                page.locator("button.working:visible").first.click()
                page.locator("#working[open] #working-body *").first.wait_for()
                wrong += [f"{path} {scheme}, working: {each}" for each in faults(page)]
                page.keyboard.press("Escape")
        if page.evaluate("document.documentElement.scrollWidth") > width:
            wrong.append(f"{path}: wider than the window")
        wrong += [f"{path}: {each}" for each in told]
    return wrong


def test_no_page_of_the_demo_has_a_grave_fault(
    demo_desk: Desk,  # noqa: F811 - the fixture
    served: Callable[[Desk], Served],
    browser: Browser,
    size: dict[str, int],
):
    told: list[str] = []
    page = watched(browser, size, told)
    site = served(demo_desk)
    assert look(page, site.url, pages_of(demo_desk), told, size["width"]) == []
    page.context.close()


@pytest.fixture
def empty_desk(tmp_path: Path) -> Iterator[Desk]:
    """A book with nothing in it."""
    with open_desk(tmp_path / "empty") as desk:
        yield desk


def test_no_page_of_an_empty_book_has_a_grave_fault(
    empty_desk: Desk, served: Callable[[Desk], Served], browser: Browser, size: dict[str, int]
):
    told: list[str] = []
    page = watched(browser, size, told)
    paths = ["/begin", "/today", "/count", "/orders", "/orders/free", "/plans", "/season",
             "/season/pins", "/sowings", "/seed", "/supplies", "/house", "/handbook"]  # fmt: skip
    assert look(page, served(empty_desk).url, paths, told, size["width"]) == []
    page.context.close()
