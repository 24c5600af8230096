"""Money: every part of a plan's cost once more, and what has to be bought."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Final

import numpy as np
from scipy.special import ndtr

from sowbench.checking.chances import Stands, expected_short, parts_of, plants_per_cell
from sowbench.checking.hands import Work
from sowbench.checking.report import Ledger, Severity
from sowbench.checking.rooms import container_spans, is_reusable, stays, step_area
from sowbench.checking.season import Season
from sowbench.checking.timeline import Timeline, Timelines, pace_at
from sowbench.domain.plan import Sowing, Step
from sowbench.domain.records import Container, SeedLot, StepKind
from sowbench.science.medium import WASTE_FRAC

USES_OF_REUSABLE: Final = 20
LATE_CAP_D: Final = 60.0
PARTS: Final = (
    "seed", "container", "mix", "labor", "room", "short", "late", "overgrown", "surplus",
)  # fmt: skip
_SLIP_FRAC: Final = 0.005
_SLIP: Final = 0.01
_PIECES: Final = frozenset({"piece", "pieces", "pcs", "units", "unit", "containers", "trays"})


def container_price(season: Season, container: Container) -> float:
    """Return the money for one use of a lifted unit."""
    stock = season.stock.get(container.id)
    price = container.price if stock is None or stock.price is None else stock.price
    return price / USES_OF_REUSABLE if is_reusable(season, container) else price


def seed_price(season: Season, lot: SeedLot | None, crop: str) -> float:
    """Return the money for a seed unit."""
    if lot is not None and lot.price_per_1000 is not None:
        return lot.price_per_1000 / 1000.0
    return season.catalog.crops[crop].seed_price_per_1000 / 1000.0


def is_ahead(season: Season, sowing: Sowing) -> bool:
    """Tell whether a sowing is still to be sown, so that its seed and trays are still to pay."""
    return not season.is_given(sowing)


def is_filled(season: Season, sowing: Sowing, steps: list[Step]) -> bool:
    """Tell whether the container of some steps is still to be filled."""
    if is_ahead(season, sowing):
        return True
    return steps[0].kind is StepKind.POT_ON and steps[0].from_date >= season.inputs.from_date


def days_late(season: Season, line: Timeline, latest: int) -> float:
    """Expected whole days from the latest day to the ready date."""
    late = np.clip(np.ceil(line.ready_day[0] - 1e-9) - latest, 0.0, LATE_CAP_D)
    return float(season.w_weights @ late @ season.z_weights)


def overgrown_chance(season: Season, line: Timeline, day: int) -> float:
    """Chance of being overgrown at or before a day."""
    z = pace_at(line.overgrown_day[0], season.z_nodes, float(day))
    return float(ndtr(z) @ season.w_weights)


def filled_units(season: Season) -> dict[tuple[str, str], float]:
    """Return the lifted units of each container that a sowing fills."""
    units: dict[tuple[str, str], float] = {}
    for sowing, _, container, own in stays(season):
        key = (sowing.sowing, container.id)
        units[key] = max(units.get(key, 0.0), own)
    return units


def material_costs(season: Season) -> dict[str, float]:
    """Money for seed, containers, mix and room."""
    money = dict.fromkeys(("seed", "container", "mix", "room"), 0.0)
    own_units = filled_units(season)
    first = season.inputs.from_date
    for _, step, container, units in stays(season):
        place = season.places.get(step.place)
        if place is None or step.kind is StepKind.PREPARE:
            continue
        days = (step.to_date - max(step.from_date, first)).days
        area = units * container.area_m2
        if place.n_positions is None:
            area = step_area(step, container, units)
        money["room"] += area * max(days, 0) * place.price_per_m2_day
    for sowing in season.plan.sowings:
        if sowing.crop not in season.catalog.crops:
            continue
        if is_ahead(season, sowing):
            price = seed_price(season, season.lot(sowing.lot), sowing.crop)
            money["seed"] += sowing.n_seeds * price
        trays, mix = filling(season, sowing, own_units)
        money["container"] += trays
        money["mix"] += mix
    return money


def filling(
    season: Season, sowing: Sowing, own_units: Mapping[tuple[str, str], float]
) -> tuple[float, float]:
    """Money for the containers still to be filled for a sowing, and for their mix."""
    prices = season.house.prices
    container = mix = 0.0
    for name, _, _, _, steps in container_spans(sowing):
        filled = season.catalog.containers.get(name)
        if filled is None or not is_filled(season, sowing, steps):
            continue
        n = own_units[sowing.sowing, name]
        container += n * (container_price(season, filled) + prices.label)
        if filled.takes_mix:
            mix += mix_l(steps[0], filled) * prices.mix_per_l
    return container, mix


def given_filling(season: Season) -> float:
    """Money for what stands already and is still to be potted on: in the cost of every plan."""
    own_units = filled_units(season)
    given = [each for each in season.plan.sowings if not is_ahead(season, each)]
    return sum(sum(filling(season, each, own_units)) for each in given)


def mix_l(step: Step, container: Container) -> float:
    """Return the mix that fills the cells of a step, with what is spilled and settles [L]."""
    return step.n_cells * container.cell_volume_ml / 1000.0 * (1 + WASTE_FRAC)


def chance_costs(
    season: Season, lines: Timelines, stands: Stands, ledger: Ledger
) -> dict[str, float]:
    """Money for plants short, late, overgrown and above the orders."""
    prices = season.house.prices
    money = dict.fromkeys(("short", "late", "overgrown", "surplus"), 0.0)
    n_unmet = sum(each.plants for each in season.plan.unmet)
    money["short"] = prices.short_plant * n_unmet
    short_cells = needed_cells = 0.0
    for row in season.plan.orders:
        order = season.orders.get(row.order)
        if order is None or not row.planned:
            continue
        parts = parts_of(season, lines, stands, order)
        if not parts:
            continue
        cells = expected_short(season, order, parts, row.planned)
        per_cell = plants_per_cell(season, order)
        money["short"] += prices.short_plant * cells * per_cell
        short_cells += cells
        needed_cells += season.wanted_cells(order, row.planned)
        missing = row.plants - row.planned + cells * per_cell
        ledger.near(
            row.expected_short, missing, 0.01 * row.plants + 0.01, "expected_short",
            row.order, "Summed over the nodes it is another number.",
        )  # fmt: skip
        for part in parts:
            plants = sum(e.plants for e in part.sowing.orders if e.order == row.order)
            late = days_late(season, part.line, season.index(order.latest_date))
            money["late"] += prices.late_plant_day * plants * late
        for each in row.hand_over:
            sowing = season.sowings.get(each.sowing)
            line = None if sowing is None else lines.of(sowing)
            if line is not None:
                chance = overgrown_chance(season, line, season.index(each.date))
                money["overgrown"] += prices.overgrown_plant * each.plants * chance
    usable = 0.0
    for sowing in season.plan.sowings:
        stand = stands.of(sowing)
        if stand is not None and sowing.orders:
            shares, weight = stand.usable_at_nodes()
            mean = float(season.w_weights @ shares @ weight)
            n = stand.n_cells if stand.n_counted is None else stand.n_counted
            kept = 0.995 if stand.n_counted is None else 1.0
            usable += n * mean * kept
    above = max(usable - needed_cells + short_cells, 0.0)
    money["surplus"] = -prices.surplus_plant * above
    return money


def given_timing(season: Season, lines: Timelines) -> float:
    """Money for what stands already and goes out late or overgrown: in the cost of every plan."""
    prices, money = season.house.prices, 0.0
    for row in season.plan.orders:
        order = season.orders.get(row.order)
        for each in row.hand_over:
            sowing = season.sowings.get(each.sowing)
            if order is None or sowing is None or is_ahead(season, sowing):
                continue
            line = lines.of(sowing)
            if line is not None:
                late = days_late(season, line, season.index(order.latest_date))
                chance = overgrown_chance(season, line, season.index(each.date))
                money += each.plants * prices.late_plant_day * late
                money += each.plants * prices.overgrown_plant * chance
    return money


def check_costs(
    season: Season, lines: Timelines, stands: Stands, work: list[Work], water_min: float,
    ledger: Ledger,
) -> None:  # fmt: skip
    """Compare every part of the cost, the total and the gap."""
    plan = season.plan
    money = material_costs(season) | chance_costs(season, lines, stands, ledger)
    minutes = sum(each.minutes for each in work) + water_min
    money["labor"] = minutes / 60.0 * season.house.crew.rate_per_hour
    for name in plan.cost_parts:
        ledger.require(
            name in PARTS, "cost parts are known", name, "This is no part of the cost.",
            ", ".join(PARTS), name,
        )  # fmt: skip
    for name in PARTS:
        ledger.near(
            plan.cost_parts.get(name, 0.0), money[name], _SLIP + _SLIP_FRAC * abs(money[name]),
            "cost part", name, "Recomputed, this part is another sum.",
        )  # fmt: skip
        ledger.figures[f"cost {name}"] = money[name]
    total = sum(money.values())
    ledger.figures["cost"] = total
    scale = sum(abs(each) for each in money.values())
    ledger.near(
        plan.cost, total, _SLIP + _SLIP_FRAC * scale, "cost", "plan", "The total is another."
    )
    ledger.near(
        plan.cost, sum(plan.cost_parts.values()), _SLIP, "cost is the sum of its parts", "plan",
        "The parts add up to another sum.",
    )  # fmt: skip
    if plan.bound > 0:
        ledger.near(
            plan.gap_frac, max(plan.cost - plan.bound, 0.0) / plan.bound, 1e-4, "gap", "plan",
            "Cost over bound is another gap.",
        )  # fmt: skip
    ledger.require(
        plan.bound <= plan.cost * (1 + 1e-6) + _SLIP, "bound is below the cost", "plan",
        "No bound lies above a plan's cost.", plan.cost, plan.bound,
    )  # fmt: skip


def check_supplies(season: Season, ledger: Ledger) -> None:
    """What is needed, in stock and to buy adds up, for seed, containers and mix."""
    amounts: dict[tuple[str, str], float] = defaultdict(float)
    by_unit: dict[str, float] = defaultdict(float)
    bought: dict[str, float] = defaultdict(float)
    for row in season.plan.supplies:
        unit = row.unit.casefold()
        amounts[row.item, unit] += row.amount
        by_unit[unit] += row.amount
        bought[row.item] += row.to_buy
        ledger.require(
            row.order_by <= row.needed_on, "ordered before it is needed", row.item,
            "It is ordered too late.", f"by {row.needed_on}", row.order_by,
        )  # fmt: skip
        ledger.require(
            row.to_buy >= row.amount - row.in_stock - _SLIP and row.to_buy >= 0,
            "enough is bought", row.item, "Stock and buying do not make the amount.",
            f"at least {max(row.amount - row.in_stock, 0):g}", row.to_buy,
        )  # fmt: skip
    ahead = [each for each in season.plan.sowings if is_ahead(season, each)]
    seeds: dict[str, float] = defaultdict(float)
    mix = 0.0
    units: dict[str, float] = defaultdict(float)
    own = filled_units(season)
    for sowing in season.plan.sowings:
        if sowing in ahead:
            seeds[sowing.lot] += sowing.n_seeds
        for name, _, _, _, steps in container_spans(sowing):
            container = season.catalog.containers.get(name)
            if container is None or not is_filled(season, sowing, steps):
                continue
            units[name] += own[sowing.sowing, name]
            mix += mix_l(steps[0], container) if container.takes_mix else 0.0
    listed = sum(n for unit, n in by_unit.items() if unit in {"seed", "seeds"})
    _same(ledger, "seed", sum(seeds.values()), listed)
    for lot, n in seeds.items():
        if (lot, "seeds") in amounts:
            _same(ledger, f"seed {lot}", n, amounts[lot, "seeds"])
    _same(ledger, "mix", mix, sum(n for unit, n in by_unit.items() if unit in {"l", "liter"}))
    for name, n in units.items():
        container = season.catalog.containers[name]
        if is_reusable(season, container):
            continue
        total = sum(amounts[item, unit] for unit in _PIECES for item in {name, container.name})
        _same(ledger, f"container {name}", n, total)


def _same(ledger: Ledger, subject: str, expected: float, found: float) -> None:
    """Compare an amount of supplies; whole packs may be listed, so more is no fault."""
    ledger.require(
        expected * (1 - _SLIP_FRAC) - 1 <= found <= expected * 1.02 + 1,
        "supplies are what the sowings need", subject, "Another amount is listed.",
        expected, found, Severity.DIFFERS,
    )  # fmt: skip
