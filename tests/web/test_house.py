"""The page of the house, its forms, its text and its versions."""

import json

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from tests.web.pages import filled, page, queries, send, soup, words

from sowbench.services.desk import Desk


def test_an_empty_book_shows_the_windowsill_and_where_to_begin(client: TestClient[Litestar]):
    shown = page(client, "/house")
    assert "windowsill stands in" in words(shown.h1)
    form = page(client, shown.select_one(".empty .big")["href"]).select_one(
        'form[action="/house/keep"]'
    )
    answer = send(client, form, name="Hollow Hill")
    assert answer.status_code == 303
    after = page(client, answer.headers["location"])
    assert "Hollow Hill" in words(after.select_one(".over"))
    assert "Kept as version 1" in words(after.select_one(".flag.good"))


def test_the_demo_shows_each_place_with_room_climate_and_its_year(
    demo_client: TestClient[Litestar],
):
    shown = page(demo_client, "/house")
    cards = {words(each.h3): each for each in shown.select("section.place")}
    assert len(cards) == 7
    assert "36 trays" in words(cards["Warm chamber"])
    assert len(cards["Warm chamber"].select("rect.square")) == 36
    assert not cards["Warm chamber"].select("figure.chart"), "held constant: nothing to draw"
    bench = cards["Warm bench"]
    assert "Heated to 21 °C by day and 18 °C by night, vented above 26 °C" in words(bench)
    assert len(bench.select("rect.aside")) == 10  # 60 of 70 m2 can be filled
    spec = json.loads(bench.select_one("script.chart").string)
    weeks = spec["data"]["values"]
    assert len(weeks) == 52
    assert all(each["coldest"] <= each["low"] <= each["mean"] <= each["high"] for each in weeks)
    assert all(each["mean_low"] <= each["mean_high"] for each in weeks)
    assert min(each["mean"] for each in weeks) > 17


def test_a_place_is_changed_and_the_plan_is_said_to_be_older(demo_client: TestClient[Litestar]):
    form = page(demo_client, "/house/edit?table=place&at=3").select_one(
        'form[action="/house/keep"]'
    )
    assert filled(form)["heat_day_c"] == "21"
    wrong = send(demo_client, form, heat_day_c="70", area_m2="")
    assert wrong.status_code == 422
    shown = soup(wrong.text)
    field = shown.find(id="heat_day_c")
    assert field["aria-invalid"] == "true"
    assert "21.1" in words(shown.find(id=field["aria-describedby"]))
    assert "exactly one of positions" in words(shown.select_one(".flag.act"))
    kept = send(
        demo_client, shown.select_one('form[action="/house/keep"]'), heat_day_c="22", area_m2="70"
    )
    assert kept.status_code == 303
    after = page(demo_client, kept.headers["location"].split("#")[0])
    assert "plan does not know it yet" in words(after.select_one(".flag.good"))
    assert "Heated to 22 °C by day" in words(after)
    version = page(demo_client, "/house/versions?of=2")
    assert [words(each) for each in version.select(".diff .added, .diff .removed")] == [
        "− heat_day_c = 21.0", "+ heat_day_c = 22",
    ]  # fmt: skip
    assert "has changed since" in words(page(demo_client, "/season"))
    back = page(demo_client, "/house/versions?of=1").select_one(
        'form[action="/house/versions/back"]'
    )
    assert send(demo_client, back).status_code == 303
    assert "Heated to 21 °C by day" in words(page(demo_client, "/house"))


@pytest.mark.parametrize("table", ["house", "crew", "minutes", "prices"])
def test_a_form_sent_back_as_it_stands_makes_no_version(
    demo_client: TestClient[Litestar], table: str
):
    form = page(demo_client, f"/house/edit?table={table}").select_one('form[action="/house/keep"]')
    assert send(demo_client, form).status_code == 303
    assert len(page(demo_client, "/house/versions").select("tbody tr")) == 1


def test_every_container_place_and_machine_has_a_form_that_changes_nothing_by_itself(
    demo_client: TestClient[Litestar],
):
    links = {
        each["href"] for each in page(demo_client, "/house").select('a[href^="/house/edit?table="]')
    }
    assert len(links) > 25
    for link in sorted(links):
        form = page(demo_client, link).select_one('form[action="/house/keep"]')
        labelled = {each["for"] for each in form.select("label[for]")}
        for field in form.select("input:not([type=hidden], [type=checkbox]), select"):
            assert field["id"] in labelled, link
        if not form.find("input", attrs={"name": "at"}) or "at=1" in link:
            assert send(demo_client, form).status_code in {303, 422}
    assert len(page(demo_client, "/house/versions").select("tbody tr")) == 1


def test_the_text_shows_every_problem_by_its_line(demo_client: TestClient[Litestar]):
    form = page(demo_client, "/house/text").select_one("form")
    text = form.textarea.get_text()
    changed = text.replace("positions = 24", "positions = -24").replace("minutes_per", "minute_per")
    answer = send(demo_client, form, text=changed)
    assert answer.status_code == 422
    shown = soup(answer.text)
    lines = changed.strip("\n").splitlines()
    rows = [[words(cell) for cell in row.select("td")] for row in shown.select("tbody tr")]
    found = {lines[int(row[0]) - 1].split(" =")[0] for row in rows}
    assert found == {"positions", "minute_per_day"}
    assert shown.textarea.get_text().strip() == changed.strip()
    hostile = send(demo_client, form, text="</textarea><script>alert(1)</script>")
    assert hostile.status_code == 422
    assert "</textarea><script>alert" not in hostile.text


def test_files_go_out_and_come_in_again(demo_client: TestClient[Litestar], demo_desk: Desk):
    house = demo_client.get("/house/file")
    with demo_desk.book.reading() as unit:
        name = unit.files.names()[0]
    weather = demo_client.get(f"/house/file?name={name}")
    assert "attachment" in weather.headers["content-disposition"]
    form = page(demo_client, "/house/take-in").select_one("form")
    token = {"_csrf_token": filled(form)["_csrf_token"]}
    answer = demo_client.post(
        form["action"], data=token, follow_redirects=False, headers={"Accept": "text/html"},
        files={"house": ("house.toml", house.content), "weather": (name, weather.content)},
    )  # fmt: skip
    assert answer.status_code == 200, answer.text[:500]
    looked = soup(answer.text)
    assert "The text is the one of the book" in words(looked.main)
    taken = send(demo_client, looked.select_one('form[action="/house/take-in/go"]'))
    assert taken.status_code == 303
    answer = demo_client.post(
        form["action"], data=token, follow_redirects=False, headers={"Accept": "text/html"},
        files={"house": ("house.toml", b"[house]\nnam = 'x'\n")},
    )  # fmt: skip
    assert answer.status_code == 422
    assert "name" in words(soup(answer.text).select_one("tbody"))
    assert demo_client.get("/house/file?name=../secret").status_code == 404


def test_a_house_file_shows_what_it_changes_before_it_is_taken(
    demo_client: TestClient[Litestar], demo_desk: Desk
):
    before = demo_client.get("/house/file").text
    after = before.replace("area_m2 = 70", "area_m2 = 90")
    assert after != before
    form = page(demo_client, "/house/take-in").select_one("form")
    given = {
        "url": form["action"], "data": {"_csrf_token": filled(form)["_csrf_token"]},
        "headers": {"Accept": "text/html"}, "follow_redirects": False,
    }  # fmt: skip
    answer = demo_client.post(**given, files={"house": ("house.toml", after.encode())})
    looked = soup(answer.text)
    assert "1 line new or changed, 1 out" in words(looked.h1)
    assert "area_m2 = 90" in words(looked.select_one(".diff .added"))
    assert "area_m2 = 70" in words(looked.select_one(".diff .removed"))
    assert demo_client.get("/house/file").text == before

    # Someone else changes the house meanwhile: what was looked at is no longer what would change.
    with demo_desk.book.writing() as unit:
        other = before.replace("area_m2 = 56", "area_m2 = 57")
        unit.houses.put(other, demo_desk.clock(), "Ilo", "measured")
        unit.commit()
    again = send(demo_client, looked.select_one('form[action="/house/take-in/go"]'))
    assert again.status_code == 409
    fresh = soup(again.text)
    assert "2 lines new or changed" in words(fresh.h1)
    assert (
        send(demo_client, fresh.select_one('form[action="/house/take-in/go"]')).status_code == 303
    )
    assert demo_client.get("/house/file").text.strip() == after.strip()


@pytest.mark.parametrize(
    "address",
    ["/house/edit?table=nope", "/house/versions?of=99", "/house/versions?of=x", "/house/edit"],
)
def test_a_part_that_is_not_there_is_not_found(demo_client: TestClient[Litestar], address: str):
    assert demo_client.get(address).status_code == 404


def test_the_house_asks_a_fixed_number_of_questions(demo_client: TestClient[Litestar]):
    page(demo_client, "/house")
    with queries() as asked:
        page(demo_client, "/house")
    assert len(asked) <= 16, asked
