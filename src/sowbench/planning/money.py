"""The plan's money, part by part, with exact expectations of shortage."""

from __future__ import annotations

import numpy as np

from sowbench.planning.assemble import as_group
from sowbench.planning.costs import own_costs
from sowbench.planning.placed import Settled
from sowbench.planning.season import Season
from sowbench.science.cost import PARTS


def plan_cost(season: Season, settled: Settled) -> dict[str, float]:
    """Money of the plan by part; shortage counts what is not planned at all, too."""
    prices, crew = season.house.prices, season.house.crew
    parts = dict.fromkeys(PARTS, 0.0)
    planned = np.zeros(len(season.orders))
    for p in settled.placed:
        one, groups = as_group(season, p)
        costs = own_costs(season, one.row, groups, p.since)
        for name in PARTS:
            if name not in {"short", "surplus"}:
                parts[name] += float(costs.parts[name][0])
        parts["labor"] += float(costs.fixed[0])
        for o, n in p.orders:
            planned[o] += n * season.plants_per_cell(season.orders[o])
    pairs = {(p.sow_day, p.option.lot) for p in settled.placed if p.since < 0}
    parts["labor"] += len(pairs) * crew.setup_minutes / 60.0 * crew.rate_per_hour
    for o, order in enumerate(season.orders):
        chance = settled.chances.get(o)
        missing = max(0.0, order.plants - planned[o])
        if chance is not None:
            missing += float(chance.expected_short) * season.plants_per_cell(order)
        parts["short"] += prices.short_plant * missing
    if prices.surplus_plant:
        for p in settled.placed:
            risk = p.risk(season)
            usable = risk.usable @ risk.lot_weights
            mean = float(usable @ season.w_weights) * (1.0 - risk.tray_loss_frac) * risk.n_cells
            meant = sum(n for _, n in p.orders)
            per_cell = season.plants_per_cell(season.orders[p.orders[0][0]])
            extra = max(0.0, mean - meant + _short_share(settled, p))
            parts["surplus"] -= prices.surplus_plant * extra * per_cell
    return {name: round(float(value), 4) for name, value in parts.items()}


def _short_share(settled: Settled, placed: object) -> float:
    """Expected shortage of a sowing's orders, shared among the sowings of each."""
    total = 0.0
    for o, _ in placed.orders:  # type: ignore[attr-defined]
        sowings = sum(any(k == o for k, _ in p.orders) for p in settled.placed)
        chance = settled.chances.get(o)
        if chance is not None:
            total += float(chance.expected_short) / sowings
    return total
