"""Days and hours of a season against counting by hand."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from tests.planning.tiny_house import MONDAY, on

from sowbench.domain.records import Crew
from sowbench.planning.calendar import make_calendar

# Two weeks from a Monday; the second Wednesday is closed, sowing on Tuesdays and Wednesdays.
CREW = Crew(minutes_per_day=300.0, sow_days=(1, 2), weekend_minutes=20.0, closed=frozenset({on(9)}))
FORTNIGHT = make_calendar(CREW, MONDAY, 14)


def test_work_days_are_those_of_the_week_that_are_not_closed():
    assert np.flatnonzero(FORTNIGHT.is_work).tolist() == [0, 1, 2, 3, 4, 7, 8, 10, 11]
    assert np.flatnonzero(FORTNIGHT.is_sow).tolist() == [1, 2, 8]


def test_next_and_last_work_day_are_the_day_itself_or_the_nearest():
    assert FORTNIGHT.next_work.tolist() == [0, 1, 2, 3, 4, 7, 7, 7, 8, 10, 10, 11, 14, 14]
    assert FORTNIGHT.last_work.tolist() == [0, 1, 2, 3, 4, 4, 4, 7, 8, 8, 10, 11, 11, 11]


def test_before_the_first_work_day_there_is_none():
    weekend = make_calendar(CREW, on(5), 2)
    assert weekend.last_work.tolist() == [-1, -1]
    assert weekend.next_work.tolist() == [2, 2]


def test_people_look_in_three_times_on_work_days_and_once_on_others():
    by_day = [[h - 24 * d for h in FORTNIGHT.visit_hour if h // 24 == d] for d in range(14)]
    assert by_day[4] == [8, 12, 17]
    assert by_day[5] == [8]
    assert by_day[9] == [8]
    assert FORTNIGHT.attended.all()


def test_without_weekend_minutes_nobody_looks_in():
    alone = make_calendar(
        Crew(weekend_minutes=0.0, closed=frozenset({on(9)})), MONDAY, 14
    )  # fmt: skip
    assert np.flatnonzero(~alone.attended).tolist() == [5, 6, 9, 12, 13]


@pytest.mark.parametrize("weekend", [0.0, 20.0])
def test_next_visit_is_the_first_at_or_after_the_hour(weekend):
    calendar = make_calendar(Crew(weekend_minutes=weekend), MONDAY, 14)
    hours = np.array([0.0, 7.99, 8.0, 8.01, 12.0, 16.9, 17.1, 24 * 4 + 17.5, 24 * 13 + 20, np.inf])
    by_hand = []
    for hour in hours:
        later = [v for v in calendar.visit_hour if v >= hour]
        by_hand.append(float(later[0]) if later else np.inf)
    assert calendar.next_visit(hours).tolist() == by_hand


def test_nobody_at_all_is_no_visit():
    calendar = make_calendar(Crew(work_days=(), weekend_minutes=0.0), MONDAY, 7)
    assert calendar.next_visit(np.array([3.0])).tolist() == [np.inf]


def test_minutes_are_those_of_the_weekday_else_of_the_day_else_without_limit():
    assert (
        FORTNIGHT.minutes.tolist()
        == [300.0] * 5 + [20.0] * 2 + [300.0] * 2 + [20.0] + [300.0] * 2 + [20.0] * 2
    )
    week = (10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0)
    own = make_calendar(Crew(minutes_by_weekday=week, minutes_per_day=1.0), MONDAY, 7)
    assert own.minutes[:5].tolist() == [10.0, 20.0, 30.0, 40.0, 50.0]
    assert np.isinf(make_calendar(Crew(), MONDAY, 7).minutes[:5]).all()


def test_days_and_dates_go_back_and_forth():
    assert FORTNIGHT.n_days == 14
    for day in (0, 5, 13):
        assert FORTNIGHT.day(FORTNIGHT.date(day)) == day
    assert FORTNIGHT.date(3) == MONDAY + timedelta(3)
