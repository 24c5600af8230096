"""The page of a day's work: walking order, trade words, ticks, what is late."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event
from tests.small_book import (
    BASIL,
    CELERY,
    KALE,
    LEEK,
    LETTUCE,
    NOW,
    TODAY,
    celery_card,
    entry,
    small_desk,
    small_plan,
)

from sowbench.bootstrap import open_desk
from sowbench.domain.book import NewPlan
from sowbench.domain.jobs import job_keys
from sowbench.domain.journal import EntryKind
from sowbench.domain.plan import Task
from sowbench.domain.records import PlaceKind
from sowbench.services.cards import CardStep
from sowbench.services.day_card import card_pictures, cautions, short_card
from sowbench.services.day_house import HouseWalk, house_walk
from sowbench.services.day_jobs import JobLine
from sowbench.services.day_page import DayPage, day_page
from sowbench.services.desk import Desk
from sowbench.services.job_words import container_words, unit_noun


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """The small book."""
    with small_desk(tmp_path / "book") as opened:
        yield opened


@contextmanager
def counted_queries(desk: Desk) -> Iterator[list[str]]:
    """Gather what is asked of the database."""
    asked: list[str] = []

    def take(_c: Any, _cursor: Any, statement: str, *_more: Any) -> None:
        asked.append(statement)

    engine = desk.book.engine  # type: ignore[attr-defined]
    event.listen(engine, "before_cursor_execute", take)
    yield asked
    event.remove(engine, "before_cursor_execute", take)


def line(page: DayPage, title: str) -> JobLine:
    """Find a job of the page by its title."""
    every = [*page.late, *(job for stay in page.stays for job in stay.jobs)]
    return next(each for each in every if title in each.title)


def write(desk: Desk, *entries: Any) -> None:
    """Write entries of the crew."""
    with desk.book.writing() as unit:
        unit.journal.add(entries, NOW)
        unit.commit()


def plan_again(desk: Desk, tasks: tuple[Task, ...]) -> None:
    """Put another plan in the place of the current one."""
    with desk.book.writing() as unit:
        number = unit.plans.add(NewPlan(replace(small_plan(), tasks=tasks), (), {}), NOW, "Ana")
        unit.plans.accept(number, NOW)
        unit.commit()


def test_jobs_stand_in_walking_order_and_in_trade_words(desk: Desk):
    page = day_page(desk)
    assert page.heading == "7 jobs, about 2 h 24"
    assert [(stay.place, stay.kind) for stay in page.stays] == [
        ("Potting bench", ""), ("south bench", "bench"),
    ]  # fmt: skip
    assert [[job.title for job in stay.jobs] for stay in page.stays] == [
        ["Set up for lot S-celery", "Sow celery, 4 trays of 288"],
        [
            "Water what is dry",
            "Pull 1 tray of basil from the warm chamber",
            "Count kale, 3 trays of 128",
            "Pack 90 lettuce",
            "Pack 30 lettuce",
        ],
    ]
    assert (page.n_jobs, page.n_open, page.minutes) == (7, 7, 144.0)
    assert (page.before, page.after) == (date(2027, 3, 8), date(2027, 3, 10))


def test_a_tick_writes_the_kind_of_its_job_with_all_that_the_plan_knows(desk: Desk):
    page = day_page(desk)
    sow = line(page, "Sow celery").tick
    assert sow.kind == EntryKind.SOWN
    assert sow.fields == {
        "job": "2027-03-09/sow/celery 03-09 a/warm chamber", "sowing": CELERY,
        "place": "warm chamber", "crop": "celery", "variety": "", "lot": "S-celery",
        "container": "plug-288", "values.n_cells_per_tray": "288",
    }  # fmt: skip
    assert [(each.name, each.value, each.per, each.most) for each in sow.amounts] == [
        ("n_containers", 4, 288, 1152), ("n", 1152, 0, 0),
    ]  # fmt: skip
    kinds = {job.task: job.tick.kind for stay in page.stays for job in stay.jobs}
    assert kinds == {
        "change lot": EntryKind.NOTED, "sow": EntryKind.SOWN, "water": EntryKind.WATERED,
        "move": EntryKind.PULLED, "count": EntryKind.COUNTED, "pack": EntryKind.DELIVERED,
    }  # fmt: skip
    later = day_page(desk, date(2027, 3, 10))
    assert line(later, "to tone").tick.kind == EntryKind.MOVED
    assert line(later, "to tone").tick.fields["place"] == "yard"


def test_the_card_in_short_has_what_counts_in_bold(desk: Desk):
    sow = line(day_page(desk), "Sow celery")
    said = ["".join(f"*{part.words}*" if part.bold else part.words for part in each)
            for each in sow.how]  # fmt: skip
    assert said == [
        "Fill, *firm lightly*, wet in, drain",
        "*No hole*: on the surface",
        "*1 seed, pelleted*, a cell; do not bury",
        "*Leave open*, press on",
        "Finest mist, then *into the chamber, 20 °C*",
    ]
    assert sow.card == celery_card()
    assert [(each.name, each.text) for each in sow.pictures] == [
        ("hands", ""), ("tray", "4"), ("seed", "1"), ("open", ""), ("chamber", ""),
    ]  # fmt: skip
    assert sow.cautions == ("Dry mix makes dust",)


def test_what_is_late_says_by_how_much_and_whether_it_presses(desk: Desk):
    page = day_page(desk)
    (leek,) = page.late
    # Planned for 6 March, and could wait two days: until the 8th.
    assert (leek.title, leek.late_d, leek.presses) == ("Count leek, 1 tray of 512", 3, True)
    assert day_page(desk, date(2027, 3, 10)).late == ()


def test_what_the_journal_shows_as_done_is_not_late(desk: Desk):
    write(desk, entry("count", date(2027, 3, 7), EntryKind.COUNTED, LEEK, n=400))
    assert day_page(desk).late == ()


def test_jobs_of_a_sowing_that_has_ended_are_not_late(desk: Desk):
    write(desk, entry("dump", date(2027, 3, 7), EntryKind.DUMPED, LEEK, reason="rot"))
    assert day_page(desk).late == ()


def test_yesterdays_water_is_not_made_up_for(desk: Desk):
    plan_again(desk, (Task(date(2027, 3, 7), "water", "", "yard", 5.0),))
    assert day_page(desk).late == ()


def test_a_done_job_says_when_and_who_and_an_undo_opens_it_again(desk: Desk):
    key = line(day_page(desk), "Water").key
    write(desk, entry("wet", TODAY, EntryKind.WATERED, "", place="south bench", job=key))
    page = day_page(desk)
    done = line(page, "Water").done
    assert done is not None
    assert (done.when, done.person) == ("8:00", "Ana")
    assert page.heading == "6 of 7 jobs left, about 2 h 12"
    undo = entry("undo", TODAY, EntryKind.CORRECTED, "", corrects=done.entry)
    write(desk, undo)
    assert line(day_page(desk), "Water").done is None


def test_each_order_of_a_packing_is_ticked_by_itself_and_the_last_ends_the_sowing(desk: Desk):
    page = day_page(desk)
    first, second = line(page, "Pack 90"), line(page, "Pack 30")
    assert first.key.endswith("/L1")
    assert second.key.endswith("/L2")
    assert ["".join(part.words for part in each) for each in first.how] == [
        "For Long Acre, order L1", "Goes out Wed 10 March",
    ]  # fmt: skip
    assert "values.last" not in {**first.tick.fields, **second.tick.fields}
    given = entry("give", TODAY, EntryKind.DELIVERED, LETTUCE, n=30, order="L2", job=second.key)
    write(desk, given)
    page = day_page(desk)
    assert line(page, "Pack 30").done is not None
    assert line(page, "Pack 90").done is None
    assert line(page, "Pack 90").tick.fields["values.last"] == "1"


def test_watering_of_a_place_is_one_line(desk: Desk):
    plan_again(
        desk,
        (Task(TODAY, "water", "", "yard", 5.0), Task(TODAY, "water", "", "yard", 2.0)),
    )
    page = day_page(desk)
    assert [job.minutes for stay in page.stays for job in stay.jobs] == [7.0]


def test_a_day_off_says_why(desk: Desk):
    assert day_page(desk, date(2027, 3, 13)).heading == "Nothing to do: no work day"
    assert day_page(desk, date(2027, 4, 2)).day_off == "the house is closed"
    assert day_page(desk, date(2027, 3, 12)).heading == "Nothing to do by the plan"


def test_all_done_is_said(desk: Desk):
    plan_again(desk, (Task(TODAY, "water", "", "yard", 5.0),))
    assert day_page(desk).heading == "1 job, about 5 min"
    key = line(day_page(desk), "Water").key
    write(desk, entry("wet", TODAY, EntryKind.WATERED, "", place="yard", job=key))
    assert day_page(desk).heading == "The one job is done"


def test_what_else_was_written_down_can_be_seen(desk: Desk):
    write(desk, entry("lost", TODAY, EntryKind.LOST, KALE, n=9, trays=(2,), reason="mice"))
    (also,) = day_page(desk).also
    assert (also.words, also.sowing, also.when) == ("lost, tray 2: 9, mice", KALE, "8:00")


def test_ticks_of_a_day_to_come_are_written_today_and_of_a_day_gone_on_that_day(desk: Desk):
    assert day_page(desk, date(2027, 3, 12)).entry_date == TODAY
    assert day_page(desk, date(2027, 3, 8)).entry_date == date(2027, 3, 8)


def test_an_empty_book_has_a_page(tmp_path: Path):
    with open_desk(tmp_path / "empty", clock=lambda: NOW) as desk:
        page = day_page(desk)
    assert (page.has_plan, page.n_jobs, page.stays) == (False, 0, ())


def test_the_number_of_queries_does_not_grow_with_the_jobs(desk: Desk):
    with counted_queries(desk) as one_day:
        day_page(desk)
    more = [*small_plan().tasks]
    more += [
        Task(TODAY, "pack", name, "yard", 1.0) for name in (KALE, LEEK, BASIL) for _ in range(9)
    ]
    more += [Task(date(2027, 3, 5), "thin", name, "yard", 1.0) for name in (KALE, LEEK, BASIL)]
    plan_again(desk, tuple(more))
    with counted_queries(desk) as full_day:
        page = day_page(desk)
    assert page.n_jobs > 30
    assert len(one_day) == len(full_day) <= 12


def test_containers_are_named_as_the_trade_does(desk: Desk):
    with desk.book.reading() as unit:
        walk = house_walk(unit)
    assert container_words(walk, "plug-288", 4, 1152) == "4 trays of 288"
    assert container_words(walk, "plug-128", 1, 40) == "1 tray of 128, 40 cells of it"
    assert container_words(walk, "wool-40", 1, 30) == "30 mineral-wool cubes of 40 mm"
    assert container_words(walk, "pot-100", 1, 1) == "1 round pot of 100 mm"
    assert container_words(walk, "mine", 2, 50) == "2 x mine"
    assert [unit_noun(walk, each) for each in ("plug-72", "wool-40", "pot-100", "mine")] == [
        "tray", "sheet", "carrier", "tray",
    ]  # fmt: skip


def test_the_walk_knows_the_house(desk: Desk):
    with desk.book.reading() as unit:
        walk = house_walk(unit)
    assert isinstance(walk, HouseWalk)
    assert list(walk.places.values()) == [PlaceKind.CHAMBER, PlaceKind.BENCH, PlaceKind.YARD]
    assert [walk.turn(each) for each in ("yard", "nowhere")] == [2, 3]
    assert walk.is_chamber("warm chamber")
    assert not walk.is_chamber("yard")
    assert walk.crop_name("pak choi") == "pak choi"
    assert walk.crop_name("my own") == "my own"
    # More cells than the container has: a fair grid of what is there.
    assert walk.grid("plug-72", 100).drawn_as_is is False
    assert walk.grid("plug-72", 60).n_across == 6


def test_cautions_are_short_each_once_and_never_lost():
    fiber = "Mineral fiber itches and irritates skin. Acid goes into water, never the reverse."
    steps = [CardStep("a", caution=fiber), CardStep("b", caution=fiber),
             CardStep("c", caution="Hot steam: stand back; wait. Then go.")]  # fmt: skip
    assert cautions(steps) == (
        "Mineral fiber: gloves, long sleeves, eye protection; wet to cut",
        "Acid into water, never the other way: goggles, gloves, apron",
        "Hot steam: stand back",
    )


def test_cover_and_lamp_are_drawn_where_the_card_has_them():
    card = replace(
        celery_card(),
        steps=(CardStep("Cover with 6 mm of fine vermiculite or mix (cover)."),
               CardStep("On the lamp shelf, the mix at 20 °C, covered until the root shows.")),
    )  # fmt: skip
    assert [each.name for each in card_pictures(card)] == ["cover", "light"]
    assert len(short_card(card)) == 2


def test_keys_of_jobs_are_those_of_the_plan(desk: Desk):
    keys = job_keys(small_plan().tasks)
    page = day_page(desk)
    shown = {job.key for stay in page.stays for job in stay.jobs if job.task != "pack"}
    assert shown <= set(keys)


def test_a_day_without_a_job_leads_to_the_next_that_has_one(desk: Desk):
    with desk.book.reading() as unit:
        plan: Any = unit.plans.current()
        days = sorted({each.date for each in unit.plans.body(plan.id).tasks})
    long_before = date(2020, 1, 1)
    found = day_page(desk, long_before).next_day
    assert found in days
    assert all(
        {each.task for each in day_page_jobs(desk, day)} <= {"water", "change lot"}
        for day in days
        if day < found
    )
    assert day_page(desk, TODAY).next_day is None
    assert day_page(desk, date(2030, 1, 1)).next_day is None


def day_page_jobs(desk: Desk, day: date) -> list[Task]:
    """Return the jobs of the plan on a day."""
    with desk.book.reading() as unit:
        plan: Any = unit.plans.current()
        return [each for each in unit.plans.body(plan.id).tasks if each.date == day]
