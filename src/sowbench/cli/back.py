"""`sowbench back`: a season looked back on."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sowbench.cli import shared
from sowbench.cli.shared import answers_errors, json_option, print_json, print_lines, url_option
from sowbench.cli.text import Column, heading, page_width, table, wrap

if TYPE_CHECKING:
    from sowbench.services.look_back_page import BackView


@click.command(name="back")
@click.option(
    "--data",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Folder of the book. Without: the usual place for data.",
)
@click.option(
    "--by",
    type=click.Choice(("crop", "container", "customer", "lot")),
    default="crop",
    show_default=True,
    help="By what the figures are put together.",
)
@click.option("--from", "first", type=shared.DAY, metavar="DATE", help="First day of the season.")
@click.option("--until", "last", type=shared.DAY, metavar="DATE", help="Last day of the season.")
@url_option
@json_option
@answers_errors
def command(
    data: Path | None,
    by: str,
    first: date | None,
    last: date | None,
    url: str | None,
    as_json: bool,
) -> None:
    """Say what a season promised, gave and cost, and what other choices would have cost.

    Orders count when their latest day has passed or they were filled, sowings when their last tray
    is gone. Without days, the year of the day in the house.
    """
    from sowbench.bootstrap import default_data_folder, open_desk
    from sowbench.services.look_back_page import BackFilter, back_view, figures_row

    wanted = BackFilter(by=by, first=first, last=last)
    with open_desk(data or default_data_folder(), url, must_exist=True) as desk:
        view = back_view(desk, wanted)
    if not as_json:
        print_lines(_lines(view))
        return
    choices = [
        {
            "sowing": each.sowing.name,
            "wanted": each.wanted,
            "seed_frac": each.seed_frac,
            "saved": each.saved,
            "sentence": each.sentence,
            "choices": [
                {
                    "words": way.words,
                    "cells": way.n_cells,
                    "seeds_per_cell": way.seeds_per_cell,
                    "container": way.container,
                    "expected_short": way.expected_short,
                    "cost_parts": way.parts,
                    "cost": way.total,
                    "best": way is each.best,
                }
                for way in each.choices
            ],
        }
        for each in view.choices
    ]
    print_json(
        {
            "format": "sowbench-back/1",
            "from_date": view.first.isoformat(),
            "until_date": view.last.isoformat(),
            "by": by,
            "groups": [{by: each.name, **figures_row(each.figures)} for each in view.groups],
            "total": figures_row(view.total),
            "open_orders": view.n_open_orders,
            "open_sowings": view.n_open_sowings,
            "choices": choices,
        }
    )


def _lines(view: BackView) -> list[str]:
    """Write the season for a terminal."""
    width = page_width()
    lines = [*wrap(f"{view.heading}.", width)]
    lines += wrap(view.money_words, width)
    lines += wrap(
        f"Not in it: {view.n_open_orders:,} orders whose time is not over, and "
        f"{view.n_open_sowings:,} sowings that still stand.",
        width,
    )
    if view.groups:
        columns = [
            Column(view.wanted.by),
            Column("promised", right=True),
            Column("given", right=True),
            Column("on time", right=True),
            Column("stand", right=True),
            Column("cost a plant", right=True),
            Column("money", right=True),
        ]
        rows = [
            [
                each.words,
                f"{each.figures.promised:,}",
                f"{each.figures.given:,}",
                _share(each.figures.on_time_frac),
                _share(each.figures.stand_frac),
                _money(each.figures.cost_per_plant),
                f"{each.figures.total:,.2f}",
            ]
            for each in view.groups
        ]
        lines += ["", heading(f"By {view.wanted.by}"), *table(columns, rows, width)]
    better = [each for each in view.choices if each.saved > 0]
    if view.choices:
        lines += ["", heading("What another choice would have cost")]
        for each in better:
            lines += wrap(f"{each.sowing.name}: {each.sentence}", width)
        n_best = len(view.choices) - len(better)
        lines += wrap(
            f"For {n_best:,} of {len(view.choices):,} sowings nothing was cheaper.", width
        )
    return lines


def _share(value: float | None) -> str:
    """Write a share; blank where it is not known."""
    return "" if value is None else f"{100 * value:.0f} %"


def _money(value: float | None) -> str:
    """Write money of a plant; blank where it is not known."""
    return "" if value is None else f"{value:,.3f}"
