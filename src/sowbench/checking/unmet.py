"""Why plants are not planned: the reasons that can be tried again simply."""

from __future__ import annotations

from collections import Counter

import numpy as np

from sowbench.checking.report import Ledger
from sowbench.checking.season import SOW_HOUR, Season
from sowbench.checking.timeline import Timelines, timeline
from sowbench.checking.timing import LATE_MOST_D
from sowbench.checking.ways import admissible_lots, container_paths, courses
from sowbench.domain.plan import Unmet
from sowbench.domain.records import Order


def check_unmet(season: Season, lines: Timelines, ledger: Ledger) -> None:
    """Try the reason of every unmet order again where that is simple."""
    for unmet in season.plan.unmet:
        order = season.orders.get(unmet.order)
        if order is None or order.crop not in season.catalog.crops:
            continue
        if unmet.reason == "seed":
            _check_seed(season, ledger, order, unmet)
        elif unmet.reason == "container":
            paths = container_paths(season, order)
            ledger.require(
                not paths, "unmet for want of a container", order.id,
                "A container would do.", "none", ", ".join(each.last.id for each in paths[:3]),
            )  # fmt: skip
        elif unmet.reason in {"past", "too_soon"}:
            _check_too_soon(season, lines, ledger, order)


def _check_seed(season: Season, ledger: Ledger, order: Order, unmet: Unmet) -> None:
    """No lot that the order accepts has a seed for every plant left."""
    used: Counter[str] = Counter()
    for sowing in season.plan.sowings:
        if sowing.sowing not in season.standings:
            used[sowing.lot] += sowing.n_seeds
    for lot in admissible_lots(season, order):
        gone = lot.use_by is not None and lot.use_by < season.inputs.from_date
        gone |= lot.arrives_on is not None and lot.arrives_on > order.latest_date
        left = np.inf if lot.n_seeds is None else lot.n_seeds - used[lot.id]
        # Half as many again: empty cells have to be reckoned with.
        enough = left >= 1.5 * season.wanted_cells(order, unmet.plants)
        ledger.require(
            gone or not enough, "unmet for want of seed", order.id,
            f"Lot {lot.id} has seed for it.", "none", f"{left:g} seeds",
        )  # fmt: skip
    if not admissible_lots(season, order):
        ledger.require(True, "unmet for want of seed", order.id, "")  # noqa: FBT003


def _check_too_soon(season: Season, lines: Timelines, ledger: Ledger, order: Order) -> None:
    """Even what is sown on the first day is ready after the latest day."""
    crop = season.catalog.crops[order.crop]
    days = [
        index
        for index in range(season.index(season.inputs.from_date), season.n_days)
        if season.can_sow_on(season.day(index))
    ][:7]
    arrivals = [each.arrives_on for each in admissible_lots(season, order)]
    latest = season.index(order.latest_date)
    hours = np.array(days) * 24.0 + SOW_HOUR
    for path in container_paths(season, order):
        for course in courses(season, crop, toned=False):
            line = timeline(season, lines.pace, crop, path.rule, course, hours)
            w, z = line.middle
            ready = np.ceil(line.ready_day[:, w, z] - 1e-9)
            in_time = line.exit_ok & (ready <= latest + LATE_MOST_D)
            if arrivals and all(each is not None for each in arrivals):
                first = min(season.index(each) for each in arrivals if each is not None)
                in_time &= np.array(days) >= first
            ledger.require(
                not in_time.any(), "unmet because it is too late", order.id,
                f"Sown in {path.first.id} and grown in {course.grow[0][0]} it is in time.",
                f"after {order.latest_date} and {LATE_MOST_D} days",
                str(season.day(int(ready[in_time].min()))) if in_time.any() else "",
            )  # fmt: skip
