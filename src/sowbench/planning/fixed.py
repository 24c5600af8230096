"""Sowings that are fixed: what stands on the first day, and what a kept plan has already sown."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.journal import PLAN_KINDS, Entry, EntryKind, SowingState, sowing_states
from sowbench.domain.plan import Plan, Sowing, SowingShare
from sowbench.domain.records import Container, Order, SeedLot, Standing, StepKind
from sowbench.planning.block import Block, Option, Sizing
from sowbench.planning.inputs import Done, PlanInputs
from sowbench.planning.options import MAX_SHARED_ORDERS, ContainerPath, admissible_lots
from sowbench.planning.placed import Placed
from sowbench.planning.season import N_LOT_NODES, Season
from sowbench.planning.sizing import seed_chance
from sowbench.planning.timeline import End, Route, Timeline
from sowbench.science.errors import UnknownNameError
from sowbench.science.stand import thin_per_cell, usable_frac
from sowbench.science.trays import tray_total_pmf

UNKNOWN_TESTED = 100


def first_day(inputs: PlanInputs) -> date:
    """Day 0: the earliest sowing that still matters, else the first day of the plan."""
    days = [inputs.from_date, *(s.sown_date for s in inputs.standings)]
    if inputs.kept is not None:
        days += [s.sow_date for s in sown_already(inputs)]
    return min(days)


def states_of(done: Iterable[Done]) -> dict[str, SowingState]:
    """State of each sowing after its entries."""
    return sowing_states(
        Entry("", each.date, EntryKind(each.kind), each.sowing, each.n, each.order, each.place)
        for each in done
        if each.kind in PLAN_KINDS
    )


def handed_over(inputs: PlanInputs) -> dict[tuple[str, str], int]:
    """Plants handed over already by (order, sowing): by the kept plan or the journal."""
    out: dict[tuple[str, str], int] = {}
    if inputs.kept is None:
        return out
    for row in inputs.kept.orders:
        for each in row.hand_over:
            if each.date < inputs.from_date:
                key = (row.order, each.sowing)
                out[key] = out.get(key, 0) + each.plants
    for name, state in states_of(inputs.done).items():
        for order, plants in state.n_delivered.items():
            out[order, name] = max(out.get((order, name), 0), plants)
    return out


def sown_already(inputs: PlanInputs) -> list[Sowing]:
    """Sowings of the kept plan that are in the trays, with what is left of them."""
    if inputs.kept is None:
        return []
    known = {s.sowing for s in inputs.standings}
    states, gone = states_of(inputs.done), handed_over(inputs)
    lost = {e.sowing for e in inputs.done if e.kind in {"dumped", "lost"} and e.n is None}
    out = []
    for s in inputs.kept.sowings:
        state = states.get(s.sowing, SowingState(s.sowing))
        sown = s.sow_date < inputs.from_date or state.sown_date is not None or s.standing
        over = not s.steps or s.steps[-1].to_date <= inputs.from_date
        if not sown or over or s.sowing in known | lost:
            continue
        left = what_is_left(s, state, gone)
        if left is not None:
            out.append(left)
    return out


def what_is_left(
    sowing: Sowing, state: SowingState, gone: dict[tuple[str, str], int]
) -> Sowing | None:
    """A kept sowing with the cells and shares that still stand; None if nothing does."""
    cells = sowing.n_cells if state.n_cells is None else state.n_cells
    cells -= state.n_lost
    whole, left = shares_left(sowing, gone)
    if cells <= 0 or (whole and not left):
        return None
    if whole:
        cells = -(-cells * sum(left.values()) // whole)
    return replace(
        sowing,
        sow_date=state.sown_date or sowing.sow_date,
        n_cells=cells,
        steps=tuple(
            replace(each, n_cells=-(-each.n_cells * cells // sowing.n_cells))
            for each in sowing.steps
        ),
        orders=tuple(SowingShare(order, plants) for order, plants in left.items()),
    )


def shares_left(sowing: Sowing, gone: dict[tuple[str, str], int]) -> tuple[int, dict[str, int]]:
    """Plants a sowing was meant for, and by order those not yet handed over."""
    left = {s.order: s.plants - gone.get((s.order, sowing.sowing), 0) for s in sowing.orders}
    return sum(s.plants for s in sowing.orders), {o: n for o, n in left.items() if n > 0}


def lots_needed(inputs: PlanInputs, lots: tuple[SeedLot, ...]) -> tuple[SeedLot, ...]:
    """Lots, with stand-ins for those that only standing or kept sowings name."""
    known = {lot.id for lot in lots}
    extra: dict[str, SeedLot] = {}
    rows: Iterable[tuple[str, str, str]] = [
        *((s.lot, s.crop, s.variety) for s in inputs.standings),
        *((s.lot, s.crop, s.variety) for s in sown_already(inputs)),
    ]
    for lot, crop, variety in rows:
        name = lot or f"{crop} (standing)"
        if name not in known and name not in extra:
            share = inputs.catalog.crops[crop].germination_frac
            extra[name] = SeedLot(
                name,
                crop,
                variety,
                UNKNOWN_TESTED,
                round(share * UNKNOWN_TESTED),
                0,
                assumed=True,
            )
    return (*lots, *extra.values())


def _index_of_place(season: Season, name: str) -> int:
    for i, place in enumerate(season.places):
        if place.name == name:
            return i
    raise UnknownNameError.among(name, "place", [p.name for p in season.places])


def _index_of_lot(season: Season, name: str) -> int:
    return next(i for i, lot in enumerate(season.lots) if lot.record.id == name)


def _container(season: Season, name: str) -> Container:
    return season.catalog.containers[name]


def _sizing(n_cells: int, units: int, n_last: int, last_units: int, mean: float) -> Sizing:
    one = np.array([n_cells])
    return Sizing(
        np.array([True]),
        one,
        np.array([units]),
        np.array([n_last]),
        np.array([last_units]),
        one,
        np.array([mean]),
        np.zeros(1),
        np.zeros(1),
        np.zeros(1),
        np.zeros(1),
        np.zeros((1, 0)),
    )


def _hand_over(season: Season, timeline: Timeline, orders: list[int]) -> np.ndarray:
    """Days of handing over, each the nearest to the wanted day that is not before ready."""
    out = np.full((1, MAX_SHARED_ORDERS), -1)
    ready = int(timeline.ready_day[0])
    for m, o in enumerate(orders[:MAX_SHARED_ORDERS]):
        order = season.orders[o]
        wanted = season.calendar.day(order.wanted_date)
        latest = season.calendar.day(order.latest_date)
        day = max(wanted, ready)
        out[0, m] = max(day if day <= latest else max(ready, latest), season.from_day)
    return out


def standing_sowings(inputs: PlanInputs, season: Season, left: dict[int, int]) -> list[Placed]:
    """Standing sowings with the orders they are for, as far as they go; lowers `left`."""
    crops = {c: k for k, c in enumerate(season.catalog.crops)}
    out = []
    for record in inputs.standings:
        placed = _standing(season, record, crops)
        give(season, placed, record.orders, record.variety, left)
        out.append(placed)
    return out


def _standing(season: Season, record: Standing, crops: dict[str, int]) -> Placed:
    crop = season.catalog.crops[record.crop]
    container = _container(season, record.container)
    systems = [o.system for o in season.orders if o.id in record.orders] or ["any"]
    rule = season.rule(crop, container, systems[0]) or season.rule(crop, container, "any")
    if rule is None:
        raise UnknownNameError(f"{record.crop} in {record.container}", "ready rule")
    rule = replace(rule, pot_on_d_ref=None, space_d_ref=None, space_plants_per_m2=None)
    place = _index_of_place(season, record.place)
    route = Route(place, place, (End(place),))
    day = season.calendar.day(record.sown_date)
    timeline = season.crop_season(crop).timeline(route, rule, np.array([day]))
    if record.n_usable is not None or record.n_counted is not None:
        timeline = replace(timeline, count_day=np.array([-1]))  # that is done
    lot = _index_of_lot(season, record.lot or f"{record.crop} (standing)")
    option = Option(ContainerPath(container, container, rule), lot, crop.seeds_per_cell)
    zero = np.zeros(1, dtype=np.int64)
    block = Block(
        crop, rule, route, timeline, (option,), zero, zero, zero,
        np.full((1, MAX_SHARED_ORDERS), -1), zero,
        _sizing(record.n_cells, record.n_containers, record.n_cells, record.n_containers, 0.8),
    )  # fmt: skip
    counted = record.n_usable if record.n_usable is not None else record.n_counted
    return Placed(record.sowing, block, [], crops[crop.id], season.from_day, counted, standing=True)


def sure_cells(season: Season, placed: Placed, confidence_frac: float) -> int:
    """Usable cells that a sowing gives with a wanted chance."""
    risk = placed.risk(season)
    pmf = tray_total_pmf(
        risk.n_cells, risk.cells_per_tray, risk.usable, risk.rho_tray, risk.tray_loss_frac
    )
    mixed = np.einsum("wkn,w,k->n", pmf, season.w_weights, risk.lot_weights)
    at_least = np.cumsum(mixed[::-1])[::-1]
    return int(np.flatnonzero(at_least >= confidence_frac - 1e-12).max(initial=0))


def give(
    season: Season,
    placed: Placed,
    named: tuple[str, ...],
    variety: str,
    left: dict[int, int],
) -> None:
    """Give a sowing to the orders it is named for, else to those that it would serve."""
    timeline = placed.row.timeline
    over = timeline.overgrown[0][season_middle(timeline)][0]
    ready = int(timeline.ready_day[0])
    candidates = []
    for o, order in enumerate(season.orders):
        if order.crop != placed.row.crop.id or left[o] <= 0:
            continue
        if named:
            if order.id in named:
                candidates.append(o)
            continue
        fits = ready <= season.calendar.day(order.latest_date) and over > season.calendar.day(
            order.wanted_date
        )
        if fits and serves(season, order, placed, variety):
            candidates.append(o)
    candidates.sort(key=lambda o: (season.orders[o].wanted_date, o))
    given = 0
    for o in candidates[:MAX_SHARED_ORDERS]:
        sure = sure_cells(season, placed, season.confidence(season.orders[o])) - given
        share = min(left[o], sure)
        if share <= 0:
            break
        placed.orders.append((o, share))
        left[o] -= share
        given += share
    placed.row.hand_over = _hand_over(season, timeline, [o for o, _ in placed.orders])
    if not placed.orders:
        placed.row.hand_over[0, 0] = min(
            int(over) if np.isfinite(over) else season.from_day + 14, season.calendar.n_days - 1
        )


def season_middle(timeline: Timeline) -> tuple[int, int]:
    """Indices of typical weather and pace."""
    return timeline.ready.shape[0] // 2, timeline.ready.shape[1] // 2


def serves(season: Season, order: Order, placed: Placed, variety: str) -> bool:
    """Whether an order would take plants of a standing sowing."""
    names = {order.variety.casefold(), *(s.casefold() for s in order.substitutes)}
    if order.variety and variety.casefold() not in names:
        return False
    container = placed.option.path.last
    if order.containers and container.id not in order.containers:
        return False
    return season.catalog.suits(order.crop, container.id, order.system) and not order.organic


def kept_sowings(inputs: PlanInputs, season: Season, left: dict[int, int]) -> list[Placed]:
    """Sowings of the kept plan that are already sown, as they were planned; lowers `left`."""
    if inputs.kept is None:
        return []
    index = {order.id: o for o, order in enumerate(season.orders)}
    states = states_of(inputs.done)
    old = {s.sowing: s for s in inputs.kept.sowings}
    gone = handed_over(inputs)
    out = []
    for s in sown_already(inputs):
        state = states.get(s.sowing, SowingState(s.sowing))
        counted = count_left(old[s.sowing], s, state, gone)
        placed = placed_from_plan(season, s, inputs.kept, index, counted, since=season.from_day)
        placed.orders = sorted(
            ((o, min(n, left[o])) for o, n in placed.orders),
            key=lambda row: (season.orders[row[0]].wanted_date, row[0]),
        )
        orders = [o for o, _ in placed.orders]
        if orders:
            placed.row.hand_over = _hand_over(season, placed.row.timeline, orders)
        if counted is not None or state.n_lost:
            cut_to_count(season, placed)
        else:
            keep_shares(placed, placed.orders)
        for o, n in placed.orders:
            left[o] -= n
        out.append(placed)
    return out


def count_left(
    old: Sowing, now: Sowing, state: SowingState, gone: dict[tuple[str, str], int]
) -> int | None:
    """Counted plants of a kept sowing that still stand; None if nobody counted."""
    if state.n_counted is None:
        return None
    count = max(0, state.n_counted - state.n_lost_since_count)
    whole, left = shares_left(old, gone)
    if whole:
        count = count * sum(left.values()) // whole
    return min(count, now.n_cells)


def cut_to_count(season: Season, placed: Placed) -> None:
    """Promise no more of a sowing than its count makes sure; the rest is sown anew."""
    given, orders = 0, []
    for o, n in placed.orders:
        sure = sure_cells(season, placed, season.confidence(season.orders[o])) - given
        share = max(0, min(n, sure))
        orders.append((o, share))
        given += share
    keep_shares(placed, orders)


def keep_shares(placed: Placed, orders: list[tuple[int, int]]) -> None:
    """Keep the shares that are left of a sowing, with their days of handing over."""
    hand = placed.row.hand_over[0].copy()
    kept = [k for k, (_, n) in enumerate(orders) if n > 0]
    if kept:
        placed.row.hand_over[0] = -1
        placed.row.hand_over[0, : len(kept)] = hand[kept]
    placed.orders = [orders[k] for k in kept]


def placed_from_plan(
    season: Season,
    sowing: Sowing,
    plan: Plan,
    index: dict[str, int],
    counted: int | None = None,
    *,
    since: int,
) -> Placed:
    """Read a sowing of a plan back, with its places, containers, cells and days."""
    crop = season.catalog.crops[sowing.crop]
    steps = sowing.steps
    first, last = _container(season, steps[0].container), _container(season, steps[-1].container)
    system = next(
        (season.orders[index[s.order]].system for s in sowing.orders if s.order in index), "any"
    )
    rule = season.rule(crop, last, system)
    if rule is None:
        raise UnknownNameError(f"{sowing.crop} in {last.id}", "ready rule")
    if sowing.standing:
        rule = replace(rule, pot_on_d_ref=None, space_d_ref=None, space_plants_per_m2=None)
    grow = [s for s in steps if s.kind in {StepKind.GROW, StepKind.POT_ON, StepKind.SPACE}]
    grow_place = _index_of_place(season, (grow or list(steps))[0].place)
    germ = [s for s in steps if s.kind == StepKind.GERMINATE]
    germ_place = _index_of_place(season, germ[0].place) if germ else grow_place
    tone = [s for s in steps if s.kind == StepKind.TONE]
    hold = [s for s in steps if s.kind == StepKind.HOLD]
    end = End(
        _index_of_place(season, tone[-1].place) if tone else grow_place,
        _index_of_place(season, hold[-1].place) if hold else -1,
    )
    route = Route(germ_place, grow_place, (end,))
    day = season.calendar.day(sowing.sow_date)
    timeline = season.crop_season(crop).timeline(route, rule, np.array([day]))
    if counted is not None:
        timeline = replace(timeline, count_day=np.array([-1]))  # that is done
    option = Option(
        ContainerPath(first, last, rule),
        _index_of_lot(season, sowing.lot or f"{sowing.crop} (standing)"),
        sowing.seeds_per_cell,
    )
    hand = np.full((1, MAX_SHARED_ORDERS), -1)
    orders: list[tuple[int, int]] = []
    days = {
        (h.sowing, o.order): season.calendar.day(h.date) for o in plan.orders for h in o.hand_over
    }
    for share in sowing.orders:
        o = index.get(share.order)
        if o is None or len(orders) >= MAX_SHARED_ORDERS:
            continue
        per_cell = season.plants_per_cell(season.orders[o])
        hand[0, len(orders)] = days.get((sowing.sowing, share.order), int(timeline.ready_day[0]))
        orders.append((o, -(-share.plants // per_cell)))
    if not orders:
        hand[0, 0] = season.calendar.day(steps[-1].to_date)
    zero = np.zeros(1, dtype=np.int64)
    n_last = next((s.n_cells for s in steps if s.container != first.id), sowing.n_cells)
    block = Block(
        crop, rule, route, timeline, (option,), zero, zero, zero, hand, zero,
        _sizing(
            sowing.n_cells, -(-sowing.n_cells // first.cells), n_last,
            -(-n_last // last.cells), float(usable_frac(0.9)),
        ),
    )  # fmt: skip
    lot = season.lots[option.lot]
    p = float(np.minimum(seed_chance(season, option.lot, timeline.on_time), 1.0)[0] @ lot.weights)
    _, thin_frac = thin_per_cell(
        sowing.seeds_per_cell,
        p,
        crop.plants_per_cell[1],
        seedlings_per_unit=lot.record.seedlings_per_unit,
    )
    block.sizing.thin_cells[:] = sowing.n_cells * float(thin_frac)
    crops = {c: k for k, c in enumerate(season.catalog.crops)}
    return Placed(
        sowing.sowing, block, orders, crops[crop.id], since, counted, standing=sowing.standing
    )


def covered_by(season: Season, fixed: list[Placed]) -> dict[str, int]:
    """Cells of each order that fixed sowings are meant to give."""
    out: dict[str, int] = {}
    for p in fixed:
        for o, n in p.orders:
            name = season.orders[o].id
            out[name] = out.get(name, 0) + n
    return out


def usable_for(season: Season, fixed: list[Placed]) -> dict[str, NDArray[np.float64]]:
    """Usable cells that fixed sowings have for each order at the most on average.

    Returns
    -------
    usable : dict of str to ndarray, shape (9,)
        By order; at the nodes of its lot, if it accepts that of the sowing only.
    """
    out: dict[str, NDArray[np.float64]] = {}
    for p in fixed:
        risk = p.risk(season)
        at_nodes = risk.n_cells * (1.0 - risk.tray_loss_frac) * (season.w_weights @ risk.usable)
        mean = float(at_nodes @ risk.lot_weights)
        for k, (o, n) in enumerate(p.orders):
            order = season.orders[o]
            of_lot = p.counted is None and admissible_lots(season, order) == [p.option.lot]
            have = at_nodes if of_lot else np.full(N_LOT_NODES, mean)
            if k < len(p.orders) - 1:
                have = np.minimum(have, n)
            out[order.id] = out.get(order.id, np.zeros(N_LOT_NODES)) + have
    return out
