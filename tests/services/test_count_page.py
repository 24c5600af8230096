"""Counting: one tray as it is drawn, what was counted before, what can be counted."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from tests.small_book import BASIL, KALE, LEEK, NOW, TODAY, entry, small_desk

from sowbench.domain.journal import EntryKind
from sowbench.domain.tray_grid import TrayGrid, fair_grid, tray_grid
from sowbench.reference.catalog import load_catalog
from sowbench.science.errors import UnknownNameError
from sowbench.services.count_page import count_list_page, count_page, start_marks
from sowbench.services.desk import Desk


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """The small book."""
    with small_desk(tmp_path / "book") as opened:
        yield opened


def write(desk: Desk, *entries: Any) -> None:
    """Write entries of the crew."""
    with desk.book.writing() as unit:
        unit.journal.add(entries, NOW)
        unit.commit()


def a_count(name: str, day: date, cells: str, **more: Any) -> Any:
    """Write a count of the first tray of the kale."""
    right = cells.count("1") + cells.count("+")
    fields = {"trays": (1,), "n": right, "n_of": len(cells), "cells": cells, **more}
    return entry(name, day, EntryKind.COUNTED, KALE, **fields)


def test_a_tray_is_drawn_with_its_rows_across_the_short_side(desk: Desk):
    page = count_page(desk, KALE, 2)
    assert page.grid == TrayGrid(8, 16, 128, drawn_as_is=True)
    assert (page.title, page.over) == (
        "Kale, tray 2 of 3", "south bench, Plug tray, 128 cells, sown Mon 1 March",
    )  # fmt: skip
    assert (page.before, page.after, page.n_cells) == (1, 3, 128)
    assert page.job == "2027-03-09/count/kale 03-01 a/south bench"
    assert not page.is_clump


def test_every_container_of_the_reference_has_a_grid_that_holds_its_cells():
    for container in load_catalog().containers.values():
        grid = tray_grid(container)
        assert grid.n_across * (grid.n_rows - 1) < container.cells <= grid.n_across * grid.n_rows
        assert grid.n_across <= grid.n_rows
    # Cells that stand staggered, no rows and columns in the source.
    assert not tray_grid(load_catalog().containers["plug-38"]).drawn_as_is


def test_a_grid_of_nothing_known_is_fair():
    assert fair_grid(1) == TrayGrid(1, 1, 1, drawn_as_is=False)
    assert fair_grid(50) == TrayGrid(5, 10, 50, drawn_as_is=False)
    container = replace(load_catalog().containers["plug-72"], rows=5, cols=7)
    assert not tray_grid(container).drawn_as_is


def test_too_few_has_a_meaning_only_where_a_clump_is_wanted(desk: Desk):
    page = count_page(desk, BASIL, 1)
    assert (page.is_clump, page.wanted_low, page.wanted_high) == (True, 4, 5)


def test_the_last_count_of_another_day_is_shown_and_does_not_begin_the_map(desk: Desk):
    cells = "1" * 100 + "0" * 28
    write(desk, a_count("before", date(2027, 3, 7), cells))
    page = count_page(desk, KALE, 1)
    assert page.last is not None
    assert (page.last.n_right, page.last.when, page.last.cells) == (100, "Sun 7 March", cells)
    assert page.today == ()
    assert start_marks(page) == "." * 128
    assert [each.is_counted for each in page.trays] == [False, False, False]


def test_counts_of_the_day_are_all_shown_the_last_begins_the_map_and_a_struck_one_is_gone(
    desk: Desk,
):
    first, second = "1" * 100 + "0" * 28, "1" * 90 + "0" * 38
    other = a_count("b", TODAY, second, person="Noor")
    write(desk, a_count("a", TODAY, first), other)
    page = count_page(desk, KALE, 1)
    assert [(each.n_right, each.person, each.when) for each in page.today] == [
        (100, "Ana", "8:00"), (90, "Noor", "8:00"),
    ]  # fmt: skip
    assert start_marks(page) == second
    assert [each.is_counted for each in page.trays] == [True, False, False]
    assert count_page(desk, KALE, 2).today == ()
    write(desk, entry("strike", TODAY, EntryKind.CORRECTED, KALE, corrects=other.id))
    assert [each.n_right for each in count_page(desk, KALE, 1).today] == [100]


def test_a_tray_that_is_gone_says_how(desk: Desk):
    write(desk, entry("dump", TODAY, EntryKind.DUMPED, KALE, trays=(3,), reason="rot"))
    assert count_page(desk, KALE, 3).gone == "dumped, Tue 9 March"
    page = count_page(desk, KALE, 2)
    assert (page.after, [each.number for each in page.trays]) == (0, [1, 2])


def test_a_tray_that_is_not_there_is_named_with_those_that_are(desk: Desk):
    with pytest.raises(UnknownNameError, match=r"Unknown tray of kale 03-01 a '9'.*'1'"):
        count_page(desk, KALE, 9)
    with pytest.raises(UnknownNameError, match="tray of celery 03-09 a"):
        count_page(desk, "celery 03-09 a", 1)


def test_what_is_due_comes_first_and_the_rest_by_place(desk: Desk):
    page = count_list_page(desk)
    assert [each.sowing for each in page.due] == [LEEK, KALE]
    assert [(place, [each.title for each in every]) for place, every in page.places] == [
        ("warm chamber", ["Basil, 1 tray"]), ("south bench", ["Lettuce, 1 tray"]),
    ]  # fmt: skip
    write(desk, a_count("now", TODAY, "1" * 128))
    page = count_list_page(desk)
    assert [each.sowing for each in page.due] == [LEEK]
    kale = next(each for _, every in page.places for each in every if each.sowing == KALE)
    assert (kale.n_counted, kale.n_trays, kale.counted) == (1, 3, "Tue 9 March")


def test_the_counts_of_one_tray_are_told_from_those_of_others(desk: Desk):
    said = 'of the "trays":[1]'
    write(
        desk,
        a_count("one", TODAY, "11"),
        a_count("both", TODAY, "", trays=(1, 2), n=9, note=said),
        a_count("other", TODAY, "", trays=(2,), n=7, note=said),
        a_count("eleven", TODAY, "", trays=(11,), n=7),
    )
    with desk.book.reading() as unit:
        read = unit.today_page.counts_of_day
        assert [each.entry.n for each in read(KALE, TODAY, 1)] == [2]
        assert len(read(KALE, TODAY)) == 4
    assert [each.n_right for each in count_page(desk, KALE, 1).today] == [2]
