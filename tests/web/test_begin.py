"""The first steps: what an empty book says, and files taken in or shown with what is wrong."""

import csv
import io
from typing import Any

import pytest
from bs4 import BeautifulSoup

from sowbench.demo import WEATHER_NAME, weather_file
from sowbench.exchange.orders import read_orders
from sowbench.reference.catalog import load_catalog
from sowbench.science.errors import InputFileError, UnknownNameError
from sowbench.services.begin import (
    NotEmptyError,
    begin_view,
    take_in_demo,
    take_in_house,
    take_in_seed,
    take_in_standing,
)
from sowbench.services.begin_files import SAMPLES, sample
from sowbench.services.book_inputs import house_of

HTML = {"Accept": "text/html"}


def page(answer) -> Any:
    return BeautifulSoup(answer.text, "html.parser")


def send(client, address, **files):
    token = page(client.get("/begin", headers=HTML)).select_one("input[name=_csrf_token]")["value"]
    return client.post(address, headers=HTML, data={"_csrf_token": token}, files=files)


def test_an_empty_book_says_what_it_needs_what_it_gives_and_what_stands_in(client):
    shown = page(client.get("/begin", headers=HTML))
    assert shown.h1.get_text() == "This book is empty: give it orders, and it can plan"
    by_hand = {"/orders/new", "/house", "/seed/new"}
    assert by_hand <= {each["href"] for each in shown.select(".step a.big")}
    steps = shown.select("ol.steps > li")
    assert [each["id"] for each in steps] == ["orders", "house", "seed", "standing", "plan"]
    assert "Needed" in steps[0].get_text()
    for each in steps[1:4]:
        assert "Without it:" in each.get_text()
    assert steps[4].form is None


def test_files_of_every_part_are_offered_and_can_be_downloaded(client):
    shown = page(client.get("/begin", headers=HTML))
    offered = {each["href"] for each in shown.select("a[download]")}
    assert offered == {f"/begin/files/{each.name}" for each in SAMPLES}
    for address in offered:
        answer = client.get(address)
        assert answer.status_code == 200
        assert answer.headers["content-disposition"].startswith("attachment")


def test_only_the_files_to_download_can_be(client):
    assert client.get("/begin/files/secret", headers=HTML).status_code == 404
    with pytest.raises(UnknownNameError):
        sample("../nursery/README.md")


def test_the_blank_files_have_one_example_each_that_can_be_taken_in(desk, tmp_path):
    for name in ("orders.csv", "seed.csv", "standing.csv"):
        assert len(list(csv.reader(io.StringIO(sample(name).decode())))) == 2
    take_in_house(desk, "house.toml", sample("house.toml"))
    assert take_in_seed(desk, "seed.csv", sample("seed.csv")) == "1 lot taken in."
    said = take_in_standing(desk, "standing.csv", sample("standing.csv"))
    assert said == "1 sowing taken in."
    (tmp_path / "orders.csv").write_bytes(sample("orders.csv"))
    catalog = load_catalog()
    read = read_orders(
        tmp_path / "orders.csv",
        resolve_crop=catalog.crop_id,
        crop_unit=lambda crop: catalog.crops[crop].unit,
        containers=list(catalog.containers),
        systems=["field"],
    )
    assert len(read.orders) == 1


def test_the_demo_goes_into_an_empty_book_and_then_it_can_be_planned(client, desk):
    send(client, "/begin/demo")
    shown = page(client.get("/begin", headers=HTML))
    lines = list(csv.DictReader(io.StringIO(sample("nursery-orders.csv").decode())))
    with desk.book.reading() as unit:
        assert unit.orders_page.n_orders() >= len(lines)
        assert len(unit.lots.all()) > 0
        assert unit.files.names() == [WEATHER_NAME]
    assert shown.select_one('#plan form[action="/plans/run"]') is not None
    assert len(shown.select("li.step.has")) == 4
    assert str(desk.today()) == "2027-01-04"


def test_the_demo_does_not_go_into_a_book_that_has_anything(client, desk):
    take_in_seed(desk, "seed.csv", sample("seed.csv"))
    answer = send(client, "/begin/demo")
    assert answer.status_code == 422
    assert "this one has 1 lot" in page(answer).main.get_text()
    with desk.book.reading() as unit:
        assert unit.orders_page.n_orders() == 0


def test_the_demo_is_taken_in_once(desk):
    take_in_demo(desk)
    with pytest.raises(NotEmptyError, match="orders"):
        take_in_demo(desk)


def test_seed_that_is_right_is_taken_and_said(client, desk):
    answer = send(client, "/begin/seed", file=("seed.csv", sample("nursery-seed.csv")))
    assert "58 lots taken in." in page(answer).select_one(".flag.good").get_text()
    with desk.book.reading() as unit:
        assert len(unit.lots.all()) == 58


def test_seed_taken_in_again_says_that_it_is_known(desk):
    take_in_seed(desk, "seed.csv", sample("seed.csv"))
    said = take_in_seed(desk, "seed.csv", sample("seed.csv"))
    assert said == "1 lot taken in (1 of them the book had just so)."


BAD = """lot,crop,variety,n_tested,n_normal,n_seeds,tested_on
A1,kayle,,200,210,5000,2026-13-01
A2,kale,,200,180,5000,2026-11-01
A3,basil,Sweetgate,100,90,x,2026-11-01
"""


def test_every_problem_of_a_file_stands_beside_its_row_and_nothing_is_taken(client, desk):
    answer = send(client, "/begin/seed", file=("my seed.csv", BAD.encode()))
    assert answer.status_code == 422
    shown = page(answer)
    assert shown.h1.get_text() == "Nothing was taken in"
    rows = {each.h2.get_text(): each for each in shown.select(".bad-row")}
    assert list(rows) == ["Row 2", "Row 4"]
    wrong = [each.dt.get_text() for each in rows["Row 2"].select(".wrong")]
    assert wrong == ["crop", "n_normal", "tested_on"]
    assert "Did you mean 'kale'?" in rows["Row 2"].get_text()
    right = [each.dt.get_text() for each in rows["Row 4"].select(".bad-cells > div:not(.wrong)")]
    assert right == ["lot", "crop", "variety", "n_tested", "n_normal", "tested_on"]
    with desk.book.reading() as unit:
        assert unit.lots.all() == ()


def test_a_column_that_lacks_is_said_of_the_whole_file(client):
    answer = send(client, "/begin/seed", file=("seed.csv", b"lot,crop\nA1,kale\n"))
    assert answer.status_code == 422
    assert "n_tested" in page(answer).select_one(".refused .wrong").get_text()


@pytest.mark.parametrize(
    ("part", "content"),
    [("seed", b""), ("standing", b"\x00\x01\x02"), ("house", b"[house"), ("house", b"\xff\xfe")],
)
def test_what_is_no_such_file_is_refused_in_words(client, part, content):
    answer = send(client, f"/begin/{part}", file=("a file", content))
    assert answer.status_code == 422
    assert page(answer).select_one(".refused .wrong").get_text(strip=True)


def test_no_file_chosen_is_refused_in_words(client):
    answer = send(client, "/begin/seed", file=("", b""))
    assert answer.status_code == 422
    assert "No file was chosen" in page(answer).main.get_text()


def test_a_house_names_its_weather_and_both_are_kept(desk):
    said = take_in_house(
        desk, "house.toml", sample("nursery-house.toml"), WEATHER_NAME, weather_file().read_bytes()
    )
    assert said == "Otterstile Nursery (invented): 7 places taken in."
    with desk.book.reading() as unit:
        house, _, weather = house_of(unit)
    assert weather is not None
    assert house.weather_file == WEATHER_NAME


def test_a_house_without_the_weather_that_it_names_is_refused(desk):
    with pytest.raises(InputFileError, match="give it beside it"):
        take_in_house(desk, "house.toml", sample("nursery-house.toml"))
    with desk.book.reading() as unit:
        assert unit.houses.current() is None


def test_weather_that_the_house_does_not_name_is_refused(desk):
    with pytest.raises(InputFileError, match=r'must say weather = "year\.csv"'):
        take_in_house(
            desk, "house.toml", sample("house.toml"), "year.csv", weather_file().read_bytes()
        )


def test_weather_can_be_given_anew_without_the_house(desk):
    year = weather_file().read_bytes()
    take_in_house(desk, "house.toml", sample("nursery-house.toml"), WEATHER_NAME, year)
    take_in_house(desk, "", b"", WEATHER_NAME, year)
    with desk.book.reading() as unit:
        assert len(unit.houses.versions()) == 1


def test_standing_sowings_must_stand_in_a_place_of_the_house(desk):
    take_in_house(desk, "house.toml", sample("house.toml"))
    wrong = sample("standing.csv").replace(b",bench,", b",south bench,")
    with pytest.raises(InputFileError) as caught:
        take_in_standing(desk, "standing.csv", wrong)
    assert [(each.row, each.column) for each in caught.value.problems] == [(2, "place")]


def test_a_planned_book_says_that_it_is_and_goes_on(demo_client):
    shown = page(demo_client.get("/begin", headers=HTML))
    assert shown.h1.get_text() == "The season is planned"
    assert shown.select_one('.actions a[href="/today"]') is not None
    assert shown.select_one('form[action="/begin/demo"]') is None


def test_what_is_said_in_the_address_is_shown_and_never_run(client):
    shown = page(client.get("/begin?said=<script>x</script>", headers=HTML))
    assert shown.select_one(".flag.good script") is None
    assert "<script>x</script>" in shown.select_one(".flag.good").get_text()


def test_a_view_of_a_book_that_was_begun_halfway(desk):
    take_in_seed(desk, "seed.csv", sample("seed.csv"))
    view = begin_view(desk)
    assert not view.empty
    assert not view.ready
    assert {each.part: each.has for each in view.steps}["seed"] == "1 lot"


def test_every_form_of_the_page_is_sent_to_where_it_is_taken(client, desk):
    addresses = {each["action"] for each in page(client.get("/begin", headers=HTML)).select("form")
                 if each.get("method") == "post"}  # fmt: skip
    take_in_demo(desk)
    addresses |= {each["action"] for each in page(client.get("/begin", headers=HTML)).select("form")
                  if each.get("method") == "post"}  # fmt: skip
    taken = {route.path for route in client.app.routes if "POST" in route.methods}
    assert len(addresses) == 6
    assert addresses <= taken


def test_orders_given_here_are_looked_at_before_they_are_taken(client, desk):
    answer = send(client, "/orders/take-in/file", file=("orders.csv", sample("orders.csv")))
    assert answer.status_code == 200
    assert answer.url.path.startswith("/orders/take-in/")
    assert "E-1" in page(answer).main.get_text()
    with desk.book.reading() as unit:
        assert unit.orders_page.n_orders() == 0
