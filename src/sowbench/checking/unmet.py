"""Why plants are not planned: the reasons that can be tried again simply."""

from __future__ import annotations

from collections import Counter

import numpy as np

from sowbench.checking.report import Ledger
from sowbench.checking.rooms import is_reusable
from sowbench.checking.season import SOW_HOUR, Season
from sowbench.checking.timeline import Timelines, timeline
from sowbench.checking.timing import LATE_MOST_D
from sowbench.checking.ways import ContainerPath, admissible_lots, container_paths, courses
from sowbench.domain.plan import Unmet
from sowbench.domain.records import Order, SeedLot


def check_unmet(season: Season, lines: Timelines, ledger: Ledger) -> None:
    """Try the reason of every unmet order again where that is simple."""
    for unmet in season.plan.unmet:
        order = season.orders.get(unmet.order)
        if order is None or order.crop not in season.catalog.crops:
            continue
        if unmet.reason == "seed":
            _check_seed(season, lines, ledger, order, unmet)
        elif unmet.reason == "container":
            paths = [
                each
                for each in container_paths(season, order)
                if not _is_scarce(season, each) and _is_pinned(season, order.id, each)
            ]
            ledger.require(
                not paths, "unmet for want of a container", order.id,
                "A container would do.", "none", ", ".join(each.last.id for each in paths[:3]),
            )  # fmt: skip
        elif unmet.reason == "pinned":
            ledger.require(
                _has_pin(season, order.id), "unmet because of a pin", order.id,
                "Nothing is pinned for it.", "a pin", "none",
            )  # fmt: skip
        elif unmet.reason in {"past", "too_soon"}:
            _check_too_soon(season, lines, ledger, order)


def _has_pin(season: Season, order: str) -> bool:
    """Tell whether an order has a pin, or a sowing of the kept plan that is for it."""
    kept = season.inputs.kept
    of_it = {order}
    for each in () if kept is None else kept.sowings:
        if any(share.order == order for share in each.orders):
            of_it.add(each.sowing)
    return any(each.target in of_it for each in season.pins)


def _is_pinned(season: Season, order: str, path: ContainerPath) -> bool:
    """Tell whether the pins of an order allow a container path."""
    names = {path.first.id, path.last.id}
    pins = [each for each in season.pins if each.target == order and each.container]
    return all(each.container in names for each in pins)


def _is_scarce(season: Season, path: ContainerPath) -> bool:
    """Tell whether a container on a path comes from a limited stock."""
    for container in (path.first, path.last):
        stock = season.stock.get(container.id)
        limited = stock is not None and stock.n_in_stock is not None
        if limited and is_reusable(season, container):
            return True
    return False


def _check_seed(
    season: Season, lines: Timelines, ledger: Ledger, order: Order, unmet: Unmet
) -> None:
    """No lot that the order accepts has a seed for every plant left, in time."""
    used: Counter[str] = Counter()
    for sowing in season.plan.sowings:
        if not season.is_given(sowing):
            used[sowing.lot] += sowing.n_seeds
    for lot in admissible_lots(season, order):
        left = np.inf if lot.n_seeds is None else lot.n_seeds - used[lot.id]
        # Half as many again: empty cells have to be reckoned with.
        enough = left >= 1.5 * season.wanted_cells(order, unmet.plants)
        ways = _in_time(season, lines, order, lot) if enough else []
        ledger.require(
            not ways, "unmet for want of seed", order.id,
            f"Lot {lot.id} has seed for it, in time.", "none",
            f"{left:g} seeds, {ways[0] if ways else ''}",
        )  # fmt: skip
    if not admissible_lots(season, order):
        ledger.require(True, "unmet for want of seed", order.id, "")  # noqa: FBT003


def _check_too_soon(season: Season, lines: Timelines, ledger: Ledger, order: Order) -> None:
    """Even what is sown on the first day is ready after the latest day."""
    lots = admissible_lots(season, order)
    ways = [way for lot in lots for way in _in_time(season, lines, order, lot)]
    ledger.require(
        not ways, "unmet because it is too late", order.id, "There is a way in time.",
        f"ready after {order.latest_date} and {LATE_MOST_D} days", ways[0] if ways else "",
    )  # fmt: skip


def _in_time(season: Season, lines: Timelines, order: Order, lot: SeedLot) -> list[str]:
    """Ways to be ready in time when sown on one of the first days possible."""
    crop = season.catalog.crops[order.crop]
    first = season.index(season.inputs.from_date)
    if lot.arrives_on is not None:
        first = max(first, season.index(lot.arrives_on))
    last = season.n_days if lot.use_by is None else season.index(lot.use_by) + 1
    latest = season.index(order.latest_date)
    days = [each for each in range(first, last) if season.can_sow_on(season.day(each))][:7]
    if not days or days[0] > latest:
        return []
    hours = np.array(days) * 24.0 + SOW_HOUR
    found = []
    for path in container_paths(season, order):
        for course in courses(season, crop, toned=False):
            line = timeline(season, lines.pace, crop, path.rule, course, hours)
            w, z = line.middle
            ready = np.ceil(line.ready_day[:, w, z] - 1e-9)
            goes_out = np.maximum(ready, season.index(order.wanted_date))
            fresh = line.overgrown_day[:, w, z] > goes_out
            good = line.exit_ok & fresh & (ready <= latest + LATE_MOST_D)
            if good.any():
                found.append(
                    f"sown in {path.first.id} and grown in {course.grow[0][0]} it is ready on "
                    f"{season.day(ready[good].min())}"
                )
    return found
