"""Workings of room, hands and free plants: each ends at the very number that its page shows."""

from datetime import timedelta
from typing import Any

import pytest
from bs4 import BeautifulSoup

from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.services.orders_free import free_view
from sowbench.services.season_page import season_view
from sowbench.services.season_words import daily_uses
from sowbench.services.working_pages import working_of

# Minutes and areas are rounded in the plan's tables; the pages show a digit less than this.
SLIP = 0.11


def test_room_left_in_every_week_is_what_the_page_of_free_plants_shows(demo_desk):
    view = free_view(demo_desk)
    n_checked = 0
    for place in view.places:
        for week in place.weeks[::3]:
            if week.left is None:
                continue
            working = working_of(demo_desk, "room-left", place.name, day=week.monday_date)
            assert working.figure == pytest.approx(week.left, abs=SLIP), (place.name, week)
            assert "The plan has the same" in working.agrees, (place.name, week)
            n_checked += 1
    assert n_checked > 20


def test_every_crop_free_to_sell_is_what_its_sowings_give_less_their_orders(demo_desk):
    view = free_view(demo_desk)
    n_checked = 0
    for week in view.weeks:
        for each in week.crops:
            of = f"{each.crop}|{each.variety}"
            working = working_of(demo_desk, "free", of, day=week.monday_date)
            assert working.figure == each.plants
            assert "The plan has the same" in working.agrees
            assert f"{each.plants_low:,} to {each.plants_high:,}" == working.lines[-1].result
            n_checked += 1
    assert n_checked > 3


def test_later_weeks_show_the_same_plants_as_the_first_page_does(demo_desk):
    first = free_view(demo_desk)
    later = free_view(demo_desk, first.mondays[4])
    by_monday = {each.monday_date: each for each in first.weeks}
    shared = [each for each in later.weeks if each.monday_date in by_monday]
    assert shared
    assert all(each == by_monday[each.monday_date] for each in shared)


def test_each_row_of_the_season_opens_the_fullest_of_its_days(demo_desk):
    view: Any = season_view(demo_desk)
    for row in view.rows:
        working = working_of(
            demo_desk, "days", row.name, day=view.window.from_date, until=view.window.until_date
        )
        assert "The plan has the same" in working.agrees, row.name
        if row.words.startswith("at most") and "%" in row.words:
            share = row.words.removeprefix("at most ").partition(",")[0]
            assert share in working.result, row.name


def test_what_presses_adds_up_the_prices_of_its_full_days_and_names_who_pays(demo_desk):
    flags = [each for each in season_view(demo_desk).flags if each.saved]
    assert flags
    with demo_desk.book.reading() as unit:
        plan = unit.plans.body(unit.plans.current().id)
        today = demo_desk.today()
        use = {each.name: each for each in daily_uses(unit, unit.plans.current().id)}
    for flag in flags:
        daily = use["hands" if flag.is_hands else flag.place]
        assert daily.capacity is not None
        full = {
            day
            for at, (taken, holds) in enumerate(zip(daily.use, daily.capacity, strict=True))
            if taken >= 0.98 * holds and (day := daily.first_date + timedelta(days=at)) >= today
        }
        by_hand = sum(
            each.price
            for each in plan.prices
            if each.kind == "place" and each.name == flag.place and each.date in full
        )
        working = working_of(demo_desk, "press", flag.place)
        if not flag.is_hands:
            assert working.figure == pytest.approx(by_hand)
        assert flag.saved in working.result
        assert "The plan has the same" in working.agrees
        assert any("Who competes there" in each.words for each in working.lines)


def test_a_place_that_is_never_full_presses_not(demo_desk):
    assert working_of(demo_desk, "press", "yard").figure == 0.0


def test_days_of_no_plan_and_places_of_no_house_are_refused(demo_desk):
    with pytest.raises(UnknownNameError):
        working_of(demo_desk, "days", "no such bench")
    with demo_desk.book.reading() as unit:
        before = unit.plans.current().from_date - timedelta(days=30)
    with pytest.raises(OutOfRangeError, match="days"):
        working_of(demo_desk, "days", "warm bench", day=before)
    with pytest.raises(UnknownNameError, match="ready in this week"):
        working_of(demo_desk, "free", "lettuce|none such")


def test_numbers_of_free_and_season_pages_open_their_workings(demo_client):
    for address in ("/orders/free", "/season", "/season/place?of=warm%20bench"):
        soup = BeautifulSoup(demo_client.get(address).text, "html.parser")
        urls = [str(each["data-working"]) for each in soup.select("main [data-working]")]
        assert urls, address
        for url in urls[:6]:
            assert demo_client.get(url).status_code == 200, url
