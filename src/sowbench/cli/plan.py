"""`sowbench plan`: orders, house and seed in, a season's plan out."""

from __future__ import annotations

import sys
from datetime import date
from typing import Any

import click

from sowbench.cli import shared
from sowbench.cli.shared import Status


@click.command(name="plan")
@shared.file_options
@shared.from_option
@shared.search_options(30.0)
@click.option(
    "--out",
    type=click.Path(path_type=str),
    required=True,
    metavar="DIR",
    help="Folder to write the plan to; made if it is not there.",
)
@click.option("--all", "every", is_flag=True, help="Print every sowing day and supply.")
@click.option("--cards", "with_cards", is_flag=True, help="Print how to sow, one card a sowing.")
@click.option("--assumptions", is_flag=True, help="List every value that had to be assumed.")
@shared.json_option
@click.pass_context
@shared.answers_errors
def command(
    context: click.Context,
    /,
    from_date: date | None,
    seconds: float,
    random_start: int,
    rounds: int | None,
    out: str,
    every: bool,
    with_cards: bool,
    assumptions: bool,
    as_json: bool,
    **files: Any,
) -> None:
    """Plan a season: what to sow, when, in what, and where it stands each day.

    Writes plan.json, orders.csv with chances, sowings.csv, tasks.csv, supplies.csv, the cards of
    how to sow and a picture of places and hands to DIR, and prints a summary. Ctrl-C ends the
    search and keeps the best plan found.

    Ends with 0 when every order is planned, 1 when some order is not, 2 when the input is wrong;
    then every bad row is named and nothing is written.
    """
    from sowbench.cli.progress import reporting
    from sowbench.cli.render_cards import cards_lines
    from sowbench.cli.render_plan import plan_lines
    from sowbench.cli.text import page_width
    from sowbench.planning.parameters import SolveParameters
    from sowbench.services.plan import plan_season, written_files

    parameters = SolveParameters(seconds=seconds, rounds=rounds)
    with reporting(seconds) as reporter:
        outcome = plan_season(
            shared.input_files(files),
            from_date or shared.today(),
            parameters,
            random_start,
            out,
            shared.parts_of(context),
            reporter,
        )
    if as_json:
        shared.print_json(
            {
                "format": "sowbench-plan-summary/1",
                "files": [str(each) for each in outcome.paths],
                "summary": outcome.summary,
            }
        )
    else:
        width = page_width()
        lines = plan_lines(outcome.summary, width, every=every, assumptions=assumptions)
        if with_cards:
            lines += ["", *cards_lines(outcome.cards, width)]
        lines += ["", *written_lines(out, written_files(outcome.paths), width)]
        shared.print_lines(lines)
    if outcome.plan.unmet:
        sys.exit(Status.NOT_ALL)


def written_lines(out: str, contents: Any, width: int) -> list[str]:
    """Say what was written where."""
    from sowbench.cli.text import Column, block, table

    columns = (Column(""), Column("", flexible=True, least=20))
    return block(f"Written to {out}", table(columns, contents.items(), width, "  "))[1:]
