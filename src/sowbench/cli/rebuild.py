"""`sowbench rebuild`: what follows from the journal, made anew."""

from __future__ import annotations

from pathlib import Path

import click

from sowbench.cli.shared import answers_errors, json_option, print_json, print_lines, url_option


@click.command(name="rebuild")
@click.option(
    "--data",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Folder of the book. Without: the usual place for data.",
)
@url_option
@json_option
@answers_errors
def command(data: Path | None, url: str | None, as_json: bool) -> None:
    """Make the state of all sowings anew from the journal.

    The journal is what counts; the state of sowings and trays, deliveries and jobs ticked off
    follow from it. This changes nothing unless they were damaged; it may run while the book is
    open.
    """
    from sowbench.bootstrap import default_data_folder, open_desk
    from sowbench.services.rebuild import rebuild_book

    with open_desk(data or default_data_folder(), url, must_exist=True) as desk:
        rebuilt = rebuild_book(desk)
    if as_json:
        print_json({"format": "sowbench-rebuild/1", **rebuilt._asdict()})
        return
    n_entries, n_sowings = rebuilt
    print_lines(
        [f"Followed {n_entries:,} entries of the journal to the state of {n_sowings:,} sowings."]
    )
