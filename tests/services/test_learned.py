"""What finished sowings say, kept in the book and laid over the handbook."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from math import exp, log
from pathlib import Path

import pytest
from tests.learned_book import (
    GROWTH,
    LAG,
    NOW,
    ended_entries,
    ended_sowing,
    entry,
    filled,
)
from tests.services.test_planning import a_plan

from sowbench.bootstrap import open_desk
from sowbench.domain.book import NewPlan
from sowbench.domain.jobs import job_keys
from sowbench.domain.journal import EntryKind
from sowbench.domain.plan import Task
from sowbench.forecasting.learning_records import PACE_EMERGENCE, PACE_READY, STAND, minutes_of
from sowbench.reference.catalog import load_catalog
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.services.book_inputs import house_of, loaded_of
from sowbench.services.desk import Desk
from sowbench.services.learned import (
    drop_evidence,
    fill_finished,
    finished_of_book,
    freeze_factor,
    learned_house_of,
    learned_now,
    plan_house_of,
    undo_choice,
    values_now,
)
from sowbench.services.learned_values import LearnedValues

SOWN = date(2027, 3, 1)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with open_desk(tmp_path / "book") as opened:
        yield opened


def finished_of(desk, entries, crops=("kale",)):
    filled(desk.book, entries, crops)
    with desk.book.reading() as unit:
        return {each.sowing: each for each in finished_of_book(unit)}


@pytest.mark.parametrize("lag", [-0.15, 0.0, 0.25])
def test_counts_of_a_finished_sowing_tell_its_pace(desk, lag):
    found = finished_of(desk, ended_sowing("S", lag=lag))["S"]
    assert found.pace_emergence is not None
    error = found.pace_emergence.variance**0.5
    assert error < 0.05
    assert abs(found.pace_emergence.value - lag) < 3 * error


def test_a_poor_stand_is_told_from_a_slow_one(desk):
    entries = [*ended_sowing("poor", stand=0.55, lag=0.0), *ended_sowing("slow", lag=0.3)]
    found = finished_of(desk, entries)
    assert found["poor"].stand.value < -1.5 < found["slow"].stand.value
    assert abs(found["poor"].pace_emergence.value) < 0.12
    assert found["slow"].pace_emergence.value > 0.2


def test_seen_not_yet_and_then_ready_tells_how_long_it_grew(desk):
    entries = [
        *ended_sowing("quick", growth=-0.2),
        *ended_sowing("slow", growth=0.2),
        *ended_sowing("unseen", growth=None),
    ]
    found = finished_of(desk, entries)
    assert found["unseen"].pace_ready is None
    apart = found["slow"].pace_ready.value - found["quick"].pace_ready.value
    assert apart == pytest.approx(0.4, abs=0.12)


def test_without_counts_nothing_is_said_of_pace_and_stand(desk):
    entries = [each for each in ended_sowing("S") if each.kind is not EntryKind.COUNTED]
    found = finished_of(desk, entries)["S"]
    assert (found.pace_emergence, found.stand) == (None, None)


def test_a_count_when_all_were_up_is_no_reading_of_the_pace(desk):
    whole = ended_sowing("S", lag=0.0)
    late = max(each.day_date for each in whole if each.kind is EntryKind.COUNTED)
    kept = [each for each in whole if each.kind is not EntryKind.COUNTED or each.day_date == late]
    found = finished_of(desk, kept)["S"]
    assert found.pace_emergence is None
    assert found.stand is not None


def test_an_early_count_alone_says_little_of_the_stand(desk):
    whole = ended_sowing("S")
    first = next(each for each in whole if each.kind is EntryKind.COUNTED)
    kept = [each for each in whole if each.kind is not EntryKind.COUNTED or each is first]
    found = finished_of(desk, [*kept, *ended_sowing("T")])
    early, late = found["S"].stand, found["T"].stand
    assert early is None or early.variance > 3 * late.variance


def test_losses_count_only_where_the_house_enters_losses(desk):
    entries = ended_sowing("S")
    assert finished_of(desk, entries)["S"].survived is None
    last = max(each.day_date for each in entries if each.kind is EntryKind.COUNTED)
    lost = entry("S", "lost", last + timedelta(days=1), EntryKind.LOST, n=9, reason="eaten")
    found = finished_of(desk, [lost])["S"]
    assert found.survived is not None
    assert found.survived.n_of - found.survived.n_kept == 9


def test_a_slow_house_is_planned_as_slow_and_says_where_that_is_from(desk):
    filled(desk.book, ended_entries(12))
    with desk.book.reading() as unit:
        before, (_, catalog, _) = house_of(unit)[1], learned_house_of(unit, season=2027)
        loaded = loaded_of(unit, date(2027, 7, 1))
        of = learned_now(unit).applied(PACE_EMERGENCE, "kale", "cabbage", 0.12, season=2027)
        later = learned_house_of(unit, season=2028)[1].crops["kale"].emergence
    kale, was = catalog.crops["kale"], before.crops["kale"]
    ratio = kale.emergence.thermal_time_cd / was.emergence.thermal_time_cd
    assert log(ratio) == pytest.approx(LAG, abs=0.08)
    assert ratio == pytest.approx(of.multiplier)
    assert kale.emergence.sigma_pace < was.emergence.sigma_pace
    # Of the next season less is known: a part was this year's.
    assert was.emergence.thermal_time_cd < later.thermal_time_cd < kale.emergence.thermal_time_cd
    assert later.sigma_pace > kale.emergence.sigma_pace
    fact = kale.facts["emergence.thermal_time_cd"]
    assert (fact.source, fact.basis) == ("this house's records, 12 sowings", "house")
    assert fact.others[0].value == was.emergence.thermal_time_cd
    assert loaded.inputs.catalog.crops["kale"] == kale
    assert LearnedValues.from_json(loaded.learned).pace["kale"].n_crop == 12
    rule = catalog.rule_for("kale", "plug-128", "any")
    usual = before.rule_for("kale", "plug-128", "any")
    assert rule is not None
    assert usual is not None
    assert rule.days_ref < usual.days_ref
    assert "this house's records" in rule.source
    sibling = catalog.crops["cabbage"].facts["emergence.thermal_time_cd"]
    assert sibling.source == "this house's records, 12 sowings of other crops"


def test_an_empty_book_plans_by_the_handbook(desk):
    filled(desk.book, [])
    with desk.book.reading() as unit:
        assert learned_house_of(unit) == house_of(unit)
        assert loaded_of(unit, date(2027, 7, 1)).learned == ""


def test_finished_sowings_are_kept_and_made_anew_when_an_entry_comes(desk):
    filled(desk.book, ended_entries(3))
    with desk.book.writing() as unit:
        assert fill_finished(unit) == 3
        assert fill_finished(unit) == 0
        unit.commit()
    with desk.book.reading() as unit:
        kept = {name: each.body for name, each in unit.learned.finished().items()}
        first = next(each for each in unit.journal.that_stand(["kale 0"]) if each.n == 256)
        lines = unit.journal.that_stand(["kale 0"])
    count = [each for each in lines if each.kind is EntryKind.COUNTED][-1]
    mended = replace(count, id="f" * 32, n=40, corrects=count.id)
    with desk.book.writing() as unit:
        unit.journal.add([mended], NOW)
        assert fill_finished(unit) == 1
        assert unit.learned.finished()["kale 0"].body != kept["kale 0"]
        undone = replace(first, id="e" * 32, kind=EntryKind.CORRECTED, corrects=first.id)
        unit.journal.add([undone], NOW)
        fill_finished(unit)
        assert "kale 0" not in unit.learned.finished()


def test_choices_are_used_at_once_and_can_be_undone(desk):
    filled(desk.book, [*ended_entries(6), *ended_sowing("odd", lag=0.9)])

    def kale():
        with desk.book.reading() as unit:
            return values_now(unit).pace["kale"].multiplier

    learned = kale()
    drop_evidence(desk, f"{PACE_EMERGENCE}|odd", "Ana", "heater fault")
    dropped = kale()
    assert dropped != learned
    freeze_factor(desk, f"{PACE_EMERGENCE}|crop|kale", 1.5)
    assert kale() == pytest.approx(1.5, rel=0.1)
    undo_choice(desk, f"freeze|{PACE_EMERGENCE}|crop|kale")
    assert kale() == pytest.approx(dropped)
    undo_choice(desk, f"drop|{PACE_EMERGENCE}|odd")
    assert kale() == pytest.approx(learned)
    with pytest.raises(UnknownNameError):
        drop_evidence(desk, f"{PACE_EMERGENCE}|no such")
    with pytest.raises(OutOfRangeError, match="begin with"):
        undo_choice(desk, "anything")


def test_a_plan_stays_as_it_was_made_when_more_is_learned(desk):
    filled(desk.book, ended_entries(4))
    with desk.book.writing() as unit:
        loaded = loaded_of(unit, date(2027, 7, 1))
        plan = unit.plans.add(NewPlan(a_plan(loaded.inputs), (), {}, house_version=1), NOW, "")
        unit.learned.keep_plan(plan, loaded.learned)
        unit.plans.accept(plan, NOW)
        unit.journal.add(ended_entries(14, seed=5)[4 * 10 :], NOW)
        unit.commit()
    with desk.book.reading() as unit:
        head = unit.plans.current()
        as_made = plan_house_of(unit, head)[1].crops["kale"].emergence
        assert as_made == loaded.inputs.catalog.crops["kale"].emergence
        assert learned_house_of(unit, season=2027)[1].crops["kale"].emergence != as_made
    with desk.book.writing() as unit:  # a plan that is patched keeps what its own was made with
        patched = NewPlan(a_plan(loaded.inputs), (), {}, based_on=plan, house_version=1)
        number = unit.plans.add(patched, NOW, "")
        assert unit.learned.of_plan(number) == loaded.learned


def test_minutes_worked_change_the_rates_of_the_next_plan(desk):
    day = date(2027, 3, 1)
    tasks = tuple(Task(day, "sow", f"kale {at}", "warm bench", 30.0) for at in range(6))
    keys = job_keys(tasks)
    filled(desk.book, [])
    with desk.book.writing() as unit:
        inputs = loaded_of(unit, day).inputs
        plan = replace(a_plan(inputs), tasks=tasks)
        unit.plans.accept(unit.plans.add(NewPlan(plan, (), {}), NOW, ""), NOW)
        entries = []
        for at, key in enumerate(keys):
            sown, *rest = ended_sowing(f"kale {at}", sown=day)
            values = {**sown.values, "minutes_worked": 45.0}
            entries += [replace(sown, job=key, values=values), *rest]
        unit.journal.add(entries, NOW)
        unit.commit()
    with desk.book.reading() as unit:
        learned = learned_now(unit)
        house, _, _ = learned_house_of(unit)
        assert learned.applied(minutes_of("sow"), "kale", "cabbage").multiplier > 1.35
        usual = load_catalog().labor["fill_s_per_container"].value
        assert house.minutes["fill_s_per_container"] == pytest.approx(
            usual * values_now(unit).minutes["sow"]
        )
        assert 1.2 < values_now(unit).minutes["sow"] < 1.5


def test_all_three_are_learned_near_what_they_were_drawn_with(desk):
    filled(desk.book, ended_entries(16, ("kale", "cabbage"), seed=2), ("kale", "cabbage"))
    with desk.book.reading() as unit:
        learned = learned_now(unit)
    for crop in ("kale", "cabbage"):
        pace = learned.applied(PACE_EMERGENCE, crop, "cabbage", 0.12)
        assert log(pace.multiplier) == pytest.approx(LAG, abs=0.06)
        ready = learned.applied(PACE_READY, crop, "cabbage", 0.34)
        assert exp(GROWTH - 0.15) < ready.multiplier < exp(GROWTH + 0.1)
        assert 0.5 < learned.applied(STAND, crop, "cabbage").multiplier < 1.3
