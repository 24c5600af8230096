"""The list of sowings and the page of one: what they say, and what can be written down."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from itertools import pairwise
from typing import Any
from urllib.parse import quote, urlsplit

import pytest
from bs4 import BeautifulSoup
from litestar import Litestar
from litestar.testing import TestClient
from sqlalchemy import event

from sowbench.domain.journal import Entry, EntryKind
from sowbench.services.desk import Desk
from sowbench.services.sowing_list import WINDOW
from sowbench.services.sowing_page import JOURNAL_WINDOW, TRAYS_WINDOW

TODAY = date(2027, 3, 9)
# Written down without a sowing, on the page of the list.
HOUSE_KINDS = {"returned", "washed"}


def soup_of(client: TestClient[Litestar], address: str) -> Any:
    """Ask for a page and parse it."""
    answer = client.get(address)
    assert answer.status_code == 200, answer.text[:400]
    return BeautifulSoup(answer.text, "html.parser")


def page_of(client: TestClient[Litestar], name: str, more: str = "") -> Any:
    """Ask for the page of a sowing."""
    return soup_of(client, f"/sowings/{quote(name)}{more}")


def write(desk: Desk, *entries: Entry) -> None:
    """Put entries in the journal."""
    with desk.book.writing() as unit:
        unit.journal.add(entries, desk.clock())
        unit.commit()


def mark(n: int) -> str:
    """Make an id of an entry."""
    return f"{n:032x}"


def standing_sowing(desk: Desk, n_trays_least: int = 3) -> str:
    """Return a sowing of the plan that was sown and counted."""
    with desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        for each in unit.plans.body(head.id).sowings:
            life: Any = unit.sowings_page.life(each.sowing)
            trays = unit.sowings_page.trays(each.sowing)
            n_trays = sum(tray.gone_date is None for tray in trays)
            is_there = life is not None and life.ended_date is None and not each.standing
            if is_there and life.counted_date is not None and n_trays >= n_trays_least:
                return each.sowing
    raise LookupError("a counted sowing")


def post_form(client: TestClient[Litestar], form: Any, **filled: str) -> int:
    """Send a form as a browser without script does; return the status."""
    fields = {}
    for each in form.find_all(["input", "textarea", "select"]):
        if each.get("type") == "checkbox":
            continue
        if each.name == "select":
            chosen = each.find("option", selected=True) or each.find("option")
            fields[each["name"]] = chosen["value"]
        else:
            fields[each["name"]] = each.get("value", each.get_text())
    fields |= filled
    answer = client.post(form["action"], data=fields, follow_redirects=False)
    return answer.status_code


@contextmanager
def counted_queries(desk: Desk) -> Iterator[list[str]]:
    """Count the statements that a book runs."""
    seen: list[str] = []

    def note(_conn, _cursor, statement, *_more):
        seen.append(statement)

    book: Any = desk.book
    engine = book.engine
    event.listen(engine, "before_cursor_execute", note)
    try:
        yield seen
    finally:
        event.remove(engine, "before_cursor_execute", note)


# The list --------------------------------------------------------------------------------------


def test_empty_book_says_what_to_do_first(client):
    page = soup_of(client, "/sowings")
    assert page.h1.get_text() == "Nothing stands in the house"
    assert page.select_one('.empty a[href="/begin"]')


def test_list_counts_what_stands_and_groups_it_by_place(demo_client, demo_desk):
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        n_standing = unit.sowings_page.counts(head.id)["standing"]
    page = soup_of(demo_client, "/sowings")
    assert page.h1.get_text() == f"{n_standing} sowings in the house"
    titles = [each.get_text() for each in page.select(".stay h2")]
    assert len(titles) == len(set(titles)) > 1
    assert len(page.select(".sowing-line")) == min(n_standing, WINDOW)


@pytest.mark.parametrize("by", ["place", "day"])
@pytest.mark.parametrize("show", ["standing", "coming", "finished"])
def test_windows_show_every_sowing_once(demo_client, demo_desk, show, by):
    seen: list[str] = []
    address = f"/sowings?show={show}&by={by}"
    while address:
        page = soup_of(demo_client, address)
        seen += [each["href"] for each in page.select(".sowing-line")]
        following = page.find("a", string="Next sowings")
        address = following["href"] if following else ""
    assert len(seen) == len(set(seen)) > 0
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        counts = unit.sowings_page.counts(head.id)
    if show in counts:
        assert len(seen) == counts[show]


def test_standing_and_coming_share_no_sowing(demo_client):
    def names(show: str) -> set[str]:
        page = soup_of(demo_client, f"/sowings?show={show}")
        return {each["href"] for each in page.select(".sowing-line")}

    assert not names("standing") & names("coming")


def test_search_finds_by_crop_lot_order_and_name(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        planned = unit.sowings_page.planned(head.id, [name])[name]
    href = f"/sowings/{quote(name)}"
    for words in (planned.crop, planned.lot, planned.orders[0].order, name, name.upper()):
        page = soup_of(demo_client, f"/sowings?by=day&q={quote(words)}")
        assert href in [each["href"] for each in page.select(".sowing-line")], words
    nothing = soup_of(demo_client, "/sowings?q=no+such+thing")
    assert nothing.h1.get_text() == "0 sowings for “no such thing”"
    assert not nothing.select(".sowing-line")


def test_search_takes_wildcards_as_plain_letters(demo_client):
    for words in ("%", "_", "*", "?", "[a-z]"):
        for show in ("standing", "finished"):
            page = soup_of(demo_client, f"/sowings?show={show}&q={quote(words)}")
            assert not page.select(".sowing-line"), words


def test_a_sowing_that_was_dumped_is_finished(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    write(demo_desk, Entry(mark(1), TODAY, EntryKind.DUMPED, name, reason="damping-off"))
    standing = soup_of(demo_client, f"/sowings?q={quote(name)}")
    assert not standing.select(".sowing-line")
    finished = soup_of(demo_client, f"/sowings?show=finished&q={quote(name)}")
    (line,) = finished.select(".sowing-line")
    assert "Ended today" in line.get_text()


def test_a_note_does_not_begin_a_sowing(demo_client, demo_desk):
    coming = soup_of(demo_client, "/sowings?show=coming")
    name = coming.select_one(".sowing-line")["href"].removeprefix("/sowings/")
    from urllib.parse import unquote

    entry = Entry(mark(2), TODAY, EntryKind.NOTED, unquote(name), note="seed looks old")
    write(demo_desk, entry)
    again = soup_of(demo_client, "/sowings?show=coming")
    assert f"/sowings/{name}" in [each["href"] for each in again.select(".sowing-line")]


@pytest.mark.parametrize("query", ["show=nonsense", "by=nonsense", "after=nonsense"])
def test_what_the_list_cannot_show_is_refused_with_what_would_be_right(demo_client, query):
    answer = demo_client.get(f"/sowings?{query}")
    assert answer.status_code in {400, 422}
    assert "nonsense" in answer.text


def test_list_asks_the_same_number_of_questions_however_many_rows(demo_client, demo_desk):
    demo_client.get("/sowings")
    with counted_queries(demo_desk) as many:
        demo_client.get("/sowings")
    with counted_queries(demo_desk) as few:
        demo_client.get("/sowings?q=thyme")
    assert 0 < len(many) <= 16
    # A search asks twice for an order of that name, as it is written and in capitals.
    assert len(few) <= len(many) + 2


# A sowing --------------------------------------------------------------------------------------


def test_an_unknown_sowing_is_not_found(demo_client):
    answer = demo_client.get("/sowings/no%20such%20sowing")
    assert answer.status_code == 404
    assert "no such sowing" in answer.text


def test_every_sowing_of_the_plan_has_a_page(demo_client, demo_desk):
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        names = [each.sowing for each in unit.plans.body(head.id).sowings]
    for name in names[::5]:
        page = page_of(demo_client, name)
        assert page.h1.get_text(strip=True), name
        assert page.select_one("svg.strip")["aria-label"].startswith("Planned: ")


def test_page_shows_the_figures_of_the_plan_with_their_workings(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        planned = unit.sowings_page.planned(head.id, [name])[name]
    page = page_of(demo_client, name)
    for what, shown in (
        ("plants", f"{planned.plants.p50:,}"),
        ("cells", f"{planned.n_cells:,}"),
    ):
        button = page.select_one(f'dl.facts button[data-working^="/working/{what}?"]')
        assert button.get_text() == shown
        assert demo_client.get(button["data-working"]).status_code == 200


def test_all_workings_that_a_page_names_answer(demo_client, demo_desk):
    page = page_of(demo_client, standing_sowing(demo_desk))
    addresses = {each["data-working"] for each in page.select("[data-working]")}
    assert len(addresses) > 8
    for each in addresses:
        assert demo_client.get(each).status_code == 200, each


def test_chart_has_the_plan_as_a_band_and_the_counts_as_points(demo_client, demo_desk):
    import json

    name = standing_sowing(demo_desk)
    page = page_of(demo_client, name)
    spec = json.loads(page.select_one("script.chart#emergence-chart").string)
    marks = [each["mark"]["type"] for each in spec["layer"]]
    assert marks[:2] == ["area", "line"]
    assert marks[-1] == "point"
    band = spec["layer"][0]["data"]["values"]
    assert all(0 <= v["low"] <= v["middle"] <= v["high"] <= 100 for v in band)
    rising = [v["middle"] for v in band]
    assert all(b >= a - 0.11 for a, b in pairwise(rising))
    with demo_desk.book.reading() as unit:
        counts = unit.sowings_page.told_by(name, [EntryKind.COUNTED], 100)
    share = 100 * sum(e.n for e in counts) / sum(e.n_of for e in counts)
    points = spec["layer"][-1]["data"]["values"]
    if len({e.day_date for e in counts}) == 1:
        assert points[-1]["share"] == pytest.approx(share, abs=0.06)


def test_counted_trays_are_drawn_with_every_cell(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    with demo_desk.book.reading() as unit:
        trays = unit.sowings_page.trays(name)
        numbers = [t.number for t in trays]
        maps = {n: c for n, c in unit.sowings_page.tray_maps(name, numbers).items() if c}
    assert maps
    page = page_of(demo_client, name)
    drawn = {int(t.select_one("b").get_text()): t for t in page.select(".trays .tray")}
    assert set(drawn) == set(maps)
    for number, cells in maps.items():
        paths = {p["class"][0]: p["d"] for p in drawn[number].select("path")}
        full = sum((int(w) + 2) // 10 for w in re.findall(r"h(\d+)", paths.get("cell-full", "")))
        assert full == cells.count("1")
        assert paths.get("cell-empty", "").count("M") == cells.count("0")
        assert paths.get("cell-many", "").count("M") == cells.count("+")


def test_every_standing_tray_leads_to_its_count(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    with demo_desk.book.reading() as unit:
        trays = [t for t in unit.sowings_page.trays(name) if t.gone_date is None]
    page = page_of(demo_client, name)
    hrefs = {a["href"] for a in page.select("#trays a.tray, #trays a.tray-chip")}
    assert hrefs == {f"/sowings/{quote(name)}/trays/{t.number}" for t in trays[:TRAYS_WINDOW]}


def test_trays_come_in_windows(demo_client, demo_desk):
    n = 2 * TRAYS_WINDOW + 3
    entry = Entry(
        mark(3), TODAY, EntryKind.SOWN, "big one", n=128 * n, crop="kale", lot="L1",
        place="warm bench", container="plug-128", n_containers=n,
    )  # fmt: skip
    write(demo_desk, entry)
    seen: list[str] = []
    more = ""
    while True:
        page = page_of(demo_client, "big one", more)
        seen += [each.get_text() for each in page.select("#trays .tray-chip b")]
        following = page.find("a", string="More trays")
        if following is None:
            break
        more = "?" + urlsplit(following["href"]).query
    assert seen == [str(each) for each in range(1, n + 1)]


def test_a_sowing_in_no_plan_still_has_a_page(demo_client, demo_desk):
    entry = Entry(
        mark(4), TODAY, EntryKind.SOWN, "by hand", n=72, crop="kale", variety="Winter",
        place="warm bench", container="plug-72", n_containers=1, person="Ilo",
    )  # fmt: skip
    write(demo_desk, entry)
    page = page_of(demo_client, "by hand")
    assert "in no plan" in page.h1.get_text()
    assert "Kale 'Winter', 1 tray of 72 cells" in page.select_one(".over").get_text()


def test_page_asks_the_same_number_of_questions_for_few_and_many_entries(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    page_of(demo_client, name)  # what is worked out is kept from here on
    with counted_queries(demo_desk) as before:
        page_of(demo_client, name)
    many = [
        Entry(mark(100 + at), TODAY, EntryKind.NOTED, name, note=f"note {at}") for at in range(60)
    ]
    write(demo_desk, *many)
    page_of(demo_client, name)
    with counted_queries(demo_desk) as after:
        page_of(demo_client, name)
    assert len(after) == len(before) <= 28


# Its journal -----------------------------------------------------------------------------------


def test_journal_comes_in_windows_the_newest_first(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    write(demo_desk, *[Entry(mark(400 + i), TODAY, EntryKind.NOTED, name, note=f"n{i}")
                       for i in range(JOURNAL_WINDOW + 5)])  # fmt: skip
    page = page_of(demo_client, name)
    assert len(page.select(".journal li")) == JOURNAL_WINDOW
    assert f"n{JOURNAL_WINDOW + 4}" in page.select(".journal li")[0].get_text()
    earlier = page.find("a", string="Earlier entries")["href"]
    following = soup_of(demo_client, earlier.split("#")[0])
    assert "n4" in following.select(".journal li")[0].get_text()


def test_a_struck_entry_is_shown_struck_and_what_takes_its_place_says_so(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    first = Entry(mark(10), TODAY, EntryKind.LOST, name, n=12, reason="eaten", person="Ilo")
    right = Entry(mark(11), TODAY, EntryKind.LOST, name, n=2, reason="eaten", corrects=first.id)
    write(demo_desk, first, right)
    page = page_of(demo_client, name)
    newest, older = page.select(".journal li")[:2]
    assert "Lost: 2 cells, eaten" in newest.get_text()
    assert "in place of an earlier entry" in newest.get_text()
    assert older.select_one("del").get_text() == "Lost: 12 cells, eaten"
    assert not older.select_one(".journal-fix")


def test_an_entry_can_be_replaced_by_its_form(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    wrong = Entry(mark(12), TODAY, EntryKind.LOST, name, n=40, reason="eaten", person="Ilo")
    write(demo_desk, wrong)
    page = page_of(demo_client, name, f"?correct={wrong.id}")
    replace_form, strike_form = page.select("#correct form")
    assert replace_form.select_one('input[name="n"]')["value"] == "40"
    assert post_form(demo_client, replace_form, n="4") in {200, 303}
    with demo_desk.book.reading() as unit:
        kept = unit.journal.get(wrong.id)
        standing = unit.journal.that_stand([name])
    assert kept.struck_by
    assert [e.n for e in standing if e.kind is EntryKind.LOST and e.reason == "eaten"] == [4]
    assert strike_form.select_one('input[name="kind"]')["value"] == "corrected"


def test_what_takes_the_place_of_a_tick_still_ticks_the_job_off(demo_client, demo_desk):
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        name = standing_sowing(demo_desk)
        sown = next(e for e in unit.journal.of_sowing(name) if e.entry.kind is EntryKind.SOWN)
    assert sown.entry.job
    form = page_of(demo_client, name, f"?correct={sown.entry.id}").select_one("#correct form")
    assert post_form(demo_client, form, n=str(sown.entry.n - 1)) in {200, 303}
    with demo_desk.book.reading() as unit:
        life = unit.sowings_page.life(name)
        jobs = {each.key: each for each in unit.sowings_page.jobs(head.id, name)}
    assert life.n_cells == sown.entry.n - 1
    assert life.crop == sown.entry.crop
    assert jobs[sown.entry.job].done_date == sown.entry.day_date


def test_an_entry_can_be_struck(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    wrong = Entry(mark(13), TODAY, EntryKind.SCOUTED, name, values={"found": "aphids"})
    write(demo_desk, wrong)
    page = page_of(demo_client, name, f"?correct={wrong.id}")
    assert post_form(demo_client, page.select("#correct form")[1], reason="other bench") == 303
    with demo_desk.book.reading() as unit:
        assert unit.journal.get(wrong.id).struck_by
        assert wrong.id not in [e.id for e in unit.journal.that_stand([name])]


# What can be written down ----------------------------------------------------------------------


def test_every_kind_of_entry_can_be_written_down_somewhere(demo_client, demo_desk):
    page = page_of(demo_client, standing_sowing(demo_desk))
    kinds = {each["value"] for each in page.select('#do input[name="kind"]')}
    house = soup_of(demo_client, "/sowings")
    house_kinds = {each["value"] for each in house.select('#do input[name="kind"]')}
    assert kinds >= {each.value for each in EntryKind} - {EntryKind.CORRECTED.value}
    assert house_kinds >= HOUSE_KINDS
    assert all(not form.select('input[name="sowing"]') for form in house.select("#do form"))


def test_forms_of_entries_work_without_script_and_name_each_field(demo_client, demo_desk):
    page = page_of(demo_client, standing_sowing(demo_desk))
    forms = page.select("form[data-entry]")
    assert len(forms) >= 20
    for form in forms:
        assert form["action"] == "/entries"
        assert re.fullmatch(r"[0-9a-f]{32}", form.select_one('input[name="id"]')["value"])
        assert form.select_one('input[name="_csrf_token"]')["value"]
        for each in form.select("input:not([type=hidden], [type=checkbox]), select, textarea"):
            assert form.select_one(f'label[for="{each["id"]}"]'), each
    ids = [each["id"] for each in page.select("[id]")]
    assert len(ids) == len(set(ids))


def test_pulling_from_the_chamber_is_offered_with_the_next_place_of_the_plan(
    demo_client, demo_desk
):
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        for each in unit.plans.body(head.id).sowings:
            jobs = unit.sowings_page.jobs(head.id, each.sowing)
            move = next((j for j in jobs if j.task == "move" and j.done_date is None), None)
            life = unit.sowings_page.life(each.sowing)
            if move and life and life.place == each.steps[0].place != each.steps[1].place:
                name, place, key = each.sowing, each.steps[1].place, move.key
                break
        else:
            pytest.skip("nothing stands in a chamber on this day of the demo")
    page = page_of(demo_client, name)
    form = page.select_one("#do-pulled form")
    assert form.select_one('input[name="place"]')["value"] == place
    assert form.select_one('input[name="job"]')["value"] == key
    assert post_form(demo_client, form) in {200, 303}
    with demo_desk.book.reading() as unit:
        assert unit.sowings_page.life(name).place == place
        jobs = {j.key: j for j in unit.sowings_page.jobs(head.id, name)}
    assert jobs[key].done_date == TODAY


def test_potting_on_ends_the_old_trays_and_numbers_new_ones(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    with demo_desk.book.reading() as unit:
        before = unit.sowings_page.trays(name)
    form = page_of(demo_client, name).select_one("#do-potted form")
    status = post_form(
        demo_client, form, n="100", container="pot-75", n_containers="7", place="cool bench",
        **{"values.n_cells_per_tray": "15"},
    )  # fmt: skip
    assert status in {200, 303}
    with demo_desk.book.reading() as unit:
        after = unit.sowings_page.trays(name)
    fresh = [t for t in after if t.number > max(b.number for b in before)]
    assert len(fresh) == 7
    assert all(t.container == "pot-75" and t.place == "cool bench" for t in fresh)
    assert all(t.gone_how == "potted on" for t in after if t not in fresh)


def test_delivering_by_order_is_added_up_on_the_page(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    form = page_of(demo_client, name).select_one("#do-delivered form")
    order = form.select_one('select[name="order"] option')["value"]
    assert post_form(demo_client, form, n="30") in {200, 303}
    page = page_of(demo_client, name)
    row = next(r for r in page.select("#orders tbody tr") if order in r.get_text())
    assert "30 given" in row.get_text()


def test_readings_keep_their_units(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    form = page_of(demo_client, name).select_one("#do-read form")
    filled = {"values.ec_ms_cm": "1.2", "values.ph": "5.8", "values.temp_mix_c": "19.5"}
    assert post_form(demo_client, form, **filled) == 303
    newest = page_of(demo_client, name).select_one(".journal-what").get_text()
    assert newest == "Read: EC 1.2 mS/cm, pH 5.8, mix 19.5 °C"


def test_a_treatment_is_a_record_that_defers_to_the_label(demo_client, demo_desk):
    page = page_of(demo_client, standing_sowing(demo_desk))
    box = page.select_one("#do-treated")
    assert "never advice" in box.get_text()
    assert "label" in box.get_text()
    for name in ("values.product", "values.ready_to_enter_at", "person"):
        assert box.select_one(f'input[name="{name}"]').has_attr("required")
    assert not re.search(r"dose|per liter|ml/l", box.get_text())


def test_trays_that_come_back_are_written_down_on_the_list(demo_client, demo_desk):
    form = soup_of(demo_client, "/sowings").select_one("#do-returned form")
    assert post_form(demo_client, form, n="24", container="plug-128") == 303
    with demo_desk.book.reading() as unit:
        newest = unit.journal.latest(1)[0].entry
    assert (newest.kind, newest.n, newest.sowing) == (EntryKind.RETURNED, 24, "")


def test_heading_says_that_a_count_is_worse_than_planned(demo_client, demo_desk):
    name = standing_sowing(demo_desk)
    with demo_desk.book.reading() as unit:
        n = sum(t.n_cells for t in unit.sowings_page.trays(name) if t.gone_date is None)
    write(demo_desk, Entry(mark(20), TODAY, EntryKind.COUNTED, name, n=n // 10, n_of=n))
    page = page_of(demo_client, name)
    assert re.search(r"worse than planned|only 10 %|Past its window|Ready", page.h1.get_text())


def test_pages_have_no_style_attribute_and_no_inline_script(demo_client, demo_desk):
    for address in ("/sowings", f"/sowings/{quote(standing_sowing(demo_desk))}"):
        page = soup_of(demo_client, address)
        assert not page.select("[style]")
        for script in page.find_all("script"):
            assert script.has_attr("src") or script.get("type") == "application/json"
        assert not [tag for tag in page.find_all() for name in tag.attrs if name.startswith("on")]


def test_sowings_of_tomorrow_wait_for_their_day(demo_client, demo_desk):
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        later = [
            each
            for each in unit.plans.body(head.id).sowings
            if each.sow_date > TODAY + timedelta(days=3)
        ]
    page = page_of(demo_client, later[0].sowing)
    assert page.h1.get_text().startswith("To be sown ")
    assert page.select_one("#card h2").get_text() == "How to sow"


# Names ------------------------------------------------------------------------------------------


AWKWARD = ['Äcker/7 "früh"', "a/b/c", "50 % <b>Größe</b>?#&+;=", "O'Neil's, no. 1", "x" * 200]


@pytest.mark.parametrize("name", AWKWARD)
def test_a_sowing_of_any_name_has_its_page_and_the_pages_of_its_trays(
    client: TestClient[Litestar], desk: Desk, name: str
):
    sown = Entry(
        mark(77), TODAY, EntryKind.SOWN, name, 200, crop="leek", container="plug-128",
        n_containers=2, place="bench",
    )  # fmt: skip
    write(desk, sown)
    listed = soup_of(client, "/sowings")
    (line,) = listed.select("a.sowing-line")
    page = soup_of(client, line["href"])
    assert name in page.get_text()
    trays = [each["href"] for each in page.select('a[href*="/trays/"]')]
    assert trays
    for each in trays:
        tray = soup_of(client, each)
        assert tray.select_one("#drawing")["data-sowing"] == name
        assert tray.select_one('#count input[name="sowing"]')["value"] == name
        back = tray.select_one('#count button[name="back"]')["value"]
        assert urlsplit(back).path.startswith("/sowings/")
        soup_of(client, back)
    soup_of(client, next(each["href"] for each in soup_of(client, "/count").select("li a")))
