from datetime import date

import pytest

from sowbench.exchange.season_use import (
    DailyUse,
    Spell,
    by_week,
    day_states,
    full_spells,
    fullest_day,
    headline,
)

FIRST = date(2027, 3, 1)  # a Monday


def bench(use, capacity=10.0, name="North bench"):
    return DailyUse(name, "m2", FIRST, use, None if capacity is None else [capacity] * len(use))


def hands(use):
    capacity = [480.0 if at % 7 < 5 else 30.0 for at in range(len(use))]
    return DailyUse("Hands", "min", FIRST, use, capacity, hands=True)


def test_days_are_in_room_full_or_over():
    assert day_states(bench([0, 5, 9.7, 9.8, 10, 10.005, 10.1])) == [
        "room",
        "room",
        "room",
        "full",
        "full",
        "full",
        "over",
    ]


def test_place_that_holds_nothing_is_not_full_while_empty():
    assert day_states(bench([0, 1], capacity=0)) == ["room", "over"]


def test_place_without_limit_is_never_full():
    assert day_states(bench([5, 900], capacity=None)) == ["room", "room"]


def test_use_and_limit_of_other_length_are_refused():
    with pytest.raises(ValueError, match="got 2 and 1"):
        day_states(DailyUse("A", "m2", FIRST, [1, 2], [3]))


def test_spells_are_days_on_end():
    assert full_spells(bench([10, 10, 5, 10])) == [
        Spell(date(2027, 3, 1), date(2027, 3, 3)),
        Spell(date(2027, 3, 4), date(2027, 3, 5)),
    ]


def test_weekend_does_not_end_a_spell_of_the_hands():
    use = [0, 0, 0, 480, 480, 30, 0, 480, 480, 0]
    assert full_spells(hands(use)) == [Spell(date(2027, 3, 4), date(2027, 3, 10))]


def test_heading_names_the_longest_spell_and_the_others():
    head, more = headline(
        [
            bench([10, 10, 10, 0], name="North bench"),
            bench([10, 0, 0, 0], name="Yard"),
            hands([480, 480, 0, 0]),
        ]
    )
    assert head == "North bench is full from 1 March to 3 March."
    assert more == "Also without room: Yard on 1 day, hands on 2 days."


def test_heading_begins_with_a_capital_and_leaves_the_rest_of_the_name():
    assert headline([bench([10], name="shed B")])[0] == "Shed B is full on 1 March."


def test_days_off_are_not_the_fullest_of_the_hands():
    assert fullest_day(hands([240, 0, 0, 0, 0, 30, 30])) == (0.5, 0)
    assert fullest_day(bench([0, 5, 2])) == (0.5, 1)
    assert fullest_day(bench([0, 0])) == (0.0, None)
    assert fullest_day(bench([3], capacity=None)) == (0.0, None)


def test_heading_of_busy_hands_speaks_of_them():
    assert headline([hands([480, 0])])[0] == "All hands are busy on 1 March."


def test_heading_says_where_it_is_closest_when_all_fits():
    head, more = headline([bench([1, 8, 2]), bench([1, 2, 3], name="Yard")])
    assert head == "Everything fits; the fullest is North bench, 80 % on 2 March."
    assert more == ""
    assert headline([bench([1], capacity=None)]) == ("Everything fits.", "")


def test_heading_puts_what_is_over_first():
    head, _ = headline([bench([10, 10]), hands([500, 0, 600]), bench([11, 0], name="Yard")])
    assert head == (
        "More is asked than there is: the hands on 1 March and on 1 other day, Yard on 1 March."
    )


def test_weeks_of_a_place_show_its_fullest_day_and_those_of_hands_all_minutes():
    # 1 March 2027 is a Monday; ten days from the 4th make three weeks.
    use = [1, 5, 2, 0, 9, 10, 3, 0, 0, 0, 0, 4]
    daily = DailyUse("Bench", "m2", date(2027, 3, 4), use, [10.0] * 12)
    weekly = by_week(daily)
    assert (weekly.first_date, weekly.step_d) == (date(2027, 3, 1), 7)
    assert list(weekly.use) == [5, 10, 4]
    assert day_states(weekly) == ["room", "full", "room"]
    minutes = DailyUse("hands", "min", date(2027, 3, 4), use, [10.0] * 12, hands=True)
    assert list(by_week(minutes).use) == [8, 22, 4]
    assert by_week(minutes).capacity == [40, 70, 10]


def test_the_fullest_day_of_a_week_is_the_one_with_least_room():
    daily = DailyUse("Bench", "m2", date(2027, 3, 1), [5, 4], [10.0, 4.0])
    assert (by_week(daily).use, by_week(daily).capacity) == ([4], [4.0])
    assert day_states(by_week(daily)) == ["full"]


def test_weeks_of_nothing_are_none():
    assert list(by_week(DailyUse("Bench", "m2", date(2027, 3, 1), [], None)).use) == []
