"""The pages of the orders: parsed and pressed as a person would."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest
from bs4 import BeautifulSoup, Tag
from litestar import Litestar
from litestar.testing import TestClient
from sqlalchemy import event

from sowbench.services.desk import TODAY_SETTING, Desk
from sowbench.services.orders_form import save_order
from sowbench.services.orders_free import free_view

HTML = {"accept": "text/html"}
FILE = (
    "order,customer,crop,plants,wanted_on,wagon\n"
    "leeks,Long Field,leak,6000,2027-05-20,3\n"
    "salad,Corner Kitchen,lettuce,240,20.4.2027,\n"
    "kale,Long Field,kale,0,2027-04-20,\n"
)

Pages = TestClient[Litestar]


@pytest.fixture(autouse=True)
def _on_9_march(request: pytest.FixtureRequest) -> None:
    """Let it be 9 March 2027 in an empty book."""
    if "client" in request.fixturenames:
        desk: Desk = request.getfixturevalue("desk")
        with desk.book.writing() as unit:
            unit.settings.put(TODAY_SETTING, "2027-03-09")
            unit.commit()


def page_of(client: Pages, path: str, status: int = 200) -> BeautifulSoup:
    """Ask for a page and parse it."""
    answer = client.get(path, headers=HTML)
    assert answer.status_code == status, answer.text[:500]
    page = BeautifulSoup(answer.text, "html.parser")
    assert not page.select("[style], [onclick], script:not([src]):not([type='application/json'])")
    return page


def heading(page: BeautifulSoup) -> str:
    """Return the heading of a page."""
    found = page.h1
    assert found is not None
    return " ".join(found.get_text().split())


def form_of(page: BeautifulSoup, action: str) -> dict[str, str]:
    """Return what a form would send as it stands."""
    form = page.find("form", action=action)
    assert isinstance(form, Tag), action
    values = {}
    for each in form.select("input[name], select[name], textarea[name]"):
        name, kind = str(each["name"]), str(each.get("type", ""))
        if kind in {"checkbox", "file"}:
            continue
        if each.name == "select":
            chosen = each.select_one("option[selected]") or each.select_one("option")
            values[name] = "" if chosen is None else str(chosen.get("value", chosen.get_text()))
        else:
            values[name] = str(each.get("value", ""))
    return values


def send(client: Pages, path: str, values: dict[str, Any], status: int = 303) -> str:
    """Send a form; return where it leads."""
    answer = client.post(path, data=values, headers=HTML, follow_redirects=False)
    assert answer.status_code == status, answer.text[:800]
    return str(answer.headers.get("location", ""))


def give(client: Pages, text: str | bytes, name: str = "orders.csv") -> str:
    """Give a file; return where it is looked at."""
    token = form_of(page_of(client, "/orders/take-in"), "/orders/take-in/file")
    data = text if isinstance(text, bytes) else text.encode()
    answer = client.post(
        "/orders/take-in/file",
        data=token,
        files={"file": (name, data, "text/csv")},
        headers=HTML,
        follow_redirects=False,
    )
    assert answer.status_code == 303, answer.text[:800]
    return str(answer.headers["location"])


def test_an_empty_book_says_how_to_begin(client: Pages) -> None:
    page = page_of(client, "/orders")

    assert heading(page) == "No orders yet"
    assert page.select_one("a[href='/orders/take-in']")
    assert page.select_one("a[href='/orders/new']")


def test_a_file_with_bad_rows_is_mended_in_its_page_and_taken(client: Pages) -> None:
    path = give(client, FILE)
    page = page_of(client, path)
    assert heading(page) == "3 rows to mend, then it can be taken in"
    assert not page.select("button[value=take]")
    assert "'wagon' is not used" in page.get_text()
    crop = page.select_one("input[name='cell.2.crop']")
    assert crop is not None
    assert crop["value"] == "leak"
    assert crop["aria-invalid"] == "true"
    said = page.find(id=str(crop["aria-describedby"]))
    assert said is not None
    assert "Did you mean 'leek'" in said.get_text()

    fix = page.select_one("button[name=fix][value='3.wanted_on.2027-04-20']")
    assert fix is not None
    go = f"{path}/go"
    values = form_of(page, go)
    send(client, go, {**values, "cell.2.crop": "leek", "fix": str(fix["value"])})
    page = page_of(client, path)
    assert heading(page) == "1 row to mend, then it can be taken in"
    send(client, go, {**form_of(page, go), "out.4": "1", "do": "check"})
    page = page_of(client, path)
    assert heading(page) == "2 new orders"
    away = send(client, go, {**form_of(page, go), "do": "take"})

    page = page_of(client, away)
    assert "Taken in: 2 new orders" in page.get_text()
    assert heading(page) == "2 open orders, not yet planned"
    assert page.select_one("form[action='/plans/run'] button")


def test_taking_with_a_bad_row_is_refused_and_shows_it(client: Pages) -> None:
    path = give(client, FILE)

    send(client, f"{path}/go", {**form_of(page_of(client, path), f"{path}/go"), "do": "take"}, 422)

    assert heading(page_of(client, "/orders")) == "No orders yet"


def test_a_known_order_is_shown_field_by_field(client: Pages, desk: Desk) -> None:
    save_order(desk, "", {"order": "k", "crop": "kale", "plants": "50", "wanted_on": "2027-05-01"})
    path = give(client, "order,crop,plants,wanted_on\nk,kale,60,2027-05-02\n")
    page = page_of(client, path)

    changes = [each.get_text(" ", strip=True) for each in page.select(".difference li")]

    assert "plants: 50 → 60" in changes
    assert "wanted on: 2027-05-01 → 2027-05-02" in changes
    leave = {**form_of(page, f"{path}/go"), "do": "take", "leave": "k"}
    assert send(client, f"{path}/go", leave) == "/orders?new=0&changed=0"


def test_a_missing_column_is_asked_for_by_the_headers_there_are(client: Pages) -> None:
    path = give(client, "order,crop,plants,Wanted date\nk,kale,60,2027-05-02\n")
    page = page_of(client, path)
    choice = page.select_one("select[name='header.wanted_on']")
    assert choice is not None
    chosen = choice.select_one("option[selected]")
    assert chosen is not None
    assert chosen.get_text() == "Wanted date"

    send(client, f"{path}/go", {**form_of(page, f"{path}/go"), "do": "check"})

    assert heading(page_of(client, path)) == "1 new order"


def test_a_column_under_another_name_is_read_once_it_is_said_what_it_is(client: Pages) -> None:
    path = give(client, "order,crop,plants,wanted_on,Buyer,Shade\nk,kale,60,2027-05-02,Ada,deep\n")
    page = page_of(client, path)
    choice = page.select_one("select[name='stands.Buyer']")
    assert choice is not None
    assert "customer" in {each.get_text() for each in choice.select("option")}
    go = f"{path}/go"

    send(client, go, {**form_of(page, go), "stands.Buyer": "customer", "do": "check"})

    page = page_of(client, path)
    assert "“Buyer” is read as customer" in " ".join(page.get_text().split())
    assert "Ada" in page.get_text()
    assert page.select_one("select[name='stands.Shade']")
    send(client, go, {**form_of(page, go), "unname": "Buyer"})
    page = page_of(client, path)
    assert page.select_one("select[name='stands.Buyer']")
    assert "Ada" not in page.get_text()


def test_days_are_put_right_in_all_rows_at_once_and_what_was_typed_stays(client: Pages) -> None:
    path = give(client, "order;crop;plants;wanted_on\na;leek;5;15.5.2027\nb;leek;6;4.5.2027\n")
    page = page_of(client, path)
    (button,) = page.select("button[name=fix_all]")
    assert "day, month, year: 4.5.2027 is 2027-05-04" in str(button.parent)
    filled = {**form_of(page, f"{path}/go"), "cell.2.wanted_on": "2027-06-01"}
    send(client, f"{path}/go", {**filled, "fix_all": "wanted_on.day"})
    # One row is left by then, so that there is nothing to mend in many.
    assert [each["value"] for each in page_of(client, path).select(".mend input")] == ["4.5.2027"]
    send(client, f"{path}/go", {**form_of(page, f"{path}/go"), "fix_all": "wanted_on.day"})
    assert heading(page_of(client, path)) == "2 new orders"


@pytest.mark.parametrize(
    "name", ["new", "free", "take-in", "A/", "/A", "a//b", "..", "a/../b", "."]
)
def test_an_order_may_be_named_like_a_page(client: Pages, name: str) -> None:
    path = give(client, f"order,crop,plants,wanted_on\n{name},leek,500,2027-05-20\n")
    page = page_of(client, path)
    send(client, f"{path}/go", {**form_of(page, f"{path}/go"), "do": "take"})
    (link,) = page_of(client, "/orders").select("table th a")
    assert heading(page_of(client, str(link["href"]))) == "Leek, 500 plants"


def test_an_order_whose_day_is_past_says_so_and_what_to_do(client: Pages) -> None:
    path = give(client, "order,crop,plants,wanted_on\nlate,leek,500,2020-05-20\n")
    page = page_of(client, path)
    send(client, f"{path}/go", {**form_of(page, f"{path}/go"), "do": "take"})
    flag = page_of(client, "/orders/late").select_one(".flag.watch")
    assert flag is not None
    assert "Its day is past" in flag.get_text()


@pytest.mark.parametrize("data", [b"", b"%PDF-1.4\x00", b"a,b\n1,2\n", b"\x00" * 50])
def test_what_is_no_file_of_orders_is_answered_and_not_an_error(client: Pages, data: bytes) -> None:
    token = form_of(page_of(client, "/orders/take-in"), "/orders/take-in/file")
    files = {"file": ("x.csv", data, "text/csv")}

    answer = client.post("/orders/take-in/file", data=token, files=files, headers=HTML)

    assert answer.status_code in {200, 422}
    page = BeautifulSoup(answer.text, "html.parser")
    assert page.select(".flag.act")
    assert not page.select("button[value=take]")
    told = [" ".join(each.get_text().split()) for each in page.select(".flag.act")]
    assert all(each.removeprefix("Act: ").startswith(("x.csv ", "The header")) for each in told)


def test_a_file_that_is_not_kept_any_more_is_not_found(client: Pages) -> None:
    page_of(client, f"/orders/take-in/{'0' * 32}", 404)
    page_of(client, "/orders/take-in/..%2F..%2Fsecret", 404)


def test_a_form_without_its_token_is_refused(client: Pages) -> None:
    answer = client.post("/orders/keep", data={"crop": "kale"}, headers=HTML)

    assert answer.status_code == 403


def test_an_order_is_entered_changed_cancelled_and_its_history_told(client: Pages) -> None:
    form = form_of(page_of(client, "/orders/new"), "/orders/keep")
    wrong = {**form, "crop": "kael", "plants": "0", "wanted_on": "2027-05-01"}
    answer = client.post("/orders/keep", data=wrong, headers=HTML)
    assert answer.status_code == 422
    page = BeautifulSoup(answer.text, "html.parser")
    assert {str(each["name"]) for each in page.select("[aria-invalid=true]")} == {"crop", "plants"}

    order = {**form, "customer": "Long Field", "crop": "kale", "plants": "50"}
    path = send(client, "/orders/keep", {**order, "wanted_on": "2027-05-01"})
    page = page_of(client, path)
    assert heading(page) == "Kale, 50 plants"

    edit = page.select_one("a[href^='/orders/edit?of=']")
    assert edit is not None
    form = form_of(page_of(client, str(edit["href"])), "/orders/keep")
    assert form["plants"] == "50"
    send(client, "/orders/keep", {**form, "plants": "80"})
    page = page_of(client, path)
    assert heading(page) == "Kale, 80 plants"
    cancel = form_of(page, "/orders/status")
    send(client, "/orders/status", {**cancel, "reason": "flooded"})

    page = page_of(client, path)
    assert heading(page) == "Kale, 80 plants: cancelled"
    told = page.select_one(".changes")
    assert told is not None
    words = " ".join(told.get_text().split())
    assert "flooded" in words
    assert "plants: 50 → 80" in words


def test_the_list_shows_what_is_wrong_in_words(demo_client: Pages) -> None:
    page = page_of(demo_client, "/orders")

    assert re.match(r"\d+ open orders: \d+ not met", heading(page))
    rows = page.select("table.orders tbody tr")
    assert rows
    marks = page.select("svg[role=img]")
    assert all("Chance" in str(each.get("aria-label")) for each in marks)
    for row in rows:
        link = row.select_one("th a")
        assert link is not None
        assert str(link["href"]).startswith("/orders/")


@pytest.mark.parametrize("show", ["open", "unmet", "risky", "past", "cancelled", "nonsense"])
def test_each_choice_of_the_list_shows_what_it_counts(demo_client: Pages, show: str) -> None:
    page = page_of(demo_client, f"/orders?show={show}")

    chosen = page.select_one(".choices [aria-current]")
    assert chosen is not None
    number = re.search(r"[\d,]+$", chosen.get_text().strip())
    if number and show in {"unmet", "risky"}:
        n_rows = len(page.select("table.orders tbody tr"))
        assert n_rows == int(number[0].replace(",", ""))


def test_the_list_goes_on_and_back_without_a_gap(demo_client: Pages) -> None:
    seen: list[str] = []
    path = "/orders"
    while path:
        page = page_of(demo_client, path)
        seen += [str(each["href"]) for each in page.select("table.orders th a")]
        later = page.find("a", string="Later")
        path = str(later["href"]) if isinstance(later, Tag) else ""
    earlier = page.find("a", string="Earlier")
    assert isinstance(earlier, Tag)
    before = page_of(demo_client, str(earlier["href"]))

    n_here = len(page.select("table.orders th a"))
    rows = [str(each["href"]) for each in before.select("table.orders th a")]
    assert len(seen) == len(set(seen))
    assert rows == seen[-n_here - len(rows) : -n_here]


def test_filters_go_together(demo_client: Pages) -> None:
    page = page_of(demo_client, "/orders?crop=lettuce&week=2027-03-24&q=N001")

    rows = page.select("table.orders tbody tr")
    assert len(rows) == 1
    assert "26 Mar" in rows[0].get_text()
    assert page.select_one("select[name=crop] option[selected]")


def test_the_number_of_queries_does_not_grow_with_the_orders(
    demo_client: Pages, demo_desk: Desk
) -> None:
    engine = demo_desk.book.engine  # type: ignore[attr-defined]

    def n_queries(path: str) -> int:
        statements: list[str] = []

        def note(*arguments: Any) -> None:
            statements.append(arguments[2])

        event.listen(engine, "before_cursor_execute", note)
        page_of(demo_client, path)
        event.remove(engine, "before_cursor_execute", note)
        return len(statements)

    paths = ("/orders", "/orders?show=past", "/orders/N001/2027-03-26", "/orders/free")
    for path in paths:
        page_of(demo_client, path)
    before = [n_queries(path) for path in paths]
    with demo_desk.book.writing() as unit:
        order = unit.orders.get("N001/2027-03-26")
        assert order is not None
        from dataclasses import replace

        more = [replace(order, id=f"more-{at}", standing_of="") for at in range(2_000)]
        unit.orders.put(more, demo_desk.clock(), "", "")
        unit.commit()

    assert [n_queries(path) for path in paths] == before
    assert max(before) <= 16


def test_an_order_names_the_sowings_that_fill_it_and_opens_its_working(
    demo_client: Pages,
) -> None:
    page = page_of(demo_client, "/orders/N001/2027-03-26")

    workings = {str(each["data-working"]) for each in page.select("[data-working]")}
    assert "/working/filled?of=N001/2027-03-26" in workings
    for address in workings:
        assert demo_client.get(address).status_code == 200, address
    sowing = page.select_one("a[href^='/sowings/']")
    assert sowing is not None
    assert demo_client.get(str(sowing["href"])).status_code == 200
    assert page.find("summary", string=re.compile("Standing order N001"))


def test_an_unmet_order_says_why_and_what_would_help(demo_client: Pages, demo_desk: Desk) -> None:
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        plan = unit.plans.body(head.id)
    unmet = next(each for each in plan.unmet if each.offers)

    page = page_of(demo_client, f"/orders/{unmet.order}")

    flag = page.select_one(".flag.act")
    assert flag is not None
    assert len(flag.select("li")) == len(unmet.offers)


def test_an_answer_on_the_phone_becomes_an_order(demo_client: Pages) -> None:
    page = page_of(
        demo_client,
        "/orders/promise?crop=kale&plants=120&wanted_on=2027-06-01&customer=Caller"
        "&earliest_on=2027-05-28&latest_on=2027-06-07",
    )
    assert heading(page).startswith(("Yes", "There is room", "Not then"))
    form = form_of(page, "/orders/keep")

    path = send(demo_client, "/orders/keep", {**form, "status": "asked"})

    page = page_of(demo_client, path)
    assert heading(page) == "Kale, 120 plants"
    assert "for Caller, asked, not promised" in " ".join(page.get_text().split())
    assert "Not planned yet" in page.get_text()


def test_a_question_that_makes_no_sense_is_answered_beside_its_fields(demo_client: Pages) -> None:
    page = page_of(demo_client, "/orders/promise?crop=xyz&plants=0&wanted_on=2027-03-01")

    assert {str(each["name"]) for each in page.select("[aria-invalid=true]")} >= {"crop", "plants"}
    page = page_of(demo_client, "/orders/promise?crop=kale&plants=5&wanted_on=2027-03-01")
    assert {str(each["name"]) for each in page.select("[aria-invalid=true]")} == {"wanted_on"}


def test_without_a_plan_nothing_is_promised_and_nothing_is_free(client: Pages) -> None:
    assert "A promise needs a plan" in page_of(client, "/orders/promise").get_text()
    assert "This follows from the plan" in page_of(client, "/orders/free").get_text()


def test_what_is_free_is_what_is_expected_less_what_is_ordered(
    demo_client: Pages, demo_desk: Desk
) -> None:
    view = free_view(demo_desk)
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        sowings = {each.sowing: each for each in unit.plans.body(head.id).sowings}
    found = [each for week in view.weeks for each in week.crops]
    assert found
    for each in found:
        mine = [sowings[name] for name in each.sowings]
        expected = sum(one.plants.p50 for one in mine)
        ordered = sum(share.plants for one in mine for share in one.orders)
        assert each.plants == expected - ordered
        assert each.plants_low <= each.plants <= each.plants_high
    page = page_of(demo_client, "/orders/free")
    assert len(page.select("table.room tbody tr")) == len(view.places)
    later = free_view(demo_desk, view.after)
    assert later.before == date(2027, 3, 8)
