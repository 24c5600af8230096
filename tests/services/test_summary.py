"""What is told of a plan comes from the plan and nothing else."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from tests.services.fakes import FROM_DATE, FakePlanner, write_orders

from sowbench.domain.plan import Task
from sowbench.planning.parameters import SolveParameters
from sowbench.services.inputs import InputFiles, load_inputs
from sowbench.services.summary import day_sheets, first_step, sow_days, summarize


@pytest.fixture
def made(tmp_path):
    loaded = load_inputs(InputFiles(write_orders(tmp_path)), FROM_DATE)
    planned = FakePlanner(most=100)(loaded.inputs, SolveParameters(), 3)
    return planned, loaded.inputs


def test_the_headline_counts_orders_and_plants(made):
    planned, inputs = made
    summary = summarize(planned.plan, inputs, planned.uses, ["a note"])
    assert (summary.n_orders, summary.n_planned, summary.n_partly) == (2, 1, 0)
    assert (summary.n_plants, summary.n_plants_planned) == (260, 60)
    assert (summary.n_sowings, summary.n_seeds) == (1, 75)
    assert summary.on_time_frac == pytest.approx(0.8)
    assert summary.notes == ("a note",)


def test_an_order_planned_in_part_is_neither_planned_nor_unplanned(made):
    planned, inputs = made
    unmet = (replace(planned.plan.unmet[0], plants=50),)
    summary = summarize(replace(planned.plan, unmet=unmet), inputs)
    assert (summary.n_planned, summary.n_partly, summary.n_plants_planned) == (1, 1, 210)


def test_unmet_and_risky_orders_bring_what_the_order_says(made):
    planned, inputs = made
    summary = summarize(planned.plan, inputs)
    (unmet,) = summary.unmet
    assert (unmet.order, unmet.customer, unmet.crop) == ("O-2", "Low Barn", "lettuce")
    assert (unmet.plants_ordered, unmet.plants_unmet) == (200, 200)
    (risky,) = summary.risky
    assert (risky.order, risky.chance_in_time_frac) == ("O-1", 0.8)
    assert summary.untimely == ()


def test_orders_that_miss_their_days_more_often_than_not_are_listed(made):
    planned, inputs = made
    late = replace(planned.plan.orders[0], chance_in_time_frac=0.3)
    summary = summarize(replace(planned.plan, orders=(late,)), inputs)
    assert [each.order for each in summary.untimely] == ["O-1"]


def task(days, what, place, sowing="", minutes=1.0):
    return Task(FROM_DATE + timedelta(days=days), what, sowing, place, minutes)


def test_a_day_is_walked_place_by_place_and_sowing_comes_after(made):
    planned, _ = made
    plan = replace(
        planned.plan,
        tasks=(
            task(0, "sow", "bench", "S1"),
            task(0, "count", "yard", "S1"),
            task(0, "water", "yard"),
            task(0, "water", "bench", minutes=2.0),
            task(0, "move", "bench", "S1"),
            task(0, "move", "bench", "S2"),
            task(14, "count", "yard", "S1"),
        ),
    )
    (sheet,) = day_sheets(plan, ["bench", "yard"])
    assert [(each.task, each.place) for each in sheet.tasks] == [
        ("water", "bench, yard"), ("move", "bench"), ("count", "yard"), ("sow", "bench"),
    ]  # fmt: skip
    assert sheet.tasks[0].minutes == 3.0
    assert sheet.tasks[1].sowings == ("S1", "S2")
    assert sheet.minutes == 7.0


def test_sowings_stand_under_their_day_and_standing_ones_are_no_sowings(made):
    planned, _ = made
    (sowing,) = planned.plan.sowings
    stands = replace(sowing, sowing="old", standing=True)
    (day,) = sow_days(replace(planned.plan, sowings=(stands, sowing)))
    assert day.date == date(2027, 4, 5)
    assert [each.sowing for each in day.sowings] == ["S1"]
    assert (day.sowings[0].container, day.sowings[0].n_containers) == ("plug-72", 2)
    assert first_step(sowing).from_date == sowing.sow_date


def test_what_was_sown_before_the_plan_begins_is_not_to_be_sown_again(made):
    planned, inputs = made
    (sowing,) = planned.plan.sowings
    sown = replace(sowing, sowing="sown", sow_date=FROM_DATE - timedelta(days=3))
    plan = replace(planned.plan, sowings=(sown, sowing))
    assert [each.sowing for day in sow_days(plan) for each in day.sowings] == ["S1"]
    summary = summarize(plan, inputs)
    assert (summary.n_sowings, summary.n_standing) == (1, 1)


def test_only_what_is_to_be_bought_is_listed(made):
    planned, inputs = made
    (supply,) = planned.plan.supplies
    there = replace(supply, item="label", to_buy=0.0)
    summary = summarize(replace(planned.plan, supplies=(there, supply)), inputs)
    assert [each.item for each in summary.to_buy] == ["mix"]


def test_the_fullest_day_is_told_of_each_place(made):
    planned, inputs = made
    bench, hands = planned.uses
    full = replace(bench, use=[0.2, 1.0, 0.5], capacity=[1.0, 1.0, 1.0])
    peaks = summarize(planned.plan, inputs, (full, hands)).peaks
    assert (peaks[0].date, peaks[0].use, peaks[0].n_days_full) == (date(2027, 1, 5), 1.0, 1)
    assert peaks[1].capacity is None
