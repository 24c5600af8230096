"""What the reference knows of crops and containers: one card, or all in a list."""

from __future__ import annotations

from dataclasses import dataclass
from math import isinf
from typing import TYPE_CHECKING

from sowbench.reference.cards import Card, container_card, crop_card
from sowbench.science.emergence import days_at_constant
from sowbench.services.inputs import load_house

if TYPE_CHECKING:
    from pathlib import Path

_AT_C = 20.0


@dataclass(frozen=True, slots=True)
class CropLine:
    """A crop in the list; ``emergence_20c_d`` is None if it does not come up at 20 °C."""

    id: str
    name: str
    kin: str
    season: str
    emergence_20c_d: float | None
    depth_mm: float
    seeds_per_g: float
    plants_per_cell: tuple[int, int]
    container_classes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ContainerLine:
    """A container in the list; ``mix_l`` is 0 for what comes ready."""

    id: str
    name: str
    kind: str
    container_class: str
    cells: int
    cell_volume_ml: float
    outer_length_mm: float
    outer_width_mm: float
    mix_l: float
    reusable: bool
    price: float


def card_of_crop(name: str, house_path: str | Path | None = None) -> Card:
    """Make the card of a crop.

    Parameters
    ----------
    name : str
        Crop in any spelling.
    house_path : str, Path or None, default None
        House file whose own values come first.

    Returns
    -------
    card : Card
        The card.
    """
    return crop_card(load_house(house_path)[1], name)


def card_of_container(name: str, house_path: str | Path | None = None) -> Card:
    """Make the card of a container.

    Parameters
    ----------
    name : str
        Container in any spelling.
    house_path : str, Path or None, default None
        House file whose own values come first.

    Returns
    -------
    card : Card
        The card.
    """
    return container_card(load_house(house_path)[1], name)


def crops_of(house_path: str | Path | None = None) -> list[CropLine]:
    """List the crops.

    Parameters
    ----------
    house_path : str, Path or None, default None
        House file whose own crops join.

    Returns
    -------
    crops : list of CropLine
        In the order of the reference.
    """
    catalog = load_house(house_path)[1]
    classes: dict[str, dict[str, None]] = {}
    for of_crop, container_class, _ in catalog.ready_rules:
        classes.setdefault(of_crop, {})[container_class.value] = None
    lines = []
    for crop_id, crop in catalog.crops.items():
        days = float(days_at_constant(_AT_C, crop.emergence))
        lines.append(
            CropLine(
                id=crop_id,
                name=crop.name,
                kin=crop.kin,
                season=crop.season.value,
                emergence_20c_d=None if isinf(days) else days,
                depth_mm=crop.depth_mm,
                seeds_per_g=crop.seeds_per_g,
                plants_per_cell=crop.plants_per_cell,
                container_classes=tuple(classes.get(crop_id, {})),
            )
        )
    return lines


def containers_of(house_path: str | Path | None = None) -> list[ContainerLine]:
    """List the containers.

    Parameters
    ----------
    house_path : str, Path or None, default None
        House file whose own containers join.

    Returns
    -------
    containers : list of ContainerLine
        In the order of the reference.
    """
    catalog = load_house(house_path)[1]
    return [
        ContainerLine(
            id=each.id,
            name=each.name,
            kind=each.kind,
            container_class=each.container_class.value,
            cells=each.cells,
            cell_volume_ml=each.cell_volume_ml,
            outer_length_mm=each.outer_length_mm,
            outer_width_mm=each.outer_width_mm,
            mix_l=each.cells * each.cell_volume_ml / 1000.0 if each.takes_mix else 0.0,
            reusable=each.reusable,
            price=each.price,
        )
        for each in catalog.containers.values()
    ]
