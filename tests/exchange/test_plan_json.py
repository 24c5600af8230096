import dataclasses
import json
import types
import typing
from dataclasses import replace
from datetime import date
from enum import Enum

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sowbench.domain.plan import Plan, Price
from sowbench.exchange.plan_json import plan_from_json, plan_to_json, read_plan, write_plan
from sowbench.science.errors import InputFileError, OutOfRangeError


def test_plan_is_written_under_the_names_of_the_door(plan):
    values = json.loads(plan_to_json(plan))
    assert list(values)[:3] == ["format", "from_date", "until_date"]
    assert values["format"] == "sowbench-plan/1"
    assert values["prices"] == [
        {"place": "North bench", "date": "2027-04-05", "price": 0.41},
        {"crew": "", "date": "2027-03-04", "price": 0.02},
        {"lot": "L1", "date": "2027-03-04", "price": 0.001},
        {"container": "plug-72", "date": "2027-03-04", "price": 0.3},
    ]
    (sowing,) = values["sowings"]
    assert sowing["plants_per_cell"] == [1, 1]
    assert sowing["steps"][0]["kind"] == "germinate"
    assert sowing["overgrown_date"] == {"p10": "2027-04-15", "p50": "2027-04-20"}
    assert values["unmet"][0]["offers"] == [
        {
            "kind": "later",
            "wanted_on": "2027-04-12",
            "cost_change": 0.0,
            "chance_filled_frac": 0.9,
        }
    ]


def test_plan_is_read_back_as_it_was(plan, tmp_path):
    write_plan(plan, tmp_path / "plan.json")
    assert read_plan(tmp_path / "plan.json") == plan


def strategy_of(kind):
    """Draw any value of a field's type; numbers are finite, prices of the four kinds."""
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        hints = typing.get_type_hints(kind)
        drawn = {each.name: strategy_of(hints[each.name]) for each in dataclasses.fields(kind)}
        if kind is Price:
            drawn["kind"] = st.sampled_from(["place", "crew", "container", "lot"])
        if kind is Plan:
            drawn["format"] = st.just("sowbench-plan/1")
        return st.builds(kind, **drawn)
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin is tuple and inner[-1] is Ellipsis:
        return st.lists(strategy_of(inner[0]), max_size=2).map(tuple)
    if origin is tuple:
        return st.tuples(*map(strategy_of, inner))
    if origin is dict:
        return st.dictionaries(*map(strategy_of, inner), max_size=2)
    if origin in {types.UnionType, typing.Union}:
        return st.one_of(*map(strategy_of, inner))
    if isinstance(kind, type) and issubclass(kind, Enum):
        return st.sampled_from(list(kind))
    return {
        float: st.floats(allow_nan=False, allow_infinity=False),
        int: st.integers(-(2**40), 2**40),
        str: st.text(max_size=8),
        date: st.dates(),
        bool: st.booleans(),
        type(None): st.none(),
    }[kind]


@settings(max_examples=30)
@given(strategy_of(Plan))
def test_any_plan_is_read_back_as_it_was(plan):
    assert plan_from_json(plan_to_json(plan)) == plan


def test_numbers_of_numpy_are_written_as_plain_ones(plan):
    cost = typing.cast("float", np.float64(2.5))
    seed = typing.cast("int", np.int64(7))
    found = plan_from_json(plan_to_json(replace(plan, cost=cost, seed=seed)))
    assert (found.cost, found.seed) == (2.5, 7)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_number_that_json_cannot_say_is_refused_with_its_place(plan, tmp_path, value):
    (order,) = plan.orders
    bad = replace(plan, orders=(replace(order, expected_short=value),))
    with pytest.raises(OutOfRangeError, match=r"plan\.orders\[0\]\.expected_short"):
        write_plan(bad, tmp_path / "plan.json")
    assert list(tmp_path.iterdir()) == []


def test_price_of_an_unknown_kind_is_refused(plan):
    bad = replace(plan, prices=(Price("water", "tap", date(2027, 3, 1), 1.0),))
    with pytest.raises(OutOfRangeError, match="water"):
        plan_to_json(bad)


def altered(plan, change):
    values = json.loads(plan_to_json(plan))
    change(values)
    return json.dumps(values).encode()


@pytest.mark.parametrize(
    ("change", "where", "word"),
    [
        (lambda each: each.update(format="sowbench-plan/2"), "format", "This sowbench reads"),
        (lambda each: each.update(format="other"), "format", "begins with format"),
        (lambda each: each.pop("format"), "format", "begins with format"),
        (lambda each: each.pop("cost"), None, "cost"),
        (lambda each: each.update(cost="much"), "$.cost", "float"),
        (lambda each: each.update(from_date="1.3.2027"), "$.from_date", "date"),
        (lambda each: each["orders"][0].update(plants=1.5), "$.orders[0].plants", "int"),
        (
            lambda each: each["sowings"][0]["steps"][0].update(kind="sleep"),
            "$.sowings[0].steps[0].kind",
            "sleep",
        ),
        (lambda each: each["prices"][0].pop("place"), "$.prices[0]", "exactly one"),
        (lambda each: each["prices"].append(7), "$.prices[4]", "exactly one"),
    ],
)
def test_plan_that_is_none_is_refused_with_its_place(plan, change, where, word):
    with pytest.raises(InputFileError) as caught:
        plan_from_json(altered(plan, change), "old/plan.json")
    (problem,) = caught.value.problems
    assert (problem.file, problem.column) == ("old/plan.json", where)
    assert word in problem.message


def test_files_that_are_no_json_are_refused(write, problems_of):
    for content in ("{", "[]", "nonsense", b"\xff\xfe{}", b"", "[" * 100_000):
        assert problems_of(read_plan, write("plan.json", content))


@given(st.binary(max_size=100))
def test_any_bytes_give_an_input_file_error(data):
    with pytest.raises(InputFileError):
        plan_from_json(data)
