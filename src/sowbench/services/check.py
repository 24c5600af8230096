"""Check a plan: recompute every rule and figure without the planner, and say what does not hold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from sowbench.exchange.plan_json import read_plan
from sowbench.services.inputs import InputFiles, load_inputs, plan_path
from sowbench.services.made_from import read_record

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from sowbench.domain.plan import Plan
    from sowbench.services.inputs import Loaded
    from sowbench.services.parts import Parts, ReportLike


_NO_BOUND: Final = (
    "The bound, how cheap a plan can be at best, was not recomputed; `sowbench check` does that"
    " unless told --no-bound."
)


@dataclass(frozen=True, slots=True)
class FoundFault:
    """One rule that is broken, or one figure that is not what comes out."""

    rule: str
    subject: str
    message: str
    expected: str
    found: str
    fails: bool


@dataclass(frozen=True, slots=True)
class CheckOutcome:
    """What a check found, as plain values."""

    plan_file: str
    n_checks: Mapping[str, int]
    n_total: int
    n_fails: int
    n_differs: int
    figures: Mapping[str, float]
    faults: tuple[FoundFault, ...]
    notes: tuple[str, ...]

    @property
    def holds(self) -> bool:
        """Whether everything holds."""
        return not self.faults


def check_files(
    plan: str | Path,
    files: InputFiles | None,
    from_date: date | None,
    parts: Parts,
    *,
    with_bound: bool = True,
) -> CheckOutcome:
    """Check a plan against the files it was made from.

    Parameters
    ----------
    plan : str or Path
        plan.json or its folder.
    files : InputFiles or None
        The files that the plan was made from; None takes those written down beside it.
    from_date : date or None
        First day on which anything could be done; None takes the plan's own.
    parts : Parts
        The checker.
    with_bound : bool, default True
        Whether the bound is recomputed too, which takes longest.

    Returns
    -------
    outcome : CheckOutcome
        What holds and what does not.

    Raises
    ------
    InputFileError
        If a file is not right.
    """
    path = plan_path(plan)
    made = read_plan(path)
    notes: tuple[str, ...] = ()
    if files is None:
        files, notes = read_record(path)
    loaded = load_inputs(files, from_date or made.from_date)
    outcome = check_loaded(made, loaded, parts, str(path), with_bound=with_bound)
    return replace(outcome, notes=(*notes, *outcome.notes))


def check_loaded(
    plan: Plan, loaded: Loaded, parts: Parts, plan_file: str = "", *, with_bound: bool = True
) -> CheckOutcome:
    """Check a plan against inputs already read.

    Parameters
    ----------
    plan : Plan
        The plan.
    loaded : Loaded
        What it was made from.
    parts : Parts
        The checker.
    plan_file : str, default ""
        Where the plan came from, for the report.
    with_bound : bool, default True
        Whether the bound is recomputed too, which takes longest.

    Returns
    -------
    outcome : CheckOutcome
        What holds and what does not.
    """
    report = parts.check_plan(plan, loaded.inputs, loaded.cancelled, with_bound=with_bound)
    outcome = _outcome(report, plan_file)
    return outcome if with_bound else replace(outcome, notes=(*outcome.notes, _NO_BOUND))


def _outcome(report: ReportLike, plan_file: str) -> CheckOutcome:
    """Take over a report as plain values, what fails first."""
    faults = [
        FoundFault(
            rule=each.rule,
            subject=each.subject,
            message=each.message,
            expected=each.expected,
            found=each.found,
            fails=str(each.severity) == "fails",
        )
        for each in report.findings
    ]
    faults.sort(key=lambda each: not each.fails)
    n_fails = sum(each.fails for each in faults)
    return CheckOutcome(
        plan_file=plan_file,
        n_checks=dict(report.n_checks),
        n_total=sum(report.n_checks.values()),
        n_fails=n_fails,
        n_differs=len(faults) - n_fails,
        figures=dict(report.figures),
        faults=tuple(faults),
        notes=tuple(report.notes),
    )
