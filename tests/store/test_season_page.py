"""What the pages of the season read, on both databases."""

from datetime import UTC, date, datetime

import pytest
from tests.store.derived import plan_of, sowing_of

from sowbench.domain.book import NewPlan, PlannedUse
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.records import Order

NOW = datetime(2027, 3, 9, 8, tzinfo=UTC)
DAY = date(2027, 3, 1)
USES = (PlannedUse("bench", "m2", DAY, [1.0, 2.5], [4.0, 4.0]),
        PlannedUse("hands", "min", DAY, [30.0, 0.0], None))  # fmt: skip


@pytest.fixture
def planned(book):
    with book.writing() as unit:
        plan = plan_of(sowings=(sowing_of("S-1"), sowing_of("S-2")))
        number = unit.plans.add(NewPlan(plan, uses=USES, cards={}), NOW, "")
        unit.plans.accept(number, NOW)
        unit.orders.put(
            [Order("O-1", "kale", 20, date(2027, 4, 1), date(2027, 4, 1), date(2027, 4, 3),
                   customer="Long Field"),
             Order("O-2", "kale", 20, date(2027, 2, 1), date(2027, 2, 1), date(2027, 2, 1)),
             Order("O-3", "kale", 20, date(2027, 4, 2), date(2027, 4, 2), date(2027, 4, 2),
                   status="cancelled")],
            NOW, "", "",
        )  # fmt: skip
        unit.commit()
    return book, number, plan


def test_uses_come_back_by_day_in_order(planned):
    book, number, _ = planned
    with book.reading() as unit:
        uses = unit.season_page.uses(number)
        assert unit.season_page.n_sown_or_coming(number) == 2
    assert [(each.name, list(each.use), each.first_date) for each in uses] == [
        ("bench", [1.0, 2.5], DAY), ("hands", [30.0, 0.0], DAY),
    ]  # fmt: skip
    assert uses[1].capacity is None


def test_stays_are_those_that_touch_the_days_in_pages(planned):
    book, number, plan = planned
    steps = [(s.sowing, step) for s in plan.sowings for step in s.steps]
    first = min(step.from_date for _, step in steps)
    last = max(step.to_date for _, step in steps)
    with book.reading() as unit:
        page = unit.season_page
        every = page.stays(number, first, last)
        assert len(every) == len(steps)
        # The day on which a step ends is not one of its own.
        assert page.stays(number, last, date(2028, 1, 1)) == []
        assert page.stays(number, date(2020, 1, 1), first) == []
        place = steps[0][1].place
        there = page.stays(number, first, last, place)
        assert page.n_stays(number, first, last, place) == len(there)
        assert {each.place for each in there} == {place}
        assert page.stays(number, first, last, None, 1, 1) == every[1:2]
    assert all(each.sown_date is None and each.place_now == "" for each in every)


def test_trays_are_counted_where_they_stand_now(planned):
    book, _, _ = planned
    sown = Entry("a" * 32, DAY, EntryKind.SOWN, "S-1", 40, place="bench", crop="kale",
                 container="plug-128", n_containers=4)  # fmt: skip
    moved = Entry("b" * 32, date(2027, 3, 2), EntryKind.MOVED, "S-1", place="yard", trays=(1,))
    with book.writing() as unit:
        unit.journal.add([sown, moved], NOW)
        unit.commit()
    with book.reading() as unit:
        found = unit.season_page.trays_now(["bench", "yard", "elsewhere"])
        assert unit.season_page.trays_now([]) == []
    assert [(each.place, each.sowing, each.n_trays) for each in found] == [
        ("bench", "S-1", 3), ("yard", "S-1", 1),
    ]  # fmt: skip


def test_targets_are_orders_to_come_and_sowings_to_sow(planned):
    book, number, plan = planned
    day = plan.sowings[0].sow_date
    with book.reading() as unit:
        page = unit.season_page
        found = page.targets(number, day, 10)
        assert [each.name for each in page.targets(None, day, 10)] == ["O-1"]
        assert page.target(number, "O-1").words == "20 plants for Long Field"
        assert page.target(number, "S-1").is_sowing
        assert page.target(number, "none") is None
        assert page.target(None, "S-1") is None
        assert page.targets(number, date(2029, 1, 1), 10) == []
    assert [(each.name, each.is_sowing) for each in found] == [
        ("O-1", False), ("S-1", True), ("S-2", True),
    ]  # fmt: skip
