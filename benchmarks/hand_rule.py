"""The handbook's rule of hand: count back the weeks, sow 15 % more, take the first place with room.

Each order in the sequence of the file is sown on the sowing day at or before the wanted day less
the middle of the handbook's weeks, at the usual seeds to a cell, in the first container that will
do and that is there, from the first lot with seed enough. It germinates in the first chamber that
suits, if there is one with room, and then stands in the first place with room until it is fetched
on the wanted day. Hands are not reckoned, nor warmth, light, or what the lot's test says.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchmarks.laid_out import LaidOut, chances_as_they_are, write_plan
from sowbench.domain.plan import Plan
from sowbench.domain.records import ContainerClass, Crop, Order
from sowbench.planning.assemble import as_group
from sowbench.planning.block import Block, Option, Sizing
from sowbench.planning.options import (
    MAX_SHARED_ORDERS,
    admissible_lots,
    container_paths,
)
from sowbench.planning.placed import Placed, letters
from sowbench.planning.resources import ResourceKind, SegmentBuilder
from sowbench.planning.season import Season
from sowbench.planning.timeline import End, Route, Timeline, routes_of
from sowbench.planning.uses import add_uses
from sowbench.reference.growth_rows import EmergenceDays, Row, schedule_rows
from sowbench.science.stand import EMERGENCE_FRAC, thin_per_cell

MORE_FRAC = 0.15
"""Cells sown above the plants wanted: the top of the usual 5 to 15 % (from memory)."""


def handbook_row(rows: list[Row], crop: Crop, container_class: ContainerClass) -> Row:
    """First handbook row of a crop.

    Parameters
    ----------
    rows : list of Row
        All rows of the schedules, published ones first.
    crop : Crop
        The crop.
    container_class : ContainerClass
        What it is raised in.

    Returns
    -------
    row : Row
        Of the crop in that class, else in the plug, else of its kin in the plug.

    Raises
    ------
    LookupError
        If no row speaks of the crop or its kind.
    """
    for wanted in (container_class.value, "plug"):
        own = [r for r in rows if r.crop == crop.id and r.container_class == wanted]
        own = [r for r in own if not r.widen] or own
        if own:
            return own[0]
    kin = [r for r in rows if r.container_class == "plug" and r.crop.split()[-1] in crop.id]
    if not kin:
        message = f"crop must have weeks in some handbook row; got {crop.id!r}."
        raise LookupError(message)
    return kin[0]


@dataclass
class _Bench:
    """What is left of room and seed while orders are written into the book."""

    season: Season
    left: NDArray[np.float64]

    def seed_left(self, lot: int) -> float:
        """Seeds left of a lot; endless if its number is not known."""
        row = self.season.resources.index(ResourceKind.LOT, self.season.lots[lot].record.id)
        return float(self.left[row, 0]) if row >= 0 else float("inf")

    def use(self, placed: Placed) -> NDArray[np.float64]:
        """Room and seed that a sowing takes, by resource and day; nothing else is reckoned."""
        resources = self.season.resources
        one, groups = as_group(self.season, placed)
        builder = SegmentBuilder()
        add_uses(self.season, one.row, groups, builder, 0)
        use = builder.build(1).use(np.ones(1), *resources.capacity.shape)
        for i, kind in enumerate(resources.kinds):
            if kind not in {ResourceKind.PLACE, ResourceKind.LOT}:
                use[i] = 0.0
        return use


def hand_rule_plan(laid: LaidOut, bound: float) -> Plan:
    """Plan a season by hand.

    Parameters
    ----------
    laid : LaidOut
        The season.
    bound : float
        Proven lower bound, for the gap.

    Returns
    -------
    plan : Plan
        Its sowings, orders and money as the planner's model sees them.
    """
    season = laid.season
    bench = _Bench(season, season.resources.capacity.copy())
    rows = schedule_rows()
    names: dict[str, int] = {}
    placed: list[Placed] = []
    unmet: dict[str, str] = {}
    for o, order in enumerate(season.orders):
        crop = season.catalog.crops[order.crop]
        if not container_paths(season, crop, order):
            unmet[order.id] = "container"
            continue
        ways = list(_ways(season, rows, o, order, crop))
        sown = False
        for one in ways:
            need = float(one.n_cells * one.option.seeds_per_cell)
            if bench.seed_left(one.option.lot) < need:
                continue
            use = bench.use(one)
            if (use <= bench.left + 1e-6).all():
                bench.left -= use
                stem = f"{crop.id} {season.calendar.date(one.sow_day):%m-%d}"
                names[stem] = names.get(stem, 0) + 1
                one.name = f"{stem} {letters(names[stem])}"
                placed.append(one)
                sown = True
                break
        if not sown:
            lots = admissible_lots(season, order)
            unmet[order.id] = "room" if ways and lots else "seed"
    return write_plan(laid, chances_as_they_are(season, placed), unmet, bound)


def _ways(season: Season, rows: list[Row], o: int, order: Order, crop: Crop) -> Iterator[Placed]:
    """Give the ways to sow an order, the first that comes to mind first."""
    path = container_paths(season, crop, order)[0]
    row = handbook_row(rows, crop, path.last.container_class)
    back_d = round(7 * (row.weeks_min + row.weeks_max) / 2.0)
    day = _sowing_day(season, season.calendar.day(order.wanted_date) - back_d)
    if day < 0:
        return
    up_d = max(1, round(EmergenceDays().days(row)))
    crops = {name: k for k, name in enumerate(season.catalog.crops)}
    routes = routes_of(crop, season.places, season.climates)
    growing = list(dict.fromkeys(r.grow for r in routes))
    chambers = list(dict.fromkeys(r.germ for r in routes if r.germ != r.grow))
    for grow in growing:
        for germ in (*chambers, grow):
            if (germ, grow) not in {(r.germ, r.grow) for r in routes}:
                continue
            route = Route(germ, grow, (End(grow),))
            timeline = season.crop_season(crop).timeline(route, path.rule, np.array([day]))
            if germ != grow:  # taken out when the handbook says that it is up
                out = np.minimum(timeline.sow_day + up_d, season.calendar.n_days - 1)
                timeline = replace(timeline, exit_day=out, exit_hour=24.0 * out + 8.0)
            for lot in admissible_lots(season, order):
                option = Option(path, lot, crop.seeds_per_cell)
                yield _sown(season, o, crop, route, timeline, option, crops[crop.id])


def _sowing_day(season: Season, day: int) -> int:
    """Sowing day at or before a day; the first there is if that has passed; -1 without any."""
    days = np.flatnonzero(season.calendar.is_sow)
    days = days[days >= season.from_day]
    if not len(days):
        return -1
    at = int(np.searchsorted(days, day, side="right")) - 1
    return int(days[max(at, 0)])


def _sown(
    season: Season,
    o: int,
    crop: Crop,
    route: Route,
    timeline: Timeline,
    option: Option,
    crop_index: int,
) -> Placed:
    """Lay out one sowing of an order, 15 % above what is wanted, fetched on the wanted day."""
    order = season.orders[o]
    wanted = season.need_cells(order)
    cells = np.array([int(np.ceil((1.0 + MORE_FRAC) * wanted - 1e-9))])
    units = -(-cells // option.path.first.cells)
    hand = np.full((1, MAX_SHARED_ORDERS), -1)
    hand[0, 0] = max(season.calendar.day(order.wanted_date), int(timeline.exit_day[0]) + 1)
    zero, nothing = np.zeros(1, dtype=np.int64), np.zeros(1)
    row = Block(
        crop=crop,
        rule=option.path.rule,
        route=route,
        timeline=timeline,
        choices=(option,),
        group=zero,
        choice=zero,
        sow=zero,
        hand_over=hand,
        end=zero,
        sizing=Sizing(
            ok=np.ones(1, dtype=bool),
            n_cells=cells,
            n_units=units,
            n_last=cells,
            n_last_units=units,
            need=np.array([wanted]),
            mean_usable=nothing,
            short=nothing,
            surplus=nothing,
            thin_cells=cells * _thinned_frac(season, crop, timeline, option),
            least=nothing,
            none=np.zeros((1, 0)),
        ),
    )
    one = Placed("", row, [(o, wanted)], crop_index)
    mean = float(season.w_weights @ one.usable(season) @ season.lots[option.lot].weights)
    one.row = replace(row, sizing=replace(row.sizing, mean_usable=np.array([mean])))
    return one.with_cells(int(cells[0]))


def _thinned_frac(season: Season, crop: Crop, timeline: Timeline, option: Option) -> float:
    """Share of cells with more seedlings than may stay, in a typical season."""
    lot = season.lots[option.lot]
    middle = len(season.w_weights) // 2
    p = float(lot.nodes @ lot.weights) * EMERGENCE_FRAC
    p *= float(timeline.fraction[middle, 0] * timeline.on_time[0])
    _, share = thin_per_cell(
        option.seeds_per_cell,
        min(p, 1.0),
        crop.plants_per_cell[1],
        seedlings_per_unit=lot.record.seedlings_per_unit,
    )
    return float(share)
