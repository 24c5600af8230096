"""The pages of seed and supplies, from the drawer to the list of what to order."""

import re
from dataclasses import replace
from io import BytesIO
from typing import Any

import openpyxl
import pytest
from litestar import Litestar
from litestar.testing import TestClient
from tests.web.pages import filled, page, queries, send, soup, words

from sowbench.services.desk import Desk


def upload(client: TestClient[Litestar], name: str, content: bytes):
    form = page(client, "/seed/take-in").select_one("form")
    return client.post(
        form["action"],
        data={"_csrf_token": filled(form)["_csrf_token"]},
        files={"file": (name, content)},
        headers={"Accept": "text/html"},
        follow_redirects=False,
    )


def test_an_empty_drawer_says_what_a_lot_is_for(client: TestClient[Litestar]):
    shown = page(client, "/seed")
    assert "No seed is written down yet" in words(shown.h1)
    assert shown.select_one('.empty a[href="/seed/new"]')
    assert "What to buy follows from a plan" in words(page(client, "/supplies").h1)


def test_a_lot_is_written_down_by_its_form(client: TestClient[Litestar]):
    form = page(client, "/seed/new").select_one('form[action="/seed/keep"]')
    wrong = send(client, form, lot="A/1 é", crop="kail", n_tested="100", n_normal="90",
                 n_seeds="500")  # fmt: skip
    assert wrong.status_code == 422
    shown = soup(wrong.text)
    assert "kale" in words(shown.find(id="crop-problem"))
    kept = send(client, shown.select_one('form[action="/seed/keep"]'), crop="kale", treated="yes")
    assert kept.status_code == 303
    lot = page(client, kept.headers["location"])
    assert "90 of 100" in words(lot.select_one(".facts"))
    assert "Treated seed" in words(lot.select_one(".flag.act"))
    # Other pages name a lot in the path.
    assert "A/1 é" in words(page(client, "/seed/A%2F1%20%C3%A9"))


def test_each_lot_of_the_demo_is_listed_with_what_the_plan_takes(
    demo_client: TestClient[Litestar], demo_desk: Desk
):
    shown = page(demo_client, "/seed")
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        lots = unit.lots.all()
        takes = unit.seed_page.takes(head.id)
    rows = shown.select("tbody tr")
    assert len(rows) == min(len(lots), 60)
    text = {words(row.th): words(row) for row in rows}
    for lot in lots[:20]:
        row = next(said for name, said in text.items() if f" {lot.id}" in f" {name}")
        assert f"{lot.n_normal:,} of {lot.n_tested:,}" in row
        if lot.id in takes:
            assert f"{takes[lot.id].n_seeds:,} from" in row
        assert ("treated" in row) == lot.treated


def test_a_lot_has_its_working_its_sowings_and_its_form(demo_client: TestClient[Litestar]):
    shown = page(demo_client, "/seed/lot?of=S02")
    worked = shown.select_one("button.working")["data-working"]
    assert demo_client.get(worked).status_code == 200
    assert shown.select('a[href^="/sowings/"]')
    form = page(demo_client, "/seed/change?of=S02").select_one('form[action="/seed/keep"]')
    assert filled(form)["moisture_percent"] == "6"
    before = page(demo_client, "/seed/lot?of=S02").select(".journal li")
    assert send(demo_client, form).status_code == 303
    after = page(demo_client, "/seed/lot?of=S02").select(".journal li")
    assert len(after) == len(before), "a form left as it is changes nothing"


@pytest.mark.parametrize("address", ["/seed/lot?of=none", "/seed/change?of=none",
                                     "/seed/test?of=none", "/seed/lot", "/seed/none"])  # fmt: skip
def test_a_lot_that_is_not_there_is_not_found(client: TestClient[Litestar], address: str):
    assert client.get(address).status_code == 404


def test_a_test_is_judged_then_taken_and_shown_in_the_journal(
    demo_client: TestClient[Litestar],
):
    form = page(demo_client, "/seed/test?of=S02").select_one("form[method=post]")
    counts = {f"normal_{at}": str(n) for at, n in enumerate((95, 91, 88, 84), start=1)}
    judged = send(demo_client, form, do="judge", **counts)
    assert judged.status_code == 200
    shown = soup(judged.text)
    flag = words(shown.select_one(".flag.good"))
    assert "358 normal of 400: 90 %" in flag
    assert "12 are allowed" in words(shown.h1)
    again = shown.select_one("form[method=post]")
    assert filled(again)["id"] == filled(form)["id"], "one test, one entry"
    taken = send(demo_client, again, do="take")
    assert taken.status_code == 303
    lot = page(demo_client, taken.headers["location"])
    assert "358 of 400" in words(lot.select_one(".facts"))
    assert "normal 95 91 88 84; abnormal 0 0 0 0; dead or not grown 5 9 12 16" in words(
        lot.select_one(".journal")
    )


def test_replicates_that_differ_cannot_be_taken(demo_client: TestClient[Litestar]):
    form = page(demo_client, "/seed/test?of=S02").select_one("form[method=post]")
    counts = {f"normal_{at}": str(n) for at, n in enumerate((97, 90, 88, 83), start=1)}
    shown = soup(send(demo_client, form, do="judge", **counts).text)
    assert "test again" in words(shown.select_one(".flag.act"))
    assert not shown.select('button[value="take"]')
    # Not even by a form made by hand.
    done = send(demo_client, shown.select_one("form[method=post]"), do="take")
    lot = page(demo_client, done.headers["location"])
    assert "371 of 400" in words(lot.select_one(".facts"))
    assert "not taken as the lot's test" in words(lot.select_one(".journal"))


def test_a_workbook_is_looked_at_and_then_taken_in(client: TestClient[Litestar]):
    book = openpyxl.Workbook()
    sheet: Any = book.active
    sheet.append(["Lot", "Crop", "N tested", "N normal", "N seeds", "Treated"])
    sheet.append(["=1+1 no sum", "kale", 100, 90, 500, "no"])
    sheet["A2"].data_type = "s"
    sheet.append(["N2", "basil", 100, 80, 400, "yes"])
    stream = BytesIO()
    book.save(stream)
    looked = upload(client, "drawer.xlsx", stream.getvalue())
    assert looked.status_code == 200, looked.text[:500]
    shown = soup(looked.text)
    assert "2 new lots" in words(shown.h1)
    assert "58 lots" not in words(page(client, "/seed"))
    taken = send(client, shown.select_one('form[action="/seed/take-in/keep"]'))
    assert taken.headers["location"] == "/seed?taken=2"
    assert "=1+1 no sum" in words(page(client, "/seed"))


def test_a_file_with_bad_rows_is_shown_row_by_row_and_nothing_is_taken(
    client: TestClient[Litestar],
):
    text = "lot,crop,n_tested,n_normal,n_seeds\nN1,kale,100,90,500\nN2,<b>x</b>,100,190,5.5\n"
    looked = upload(client, "seed.csv", text.encode())
    assert looked.status_code == 422
    shown = soup(looked.text)
    cells = [[words(cell) for cell in row.select("td")] for row in shown.select("tbody tr")]
    assert {(row, column) for row, column, *_ in cells} >= {
        ("3", "crop"), ("3", "n_normal"), ("3", "n_seeds"),
    }  # fmt: skip
    assert not shown.select("td b"), "what a file says is never markup"
    assert "No seed" in words(page(client, "/seed"))
    assert upload(client, "", b"").status_code == 422


def test_the_file_of_lots_can_be_taken_in_again(demo_client: TestClient[Litestar]):
    content = demo_client.get("/seed/seed.csv").content
    shown = soup(upload(demo_client, "seed.csv", content).text)
    assert "knows already" in words(shown.h1)


def test_supplies_say_what_to_buy_by_week(demo_client: TestClient[Litestar], demo_desk: Desk):
    shown = page(demo_client, "/supplies")
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        supplies = unit.seed_page.supplies(head.id)
    today = demo_desk.today()
    to_buy = [each for each in supplies if each.to_buy > 0 and each.needed_on >= today]
    rows = shown.select("table.by-week tbody tr:not(.week)")
    assert len(rows) == len(to_buy)
    assert len(shown.select("tr.week")) == len({each.order_by.isocalendar()[:2] for each in to_buy})
    late = [each for each in to_buy if each.order_by < today]
    assert len(shown.select(".by-week .wants")) == len(late)
    assert re.search(r"\d+ things?", words(shown.h1))


def test_seed_asks_the_same_number_of_questions_whatever_the_lots(
    demo_client: TestClient[Litestar], demo_desk: Desk
):
    page(demo_client, "/seed")
    counts = []
    for _ in range(2):
        with queries() as asked:
            page(demo_client, "/seed")
            page(demo_client, "/seed/lot?of=S02")
            page(demo_client, "/supplies")
        counts.append(len(asked))
        with demo_desk.book.writing() as unit:
            more = [replace(each, id=f"{each.id}~") for each in unit.lots.all()]
            unit.lots.put(more, demo_desk.clock(), "", "")
            unit.commit()
    assert counts[0] == counts[1] <= 45


def test_what_is_ordered_is_ticked_off_and_can_be_taken_back(
    demo_client: TestClient[Litestar], demo_desk: Desk
):
    before = page(demo_client, "/supplies")
    form = before.select_one('form.ordered-form:has(input[value="noted"])')
    n_before = len(before.select('form.ordered-form input[value="noted"]'))
    assert send(demo_client, form).status_code == 303
    ordered = page(demo_client, "/supplies")
    assert len(ordered.select('form.ordered-form input[value="noted"]')) == n_before - 1
    row = ordered.select_one("tr.ordered")
    assert "9 Mar" in words(row)
    with demo_desk.book.reading() as unit:
        entry = unit.journal.latest(1)[0].entry
    assert entry.kind.value == "noted"
    assert entry.note.startswith("Ordered: ")
    assert entry.job.split("/")[1] == "supply"
    assert send(demo_client, row.select_one("form.ordered-form")).status_code == 303
    again = page(demo_client, "/supplies")
    assert not again.select("tr.ordered")
    assert len(again.select('form.ordered-form input[value="noted"]')) == n_before
