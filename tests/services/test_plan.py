"""A plan is written whole, or nothing of it is."""

import json

import pytest
from tests.services.fakes import FROM_DATE, FakePlanner, fake_parts, write_orders

from sowbench.exchange.plan_json import read_plan
from sowbench.planning.parameters import SolveParameters
from sowbench.science.errors import InputFileError
from sowbench.services.inputs import InputFiles
from sowbench.services.plan import plan_season, written_files

PARAMETERS = SolveParameters(seconds=1)


def plan(files, out, parts=None):
    return plan_season(files, FROM_DATE, PARAMETERS, 7, out, parts or fake_parts())


def test_the_folder_holds_the_plan_its_tables_cards_and_picture(tmp_path):
    parts = fake_parts(draw=lambda uses, title: {"season.svg": f"{len(uses)} {title}".encode()})
    outcome = plan(InputFiles(write_orders(tmp_path)), tmp_path / "out", parts)
    names = {each.name for each in outcome.paths}
    assert names == {
        "plan.json", "orders.csv", "sowings.csv", "tasks.csv", "supplies.csv", "cards.md",
        "season.svg", "made-from.json",
    }  # fmt: skip
    assert read_plan(tmp_path / "out" / "plan.json") == outcome.plan
    assert json.loads((tmp_path / "out" / "plan.json").read_text())["seed"] == 7
    assert (tmp_path / "out" / "season.svg").read_text() == "2 2 sowings for 2 orders"
    assert "# How to sow" in (tmp_path / "out" / "cards.md").read_text(encoding="utf-8")


def test_every_file_is_said_what_for(tmp_path):
    outcome = plan(InputFiles(write_orders(tmp_path)), tmp_path / "out")
    assert all(written_files(outcome.paths).values())


def test_nothing_is_written_where_the_input_is_wrong(tmp_path):
    orders = write_orders(tmp_path, "order,crop,plants,wanted_on\nO-1,tomato,0,2027-05-15\n")
    planner = FakePlanner()
    with pytest.raises(InputFileError):
        plan(InputFiles(orders), tmp_path / "out", fake_parts(planner))
    assert planner.calls == []
    assert not (tmp_path / "out").exists()


def test_a_file_in_the_way_is_told_before_any_work(tmp_path):
    planner = FakePlanner()
    with pytest.raises(InputFileError, match="this is a file"):
        plan(InputFiles(write_orders(tmp_path)), tmp_path / "orders.csv" / "x", fake_parts(planner))
    assert planner.calls == []


def test_seed_and_parameters_reach_the_planner(tmp_path):
    planner = FakePlanner()
    plan(InputFiles(write_orders(tmp_path)), None, fake_parts(planner))
    ((inputs, parameters, seed),) = planner.calls
    assert (parameters, seed) == (PARAMETERS, 7)
    assert inputs.from_date == FROM_DATE
