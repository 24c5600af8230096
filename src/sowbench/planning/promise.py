"""An answer while the customer is on the phone, whether one more order fits beside a plan."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from sowbench.domain.plan import Plan, Sowing
from sowbench.domain.records import Order
from sowbench.planning.assemble import sowing_record
from sowbench.planning.candidates import build_candidates
from sowbench.planning.fixed import first_day, lots_needed, placed_from_plan
from sowbench.planning.inputs import PlanInputs
from sowbench.planning.money import plan_cost
from sowbench.planning.neighborhood import Choice, Part
from sowbench.planning.offers import residual_of
from sowbench.planning.placed import place_all, settle
from sowbench.planning.plan import assumed_lots, open_orders
from sowbench.planning.resources import Resources, Segments
from sowbench.planning.season import Season, make_season
from sowbench.planning.tray_rows import share_again

NAME = "promise"
LOOK_AHEAD_D = 120
FULL_FRAC = 0.9


@dataclass(frozen=True)
class Answer:
    """One way to fill the order beside the plan; `sowing` and `order` are what it was told for."""

    date: dt.date
    sow_date: dt.date
    container: str
    lot: str
    seeds_per_cell: int
    n_cells: int
    place: str
    cost: float
    chance_enough_frac: float
    chance_in_time_frac: float
    chance_filled_frac: float
    squeezes: tuple[str, ...]
    sowing: Sowing
    order: Order


@dataclass(frozen=True)
class Promise:
    """What can be promised: on the wanted day if that fits, and the earliest day at all."""

    on_day: Answer | None
    earliest: Answer | None
    reason: str = ""


def promise(inputs: PlanInputs, plan: Plan, order: Order) -> Promise:
    """Fit one more order beside a plan that stays as it is.

    Parameters
    ----------
    inputs : PlanInputs
        What the plan was made from; its orders are taken as planned.
    plan : Plan
        The plan.
    order : Order
        What is asked; its window is that of `order`.

    Returns
    -------
    promise : Promise
        On the wanted day, and the earliest within four months; `reason` says why neither.
    """
    asked = replace(order, id=NAME)
    later = replace(
        asked,
        wanted_date=inputs.from_date,
        earliest_date=inputs.from_date,
        latest_date=max(asked.latest_date, asked.wanted_date) + timedelta(days=LOOK_AHEAD_D),
    )
    season = season_around(inputs, plan, later)
    on_day, why = _best(replace(season, orders=(asked,)), "cost")
    earliest, _ = _best(replace(season, orders=(later,)), "day")
    if on_day is None and earliest is not None:
        # How sure that day is, with as many days around it as were asked for, and not months.
        alone, _ = _best(replace(season, orders=(_moved(asked, earliest.date),)), "cost")
        earliest = alone or earliest
    return Promise(on_day, earliest, "" if on_day is not None else why)


def _moved(order: Order, day: dt.date) -> Order:
    """An order wanted on another day, with the days that still serve moved along."""
    return replace(
        order,
        wanted_date=day,
        earliest_date=day - (order.wanted_date - order.earliest_date),
        latest_date=day + (order.latest_date - order.wanted_date),
    )


def season_around(inputs: PlanInputs, plan: Plan, order: Order) -> Season:
    """Make the season that a plan leaves: its resources are what the plan does not take.

    Parameters
    ----------
    inputs : PlanInputs
        What the plan was made from.
    plan : Plan
        The plan.
    order : Order
        An order more, so that the season reaches to its days.

    Returns
    -------
    season : Season
        With the open orders and the one more.
    """
    kept = replace(inputs, kept=plan)
    lots = inputs.lots
    if lots is None:
        with_order = replace(inputs, orders=(*inputs.orders, order))
        lots = assumed_lots(with_order)
    orders = (*open_orders(kept), order)
    season = make_season(
        inputs.house,
        inputs.catalog,
        orders,
        lots_needed(kept, lots),
        inputs.weather,
        inputs.from_date,
        first_date=min(first_day(kept), *(s.sow_date for s in plan.sowings), inputs.from_date),
    )
    index = {o.id: i for i, o in enumerate(orders)}
    fixed = [
        placed_from_plan(
            season,
            s,
            plan,
            index,
            since=season.from_day if s.sow_date < inputs.from_date or s.standing else -1,
        )
        for s in plan.sowings
        if s.steps
    ]
    left = np.maximum(residual_of(season, share_again(season, fixed, plan)), 0.0)
    resources = Resources(season.resources.kinds, season.resources.names, left)
    return replace(season, resources=resources)


def _best(season: Season, by: str) -> tuple[Answer | None, str]:
    """Cheapest or earliest way that fits, and why there is none."""
    found = build_candidates(season)
    program = found.program
    if not program.n:
        return None, found.why_none.get(0, "too_soon")
    ok = program.segments.fits(season.resources.capacity)
    rows = np.flatnonzero(ok)
    if not len(rows):
        return None, "room"
    hand = np.concatenate([b.hand_over[:, 0] for b in found.blocks])
    cost = program.cost_variable + program.cost_fixed + program.lot_change_cost
    latest = season.calendar.day(season.orders[0].latest_date)
    rows = rows[hand[rows] <= latest]
    if not len(rows):
        return None, "too_soon"
    keys = (cost[rows], hand[rows]) if by == "day" else (hand[rows], cost[rows])
    best = int(rows[np.lexsort(keys)[0]])
    placed = place_all(season, found, Choice([Part(best, int(program.n_units[best]))]))
    settled = settle(season, placed)
    one, chance = settled.placed[0], settled.chances[0]
    return Answer(
        season.calendar.date(int(hand[best])),
        season.calendar.date(one.sow_day),
        one.option.path.last.id,
        season.lots[one.option.lot].record.id,
        one.option.seeds_per_cell,
        one.n_cells,
        season.places[one.row.route.grow].name,
        round(sum(plan_cost(season, settled).values()), 2),
        round(float(chance.enough_frac), 4),
        round(float(chance.in_time_frac), 4),
        round(float(chance.filled_frac), 4),
        tuple(squeezed(season, found.program.segments.take(np.array([best])))),
        sowing_record(season, one),
        season.orders[0],
    ), ""


def squeezed(season: Season, segments: Segments) -> list[str]:
    """Name what would be nearly full with this sowing, with the days."""
    resources = season.resources
    use = segments.use(np.ones(1), *resources.capacity.shape)
    out = []
    for i, (kind, name) in enumerate(zip(resources.kinds, resources.names, strict=True)):
        capacity = resources.capacity[i]
        tight = (use[i] > 0) & np.isfinite(capacity) & (use[i] >= FULL_FRAC * capacity)
        days = np.flatnonzero(tight)
        if len(days):
            a, b = season.calendar.date(int(days[0])), season.calendar.date(int(days[-1]))
            span = f"on {a.isoformat()}" if a == b else f"from {a.isoformat()} to {b.isoformat()}"
            what = {"crew": "the crew's time", "lot": f"seed of {name}"}.get(kind.value, name)
            out.append(f"{what} {span}")
    return out
