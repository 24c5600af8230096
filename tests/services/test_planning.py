"""Runs of the planner: begun, followed, ended early, broken off, and their plans taken in."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import msgspec
import pytest

from sowbench.bootstrap import open_desk
from sowbench.domain.book import PlanState, RunState
from sowbench.domain.plan import OrderPlan, Plan
from sowbench.planning.inputs import PlanInputs
from sowbench.planning.parameters import SolveParameters
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.services.desk import TODAY_SETTING, Desk
from sowbench.services.orders_form import save_order
from sowbench.services.parts import Made, Progress
from sowbench.services.planner_run import BEAT_FILE, SILENT_S, is_silent, read_progress
from sowbench.services.planning import (
    AlreadyPlanningError,
    begin_run,
    latest_run,
    run_folder,
    run_view,
    settle,
    stop_run,
)
from sowbench.services.plans_list import accept, decline, plans_view
from sowbench.services.plans_page import plan_view

TODAY = date(2027, 3, 9)
WAIT_S = 60.0


def a_plan(inputs: PlanInputs) -> Plan:
    """Make a plan that sows nothing."""
    return Plan(
        from_date=inputs.from_date,
        until_date=inputs.from_date + timedelta(days=90),
        cost=100.0,
        cost_parts={"short": 100.0},
        bound=90.0,
        gap_frac=0.111111,
        gap_without_short_frac=0.0,
        seconds=0.1,
        seed=0,
        assumptions=(),
        orders=tuple(OrderPlan(each.id, each.plants, 0, 0, 0, 0, 1.0) for each in inputs.orders),
        sowings=(),
        unmet=(),
        tasks=(),
        supplies=(),
        prices=(),
    )


def quick(
    inputs: PlanInputs, parameters: SolveParameters, seed: int, progress: Progress | None = None
) -> Made:
    """Plan at once."""
    assert parameters.seconds >= 5
    assert seed == 0
    if progress is not None:
        progress("search", 90.0, 100.0)
    return Made(a_plan(inputs), ())


def patient(
    inputs: PlanInputs, parameters: SolveParameters, seed: int, progress: Progress | None = None
) -> Made:
    """Plan until asked to stop."""
    assert parameters.seconds >= 5
    assert seed == 0
    assert progress is not None
    ends_s = time.monotonic() + WAIT_S
    while not progress("search", 90.0, 100.0):
        if time.monotonic() > ends_s:
            raise TimeoutError
        time.sleep(0.01)
    return Made(a_plan(inputs), ())


def failing(*_: Any, **__: Any) -> Made:
    """Fail as no planner should."""
    raise ZeroDivisionError


def refusing(*_: Any, **__: Any) -> Made:
    """Refuse what was asked."""
    raise OutOfRangeError("temp_c", "between 0 and 40 °C", 99)


def dying(*_: Any, **__: Any) -> Made:
    """Be ended from outside."""
    os._exit(1)


class Never(Executor):
    """Takes work and never does it, as a server that is gone."""

    def submit(self, *_: Any, **__: Any) -> Future[Any]:
        """Take work."""
        return Future()


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """A book with one order, on 9 March 2027, that plans in a thread."""
    with open_desk(tmp_path / "book") as opened, ThreadPoolExecutor(1) as workers:
        with opened.book.writing() as unit:
            unit.settings.put(TODAY_SETTING, TODAY.isoformat())
            unit.commit()
        order = {"order": "leeks", "crop": "leek", "plants": "60", "wanted_on": "2027-05-20"}
        save_order(opened, "", order)
        yield replace(opened, executor=workers, parts=replace(opened.parts, make_plan=quick))


def waited(desk: Desk, run_id: int) -> RunState:
    """Wait until a run is over."""
    ends_s = time.monotonic() + WAIT_S
    while settle(desk, run_id).state is RunState.RUNNING:
        assert time.monotonic() < ends_s
        time.sleep(0.01)
    return settle(desk, run_id).state


def test_a_run_leaves_a_proposed_plan(desk: Desk) -> None:
    run_id = begin_run(desk, 5.0)

    assert waited(desk, run_id) is RunState.DONE
    run = run_view(desk, run_id).run
    assert run.plan is not None
    page = plan_view(desk, run.plan)
    assert page.head.state is PlanState.PROPOSED
    assert page.head.from_date == TODAY
    assert page.against is None
    assert page.heading.startswith("A first plan")
    assert not (run_folder(desk, run_id) / "made.json").exists()


def test_a_plan_is_taken_in_once_whoever_looks(desk: Desk) -> None:
    run_id = begin_run(desk, 5.0)
    waited(desk, run_id)

    for _ in range(3):
        settle(desk, run_id)

    assert len(plans_view(desk).heads) == 1


def test_a_search_ends_early_with_the_best_so_far(desk: Desk) -> None:
    patient_desk = replace(desk, parts=replace(desk.parts, make_plan=patient))
    run_id = begin_run(patient_desk, 3600.0)
    assert run_view(patient_desk, run_id).running

    stop_run(patient_desk, run_id)

    assert waited(patient_desk, run_id) is RunState.STOPPED
    view = run_view(patient_desk, run_id)
    assert view.run.plan is not None
    assert view.progress is not None
    assert view.progress.gap_frac == pytest.approx(0.1)


def test_one_run_at_a_time(desk: Desk) -> None:
    patient_desk = replace(desk, parts=replace(desk.parts, make_plan=patient))
    run_id = begin_run(patient_desk, 60.0)

    with pytest.raises(AlreadyPlanningError) as raised:
        begin_run(patient_desk, 60.0)

    assert raised.value.run == run_id
    stop_run(patient_desk, run_id)
    waited(patient_desk, run_id)
    assert begin_run(desk, 5.0) != run_id


@pytest.mark.parametrize(
    ("planner", "word"),
    [(failing, "ZeroDivisionError"), (refusing, "between 0 and 40 °C")],
)
def test_a_planner_that_fails_leaves_the_plan_of_the_house_as_it_was(
    desk: Desk, planner: Any, word: str
) -> None:
    run_id = begin_run(replace(desk, parts=replace(desk.parts, make_plan=planner)), 5.0)

    assert waited(desk, run_id) is RunState.FAILED
    assert word in run_view(desk, run_id).run.message
    assert not plans_view(desk).heads


def test_a_planner_that_dies_is_said_to_have_died(tmp_path: Path) -> None:
    with open_desk(tmp_path / "book") as desk:
        with desk.book.writing() as unit:
            unit.settings.put(TODAY_SETTING, TODAY.isoformat())
            unit.commit()
        order = {"order": "leeks", "crop": "leek", "plants": "60", "wanted_on": "2027-05-20"}
        save_order(desk, "", order)
        run_id = begin_run(replace(desk, parts=replace(desk.parts, make_plan=dying)), 5.0)

        assert waited(desk, run_id) is RunState.FAILED
        assert "ended from outside" in run_view(desk, run_id).run.message


def test_a_run_of_a_server_that_is_gone_is_over_once_it_is_silent(desk: Desk) -> None:
    run_id = begin_run(replace(desk, executor=Never()), 60.0)
    from sowbench.services import planning

    planning._futures.clear()  # a server begun anew knows of no work
    assert settle(desk, run_id).state is RunState.RUNNING

    folder = run_folder(desk, run_id)
    long_ago = time.time() - SILENT_S - 5
    (folder / BEAT_FILE).touch()
    for each in (folder / BEAT_FILE, folder):
        os.utime(each, (long_ago, long_ago))

    run = settle(desk, run_id)
    assert run.state is RunState.FAILED
    assert "closed while the plan was being made" in run.message
    latest = latest_run(desk)
    assert latest is not None
    assert latest.state is RunState.FAILED


def test_a_plan_made_while_the_server_was_gone_is_still_taken_in(desk: Desk) -> None:
    from sowbench.services import planning
    from sowbench.services.book_inputs import loaded_of
    from sowbench.services.planner_run import plan_in_process

    run_id = begin_run(replace(desk, executor=Never()), 60.0)
    planning._futures.clear()
    with desk.book.reading() as unit:
        inputs = loaded_of(unit, TODAY).inputs
    folder = run_folder(desk, run_id)

    plan_in_process(quick, inputs, SolveParameters(seconds=5), 0, str(folder), None, None)

    assert settle(desk, run_id).state is RunState.DONE
    assert len(plans_view(desk).heads) == 1


def test_silence_is_counted_from_the_last_beat(tmp_path: Path) -> None:
    (tmp_path / BEAT_FILE).touch()
    now_s = (tmp_path / BEAT_FILE).stat().st_mtime

    assert not is_silent(tmp_path, now_s + SILENT_S - 1)
    assert is_silent(tmp_path, now_s + SILENT_S + 1)
    assert is_silent(tmp_path / "nowhere")


def test_progress_that_cannot_be_read_is_none(tmp_path: Path) -> None:
    (tmp_path / "progress.json").write_bytes(msgspec.json.encode({"doing": 3}))

    assert read_progress(tmp_path) is None
    assert read_progress(tmp_path / "nowhere") is None


@pytest.mark.parametrize("seconds", [0.0, 4.9, 1e9, float("nan")])
def test_a_time_that_makes_no_sense_is_refused(desk: Desk, seconds: float) -> None:
    with pytest.raises(OutOfRangeError):
        begin_run(desk, seconds)
    assert latest_run(desk) is None


def test_days_that_have_passed_and_books_without_orders_are_refused(desk: Desk) -> None:
    with pytest.raises(OutOfRangeError, match="first day"):
        begin_run(desk, 5.0, TODAY - timedelta(days=1))
    with pytest.raises(OutOfRangeError, match="Take in orders first"):
        begin_run(desk, 5.0, date(2028, 1, 1))
    assert latest_run(desk) is None
    with pytest.raises(UnknownNameError):
        run_view(desk, 12)


def test_a_plan_is_accepted_or_set_aside(desk: Desk) -> None:
    plans = []
    for _ in range(3):
        run_id = begin_run(desk, 5.0)
        waited(desk, run_id)
        plan = run_view(desk, run_id).run.plan
        assert plan is not None
        plans.append(plan)

    accept(desk, plans[0])
    decline(desk, plans[1])
    page = plan_view(desk, plans[2])

    assert plan_view(desk, plans[0]).heading.startswith("The plan of the house")
    assert plan_view(desk, plans[1]).head.state is PlanState.DECLINED
    assert page.stale  # it was made before the first one was accepted
    assert page.against is not None
    assert page.heading == "The new plan changes no sowing"
    with pytest.raises(OutOfRangeError):
        accept(desk, plans[1])
