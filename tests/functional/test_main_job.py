"""The main job from files to files, with the real planner and the real checker."""

import csv
import json
import os
import signal
import subprocess
import sys
import time
from datetime import date, timedelta
from pathlib import Path

import pytest

import sowbench

ORDERS = """order,customer,crop,plants,wanted_on,earliest_on,latest_on,system
O-1,Hollow Field,tomato,60,2027-05-15,2027-05-10,2027-05-20,sale
O-2,Low Barn,lettuce,90,2027-04-20,2027-04-18,2027-04-24,bed
O-3,Low Barn,basil,24,2027-05-15,2027-05-12,2027-05-20,sale
"""
FROM = ("--from", "2027-01-04")
ENVIRONMENT = os.environ | {"PYTHONPATH": str(Path(sowbench.__file__).parents[1])}


def run(folder, *arguments):
    return subprocess.run(
        [sys.executable, "-m", "sowbench", *map(str, arguments)],
        cwd=folder,
        env=ENVIRONMENT,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=300,
        check=False,
    )


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    folder = tmp_path_factory.mktemp("season")
    (folder / "orders.csv").write_text(ORDERS, encoding="utf-8")
    done = run(folder, "plan", "--orders", "orders.csv", *FROM, "--rounds", "3", "--out", "plan")
    return folder, done


def test_a_season_is_planned_from_orders_alone(season):
    folder, done = season
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("All 3 orders are planned.")
    assert max(len(each) for each in done.stdout.splitlines()) <= 100
    written = {each.name for each in (folder / "plan").iterdir()}
    assert written == {
        "plan.json", "orders.csv", "sowings.csv", "tasks.csv", "supplies.csv", "cards.md",
        "season.svg", "season.png", "made-from.json",
    }  # fmt: skip


def test_what_is_printed_is_what_is_written(season):
    folder, done = season
    plan = json.loads((folder / "plan" / "plan.json").read_text(encoding="utf-8"))
    with (folder / "plan" / "sowings.csv").open(encoding="utf-8", newline="") as file:
        sowings = list(csv.DictReader(file))
    assert len(sowings) == len(plan["sowings"]) >= 3
    assert all(each["sowing"].split()[0] in done.stdout for each in sowings)
    cards = (folder / "plan" / "cards.md").read_text(encoding="utf-8")
    assert all(f"({each['sowing']})" in cards for each in sowings)


def test_the_plan_passes_its_check(season):
    folder, _ = season
    done = run(folder, "check", "plan", "--json", "--no-bound")
    told = json.loads(done.stdout)
    assert told["check"]["n_total"] > 500
    assert told["check"]["n_fails"] == 0, told["check"]["faults"]
    assert done.returncode == (0 if told["holds"] else 1)


def test_a_plan_that_was_changed_by_hand_does_not_pass(season, tmp_path):
    folder, _ = season
    plan = json.loads((folder / "plan" / "plan.json").read_text(encoding="utf-8"))
    plan["cost"] = plan["cost"] / 2
    plan["sowings"][0]["n_seeds"] += 7
    (tmp_path / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
    done = run(folder, "check", tmp_path / "plan.json", "--orders", "orders.csv", "--no-bound")
    assert done.returncode == 1
    assert plan["sowings"][0]["sowing"] in done.stdout


def test_the_same_inputs_and_work_limit_give_the_same_plan(season):
    folder, _ = season
    run(folder, "plan", "--orders", "orders.csv", *FROM, "--rounds", "3", "--out", "again")

    def told(name):
        plan = json.loads((folder / name / "plan.json").read_text(encoding="utf-8"))
        return {key: value for key, value in plan.items() if key != "seconds"}

    assert told("again") == told("plan")


def test_bad_input_names_every_bad_row_and_writes_nothing(tmp_path):
    bad = ORDERS.replace("2027-05-15,2027-05-10", "15.05.2027,2027-05-10").replace(
        "basil", "basill"
    )
    (tmp_path / "orders.csv").write_text(bad, encoding="utf-8")
    done = run(tmp_path, "plan", "--orders", "orders.csv", *FROM, "--out", "plan")
    assert done.returncode == 2
    assert done.stdout == ""
    assert "orders.csv, row 2, column wanted_on" in done.stderr
    assert "orders.csv, row 4, column crop" in done.stderr
    assert [each.name for each in tmp_path.iterdir()] == ["orders.csv"]


def test_a_missing_option_ends_with_2(tmp_path):
    done = run(tmp_path, "plan", "--out", "plan")
    assert done.returncode == 2
    assert "--orders" in done.stderr


def test_the_windowsill_demo_plans_and_checks(tmp_path):
    done = run(tmp_path, "demo", "--windowsill", "--once")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "The order is planned." in done.stdout
    assert "rules and figures recomputed without the planner" in done.stdout
    assert (tmp_path / "demo-plan" / "inputs" / "orders.csv").exists()


def test_an_interrupt_keeps_the_best_plan_found(season):
    folder, _ = season
    command = [sys.executable, "-m", "sowbench", "plan", "--orders", "orders.csv", *FROM,
               "--seconds", "120", "--rounds", "1000000", "--out", "stopped"]  # fmt: skip
    with subprocess.Popen(
        command,
        cwd=folder,
        env=ENVIRONMENT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
    ) as process:
        assert process.stderr is not None
        for line in process.stderr:
            if line.startswith("Searching"):
                break
        began = time.monotonic()
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=100)
    assert process.returncode == 0, err
    assert time.monotonic() - began < 60
    assert out.startswith("All 3 orders are planned.")
    assert (folder / "stopped" / "plan.json").exists()


@pytest.mark.parametrize(("shell", "words"), [("bash", "plan"), ("zsh", "plan"), ("fish", "plan")])
def test_a_shell_that_asks_is_told_the_commands(tmp_path, shell, words):
    asked = ENVIRONMENT | {
        "_SOWBENCH_COMPLETE": f"{shell}_complete",
        "COMP_WORDS": "sowbench pl",
        "COMP_CWORD": "pl" if shell == "fish" else "1",
    }
    code = "from sowbench.cli import main; main(prog_name='sowbench')"
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        env=asked,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert words in done.stdout
    assert "check" not in done.stdout


def test_one_more_order_is_promised_beside_the_plan(season):
    folder, _ = season
    done = run(folder, "promise", "lettuce", "--plants", "20", "--on", "2027-04-21", "--latest",
               "2027-04-28", "--plan", "plan", "--json")  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    answer = json.loads(done.stdout)["promise"]["on_day"]
    assert answer["n_cells"] >= 20
    assert answer["sow_date"] < answer["date"]
    assert 0 < answer["chance_filled_frac"] <= answer["chance_enough_frac"] <= 1


def test_a_new_plan_keeps_what_is_sown(season):
    folder, _ = season
    plan = json.loads((folder / "plan" / "plan.json").read_text(encoding="utf-8"))
    first = min(plan["sowings"], key=lambda each: each["sow_date"])
    start = first["steps"][0]
    header = "date,kind,sowing,n,crop,container,place,n_containers"
    values = (first["sow_date"], "sown", first["sowing"], first["n_cells"], first["crop"],
              start["container"], start["place"], start["n_containers"])  # fmt: skip
    (folder / "journal.csv").write_text(
        f"{header}\n{','.join(map(str, values))}\n", encoding="utf-8"
    )
    day = date.fromisoformat(first["sow_date"]) + timedelta(days=3)
    done = run(folder, "plan", "--orders", "orders.csv", "--keep", "plan", "--done", "journal.csv",
               "--from", day, "--rounds", "2", "--out", "next")  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    new = json.loads((folder / "next" / "plan.json").read_text(encoding="utf-8"))
    kept = {each["sowing"]: each for each in new["sowings"]}
    assert kept[first["sowing"]]["n_cells"] == first["n_cells"]
    assert "sowing that stands already" in done.stdout.replace("\n", " ")
