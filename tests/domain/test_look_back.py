"""A season taken apart: by hand, and that nothing is lost or counted twice."""

from datetime import date, timedelta

import pytest
from hypothesis import given as drawn
from hypothesis import settings
from hypothesis import strategies as st

from sowbench.domain.look_back import (
    PARTS,
    RAISING,
    Given,
    PastOrder,
    PastSowing,
    figures_of,
    grouped,
    season_lines,
    shares_of,
)

DAY = date(2027, 4, 12)
MONEY = {"seed": 10.0, "container": 6.0, "mix": 4.0, "labor": 30.0, "room": 50.0}


def order(name: str, plants: int, crop: str = "kale", customer: str = "Long Acre") -> PastOrder:
    return PastOrder(name, customer, crop, plants, DAY, DAY + timedelta(days=2), plants)


def test_a_shared_sowing_is_charged_to_its_orders_by_plants_given():
    sowing = PastSowing("A", "kale", lot="S1", container="plug-128", n_cells=128, n_seeds=256,
                        n_right=120, n_seen=128, m2_days=4.0, position_days=20.0, minutes=60.0,
                        money=MONEY, meant={"K1": 90, "K2": 30})  # fmt: skip
    lines = season_lines(
        [order("K1", 90), order("K2", 30, customer="Hollow Field")],
        [sowing],
        [Given("A", "K1", DAY, 90), Given("A", "K2", DAY + timedelta(days=4), 30)],
        short_price=0.6,
        late_price=0.05,
    )
    by_customer = {name: figures_of(rows) for name, rows in grouped(lines, "customer").items()}
    long_acre, hollow = by_customer["Long Acre"], by_customer["Hollow Field"]
    # 90 of 120 plants: three quarters of 100 in money, of 256 seeds, of 4 m2 d, of 60 min.
    assert sum(long_acre.money[each] for each in RAISING) == pytest.approx(75.0)
    assert (long_acre.n_seeds, hollow.n_seeds) == (192, 64)
    assert long_acre.m2_days == pytest.approx(3.0)
    assert hollow.minutes == pytest.approx(15.0)
    # 30 plants two days after the latest day: 60 plant days at 0.05.
    assert (hollow.on_time, hollow.late, hollow.late_plant_days) == (0, 30, 60)
    assert hollow.money["late"] == pytest.approx(3.0)
    assert long_acre.cost_per_plant == pytest.approx(75.0 / 90)
    assert hollow.cost_per_plant == pytest.approx((25.0 + 3.0) / 30)
    assert figures_of(lines, [order("K1", 90), order("K2", 30)]).n_full == 1


def test_what_is_missing_falls_on_the_sowing_that_was_to_give_more():
    dumped = PastSowing("A", "kale", lot="S1", n_cells=100, n_lost=100, money=MONEY,
                        meant={"K1": 100})  # fmt: skip
    again = PastSowing("B", "kale", lot="S2", n_cells=100, money=MONEY, meant={"K1": 70})
    lines = season_lines([order("K1", 100)], [dumped, again], [Given("B", "K1", DAY, 70)],
                         short_price=0.6)  # fmt: skip
    by_lot = {name: figures_of(rows) for name, rows in grouped(lines, "lot").items()}
    assert (by_lot["S1"].promised, by_lot["S1"].given, by_lot["S1"].short) == (30, 0, 30)
    assert (by_lot["S2"].promised, by_lot["S2"].given, by_lot["S2"].short) == (70, 70, 0)
    assert by_lot["S1"].money["dumped"] == pytest.approx(100.0)
    assert by_lot["S1"].money["seed"] == 0.0
    assert by_lot["S1"].money["short"] == pytest.approx(18.0)
    assert by_lot["S1"].cost_per_plant is None


def test_a_part_that_was_lost_is_taken_off_the_other_parts():
    sowing = PastSowing("A", "kale", n_cells=100, n_lost=20, money=MONEY)
    (line,) = season_lines([order("K1", 70)], [sowing], [Given("A", "K1", DAY, 70)])
    assert line.money["dumped"] == pytest.approx(20.0)
    assert line.money["room"] == pytest.approx(40.0)
    assert sum(line.money.values()) == pytest.approx(100.0)


def test_a_sowing_that_still_stands_costs_nothing_yet_and_its_plants_count():
    sowing = PastSowing("A", "kale", is_over=False, money=MONEY, n_seeds=100)
    figures = figures_of(season_lines([order("K1", 70)], [sowing], [Given("A", "K1", DAY, 70)]))
    assert (figures.given, figures.raised, figures.n_seeds, figures.total) == (70, 0, 0, 0.0)


def test_plants_before_the_earliest_day_are_neither_on_time_nor_late():
    lines = season_lines([order("K1", 70)], [], [Given("", "K1", DAY - timedelta(days=1), 70)])
    figures = figures_of(lines, [order("K1", 70)])
    assert (figures.on_time, figures.late, figures.early, figures.n_full) == (0, 0, 70, 0)


@drawn(st.integers(0, 500), st.lists(st.integers(0, 40), min_size=1, max_size=8))
def test_shares_add_up(n: int, weights: list[int]):
    shares = shares_of(n, weights)
    assert sum(shares) == n
    assert len(shares) == len(weights)
    assert min(shares) >= 0


NAMES = ("A", "B", "C")
ORDERS = ("K1", "K2", "K3", "")


@st.composite
def seasons(draw):
    orders = [
        order(name, draw(st.integers(1, 200)), draw(st.sampled_from(("kale", "leek"))), name[-1:])
        for name in draw(st.sets(st.sampled_from(ORDERS[:3]), max_size=3))
    ]
    sowings = [
        PastSowing(
            name,
            draw(st.sampled_from(("kale", "leek"))),
            lot=draw(st.sampled_from(("S1", "S2", ""))),
            container=draw(st.sampled_from(("plug-128", "plug-72"))),
            is_over=draw(st.booleans()),
            n_cells=draw(st.integers(0, 300)),
            n_seeds=draw(st.integers(0, 900)),
            n_right=draw(st.integers(0, 300)),
            n_seen=draw(st.integers(0, 300)),
            n_lost=draw(st.integers(0, 400)),
            m2_days=draw(st.floats(0, 50)),
            minutes=draw(st.floats(0, 50)),
            money={part: draw(st.floats(0, 50)) for part in RAISING},
            meant=draw(st.dictionaries(st.sampled_from(ORDERS[:3]), st.integers(0, 90))),
        )
        for name in sorted(draw(st.sets(st.sampled_from(NAMES), max_size=3)))
    ]
    handed = [
        Given(
            draw(st.sampled_from((*NAMES, ""))),
            draw(st.sampled_from(ORDERS)),
            DAY + timedelta(days=draw(st.integers(-2, 6))),
            draw(st.integers(0, 120)),
        )
        for _ in range(draw(st.integers(0, 8)))
    ]
    return orders, sowings, handed


@settings(max_examples=150, deadline=None)
@drawn(seasons(), st.sampled_from(("crop", "container", "customer", "lot")))
def test_every_plant_seed_day_and_coin_is_counted_once(season, by: str):
    orders, sowings, handed = season
    lines = season_lines(orders, sowings, handed, short_price=0.6, late_price=0.05)
    total = figures_of(lines)
    known = {each.name for each in orders}
    over = {each.name: each for each in sowings if each.is_over}
    given = {
        name: sum(each.plants for each in handed if each.order == name and name in known)
        for name in known
    }
    assert total.promised == sum(each.plants for each in orders)
    assert total.given == sum(given.values())
    assert total.short == sum(max(each.plants - given[each.name], 0) for each in orders)
    assert total.raised == sum(each.plants for each in handed if each.sowing in over)
    for name in ("n_cells", "n_seeds", "n_right", "n_seen", "n_lost", "m2_days", "minutes"):
        expected = sum(getattr(each, name) for each in over.values())
        assert getattr(total, name) == pytest.approx(expected)
    raising = sum(sum(each.money.values()) for each in over.values())
    assert sum(total.money[each] for each in (*RAISING, "dumped")) == pytest.approx(raising)
    groups = [figures_of(rows) for rows in grouped(lines, by).values()]
    for name in ("promised", "given", "on_time", "late", "short", "raised", "n_seeds", "n_cells"):
        assert sum(getattr(each, name) for each in groups) == getattr(total, name)
    for part in PARTS:
        assert sum(each.money[part] for each in groups) == pytest.approx(total.money[part])
