"""The forecast of a book: without counts the plan's own figures, with counts what they say."""

import shutil
from dataclasses import replace

import pytest

from sowbench.bootstrap import open_desk
from sowbench.domain.journal import Entry, EntryKind
from sowbench.science.stand import CULL_FRAC, EMERGENCE_FRAC, SURVIVE_FRAC
from sowbench.services.forecast_inputs import forecast_key, forecast_set
from sowbench.services.forecasts import State, forecast_of, house_forecast


@pytest.fixture(scope="module")
def gathered(demo_book, tmp_path_factory):
    folder = tmp_path_factory.mktemp("forecast") / "demo"
    shutil.copytree(demo_book, folder)
    with open_desk(folder) as desk, desk.book.reading() as unit:
        return forecast_set(unit, desk.today())


@pytest.fixture(scope="module")
def forecast(gathered):
    return forecast_of(gathered)


def test_all_that_is_not_over_is_forecast(gathered):
    over = {name for name, each in gathered.followed.items() if each.life.ended_date is not None}
    assert set(gathered.names) | set(gathered.aside) == {
        each.sowing for each in gathered.plan.sowings if each.sowing not in over
    }
    assert gathered.aside == ()


def test_what_is_not_begun_is_as_the_plan_says(gathered):
    # The plan was made before the house had learned stand and losses; forecasts mind them.
    as_planned = tuple(
        replace(each, emergence_frac=EMERGENCE_FRAC, survive_frac=SURVIVE_FRAC, cull_frac=CULL_FRAC)
        for each in gathered.sowings
    )
    forecast = forecast_of(replace(gathered, sowings=as_planned), moved=False)
    planned = {each.order: each for each in gathered.plan.orders}
    n = 0
    for order in gathered.orders:
        shares = [gathered.sowings[each.sowing] for each in order.need.shares]
        if not shares or any(each.entries or each.standing for each in shares):
            continue
        if gathered.given.get(order.order):
            continue
        found, plan = forecast.orders[order.order], planned[order.order]
        assert found.chance_enough_frac == pytest.approx(plan.chance_enough_frac, abs=0.012)
        assert found.chance_in_time_frac == pytest.approx(plan.chance_in_time_frac, abs=0.006)
        assert found.chance_filled_frac == pytest.approx(plan.chance_filled_frac, abs=0.012)
        n += 1
    assert n > 40
    for each in gathered.sowings:
        if not each.entries and each.standing is None:
            plan = gathered.planned[each.sowing].plants
            assert forecast.sowings[each.sowing].plants.p50 == pytest.approx(plan.p50, rel=0.02)


def test_a_low_count_after_the_stand_is_up_makes_its_order_short(gathered):
    at = next(
        row
        for row, each in enumerate(gathered.sowings)
        if not each.entries and each.standing is None and gathered.planned[each.sowing].orders
    )
    sowing = gathered.sowings[at]
    late = sowing.sow_date.toordinal() + 25
    counted = Entry(
        id="c" * 32, kind=EntryKind.COUNTED, sowing=sowing.sowing,
        day_date=sowing.sow_date.fromordinal(late), n=sowing.n_cells // 8, n_of=sowing.n_cells,
    )  # fmt: skip
    few = replace(
        gathered,
        sowings=(*gathered.sowings[:at], replace(sowing, entries=(counted,)),
                 *gathered.sowings[at + 1 :]),
    )  # fmt: skip
    found = forecast_of(few, moved=False)
    assert found.sowings[sowing.sowing].plants.p95 < 0.4 * sowing.n_cells
    assert found.state(sowing.sowing) is State.ACT


def test_plants_handed_over_are_no_longer_wanted(gathered):
    for order in gathered.orders:
        entered = gathered.order(order.order)
        had = gathered.given.get(order.order, 0)
        assert order.need.wanted <= gathered.season.wanted_cells(entered)
        if had:
            assert order.need.wanted < gathered.season.wanted_cells(entered)


def test_a_forecast_is_kept_until_something_is_entered(demo_desk):
    today = demo_desk.today()
    with demo_desk.book.reading() as unit:
        first = house_forecast(unit, today)
        assert house_forecast(unit, today) is first
        key = forecast_key(unit, today)
        name = next(each.sowing for each in first.gathered.sowings if each.entries)
    entry = Entry(id="d" * 32, kind=EntryKind.COUNTED, sowing=name, day_date=today, n=1, n_of=1)
    with demo_desk.book.writing() as unit:
        unit.journal.add([entry], demo_desk.clock())
        unit.commit()
    with demo_desk.book.reading() as unit:
        assert forecast_key(unit, today) != key
        again = house_forecast(unit, today)
        assert again is not first
        assert name in again.moved
