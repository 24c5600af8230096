"""A printed plan is calm: what is alike is said once, and what has moved is said."""

from dataclasses import replace
from datetime import timedelta

import pytest
from tests.services.fakes import FROM_DATE, FakePlanner, write_orders

from sowbench.cli.render_plan import gap_words, named, plan_lines
from sowbench.cli.text import columns_of
from sowbench.domain.plan import Moved, Task
from sowbench.planning.parameters import SolveParameters
from sowbench.services.inputs import InputFiles, load_inputs
from sowbench.services.summary import summarize


@pytest.fixture
def made(tmp_path):
    inputs = load_inputs(InputFiles(write_orders(tmp_path)), FROM_DATE).inputs
    return FakePlanner()(inputs, SolveParameters(), 0).plan, inputs


def task(days, what, place="bench", sowing=""):
    return Task(FROM_DATE + timedelta(days=days), what, sowing, place, 4.0)


def text_of(plan, inputs, **more):
    lines = plan_lines(summarize(plan, inputs), **more)
    assert all(columns_of(each) <= 100 for each in lines)
    return "\n".join(lines)


def test_days_that_only_ask_for_water_are_one_line(made):
    plan, inputs = made
    tasks = (*(task(days, "water") for days in range(6)), task(3, "count", sowing="S1"))
    text = text_of(replace(plan, tasks=tasks), inputs)
    assert "Mon 4 January to Wed 6 January, only water (bench), 4 min a day" in text
    assert "Thu 7 January, 8 min" in text
    assert "Fri 8 January to Sat 9 January, only water" in text


def test_what_has_moved_is_said(made):
    plan, inputs = made
    moved = (Moved("S1", "sow_date", "2027-03-08", "2027-03-10"), Moved("S9", "new", "", "leek"))
    text = text_of(replace(plan, moved=moved), inputs)
    assert "Moved against the plan kept: 2 changes" in text
    assert "S1, sow_date: 2027-03-08 → 2027-03-10" in text
    assert "S9, new: leek" in text


def test_a_plan_without_sowings_says_so(made):
    plan, inputs = made
    text = text_of(replace(plan, sowings=(), orders=(), tasks=()), inputs)
    assert "Nothing is to be sown." in text


def test_long_lists_are_cut_and_say_where_the_rest_is(made):
    plan, inputs = made
    (sowing, *_) = plan.sowings
    many = tuple(
        replace(sowing, sowing=f"S{n}", sow_date=sowing.sow_date + timedelta(days=n))
        for n in range(20)
    )
    plan = replace(plan, sowings=many)
    assert "and 14 more sowing days, in sowings.csv" in text_of(plan, inputs)
    assert "more sowing days" not in text_of(plan, inputs, every=True)


@pytest.mark.parametrize(
    ("gap", "without", "words"),
    [
        (0.0, 0.0, "No plan can be cheaper by more than a hair: this is proven."),
        (0.008, 0.008, "at most 0.8 % above the cheapest possible plan: this is proven."),
        (0.008, 0.02, "(2.0 % with the money for short plants left out)"),
    ],
)
def test_the_gap_is_said_in_words(made, gap, without, words):
    plan, inputs = made
    plan = replace(plan, gap_frac=gap, gap_without_short_frac=without)
    assert words in gap_words(summarize(plan, inputs))


def test_more_names_than_one_can_read_are_counted():
    assert named(["a", "b", "a"]) == "a and b"
    assert named("abcdef", most=2) == "a, b and 4 more"
