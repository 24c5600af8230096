"""`sowbench ahead`: what is coming of what stands in the house."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sowbench.cli.shared import answers_errors, json_option, print_json, print_lines, url_option
from sowbench.cli.text import Column, block, heading, page_width, table, wrap

if TYPE_CHECKING:
    from sowbench.services.ahead_records import Ahead, AheadPage


@click.command(name="ahead")
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
    """Say which stands will be short or late, and which counts are worth making.

    Every open sowing is forecast from its counts; what still helps stands beside it.
    """
    import msgspec

    from sowbench.bootstrap import default_data_folder, open_desk
    from sowbench.services.ahead_page import ahead_page

    with open_desk(data or default_data_folder(), url, must_exist=True) as desk:
        page = ahead_page(desk)
    if as_json:
        print_json({"format": "sowbench-ahead/1", **msgspec.to_builtins(page)})
        return
    print_lines(_lines(page))


def _lines(page: AheadPage) -> list[str]:
    """Write the page for a terminal."""
    width = page_width()
    lines = [heading(page.heading), ""]
    if not page.has_plan:
        return [*lines, *wrap("Make a plan first: sowbench serve, or sowbench plan.", width)]
    for lost in page.orphans:
        words = (
            f"{lost.crop} for {lost.customer or lost.name} has no sowing left: {lost.plants:,}"
            f" plants are wanted on {lost.wanted_date}."
        )
        lines += [*wrap(words, width), ""]
    for each in page.pressing:
        mark = "!" if each.level == "act" else "?"
        lines += wrap(f"{each.sentence} {each.resow}".strip(), width, "  ", lead=f"{mark} ")
        lines += [*wrap(f"{each.name}. {each.counted}", width, "  ", lead="  "), ""]
    if page.counts:
        told = []
        for count in page.counts:
            words = f"{count.title} ({count.sowing}): {count.words}, {count.minutes:.0f} min."
            told += wrap(f"{words} {count.rule}", width - 2, "  ", lead="- ")
        lines += block("Counts that can change what you do", told)
    lines += block(f"{len(page.others)} as planned", _table(page.others))
    return lines


def _table(rows: tuple[Ahead, ...]) -> list[str]:
    """Write sowings that go as planned."""
    columns = [
        Column("sowing"),
        Column("plants", right=True),
        Column("from", right=True),
        Column("to", right=True),
        Column("wanted", right=True),
        Column("ready"),
        Column("planned"),
    ]
    cells = [
        [
            each.name, f"{each.band.middle:,}", f"{each.band.low:,}", f"{each.band.high:,}",
            f"{each.band.wanted:,}", "never" if each.ready is None else f"{each.ready:%d %b}",
            f"{each.planned_ready:%d %b}",
        ]
        for each in rows
    ]  # fmt: skip
    return table(columns, cells)
