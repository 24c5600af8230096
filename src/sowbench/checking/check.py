"""The check of a whole plan: one rule after the other, and a report."""

from __future__ import annotations

from sowbench.checking import structure
from sowbench.checking.bound import check_bound
from sowbench.checking.chances import Draws, Stands, check_chances
from sowbench.checking.costs import check_costs, check_supplies
from sowbench.checking.earlier import check_earlier
from sowbench.checking.hands import (
    Rates,
    check_crew,
    check_machines,
    check_tasks,
    expected_work,
    water_by_day,
)
from sowbench.checking.placing import check_placing
from sowbench.checking.report import CheckReport, Ledger
from sowbench.checking.rooms import (
    check_container_days,
    check_lots,
    check_rooms,
)
from sowbench.checking.season import CheckInputs, Season
from sowbench.checking.timeline import Timelines
from sowbench.checking.timing import check_timing
from sowbench.checking.tray_rows import check_tray_rows
from sowbench.checking.unmet import check_unmet
from sowbench.domain.plan import Plan


def check_plan(plan: Plan, inputs: CheckInputs, *, with_bound: bool = True) -> CheckReport:
    """Recompute every rule and figure of a plan, without the planner's code.

    Parameters
    ----------
    plan : Plan
        The plan.
    inputs : CheckInputs
        What it was made from.
    with_bound : bool, default True
        Whether to recompute the bound too, which takes longest.

    Returns
    -------
    report : CheckReport
        Everything that does not hold, and how much was recomputed.
    """
    ledger = Ledger()
    season = Season(plan, inputs)
    for rule in (
        structure.check_names,
        structure.check_sums,
        structure.check_hand_over,
        structure.check_steps,
        structure.check_containers,
        structure.check_seeds,
        structure.check_dates,
        structure.check_groups,
        structure.check_pins,
        check_earlier,
    ):
        rule(season, ledger)
    lines = Timelines(season)
    check_timing(season, lines, ledger)
    check_placing(season, ledger)
    check_rooms(season, ledger)
    check_tray_rows(season, lines, ledger)
    check_container_days(season, ledger)
    check_lots(season, ledger)
    stands = Stands(season, lines)
    rates = Rates(season)
    work = expected_work(season, lines, stands, rates)
    water = water_by_day(season, rates)
    check_tasks(season, work, water, ledger)
    check_crew(season, work, water, ledger)
    check_machines(season, ledger)
    check_chances(season, lines, stands, ledger, Draws(season))
    check_costs(season, lines, stands, work, float(water.sum()), ledger)
    check_supplies(season, ledger)
    check_unmet(season, lines, ledger)
    if with_bound:
        check_bound(season, lines, stands, rates, work, ledger)
    return ledger.report()
