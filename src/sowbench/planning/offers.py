"""Orders that are not planned: why, and what would fit into this very plan."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.plan import Offer, OrderPlan, Sowing, Unmet
from sowbench.domain.records import Order, Pin, SeedLot
from sowbench.planning.assemble import sowing_record, total_use
from sowbench.planning.candidates import Candidates, build_candidates
from sowbench.planning.master import LinearResult
from sowbench.planning.money import plan_cost
from sowbench.planning.neighborhood import Choice, Part
from sowbench.planning.options import admissible_lots, container_paths
from sowbench.planning.pinned import PINNED, why_pinned
from sowbench.planning.placed import Placed, Settled, place_all, settle
from sowbench.planning.resources import ResourceKind, Segments, cumulative_prices
from sowbench.planning.season import Lot, Season, is_limited
from sowbench.science.stand import lot_nodes

FloatArray = NDArray[np.float64]
LATER_AT_MOST_D = 42
FEWEST_WORTH_FRAC = 0.1
TO_BUY_TESTED = 100

REASON_OF_KIND = {
    ResourceKind.PLACE: "room",
    ResourceKind.CREW: "crew",
    ResourceKind.CONTAINER: "container",
    ResourceKind.MACHINE: "crew",
    ResourceKind.LOT: "seed",
}


def residual_of(season: Season, placed: list[Placed]) -> FloatArray:
    """What the plan leaves of each resource on each day."""
    return season.resources.capacity - total_use(season, placed)


def unmet_orders(
    season: Season,
    candidates: Candidates,
    linear: LinearResult,
    settled: Settled,
    orders: list[OrderPlan],
    pins: Sequence[Pin] = (),
    until: float = float("inf"),
) -> list[Unmet]:
    """Name every order with plants that are not planned, with the reason and offers.

    Parameters
    ----------
    until : float, optional
        Time on the steady clock from which on no more offers are sought.
    """
    out = []
    left = residual_of(season, settled.placed)
    for o, plan in enumerate(orders):
        missing = plan.plants - plan.planned
        if missing <= 0:
            continue
        reason = candidates.why_none.get(o)
        pinned = "" if reason is None else why_pinned(season, season.orders[o], pins)
        if pinned:
            out.append(Unmet(plan.order, missing, PINNED, (), pinned))
            continue
        if reason is None:
            more_seed = seed_left(season, season.orders[o], missing, left)
            reason = pressing(season, candidates, linear, o, more_seed=more_seed)
        offers: list[Offer] = []
        if time.monotonic() < until:
            offers = offers_for(season, candidates, o, missing, reason, left)
        out.append(Unmet(plan.order, missing, reason, tuple(offers), words_for(reason)))
    return out


def words_for(reason: str) -> str:
    """The reason in a sentence."""
    return {
        "room": "There is no room for it on the days it needs.",
        "crew": "There are not enough hands on the days it needs.",
        "container": "No container that suits it is free or allowed.",
        "seed": "No lot that it accepts has enough seed in the house in time.",
        "germination": "The lots it accepts germinate so poorly that four cells sown for each plant"
        " would not make it sure.",
        "too_soon": "Even sown on the first sowing day it would be ready too late.",
        "past": "Its days are over before anything can be sown.",
        "temperature": "No place is warm and bright enough for it in time.",
        "price": "Raising it costs more than its plants are worth at short_plant in [prices].",
    }[reason]


def seed_left(season: Season, order: Order, plants: int, left: FloatArray) -> bool:
    """Whether a lot that an order accepts has a seed or more for every cell still wanted."""
    cells = -(-plants // season.plants_per_cell(order))
    for lot in admissible_lots(season, order):
        r = season.resources.index(ResourceKind.LOT, season.lots[lot].record.id)
        if r < 0 or float(left[r].min()) >= cells:
            return True
    return False


def pressing(
    season: Season,
    candidates: Candidates,
    linear: LinearResult,
    order: int,
    *,
    more_seed: bool = False,
) -> str:
    """Resource that takes most of the price of the order's cheapest candidate.

    Parameters
    ----------
    more_seed : bool, default False
        Whether there is seed for it, so that something else must be what lacks.
    """
    program = candidates.program
    rows = np.flatnonzero((program.members[program.group] == order).any(axis=1))
    if not len(rows):
        return "too_soon"
    record = season.orders[order]
    own = program.cost_variable[rows] + program.cost_fixed[rows]
    if own.min() >= program.short_cost[order]:
        return "price"
    best = rows[int(np.argmin(linear.reduced[rows]))]
    segments = program.segments.take(np.array([best]))
    cumulative = cumulative_prices(linear.duals.price)
    paid: dict[str, float] = {}
    for r, a, b, amount in zip(
        segments.resource, segments.start, segments.stop, segments.amount, strict=True
    ):
        reason = REASON_OF_KIND[season.resources.kinds[int(r)]]
        money = float(amount * (cumulative[r, b] - cumulative[r, a]))
        paid[reason] = paid.get(reason, 0.0) + money
    free = any(
        not is_limited(p.last, season.stock)
        for p in container_paths(season, season.catalog.crops[record.crop], record)
    )
    if free:
        paid.pop("container", None)  # another container would do, if there were room
    if more_seed:
        paid.pop("seed", None)  # there is seed for it, at a price that others pay
    top = max(paid, key=lambda k: paid[k], default="room")
    if paid.get(top, 0.0) > 0:
        return top
    return scarcest(season, program.segments.take(rows), more_seed=more_seed)


def scarcest(season: Season, segments: Segments, *, more_seed: bool = False) -> str:
    """Resource that the order's candidates break most often even when alone in the house."""
    capacity = season.resources.capacity
    broken: dict[str, int] = {}
    for r, a, b, amount in zip(
        segments.resource, segments.start, segments.stop, segments.amount, strict=True
    ):
        if amount > capacity[r, a:b].min() + 1e-6:
            reason = REASON_OF_KIND[season.resources.kinds[int(r)]]
            broken[reason] = broken.get(reason, 0) + 1
    if more_seed:
        broken.pop("seed", None)
    return max(broken, key=lambda k: broken[k], default="room")


def offers_for(
    season: Season,
    candidates: Candidates,
    order: int,
    missing: int,
    reason: str,
    left: FloatArray,
) -> list[Offer]:
    """Changes to one order that would fit beside everything that is planned."""
    record = season.orders[order]
    out: list[Offer] = []
    if reason in {"seed", "germination"}:
        return buy_seed(season, record, missing, left)
    later = fitting(season, changed(record, "later", missing), left, on_its_day=True)
    if later is not None:
        out.append(
            Offer(
                "later",
                missing,
                later.hand_over_date,
                cost_change=later.cost,
                chance_filled_frac=later.chance_filled_frac,
            )
        )
    fewer = most_that_fits(season, candidates, order, missing, left)
    if fewer is not None:
        out.append(fewer)
    if record.containers:
        free = fitting(season, changed(record, "container", missing), left)
        if free is not None:
            out.append(
                Offer(
                    "container",
                    missing,
                    free.hand_over_date,
                    free.container,
                    cost_change=free.cost,
                    chance_filled_frac=free.chance_filled_frac,
                )
            )
    if record.variety:
        other = fitting(season, changed(record, "variety", missing), left)
        if other is not None:
            out.append(
                Offer(
                    "variety",
                    missing,
                    other.hand_over_date,
                    other.container,
                    variety=variety_of(season, record),
                    cost_change=other.cost,
                    chance_filled_frac=other.chance_filled_frac,
                )
            )
    return out


def changed(order: Order, kind: str, plants: int) -> Order:
    """Change an order as an offer would have it.

    Parameters
    ----------
    order : Order
        The order.
    kind : str
        Kind of the offer: later, fewer, container, variety or buy_seed.
    plants : int
        Plants that the offer is for.

    Returns
    -------
    changed : Order
        The order that would have to be agreed on.
    """
    some = replace(order, plants=plants)
    if kind == "later":
        first = order.latest_date + timedelta(days=1)
        last = order.latest_date + timedelta(days=LATER_AT_MOST_D)
        return replace(some, wanted_date=first, earliest_date=first, latest_date=last)
    if kind == "fewer":
        return replace(some, min_frac=1.0)
    if kind == "container":
        return replace(some, containers=())
    if kind == "variety":
        return replace(some, variety="", substitutes=())
    return some


def fit_again(season: Season, order: Order, kind: str, plants: int) -> tuple[Fit | None, SeedLot]:
    """Fit an offer once more into what a plan leaves.

    Parameters
    ----------
    season : Season
        What the plan leaves: its capacities are what is free.
    order : Order
        The order that is not planned, or not all of it.
    kind : str
        Kind of the offer.
    plants : int
        Plants that the offer is for.

    Returns
    -------
    fit : Fit or None
        How it would be raised; None if it does not fit any more.
    lot : SeedLot
        The lot that would be bought; it matters for the offer to buy seed only.
    """
    left = season.resources.capacity
    lot = _to_buy(season, order)
    some = changed(order, kind, plants)
    if kind == "buy_seed":
        return fitting(_with_lot(season, lot), some, left), lot.record
    around = replace(season, covered={}) if kind == "fewer" else season
    return fitting(around, some, left, on_its_day=kind == "later"), lot.record


def variety_of(season: Season, order: Order) -> str:
    """First other variety of the crop in the house."""
    names = [
        lot.record.variety
        for lot in season.lots
        if lot.record.crop == order.crop and lot.record.variety != order.variety
    ]
    return names[0] if names else ""


def buy_seed(season: Season, order: Order, plants: int, left: FloatArray) -> list[Offer]:
    """How much seed to buy and by when, sown in this plan with a usual germination."""
    found = fitting(
        _with_lot(season, _to_buy(season, order)), changed(order, "buy_seed", plants), left
    )
    if found is None:
        return []
    return [
        Offer(
            "buy_seed",
            plants,
            found.hand_over_date,
            found.container,
            amount=found.n_seeds,
            latest_date=found.sow_date,
            cost_change=found.cost,
            chance_filled_frac=found.chance_filled_frac,
        )
    ]


def _with_lot(season: Season, lot: Lot) -> Season:
    """Give the season one lot alone."""
    return replace(season, lots=(lot,), covered={})


def _to_buy(season: Season, order: Order) -> Lot:
    """Seed that could be bought for an order, with a usual germination."""
    crop = season.catalog.crops[order.crop]
    bought = SeedLot(
        f"{order.crop} (to buy)",
        order.crop,
        order.variety,
        TO_BUY_TESTED,
        round(crop.germination_frac * TO_BUY_TESTED),
        None,
        organic=True,
        seedlings_per_unit=crop.seedlings_per_unit,
        assumed=True,
    )
    nodes, weights = lot_nodes(bought.n_normal, bought.n_tested)
    return Lot(bought, np.asarray(nodes), np.asarray(weights), crop.seed_price_per_1000)


@dataclass(frozen=True, slots=True)
class Fit:
    """One way to fit a changed order beside the plan."""

    hand_over_date: date
    sow_date: date
    container: str
    n_seeds: int
    cost: float
    chance_filled_frac: float
    sowing: Sowing
    order: Order


def fitting(
    season: Season, order: Order, left: FloatArray, *, on_its_day: bool = False
) -> Fit | None:
    """Earliest day on which a changed order fits, the cheapest way for that day.

    Parameters
    ----------
    on_its_day : bool, default False
        Tell the chance for that day alone, not for the whole window of the order.
    """
    alone = replace(season, orders=(order,), _crops=season._crops)  # noqa: SLF001
    found = build_candidates(alone)
    program = found.program
    if not program.n:
        return None
    hand = np.concatenate([b.hand_over[:, 0] for b in found.blocks])
    latest = season.calendar.day(order.latest_date)
    rows = np.flatnonzero(program.segments.fits(left) & (hand <= latest))
    if not len(rows):
        return None
    cost = program.cost_variable + program.cost_fixed + program.lot_change_cost
    best = int(rows[np.lexsort((cost[rows], hand[rows]))[0]])
    day = season.calendar.date(int(hand[best]))
    told = alone
    if on_its_day:
        told = replace(
            alone,
            orders=(replace(order, wanted_date=day, earliest_date=day, latest_date=day),),
        )
    placed = place_all(told, found, Choice([Part(best, int(program.n_units[best]))]))
    settled = settle(told, placed)
    one = settled.placed[0]
    return Fit(
        day,
        season.calendar.date(one.sow_day),
        one.option.path.last.id,
        one.n_cells * one.option.seeds_per_cell,
        round(sum(plan_cost(told, settled).values()), 2),
        round(float(settled.chances[0].filled_frac), 4),
        sowing_record(told, one),
        told.orders[0],
    )


def most_that_fits(
    season: Season, candidates: Candidates, order: int, missing: int, left: FloatArray
) -> Offer | None:
    """Most plants of the order that fit on its own days."""
    program = candidates.program
    members = program.members[program.group]
    rows = np.flatnonzero((members[:, 0] == order) & (members[:, 1] < 0))
    if not len(rows):
        return None
    best: tuple[float, int] | None = None
    segments = program.segments.take(rows)
    for i in range(len(rows)):
        span = slice(int(segments.offset[i]), int(segments.offset[i + 1]))
        share = 1.0
        for r, a, b, amount in zip(
            segments.resource[span],
            segments.start[span],
            segments.stop[span],
            segments.amount[span],
            strict=True,
        ):
            share = min(share, max(0.0, float(left[r, a:b].min())) / float(amount))
        units = int(program.n_units[rows[i]])
        share = np.floor(share * units + 1e-9) / units
        if best is None or share > best[0]:
            best = (share, int(rows[i]))
    if best is None or best[0] < FEWEST_WORTH_FRAC:
        return None
    record = season.orders[order]
    plants = min(missing, int(best[0] * record.plants))
    if plants <= 0:
        return None
    found = fitting(replace(season, covered={}), changed(record, "fewer", plants), left)
    if found is None:
        return None
    return Offer(
        "fewer",
        plants,
        found.hand_over_date,
        cost_change=found.cost,
        chance_filled_frac=found.chance_filled_frac,
    )
