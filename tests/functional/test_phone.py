"""The day's work on a phone in a real browser, with and without a connection."""

import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route, expect
from tests.functional.conftest import HOUSE_NAME, PHONE, Served
from tests.small_book import KALE, TODAY

from sowbench.domain.book import Kept
from sowbench.domain.journal import Entry, EntryKind
from sowbench.web.entries import routes as worker_routes
from sowbench.web.entries.worker import worker_script

KALE_TRAY_1 = "/sowings/kale%2003-01%20a/trays/1"


def entries_of(site: Served) -> list[Kept]:
    """Return what the journal has of today."""
    with site.desk.book.reading() as unit:
        return unit.journal.on_day(TODAY)


def written(site: Served, kind: EntryKind) -> list[Entry]:
    """Return the entries of today of one kind."""
    return [each.entry for each in entries_of(site) if each.entry.kind is kind]


def job(page: Page, title: str) -> Any:
    """Find a job of the page by the beginning of its title."""
    return page.locator(".job", has_text=title).first


def tick(page: Page, title: str) -> None:
    """Tick a job off."""
    job(page, title).locator("button.mark").click()


def kept_here(page: Page) -> list[dict[str, Any]]:
    """Return what the phone keeps that is not sent."""
    found: list[dict[str, Any]] = page.evaluate(
        """async () => {
          const db = await new Promise((done) => {
            const asked = indexedDB.open("sowbench", 1);
            asked.onsuccess = () => done(asked.result);
          });
          const all = await new Promise((done) => {
            const asked = db.transaction("outbox").objectStore("outbox").getAll();
            asked.onsuccess = () => done(asked.result);
          });
          db.close();
          return all;
        }"""
    )
    return found


def wait_until(page: Page, is_so: Callable[[], bool], what: str) -> None:
    """Wait for something that the page does on its own."""
    for _ in range(200):
        if is_so():
            return
        page.wait_for_timeout(50)
    pytest.fail(f"This did not come about within 10 s: {what}.")


def wait_until_sent(page: Page) -> None:
    """Wait until nothing is kept any more."""
    for _ in range(100):
        kept = kept_here(page)
        if not kept:
            return
        page.wait_for_timeout(50)
    pytest.fail(f"These were not sent within 5 s: {kept}.")


def wait_until_pages_are_kept(page: Page, path: str) -> None:
    """Wait until the service worker has kept a page."""
    script = """async (path) => {
      if (navigator.serviceWorker.controller === null) return false;
      for (const name of await caches.keys())
        if (await (await caches.open(name)).match(location.origin + path)) return true;
      return false;
    }"""
    wait_until(page, lambda: bool(page.evaluate(script, path)), f"{path} is kept")


def test_a_day_is_ticked_off_counted_offline_sent_once_and_corrected(
    small_site: Served, phone: Page
):
    phone.goto(f"{small_site.url}/today")
    expect(phone.locator("h1")).to_have_text(re.compile(r"7 jobs, about 2 h 24"))

    # Three trays are sown, not four; cells and seeds follow.
    sow = job(phone, "Sow celery")
    sow.get_by_role("button", name="One less").click()
    expect(sow.get_by_label("Cells")).to_have_value("864")
    tick(phone, "Sow celery")
    expect(sow).to_have_class(re.compile("done"))
    expect(phone.locator("h1")).to_have_text("6 of 7 jobs left, about 34 min")
    wait_until_sent(phone)
    sown = written(small_site, EntryKind.SOWN)
    assert [(each.n, each.n_containers, each.lot) for each in sown] == [(864, 3, "S-celery")]
    assert sown[0].values == {"n_cells_per_tray": 288, "n_seeds": 864}

    # The connection goes, and the server with it; the page is reloaded from the phone.
    wait_until_pages_are_kept(phone, KALE_TRAY_1)
    phone.reload()
    phone.context.set_offline(True)
    small_site.stop()
    phone.reload()
    expect(phone.locator("#kept")).to_contain_text("as of")
    expect(sow).to_have_class(re.compile("done"))
    tick(phone, "Water what is dry")
    expect(phone.locator("#kept")).to_contain_text("offline, 1 kept here")
    expect(job(phone, "Water what is dry")).to_contain_text("kept here")

    # A tray is counted cell by cell: all right, three taps on one cell, one on another, a row.
    job(phone, "Count kale").get_by_role("link", name="Count cells").click()
    expect(phone.locator("h1")).to_have_text("Kale, tray 1 of 3")
    phone.get_by_role("button", name="All right", exact=True).click()
    cells = phone.locator(".cell[data-at]")
    expect(cells).to_have_count(128)
    cells.nth(9).click()
    expect(cells.nth(9)).to_have_attribute("aria-label", "row 2, cell 2: empty")
    cells.nth(10).click(click_count=1)
    cells.nth(10).click()
    expect(cells.nth(10)).to_have_attribute("data-mark", "+")
    cells.nth(120).click()
    phone.locator("[data-hand]").get_by_role("button", name="none").click()
    expect(phone.locator("output[data-right]")).to_have_text("119")
    phone.get_by_label("Who counts").fill("Noor")
    phone.get_by_role("button", name="Keep this count").click()
    expect(phone.locator("[data-saved]")).to_have_text("Kept: 119 of 128.")
    phone.reload()
    expect(phone.locator("#kept")).to_contain_text("offline, 2 kept here")
    assert len(kept_here(phone)) == 2
    assert written(small_site, EntryKind.COUNTED) == []

    # It comes back, and everything arrives once.
    small_site.start()
    phone.context.set_offline(False)
    phone.goto(f"{small_site.url}/today")
    wait_until_sent(phone)
    counted = written(small_site, EntryKind.COUNTED)
    assert [(each.n, each.n_of, each.trays, each.person) for each in counted] == [
        (119, 128, (1,), "Noor")
    ]
    assert counted[0].cells == "1" * 9 + "0+" + "1" * 109 + "0" * 8
    assert len(written(small_site, EntryKind.WATERED)) == 1
    phone.reload()
    expect(phone.locator("#kept")).to_be_hidden()
    expect(job(phone, "Count kale")).to_have_class(re.compile("done"))
    expect(job(phone, "Count kale")).to_contain_text("Noor")

    # It was wrong: the count is struck, and the job is open again.
    job(phone, "Count kale").get_by_role("button", name="Undo").click()
    expect(job(phone, "Count kale")).not_to_have_class(re.compile("done"))
    wait_until_sent(phone)
    assert [each.corrects for each in written(small_site, EntryKind.CORRECTED)] == [counted[0].id]
    with small_site.desk.book.reading() as unit:
        tray = unit.today_page.tray(KALE, 1)
    assert tray is not None
    assert tray.n_right is None
    phone.reload()
    expect(job(phone, "Count kale")).not_to_have_class(re.compile("done"))
    assert phone.evaluate("document.documentElement.scrollWidth") == PHONE["width"]


def test_an_entry_outlives_its_tab_and_a_book_that_does_not_let_it_in(
    small_site: Served, phone: Page
):
    # Everything that is sent is turned away: first the token, then the post.
    status = {"now": 401}

    def turn_away(route: Route) -> None:
        route.fulfill(status=status["now"], body="{}", content_type="application/json")

    context = phone.context
    context.route("**/entries/token", turn_away)
    phone.goto(f"{small_site.url}/today")
    tick(phone, "Water what is dry")
    expect(phone.locator("#kept")).to_contain_text("1 kept here: the book does not let this")
    context.route("**/entries", turn_away)
    context.unroute("**/entries/token")
    for now, words in ((403, "does not let this"), (500, "in trouble"), (507, "in trouble")):
        status["now"] = now
        with phone.expect_response("**/entries"):
            phone.evaluate("dispatchEvent(new Event('online'))")
        expect(phone.locator("#kept")).to_contain_text(words)
        assert [each["state"] for each in kept_here(phone)] == ["kept"]

    # The tab is killed between keeping and sending; another finds what it kept.
    phone.close()
    assert written(small_site, EntryKind.WATERED) == []
    context.unroute("**/entries")
    again = context.new_page()
    again.goto(f"{small_site.url}/today")
    wait_until_sent(again)
    assert len(written(small_site, EntryKind.WATERED)) == 1


def test_two_tabs_send_each_entry_once(small_site: Served, phone: Page):
    other = phone.context.new_page()
    phone.goto(f"{small_site.url}/today")
    other.goto(f"{small_site.url}/today")
    posts: list[str] = []
    phone.context.on(
        "request",
        lambda asked: (
            posts.extend(each["id"] for each in json.loads(asked.post_data or "[]"))
            if asked.method == "POST"
            else None
        ),
    )
    phone.context.set_offline(True)
    tick(phone, "Water what is dry")
    tick(other, "Pull 1 tray of basil")
    tick(phone, "Set up for lot")
    expect(other.locator("#kept")).to_contain_text("offline, 3 kept here")
    expect(job(other, "Water what is dry")).to_have_class(re.compile("done"))
    phone.context.set_offline(False)
    wait_until_sent(phone)
    assert len(posts) == len(set(posts)) == 3
    assert len(entries_of(small_site)) == 3
    assert len(written(small_site, EntryKind.PULLED)) == 1


def test_over_plain_http_an_open_page_keeps_its_entries_and_two_tabs_take_turns(
    small_site: Served, phone: Page
):
    # No secure context: no service worker, and no lock of the browser to take turns by.
    url = f"http://{HOUSE_NAME}:{small_site.port}/today"
    phone.goto(url)
    secure = "[isSecureContext, 'serviceWorker' in navigator, 'locks' in navigator]"
    assert phone.evaluate(secure) == [False, False, False]
    other = phone.context.new_page()
    other.goto(url)
    ids: list[str] = []
    phone.context.on(
        "request",
        lambda asked: (
            ids.extend(each["id"] for each in json.loads(asked.post_data or "[]"))
            if asked.method == "POST"
            else None
        ),
    )
    phone.context.set_offline(True)
    tick(phone, "Water what is dry")
    tick(other, "Pull 1 tray of basil")
    expect(phone.locator("#kept")).to_contain_text(
        "offline, 2 kept here · this page cannot be reloaded without a connection"
    )
    phone.context.set_offline(False)
    wait_until_sent(phone)
    assert len(ids) == len(set(ids)) == 2
    assert len(entries_of(small_site)) == 2


def test_two_orders_of_one_sowing_end_it_with_the_last_tick(small_site: Served, phone: Page):
    phone.goto(f"{small_site.url}/today")
    phone.context.set_offline(True)
    tick(phone, "Pack 30 lettuce")
    expect(job(phone, "Pack 30 lettuce")).to_have_class(re.compile("done"))
    job(phone, "Pack 90 lettuce").get_by_label("Plants").fill("88")
    tick(phone, "Pack 90 lettuce")
    phone.context.set_offline(False)
    wait_until_sent(phone)
    expect(phone.locator("#outbox-told")).to_have_count(0)
    given = {each.order: (each.n, each.values) for each in written(small_site, EntryKind.DELIVERED)}
    assert given == {"L2": (30, {}), "L1": (88, {"last": 1})}


def test_what_the_book_cannot_take_stays_and_can_be_settled(small_site: Served, phone: Page):
    phone.goto(f"{small_site.url}/today")
    # A number that no entry can have reaches the outbox by another way than the form's own check.
    phone.evaluate(
        """() => {
          const form = document.querySelector('.job form[id$="tick"]');
          const field = document.createElement("input");
          field.type = "hidden";
          field.name = "n";
          field.value = "-3";
          form.append(field);
        }"""
    )
    title = phone.locator(".job .title").nth(1).inner_text()
    first = phone.locator(".job", has=phone.locator('form[id$="tick"]')).first
    first.locator("button.mark").click()
    told = phone.locator("#outbox-told")
    expect(told).to_contain_text("Not taken: the book cannot read it")
    expect(told).to_contain_text("n must be a whole number from 0 to 10,000,000; got '-3'.")
    assert [each["state"] for each in kept_here(phone)] == ["refused"]
    told.get_by_role("button", name="Set it aside").click()
    expect(told).to_have_count(0)
    assert [each["state"] for each in kept_here(phone)] == ["aside"]
    assert entries_of(small_site) == []
    assert title


def test_a_large_tray_is_counted_with_targets_of_48_pixels(small_site: Served, phone: Page):
    phone.goto(f"{small_site.url}/sowings/leek%2002-26%20a/trays/1")
    small = phone.evaluate(
        """() => [...document.querySelectorAll("#count button, .tray-row a, #count .field input")]
          .map((each) => [each, each.getBoundingClientRect()])
          .filter(([each, box]) => box.width > 0 && (box.width < 48 || box.height < 48))
          .map(([each, box]) => `${each.className} ${box.width} x ${box.height}`)"""
    )
    assert small == []
    assert phone.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
    expect(phone.locator(".cell[data-at]")).to_have_count(6 * 16)
    phone.get_by_role("button", name="row 1:").click()
    phone.get_by_role("button", name="Next rows").first.click()
    expect(phone.locator(".row-name").first).to_have_text("Row 7")
    # Arrows walk, a digit marks and goes on.
    phone.locator('.cell[data-at="96"]').focus()
    phone.keyboard.press("1")
    phone.keyboard.press("0")
    phone.keyboard.press("ArrowDown")
    expect(phone.locator('.cell[data-at="114"]')).to_be_focused()
    expect(phone.locator("output[data-right]")).to_have_text("17")
    phone.reload()  # what was begun is there again
    expect(phone.locator("output[data-right]")).to_have_text("17")
    phone.get_by_role("button", name="Keep this count").click()
    wait_until_sent(phone)
    counted = written(small_site, EntryKind.COUNTED)
    assert [(each.n, each.n_of) for each in counted] == [(17, 18)]
    assert counted[0].cells == "1" * 16 + "." * 80 + "10" + "." * 414
    assert counted[0].job == "2027-03-06/count/leek 02-26 a/south bench"


def test_counts_of_one_tray_by_two_people_are_both_shown(small_site: Served, phone: Page):
    for person, n in (("Ana", "100"), ("Noor", "90")):
        phone.goto(small_site.url + KALE_TRAY_1)
        phone.get_by_text("Count by number only").click()
        phone.get_by_label("Right", exact=True).fill(n)
        phone.get_by_label("Who counts").fill(person)
        phone.get_by_role("button", name="Keep, tray 2 next").click()
        expect(phone.locator("h1")).to_have_text("Kale, tray 2 of 3")
        wait_until_sent(phone)
    expect(phone.locator("#outbox-told")).to_contain_text("Taken, but look at this")
    phone.goto(small_site.url + KALE_TRAY_1)
    expect(phone.get_by_text("Counted 2 times today.")).to_be_visible()
    first = phone.locator(".counted-today").first
    expect(first).to_contain_text("by Ana: 100 of 128")
    expect(phone.locator(".counted-today").last).to_contain_text("by Noor: 90 of 128")
    phone.locator(".counted-today").last.get_by_role("button").click()
    wait_until_sent(phone)
    with small_site.desk.book.reading() as unit:
        tray = unit.today_page.tray(KALE, 1)
    assert tray is not None
    assert (tray.n_right, tray.counted_by) == (100, "Ana")


def test_pages_need_no_script_to_tick_and_count(small_site: Served, browser: Browser):
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(f"{small_site.url}/today")
    tick(page, "Sow celery")
    expect(job(page, "Sow celery")).to_have_class(re.compile("done"))
    page.goto(small_site.url + KALE_TRAY_1)
    page.get_by_label("Right", exact=True).fill("101")
    page.get_by_role("button", name="Keep this count").click()
    assert [each.n for each in written(small_site, EntryKind.COUNTED)] == [101]
    assert [each.n for each in written(small_site, EntryKind.SOWN)] == [1152]
    job(page, "Sow celery")
    context.close()


def kept_versions(page: Page) -> dict[str, list[str]]:
    """Return the pages that the worker keeps, by the name of their cache."""
    found: dict[str, list[str]] = page.evaluate(
        """async () => {
          const found = {};
          for (const name of await caches.keys()) {
            const keys = await (await caches.open(name)).keys();
            found[name] = keys.map((each) => new URL(each.url).pathname)
              .filter((path) => !path.startsWith("/static/"));
          }
          return found;
        }"""
    )
    return found


def open_and_keep(site: Served, page: Page) -> None:
    """Open the day's page and wait until the worker keeps it."""
    page.goto(f"{site.url}/today")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    wait_until(
        page,
        lambda: any("/today" in each for each in kept_versions(page).values()),
        "today's page is kept",
    )


def test_on_a_slow_connection_the_kept_page_is_shown_with_its_time(small_site: Served, phone: Page):
    open_and_keep(small_site, phone)
    assert phone.locator("html[data-kept-at]").count() == 0
    small_site.slow_s = 20.0  # far longer than a kept page waits for the network
    phone.goto(f"{small_site.url}/today", timeout=15_000)
    expect(phone.locator("html[data-kept-at]")).to_have_count(1)
    expect(phone.locator("h1")).to_contain_text("job")
    small_site.slow_s = 0.0
    wait_until(phone, lambda: _is_fresh(small_site, phone), "the page comes from the book again")


def _is_fresh(site: Served, page: Page) -> bool:
    """Ask for the page once more, and tell whether it is the book's own."""
    page.goto(f"{site.url}/today")
    return page.locator("html[data-kept-at]").count() == 0


def test_a_new_version_of_the_worker_takes_over_with_the_pages_of_the_old(
    small_site: Served, phone: Page, monkeypatch: pytest.MonkeyPatch
):
    open_and_keep(small_site, phone)
    (before,) = [each for each in kept_versions(phone) if each.startswith("sowbench-")]
    script = worker_script()
    newer = script.replace(before.removeprefix("sowbench-"), "another")
    assert newer != script
    monkeypatch.setattr(worker_routes, "worker_script", lambda: newer)
    phone.evaluate("navigator.serviceWorker.getRegistration().then((each) => each.update())")
    wait_until(
        phone,
        lambda: list(kept_versions(phone)) == ["sowbench-another"],
        "the new version keeps the pages, and the old one's are gone",
    )
    assert "/today" in kept_versions(phone)["sowbench-another"]
    small_site.stop()
    phone.goto(f"{small_site.url}/today")
    expect(phone.locator("html[data-kept-at]")).to_have_count(1)
    expect(phone.locator("h1")).to_contain_text("job")
