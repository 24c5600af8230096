"""`sowbench demo`: the invented nursery, planned and checked, and its house book served."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from sowbench.cli import shared
from sowbench.cli.shared import Status

if TYPE_CHECKING:
    from sowbench.planning.parameters import SolveParameters
    from sowbench.services.plan import PlanOutcome

BOOK_FOLDER: Final = "book"


@click.command(name="demo")
@click.option("--once", is_flag=True, help="Plan, check, print and end with 0 if the plan holds.")
@click.option(
    "--windowsill", is_flag=True, help="Twelve tomatoes on a windowsill in place of the nursery."
)
@click.option(
    "--out",
    type=click.Path(path_type=str),
    default="demo-plan",
    show_default=True,
    metavar="DIR",
    help="Folder to write to.",
)
@shared.search_options(30.0)
@click.option(
    "--serve", is_flag=True, help="Then play the season to a day, and serve its house book."
)
@click.option(
    "--port",
    type=click.IntRange(min=1, max=65535),
    default=8470,
    show_default=True,
    metavar="N",
    help="Port for --serve.",
)
@click.option("--bound", "with_bound", is_flag=True, help="Recompute the bound too; takes longest.")
@click.option("--all", "every", is_flag=True, help="Print every sowing day and supply.")
@click.option("--assumptions", is_flag=True, help="List every value that had to be assumed.")
@shared.json_option
@click.pass_context
@shared.answers_errors
def command(
    context: click.Context,
    /,
    once: bool,
    windowsill: bool,
    out: str,
    seconds: float,
    random_start: int,
    rounds: int | None,
    serve: bool,
    port: int,
    with_bound: bool,
    every: bool,
    assumptions: bool,
    as_json: bool,
) -> None:
    """Plan an invented nursery for a season, check the plan, and print both.

    The nursery's files are laid out in DIR/inputs, to look at and to start from; its weather is a
    real typical year.

    With --serve the season is then lived up to 9 March with invented entries, and the house book
    that comes of it is served on this machine until Ctrl-C.

    Ends with 1 when an order is unmet or a rule fails; with --once or --serve an unmet order is no
    failure.
    """
    if serve and (once or windowsill or as_json):
        message = "--serve opens the nursery's house book; leave --once, --windowsill, --json out."
        raise click.UsageError(message)
    from sowbench.cli.plan import written_lines
    from sowbench.cli.progress import reporting, waiting
    from sowbench.cli.render_check import check_lines
    from sowbench.cli.render_plan import plan_lines
    from sowbench.cli.serve import listen, serve_book
    from sowbench.cli.text import page_width, wrap
    from sowbench.planning.parameters import SolveParameters
    from sowbench.services.check import check_loaded
    from sowbench.services.demo import lay_out_demo
    from sowbench.services.plan import plan_season, written_files

    # The port is taken first: nobody waits a minute to hear that it is in use.
    listening = listen(port) if serve else None
    parts = shared.parts_of(context)
    laid = lay_out_demo(out, windowsill=windowsill)
    parameters = SolveParameters(seconds=seconds, rounds=rounds)
    with reporting(seconds) as reporter:
        planned = plan_season(
            laid.files, laid.from_date, parameters, random_start, out, parts, reporter
        )
    width = page_width()
    if not as_json:
        lines = plan_lines(planned.summary, width, every=every, assumptions=assumptions)
        lines += ["", *written_lines(out, written_files(planned.paths), width)]
        if laid.weather_source:
            lines += ["", *wrap(f"The weather: {laid.weather_source}.", width)]
        shared.print_lines([*lines, ""])
    plan_file = str(planned.paths[0])
    with waiting("Recomputing the plan without the planner"):
        checked = check_loaded(
            planned.plan, planned.loaded, parts, plan_file, with_bound=with_bound
        )
    if as_json:
        shared.print_json(
            {
                "format": "sowbench-demo/1",
                "files": [str(each) for each in planned.paths],
                "summary": planned.summary,
                "holds": checked.holds,
                "check": checked,
            }
        )
    else:
        shared.print_lines(check_lines(checked, width))
    if checked.n_fails or (planned.plan.unmet and not once and not serve):
        sys.exit(Status.NOT_ALL)
    if listening is not None:
        with listening:
            folder = fill_book(Path(out) / BOOK_FOLDER, planned, parameters)
            serve_book(listening, folder, None, as_json=False)


def fill_book(folder: Path, planned: PlanOutcome, parameters: SolveParameters) -> Path:
    """Make the house book of the demo; one that is there already is put aside, not lost.

    Parameters
    ----------
    folder : Path
        Folder of the book.
    planned : PlanOutcome
        The demo's plan.
    parameters : SolveParameters
        How it was searched for.

    Returns
    -------
    folder : Path
        The folder, with the book.
    """
    from sowbench.bootstrap import open_desk
    from sowbench.cli.progress import waiting
    from sowbench.services.demo_book import fill_demo_book
    from sowbench.services.parts import Made

    if folder.exists():
        aside = next(
            each
            for each in (folder.with_name(f"{folder.name}-{at}") for at in range(1, 10_000))
            if not each.exists()
        )
        folder.rename(aside)
        shared.print_lines(["", f"The demo's book of before, with all that was entered: {aside}"])
    with waiting("Living the season up to a day"), open_desk(folder) as desk:
        filled = fill_demo_book(desk, parameters, made=Made(planned.plan, planned.uses))
    shared.print_lines(["", f"The season up to 9 March: {filled.n_entries} entries, all invented."])
    return folder
