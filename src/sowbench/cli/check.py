"""`sowbench check`: recompute a plan without the planner."""

from __future__ import annotations

import sys
from datetime import date
from typing import Any

import click

from sowbench.cli import shared
from sowbench.cli.shared import Status


@click.command(name="check")
@click.argument("plan", type=click.Path(path_type=str), metavar="PLAN")
@shared.made_from_options
@shared.from_option
@click.option("--no-bound", is_flag=True, help="Leave out the bound, which takes longest.")
@click.option("--all", "every", is_flag=True, help="List everything that does not hold.")
@shared.json_option
@click.pass_context
@shared.answers_errors
def command(
    context: click.Context,
    /,
    plan: str,
    from_date: date | None,
    no_bound: bool,
    every: bool,
    as_json: bool,
    **files: Any,
) -> None:
    """Recompute every rule and figure of a plan, and name what does not hold.

    PLAN is a plan.json or the folder it is in. The files that it was made from are written down
    beside it; give them if they lie elsewhere now. Nothing of the planner's own code is used.
    Without --from the plan's own first day counts.

    Ends with 0 when everything holds, 1 when something does not, 2 when the input is wrong.
    """
    from sowbench.cli.progress import waiting
    from sowbench.cli.render_check import check_lines
    from sowbench.cli.text import page_width
    from sowbench.services.check import check_files

    made_from = shared.input_files_if_given(files)
    parts = shared.parts_of(context)
    with waiting("Recomputing the plan"):
        outcome = check_files(plan, made_from, from_date, parts, with_bound=not no_bound)
    if as_json:
        shared.print_json({"format": "sowbench-check/1", "holds": outcome.holds, "check": outcome})
    else:
        shared.print_lines(check_lines(outcome, page_width(), every=every))
    if not outcome.holds:
        sys.exit(Status.NOT_ALL)
