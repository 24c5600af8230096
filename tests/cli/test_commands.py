"""Every command runs, in text and in JSON, ends with the right status, and refuses well."""

import json

import click
import pytest
from click.testing import CliRunner
from tests.services.fakes import (
    ORDERS,
    FakeChecker,
    FakeFinding,
    FakePlanner,
    FakePromiser,
    fake_parts,
    write_orders,
)

from sowbench.cli import COMMANDS, main
from sowbench.cli.text import columns_of


def run(*arguments, parts=None):
    result = CliRunner().invoke(main, [str(each) for each in arguments], obj=parts or fake_parts())
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def fits(text):
    return [each for each in text.splitlines() if columns_of(each) > 100] == []


@pytest.fixture
def orders(tmp_path):
    return write_orders(tmp_path)


def plan(tmp_path, orders, *more, parts=None):
    return run("plan", "--orders", orders, "--from", "2027-01-04", "--out", tmp_path / "out", *more,
               parts=parts)  # fmt: skip


def test_plan_prints_what_is_true_first(tmp_path, orders):
    result = plan(tmp_path, orders, "--all", "--cards", "--assumptions")
    assert result.exit_code == 0
    assert fits(result.stdout)
    lines = result.stdout.splitlines()
    assert lines[0] == "All 2 orders are planned."
    assert "at most 4.0 % above the cheapest possible plan" in " ".join(lines)
    assert "How to sow" not in lines[0]
    for words in ("What to sow: 2 sowings", "What to buy", "Assumed: ", "Written to", "Why: "):
        assert words in result.stdout
    assert "Laying out" in result.stderr


def test_plan_ends_with_1_where_an_order_is_unmet_and_says_what_would_help(tmp_path, orders):
    result = plan(tmp_path, orders, parts=fake_parts(FakePlanner(most=100)))
    assert result.exit_code == 1
    assert "O-2 for Low Barn: 200 lettuce plants for Tue 20 April." in result.stdout
    assert "→ Give 200 plants on Tue 27 April" in result.stdout
    assert (tmp_path / "out" / "plan.json").exists()


def test_plan_as_json_is_json_and_progress_stays_on_stderr(tmp_path, orders):
    result = plan(tmp_path, orders, "--json")
    told = json.loads(result.stdout)
    assert told["summary"]["n_orders"] == 2
    assert told["summary"]["from_date"] == "2027-01-04"
    assert len(told["files"]) == 7
    assert "Laying out" in result.stderr


def test_plan_passes_its_limits_on(tmp_path, orders):
    planner = FakePlanner()
    plan(tmp_path, orders, "--seconds", "5", "--rounds", "3", "--random", "9",
         parts=fake_parts(planner))  # fmt: skip
    ((_, parameters, seed),) = planner.calls
    assert (parameters.seconds, parameters.rounds, seed) == (5.0, 3, 9)


def test_plan_without_a_first_day_starts_today(tmp_path, orders, monkeypatch):
    from datetime import date

    from sowbench.cli import shared

    monkeypatch.setattr(shared, "today", lambda: date(2027, 2, 3))
    planner = FakePlanner()
    run("plan", "--orders", orders, "--out", tmp_path / "out", parts=fake_parts(planner))
    assert planner.calls[0][0].from_date == date(2027, 2, 3)


def test_bad_input_names_every_bad_row_writes_nothing_and_ends_with_2(tmp_path):
    bad = ORDERS.replace("2027-05-15", "15/05/2027").replace("lettuce,200", "letuce,0")
    result = plan(tmp_path, write_orders(tmp_path, bad))
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "3 things are not right" in result.stderr
    for words in ("row 2, column wanted_on", "15/05/2027", "2027-05-15", "row 3, column crop",
                  "letuce", "row 3, column plants"):  # fmt: skip
        assert words in result.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("day", ["05/15/2027", "2027-13-01", "soon"])
def test_a_day_in_another_order_is_refused_with_the_right_one(tmp_path, orders, day):
    result = run("plan", "--orders", orders, "--out", tmp_path / "out", "--from", day)
    assert result.exit_code == 2
    assert "2027-05-15" in result.stderr
    assert day in result.stderr


def test_check_says_that_all_holds(tmp_path, orders):
    plan(tmp_path, orders)
    result = run("check", tmp_path / "out", "--orders", orders)
    assert result.exit_code == 0
    assert "42 rules and figures recomputed without the planner: all hold." in result.stdout


def test_check_finds_the_files_itself_and_tells_if_one_has_changed(tmp_path, orders):
    plan(tmp_path, orders)
    orders.write_text(ORDERS.replace("tomato,60", "tomato,61"), encoding="utf-8")
    result = run("check", tmp_path / "out")
    assert result.exit_code == 0
    assert "orders.csv is not as it was when the plan was made." in result.stdout


def test_check_does_not_guess_half_of_the_files(tmp_path, orders):
    plan(tmp_path, orders)
    result = run("check", tmp_path / "out", "--seed", orders)
    assert result.exit_code == 2
    assert "--seed needs --orders" in result.stderr


def test_check_asks_for_the_files_where_none_are_written_down(tmp_path, orders):
    plan(tmp_path, orders)
    (tmp_path / "out" / "made-from.json").unlink()
    result = run("check", tmp_path / "out")
    assert result.exit_code == 2
    assert "give its files, --orders first" in result.stderr


def test_check_leaves_the_bound_out_where_it_is_told_and_says_so(tmp_path, orders):
    plan(tmp_path, orders)
    checker = FakeChecker()
    parts = fake_parts(checker=checker)
    assert "was not recomputed" not in run("check", tmp_path / "out", parts=parts).stdout
    assert checker.with_bound is True
    told = run("check", tmp_path / "out", "--no-bound", parts=parts).stdout
    assert "was not recomputed" in told
    assert checker.with_bound is False


def test_check_names_what_does_not_hold_and_ends_with_1(tmp_path, orders):
    plan(tmp_path, orders)
    many = tuple(FakeFinding("room", f"bench {n}", "Too much.", "1", "2") for n in range(60))
    parts = fake_parts(checker=FakeChecker(many))
    result = run("check", tmp_path / "out", "--orders", orders, parts=parts)
    assert result.exit_code == 1
    assert "Fails: room (60)" in result.stdout
    assert "bench 0: Too much. Expected 1; the plan has 2." in result.stdout
    assert "and 20 more" in result.stdout
    assert fits(result.stdout)
    assert result.stdout.count("bench") < run(
        "check", tmp_path / "out", "--orders", orders, "--all", parts=parts
    ).stdout.count("bench")
    told = json.loads(
        run("check", tmp_path / "out", "--orders", orders, "--json", parts=parts).stdout
    )
    assert (told["holds"], told["check"]["n_fails"]) == (False, 60)


def test_try_answers_in_sentences_and_in_json():
    question = ("try", "tomato", "--plants", "12", "--on", "2027-05-15", "--from", "2027-01-04")
    result = run(*question)
    assert result.exit_code == 0
    assert result.stdout.startswith(
        "12 tomato plants for Sat 15 May 2027: sow on Mon 5 April 2027."
    )
    assert fits(result.stdout)
    assert "Why: " not in result.stdout
    assert "Why: " in run(*question, "--why").stdout
    answer = json.loads(run(*question, "--json").stdout)["answer"]
    assert answer["sowings"][0]["sow_date"] == "2027-04-05"


def test_try_says_what_would_help_where_it_cannot_be_done():
    result = run("try", "tomato", "--plants", "12", "--on", "2027-05-15", "--from", "2027-01-04",
                 parts=fake_parts(FakePlanner(most=1)))  # fmt: skip
    assert result.exit_code == 1
    assert "this cannot be done" in result.stdout
    assert "→ Give 12 plants on Sat 22 May" in result.stdout


def test_a_question_about_an_unknown_crop_names_the_nearest():
    result = run("try", "tomatto", "--plants", "12", "--on", "2027-05-15", "--from", "2027-01-04")
    assert result.exit_code == 2
    assert "Did you mean 'tomato'" in result.stderr


def promise(tmp_path, plants, *more, **answers):
    parts = fake_parts(promise=FakePromiser(answer=answers))
    return run("promise", "leek", "--plants", plants, "--on", "2027-05-20", "--plan",
               tmp_path / "out", *more, parts=parts)  # fmt: skip


def test_promise_says_yes_how_and_what_it_squeezes(tmp_path, orders):
    plan(tmp_path, orders)
    result = promise(tmp_path, 60)
    assert result.exit_code == 0
    assert fits(result.stdout)
    words = " ".join(result.stdout.split())
    assert words.startswith("60 leek for Thu 20 May 2027: yes, filled about 7 times in 10.")
    assert "Sow on Sat 10 April: 90 cells of 2 seeds each, lot A-1" in words
    assert "It costs about 36.00, that is 0.60 each" in words
    assert "windowsill from Fri 2 April to Tue 20 April; seed of A-1." in words
    assert "earliest" not in words


def test_promise_says_no_why_and_the_earliest_day(tmp_path, orders):
    plan(tmp_path, orders)
    result = promise(tmp_path, 600)
    assert result.exit_code == 1
    assert result.stdout.startswith("600 leek for Thu 20 May 2027: no. There is no room for it.")
    assert "The earliest day is Thu 27 May 2027." in result.stdout


def test_promise_does_not_call_a_gamble_a_yes(tmp_path, orders):
    plan(tmp_path, orders)
    result = promise(tmp_path, 60, chance_filled_frac=0.2, squeezes=())
    assert "it fits, but is filled only about 2 times in 10." in result.stdout
    assert "Nothing gets tight by it." in result.stdout


def test_promise_takes_the_plans_own_files_and_first_day(tmp_path, orders):
    plan(tmp_path, orders)
    promiser = FakePromiser()
    result = run("promise", "leek", "--plants", "60", "--on", "2027-05-20", "--plan",
                 tmp_path / "out", "--json", parts=fake_parts(promise=promiser))  # fmt: skip
    ((inputs, kept, order),) = promiser.calls
    assert [each.id for each in inputs.orders] == ["O-1", "O-2"]
    assert inputs.from_date == kept.from_date
    assert (order.crop, order.plants, order.status) == ("leek", 60, "asked")
    told = json.loads(result.stdout)["promise"]
    assert told["on_day"]["cost_per_plant"] == pytest.approx(0.6)
    assert told["on_day"]["sow_date"] == "2027-04-10"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("crop", "Courgette"), "Summer squash"),
        (("container", "plug-128"), "128 cells"),
        (("crops",), "lettuce romaine"),
        (("containers",), "wool-block-75"),
    ],
)
def test_the_reference_is_shown_in_text_and_json(arguments, words):
    result = run(*arguments)
    assert result.exit_code == 0
    assert words in result.stdout
    assert fits(result.stdout)
    told = json.loads(run(*arguments, "--json").stdout)
    assert told["format"] == f"sowbench-{arguments[0]}/1"
    assert words in json.dumps(told)


def test_every_crop_and_container_has_a_card_that_fits():
    for kind in ("crop", "container"):
        for line in json.loads(run(f"{kind}s", "--json").stdout)[f"{kind}s"]:
            result = run(kind, line["id"])
            assert result.exit_code == 0
            assert fits(result.stdout), line["id"]


@pytest.mark.parametrize("kind", ["crop", "container"])
def test_an_unknown_card_is_refused(kind):
    result = run(kind, "zzzz")
    assert result.exit_code == 2
    assert "Unknown" in result.stderr


def demo(tmp_path, *more, parts=None):
    return run("demo", "--out", tmp_path / "plan", *more, parts=parts)


def test_demo_lays_out_its_files_plans_and_checks_them(tmp_path):
    result = demo(tmp_path)
    assert result.exit_code == 0
    assert "all hold" in result.stdout
    assert "typical meteorological year" in result.stdout
    assert (tmp_path / "plan" / "inputs" / "house.toml").exists()
    assert (tmp_path / "plan" / "plan.json").exists()
    assert fits(result.stdout)


def test_demo_once_forgives_an_unmet_order_but_no_failing_rule(tmp_path):
    short = fake_parts(FakePlanner(most=100))
    assert demo(tmp_path, parts=short).exit_code == 1
    assert demo(tmp_path, "--once", parts=short).exit_code == 0
    fails = fake_parts(checker=FakeChecker((FakeFinding("room", "bench", "Too much."),)))
    assert demo(tmp_path, "--once", parts=fails).exit_code == 1
    differs = FakeChecker((FakeFinding("cost", "plan", "Another.", severity="differs"),))
    assert demo(tmp_path, "--once", parts=fake_parts(checker=differs)).exit_code == 0


def test_the_windowsill_demo_is_twelve_tomatoes(tmp_path):
    told = json.loads(demo(tmp_path, "--windowsill", "--json").stdout)
    assert (told["summary"]["n_orders"], told["summary"]["n_plants"]) == (1, 12)
    assert told["summary"]["house"] == "windowsill"


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_is_printed_for_each_shell(shell):
    result = run("completion", shell)
    assert result.exit_code == 0
    assert "_SOWBENCH_COMPLETE" in result.stdout
    assert json.loads(run("completion", shell, "--json").stdout)["script"] in result.stdout


def parameters():
    context = click.Context(main, info_name="sowbench")
    for name in COMMANDS:
        command = main.get_command(context, name)
        assert command is not None
        for parameter in command.params:
            yield name, parameter


def test_every_option_says_what_it_is_for():
    bare = [
        f"{name} {parameter.name}"
        for name, parameter in parameters()
        if isinstance(parameter, click.Option) and not parameter.help
    ]
    assert bare == []


def test_every_command_has_json_and_help_that_fits():
    for name in COMMANDS:
        result = run(name, "--help")
        assert result.exit_code == 0
        assert "--json" in result.stdout, name
        assert fits(result.stdout)
