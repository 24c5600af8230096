"""Parameters of the search are checked when they are made."""

from __future__ import annotations

import pytest

from sowbench.planning.parameters import SolveParameters
from sowbench.planning.solver import quiet_solver
from sowbench.science.errors import OutOfRangeError


@pytest.mark.parametrize(
    ("name", "value"),
    [("seconds", 0.0), ("seconds", -1.0), ("rounds", -1), ("min_part_frac", 0.0),
     ("min_part_frac", 1.5)],
)  # fmt: skip
def test_values_that_make_no_sense_are_refused_by_name_and_value(name, value):
    with pytest.raises(OutOfRangeError) as refused:
        SolveParameters(**{name: value})
    assert name in str(refused.value)
    assert str(value) in str(refused.value)


def test_rounds_limit_the_work_instead_of_the_clock():
    assert SolveParameters(rounds=0).by_work
    assert not SolveParameters().by_work


def test_the_solver_is_silent_and_on_one_thread(capfd):
    solver = quiet_solver()
    assert solver.getOptionValue("threads")[1] == 1
    solver.addVar(0.0, 1.0)
    solver.run()
    assert capfd.readouterr() == ("", "")
