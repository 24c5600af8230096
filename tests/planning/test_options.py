"""What an order can be sown in, from which lots, with how many seeds, and together with what."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.planning.tiny_house import (
    CRESS,
    LOT,
    TRAY,
    Reference,
    house,
    inputs,
    order,
    plan_of,
    season_of,
)

from sowbench.domain.records import ContainerStock, Machine, Pin
from sowbench.planning.options import (
    admissible_lots,
    container_paths,
    group_table,
    seeds_per_cell_options,
    shared_groups,
)


def paths(season, wanted):
    """Containers of each path by id."""
    return {
        (p.first.id, p.last.id)
        for p in container_paths(season, season.catalog.crops[wanted.crop], wanted)
    }


ALL = house(stock=("tray-20", "box-10", "sheet-40", "pot-5"))


def test_paths_are_containers_with_a_rule_potted_on_from_the_right_class():
    wanted = order("a", 10, 15)
    season = season_of(inputs(wanted, house=ALL))
    assert paths(season, wanted) == {
        ("tray-20", "tray-20"), ("box-10", "box-10"), ("sheet-40", "pot-5")
    }  # fmt: skip


@pytest.mark.parametrize(
    ("change", "found"),
    [
        ({"containers": ("pot-5",)}, {("sheet-40", "pot-5")}),
        ({"containers": ("sheet-40",)}, set()),
        ({"organic": True}, {("tray-20", "tray-20")}),
        ({"system": "raft"}, set()),
    ],
)
def test_the_order_narrows_the_paths(change, found):
    wanted = order("a", 10, 15, **change)
    season = season_of(inputs(wanted, house=ALL, lots=(replace(LOT, organic=True),)))
    assert paths(season, wanted) == found


def test_a_house_that_lists_no_containers_takes_all_of_the_reference():
    wanted = order("a", 10, 15)
    season = season_of(inputs(wanted, house=replace(house(), stock=())))
    assert paths(season, wanted) == paths(season_of(inputs(wanted, house=ALL)), wanted)


TWIN = replace(TRAY, id="twin-20", name="Twin of 20", price=1.0)


def twins(*stock):
    """A season with two trays that differ in their reference price alone."""
    crop = replace(CRESS, cells_ok=("tray-20", "twin-20"))
    catalog = Reference(crops={"cress": crop}, containers={"tray-20": TRAY, "twin-20": TWIN})
    wanted = order("a", 10, 15)
    return season_of(inputs(wanted, house=house(stock=stock), catalog=catalog)), wanted


def test_of_two_like_containers_the_cheaper_is_kept():
    assert paths(*twins("tray-20", "twin-20")) == {("twin-20", "twin-20")}


def test_a_like_container_is_kept_where_the_cheaper_one_may_run_out():
    scarce = ContainerStock("twin-20", n_in_stock=3)
    assert paths(*twins("tray-20", scarce)) == {("tray-20", "tray-20"), ("twin-20", "twin-20")}


def test_the_house_s_own_price_decides_which_is_cheaper():
    own = ContainerStock("tray-20", price=0.5)
    assert ("tray-20", "tray-20") in paths(*twins(own, "twin-20"))


def test_a_container_that_is_dearer_can_still_be_pinned():
    season, wanted = twins("tray-20", "twin-20")
    made = inputs(
        wanted, house=season.house, catalog=season.catalog, pins=(Pin("a", container="tray-20"),)
    )
    (sowing,) = plan_of(made).plan.sowings
    assert sowing.steps[0].container == "tray-20"


LOTS = (
    LOT,
    replace(LOT, id="L2", variety="Red", organic=True),
    replace(LOT, id="L3", variety="red", treated=True),
    replace(LOT, id="L4", variety="Red", n_seeds=0),
    replace(LOT, id="L5", crop="rocket", variety="Red"),
)


@pytest.mark.parametrize(
    ("change", "school", "found"),
    [
        ({}, False, ["L1", "L2", "L3"]),
        ({}, True, ["L1", "L2"]),
        ({"variety": "Red"}, False, ["L2", "L3"]),
        ({"variety": "Blue", "substitutes": ("Green",)}, False, ["L1"]),
        ({"organic": True}, False, ["L2"]),
        ({"variety": "Green", "organic": True}, False, []),
    ],
)
def test_lots_that_an_order_accepts(change, school, found):
    wanted = order("a", 10, 15, **change)
    catalog = Reference(crops={"cress": CRESS, "rocket": replace(CRESS, id="rocket")})
    season = season_of(inputs(wanted, lots=LOTS, house=house(school=school), catalog=catalog))
    assert [season.lots[i].record.id for i in admissible_lots(season, wanted)] == found


def test_seeds_per_cell_are_the_usual_number_and_up_to_two_more():
    season = season_of(inputs(order("a", 10, 15)))
    lot = season.lots[0]
    crop = replace(CRESS, seeds_per_cell=2, max_seeds_per_cell=6)
    assert seeds_per_cell_options(crop, lot, None) == [2, 3, 4]
    assert seeds_per_cell_options(replace(crop, max_seeds_per_cell=3), lot, None) == [2, 3]
    assert seeds_per_cell_options(crop, lot, Pin("a", seeds_per_cell=5)) == [5]
    assert seeds_per_cell_options(crop, lot, Pin("a")) == [2, 3, 4]
    for dear in (replace(lot.record, pelleted=True), replace(lot.record, primed=True)):
        assert seeds_per_cell_options(crop, replace(lot, record=dear), None) == [2]


def groups(*orders, pins=None, **changes):
    """Groups by the names of their orders."""
    season = season_of(inputs(*orders, **changes))
    made = shared_groups(season, pins or {})
    return {"".join(season.orders[o].id for o in g.orders) for g in made}


def test_orders_that_follow_each_other_within_a_week_may_be_sown_together():
    assert groups(order("a", 5, 15), order("b", 5, 18), order("c", 5, 23)) == {
        "a", "b", "c", "ab", "bc"
    }  # fmt: skip


def test_no_more_than_four_are_sown_together():
    found = groups(*(order(name, 5, 15) for name in "abcde"))
    assert found == {"a", "b", "c", "d", "e", "ab", "bc", "cd", "de", "abc", "bcd", "cde",
                     "abcd", "bcde"}  # fmt: skip


def test_those_wanted_first_are_filled_first_then_in_file_order():
    assert "bac" in groups(order("a", 5, 16), order("b", 5, 15), order("c", 5, 16))


@pytest.mark.parametrize(
    "change",
    [
        {"system": "bed"}, {"handover": "pulled"}, {"organic": True}, {"variety": "Red"},
        {"unit": "cell"}, {"containers": ("tray-20",)},
    ],
)  # fmt: skip
def test_orders_of_another_kind_are_not_sown_together(change):
    lots = (LOT, replace(LOT, id="L2", variety="Red", organic=True))
    assert groups(order("a", 5, 15), order("b", 5, 15, **change), lots=lots) == {"a", "b"}


def test_a_pinned_order_is_sown_alone():
    both = (order("a", 5, 15), order("b", 5, 15))
    assert groups(*both, pins={"a": Pin("a")}) == {"a", "b"}


def test_table_of_groups_adds_up_needs_in_turn():
    season = season_of(
        inputs(order("a", 30, 16, min_frac=0.5), order("b", 10, 15, confidence_frac=0.99))
    )
    table = group_table(season, [g for g in shared_groups(season, {}) if len(g.orders) == 2])
    assert table.orders.tolist() == [[1, 0, -1, -1]]
    assert table.wanted[0, :2].tolist() == [15, 16]
    # Ten for the first; for the second ten and half of thirty count as filled.
    assert table.needs[0, :2].tolist() == [10, 25]
    assert table.total.tolist() == [40]
    np.testing.assert_allclose(table.share[0], [0.25, 0.75, 0.0, 0.0])
    assert table.confidence[0, :2].tolist() == [0.99, 0.9]
    assert table.short[0] == pytest.approx(2.0 * 40)


def test_table_of_a_split_order_counts_the_part_alone():
    season = season_of(inputs(order("a", 30, 16)))
    table = group_table(season, shared_groups(season, {}), [[12]])
    assert (table.needs[0, 0], table.plants[0, 0], table.total[0]) == (12, 12, 12)


def test_a_tray_that_a_machine_sows_is_not_beaten_by_one_it_does_not_take():
    lean = replace(TRAY, id="lean-20", price=1.0)
    catalog = Reference(
        crops={"cress": replace(CRESS, cells_ok=("tray-20", "lean-20"))},
        containers={each.id: each for each in (TRAY, lean)},
    )

    def found(**changes):
        made = inputs(
            order("a", 10, 12), catalog=catalog,
            house=house(stock=("tray-20", "lean-20"), **changes),
        )  # fmt: skip
        season = season_of(made)
        return {first for first, _ in paths(season, season.orders[0])}

    assert found() == {"lean-20"}
    assert found(machines=(Machine("seeder", ("tray-20",), 60.0),)) == {"tray-20", "lean-20"}
