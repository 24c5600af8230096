"""What presses in the season is told as something to do; windows and typical years beside it."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from tests.store.derived import plan_of, sowing_of

from sowbench.domain.plan import Offer, Price, Step, Task, Unmet
from sowbench.domain.records import House, Order, Place, PlaceKind, StepKind
from sowbench.exchange.season_use import DailyUse
from sowbench.reference.catalog import load_catalog
from sowbench.services.place_climates import years_of_places
from sowbench.services.season_flags import season_flags
from sowbench.services.season_window import window

DAY = date(2027, 3, 1)
CATALOG = load_catalog()
WARM = Place("warm bench", PlaceKind.BENCH, area_m2=10.0, usable_frac=1.0, temp_c=20.0)
COOL = Place("cool bench", PlaceKind.BENCH, area_m2=10.0, usable_frac=1.0, temp_c=12.0)
COLD = Place("frosty bench", PlaceKind.BENCH, area_m2=90.0, usable_frac=1.0, temp_c=-5.0)
CHAMBER = Place("chamber", PlaceKind.CHAMBER, n_positions=90, temp_c=25.0)
HOUSE = House("Hill", places=(WARM, COOL, COLD, CHAMBER))


def use(name: str, values: list[float], room: float = 10.0, **more: Any) -> DailyUse:
    return replace(DailyUse(name, "m²", DAY, values, [room] * len(values)), **more)


def lettuce(name: str, first: date, last: date, n: int = 10) -> Any:
    step = Step(StepKind.GROW, "plug-128", n, 128 * n, 0.0, "warm bench", first, last)
    return replace(sowing_of(name), sow_date=first, steps=(step,))


def flags(plan, uses, today=DAY, served=None):
    return season_flags(plan, uses, HOUSE, CATALOG, None, today, served or {})


def test_a_full_place_says_when_what_it_would_save_and_where_else_there_is_room():
    plan = plan_of(
        sowings=(lettuce("big", date(2027, 3, 3), date(2027, 3, 6)),
                 lettuce("small", date(2027, 3, 4), date(2027, 3, 5), 1),
                 lettuce("stands", date(2027, 2, 1), date(2027, 3, 9))),
        prices=(Price("place", "warm bench", date(2027, 3, 3), 1.5),
                Price("place", "warm bench", date(2027, 3, 20), 9.0)),
    )  # fmt: skip
    uses = [use("warm bench", [1, 1, 10, 10, 10, 1, 1, 1, 1]), use("cool bench", [2.0] * 9)]
    (flag,) = flags(plan, uses)
    assert flag.said == "Warm bench is full from 3 March to 5 March."
    assert flag.level == "watch"
    assert flag.saves == "Room for one m² more on these days would save about"
    assert flag.saved == "1.50"
    # What stands already is not offered; the coming ones go to the cool bench, not to the frost.
    assert [(each.sowing, each.other_place) for each in flag.pressing] == [
        ("big", "cool bench"), ("small", "cool bench"),
    ]  # fmt: skip


def test_no_place_is_offered_that_has_no_room_on_a_day_of_the_stay():
    plan = plan_of(sowings=(lettuce("big", date(2027, 3, 3), date(2027, 3, 6)),))
    uses = [use("warm bench", [1, 1, 10, 10, 10]), use("cool bench", [0, 0, 0, 0, 9.7])]
    (flag,) = flags(plan, uses)
    assert [each.other_place for each in flag.pressing] == [""]


def test_what_is_over_comes_first_and_what_is_past_not_at_all():
    uses = [
        use("warm bench", [10, 10, 1, 1, 10]),
        use("cool bench", [1, 1, 1, 1, 11]),
        use("frosty bench", [10, 1, 1, 1, 1]),
    ]
    found = flags(plan_of(), uses, today=date(2027, 3, 3))
    assert [(each.level, each.place) for each in found] == [
        ("act", "cool bench"), ("watch", "warm bench"),
    ]  # fmt: skip
    assert found[1].said == "Warm bench is full on 5 March."


def test_busy_hands_say_with_what_and_what_can_wait():
    tasks = (
        Task(DAY, "sow", "a", "bench", 60.0), Task(DAY, "pack", "a", "bench", 30.0, 2),
        Task(date(2027, 3, 3), "sow", "a", "bench", 999.0),
    )  # fmt: skip
    hands = use("hands", [90, 0, 10, 0], 90.0, unit="min", hands=True)
    (flag,) = flags(plan_of(tasks=tasks), [hands])
    assert flag.said == "All hands are busy on 1 March."
    assert flag.more == (
        "Sow takes 67 % and pack takes 33 % of these days. Of the work, 30 min can wait a day"
        " or more."
    )


def test_busy_hands_say_what_an_hour_more_on_each_of_these_days_would_save():
    prices = (
        Price("crew", "crew", DAY, 0.25), Price("crew", "crew", date(2027, 3, 3), 9.0),
        Price("place", "hands", DAY, 7.0),
    )  # fmt: skip
    hands = use("hands", [90, 0, 10, 0], 90.0, unit="min", hands=True)
    (flag,) = flags(plan_of(prices=prices), [hands])
    assert flag.saves == "One hour more on each of these days would save about"
    assert flag.saved == "15.00"


def test_orders_without_room_come_with_the_offers_that_still_serve():
    order = Order("O-1", "lettuce", 100, date(2027, 4, 1), date(2027, 4, 1), date(2027, 4, 3))
    past = replace(order, id="O-0", latest_date=date(2027, 2, 1))
    offers = (Offer("later", plants=60, wanted_on=date(2027, 2, 20)),
              Offer("later", plants=60, wanted_on=date(2027, 4, 9)))  # fmt: skip
    plan = plan_of(
        unmet=(Unmet("O-0", 5, "room"), Unmet("O-1", 60, "room", offers), Unmet("O-2", 9, "room"))
    )
    found = flags(plan, [use("warm bench", [1.0])], served={"O-0": past, "O-1": order})
    assert [each.said for each in found] == ["60 of 100 plants of order O-1 are not planned."]
    assert found[0].offers == ("Give 60 plants on Fri 9 April.",)


@pytest.mark.parametrize(
    ("asked", "weeks", "first", "last"),
    [
        (date(2027, 3, 10), 4, date(2027, 3, 8), date(2027, 4, 4)),
        (date(2020, 1, 1), 4, date(2027, 3, 1), date(2027, 3, 28)),
        (date(2099, 1, 1), 8, date(2027, 6, 28), date(2027, 8, 22)),
        (None, None, date(2027, 3, 1), date(2027, 6, 30)),
        (date(2027, 3, 1), 10**9, date(2027, 3, 1), date(2028, 4, 23)),
    ],
)
def test_windows_begin_on_mondays_and_stay_near_the_plan(asked, weeks, first, last):
    shown = window(date(2027, 3, 3), date(2027, 6, 30), asked, weeks)
    assert (shown.from_date, shown.last_date) == (first, last)
    assert shown.from_date.weekday() == 0


def test_windows_one_after_the_other_show_every_day_once():
    first, last = date(2027, 3, 3), date(2027, 6, 30)
    shown = window(first, last, first, 4)
    days = 0
    while True:
        days += shown.n_days
        if shown.later is None:
            break
        after = window(first, last, shown.later, 4)
        assert after.from_date == shown.until_date
        assert after.earlier == shown.from_date
        shown = after
    assert days >= (last - first).days
    assert window(first, last).later is None


def test_a_typical_year_is_the_same_in_any_year_and_kept():
    years = years_of_places(HOUSE, None)
    assert years_of_places(HOUSE, None) is years
    assert set(years) == {each.name for each in HOUSE.places}
    warm = years["warm bench"]
    assert warm.mean_c.shape == (365,)
    assert (warm.low_c <= warm.mean_c).all()
    assert (warm.mean_c <= warm.high_c).all()
    assert (warm.mean_low_c <= warm.mean_high_c).all()
    leap = date(2028, 2, 29)
    assert warm.coldest_between(leap, leap + timedelta(days=1)) <= 20.0
