"""Orders that are not planned: each reason, and offers that really fit into the plan at hand."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from tests.planning.tiny_house import (
    BENCH,
    CHAMBER,
    COOL,
    LOT,
    crew,
    day_of,
    house,
    inputs,
    on,
    order,
    plan_of,
    reference,
    season_of,
)

from sowbench.domain.records import ContainerStock, Crew, Machine, Pin
from sowbench.planning.offers import seed_left

ONE_TRAY = ContainerStock("tray-20", n_in_stock=1)
ONCE = crew(sow_days=(0,), closed=frozenset({on(7), on(14)}))
CASES = {
    "room": inputs(
        order("a", 10, 15), order("b", 12, 15), house=house(replace(BENCH, n_positions=1))
    ),
    "room, in part": inputs(order("a", 50, 15), house=house(replace(BENCH, n_positions=2))),
    "crew": inputs(
        order("a", 10, 14), order("b", 12, 14),
        house=house(crew=replace(ONCE, minutes_per_day=17.0)),
    ),
    "crew, a machine": inputs(
        order("a", 100, 14),
        house=house(machines=(Machine("seeder", ("tray-20",), 0.5),), crew=ONCE),
    ),
    "container": inputs(order("a", 10, 15), order("b", 12, 20), house=house(stock=(ONE_TRAY,))),
    "container, asked for": inputs(
        order("a", 10, 15, containers=("tray-20",)), order("b", 12, 20, containers=("tray-20",)),
        house=house(stock=(ONE_TRAY, "box-10")),
    ),
    "container, not the house's": inputs(order("a", 10, 15, containers=("pot-5",))),
    "seed": inputs(order("a", 50, 15), lots=(replace(LOT, n_seeds=41),)),
    "seed, none": inputs(order("a", 10, 15), lots=()),
    "seed, another variety": inputs(order("a", 10, 15, variety="Red")),
    "germination": inputs(order("a", 50, 15), lots=(replace(LOT, n_tested=100, n_normal=12),)),
    "too_soon": inputs(order("a", 10, 2)),
    "past": inputs(order("a", 10, -9)),
    "temperature": inputs(
        order("a", 10, 15), catalog=reference(min_c=16.0), house=house(CHAMBER, COOL)
    ),
    "price": inputs(order("a", 1, 15)),
    "pinned": inputs(
        order("a", 10, 15), house=house(crew=crew(sow_days=(0,))), pins=(Pin("a", sow_date=on(2)),)
    ),
}  # fmt: skip


def reason_of(name):
    """First word of a case: the reason it is made for."""
    return name.partition(",")[0]


@cache
def plan_for(name):
    """The plan of a case, made and checked once."""
    return plan_of(CASES[name], with_bound=False).plan


@pytest.mark.parametrize("name", CASES)
def test_each_reason_is_told(name):
    reasons = {u.reason for u in plan_for(name).unmet}
    assert reasons == {reason_of(name)}


@pytest.mark.parametrize("name", CASES)
def test_unmet_plants_are_those_not_planned(name):
    plan = plan_for(name)
    lacking = {o.order: o.plants - o.planned for o in plan.orders if o.planned < o.plants}
    assert {u.order: u.plants for u in plan.unmet} == lacking
    short = 2.0 * sum(lacking.values())
    assert plan.cost_parts["short"] >= short
    assert all(u.words for u in plan.unmet)


def taken(made, unmet, offer):
    """The inputs with one offer taken up: the unmet plants ordered as it says."""
    record = next(o for o in made.orders if o.id == unmet.order)
    rest = replace(record, id=f"{record.id}+", plants=offer.plants)
    lots = made.lots or ()
    if offer.kind == "later":
        day = offer.wanted_on
        rest = replace(rest, wanted_date=day, earliest_date=day, latest_date=day)
    elif offer.kind == "container":
        rest = replace(rest, containers=(offer.container,))
    elif offer.kind == "variety":
        rest = replace(rest, variety=offer.variety, substitutes=())
    elif offer.kind == "buy_seed":
        bought = replace(
            LOT, id="bought", variety=record.variety, n_seeds=offer.amount,
            n_tested=100, n_normal=90, arrives_on=offer.latest_date,
        )  # fmt: skip
        lots = (*lots, bought)
    else:
        assert offer.kind == "fewer"
    orders = [o for o in made.orders if o.id != unmet.order]
    if unmet.plants < record.plants:
        orders.append(replace(record, plants=record.plants - unmet.plants))
    return replace(made, orders=(*orders, rest), lots=lots)


OFFERED = {
    "room": {"later"},
    "room, in part": {"later"},
    "crew": {"later"},
    "container": {"later"},
    "container, asked for": {"later", "container"},
    "container, not the house's": {"container"},
    "seed": {"buy_seed"},
    "seed, none": {"buy_seed"},
    "seed, another variety": {"buy_seed"},
    "germination": {"buy_seed"},
    "too_soon": {"later"},
    "past": {"later"},
}


@pytest.mark.parametrize("name", OFFERED)
def test_offers_are_of_the_kinds_that_can_help(name):
    for unmet in plan_for(name).unmet:
        assert OFFERED[name] <= {offer.kind for offer in unmet.offers}


@pytest.mark.parametrize("name", OFFERED)
def test_an_offer_taken_up_fits_beside_everything_that_is_planned(name):
    made, plan = CASES[name], plan_for(name)
    n_offers = 0
    for unmet in plan.unmet:
        for offer in unmet.offers:
            again = plan_of(replace(taken(made, unmet, offer), kept=plan), with_bound=False).plan
            left = {u.order: u.plants for u in again.unmet}
            others = {u.order: u.plants for u in plan.unmet if u.order != unmet.order}
            assert left == others
            got = {o.order: o.planned for o in again.orders}
            for before in plan.orders:
                if before.order != unmet.order:
                    assert got[before.order] >= before.planned
            n_offers += 1
    assert n_offers > 0


@pytest.mark.parametrize("name", ["room", "container, asked for", "too_soon"])
def test_an_offer_tells_what_it_costs_and_how_sure_it_is(name):
    """The change of cost is what the sowing costs; less what shortage no longer costs."""
    made, plan = CASES[name], plan_for(name)
    (unmet,) = plan.unmet
    for offer in unmet.offers:
        again = plan_of(replace(taken(made, unmet, offer), kept=plan), with_bound=False).plan
        change = again.cost - plan.cost + 2.0 * unmet.plants
        assert offer.cost_change == pytest.approx(change, rel=0.2, abs=0.5)
        chance = next(o for o in again.orders if o.order == f"{unmet.order}+").chance_filled_frac
        assert offer.chance_filled_frac == pytest.approx(chance, abs=0.1)


def test_a_later_day_is_the_first_that_fits():
    """One position is taken until day 15; sown then a tray is ready on day 25."""
    (unmet,) = plan_for("room").unmet
    (offer,) = [o for o in unmet.offers if o.kind == "later"]
    (sowing,) = plan_for("room").sowings
    assert day_of(sowing.steps[-1].to_date) == 15
    assert day_of(offer.wanted_on) == 25


def test_fewer_plants_are_offered_when_some_still_fit():
    """What may not be split, and is wanted on one day, fits in part: three of four trays."""
    made = inputs(
        order("a", 50, 13, late=0), house=house(replace(BENCH, n_positions=3), crew=Crew(
            sow_days=(1,), weekend_minutes=1e6, closed=frozenset({on(8)}), rate_per_hour=12.0,
        )),
    )  # fmt: skip
    plan = plan_of(made, with_bound=False).plan
    for unmet in plan.unmet:
        for offer in unmet.offers:
            if offer.kind == "fewer":
                again = plan_of(taken(made, unmet, offer), with_bound=False).plan
                assert not again.unmet


def test_seed_is_no_reason_where_a_lot_has_some_for_every_cell():
    for n_seeds, enough in ((9, False), (10, True), (None, True)):
        season = season_of(inputs(order("a", 10, 15), lots=(replace(LOT, n_seeds=n_seeds),)))
        assert seed_left(season, season.orders[0], 10, season.resources.capacity) == enough


def test_a_pin_that_leaves_no_way_is_said_with_the_days_there_are_without_it():
    (unmet,) = plan_for("pinned").unmet
    assert f"(sown on {on(2):%a} {on(2).day} {on(2):%B})" in unmet.words
    assert "Without the pin it can be sown on" in unmet.words
    assert not unmet.offers


def test_a_pin_is_not_blamed_where_there_is_no_way_without_it_either():
    made = inputs(order("a", 10, 2), pins=(Pin("a", sow_date=on(1)),))
    (unmet,) = plan_of(made).plan.unmet
    assert unmet.reason == "too_soon"
