"""What is taken up by day: room in places, reusable containers, and seed of the lots."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.report import Ledger
from sowbench.checking.season import Season
from sowbench.domain.plan import Sowing, Step
from sowbench.domain.records import Container

_SLIP = 1e-6
_SPACED = 0.999


def is_spaced(step: Step, container: Container) -> bool:
    """Tell whether plants stand wider than their container holds them."""
    if step.plants_per_m2 <= 0:
        return False
    if container.area_m2 <= 0:
        return True
    return step.plants_per_m2 < _SPACED * container.cells / container.area_m2


def step_area(step: Step, container: Container, n_containers: float | None = None) -> float:
    """Return the footprint of a step [m2]."""
    if is_spaced(step, container):
        return step.n_cells / step.plants_per_m2
    return (step.n_containers if n_containers is None else n_containers) * container.area_m2


def own_units(step: Step) -> float:
    """Lifted units that count as a sowing's own: of one shared by rows, an even part."""
    n_mates = len(step.from_sowings) + 1
    return step.n_containers - 1 + 1 / n_mates


def stays(season: Season) -> Iterator[tuple[Sowing, Step, Container, float]]:
    """Give every step with its container and the lifted units it accounts for."""
    for sowing in season.plan.sowings:
        for step in sowing.steps:
            container = season.catalog.containers.get(step.container)
            if container is not None:
                yield sowing, step, container, own_units(step)


def check_rooms(season: Season, ledger: Ledger) -> None:
    """No place holds more than it has room for, on any day."""
    used: dict[str, NDArray[np.float64]] = {}
    for _, step, container, units in stays(season):
        place = season.places.get(step.place)
        if place is None:
            continue
        first = season.index(max(step.from_date, season.inputs.from_date))
        row = used.setdefault(step.place, np.zeros(season.n_days))
        by_position = place.n_positions is not None
        amount = units if by_position else step_area(step, container, units)
        row[first : season.index(step.to_date)] += amount
    for name, row in used.items():
        place = season.places[name]
        if place.n_positions is not None:
            limit, unit = float(place.n_positions), "positions"
        elif place.area_m2 is not None:
            limit, unit = place.area_m2 * place.usable_frac, "m2"
        else:
            continue
        for index in np.flatnonzero(row > 0):
            ledger.require(
                bool(row[index] <= limit * (1 + _SLIP) + _SLIP), "room by place and day",
                f"{name} on {season.day(index)}", f"More stands there than fits ({unit}).",
                f"at most {limit:g}", float(row[index]),
            )  # fmt: skip


def is_reusable(season: Season, container: Container) -> bool:
    """Tell whether a container comes back, by the house or the reference."""
    stock = season.stock.get(container.id)
    if stock is not None and stock.reusable is not None:
        return stock.reusable
    return container.reusable


def container_spans(sowing: Sowing) -> list[tuple[str, date, date, bool, list[Step]]]:
    """Return each container of a sowing with its days, and whether it is the last."""
    spans: list[tuple[str, date, date, bool, list[Step]]] = []
    for step in sowing.steps:
        if spans and spans[-1][0] == step.container:
            name, first, _, last, steps = spans[-1]
            spans[-1] = (name, first, step.to_date, last, [*steps, step])
        else:
            spans.append((step.container, step.from_date, step.to_date, False, [step]))
    if spans:
        name, first, end, _, steps = spans[-1]
        spans[-1] = (name, first, end, True, steps)
    return spans


def check_container_days(season: Season, ledger: Ledger) -> None:
    """Reusable containers are not out twice on one day."""
    units: dict[tuple[str, str], float] = {}
    for sowing, _, container, own in stays(season):
        key = (sowing.sowing, container.id)
        units[key] = max(units.get(key, 0.0), own)
    used: dict[str, NDArray[np.float64]] = {}
    for sowing in season.plan.sowings:
        for name, first, end, last, _ in container_spans(sowing):
            held = season.catalog.containers.get(name)
            stock = season.stock.get(name)
            if held is None or stock is None or stock.n_in_stock is None:
                continue
            if not is_reusable(season, held):
                continue
            back = end + timedelta(days=stock.wash_d + (stock.back_after_d if last else 0))
            row = used.setdefault(name, np.zeros(season.n_days))
            start = season.index(max(first, season.day0))
            row[start : season.index(back)] += units[sowing.sowing, name]
    for name, row in used.items():
        limit = season.stock[name].n_in_stock or 0
        for index in np.flatnonzero(row > 0):
            ledger.require(
                bool(row[index] <= limit + _SLIP), "reusable containers by day",
                f"{name} on {season.day(index)}", "More are out than the house has.",
                f"at most {limit}", float(row[index]),
            )  # fmt: skip


def check_lots(season: Season, ledger: Ledger) -> None:
    """No lot gives more seed than there is."""
    used: Counter[str] = Counter()
    for sowing in season.plan.sowings:
        if not season.is_given(sowing):
            used[sowing.lot] += sowing.n_seeds
    for name, n_seeds in used.items():
        lot = season.lots.get(name)
        if lot is None or lot.n_seeds is None:
            continue
        ledger.require(
            n_seeds <= lot.n_seeds, "seed of the lot", name, "More is sown than there is.",
            f"at most {lot.n_seeds}", n_seeds,
        )  # fmt: skip
