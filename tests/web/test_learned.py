"""The pages of what a house has learned, and of how good its forecasts were."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from tests.learned_book import ended_entries, ended_sowing, filled
from tests.web.conftest import ADDRESS
from tests.web.pages import page, queries, send, soup, words

from sowbench.bootstrap import open_desk
from sowbench.services.desk import Desk
from sowbench.web.app import create_app


@pytest.fixture
def learned_desk(tmp_path: Path) -> Iterator[Desk]:
    """A book of twelve sowings that came up later than the handbook says."""
    with open_desk(tmp_path / "learned") as opened:
        entries = ended_entries(12, ("kale", "cabbage"))
        filled(opened.book, [*entries, *ended_sowing("kale odd", lag=1.1)], ("kale", "cabbage"))
        yield opened


@pytest.fixture
def learned_client(learned_desk: Desk) -> Iterator[TestClient[Litestar]]:
    with TestClient(create_app(learned_desk), base_url=ADDRESS) as asking:
        yield asking


def form_with(shown, action, value):
    return next(
        each
        for each in shown.select(f'form[action="{action}"]')
        if any(value in field.get("value", "") for field in each.select("input[type=hidden]"))
    )


def test_an_empty_book_says_what_will_be_learned(client: TestClient[Litestar]):
    shown = page(client, "/learned")
    assert words(shown.h1) == "Nothing is learned yet"
    assert shown.select_one('.empty a[href="/count"]')
    assert "Nothing was foretold" in words(page(client, "/learned/calibration").h1)


def test_factors_are_shown_with_evidence_interval_and_what_they_change(
    learned_client: TestClient[Litestar],
):
    shown = page(learned_client, "/learned")
    assert "here than the handbook says" in words(shown.h1)
    coming_up = shown.select_one("#q1")
    assert words(coming_up.h2) == "Coming up"
    row = next(each for each in coming_up.select("tr") if words(each).startswith("Kale"))
    said = words(row)
    assert "7" in said
    assert "half up after" in said.lower()
    assert "in place of" in said
    assert row.select_one("svg")["aria-label"].startswith("Kale: times 1.")
    odd = next(each for each in coming_up.select("details tr") if "kale odd" in words(each))
    assert "odd" in words(odd.select_one('[data-label="pull"]'))


def test_a_factor_is_frozen_and_let_learn_again(
    learned_client: TestClient[Litestar], learned_desk: Desk
):
    shown = page(learned_client, "/learned")
    form = form_with(shown, "/learned/freeze", "crop|kale")
    wrong = send(learned_client, form, value="lots")
    assert wrong.status_code == 422
    assert "a number such as 1.10" in words(soup(wrong.text).select_one(".flag.act"))
    far = send(learned_client, form, value="100")
    assert far.status_code == 422
    kept = send(learned_client, form, value="1,05", person="Ana", reason="new thermometer")
    assert kept.status_code == 303
    shown = page(learned_client, kept.headers["location"])
    assert "frozen" in words(shown.select_one(".flag.good"))
    decided = words(shown.select_one("section.sheet"))
    assert "frozen at 1.05" in decided
    assert "new thermometer" in decided
    undone = send(learned_client, form_with(shown, "/learned/undo", "crop|kale"))
    assert undone.status_code == 303
    with learned_desk.book.reading() as unit:
        assert unit.learned.choices() == []
        assert len(unit.learned.history("freeze|pace to emergence|crop|kale")) == 2


def test_an_outlier_is_left_out_and_taken_in_again(learned_client: TestClient[Litestar]):
    shown = page(learned_client, "/learned")
    done = send(learned_client, form_with(shown, "/learned/drop", "emergence|kale odd"))
    assert done.status_code == 303
    shown = page(learned_client, done.headers["location"])
    row = next(each for each in shown.select("#q1 details tr") if "kale odd" in words(each))
    assert "dropped" in words(row)
    assert "Take it in again" in words(row)
    again = send(learned_client, row.select_one("form"))
    assert again.status_code == 303
    assert "dropped" not in words(page(learned_client, "/learned").select_one("#q1"))


@pytest.mark.parametrize(
    ("address", "data"),
    [
        ("/learned/freeze", {"key": "pace to emergence|crop|unicorn", "value": "1.1"}),
        ("/learned/drop", {"key": "pace to emergence|no such"}),
        ("/learned/undo", {"name": "freeze|nothing"}),
        ("/learned/undo", {"name": "whatever"}),
    ],
)
def test_what_is_not_there_cannot_be_decided(
    learned_client: TestClient[Litestar], address: str, data: dict[str, str]
):
    form = form_with(page(learned_client, "/learned"), "/learned/freeze", "crop|kale")
    form["action"] = address
    for field in form.select("input"):
        if field["name"] != "_csrf_token":
            field.decompose()
    answer = send(learned_client, form, **data)
    assert answer.status_code == 422
    assert "Nothing was changed" in answer.text


def test_forecasts_are_judged_by_what_came(learned_client: TestClient[Litestar]):
    shown = page(learned_client, "/learned/calibration")
    assert "foretold at 80 %" in words(shown.h1)
    rows = {words(each.th).removesuffix(" few"): each for each in shown.select("tbody tr")}
    assert {"Pace to emergence", "Pace to ready", "Final stand"} <= set(rows)
    assert words(rows["Pace to emergence"].select_one('[data-label="foretold"]')) == "13"


def test_the_page_asks_the_book_no_more_for_more_sowings(tmp_path: Path):
    asked = []
    for n in (4, 16):
        with open_desk(tmp_path / f"{n}") as desk:
            filled(desk.book, ended_entries(n))
            with TestClient(create_app(desk), base_url=ADDRESS) as client:
                page(client, "/learned")  # fills the cache
                with queries() as said:
                    page(client, "/learned")
                asked.append(len(said))
    assert asked[0] == asked[1] < 30


def test_the_demo_shows_what_it_has_learned(demo_client: TestClient[Litestar]):
    shown = page(demo_client, "/learned")
    assert words(shown.h1)
    assert page(demo_client, "/learned/calibration").h1
