"""Numbers, days and money as pages write them."""

from datetime import UTC, date, datetime

import pytest

from sowbench.web import formats


@pytest.mark.parametrize(
    ("written", "text"),
    [
        (formats.number(1240), "1,240"),
        (formats.number(3.14159, 2), "3.14"),
        (formats.percent(0.91), "91 %"),
        (formats.percent(0.999), "over 99 %"),
        (formats.minutes(45), "45 min"),
        (formats.minutes(190), "3 h 10"),
        (formats.minutes(120), "2 h"),
        (formats.day(date(2027, 3, 9)), "Tue 9 March"),
        (formats.long_day(date(2027, 3, 9)), "Tuesday 9 March"),
        (formats.short_day(date(2027, 3, 9)), "9 Mar"),
        (formats.span(date(2027, 4, 14), date(2027, 4, 24)), "14 to 24 April"),
        (formats.moment(datetime(2027, 3, 9, 13, 5, tzinfo=UTC), "Etc/GMT+5"), "9 Mar, 8:05"),
        (formats.money(4812.3, "crowns"), "4,812 crowns"),
        (formats.amount(3.5), "3.5"),
        (formats.lower_start("A windowsill"), "a windowsill"),
    ],
)
def test_values_are_written_as_one_says_them(written, text):
    assert written == text


@pytest.mark.parametrize(
    "write",
    [
        formats.number, formats.percent, formats.minutes, formats.day, formats.long_day,
        formats.short_day, formats.span, formats.moment, formats.money, formats.amount,
    ],
)  # fmt: skip
def test_what_is_not_known_is_a_dash(write):
    assert write(None) == "—"


def test_a_chance_just_as_wanted_is_good_whatever_binary_fractions_say():
    assert formats.chance_level(0.1 + 0.2, None, 0.3) == "good"
    assert formats.chance_level(0.949, None, 0.95) == "watch"


def test_a_chance_that_may_yet_do_is_watched():
    assert formats.chance_level(0.80, 0.96, 0.95) == "watch"
    assert formats.chance_level(0.80, 0.90, 0.95) == "act"
    assert formats.chance_level(0.10, None, None) == "good"
