"""What to have and what to buy: seed by lot, containers, mix and labels."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta

import numpy as np

from sowbench.domain.plan import Supply
from sowbench.domain.records import Container
from sowbench.planning.assemble import total_use
from sowbench.planning.costs import mix_liters
from sowbench.planning.placed import Placed
from sowbench.planning.resources import ResourceKind
from sowbench.planning.season import Season, is_limited, is_reusable
from sowbench.planning.uses import moves_of

LEAD_TIME_D = 14  # from ordering to having it (assumption)


def supplies_of(season: Season, placed: list[Placed]) -> list[Supply]:
    """Supplies by first need: seed by lot, containers, mix by month, labels."""
    out: list[Supply] = []
    out += seed_supplies(season, placed)
    out += container_supplies(season, placed)
    out += mix_supplies(season, placed)
    return sorted(out, key=lambda s: (s.order_by, s.item))


def _supply(
    season: Season, day: date, item: str, amount: float, unit: str, stock: float, buy: float
) -> Supply:
    first = season.calendar.date(season.from_day)
    order_by = max(first, day - timedelta(days=LEAD_TIME_D))
    return Supply(day, order_by, item, round(amount, 2), unit, round(stock, 2), round(buy, 2))


def seed_supplies(season: Season, placed: list[Placed]) -> list[Supply]:
    """Seed taken from each lot; lots that are only assumed are bought in full packs."""
    seeds: dict[int, int] = defaultdict(int)
    first: dict[int, int] = {}
    for p in placed:
        if p.since >= 0:
            continue
        lot = p.option.lot
        seeds[lot] += p.n_cells * p.option.seeds_per_cell
        first[lot] = min(first.get(lot, p.sow_day), p.sow_day)
    out = []
    for lot, n in seeds.items():
        record = season.lots[lot].record
        stock = float(record.n_seeds or 0)
        missing = max(0.0, n - stock)
        if missing and record.pack_sizes:
            pack = min(record.pack_sizes)
            missing = float(-(-missing // pack) * pack)
        day = season.calendar.date(first[lot])
        out.append(_supply(season, day, f"seed {record.id}", n, "seeds", stock, missing))
    return out


def fillings(season: Season, placed: Placed) -> list[tuple[Container, int, bool]]:
    """Containers still to be filled for a sowing, with the day, and whether they are sown in."""
    path = placed.option.path
    out = [] if placed.since >= 0 else [(path.first, placed.sow_day, True)]
    if path.potted_on:
        pot = int(moves_of(season, placed.row).pot[0])
        if pot >= placed.since:
            out.append((path.last, pot, False))
    return out


def container_supplies(season: Season, placed: list[Placed]) -> list[Supply]:
    """Containers: one-way ones by the sum, reusable ones by the most out at a time."""
    total: dict[str, float] = defaultdict(float)
    first: dict[str, int] = {}
    for p in placed:
        sizing = p.row.sizing
        for container, day, first_ones in fillings(season, p):
            units = float((sizing.n_units if first_ones else sizing.n_last_units)[0])
            total[container.id] += units
            first[container.id] = min(first.get(container.id, day), day)
    peaks = _peaks(season, placed)
    out = []
    for name, whole in total.items():
        container = season.containers[name]
        own = season.stock.get(name)
        stock = float(own.n_in_stock) if own is not None and own.n_in_stock is not None else 0.0
        need = whole
        if is_reusable(container, season.stock):
            need = peaks.get(name, whole)
        when = season.calendar.date(first[name])
        out.append(
            _supply(season, when, container.name, need, "units", stock, max(0.0, need - stock))
        )
    return out


def _peaks(season: Season, placed: list[Placed]) -> dict[str, float]:
    """Most units of each reusable container that are out at a time."""
    out: dict[str, float] = {}
    names = {
        c.id
        for p in placed
        for c in (p.option.path.first, p.option.path.last)
        if is_reusable(c, season.stock)
    }
    resources = season.resources
    use = total_use(season, placed)
    for name in names:
        if is_limited(season.containers[name], season.stock):
            r = resources.index(ResourceKind.CONTAINER, name)
            out[name] = float(use[r].max())
        else:
            out[name] = _unlimited_peak(season, placed, name)
    return out


def _unlimited_peak(season: Season, placed: list[Placed], name: str) -> float:
    """Most units out at a time of a container that is bought as needed."""
    change = np.zeros(season.calendar.n_days + 1)
    for p in placed:
        path, sizing = p.option.path, p.row.sizing
        end = int(p.row.hand_over[0].max())
        pot = int(moves_of(season, p.row).pot[0])
        spans = []
        if path.first.id == name:
            spans.append((p.sow_day, pot if path.potted_on else end, float(sizing.n_units[0])))
        if path.potted_on and path.last.id == name:
            spans.append((pot, end, float(sizing.n_last_units[0])))
        for a, b, units in spans:
            change[a] += units
            change[min(b + 8, season.calendar.n_days)] -= units
    return float(np.cumsum(change).max())


def mix_supplies(season: Season, placed: list[Placed]) -> list[Supply]:
    """Mix by month [L], waste included."""
    liters: dict[date, float] = defaultdict(float)
    day_of: dict[date, date] = {}
    for p in placed:
        sizing = p.row.sizing
        for container, day, first_ones in fillings(season, p):
            cells = float((sizing.n_cells if first_ones else sizing.n_last)[0])
            need = float(mix_liters(container, np.array([cells]))[0])
            if need > 0:
                when = season.calendar.date(day)
                month = when.replace(day=1)
                liters[month] += need
                day_of[month] = min(day_of.get(month, when), when)
    return [
        _supply(season, day_of[m], f"mix for {m:%Y-%m}", value, "L", 0.0, value)
        for m, value in sorted(liters.items())
    ]
