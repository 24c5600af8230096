"""`sowbench learned`: what the house has learned from its finished sowings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sowbench.cli.shared import answers_errors, json_option, print_json, print_lines, url_option
from sowbench.cli.text import Column, block, heading, page_width, table, wrap

if TYPE_CHECKING:
    from sowbench.services.learned_calibration import CalibrationView
    from sowbench.services.learned_page import LearnedView, QuantityView


@click.command(name="learned")
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
    """Say how the house differs from the handbook, and how good its forecasts were.

    Each sowing that ended is put beside the handbook; factors are pooled over crop, kin and house.
    Factors are frozen and observations dropped on the page of what was learned.
    """
    import msgspec

    from sowbench.bootstrap import default_data_folder, open_desk
    from sowbench.services.learned_calibration import calibration_view
    from sowbench.services.learned_page import learned_view

    with open_desk(data or default_data_folder(), url, must_exist=True) as desk:
        page, judged = learned_view(desk), calibration_view(desk)
    if as_json:
        told = {"learned": msgspec.to_builtins(page), "calibration": msgspec.to_builtins(judged)}
        print_json({"format": "sowbench-learned/1", **told})
        return
    print_lines(_lines(page, judged))


def _lines(page: LearnedView, judged: CalibrationView) -> list[str]:
    """Write what was learned for a terminal."""
    width = page_width()
    lines = [heading(page.heading or "Nothing is learned yet"), ""]
    if not page.quantities:
        words = "A sowing that was counted and is over says how far the handbook holds here."
        return [*lines, *wrap(words, width)]
    for each in page.quantities:
        lines += block(f"{each.title}: {each.unit}", _table(each))
    if page.choices:
        lines += block("What you decided", [f"- {each.words}" for each in page.choices])
    told = judged.whole.learned
    if told.n:
        words = f"Of {told.n:,} things foretold at 80 %, {told.n_within:,} happened"
        lines += wrap(f"{words}: {judged.verdict}.", width)
    return lines


def _table(quantity: QuantityView) -> list[str]:
    """Write the factors of one quantity."""
    columns = [
        Column("what"),
        Column("factor", right=True),
        Column("low", right=True),
        Column("high", right=True),
        Column("sowings", right=True),
        Column("changes"),
    ]
    rows = [
        [
            each.what,
            f"{each.factor:.2f}" + (" frozen" if each.frozen is not None else ""),
            f"{each.low:.2f}",
            f"{each.high:.2f}",
            f"{each.n_evidence:,}",
            each.changes,
        ]
        for each in quantity.lines
    ]
    return table(columns, rows)
