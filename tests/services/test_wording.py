"""Days, amounts and chances read as one says them."""

from datetime import date

import pytest

from sowbench.domain.plan import Spread
from sowbench.services import wording


def test_days_and_spans_name_the_month_once():
    first = date(2027, 4, 14)
    assert wording.day(first) == "Wed 14 April"
    assert wording.day(first, year=True) == "Wed 14 April 2027"
    assert wording.short_day(first) == "14 Apr"
    assert wording.span(first, date(2027, 4, 24)) == "14 to 24 April"
    assert wording.span(first, date(2027, 5, 3)) == "14 April to 3 May"
    assert wording.span(first, None) == wording.span(first, first) == "14 April"
    assert wording.between(first, date(2027, 5, 3)) == "between 14 April and 3 May"
    assert wording.between(first, first) == "on 14 April"


@pytest.mark.parametrize(
    ("n", "text"), [(0.2, "1 min"), (25, "25 min"), (60, "1 h"), (125, "2 h 05 min")]
)
def test_minutes_read_as_hours_where_they_are(n, text):
    assert wording.minutes(n) == text


@pytest.mark.parametrize(
    ("share", "digits", "text"),
    [(0.9, 0, "90 %"), (1.0, 0, "100 %"), (0.9999, 0, "over 99 %"), (0.0, 0, "0 %"),
     (0.0001, 1, "under 0.1 %"), (0.0123, 1, "1.2 %")],
)  # fmt: skip
def test_percent_never_rounds_doubt_away(share, digits, text):
    assert wording.percent(share, digits) == text


@pytest.mark.parametrize(
    ("share", "text"),
    [(1.0, "nearly always"), (0.95, "95 times in 100"), (0.71, "about 7 times in 10"),
     (0.1, "about once in 10"), (0.03, "less than once in 10"), (0.0, "hardly ever")],
)  # fmt: skip
def test_chances_read_as_times(share, text):
    assert wording.chance(share) == text


def test_money_has_cents_only_where_they_matter():
    assert wording.money(12.4) == "12.40"
    assert wording.money(4812.3, "crowns") == "4,812 crowns"
    assert wording.money(4812.3, "¤") == "¤ 4,812"
    assert wording.money(-0.001) == "0.00"


def test_counts_and_lists():
    assert wording.count(1, "seed") == "1 seed"
    assert wording.count(1200, "seed") == "1,200 seeds"
    assert wording.listed(["a"]) == "a"
    assert wording.listed(["a", "b", "c"]) == "a, b and c"
    assert wording.amount(12.0) == "12"
    assert wording.amount(3.46) == "3.5"


def test_usable_plants_give_the_range():
    assert wording.usable(Spread(60, 64, 68)) == "most likely 64, 60 to 68 nine times in ten"
    assert wording.usable(Spread(5, 5, 5)) == "5"


def test_assumptions_that_are_alike_are_said_together():
    said = wording.assumed(
        ["label 0.02: default, change in [prices]", "no house file: a windowsill stands in",
         "mix_per_l 0.08: default, change in [prices]", "noted"]
    )  # fmt: skip
    assert said == [
        "label 0.02, mix_per_l 0.08: default, change in [prices]",
        "no house file: a windowsill stands in",
        "noted",
    ]


def test_a_sentence_keeps_its_other_capitals():
    assert wording.sentence_start("lot A-12") == "Lot A-12"
    assert wording.sentence_start("") == ""
