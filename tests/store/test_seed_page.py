"""What the pages of seed and supplies read, on both databases."""

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest
from tests.store.derived import plan_of, sowing_of

from sowbench.domain.book import NewPlan
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.plan import Supply
from sowbench.domain.records import SeedLot

THEN = datetime(2027, 1, 4, 8, tzinfo=UTC)
NOW = datetime(2027, 3, 9, 8, tzinfo=UTC)
LOT = SeedLot("L-1", "kale", "", 100, 90, 5000)
SUPPLIES = (
    Supply(date(2027, 3, 20), date(2027, 3, 6), "seed L-1", 300.0, "seeds", 100.0, 200.0),
    Supply(date(2027, 3, 10), date(2027, 3, 1), "mix for 2027-03", 12.5, "L", 0.0, 12.5),
)


@pytest.fixture
def planned(book):
    sowings = (
        replace(sowing_of("S-1"), lot="L-1", n_cells=100, n_seeds=200),
        replace(sowing_of("S-2"), lot="L-1", n_cells=50, n_seeds=50),
        replace(sowing_of("S-3"), lot="L-2", n_cells=10, n_seeds=10),
    )
    plan = plan_of(sowings=sowings, supplies=SUPPLIES)
    with book.writing() as unit:
        number = unit.plans.add(NewPlan(plan, uses=(), cards={}), NOW, "")
        unit.plans.accept(number, NOW)
        unit.lots.put([LOT], THEN, "", "")
        unit.commit()
    return book, number, plan


def sown(name: str, n: int, day: date, mark: str, **more: Any) -> Entry:
    entry = Entry(mark * 32, day, EntryKind.SOWN, name, n, place="bench", crop="kale", lot="L-1",
                  container="plug-128", n_containers=1)  # fmt: skip
    return replace(entry, **more)


def test_a_plan_takes_what_is_not_sown_yet(planned):
    book, number, plan = planned
    with book.reading() as unit:
        takes = unit.seed_page.takes(number)
    assert {name: (each.n_sowings, each.n_seeds) for name, each in takes.items()} == {
        "L-1": (2, 250), "L-2": (1, 10),
    }  # fmt: skip
    assert takes["L-1"].first_date == plan.sowings[0].sow_date
    with book.writing() as unit:
        unit.journal.add([sown("S-1", 100, date(2027, 3, 2), "a")], NOW)
        unit.commit()
    with book.reading() as unit:
        assert unit.seed_page.takes(number)["L-1"].n_seeds == 50
        assert unit.seed_page.takes(99) == {}


def test_seed_sown_is_as_written_down_else_as_planned_else_one_a_cell(planned):
    book, number, _ = planned
    with book.writing() as unit:
        unit.journal.add(
            [sown("S-1", 50, date(2027, 3, 2), "a"),
             sown("S-2", 50, date(2027, 3, 3), "b", values={"n_seeds": 60.0}),
             sown("S-9", 7, date(2027, 3, 4), "c"),
             sown("S-8", 7, date(2026, 3, 4), "d")],
            NOW,
        )  # fmt: skip
        unit.commit()
    with book.reading() as unit:
        found = unit.seed_page.sown(number, ["L-1"], date(2027, 1, 1))
        assert unit.seed_page.sown(number, [], date(2027, 1, 1)) == []
    assert sorted((each.date.day, each.n_seeds) for each in found) == [(2, 100), (3, 60), (4, 7)]


def test_a_stock_is_stated_by_the_change_that_changed_it(planned):
    book, _, _ = planned
    with book.writing() as unit:
        unit.lots.put([replace(LOT, variety="Other")], NOW, "", "")
        unit.commit()
    with book.reading() as unit:
        assert unit.seed_page.stock_stated(["L-1", "none"]) == {"L-1": THEN}
    with book.writing() as unit:
        unit.lots.put([replace(LOT, n_seeds=4000)], NOW, "", "")
        unit.commit()
    with book.reading() as unit:
        assert unit.seed_page.stock_stated(["L-1"]) == {"L-1": NOW}


def test_sowings_of_a_lot_and_supplies_come_by_day(planned):
    book, number, _ = planned
    with book.reading() as unit:
        sowings = unit.seed_page.sowings_of(number, "L-1")
        assert [each.sowing for each in unit.seed_page.sowings_of(number, "L-1", 1)] == ["S-1"]
        assert unit.seed_page.sowings_of(None, "L-1") == []
        supplies = unit.seed_page.supplies(number)
    assert [(each.sowing, each.n_seeds, each.sown_date) for each in sowings] == [
        ("S-1", 200, None), ("S-2", 50, None),
    ]  # fmt: skip
    assert [each.item for each in supplies] == ["mix for 2027-03", "seed L-1"]
    assert supplies[1] == SUPPLIES[0]
