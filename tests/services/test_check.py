"""A check takes the plan from its file and the inputs from theirs."""

import pytest
from tests.services.fakes import FROM_DATE, FakeChecker, FakeFinding, fake_parts, write_orders

from sowbench.planning.parameters import SolveParameters
from sowbench.science.errors import InputFileError
from sowbench.services.check import check_files
from sowbench.services.inputs import InputFiles
from sowbench.services.plan import plan_season


@pytest.fixture
def files(tmp_path):
    text = (
        "order,crop,plants,wanted_on,status\n"
        "O-1,tomato,60,2027-05-15,promised\nO-2,leek,80,2027-05-15,cancelled\n"
    )
    files = InputFiles(write_orders(tmp_path, text))
    plan_season(files, FROM_DATE, SolveParameters(), 0, tmp_path / "out", fake_parts())
    return files


def test_the_plans_own_first_day_counts_where_none_is_given(tmp_path, files):
    checker = FakeChecker()
    outcome = check_files(tmp_path / "out", files, None, fake_parts(checker=checker))
    ((plan, inputs, cancelled),) = checker.calls
    assert inputs.from_date == plan.from_date == FROM_DATE
    assert [each.id for each in cancelled] == ["O-2"]
    assert outcome.holds
    assert (outcome.n_total, outcome.n_fails, outcome.n_differs) == (42, 0, 0)
    assert outcome.plan_file == str(tmp_path / "out" / "plan.json")


def test_what_fails_comes_before_what_differs(tmp_path, files):
    findings = (
        FakeFinding("cost", "plan", "Another sum.", "1", "2", severity="differs"),
        FakeFinding("room", "bench", "Too much stands there."),
    )
    outcome = check_files(
        tmp_path / "out" / "plan.json", files, None, fake_parts(checker=FakeChecker(findings))
    )
    assert not outcome.holds
    assert [(each.rule, each.fails) for each in outcome.faults] == [("room", True), ("cost", False)]
    assert (outcome.n_fails, outcome.n_differs) == (1, 1)


def test_a_plan_that_is_not_there_is_told(tmp_path, files):
    with pytest.raises(InputFileError, match=r"plan\.json"):
        check_files(tmp_path / "plan.json", files, None, fake_parts())
