"""The season, one place, one day and the pins: what they show, and what they take."""

import json
from dataclasses import replace
from datetime import date
from urllib.parse import quote

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from tests.web.pages import page, queries, send, soup, words

from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.records import Pin
from sowbench.services.desk import Desk
from sowbench.services.season_place import STAYS_A_PAGE

TODAY = date(2027, 3, 9)


def coming_sowing(desk: Desk) -> str:
    """Return a sowing of the plan that is still to be sown."""
    with desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        found = unit.season_page.targets(head.id, TODAY, 50)
    return next(each.name for each in found if each.is_sowing and each.date > TODAY)


def test_an_empty_book_says_what_the_season_needs(client: TestClient[Litestar]):
    shown = page(client, "/season")
    assert "There is no plan yet" in words(shown.h1)
    assert shown.select_one('a[href="/begin"]')
    assert page(client, "/season/pins").select_one("form input[name=of]")
    for other in ("/season/day", "/season/place?of=bench"):
        assert client.get(other, follow_redirects=False).headers["location"] == "/season"


def test_each_place_has_its_bars_its_line_and_its_words(
    demo_client: TestClient[Litestar], demo_desk: Desk
):
    shown = page(demo_client, "/season")
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        uses = unit.season_page.uses(head.id)
    rows = shown.select(".season-row")
    assert [words(each.h2).lower() for each in rows] == [each.name for each in uses]
    assert f"for {head.n_orders} orders" in words(shown.select_one(".over"))
    for row, use in zip(rows, uses, strict=True):
        figure = row.select_one("figure.chart")
        spec = json.loads(row.select_one("script.chart").string)
        bars = spec["layer"][0]["data"]["values"]
        assert max(each["use"] for each in bars) == pytest.approx(
            max(use.use) if use.name != "hands" else max(each["use"] for each in bars), abs=1e-3
        )
        # The words beside the chart say the same to those who do not see it.
        assert words(figure.figcaption).split(": ", 1)[1] in words(row.select_one("p"))
        assert "#" not in json.dumps(spec["layer"]), "colors go by their names in the style sheet"


def test_a_full_place_is_told_with_its_days_and_where_else_its_sowings_fit(
    demo_client: TestClient[Litestar], demo_desk: Desk
):
    shown = page(demo_client, "/season")
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        uses = {each.name: each for each in unit.season_page.uses(head.id)}
    said = [words(each) for each in shown.select(".flag.watch, .flag.act")]
    for name, use in uses.items():
        if name == "hands" or use.capacity is None:
            continue
        at = (TODAY - use.first_date).days
        full = any(
            0.98 * room <= used for used, room in zip(use.use[at:], use.capacity[at:], strict=True)
        )
        assert full == any(f"{name} is full" in each.lower() for each in said), name
    offers = shown.select('.pressing a[href^="/season/pins/pin"]')
    for offer in offers:
        form = page(demo_client, offer["href"])
        assert form.select_one("select[name=place] option[selected]").get_text() in offer[
            "href"
        ].replace("%20", " ")


def test_a_window_of_weeks_goes_on_and_back(demo_client: TestClient[Litestar]):
    shown = page(demo_client, "/season?from=2027-03-09&weeks=4")
    later = shown.select_one('a[rel="next"]')["href"]
    assert "from=2027-04-05" in later
    back = page(demo_client, later).select_one('a[rel="prev"]')["href"]
    assert "from=2027-03-08" in back
    spec = json.loads(shown.select_one("script.chart").string)
    assert len(spec["layer"][0]["data"]["values"]) == 28


@pytest.mark.parametrize(
    "address",
    [
        "/season?from=nonsense&weeks=x",
        "/season?from=9999-12-31&weeks=999999999999",
        "/season?from=0001-01-01&weeks=4",
        "/season/day?on=2027-02-30",
        "/season/day?on=1700-01-01",
        "/season/place?of=warm%20bench&page=999&weeks=all",
        "/season/place?of=warm%20bench&page=-3",
    ],
)
def test_an_address_that_asks_for_nonsense_shows_what_there_is(
    demo_client: TestClient[Litestar], address: str
):
    assert page(demo_client, address).h1


def test_a_place_draws_each_stay_on_its_days_page_by_page(
    demo_client: TestClient[Litestar], demo_desk: Desk
):
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        n = unit.season_page.n_stays(head.id, date(2027, 3, 8), date(2027, 5, 3), "warm bench")
    seen = []
    n_pages = -(-n // STAYS_A_PAGE)
    assert n_pages > 1
    for number in range(1, n_pages + 1):
        shown = page(demo_client, f"/season/place?of=warm%20bench&page={number}")
        for row in shown.select(".stays > li"):
            bar = row.select_one("svg rect")
            x, width = float(bar["x"]), float(bar["width"])
            assert 0 <= x < x + width <= 56
            seen.append(row.a["href"])
    assert len(seen) == n


def test_an_unknown_place_is_not_found(demo_client: TestClient[Litestar]):
    answer = demo_client.get("/season/place?of=warm%20bensh")
    assert answer.status_code == 404
    assert "warm bench" in answer.text


def test_today_the_house_is_laid_beside_the_plan(
    demo_client: TestClient[Litestar], demo_desk: Desk
):
    shown = page(demo_client, "/season/day")
    differ = shown.select(".differs")
    assert words(shown.select_one(".flag")).split(" ")[0] in {"Watch:", "Good:"}
    if differ:
        assert f"In {len(differ)} case" in words(shown.select_one(".flag"))
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        stays = unit.season_page.stays(head.id, TODAY, date(2027, 3, 10))
        late = [each for each in stays if each.sown_date is None and each.from_date < TODAY]
        due = [each for each in stays if each.sown_date is None and each.from_date == TODAY]
    rows = {row.a["href"]: row for row in shown.select("tbody tr")}
    for each in late:
        assert "not sown yet" in words(rows[f"/sowings/{quote(each.sowing)}"]), each.sowing
    assert due, "the demo's day is one of sowing"
    for each in due:
        row = rows[f"/sowings/{quote(each.sowing)}"]
        assert "to be sown today" in words(row)
        assert not row.select(".differs"), "what is planned for today does not differ yet"
    # On other days nothing is said of the journal, which knows of today.
    assert not page(demo_client, "/season/day?on=2027-04-01").select(".differs")


def test_a_pin_is_filled_in_kept_changed_and_taken_out(
    demo_client: TestClient[Litestar], demo_desk: Desk
):
    sowing = coming_sowing(demo_desk)
    shown = page(demo_client, f"/season/pins/pin?of={quote(sowing)}&place=cool%20bench")
    answer = send(demo_client, shown.select_one("form"), not_before="2027-03-10", note="cooler")
    assert answer.status_code == 303
    with demo_desk.book.reading() as unit:
        pin = next(each for each in unit.pins.all() if each.target == sowing)
    assert pin == Pin(sowing, place="cool bench", not_before=date(2027, 3, 10))
    after = page(demo_client, answer.headers["location"])
    assert f"{sowing} is pinned" in words(after.select_one(".flag.good"))
    line = next(row for row in after.select("tbody tr") if sowing in words(row))
    assert "Grown in cool bench and not sown before Wed 10 March" in words(line)
    answer = send(demo_client, line.select_one("form"))
    assert answer.status_code == 303
    with demo_desk.book.reading() as unit:
        assert sowing not in {each.target for each in unit.pins.all()}


@pytest.mark.parametrize(
    ("changed", "field", "said"),
    [
        ({"seeds_per_cell": "two"}, "seeds_per_cell", "whole number"),
        ({"seeds_per_cell": "51"}, "seeds_per_cell", "from 1 to 50"),
        ({"sow_date": "2027-03-08"}, "sow_date", "before today"),
        ({"sow_date": "8.3.2027"}, "sow_date", "2027-03-08"),
        ({"not_before": "2027-04-02", "not_after": "2027-04-01"}, "not_after", "not be before"),
        ({"place": "cool bensh"}, "place", "cool bench"),
        ({"container": "plug-9999"}, "container", "Unknown container"),
    ],
)
def test_a_wrong_wish_is_said_beside_its_field_and_nothing_is_kept(
    demo_client: TestClient[Litestar],
    demo_desk: Desk,
    changed: dict[str, str],
    field: str,
    said: str,
):
    sowing = coming_sowing(demo_desk)
    form = page(demo_client, f"/season/pins/pin?of={quote(sowing)}").select_one("form")
    answer = send(demo_client, form, **changed)
    assert answer.status_code == 422
    shown = soup(answer.text)
    marked = shown.find(attrs={"name": field})
    assert marked["aria-invalid"] == "true"
    assert said in words(shown.find(id=marked["aria-describedby"]))
    # What was typed is still there to be mended.
    for name, text in changed.items():
        typed = shown.find(attrs={"name": name})
        assert text in (typed.get("value"), *(o.get_text() for o in typed.select("[selected]")))
    with demo_desk.book.reading() as unit:
        assert sowing not in {each.target for each in unit.pins.all()}


def test_a_pin_without_any_wish_is_refused(demo_client: TestClient[Litestar], demo_desk: Desk):
    form = page(demo_client, f"/season/pins/pin?of={quote(coming_sowing(demo_desk))}")
    answer = send(demo_client, form.select_one("form"))
    assert answer.status_code == 422
    assert "Nothing is pinned" in soup(answer.text).select_one(".flag").get_text()


def test_a_pin_of_what_is_gone_or_of_a_day_without_sowing_is_doubted(
    demo_client: TestClient[Litestar], demo_desk: Desk
):
    with demo_desk.book.writing() as unit:
        unit.pins.put(
            [Pin("gone", place="no such"), Pin("N041", sow_date=date(2027, 3, 14))],
            demo_desk.clock(), "", "",
        )  # fmt: skip
        unit.commit()
    shown = page(demo_client, "/season/pins")
    lines = {row.th.a.get_text(): words(row) for row in shown.select("tbody tr")}
    assert "no order and no coming sowing" in lines["gone"]
    assert "no place no such any more" in lines["gone"]
    assert "is no day of sowing" in lines["N041"]


def test_the_season_asks_the_same_number_of_questions_whatever_the_plan(
    demo_client: TestClient[Litestar], demo_desk: Desk
):
    addresses = (
        "/season",
        "/season?weeks=4",
        "/season/place?of=warm%20bench",
        "/season/day",
        "/season/pins",
    )
    for address in addresses:
        page(demo_client, address)  # what a process keeps is read once
        with queries() as asked:
            page(demo_client, address)
        assert len(asked) <= 16, (address, asked)
    with queries() as before:
        page(demo_client, "/season/pins")
    with demo_desk.book.reading() as unit:
        pins = [Pin(f"x{at}", place="yard") for at in range(40)]
        orders = unit.orders.all()
    with demo_desk.book.writing() as unit:
        unit.pins.put(pins, demo_desk.clock(), "", "")
        more = [replace(each, id=f"{each.id}~") for each in orders]
        unit.orders.put(more, demo_desk.clock(), "", "")
        unit.commit()
    with queries() as after:
        page(demo_client, "/season/pins")
    assert len(after) == len(before)


def test_a_day_that_is_over_stands_beside_what_the_journal_said_by_its_end(
    demo_client: TestClient[Litestar], demo_desk: Desk
):
    first, then, last = date(2027, 3, 1), date(2027, 3, 2), date(2027, 3, 3)
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        stays = unit.season_page.stays(head.id, first, date(2027, 3, 5), "warm bench")
        stay = next(
            each
            for each in stays
            if each.from_date < first and each.to_date > date(2027, 3, 8) and each.sown_date
        )
    # The entry arrives late: it is about the second.
    entry = Entry("f" * 32, then, EntryKind.DUMPED, stay.sowing)
    with demo_desk.book.writing() as unit:
        unit.journal.add([entry], demo_desk.clock())
        unit.commit()

    def row_of(day: date) -> str:
        shown = page(demo_client, f"/season/day?on={day}")
        assert "by the journal" in words(shown.main)
        link = shown.select_one(f'a[href="/sowings/{quote(stay.sowing)}"]')
        assert link is not None
        return words(link.find_parent("tr"))

    assert "ended on" not in row_of(first)
    assert "ended on 2 March" in row_of(then)
    assert "ended on 2 March" in row_of(last)


def test_a_day_to_come_has_no_journal(demo_client: TestClient[Litestar]):
    assert "by the journal" not in words(page(demo_client, "/season/day?on=2027-04-01").main)
