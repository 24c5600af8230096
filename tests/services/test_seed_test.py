"""A germination test by replicates: judged by the published table, taken or only written down."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from sowbench.bootstrap import open_desk
from sowbench.domain.journal import EntryKind
from sowbench.domain.records import SeedLot
from sowbench.reference.seed_rules import replicate_ranges, tolerances_between_tests
from sowbench.services.desk import TODAY_SETTING, Desk
from sowbench.services.seed_test import germination_form, keep_germination

TODAY = date(2027, 3, 9)
NOW = datetime(2027, 3, 9, 8, tzinfo=UTC)
LOT = SeedLot("K26", "kale", "Winterlong", 400, 362, 9000, tested_on=date(2026, 11, 2))


@pytest.fixture
def desk(tmp_path):
    with open_desk(tmp_path / "book", clock=lambda: NOW) as opened:
        with opened.book.writing() as unit:
            unit.settings.put(TODAY_SETTING, TODAY.isoformat())
            unit.lots.put([LOT], NOW, "", "")
            unit.commit()
        yield opened


def replicates(*normal: int, day: str = "2027-03-08") -> dict[str, str]:
    return {"tested_on": day} | {f"normal_{at}": str(n) for at, n in enumerate(normal, start=1)}


def judge(desk: Desk, layout: str, values: dict[str, str]) -> Any:
    return germination_form(desk, "K26", layout, values).judged


def lot_now(desk: Desk) -> SeedLot:
    with desk.book.reading() as unit:
        found = unit.lots.get("K26")
    assert found is not None
    return found


def test_the_tables_are_those_printed():
    # Code of Federal Regulations (USA), title 7, sections 201.55 and 201.63.
    assert {n: replicate_ranges(4)[n] for n in (99, 90, 80)} == {99: 5, 90: 12, 80: 16}
    assert {n: replicate_ranges(2)[n] for n in (95, 90, 80)} == {95: 7, 90: 9, 80: 13}
    assert (80.0, 89.999, 7.0) in tolerances_between_tests()


# Worked cases of tests/published/test_seed_testing_rules.py: mean, range, allowed range.
@pytest.mark.parametrize(
    ("normal", "mean", "spread", "allowed", "accepted"),
    [
        ((95, 91, 88, 84), 90, 11, 12, True),
        ((97, 90, 88, 83), 90, 14, 12, False),
        ((80, 75, 70, 63), 72, 17, 18, True),
        ((80, 75, 70, 61), 72, 19, 18, False),
    ],
)
def test_four_replicates_of_a_hundred_are_judged(desk, normal, mean, spread, allowed, accepted):
    judged = judge(desk, "4 x 100", replicates(*normal))
    assert (judged.mean_percent, judged.range_points, judged.allowed_points) == (
        mean, spread, allowed,
    )  # fmt: skip
    assert judged.accepted is accepted
    assert "201.55" in judged.rule
    assert ("test again" in judged.do) is not accepted


def test_replicates_of_fifty_are_joined_two_by_two(desk):
    # 48 + 46 and 40 + 44 of 100: means 94 and 84, mean 89, range 10, allowed 10.
    judged = judge(desk, "4 x 50", replicates(48, 46, 40, 44))
    assert (judged.n_tested, judged.n_normal, judged.mean_percent) == (200, 178, 89)
    assert (judged.range_points, judged.allowed_points, judged.accepted) == (10, 10, True)
    assert "common practice" in judged.rule
    judged = judge(desk, "4 x 50", replicates(48, 46, 40, 43))
    assert judged.accepted is False


def test_a_hundred_seeds_are_not_judged_and_say_so(desk):
    judged = judge(desk, "4 x 25", replicates(25, 25, 10, 25))
    assert judged.accepted is None
    assert "No range is published for 100 seeds" in judged.rule


def test_all_alike_and_none_alive_are_judged_too(desk):
    for n in (0, 100):
        judged = judge(desk, "4 x 100", replicates(n, n, n, n))
        assert judged.accepted is True, n


def test_a_test_that_stands_becomes_the_lots_test_once(desk):
    for _ in range(2):
        values = replicates(95, 91, 88, 84)
        form = keep_germination(desk, "K26", "4 x 100", values, "a" * 32, "Ilo")
        assert form.judged is not None
        assert form.judged.accepted
    lot = lot_now(desk)
    assert (lot.n_tested, lot.n_normal, lot.tested_on) == (400, 358, date(2027, 3, 8))
    assert lot.n_seeds == LOT.n_seeds
    with desk.book.reading() as unit:
        (kept,) = unit.journal.of_lot("K26", 9)
        assert len(unit.lots.history("K26")) == 2
    assert kept.entry.kind is EntryKind.READ
    assert (kept.entry.n, kept.entry.n_of, kept.entry.day_date) == (358, 400, date(2027, 3, 8))
    assert kept.entry.values["normal"] == "95 91 88 84"
    assert kept.entry.values["dead"] == "5 9 12 16"
    assert kept.entry.values["allowed_points"] == 12


def test_replicates_that_differ_too_much_are_written_down_and_the_lot_keeps_its_test(desk):
    keep_germination(desk, "K26", "4 x 100", replicates(97, 90, 88, 83), "b" * 32, take=True)
    assert lot_now(desk) == LOT
    with desk.book.reading() as unit:
        (kept,) = unit.journal.of_lot("K26", 9)
    assert kept.entry.values["taken"] == "no"


@pytest.mark.parametrize(
    ("changed", "field", "said"),
    [
        ({"normal_2": ""}, "normal_2", "Fill in"),
        ({"normal_2": "101"}, "normal_2", "from 0 to 100"),
        ({"normal_2": "-1"}, "normal_2", "from 0 to 100"),
        ({"normal_2": "9e1"}, "normal_2", "whole number"),
        ({"normal_2": "90", "abnormal_2": "8", "dead_2": "1"}, "normal_2", "adds up to 99"),
        ({"normal_2": "90", "abnormal_2": "11"}, "normal_2", "100 seeds were laid out"),
        ({"tested_on": "2027-03-10"}, "tested_on", "after today"),
        ({"tested_on": "8 March"}, "tested_on", "year-month-day"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field_and_not_kept(desk, changed, field, said):
    values = replicates(95, 91, 88, 84) | changed
    form = keep_germination(desk, "K26", "4 x 100", values, "c" * 32)
    assert form.judged is None
    assert said in " ".join(form.problems[field])
    with desk.book.reading() as unit:
        assert unit.journal.of_lot("K26", 9) == []


def test_it_is_compared_with_the_test_that_the_lot_has(desk):
    # 362 of 400 is 90.5 %. Their mean of 90.5 and 85 is 87.75, where 7 points are allowed.
    near = judge(desk, "4 x 100", replicates(85, 86, 84, 85))
    assert "within the tolerance" in near.other
    far = judge(desk, "4 x 100", replicates(80, 82, 78, 80))
    assert "more than the tolerance" in far.other
    assert "age" in far.other
