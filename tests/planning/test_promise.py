"""How sure the earliest day is: by itself, with as many days around it as were asked for."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from sowbench.planning.parameters import SolveParameters
from sowbench.planning.plan import make_plan
from sowbench.planning.promise import promise
from sowbench.services.demo import lay_out_demo
from sowbench.services.inputs import load_inputs


def test_the_earliest_day_is_as_sure_as_the_same_question_for_that_day(tmp_path):
    laid = lay_out_demo(tmp_path / "sill", windowsill=True)
    inputs = load_inputs(laid.files, laid.from_date).inputs
    plan = make_plan(inputs, SolveParameters(rounds=0), 0).plan
    order = replace(inputs.orders[0], id="asked", plants=6)
    too_soon = laid.from_date + timedelta(days=3)
    order = replace(
        order,
        wanted_date=too_soon,
        earliest_date=too_soon - timedelta(days=1),
        latest_date=too_soon + timedelta(days=2),
    )

    found = promise(inputs, plan, order)

    assert found.on_day is None
    assert found.earliest is not None
    day = found.earliest.date
    first, last = day - timedelta(days=1), day + timedelta(days=2)
    moved = replace(order, wanted_date=day, earliest_date=first, latest_date=last)
    again = promise(inputs, plan, moved)
    assert again.on_day is not None
    assert found.earliest == again.on_day
    assert first <= day <= last
