"""`sowbench promise`: an answer while the customer is on the phone."""

from __future__ import annotations

import sys
from datetime import date
from typing import Any

import click

from sowbench.cli import shared
from sowbench.cli.shared import Status


@click.command(name="promise")
@click.argument("crop")
@shared.question_options
@click.option(
    "--plan",
    "plan",
    type=shared.FILE_OR_FOLDER,
    required=True,
    metavar="DIR",
    help="The plan beside which it must fit: its folder, or its plan.json.",
)
@shared.made_from_options
@shared.from_option
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
    plan: str,
    from_date: date | None,
    as_json: bool,
    **files: Any,
) -> None:
    """Say whether one more order of CROP fits beside a plan that stays as it is.

    Answers with the chance, the price, what gets tight by it, and the earliest day. The files that
    the plan was made from are written down beside it; give them if they lie elsewhere now.

    Ends with 0 when the day can be promised, 1 when it cannot, 2 when the question is wrong.
    """
    from sowbench.cli.render_promise import promise_lines
    from sowbench.cli.text import page_width
    from sowbench.services.promise import promise_question
    from sowbench.services.try_one import Question

    outcome = promise_question(
        Question(crop, plants, wanted, system, container, confidence, earliest, latest),
        plan,
        shared.input_files_if_given(files),
        from_date,
        shared.parts_of(context),
    )
    if as_json:
        shared.print_json({"format": "sowbench-promise/1", "promise": outcome})
    else:
        shared.print_lines(promise_lines(outcome, page_width()))
    if outcome.on_day is None:
        sys.exit(Status.NOT_ALL)
