"""What an order may name: the crops, containers and systems of the house's reference."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sowbench.exchange.order_rows import SYSTEMS, OrderWords

if TYPE_CHECKING:
    from sowbench.reference.catalog import Catalog


def order_words(catalog: Catalog) -> OrderWords:
    """Return the names that an order may use.

    Parameters
    ----------
    catalog : Catalog
        The reference with the house's own values.

    Returns
    -------
    words : OrderWords
        For the readers of orders.
    """
    return OrderWords(
        resolve_crop=catalog.crop_id,
        crop_unit=lambda crop: catalog.crops[crop].unit,
        containers=catalog.containers,
        systems=systems_of(catalog),
        resolve_container=catalog.container_id,
    )


def systems_of(catalog: Catalog) -> tuple[str, ...]:
    """Return the systems to which plants may go, the house's own last.

    Parameters
    ----------
    catalog : Catalog
        The reference with the house's own values.

    Returns
    -------
    systems : tuple of str
        Without "any".
    """
    own = sorted({system for _, _, system in catalog.ready_rules} - {"any"})
    return tuple(dict.fromkeys((*SYSTEMS, *own)))
