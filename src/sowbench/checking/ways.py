"""Every way in which an order may be raised: lots, containers and places that the rules allow."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sowbench.checking.placing import (
    GERMINATING_KINDS,
    GROWING_KINDS,
    TONING_KINDS,
    kind_allowed,
)
from sowbench.checking.season import Season
from sowbench.checking.timeline import Course
from sowbench.domain.records import (
    Container,
    Crop,
    LightNeed,
    Order,
    PlaceKind,
    ReadyRule,
    SeedLot,
    StepKind,
)


@dataclass(frozen=True, slots=True)
class ContainerPath:
    """Container sown in, container handed over in, and what ready means there."""

    first: Container
    last: Container
    rule: ReadyRule


def admissible_lots(season: Season, order: Order) -> list[SeedLot]:
    """Return the lots that an order accepts."""
    accepted = {each.casefold() for each in (order.variety, *order.substitutes)}
    return [
        lot
        for lot in season.lots.values()
        if lot.crop == order.crop
        and lot.n_seeds != 0
        and (not order.variety or lot.variety.casefold() in accepted)
        and (not order.organic or lot.organic)
        and not (season.house.school and lot.treated)
    ]


def container_paths(season: Season, order: Order) -> list[ContainerPath]:
    """Return the containers that an order may be raised in, potting on included."""
    catalog = season.catalog
    paths = []
    for name in sorted(season.used_containers & set(catalog.containers)):
        last = catalog.containers[name]
        if order.containers and name not in order.containers:
            continue
        if order.organic and not last.organic_ok:
            continue
        rule = season.rule(order.crop, name, order.system)
        if rule is None or not catalog.suits(order.crop, name, order.system):
            continue
        if rule.pot_on_d_ref is None or rule.pot_on_from_class is None:
            paths.append(ContainerPath(last, last, rule))
            continue
        for other in sorted(season.used_containers & set(catalog.containers)):
            first = catalog.containers[other]
            if (
                first.container_class is rule.pot_on_from_class
                and other != name
                and catalog.cells_suit(order.crop, other)
                and (first.organic_ok or not order.organic)
            ):
                paths.append(ContainerPath(first, last, rule))
    return paths


def courses(season: Season, crop: Crop, *, toned: bool) -> Iterator[Course]:
    """Give every course through the places of the house.

    Toning and holding places are left to `toning_places` and `holding_places` where only growing
    and germinating matter.
    """
    for grow in season.places.values():
        if grow.kind not in GROWING_KINDS or (grow.kind is PlaceKind.YARD and not crop.hardy):
            continue
        for germinate in germinating_places(season, crop, grow.name):
            for tone in toning_places(season, crop, grow.name) if toned else (grow.name,):
                yield Course(germinate, ((grow.name, 0),), tone, hold=False)


def germinating_places(season: Season, crop: Crop, grow: str) -> list[str | None]:
    """Return the places to germinate in before a growing place; None is the place itself."""
    found: list[str | None] = []
    for place in season.places.values():
        if place.name == grow or place.kind in GERMINATING_KINDS:
            dark = season.is_dark_place(place.name)
            if not (dark and crop.light_need is LightNeed.LIGHT):
                found.append(None if place.name == grow else place.name)
    return found


def toning_places(season: Season, crop: Crop, grow: str) -> list[str]:
    """Return the places to tone in after a growing place."""
    return [
        place.name
        for place in season.places.values()
        if place.name == grow
        or (
            place.kind in TONING_KINDS
            and kind_allowed(place.kind, StepKind.TONE, crop, grows_there=False)
        )
    ]


def holding_places(season: Season, crop: Crop) -> list[str]:
    """Return the cold stores, if the crop can be held."""
    if crop.hold_d < 1:
        return []
    return [each.name for each in season.places.values() if each.kind is PlaceKind.COLD_STORE]
