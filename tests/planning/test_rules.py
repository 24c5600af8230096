"""Each rule of docs/model.md section 6: the smallest case that keeps it, and one that cannot.

Days are counted from Monday, day 0; a sowing of day d is ready on day d + 10 (tiny_house.py).
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.planning.tiny_house import (
    BENCH,
    CHAMBER,
    COOL,
    CRESS,
    LOT,
    MONDAY,
    STORE,
    Reference,
    crew,
    day_of,
    house,
    inputs,
    on,
    order,
    plan_of,
    reference,
)

from sowbench.domain.records import (
    ContainerStock,
    LightNeed,
    Machine,
    Pin,
    PlaceKind,
    StepKind,
)

YARD = replace(BENCH, name="yard", kind=PlaceKind.YARD, temp_c=15.0, price_per_m2_day=0.0)
DEAR = replace(BENCH, price_per_m2_day=2.0)


def sown(planned):
    """Days of sowing, in turn."""
    return sorted(day_of(s.sow_date) for s in planned.plan.sowings)


def handed(planned):
    """Days of handing over of each order."""
    return {o.order: [day_of(h.date) for h in o.hand_over] for o in planned.plan.orders}


def unmet(planned):
    """Reason of each order that has unmet plants."""
    return {u.order: u.reason for u in planned.plan.unmet}


def places(planned, kind):
    """Places in which sowings have a step of a kind."""
    return [s.place for each in planned.plan.sowings for s in each.steps if s.kind is kind]


# Sowing days and lots


def test_sowing_is_on_sowing_days_only():
    made = inputs(order("a", 10, 15), house=house(crew=crew(sow_days=(2,))))
    assert sown(plan_of(made)) == [2]


def test_a_closed_day_is_no_sowing_day():
    """Wednesday 2 is closed: sown on day 9 it is ready on day 19, late but not too late."""
    made = inputs(
        order("a", 10, 15), house=house(crew=crew(sow_days=(2,), closed=frozenset({on(2)})))
    )
    found = plan_of(made)
    assert (sown(found), handed(found)) == ([9], {"a": [19]})


def test_without_a_sowing_day_in_time_it_is_too_soon():
    """Sown on the next day, 16, it is ready on day 26, eleven days late."""
    closed = frozenset({on(2), on(9)})
    made = inputs(order("a", 10, 15), house=house(crew=crew(sow_days=(2,), closed=closed)))
    assert unmet(plan_of(made)) == {"a": "too_soon"}


def test_nothing_is_sown_before_its_lot_arrives():
    lot = replace(LOT, arrives_on=on(5))
    made = inputs(order("a", 10, 15), lots=(lot,))
    found = plan_of(made)
    assert (sown(found), handed(found)) == ([7], {"a": [17]})


def test_a_lot_that_arrives_too_late_leaves_the_order_without_seed():
    lot = replace(LOT, arrives_on=on(5))
    made = inputs(order("a", 10, 9), lots=(lot,))
    assert unmet(plan_of(made)) == {"a": "seed"}


def test_nothing_is_sown_from_a_lot_past_its_date():
    """Sown on the last good day, 3, it is ready on day 13 and good until day 17."""
    lot = replace(LOT, use_by=on(3))
    assert sown(plan_of(inputs(order("a", 10, 15), lots=(lot,)))) == [3]


def test_a_lot_past_its_date_leaves_the_order_without_seed():
    lot = replace(LOT, use_by=on(3))
    assert unmet(plan_of(inputs(order("a", 10, 25), lots=(lot,)))) == {"a": "seed"}


def test_of_two_lots_the_one_that_is_there_is_taken():
    late, stale = replace(LOT, id="late", arrives_on=on(9)), replace(LOT, id="old", use_by=MONDAY)
    found = plan_of(inputs(order("a", 10, 15), lots=(late, stale, replace(LOT, id="good"))))
    assert [s.lot for s in found.plan.sowings] == ["good"]


# Places: light, cold, chill, toning, holding, people


def test_seed_that_needs_light_does_not_go_into_a_dark_chamber():
    """On a dear bench the chamber pays, unless the seed wants light or the chamber has lamps."""
    lit = replace(CHAMBER, lamp_ppfd_umol_m2_s=50.0, lamp_h=16.0)
    wants = reference(light_need=LightNeed.LIGHT)
    for catalog, chamber, where in (
        (Reference(), CHAMBER, "chamber"), (wants, CHAMBER, "bench"), (wants, lit, "chamber"),
    ):  # fmt: skip
        made = inputs(order("a", 10, 15), catalog=catalog, house=house(chamber, DEAR))
        assert places(plan_of(made), StepKind.GERMINATE) == [where]


def test_a_chamber_without_lamps_is_dark_whatever_its_cover():
    made = inputs(
        order("a", 10, 15), catalog=reference(light_need=LightNeed.LIGHT),
        house=house(replace(CHAMBER, cover_par_frac=0.65), DEAR),
    )  # fmt: skip
    assert places(plan_of(made), StepKind.GERMINATE) == ["bench"]


def test_a_place_is_closed_when_a_cold_year_is_colder_than_the_crop_bears():
    """A room at 20 °C has 19 °C two standard deviations of 0.5 °C down."""
    for least_c, found in ((19.0, {}), (19.1, {"a": "temperature"})):
        made = inputs(order("a", 10, 15), catalog=reference(min_c=least_c, tone_min_c=least_c))
        assert unmet(plan_of(made)) == found


def test_toned_plants_bear_more_cold_than_growing_ones():
    """The cool bench has 14 °C at its coldest: open to toned plants only."""
    made = inputs(
        order("a", 10, 17), catalog=reference(min_c=16.0, tone_min_c=10.0),
        house=house(replace(BENCH, price_per_m2_day=5.0), COOL, crew=crew(sow_days=(0,))),
    )  # fmt: skip
    found = plan_of(made)
    assert places(found, StepKind.GROW) == ["bench"]
    assert places(found, StepKind.TONE) == ["cool bench"]
    shut = replace(made, catalog=reference(min_c=16.0, tone_min_c=14.5))
    assert set(places(plan_of(shut), StepKind.TONE)) == {"bench"}


def test_days_in_the_chill_are_counted_over_the_whole_raising():
    """At 15 °C up after 3 d, grown 9 d later, a day of toning: sown on day 0, out on day 14."""
    for most, found in ((14, {}), (13, {"a": "temperature"})):
        made = inputs(
            order("a", 10, 14), catalog=reference(chill_below_c=16.0, chill_days_max=most),
            house=house(COOL, crew=crew(sow_days=(0,))),
        )  # fmt: skip
        assert unmet(plan_of(made)) == found


def test_tender_crops_tone_under_cover():
    """A yard that costs nothing beside a bench that costs much: only hardy crops go there."""
    made = inputs(order("a", 10, 14), house=house(DEAR, YARD, crew=crew(sow_days=(0,))))
    hardy = replace(made, catalog=reference(hardy=False))
    assert places(plan_of(hardy), StepKind.TONE) == ["yard"]
    tender = replace(made, catalog=reference(hardy=False, tone_under_cover=True))
    assert places(plan_of(tender), StepKind.TONE) == ["bench"]


def test_plants_wait_in_the_cold_store_for_as_long_as_they_keep():
    """Ready at 9.5 and overgrown at 14.5; held for seven days it is good until 16.5."""
    once = crew(sow_days=(0,), closed=frozenset({on(7)}))
    made = inputs(order("a", 10, 16), house=house(BENCH, STORE, crew=once))
    kept = replace(made, catalog=reference(hold_d=7, hold_min_c=0.0))
    assert places(plan_of(kept), StepKind.HOLD) == ["store"]
    # Held for six days it is overgrown before; and the store's coldest hour has 3 °C.
    for catalog in (reference(hold_d=6, hold_min_c=0.0), reference(hold_d=7, hold_min_c=3.5)):
        assert set(unmet(plan_of(replace(made, catalog=catalog)))) == {"a"}


def test_trays_are_lifted_out_of_the_chamber_by_somebody_who_is_there():
    """Sown on Friday, out on Saturday: where nobody comes on Saturday it germinates elsewhere."""
    for weekend, where in ((30.0, "chamber"), (0.0, "bench")):
        made = inputs(
            order("a", 10, 14),
            house=house(CHAMBER, DEAR, crew=crew(sow_days=(4,), weekend_minutes=weekend)),
        )
        assert places(plan_of(made), StepKind.GERMINATE) == [where]


# Room, hands, containers, machines, seed


def test_no_more_trays_stand_than_there_are_positions():
    """50 plants take 67 cells, four trays; with two positions half of them are sown."""
    fits = inputs(order("a", 50, 15), house=house(replace(BENCH, n_positions=4)))
    assert unmet(plan_of(fits)) == {}
    tight = replace(fits, house=house(replace(BENCH, n_positions=2)))
    found = plan_of(tight)
    assert unmet(found) == {"a": "room"}
    assert [s.steps[0].n_containers for s in found.plan.sowings] == [2]
    assert found.plan.orders[0].planned == 25


def test_no_more_area_is_taken_than_is_usable():
    """Trays of 0.1 m2 on half of 0.8 m2: four, and three if it is a hair less."""
    bench = replace(BENCH, n_positions=None, area_m2=0.8, usable_frac=0.5)
    assert unmet(plan_of(inputs(order("a", 50, 15), house=house(bench)))) == {}
    less = replace(bench, area_m2=0.799)
    found = plan_of(inputs(order("a", 50, 15), house=house(less)))
    assert unmet(found) == {"a": "room"}
    assert [s.steps[0].n_containers for s in found.plan.sowings] == [3]


def test_where_there_is_room_for_one_order_the_one_worth_more_is_sown():
    made = inputs(
        order("a", 10, 15), order("b", 12, 15), house=house(replace(BENCH, n_positions=1))
    )
    found = plan_of(made)
    assert unmet(found) == {"a": "room"}


def test_room_is_free_again_on_the_day_of_handing_over():
    """A tray of day 0 leaves on day 10; the next one can be sown on day 10, ready on day 20."""
    one = house(replace(BENCH, n_positions=1))
    assert unmet(plan_of(inputs(order("a", 10, 10), order("b", 10, 21), house=one))) == {}
    both = plan_of(inputs(order("a", 10, 10), order("b", 10, 12), house=one))
    assert set(unmet(both).values()) == {"room"}


def test_nobody_works_longer_than_the_day_has_minutes():
    """Setting up and change of lot 6 each, fill 1, 14 seeds 1.4, carry 1, water 0.1: 15.5 min."""
    for minutes, found in ((15.5, {}), (15.45, {"a": "crew"})):
        limit = crew(minutes_per_day=minutes)
        made = inputs(order("a", 10, 15), house=house(crew=limit))
        assert unmet(plan_of(made)) == found


def test_reusable_trays_are_out_until_they_are_back_and_washed():
    """A tray of day 0 is out until day 10 and back and washed on day 18, ready again on day 28."""
    stock = ContainerStock("tray-20", n_in_stock=1, back_after_d=7, wash_d=1)
    one = house(stock=(stock,))
    assert unmet(plan_of(inputs(order("a", 10, 10), order("b", 10, 28), house=one))) == {}
    found = plan_of(inputs(order("a", 10, 10), order("b", 10, 20), house=one))
    assert set(unmet(found).values()) == {"container"}
    two = house(stock=(replace(stock, n_in_stock=2),))
    assert unmet(plan_of(inputs(order("a", 10, 10), order("b", 10, 20), house=two))) == {}


def test_a_machine_sows_no_longer_than_its_day():
    """Two hours a tray and eight a day: four trays a day, so that seven take two days."""
    slow = Machine("seeder", ("tray-20",), trays_per_hour=0.5)
    made = inputs(order("a", 100, 14), house=house(machines=(slow,)))
    found = plan_of(made, with_bound=False)
    assert unmet(found) == {}
    assert sorted(s.steps[0].n_containers for s in found.plan.sowings) == [3, 4]
    assert len(set(sown(found))) == 2
    once = replace(made, house=house(machines=(slow,), crew=crew(sow_days=(0,))))
    found = plan_of(once, with_bound=False)
    assert unmet(found) == {"a": "crew"}
    assert [s.steps[0].n_containers for s in found.plan.sowings] == [4]


def test_no_more_seed_is_sown_than_the_lot_has():
    """67 cells for 50 plants; from 40 seeds two trays are sown and half of the plants planned."""
    assert unmet(plan_of(inputs(order("a", 50, 15), lots=(replace(LOT, n_seeds=80),)))) == {}
    found = plan_of(inputs(order("a", 50, 15), lots=(replace(LOT, n_seeds=41),)))
    assert unmet(found) == {"a": "seed"}
    assert sum(s.n_seeds for s in found.plan.sowings) <= 41
    assert found.plan.orders[0].planned > 0


def test_a_lot_with_exactly_the_seed_it_takes_is_enough():
    whole = plan_of(inputs(order("a", 10, 15)))
    (sowing,) = whole.plan.sowings
    found = plan_of(inputs(order("a", 10, 15), lots=(replace(LOT, n_seeds=sowing.n_seeds),)))
    assert unmet(found) == {}


def test_an_order_draws_on_two_lots_when_neither_is_enough():
    lots = (replace(LOT, id="one", n_seeds=41), replace(LOT, id="two", n_seeds=41))
    found = plan_of(inputs(order("a", 50, 15), lots=lots))
    assert unmet(found) == {}
    assert {s.lot for s in found.plan.sowings} == {"one", "two"}


# What the order asks for


def test_organic_orders_take_organic_lots_and_containers():
    both = (replace(LOT, id="plain", price_per_1000=1.0), replace(LOT, id="organic", organic=True))
    made = inputs(order("a", 10, 15, organic=True), lots=both)
    assert [s.lot for s in plan_of(made).plan.sowings] == ["organic"]
    assert unmet(plan_of(replace(made, lots=both[:1]))) == {"a": "seed"}
    boxes = replace(made, house=house(stock=("box-10", "tray-20")))
    assert plan_of(boxes).plan.sowings[0].steps[0].container == "tray-20"
    assert unmet(plan_of(replace(made, house=house(stock=("box-10",))))) == {"a": "container"}


def test_a_variety_is_taken_from_its_lots_or_from_those_that_will_do():
    red = replace(LOT, id="L2", variety="Red", price_per_1000=90.0)
    made = inputs(order("a", 10, 15, variety="Red"), lots=(LOT, red))
    assert [s.lot for s in plan_of(made).plan.sowings] == ["L2"]
    other = inputs(order("a", 10, 15, variety="Red", substitutes=("Blue", "Green")))
    assert [s.lot for s in plan_of(other).plan.sowings] == ["L1"]
    assert unmet(plan_of(inputs(order("a", 10, 15, variety="Red")))) == {"a": "seed"}


def test_without_a_seed_file_each_variety_has_a_lot_of_its_own_to_buy():
    made = inputs(order("a", 10, 15, variety="Red"), order("b", 10, 15, variety="Green"), lots=None)
    found = plan_of(made)
    assert {s.orders[0].order: s.variety for s in found.plan.sowings} == {"a": "Red", "b": "Green"}
    assert all(len(s.orders) == 1 for s in found.plan.sowings)


def test_a_school_sows_no_treated_seed():
    treated = replace(LOT, treated=True)
    made = inputs(order("a", 10, 15), lots=(treated,))
    assert unmet(plan_of(made)) == {}
    plain = replace(LOT, id="plain", price_per_1000=500.0)
    both = replace(made, house=house(school=True), lots=(treated, plain))
    assert [s.lot for s in plan_of(both, with_bound=False).plan.sowings] == ["plain"]


def test_a_school_with_treated_seed_only_has_no_seed():
    made = inputs(order("a", 10, 15), lots=(replace(LOT, treated=True),), house=house(school=True))
    assert unmet(plan_of(made)) == {"a": "seed"}


def test_the_order_limits_the_container():
    both = house(stock=("tray-20", "box-10"))
    made = inputs(order("a", 10, 15, containers=("box-10",)), house=both)
    found = plan_of(made)
    assert {s.container for s in found.plan.sowings[0].steps} == {"box-10"}
    assert unmet(plan_of(replace(made, house=house()))) == {"a": "container"}


def test_the_system_limits_the_container():
    """A raft takes cubes only, and there is no ready rule for this crop in cubes."""
    assert unmet(plan_of(inputs(order("a", 10, 15, system="raft")))) == {"a": "container"}


# Pins


@pytest.mark.parametrize(
    ("pin", "day"),
    [
        (Pin("a", sow_date=on(3)), 3),
        (Pin("a", not_before=on(4), not_after=on(4)), 4),
        (Pin("a", not_after=on(1)), 1),
        (Pin("a", not_before=on(8)), 8),
    ],
)
def test_a_pinned_day_is_kept(pin, day):
    """Free to choose, the order would be sown on day 4 or 7."""
    made = inputs(order("a", 10, 15, late=4), pins=(pin,))
    assert sown(plan_of(replace(made, pins=()))) not in ([1], [3], [8])
    assert sown(plan_of(made)) == [day]


def test_a_pinned_order_is_sown_by_itself():
    prices = replace(house().prices, short_plant=20.0)
    slow = house(crew=crew(setup_minutes=60.0), prices=prices)
    made = inputs(order("a", 10, 15), order("b", 10, 15), house=slow)
    (shared,) = plan_of(made).plan.sowings
    assert [s.order for s in shared.orders] == ["a", "b"]
    found = plan_of(replace(made, pins=(Pin("a", sow_date=on(3)),))).plan.sowings
    assert sorted([s.order for s in each.orders] for each in found) == [["a"], ["b"]]


def test_a_day_pinned_too_late_leaves_the_order_unmet():
    made = inputs(order("a", 10, 15), pins=(Pin("a", sow_date=on(14)),))
    assert set(unmet(plan_of(made))) == {"a"}


def test_pinned_container_place_and_seeds_are_kept():
    sill = replace(BENCH, name="sill", kind=PlaceKind.WINDOWSILL, temp_c=19.0)
    sill = replace(sill, price_per_m2_day=1.0)
    made = inputs(
        order("a", 10, 15), catalog=reference(max_seeds_per_cell=2),
        house=house(BENCH, sill, stock=("tray-20", "box-10")),
    )  # fmt: skip
    (free,) = plan_of(made).plan.sowings
    assert (free.steps[0].container, free.steps[0].place, free.seeds_per_cell) == (
        "tray-20", "bench", 1
    )  # fmt: skip
    pin = Pin("a", container="box-10", place="sill", seeds_per_cell=2)
    (pinned,) = plan_of(replace(made, pins=(pin,))).plan.sowings
    assert {s.container for s in pinned.steps} == {"box-10"}
    assert pinned.steps[0].place == "sill"
    assert pinned.seeds_per_cell == 2


def test_a_container_that_is_not_the_houses_cannot_be_pinned():
    made = inputs(order("a", 10, 15), pins=(Pin("a", container="box-10"),))
    assert unmet(plan_of(made)) == {"a": "pinned"}


# Splits, shared sowings, days of handing over


def test_an_order_is_split_into_whole_trays_where_no_place_takes_it_whole():
    """Seven trays for 100 plants, four positions on each of two benches."""
    small = replace(BENCH, n_positions=4)
    made = inputs(order("a", 100, 15), house=house(small, replace(small, name="other")))
    found = plan_of(made)
    assert unmet(found) == {}
    assert sorted(s.steps[0].n_containers for s in found.plan.sowings) == [3, 4]
    assert sum(s.orders[0].plants for s in found.plan.sowings) == 100
    assert handed(found) == {"a": [15, 15]}


def test_parts_of_a_partial_order_may_go_out_on_days_of_their_own():
    """Four positions: four trays of day 0 go out on day 10, three more of day 10 on day 20."""
    small = house(replace(BENCH, n_positions=4), crew=crew(sow_days=(0, 4)))
    made = inputs(order("a", 100, 10, late=12, partial=True), house=small)
    found = plan_of(made)
    assert unmet(found) == {}
    assert len(set(handed(found)["a"])) == 2
    whole = plan_of(inputs(order("a", 100, 10, late=12), house=small))
    assert len(set(handed(whole)["a"])) == 1
    assert unmet(whole) == {"a": "room"}


def test_up_to_four_orders_share_a_sowing():
    """Where setting up takes an hour, five orders of one week are sown in two goes."""
    prices = replace(house().prices, short_plant=20.0)
    slow = house(crew=crew(setup_minutes=60.0), prices=prices)
    made = inputs(*(order(f"o{k}", 5, 15 + k % 2) for k in range(5)), house=slow)
    found = plan_of(made)
    assert unmet(found) == {}
    assert sorted(len(s.orders) for s in found.plan.sowings) in ([1, 4], [2, 3])


def test_orders_more_than_a_week_apart_share_no_sowing():
    slow = house(crew=crew(setup_minutes=600.0), prices=replace(house().prices, short_plant=50.0))
    kept = replace(CRESS, hold_d=14)
    for apart, n_sowings in ((7, 1), (8, 2)):
        made = inputs(
            order("a", 10, 15), order("b", 10, 15 + apart),
            house=replace(slow, places=(BENCH, STORE)), catalog=Reference(crops={"cress": kept}),
        )  # fmt: skip
        found = plan_of(made)
        assert unmet(found) == {}
        assert len(found.plan.sowings) == n_sowings


@pytest.mark.parametrize(
    "change",
    [{"system": "bed"}, {"handover": "pulled"}, {"variety": "Green"}, {"organic": True}],
)
def test_orders_of_another_kind_share_no_sowing(change):
    lots = (LOT, replace(LOT, id="L2", variety="Red", organic=True))
    if "organic" not in change:
        lots = (LOT, replace(LOT, id="L2", variety="Red", price_per_1000=20.0))
    slow = house(crew=crew(setup_minutes=60.0))
    made = inputs(order("a", 10, 15), order("b", 10, 15, **change), house=slow, lots=lots)
    assert all(len(s.orders) == 1 for s in plan_of(made).plan.sowings)


def test_an_order_is_at_most_seven_days_late():
    """Sown on the first day, 0, it is ready on day 10."""
    for wanted, found in ((5, {}), (3, {}), (2, {"a": "too_soon"})):
        planned = plan_of(inputs(order("a", 10, wanted)))
        assert unmet(planned) == found
        assert handed(planned)["a"] == ([10] if not found else [])


def test_handing_over_is_on_the_day_of_the_window_nearest_to_the_wanted_one():
    """Sown on day 1 it waits from 11 until 15; sown on day 7 it goes out the day it is ready."""
    once = house(crew=crew(sow_days=(1,), closed=frozenset({on(8)})))
    assert handed(plan_of(inputs(order("a", 10, 15, early=3, late=3), house=once)))["a"] == [15]
    lot = replace(LOT, arrives_on=on(7))
    assert handed(plan_of(inputs(order("a", 10, 16, early=3, late=3), lots=(lot,))))["a"] == [17]


def test_overgrown_plants_are_not_handed_over():
    """Sown on day 0 plants are good until day 14; those of day 14 come too late."""
    limit = crew(sow_days=(0,), closed=frozenset({on(7)}))
    for wanted, found in ((14, {}), (15, {"a"})):
        made = inputs(order("a", 10, wanted), house=house(crew=limit))
        assert set(unmet(plan_of(made))) == set(found)


@pytest.mark.parametrize("closed", [frozenset(), frozenset({on(17), on(18)})])
def test_what_is_wanted_on_a_day_off_is_packed_the_work_day_before(closed):
    """Day 20 is a Sunday: packed on Friday, or on Wednesday if Thursday and Friday are off."""
    made = inputs(order("a", 10, 20), house=house(crew=crew(closed=closed)))
    found = plan_of(made)
    packed = [day_of(t.date) for t in found.plan.tasks if t.task == "pack"]
    assert packed == [16 if closed else 18]
    assert handed(found)["a"] == [20]
    assert day_of(found.plan.sowings[0].steps[-1].to_date) == 20


def test_cancelled_orders_are_left_out():
    found = plan_of(inputs(order("a", 10, 15), order("b", 10, 60, status="cancelled")))
    assert [o.order for o in found.plan.orders] == ["a"]
    assert found.plan.until_date == on(15 + 14)


# Potting on and spacing


def test_plants_are_potted_on_and_spaced_on_their_days():
    """Up at 2.5; 4 d later, day 6, potted on (Sunday, so Monday 7); 8 d later, day 10, spaced.

    Grown 12 d after emergence at 14.5, day 15, ready at 15.5: sown on day 0 it goes out on day 16.
    """
    pots = house(
        replace(BENCH, n_positions=None, area_m2=4.0, usable_frac=1.0),
        stock=("sheet-40", "pot-5"), crew=crew(sow_days=(0,)),
    )  # fmt: skip
    found = plan_of(inputs(order("a", 20, 16), house=pots))
    (sowing,) = found.plan.sowings
    steps = [(s.kind.value, s.container, day_of(s.from_date)) for s in sowing.steps]
    assert steps == [
        ("germinate", "sheet-40", 0), ("grow", "sheet-40", 2), ("pot_on", "pot-5", 7),
        ("space", "pot-5", 10), ("tone", "pot-5", 15),
    ]  # fmt: skip
    spaced = next(s for s in sowing.steps if s.kind is StepKind.SPACE)
    # 25 plants on a square meter, and never closer than the carriers stand.
    area = max(spaced.n_containers * 0.1, spaced.n_cells / 25.0)
    assert spaced.plants_per_m2 == pytest.approx(spaced.n_cells / area, abs=1e-3)


def test_without_the_container_to_start_in_nothing_is_potted_on():
    made = inputs(order("a", 20, 16), house=house(stock=("pot-5",)))
    assert unmet(plan_of(made)) == {"a": "container"}


# The rest of a shared sowing after its first order has left

DEAR_SHORT = replace(house().prices, short_plant=20.0)
SLOW = crew(sow_days=(0,), closed=frozenset({on(7)}), setup_minutes=60.0)
THURSDAY = crew(sow_days=(3,), closed=frozenset({on(10)}), setup_minutes=60.0)


def test_orders_of_one_sowing_go_out_on_their_own_days():
    """Twelve of twenty-four plants leave on day 10; half of the cells stay until day 13."""
    made = inputs(order("a", 12, 10), order("b", 12, 13), house=house(crew=SLOW, prices=DEAR_SHORT))
    made = replace(made, house=replace(made.house, places=(replace(BENCH, price_per_m2_day=0.0),)))
    found = plan_of(made)
    (sowing,) = found.plan.sowings
    assert handed(found) == {"a": [10], "b": [13]}
    before, rest = sowing.steps[-2:]
    assert (day_of(before.to_date), day_of(rest.from_date), day_of(rest.to_date)) == (10, 10, 13)
    assert rest.n_cells == before.n_cells // 2


def test_room_is_charged_for_the_trays_that_still_stand():
    """Two trays for ten days at 0.02 a day, and both still stand until day 13: 0.26."""
    made = inputs(order("a", 6, 10), order("b", 10, 13), house=house(crew=SLOW, prices=DEAR_SHORT))
    assert plan_of(made).plan.cost_parts["room"] == pytest.approx(0.26)


@pytest.mark.parametrize("cool", [COOL, STORE], ids=lambda place: place.name)
def test_the_rest_is_toned_or_held_only_once_it_is_carried_there(cool):
    """Order a leaves on Sunday 13, before the toning move of Monday 14; b on day 18."""
    made = inputs(
        order("a", 10, 13), order("b", 10, 18), catalog=reference(hold_d=10),
        house=house(BENCH, cool, crew=THURSDAY, prices=DEAR_SHORT),
    )  # fmt: skip
    assert unmet(plan_of(made)) == {}


def test_nothing_is_carried_into_the_cold_store_on_a_day_off():
    alone = crew(sow_days=(0,), weekend_minutes=0.0, closed=frozenset({on(7), on(10)}))
    made = inputs(
        order("a", 10, 13), house=house(BENCH, STORE, crew=alone), catalog=reference(hold_d=7)
    )
    assert unmet(plan_of(made)) == {}


@pytest.mark.parametrize("plants", [35, 45, 60])
def test_the_bound_is_below_the_cost_where_most_of_an_order_is_enough(plants):
    made = inputs(order("a", plants, 20, min_frac=0.8), lots=(replace(LOT, n_normal=134),))
    plan = plan_of(made, with_bound=False).plan
    assert plan.bound <= plan.cost
