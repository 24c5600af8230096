"""`sowbench try`: so many plants on a day, with no file at all."""

from __future__ import annotations

import sys
from datetime import date

import click

from sowbench.cli import shared
from sowbench.cli.shared import Status


@click.command(name="try")
@click.argument("crop")
@shared.question_options
@click.option("--house", type=shared.FILE, metavar="FILE", help="House. Without: a windowsill.")
@shared.from_option
@shared.search_options(10.0)
@click.option("--why", is_flag=True, help="Say why at each step, with the source.")
@shared.json_option
@click.pass_context
@shared.answers_errors
def command(
    context: click.Context,
    /,
    crop: str,
    plants: int,
    wanted: date,
    earliest: date | None,
    latest: date | None,
    system: str,
    container: str,
    confidence: float | None,
    house: str | None,
    from_date: date | None,
    seconds: float,
    random_start: int,
    rounds: int | None,
    why: bool,
    as_json: bool,
) -> None:
    """Say when and how to sow, for so many plants of CROP on a day, with no file at all.

    Ends with 0 when it can be done, 1 when not all of it can, 2 when the question is wrong.
    """
    from sowbench.cli.render_try import try_lines
    from sowbench.cli.text import page_width
    from sowbench.planning.parameters import SolveParameters
    from sowbench.services.try_one import Question, try_question

    answer = try_question(
        Question(crop, plants, wanted, system, container, confidence, earliest, latest),
        from_date or shared.today(),
        SolveParameters(seconds=seconds, rounds=rounds),
        random_start,
        shared.parts_of(context),
        house,
    )
    if as_json:
        shared.print_json({"format": "sowbench-try/1", "answer": answer})
    else:
        shared.print_lines(try_lines(answer, page_width(), reasons=why))
    if answer.unmet is not None:
        sys.exit(Status.NOT_ALL)
