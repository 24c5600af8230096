"""Make a plan: lay out the season, prove the bound, search, settle, and hand it out."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.plan import Plan, Price
from sowbench.domain.records import Order, SeedLot
from sowbench.domain.tray_rows import tray_rows
from sowbench.planning.assemble import order_plans, sowing_record, tasks_of, total_use
from sowbench.planning.candidates import Candidates, build_candidates
from sowbench.planning.fixed import (
    covered_by,
    first_day,
    handed_over,
    kept_sowings,
    lots_needed,
    standing_sowings,
    usable_for,
)
from sowbench.planning.inputs import PlanInputs
from sowbench.planning.master import LinearResult, Progress, solve_linear
from sowbench.planning.money import plan_cost
from sowbench.planning.neighborhood import Choice
from sowbench.planning.offers import residual_of, unmet_orders
from sowbench.planning.parameters import SolveParameters
from sowbench.planning.placed import Placed, Settled, place_all, settle
from sowbench.planning.program import Program
from sowbench.planning.repair import broken, make_fit
from sowbench.planning.replan import (
    kept_ways,
    moved,
    names_taken,
    order_pins,
    rename_kept,
    stay_close,
)
from sowbench.planning.resources import ResourceKind, Resources
from sowbench.planning.search import Search
from sowbench.planning.season import Season, make_season
from sowbench.planning.supplies import supplies_of
from sowbench.planning.tray_mates import align_trays
from sowbench.planning.tray_rows import share_again, share_trays, tell_rows

FloatArray = NDArray[np.float64]
ASSUMED_TEST_SEEDS = 100
# Time kept back for what follows the search: exact chances, offers, writing down. It takes about
# as long as laying out the candidates did on the same machine, with many unmet orders longer.
TAIL_MOST_FRAC = 0.4
TAIL_LEAST_S = 0.5
TAIL_OF_LAYOUT = 1.0
# Shares of it: exact chances, moving and writing down, once the choice fits; and writing alone.
LAST_OF_TAIL_FRAC, WRITE_FRAC = 0.7, 0.2
# The first plan in whole trays is worth most of a short search, and little of a long one.
START_MOST_FRAC = 0.7
START_MOST_S = 15.0
# One linear program gives the prices that guide everything after it, one the bound.
GUIDE_MOST_FRAC, LINEAR_MOST_FRAC = 0.75, 0.9
# On a machine too slow for its time, a plan worth the name comes before the limit.
BOUND_LEAST_FRAC, START_LEAST_FRAC = 0.3, 0.15


@dataclass(frozen=True)
class ResourceUse:
    """Daily use of one place or of the crew."""

    name: str
    kind: str
    unit: str
    use: FloatArray
    capacity: FloatArray


@dataclass(frozen=True)
class Planned:
    """A plan with what else the search found out."""

    plan: Plan
    season: Season
    uses: tuple[ResourceUse, ...]
    rounds: int
    linear_optimal: bool


def assumed_lots(inputs: PlanInputs) -> tuple[SeedLot, ...]:
    """Lots to be bought, where no seed file was given: one a crop and variety."""
    lots: dict[tuple[str, str], SeedLot] = {}
    for order in inputs.orders:
        crop = inputs.catalog.crops[order.crop]
        name = f"{order.crop} (to buy)" if not order.variety else f"{order.variety} (to buy)"
        lots.setdefault(
            (order.crop, order.variety),
            SeedLot(
                name,
                order.crop,
                order.variety,
                ASSUMED_TEST_SEEDS,
                round(crop.germination_frac * ASSUMED_TEST_SEEDS),
                None,
                seedlings_per_unit=crop.seedlings_per_unit,
                organic=True,
                assumed=True,
            ),
        )
    return tuple(lots.values())


def open_orders(inputs: PlanInputs) -> tuple[Order, ...]:
    """Orders to be planned: not cancelled, and less what a kept plan has handed over already."""
    live = tuple(o for o in inputs.orders if o.status != "cancelled")
    if inputs.kept is None:
        return live
    given: dict[str, int] = {}
    for (name, _), plants in handed_over(inputs).items():
        given[name] = given.get(name, 0) + plants
    out = []
    for order in live:
        left = order.plants - given.get(order.id, 0)
        if left > 0 and order.latest_date >= inputs.from_date:
            out.append(order if left == order.plants else replace(order, plants=left))
    return tuple(out)


def make_plan(
    inputs: PlanInputs,
    parameters: SolveParameters | None = None,
    seed: int = 0,
    progress: Progress | None = None,
) -> Planned:
    """Plan a season.

    Parameters
    ----------
    inputs : PlanInputs
        House, orders, lots, weather and what is fixed already.
    parameters : SolveParameters, optional
        How to search; by default half a minute.
    seed : int, default 0
        Seed of the search; same seed and same `rounds` give the same plan.
    progress : callable, optional
        Called with (what, bound, cost); returns True to stop.

    Returns
    -------
    planned : Planned
        The plan; orders that do not fit are named in `plan.unmet`.
    """
    parameters = parameters or SolveParameters()
    began = time.monotonic()
    season, fixed = lay_out(inputs)
    if progress is not None:
        progress("lay out", 0.0, 0.0)
    candidates = build_candidates(season, order_pins(inputs))
    keep = kept_ways(inputs)
    program = stay_close(season, candidates, keep) if keep else candidates.program
    laid_s = time.monotonic() - began
    tail_s = min(TAIL_MOST_FRAC * parameters.seconds, TAIL_LEAST_S + TAIL_OF_LAYOUT * laid_s)
    deadline = began + parameters.seconds - tail_s
    guide, linear = prove(candidates.program, program, parameters, deadline, progress)
    finder, choice, rounds = search(
        program, guide, linear.bound, parameters, seed, deadline, progress
    )
    ends = float("inf") if parameters.by_work else began + parameters.seconds
    choice = make_fit(season, candidates, finder, choice, ends - LAST_OF_TAIL_FRAC * tail_s)
    names = names_taken(inputs, fixed)
    placed = place_all(season, candidates, choice, names)
    rename_kept(season, placed, keep)
    settled = settle(season, [*fixed, *placed])
    new = [p for p in settled.placed if p.since < 0]
    if broken(season, residual_of(season, new)).any():
        settled = settle(season, [*fixed, *placed], raises=0)
    settled = align_trays(
        season, candidates, settled, names, set(keep.values()), ends - WRITE_FRAC * tail_s
    )
    settled = share_trays(season, settled)
    plan = hand_out(
        inputs,
        season,
        candidates,
        linear,
        guide,
        settled,
        seed,
        (began, ends - WRITE_FRAC * tail_s),
    )
    return Planned(plan, season, uses_of(season, settled.placed), rounds, linear.optimal)


def lay_out(inputs: PlanInputs) -> tuple[Season, list[Placed]]:
    """Lay out the season with everything that is fixed taken out of room, hands and orders."""
    lots = inputs.lots if inputs.lots is not None else assumed_lots(inputs)
    season = make_season(
        inputs.house,
        inputs.catalog,
        open_orders(inputs),
        lots_needed(inputs, lots),
        inputs.weather,
        inputs.from_date,
        first_date=first_day(inputs),
    )
    left = {o: season.whole_cells(order) for o, order in enumerate(season.orders)}
    fixed = kept_sowings(inputs, season, left)
    if inputs.kept is not None:
        fixed = share_again(season, fixed, inputs.kept)
    fixed += standing_sowings(inputs, season, left)
    return with_fixed(season, fixed), fixed


def with_fixed(season: Season, fixed: list[Placed]) -> Season:
    """Take what fixed sowings use out of the capacities, and what they give out of the orders."""
    if not fixed:
        return season
    left = residual_of(season, fixed)
    resources = Resources(season.resources.kinds, season.resources.names, np.maximum(left, 0.0))
    return replace(
        season,
        resources=resources,
        covered=covered_by(season, fixed),
        standing_usable=usable_for(season, fixed),
    )


def prove(
    program: Program,
    favored: Program,
    parameters: SolveParameters,
    deadline: float,
    progress: Progress | None,
) -> tuple[LinearResult, LinearResult]:
    """Solve the linear program that guides the search, then the one that proves the bound.

    The first charges every candidate all that it costs by itself, and favors what is kept; the
    second leaves out what a plan may not have to pay, and differs from it in little.
    """

    def seconds(most_frac: float) -> float:
        left = max(BOUND_LEAST_FRAC * parameters.seconds, deadline - time.monotonic())
        return most_frac * left if parameters.rounds is None else 1e6

    guide = solve_linear(
        favored.whole(),
        seconds=seconds(GUIDE_MOST_FRAC),
        columns_per_order=parameters.columns_per_order,
        progress=None if progress is None else lambda what, *_: progress(what, 0.0, 0.0),
    )
    linear = solve_linear(
        program,
        seconds=seconds(LINEAR_MOST_FRAC),
        columns_per_order=parameters.columns_per_order,
        progress=progress,
        begin=guide,
    )
    return guide, linear


def search(
    program: Program,
    guide: LinearResult,
    proven: float,
    parameters: SolveParameters,
    seed: int,
    deadline: float,
    progress: Progress | None,
) -> tuple[Search, Choice, int]:
    """Look for a plan close to what the linear program says."""
    finder = Search(program, guide, parameters, np.random.default_rng(seed), proven)
    left = max(START_LEAST_FRAC * parameters.seconds, deadline - time.monotonic())
    choice = finder.start(min(START_MOST_FRAC * left, START_MOST_S))
    result = finder.run(choice, deadline, progress)
    return finder, result.choice, result.rounds


def hand_out(
    inputs: PlanInputs,
    season: Season,
    candidates: Candidates,
    linear: LinearResult,
    guide: LinearResult,
    settled: Settled,
    seed: int,
    times: tuple[float, float],
) -> Plan:
    """Write everything down; `times` are when it all began, and until when offers are sought."""
    parts = plan_cost(season, settled)
    cost = sum(parts.values())
    orders = order_plans(season, settled)
    sowings = [sowing_record(season, p) for p in settled.placed]
    bound = linear.bound + fixed_cost(season, settled)
    rows = tray_rows(sowings, season.containers)
    unmet = unmet_orders(season, candidates, guide, settled, orders, order_pins(inputs), times[1])
    return Plan(
        inputs.from_date,
        season.until_date,
        round(cost, 4),
        parts,
        round(bound, 4),
        gap(cost, bound),
        gap(cost - parts["short"], bound - parts["short"]),
        round(time.monotonic() - times[0], 3),
        seed,
        season.assumptions,
        tuple(orders),
        tuple(sowings),
        tuple(unmet),
        tuple(tell_rows(tasks_of(season, settled.placed), rows)),
        tuple(supplies_of(season, settled.placed)),
        tuple(prices_of(season, candidates, linear)),
        tuple(moved(inputs, sowings)),
    )


def fixed_cost(season: Season, settled: Settled) -> float:
    """Money of what is fixed, which is in the cost of every plan."""
    fixed = [p for p in settled.placed if p.since >= 0]
    if not fixed:
        return 0.0
    parts = plan_cost(season, Settled(fixed, {}))
    return sum(v for k, v in parts.items() if k not in {"short", "surplus"})


def gap(cost: float, bound: float) -> float:
    """How far a cost is above a bound, as a share of the bound."""
    if bound <= 0:
        return 0.0 if cost <= bound + 1e-9 else 1.0
    return round(max(0.0, cost - bound) / bound, 6)


def prices_of(season: Season, candidates: Candidates, linear: LinearResult) -> list[Price]:
    """Prices that prove the bound."""
    out = []
    calendar, resources = season.calendar, season.resources
    price = linear.duals.price
    for r, d in zip(*np.nonzero(price > 1e-9), strict=True):
        out.append(
            Price(
                resources.kinds[r].value,
                resources.names[r],
                calendar.date(int(d)),
                round(float(price[r, d]), 9),
            )
        )
    for o, value in enumerate(linear.duals.order):
        if value > 1e-9:
            order = season.orders[o]
            out.append(Price("order", order.id, order.wanted_date, round(float(value), 9)))
    program = candidates.program
    lot_of = lots_of_pairs(candidates)
    for (o, pair), value in linear.duals.link_candidate_group.items():
        name = f"{season.orders[o].id}|{season.lots[lot_of[pair]].record.id}"
        day = calendar.date(int(program.lot_day_sow[pair]))
        out.append(Price("lot change", name, day, round(float(value), 9)))
    return out


def lots_of_pairs(candidates: Candidates) -> dict[int, int]:
    """Lot of each (lot, sowing day) pair."""
    out: dict[int, int] = {}
    at = 0
    for block in candidates.blocks:
        lots = np.array([c.lot for c in block.choices])[block.choice]
        pairs = candidates.program.lot_day[at : at + len(block)]
        out.update(zip(pairs.tolist(), lots.tolist(), strict=True))
        at += len(block)
    return out


def uses_of(season: Season, placed: list[Placed]) -> tuple[ResourceUse, ...]:
    """Daily use of each place and of the crew."""
    resources = season.resources
    total = total_use(season, placed)
    # Fixed sowings are counted as use, so what they take stands in the capacity again.
    capacity = resources.capacity + total_use(season, [p for p in placed if p.since >= 0])
    days = (season.until_date - season.calendar.first).days + 1
    out = []
    for i, (kind, name) in enumerate(zip(resources.kinds, resources.names, strict=True)):
        if kind == ResourceKind.PLACE:
            positions = season.places[i].n_positions is not None
            unit = "positions" if positions else "m2"
        elif kind == ResourceKind.CREW:
            unit = "minutes"
        else:
            unit = "units"
        out.append(ResourceUse(name, kind.value, unit, total[i, :days], capacity[i, :days]))
    return tuple(out)
