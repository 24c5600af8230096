"""What the orders pages read, on both databases."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from sowbench.domain.book import NewPlan
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.plan import OrderPlan, Plan, Unmet
from sowbench.domain.ports.orders_page import OrdersCursor, OrdersFilter, OrdersShown
from sowbench.domain.records import Order
from sowbench.store.book import HouseBook

AT = datetime(2027, 3, 9, 12, tzinfo=UTC)
TODAY = date(2027, 3, 9)
SURE = 0.95
ANY = OrdersFilter(OrdersShown.ALL)


def order(name: str, day: date, **more: object) -> Order:
    """Write an order that serves two days longer than wanted."""
    values: dict[str, object] = {"customer": "Long Field", **more}
    crop = str(values.pop("crop", "kale"))
    return Order(name, crop, 100, day, day, day + timedelta(days=2), **values)  # type: ignore[arg-type]


ORDERS = (
    order("late in the file, early in the year", date(2027, 3, 10)),
    order("past", date(2027, 3, 1)),
    order("just", date(2027, 3, 7)),
    order("risky", date(2027, 4, 1), crop="leek"),
    order("own wish", date(2027, 4, 1), confidence_frac=0.9),
    order("unmet", date(2027, 4, 2), customer="Corner_Kitchen"),
    order("new", date(2027, 4, 3)),
    order("off", date(2027, 4, 4), status="cancelled"),
    order("weekly/2027-04-05", date(2027, 4, 5), standing_of="weekly"),
    order("weekly/2027-04-12", date(2027, 4, 12), standing_of="weekly", status="cancelled"),
    order("weekly/2027-04-19", date(2027, 4, 19), standing_of="weekly"),
)
PLANNED = {
    "late in the file, early in the year": 0.99,
    "past": 0.5,
    "just": 0.95,
    "risky": 0.92,
    "own wish": 0.92,
    "weekly/2027-04-05": 0.97,
    "weekly/2027-04-19": 0.97,
}


@pytest.fixture
def filled(book: HouseBook) -> HouseBook:
    """A book with orders, a plan that knows most of them, and deliveries."""
    orders = tuple(OrderPlan(name, 100, 100, sure, 0.8, 0.7, 1.0) for name, sure in PLANNED.items())
    orders += (OrderPlan("unmet", 100, 40, 0.0, 0.8, 0.0, 60.0),)
    plan = Plan(
        TODAY, date(2027, 6, 1), 1.0, {}, 1.0, 0.0, 0.0, 1.0, 0, (), orders, (),
        (Unmet("unmet", 60, "room"),), (), (), (),
    )  # fmt: skip
    with book.writing() as unit:
        unit.orders.put(ORDERS, AT, "", "")
        unit.plans.accept(unit.plans.add(NewPlan(plan, (), {}), AT, ""), AT)
        given = (("1", 30, TODAY), ("2", 20, date(2027, 3, 8)))
        unit.journal.add(
            [
                Entry(each * 32, day, EntryKind.DELIVERED, "kale", n, "just")
                for each, n, day in given
            ],
            AT,
        )
        unit.commit()
    return book


def names(book: HouseBook, wanted: OrdersFilter, limit: int = 50) -> list[str]:
    """Return the names of the orders that a filter shows."""
    with book.reading() as unit:
        found = unit.orders_page.window(1, wanted, TODAY, SURE, None, limit)
    return [each.order.id for each in found]


@pytest.mark.parametrize(
    ("shown", "expected"),
    [
        (OrdersShown.RISKY, ["risky"]),
        (OrdersShown.UNMET, ["unmet"]),
        (OrdersShown.UNPLANNED, ["new"]),
        (OrdersShown.PAST, ["past"]),
        (OrdersShown.CANCELLED, ["off", "weekly/2027-04-12"]),
        (
            OrdersShown.OPEN,
            [
                "just",
                "late in the file, early in the year",
                "risky",
                "own wish",
                "unmet",
                "new",
                "weekly/2027-04-05",
                "weekly/2027-04-19",
            ],
        ),
    ],
)
def test_a_list_shows_what_it_says_by_wanted_day(
    filled: HouseBook, shown: OrdersShown, expected: list[str]
) -> None:
    assert names(filled, OrdersFilter(shown)) == expected


def test_the_counts_are_those_of_the_lists(filled: HouseBook) -> None:
    with filled.reading() as unit:
        counts = unit.orders_page.counts(1, TODAY, SURE)
        unplanned = unit.orders_page.counts(None, TODAY, SURE)

    assert counts.open == len(names(filled, OrdersFilter()))
    assert (counts.risky, counts.unmet, counts.unplanned) == (1, 1, 1)
    assert (unplanned.open, unplanned.unplanned) == (counts.open, counts.open)


@pytest.mark.parametrize(
    ("wanted", "expected"),
    [
        (OrdersFilter(OrdersShown.ALL, crop="leek"), ["risky"]),
        (OrdersFilter(OrdersShown.ALL, customer="Corner_Kitchen"), ["unmet"]),
        (OrdersFilter(OrdersShown.ALL, words="kitchen"), ["unmet"]),
        (OrdersFilter(OrdersShown.ALL, words="R_K"), ["unmet"]),
        (OrdersFilter(OrdersShown.ALL, words="RISK"), ["risky"]),
        (OrdersFilter(OrdersShown.ALL, words="%"), []),
        (
            OrdersFilter(OrdersShown.OPEN, first_date=date(2027, 4, 3), last_date=date(2027, 4, 5)),
            ["new", "weekly/2027-04-05"],
        ),
        (
            OrdersFilter(OrdersShown.OPEN, standing_of="weekly"),
            ["weekly/2027-04-05", "weekly/2027-04-19"],
        ),
    ],
)
def test_a_filter_takes_its_words_as_they_are(
    filled: HouseBook, wanted: OrdersFilter, expected: list[str]
) -> None:
    assert names(filled, wanted) == expected


@pytest.mark.parametrize("limit", [1, 2, 3, 7])
def test_windows_lead_through_the_list_and_back(filled: HouseBook, limit: int) -> None:
    whole = names(filled, ANY)
    there: list[str] = []
    with filled.reading() as unit:
        after: OrdersCursor | None = None
        while found := unit.orders_page.window(1, ANY, TODAY, SURE, after, limit):
            there += [each.order.id for each in found]
            after = OrdersCursor(found[-1].order.wanted_date, found[-1].position)
        back: list[str] = []
        before = OrdersCursor(date.max, 2**31 - 1)
        while found := unit.orders_page.window_before(1, ANY, TODAY, SURE, before, limit):
            back = [each.order.id for each in found] + back
            before = OrdersCursor(found[0].order.wanted_date, found[0].position)

    assert there == whole
    assert back == whole
    assert len(whole) == len(ORDERS)


def test_a_line_tells_what_is_planned_and_given(filled: HouseBook) -> None:
    with filled.reading() as unit:
        lines = {
            each.order.id: each for each in unit.orders_page.window(1, ANY, TODAY, SURE, None, 50)
        }
        without = unit.orders_page.window(None, ANY, TODAY, SURE, None, 50)
        given = unit.orders_page.deliveries("just")

    assert lines["just"].n_delivered == 50
    assert [each.plants for each in given] == [20, 30]
    assert lines["own wish"].confidence_frac == 0.9
    assert lines["risky"].confidence_frac == SURE
    unmet = lines["unmet"].unmet
    assert unmet is not None
    assert unmet.plants == 60
    assert lines["new"].planned is None
    assert not [each for each in without if each.planned or each.unmet]


def test_a_standing_order_is_told_without_its_cancelled_drops(filled: HouseBook) -> None:
    with filled.reading() as unit:
        standing = unit.orders_page.standing("weekly")
        drops = unit.orders_page.drops(1, "weekly", SURE)
        none = unit.orders_page.standing("nothing")

    assert standing is not None
    assert (standing.n_drops, standing.first_date, standing.last_date) == (
        2, date(2027, 4, 5), date(2027, 4, 19),
    )  # fmt: skip
    assert len(drops) == 3
    assert none is None


def test_choices_are_those_of_open_orders(filled: HouseBook) -> None:
    with filled.reading() as unit:
        assert unit.orders_page.customers(TODAY) == ["Corner_Kitchen", "Long Field"]
        assert unit.orders_page.crops(TODAY) == ["kale", "leek"]
        assert unit.orders_page.n_orders() == len(ORDERS)
        assert unit.orders_page.last_change() == len(ORDERS)
        assert "past" not in {each.id for each in unit.orders_page.since(TODAY)}
