"""The page that describes the files is read by the readers that it describes."""

import re
from dataclasses import fields
from pathlib import Path

import msgspec
import pytest

from sowbench.domain import plan as plan_records
from sowbench.domain.records import Prices
from sowbench.exchange import journal, orders, pins, plan_tables, seed, standing
from sowbench.exchange.house import LIGHTS, read_house
from sowbench.exchange.plan_json import plan_from_json

PAGE = (Path(__file__).parents[2] / "docs" / "formats.md").read_text(encoding="utf-8")


def section(heading):
    """Return the text under a heading of the second level."""
    found = re.search(
        rf"^## {re.escape(heading)}\n(.*?)(?=^## |\Z)", PAGE, re.MULTILINE | re.DOTALL
    )
    assert found, heading
    return found[1]


def example(heading):
    """Return the example of a section."""
    found = re.search(r"^```\w+\n(.*?)^```", section(heading), re.MULTILINE | re.DOTALL)
    assert found, heading
    return found[1]


def resolve_crop(text):
    return text


def crop_unit(_crop):
    return "plant"


def test_example_of_orders_reads_as_the_page_says(write):
    read = orders.read_orders(
        write("orders.csv", example("orders.csv")), resolve_crop=resolve_crop, crop_unit=crop_unit
    )
    plants = {each.id: each.plants for each in read.orders}
    assert plants["leeks"] == 6000
    assert plants["salad/2027-03-29"] == 300
    assert len(plants) == 8
    assert [each.id for each in read.cancelled] == ["salad/2027-04-05"]


def test_examples_of_the_other_tables_are_read(write):
    lots = seed.read_seed(write("s.csv", example("seed.csv")), resolve_crop=resolve_crop).lots
    assert [each.id for each in lots] == ["K26", "B4"]
    stands = standing.read_standing(
        write("t.csv", example("standing.csv")),
        resolve_crop=resolve_crop,
        container_cells={"plug-288": 288},
        orders=["leeks"],
    )
    assert stands.standing[0].n_counted == 1010
    assert len(pins.read_pins(write("p.csv", example("pins.csv"))).pins) == 2
    entries = journal.read_journal(
        write("j.csv", example("journal.csv")), resolve_crop=resolve_crop, sowings=["S-014"]
    ).entries
    assert [each.id for each in entries] == ["e1", "e2", "e4"]


def test_example_of_the_house_is_read(write):
    house = read_house(write("house.toml", example("house.toml")), containers=["plug-128"])
    assert [each.name for each in house.places] == ["Warm room", "North bench"]


def test_example_of_the_plan_is_read():
    assert plan_from_json(example("plan.json").encode()).bound == 12.5


@pytest.mark.parametrize(
    ("heading", "columns"),
    [
        ("orders.csv", orders.COLUMNS),
        ("seed.csv", seed.COLUMNS),
        ("standing.csv", standing.COLUMNS),
        ("pins.csv", pins.COLUMNS),
        ("journal.csv", journal.COLUMNS),
        ("The tables of a plan", plan_tables.CHANCE_COLUMNS),
        ("The tables of a plan", plan_tables.TASK_COLUMNS),
        ("The tables of a plan", plan_tables.SUPPLY_COLUMNS),
    ],
)
def test_every_column_is_described(heading, columns):
    text = section(heading)
    assert [each for each in columns if f"`{each}`" not in text] == []


def test_every_key_of_the_plan_is_described():
    kinds = [each for each in vars(plan_records).values() if isinstance(each, type)]
    records = [each for each in kinds if each.__module__ == plan_records.__name__]
    assert len(records) > 10
    inside = {(plan_records.Price, "kind"), (plan_records.Price, "name")}
    names = {
        each.name
        for record in records
        for each in fields(record)
        if (record, each.name) not in inside
    }
    text = section("plan.json")
    assert [each for each in sorted(names) if f"`{each}`" not in text] == []


def test_every_default_price_is_the_one_the_page_states():
    text = section("house.toml")
    for name, value in msgspec.to_builtins(Prices()).items():
        if name != "currency":
            row = re.search(rf"\| `{name}` \|.*\| ([\d.]+) \|$", text, re.MULTILINE)
            assert row, name
            assert float(row[1]) == value


def test_every_key_of_the_house_is_described(write, problems_of):
    """A table with an unknown key lists or nears its own; all of them stand on the page."""
    text = section("house.toml")
    known = set()
    bad = (
        '[house]\nname="x"\nzzzz=1\n[crew]\nzzzz=1\n[prices]\nzzzz=1\n'
        '[[place]]\nname="A"\nkind="bench"\npositions=1\nzzzz=1\n'
        '[[hands]]\nname="A"\nminutes=1\nzzzz=1\n'
        '[[machine]]\nname="A"\ncontainers=["a"]\ntrays_per_hour=1\nzzzz=1\n'
    )
    for _, column, _, message in problems_of(read_house, write("h.toml", bad)):
        assert column.endswith(".zzzz")
        known |= set(message.partition(" It has ")[2].rstrip(".").split(", "))
    assert len(known) > 40
    assert [each for each in sorted(known) if f"`{each}`" not in text] == []
    assert {"north", "south", "lamps"} < set(LIGHTS)
