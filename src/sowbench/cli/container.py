"""`sowbench container` and `sowbench containers`: what the reference knows of containers."""

from __future__ import annotations

import click

from sowbench.cli import shared

_HOUSE = click.option(
    "--house", type=shared.FILE, metavar="FILE", help="House file, whose own values come first."
)


@click.command(name="container")
@click.argument("container")
@_HOUSE
@shared.json_option
@shared.answers_errors
def one(container: str, house: str | None, as_json: bool) -> None:
    """Print the card of CONTAINER: sizes, volume and use, each with its source.

    What no source gives is inferred, and the card says by which rule.
    """
    from sowbench.services.reference_cards import card_of_container

    shared.print_card(card_of_container(container, house), as_json=as_json)


@click.command(name="containers")
@_HOUSE
@shared.json_option
@shared.answers_errors
def every(house: str | None, as_json: bool) -> None:
    """List the containers, each with its cells, volume and footprint."""
    from sowbench.cli.text import Column, page_width, table
    from sowbench.services.reference_cards import containers_of

    containers = containers_of(house)
    if as_json:
        shared.print_json({"format": "sowbench-containers/1", "containers": containers})
        return
    columns = (
        Column("container"),
        Column("what it is", flexible=True, least=20),
        Column("cells", right=True),
        Column("ml each", right=True),
        Column("outside, mm", right=True),
        Column("mix", right=True),
        Column("used again"),
        Column("price", right=True),
    )
    rows = [
        (
            each.id,
            each.name,
            f"{each.cells:,}",
            f"{each.cell_volume_ml:.3g}",
            f"{each.outer_length_mm:.0f} x {each.outer_width_mm:.0f}",
            f"{each.mix_l:.1f} l" if each.mix_l else "ready-made",
            "yes" if each.reusable else "no",
            f"{each.price:.2f}",
        )
        for each in containers
    ]
    shared.print_lines(
        [
            *table(columns, rows, page_width()),
            "",
            f"{len(containers)} containers; `sowbench container NAME` says all, with its sources.",
        ]
    )
