"""`sowbench crop` and `sowbench crops`: what the reference knows of crops."""

from __future__ import annotations

import click

from sowbench.cli import shared

_HOUSE = click.option(
    "--house", type=shared.FILE, metavar="FILE", help="House file, whose own values come first."
)


@click.command(name="crop")
@click.argument("crop")
@_HOUSE
@shared.json_option
@shared.answers_errors
def one(crop: str, house: str | None, as_json: bool) -> None:
    """Print the card of CROP: every value with its unit, range and source.

    CROP may be spelled any way; where sources disagree, the card says so.
    """
    from sowbench.services.reference_cards import card_of_crop

    shared.print_card(card_of_crop(crop, house), as_json=as_json)


@click.command(name="crops")
@_HOUSE
@shared.json_option
@shared.answers_errors
def every(house: str | None, as_json: bool) -> None:
    """List the crops, each with what a grower asks first."""
    from sowbench.cli.text import Column, page_width, table
    from sowbench.services.reference_cards import crops_of

    crops = crops_of(house)
    if as_json:
        shared.print_json({"format": "sowbench-crops/1", "crops": crops})
        return
    columns = (
        Column("crop"),
        Column("raised"),
        Column("up, 20 °C", right=True),
        Column("depth", right=True),
        Column("seeds/g", right=True),
        Column("a cell", right=True),
        Column("raised in", flexible=True, least=12),
    )
    rows = [
        (
            each.id,
            each.season,
            "never" if each.emergence_20c_d is None else f"{each.emergence_20c_d:.0f} d",
            f"{each.depth_mm:.0f} mm",
            f"{each.seeds_per_g:,.0f}",
            "1" if each.plants_per_cell == (1, 1) else "{} to {}".format(*each.plants_per_cell),
            ", ".join(each.container_classes),
        )
        for each in crops
    ]
    shared.print_lines(
        [
            *table(columns, rows, page_width()),
            "",
            f"{len(crops)} crops; `sowbench crop NAME` says everything with its sources.",
        ]
    )
