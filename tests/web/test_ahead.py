"""The page of what is coming, its parts, and the command of the same name."""

from collections import Counter
from typing import Any

import msgspec
import pytest
from bs4 import BeautifulSoup
from click.testing import CliRunner

from sowbench.cli import main
from sowbench.domain.journal import Entry, EntryKind
from sowbench.services.ahead_page import ahead_page, ahead_sowing, orders_now
from sowbench.services.forecasts import house_forecast
from sowbench.services.sowing_words import Level


def soup_of(answer) -> Any:
    assert answer.status_code == 200, answer.text
    return BeautifulSoup(answer.text, "html.parser")


def enter(desk, entry):
    with desk.book.writing() as unit:
        unit.journal.add([entry], desk.clock())
        unit.commit()


def count(name, day, n, n_of, of="1"):
    return Entry(
        id=of * 32, kind=EntryKind.COUNTED, sowing=name, day_date=day, n=n, n_of=n_of, person="Ida"
    )


@pytest.fixture
def steady(demo_desk):
    """A counted sowing that comes as planned, is not potted on, and fills an order by itself."""
    page = ahead_page(demo_desk)
    with demo_desk.book.reading() as unit:
        potted = {
            each.sowing
            for each in unit.journal.that_stand({each.name for each in page.others})
            if each.kind is EntryKind.POTTED_ON
        }
    served = Counter(row.name for each in (*page.others, *page.pressing) for row in each.orders)
    return next(
        each
        for each in page.others
        if len(each.orders) == 1
        and each.band.wanted > 20
        and served[each.orders[0].name] == 1
        and each.counted.startswith("From")
        and each.name not in potted
    )


def test_page_says_what_is_true_and_puts_what_presses_first(demo_client, demo_desk):
    page = ahead_page(demo_desk)
    soup = soup_of(demo_client.get("/ahead"))
    assert soup.h1.get_text(strip=True) == page.heading
    levels = [each.level for each in page.pressing]
    assert levels == sorted(levels, key=lambda level: level is not Level.ACT)
    shown = [each["id"] for each in soup.select("article.ahead")]
    assert len(shown) == len(page.pressing)
    assert not soup.select("[style]")


def test_an_empty_book_says_what_to_do(client):
    soup = soup_of(client.get("/ahead"))
    assert "Nothing to look ahead to yet" in soup.h1.get_text()
    assert soup.select_one(".empty a")["href"] == "/begin"
    for part in ("today", "orders", "sowing?of=x"):
        assert client.get(f"/ahead/part/{part}").status_code == 200


def test_a_poor_count_makes_a_stand_press_and_says_whose_count_it_was(demo_desk, steady):
    today = demo_desk.today()
    cells = steady.band.high * 2
    enter(demo_desk, count(steady.name, today, max(steady.band.wanted // 4, 1), cells))
    now = ahead_sowing(demo_desk, steady.name)
    assert now is not None
    assert now.level is Level.ACT
    assert "short" in now.sentence
    assert now.band.high < steady.band.wanted
    assert "fewer" in now.moved[0]
    assert any("Ida" in line for line in now.moved[1:])
    page = ahead_page(demo_desk)
    assert steady.name in {each.name for each in page.pressing}
    row = next(each for each in orders_now(demo_desk) if each.name == steady.orders[0].name)
    assert row.enough_frac < row.planned_enough_frac


def test_a_count_as_expected_moves_little(demo_desk, steady):
    before = ahead_sowing(demo_desk, steady.name)
    with demo_desk.book.reading() as unit:
        told = house_forecast(unit, demo_desk.today()).sowings[steady.name]
    right = round(told.right_frac[1] * told.n_cells)
    enter(demo_desk, count(steady.name, demo_desk.today(), right, told.n_cells, "2"))
    after = ahead_sowing(demo_desk, steady.name)
    assert before is not None
    assert after is not None
    assert abs(after.band.middle - before.band.middle) <= 0.06 * before.band.wanted + 2
    assert after.level is not Level.ACT


def test_a_sowing_that_was_dumped_leaves_its_order_without_one(demo_desk, steady):
    enter(
        demo_desk,
        Entry(id="3" * 32, kind=EntryKind.DUMPED, sowing=steady.name, day_date=demo_desk.today()),
    )
    assert ahead_sowing(demo_desk, steady.name) is None
    lost = {each.name for each in ahead_page(demo_desk).orphans}
    assert steady.orders[0].name in lost


def test_parts_are_fragments_with_their_numbers(demo_client, steady):
    part = soup_of(demo_client.get(f"/ahead/part/sowing?of={steady.name}"))
    assert part.find("html") is None
    assert part.h2.get_text(strip=True) == steady.sentence
    one = soup_of(demo_client.get(f"/ahead/part/orders?of={steady.orders[0].name}"))
    assert one.select_one("table")
    assert soup_of(demo_client.get("/ahead/part/sowing?of=no%20such")).get_text(strip=True) == ""


def test_counts_worth_making_name_trays_rule_and_worth(demo_desk):
    page = ahead_page(demo_desk)
    assert page.counts
    for each in page.counts:
        assert "tray" in each.words
        assert each.value > 0
        assert each.minutes > 0
    worth = [each.value / each.minutes for each in page.counts]
    assert worth == sorted(worth, reverse=True)


def test_the_command_tells_the_same_to_people_and_programs(demo_desk):
    page = ahead_page(demo_desk)
    told = CliRunner().invoke(main, ["ahead", "--data", str(demo_desk.data)])
    assert told.exit_code == 0, told.output
    assert page.heading in told.output
    assert all(len(line) <= 100 for line in told.output.splitlines())
    told = CliRunner().invoke(main, ["ahead", "--data", str(demo_desk.data), "--json"])
    answer = msgspec.json.decode(told.output)
    assert answer["format"] == "sowbench-ahead/1"
    assert len(answer["pressing"]) == len(page.pressing)
