"""The invented season as it was lived up to a day."""

from collections import Counter
from datetime import UTC, date

from sowbench.demo.played import played_entries
from sowbench.domain.journal import EntryKind, standing_entries
from sowbench.domain.plan import (
    HandOver,
    OrderPlan,
    Plan,
    Sowing,
    SowingShare,
    Span,
    Spread,
    Step,
    Task,
)
from sowbench.domain.records import PlaceKind, StepKind

SOWN = date(2027, 3, 2)
TODAY = date(2027, 3, 30)
GERMINATE = Step(StepKind.GERMINATE, "plug-72", 2, 100, 400.0, "warm room", SOWN, date(2027, 3, 5))
GROW = Step(StepKind.GROW, "plug-72", 2, 100, 400.0, "bench", date(2027, 3, 5), date(2027, 3, 29))
SOWING = Sowing(
    "kale 03-02 a", (SowingShare("N1", 80),), "kale", "", "S1", 1, (1, 1), 100, 100, SOWN,
    (GERMINATE, GROW), Span(date(2027, 3, 24), date(2027, 3, 26), date(2027, 3, 29)),
    Span(date(2027, 4, 4), date(2027, 4, 9)), Spread(80, 88, 95),
)  # fmt: skip
TASKS = (
    Task(SOWN, "sow", "kale 03-02 a", "warm room", 20.0),
    Task(date(2027, 3, 5), "move", "kale 03-02 a", "bench", 2.0),
    Task(date(2027, 3, 9), "count", "kale 03-02 a", "bench", 5.0),
    Task(date(2027, 3, 9), "water", "", "bench", 1.0),
    Task(date(2027, 3, 26), "pack", "kale 03-02 a", "bench", 10.0),
    Task(date(2027, 4, 2), "water", "", "bench", 1.0),
)
ORDER = OrderPlan(
    "N1", 80, 80, 0.95, 0.8, 0.78, 0.4, (), (HandOver(date(2027, 3, 26), "kale 03-02 a", 80),)
)
PLAN = Plan(
    SOWN, date(2027, 4, 10), 1.0, {}, 1.0, 0.0, 0.0, 1.0, 0, (), (ORDER,), (SOWING,), (), TASKS,
    (), (),
)  # fmt: skip


def play(today=TODAY):
    kinds = {"warm room": PlaceKind.CHAMBER, "bench": PlaceKind.BENCH}
    return played_entries(PLAN, today, kinds, {"plug-72": 72}, UTC)


def test_every_job_before_the_day_is_ticked_off_by_its_own_kind():
    entries = play()
    ticked = {each.job: each.kind for each in entries if each.job}
    assert ticked["2027-03-02/sow/kale 03-02 a/warm room"] is EntryKind.SOWN
    assert ticked["2027-03-05/move/kale 03-02 a/bench"] is EntryKind.PULLED
    assert ticked["2027-03-26/pack/kale 03-02 a/bench"] is EntryKind.DELIVERED
    assert not any(each.startswith("2027-04") for each in ticked)


def test_a_map_has_a_mark_for_each_cell_and_agrees_with_its_number():
    counts = [each for each in play() if each.kind is EntryKind.COUNTED]
    assert {len(each.cells) for each in counts} == {72, 28}
    assert all(each.n == each.cells.count("1") + each.cells.count("+") for each in counts)


def test_ids_are_unique_and_the_same_seed_invents_the_same():
    first, second = play(), play()
    assert first == second
    assert max(Counter(each.id for each in first).values()) == 1


def test_a_correction_takes_the_place_of_the_count_it_names():
    entries = play()
    (correction,) = [each for each in entries if each.corrects]
    assert correction.corrects not in {each.id for each in standing_entries(entries)}


def test_no_more_is_delivered_than_is_there():
    (delivered,) = [each for each in play() if each.kind is EntryKind.DELIVERED]
    assert 0 < (delivered.n or 0) <= 80
    assert delivered.values == {"last": 1.0}
