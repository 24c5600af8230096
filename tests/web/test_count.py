"""The pages of counting."""

import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from tests.web.small_client import SmallPages, small_pages

from sowbench.domain.journal import Entry, EntryKind

TRAY = "/sowings/kale%2003-01%20a/trays/1"


@pytest.fixture
def pages(tmp_path: Path) -> Iterator[SmallPages]:
    """The pages of the small book."""
    with small_pages(tmp_path / "book") as opened:
        yield opened


def test_the_page_of_a_tray_says_how_it_is_drawn(pages: SmallPages):
    drawing = pages.page(TRAY).select_one("#drawing")
    assert drawing is not None
    assert json.loads(drawing.get_text()) == {
        "across": 8, "cells": 128, "clump": False, "low": 1, "high": 1, "start": "." * 128,
        "last": "",
    }  # fmt: skip


def test_a_count_by_number_is_kept_and_leads_to_the_next_tray(pages: SmallPages):
    form = pages.page(TRAY).select_one("#count")
    assert form is not None
    button = form.select_one("button.full")
    assert button is not None
    back = str(button["value"])
    answer = pages.post_form(form, n="101", person="Ana", back=back)
    assert answer.headers["location"] == "/sowings/kale%2003-01%20a/trays/2"
    page = pages.page(TRAY)
    counted = page.select_one(".counted-today")
    assert counted is not None
    assert "by Ana: 101 of 128" in " ".join(counted.get_text().split())
    current = page.select_one('.tray-row [aria-current="page"]')
    assert current is not None
    assert current["aria-label"] == "tray 1, 101 of 128 on Tue 9 March"


def test_two_hundred_trays_come_in_rows_of_a_window(pages: SmallPages):
    sown = Entry(
        "77" * 16, date(2027, 3, 9), EntryKind.SOWN, "many", 25_600, crop="kale",
        container="plug-128", n_containers=200, place="bench",
    )  # fmt: skip
    counted = Entry("78" * 16, date(2027, 3, 9), EntryKind.COUNTED, "many", 99, trays=(30,))
    with pages.desk.book.writing() as unit:
        unit.journal.add([sown, counted], pages.desk.clock())
        unit.commit()
    row = pages.page("/sowings/many/trays/29")
    shown = [each.get_text() for each in row.select(".tray-row a")]
    assert shown == [f"{each}" for each in range(25, 49)]
    windows = row.select_one(".tray-windows")
    assert windows is not None
    assert "25 to 48 of 200 trays, 1 counted today" in windows.get_text()
    links = [str(each["href"]).rsplit("/", 1)[1] for each in windows.select("a")]
    assert links == ["1", "49", "31"]
    last = pages.page("/sowings/many/trays/200").select(".tray-windows a")
    assert [str(each["href"]).rsplit("/", 1)[1] for each in last] == ["169", "1"]


def test_choosing_leads_to_the_first_tray(pages: SmallPages):
    page = pages.page("/count")
    assert page.h1 is not None
    assert page.h1.get_text(strip=True) == "2 sowings to count"
    links = [each["href"] for each in page.select(".to-count a")]
    assert links[:2] == ["/sowings/leek%2002-26%20a/trays/1", TRAY]
    for link in links:
        pages.page(str(link))


def test_a_tray_that_is_not_there_is_not_found(pages: SmallPages):
    for path in ("/sowings/kale%2003-01%20a/trays/9", "/sowings/nobody/trays/1"):
        answer = pages.client.get(path, headers={"Accept": "text/html"})
        assert answer.status_code == 404
        assert "Unknown tray of" in answer.text
