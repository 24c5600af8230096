"""The whole job in a real browser, from an empty book to plants handed over, on phone and desk."""

import re
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.functional.conftest import PHONE, Served
from tests.functional.test_phone import (
    job,
    kept_here,
    tick,
    wait_until_pages_are_kept,
    wait_until_sent,
)
from tests.small_book import HOUSE, NOW

from sowbench.bootstrap import open_desk
from sowbench.domain.journal import Entry, EntryKind, standing_entries
from sowbench.domain.plan import Plan, Sowing
from sowbench.services.desk import TODAY_SETTING

DESK = {"width": 1280, "height": 900}
BEGIN = date(2027, 3, 2)
# A stray column, a day in another order, and an order of no plants.
ORDERS = """order,crop,plants,wanted_on,earliest_on,latest_on,system,shelf
K1,kale,200,20/05/2027,2027-05-13,2027-05-27,field,3
L1,lettuce,0,2027-05-13,2027-05-07,2027-05-19,field,1
O1,onion,150,2027-06-15,2027-06-08,2027-06-22,field,2
"""


@pytest.fixture(params=[PHONE, DESK], ids=["phone", "desk"])
def page(request: pytest.FixtureRequest, browser: Browser) -> Iterator[Page]:
    """A page at the width of a phone, and at that of a desk; an error of a script fails."""
    context = browser.new_context(viewport=request.param)
    context.set_default_timeout(15_000)
    opened = context.new_page()
    errors: list[str] = []
    opened.on("pageerror", lambda error: errors.append(str(error)))
    with closing(context):
        yield opened
    assert not errors


@pytest.fixture
def site(tmp_path: Path, served: Callable[[Any], Served]) -> Iterator[Served]:
    """A book with nothing in it, on the first day of the season."""
    with open_desk(tmp_path / "book", clock=lambda: NOW) as desk:
        set_day(desk, BEGIN)
        yield served(desk)


def set_day(desk: Any, day: date) -> None:
    """Let it be another day in the house."""
    with desk.book.writing() as unit:
        unit.settings.put(TODAY_SETTING, day.isoformat())
        unit.commit()


def plan_of(site: Served) -> Plan:
    """Return the plan by which the house works."""
    with site.desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        plan: Plan = unit.plans.body(head.id)
    return plan


def sowing_for(plan: Plan, order: str) -> Sowing:
    """Return the sowing of an order."""
    return next(each for each in plan.sowings if each.orders[0].order == order)


def journal_of(site: Served, kind: EntryKind) -> list[Entry]:
    """Return all entries of a kind."""
    with site.desk.book.reading() as unit:
        kept = unit.journal.latest(1000)
    return [each.entry for each in reversed(kept) if each.entry.kind is kind]


def wait_for_plan(page: Page) -> None:
    """Wait for a run to end; its page goes on to the plan that it made."""
    page.wait_for_url(re.compile(r"/plans/\d+$"), timeout=90_000)


def test_from_an_empty_book_to_plants_handed_over(site: Served, page: Page, tmp_path: Path):
    # An empty book leads to the first steps; the house is taken in there.
    page.goto(site.url)
    expect(page).to_have_url(re.compile("/begin$"))
    house = tmp_path / "house.toml"
    house.write_text(HOUSE, encoding="utf-8")
    if not page.locator("#file-house").is_visible():
        page.locator("#house summary").click()
    page.set_input_files("#file-house", str(house))
    page.locator("#house").get_by_role("button", name="Take it in").click()
    expect(page.locator("#house")).to_contain_text("Sallow End")

    # A file of orders with two bad rows: each is shown beside its cell, and mended in place.
    orders = tmp_path / "orders.csv"
    orders.write_text(ORDERS, encoding="utf-8")
    page.goto(f"{site.url}/orders/take-in")
    page.set_input_files("#file", str(orders))
    page.get_by_role("button", name="Look at it").click()
    expect(page.locator("h1")).to_contain_text("2 rows to mend")
    expect(page.get_by_text("shelf").first).to_be_visible()
    with site.desk.book.reading() as unit:
        assert unit.orders.all() == ()
    page.get_by_role("button", name="Put 2027-05-20").click()
    page.locator('[id="c3-plants"]').fill("120")
    page.get_by_role("button", name="Check again").last.click()
    page.get_by_role("button", name=re.compile("Take in 3 orders")).click()
    with site.desk.book.reading() as unit:
        assert {each.id: each.plants for each in unit.orders.all()} == {
            "K1": 200, "L1": 120, "O1": 150,
        }  # fmt: skip

    # The first plan, looked at and taken.
    page.goto(f"{site.url}/plans")
    page.get_by_role("button", name="Plan", exact=True).click()
    wait_for_plan(page)
    expect(page.locator("h1")).to_contain_text("all 3 orders met")
    page.get_by_role("button", name="Work by this plan").first.click()
    first = plan_of(site)
    kale = sowing_for(first, "K1")

    # A pin: the kale is sown on the work day after the planned one.
    pinned = kale.sow_date + timedelta(days=3 if kale.sow_date.weekday() == 4 else 1)
    page.goto(f"{site.url}/season/pins/pin?of=K1")
    page.locator("#sow_date").fill(pinned.isoformat())
    page.get_by_role("button", name="Keep this pin").click()
    expect(page.get_by_text("K1 is pinned.")).to_be_visible()
    page.get_by_role("button", name="Plan again").click()
    wait_for_plan(page)
    expect(page.locator("#moved")).to_be_visible()
    expect(page.locator("ul.moved")).to_contain_text("kale")
    page.get_by_role("button", name="Accept").first.click()
    plan = plan_of(site)
    kale = sowing_for(plan, "K1")
    assert kale.sow_date == pinned

    # The day of sowing: ticked off.
    set_day(site.desk, kale.sow_date)
    page.goto(f"{site.url}/today")
    tick(page, "Sow kale")
    expect(job(page, "Sow kale")).to_have_class(re.compile("done"))
    wait_until_sent(page)
    (sown,) = [each for each in journal_of(site, EntryKind.SOWN) if each.sowing == kale.sowing]
    assert (sown.n, sown.crop) == (kale.n_cells, "kale")

    # The day of counting: the connection goes; a tray is counted cell by cell all the same.
    count = next(each for each in plan.tasks if each.task == "count" and each.sowing == kale.sowing)
    set_day(site.desk, count.date)
    page.goto(f"{site.url}/today")
    link = job(page, "Count kale").get_by_role("link", name="Count cells")
    wait_until_pages_are_kept(page, str(link.get_attribute("href")))
    page.context.set_offline(True)
    site.stop()
    link.click()
    page.get_by_role("button", name="All right", exact=True).click()
    cells = page.locator(".cell[data-at]")
    n_cells = cells.count()
    cells.nth(4).click()
    cells.nth(7).click()
    expect(cells.nth(7)).to_have_attribute("data-mark", "0")
    page.get_by_label("Who counts").fill("Noor")
    page.get_by_role("button", name="Keep this count").click()
    assert len(kept_here(page)) == 1
    assert journal_of(site, EntryKind.COUNTED) == []

    # It comes back: the count arrives once, and is corrected.
    site.start()
    page.context.set_offline(False)
    page.goto(f"{site.url}/today")
    wait_until_sent(page)
    (counted,) = journal_of(site, EntryKind.COUNTED)
    n_right = counted.cells.count("1")
    assert counted.cells.count("0") == 2
    assert (counted.n, counted.person, n_cells >= 2) == (n_right, "Noor", True)
    expect(job(page, "Count kale")).to_have_class(re.compile("done"))
    page.goto(f"{site.url}/sowings/{kale.sowing}/trays/{counted.trays[0]}")
    page.get_by_role("button", name=re.compile("Strike")).click()
    wait_until_sent(page)
    page.reload()
    page.get_by_text("Count by number only").click()
    page.get_by_label("Right", exact=True).fill(str(n_right + 1))
    page.get_by_role("button", name="Keep this count").click()
    wait_until_sent(page)
    with site.desk.book.reading() as unit:
        standing = standing_entries(unit.journal.that_stand([kale.sowing]))
    assert [each.n for each in standing if each.kind is EntryKind.COUNTED] == [n_right + 1]

    # Handed over, two fewer than were wanted.
    pack = next(each for each in plan.tasks if each.task == "pack" and each.sowing == kale.sowing)
    set_day(site.desk, pack.date)
    page.goto(f"{site.url}/today")
    packing = job(page, "Pack 200 kale")
    packing.get_by_label("Plants").fill("198")
    tick(page, "Pack 200 kale")
    expect(packing).to_have_class(re.compile("done"))
    wait_until_sent(page)
    given = [each for each in journal_of(site, EntryKind.DELIVERED) if each.order == "K1"]
    assert [each.n for each in given] == [198]
    page.goto(f"{site.url}/orders/K1")
    expect(page.locator("main")).to_contain_text("198")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
