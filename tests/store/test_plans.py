from dataclasses import replace
from datetime import UTC, date, datetime

import msgspec
import numpy as np
import pytest
from sqlalchemy import func, select
from tests.store.derived import plan_of, sowing_of

from sowbench.domain.book import NewPlan, PlannedUse, PlanState, RunState
from sowbench.domain.plan import HandOver, Moved, Offer, OrderPlan, Sowing, SowingShare, Task, Unmet
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.store import tables as t

NOW = datetime(2027, 3, 9, 8, 30, tzinfo=UTC)
LATER = datetime(2027, 3, 10, 8, 30, tzinfo=UTC)
DAY = date(2027, 3, 1)
ORDERS = (
    OrderPlan("O-1", 20, 18, 0.9, 0.95, 0.86, 0.4, (), (HandOver(date(2027, 4, 1), "S-1", 18),)),
    OrderPlan("O-2", 10, 0, 0.0, 0.0, 0.0, 10.0),
)
UNMET = (
    Unmet("O-2", 10, "no room", (Offer("later", wanted_on=date(2027, 5, 1)),)),
    Unmet("O-3", 5, "no seed"),
)


def whole_plan():
    share = replace(sowing_of("S-1"), orders=(SowingShare("O-1", 18), SowingShare("O-4", 2)))
    tasks = (
        Task(DAY, "sow", "S-1", "chamber", 12.0, 2, "sow it"),
        Task(DAY, "pack", "S-1", "bench", 3.0),
        Task(DAY, "pack", "S-1", "bench", 4.0),
        Task(DAY, "water", "", "bench", 9.0),
    )
    return plan_of(
        orders=ORDERS,
        sowings=(share, sowing_of("S-0", last=date(2027, 4, 20))),
        unmet=UNMET,
        tasks=tasks,
        moved=(Moved("S-0", "place", "bench", "yard"),),
        cost=np.float64(12.5),
    )


USES = (
    PlannedUse("bench", "m2", DAY, [np.float64(1.0), 2.5], [4.0, 4.0]),
    PlannedUse("hands", "min", DAY, [30.0, 0.0], None),
)


def add(book, plan=None, at=NOW, **more):
    given = {"uses": USES, "cards": {"S-1": '{"title": "sow"}'}} | more
    with book.writing() as unit:
        number = unit.plans.add(NewPlan(plan or whole_plan(), **given), at, "Ana")
        unit.commit()
    return number


def rows(book, table, number):
    with book.reading() as unit:
        query = select(table).where(table.c.plan == number).order_by(*table.primary_key)
        return [dict(row) for row in unit._connection.execute(query).mappings()]


def test_a_plan_comes_back_whole(book):
    number = add(book, based_on=7, house_version=3)
    with book.reading() as unit:
        assert unit.plans.body(number) == whole_plan()
        head = unit.plans.head(number)
        assert unit.plans.heads() == [head]
        assert unit.plans.current() is None
    assert (head.id, head.made_at, head.person, head.state) == (number, NOW, "Ana", "proposed")
    assert (head.based_on, head.house_version, head.accepted_at) == (7, 3, None)
    assert (head.n_sowings, head.n_orders, head.n_unmet, head.n_moved) == (2, 2, 2, 1)
    assert (head.cost, head.bound, head.gap_frac) == (12.5, 10.0, 0.2)
    assert (head.from_date, head.until_date) == (DAY, date(2027, 4, 1))


def test_a_plan_is_laid_out_for_the_pages(book):
    number = add(book)
    first, second = rows(book, t.planned_sowing, number)
    assert (first["sowing"], first["position"], first["card"]) == ("S-0", 1, "")
    assert (second["orders"], second["card"]) == ("O-1|O-4", '{"title": "sow"}')
    assert (first["sow_date"], first["end_date"]) == (DAY, date(2027, 4, 20))
    assert msgspec.json.decode(first["body"], type=Sowing) == whole_plan().sowings[1]
    stays = rows(book, t.planned_stay, number)
    assert [(each["sowing"], each["step"], each["place"]) for each in stays] == [
        *(("S-0", 0, "chamber"), ("S-0", 1, "bench")),
        *(("S-1", 0, "chamber"), ("S-1", 1, "bench")),
    ]
    orders = {each["name"]: each for each in rows(book, t.planned_order, number)}
    assert {name: each["n_unmet"] for name, each in orders.items()} == {
        "O-1": 0,
        "O-2": 10,
        "O-3": 5,  # unmet, and no order of the plan tells of it
    }
    assert msgspec.json.decode(orders["O-1"]["body"], type=OrderPlan) == ORDERS[0]
    assert msgspec.json.decode(orders["O-2"]["unmet"], type=Unmet) == UNMET[0]
    assert [each["key"] for each in rows(book, t.planned_job, number)] == [
        "2027-03-01/pack/S-1/bench",
        "2027-03-01/pack/S-1/bench/2",
        "2027-03-01/sow/S-1/chamber",
        "2027-03-01/water//bench",
    ]
    bench, hands = rows(book, t.planned_use, number)
    assert (bench["use"], bench["capacity"]) == ("[1.0,2.5]", "[4.0,4.0]")
    assert (hands["position"], hands["use"], hands["capacity"]) == (1, "[30.0,0.0]", None)
    (supply,) = rows(book, t.planned_supply, number)
    assert (supply["item"], supply["amount"], supply["to_buy"]) == ("mix", 12.5, 10.0)


def test_one_plan_is_current(book):
    first, second, third = add(book), add(book), add(book)
    with book.writing() as unit:
        unit.plans.accept(first, NOW)
        unit.plans.accept(second, LATER)
        unit.plans.accept(second, LATER)
        unit.plans.decline(third)
        unit.plans.decline(third)
        unit.commit()
    with book.reading() as unit:
        assert unit.plans.current().id == second
        assert unit.plans.current().accepted_at == LATER
        states = {each.id: each.state for each in unit.plans.heads()}
        assert [each.id for each in unit.plans.heads(2)] == [third, second]
    assert states == {
        first: PlanState.PAST,
        second: PlanState.CURRENT,
        third: PlanState.DECLINED,
    }


@pytest.mark.parametrize("what", ["accept", "decline"])
def test_a_plan_that_is_past_stays_so(book, what):
    first, second = add(book), add(book)
    with book.writing() as unit:
        unit.plans.accept(first, NOW)
        unit.plans.accept(second, NOW)
        arguments = (NOW,) if what == "accept" else ()
        with pytest.raises(OutOfRangeError, match=rf"plan {first} must be proposed .* got past"):
            getattr(unit.plans, what)(first, *arguments)


def test_plans_and_runs_that_there_are_not(book):
    with book.writing() as unit:
        assert unit.plans.head(9) is None
        assert unit.runs.get(9) is None
        assert unit.runs.latest() is None
        with pytest.raises(UnknownNameError, match="Unknown plan '9'"):
            unit.plans.body(9)
        with pytest.raises(UnknownNameError, match="Unknown plan '9'"):
            unit.plans.accept(9, NOW)
        with pytest.raises(UnknownNameError, match="Unknown run '9'"):
            unit.runs.end(9, NOW, RunState.DONE, None, "")


def test_what_is_no_number_is_refused(book):
    with pytest.raises(TypeError, match="must hold numbers, text and days; got object"):
        add(book, replace(whole_plan(), cost_parts={"seed": object()}))
    with book.reading() as unit:
        count = select(func.count()).select_from(t.plan)
        assert unit._connection.execute(count).scalar_one() == 0


def test_runs_are_written_down_from_start_to_end(book):
    with book.writing() as unit:
        first = unit.runs.start(NOW, "Ana", DAY, 30.0)
        second = unit.runs.start(NOW, "Ben", DAY, 60.0)
        unit.runs.end(first, LATER, RunState.STOPPED, 4, "stopped by Ana")
        unit.commit()
    with book.reading() as unit:
        one = unit.runs.get(first)
        assert (one.state, one.plan, one.ended_at) == (RunState.STOPPED, 4, LATER)
        assert (one.message, one.seconds, one.from_date) == ("stopped by Ana", 30.0, DAY)
        latest = unit.runs.latest()
        assert (latest.id, latest.state, latest.ended_at) == (second, RunState.RUNNING, None)
