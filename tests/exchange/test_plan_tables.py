import csv
import io
from dataclasses import replace
from datetime import date

import pytest

from sowbench.domain.plan import Unmet
from sowbench.domain.records import Order
from sowbench.exchange.orders import read_orders
from sowbench.exchange.plan_json import read_plan
from sowbench.exchange.plan_tables import (
    orders_table,
    safe_text,
    sowings_table,
    supplies_table,
    table_bytes,
    tasks_table,
    write_plan_folder,
)
from sowbench.science.errors import OutOfRangeError


def rows(data):
    return list(csv.DictReader(io.StringIO(data.decode("utf-8"))))


@pytest.fixture
def order():
    return Order(
        id="kale Long Acre",
        crop="kale",
        plants=240,
        wanted_date=date(2027, 4, 8),
        earliest_date=date(2027, 4, 6),
        latest_date=date(2027, 4, 10),
        customer="Long Acre",
        containers=("plug-72", "cube-40"),
        confidence_frac=0.9,
        partial=True,
        note="=cmd, or so",
    )


def test_orders_carry_their_own_columns_and_their_chances(plan, order):
    (row,) = rows(orders_table(plan, [order]))
    assert (row["order"], row["wanted_on"], row["container"]) == (
        "kale Long Acre",
        "2027-04-08",
        "plug-72|cube-40",
    )
    assert (row["planned"], row["unmet"], row["unmet_reason"]) == ("200", "40", "room")
    assert (row["chance_enough_frac"], row["chance_in_time_frac"], row["chance_filled_frac"]) == (
        "0.96",
        "0.8",
        "0.78",
    )
    assert row["hand_over"] == "2027-04-08 120 from S-1|2027-04-09 80 from S-1"
    assert row["risky"] == "germination of lot L1"


def test_orders_written_with_a_plan_can_be_read_again(plan, order, write, resolve_crop, crop_unit):
    path = write("orders.csv", orders_table(plan, [order]))
    found = read_orders(path, resolve_crop=resolve_crop, crop_unit=crop_unit)
    assert found.orders == (order,)


def test_orders_without_their_records_carry_name_and_plants(plan):
    (row,) = rows(orders_table(plan))
    assert (row["order"], row["plants"]) == ("kale Long Acre", "240")
    assert "crop" not in row


def test_order_that_is_not_planned_at_all_has_a_row(plan):
    bare = replace(plan, orders=(), unmet=(Unmet("leek", 30, "seed"), Unmet("leek", 5, "room")))
    (row,) = rows(orders_table(bare))
    assert (row["order"], row["planned"], row["unmet"], row["unmet_reason"]) == (
        "leek",
        "0",
        "35",
        "seed|room",
    )


def test_sowings_show_their_way_through_the_house(plan):
    (row,) = rows(sowings_table(plan))
    assert row["plants_per_cell"] == "1"
    assert row["orders"] == "kale Long Acre: 200"
    assert row["steps"] == (
        "germinate 2027-03-04 to 2027-03-06 in Warm room, 3 plug-72"
        "|grow 2027-03-06 to 2027-04-10 in North bench, 3 plug-72"
    )
    assert (row["leaves_on"], row["ready_p50"], row["plants_p50"]) == (
        "2027-04-10",
        "2027-04-05",
        "203",
    )


def test_clump_is_no_day_to_a_spreadsheet(plan):
    (sowing,) = plan.sowings
    clump = replace(plan, sowings=(replace(sowing, plants_per_cell=(4, 5)),))
    assert rows(sowings_table(clump))[0]["plants_per_cell"] == "4 to 5"


def test_tasks_stand_in_the_order_of_their_days(plan):
    found = rows(tasks_table(plan))
    assert [(each["date"], each["task"], each["minutes"], each["slack_d"]) for each in found] == [
        ("2027-03-04", "sow", "18.5", "0"),
        ("2027-03-06", "carry", "1.2", "1"),
    ]


def test_supplies_carry_what_to_buy(plan):
    assert rows(supplies_table(plan)) == [
        {
            "needed_on": "2027-03-04",
            "order_by": "2027-02-20",
            "item": "plug-72",
            "amount": "3",
            "unit": "trays",
            "in_stock": "1",
            "to_buy": "2",
        }
    ]


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_text_that_a_spreadsheet_would_calculate_gets_an_apostrophe(start):
    assert safe_text(f"{start}1+1") == f"'{start}1+1"
    assert safe_text(f"a{start}1") == f"a{start}1"


def test_numbers_and_days_are_not_taken_for_text_to_be_calculated():
    data = table_bytes(("a", "b", "c"), [{"a": -1.5, "b": date(2027, 3, 1), "c": None}])
    assert rows(data) == [{"a": "-1.5", "b": "2027-03-01", "c": ""}]


def test_folder_holds_the_plan_its_tables_and_pictures(plan, tmp_path):
    paths = write_plan_folder(plan, tmp_path / "out", pictures={"season.svg": b"<svg/>"})
    names = ["plan.json", "orders.csv", "sowings.csv", "tasks.csv", "supplies.csv", "season.svg"]
    assert [each.name for each in paths] == names
    assert sorted(each.name for each in (tmp_path / "out").iterdir()) == sorted(names)
    assert read_plan(tmp_path / "out" / "plan.json") == plan


def test_folder_stays_as_it_was_when_the_plan_cannot_be_written(plan, tmp_path):
    folder = tmp_path / "out"
    write_plan_folder(plan, folder)
    before = {each.name: each.read_bytes() for each in folder.iterdir()}
    with pytest.raises(OutOfRangeError):
        write_plan_folder(replace(plan, cost=float("nan"), orders=()), folder)
    assert {each.name: each.read_bytes() for each in folder.iterdir()} == before
