"""All candidates of a season as arrays: what each costs, what it uses and when.

For every crop, ready rule and path through the places the life of a sowing is computed for all
sowing days at once (timeline.py); here orders, containers, lots and seeds per cell are laid over
it. docs/model.md sections 5 to 8.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.records import Crop, Pin, PlaceKind, ReadyRule
from sowbench.planning.block import Block, Option
from sowbench.planning.costs import own_costs
from sowbench.planning.options import (
    MAX_SHARED_ORDERS,
    ContainerPath,
    Group,
    GroupTable,
    admissible_lots,
    container_paths,
    group_table,
    seeds_per_cell_options,
    shared_groups,
)
from sowbench.planning.program import Program
from sowbench.planning.relaxed import (
    can_split,
    choose_nodes,
    is_worth,
    leave_out,
    savings,
    short_relief,
    unit_money,
)
from sowbench.planning.resources import IntArray, SegmentBuilder, stacked
from sowbench.planning.season import Season
from sowbench.planning.sizing import Draft, size_drafts
from sowbench.planning.timeline import Route, Timeline, routes_of
from sowbench.planning.uses import add_uses, hold_from, last_use_day

LATE_AT_MOST_D = 7
# Of several reasons why an order has no candidate, the one that came closest is told.
WEIGHT_OF_REASON = {
    "too_soon": 1,
    "crew": 2,
    "temperature": 3,
    "seed": 4,
    "germination": 5,
    "price": 6,
}
EARLY_WAIT_AT_MOST_D = 60


@dataclass
class Candidates:
    """All blocks of a season with the program over them.

    Attributes
    ----------
    first : ndarray of int
        Number of the first candidate of each block.
    why_none : dict
        For orders without any candidate, the reason.
    """

    blocks: list[Block]
    groups: list[Group]
    first: IntArray
    program: Program
    why_none: dict[int, str] = field(default_factory=dict)

    def locate(self, candidate: int) -> tuple[Block, int]:
        """Block of a candidate and its row there."""
        b = int(np.searchsorted(self.first, candidate, side="right")) - 1
        return self.blocks[b], int(candidate - self.first[b])


def build_candidates(season: Season, pins: Iterable[Pin] = ()) -> Candidates:
    """Enumerate all candidates that the rules allow."""
    pin_of = {p.target: p for p in pins}
    table = group_table(season, shared_groups(season, pin_of))
    groups = table.groups
    by_rule: dict[tuple[str, ReadyRule], dict[int, list[Option]]] = {}
    why: dict[int, str] = {}
    alike: dict[tuple[object, ...], ReadyRule] = {}
    cache: dict[tuple[object, ...], list[ContainerPath]] = {}
    for g, group in enumerate(groups):
        order = season.orders[group.orders[0]]
        pin = pin_of.get(order.id)
        crop = season.catalog.crops[order.crop]
        key = (order.crop, order.system, order.containers, order.organic)
        if key not in cache:
            cache[key] = container_paths(season, crop, order)
        paths = cache[key]
        if pin is not None and pin.container:
            paths = container_paths(season, crop, order, all_of_them=True)
            paths = [p for p in paths if pin.container in {p.first.id, p.last.id}]
        lots = admissible_lots(season, order)
        if len(group.orders) == 1:
            if season.calendar.day(order.latest_date) < season.from_day:
                why[group.orders[0]] = "past"
            elif not paths:
                why[group.orders[0]] = "container"
            elif not lots:
                why[group.orders[0]] = "seed"
        for path in paths:
            for lot in lots:
                for n in seeds_per_cell_options(crop, season.lots[lot], pin):
                    key_rule = alike.setdefault((crop.id, *numbers_of(path.rule)), path.rule)
                    by_rule.setdefault((crop.id, key_rule), {}).setdefault(g, []).append(
                        Option(path, lot, n)
                    )
    blocks: list[Block] = []
    seen: dict[int, str] = {}
    last = None
    for (crop_id, rule), wanted in sorted(by_rule.items(), key=lambda item: item[0][0]):
        crop = season.catalog.crops[crop_id]
        if last is not None and last.id != crop_id:
            season.crop_season(last).forget()
        last = crop
        blocks += build_blocks(season, crop, rule, wanted, table, pin_of, seen)
    constant = choose_nodes(season, blocks, table)
    blocks, mates = leave_out(season, blocks, table)
    program = replace(join(season, blocks, table, mates), constant=constant)
    has = np.zeros(len(season.orders), dtype=bool)
    if program.n:
        members = program.members[np.unique(program.group)]
        has[members[members >= 0]] = True
    for i in range(len(season.orders)):
        if not has[i] and i not in why:
            why[i] = seen.get(i, "too_soon")
    first = np.cumsum([0, *(len(b) for b in blocks)])[:-1].astype(np.int64)
    return Candidates(blocks, groups, first, program, why)


def build_blocks(
    season: Season,
    crop: Crop,
    rule: ReadyRule,
    wanted: dict[int, list[Option]],
    groups: GroupTable,
    pins: dict[str, Pin],
    seen: dict[int, str],
) -> list[Block]:
    """Lay the orders over every path of places; all paths are sized in one go."""
    calendar = season.calendar
    days = np.flatnonzero(calendar.is_sow)
    members = groups.orders[list(wanted)] >= 0
    last_wanted = int(groups.latest[list(wanted)][members].max())
    days = days[(days >= season.from_day) & (days < last_wanted + LATE_AT_MOST_D)]
    if not len(days):
        alone = [g for g in wanted if groups.orders[g, 1] < 0]
        seen.update({int(groups.orders[g, 0]): "past" for g in alone})
        return []
    choices, options = number_options(wanted)
    drafts: list[Draft] = []
    for route in routes_of(crop, season.places, season.climates):
        timeline = season.crop_season(crop).timeline(route, rule, days)
        pairs = sowing_pairs(season, crop, route, timeline, wanted, groups, pins, seen)
        if pairs is None:
            continue
        group, sow, hand_over, end = pairs
        counts = np.array([len(options[int(g)]) for g in group])
        choice = np.concatenate([options[int(g)] for g in group])
        rep = np.repeat(np.arange(len(group)), counts)
        group, sow, hand_over, end = group[rep], sow[rep], hand_over[rep], end[rep]
        ok = lot_in_time(season, timeline, choices, choice, sow)
        for g in np.unique(group[~ok]):
            if groups.orders[g, 1] < 0:
                order = int(groups.orders[g, 0])
                if WEIGHT_OF_REASON.get(seen.get(order, ""), 0) < WEIGHT_OF_REASON["seed"]:
                    seen[order] = "seed"
        if ok.any():
            drafts.append(
                Draft(route, timeline, group[ok], choice[ok], sow[ok], hand_over[ok], end[ok])
            )
    if not drafts:
        return []
    sizing, few, both = size_drafts(season, crop, drafts, choices, groups)
    out, at = [], 0
    for draft in drafts:
        rows = np.arange(at, at + len(draft.group))
        at += len(rows)
        extra = np.flatnonzero(both[rows])
        keep = np.concatenate((np.arange(len(rows)), extra))
        block = Block(
            crop,
            rule,
            draft.route,
            draft.timeline,
            tuple(choices),
            draft.group[keep],
            draft.choice[keep],
            draft.sow[keep],
            draft.hand_over[keep],
            draft.end[keep],
            sizing.take(rows).then(few.take(rows[extra])),
        )
        if not block.sizing.ok.all():
            poor = block.group[~block.sizing.ok]
            for g in np.unique(poor[groups.orders[poor, 1] < 0]):
                order = int(groups.orders[g, 0])
                if WEIGHT_OF_REASON.get(seen.get(order, ""), 0) < WEIGHT_OF_REASON["germination"]:
                    seen[order] = "germination"
            block = block.take(np.flatnonzero(block.sizing.ok))
        if not len(block):
            continue
        block.costs = own_costs(season, block, groups)
        block.costs.relief = short_relief(season, block, groups)
        block.costs.unit = unit_money(block)
        worth = is_worth(block, groups, block.costs.unit + block.costs.relief.max(axis=1))
        for g in np.unique(block.group[groups.orders[block.group, 1] < 0]):
            seen[int(groups.orders[g, 0])] = "price"  # for those that come to nothing else
        if worth.any():
            out.append(block.take(np.flatnonzero(worth)).compact())
    return out


def number_options(
    wanted: dict[int, list[Option]],
) -> tuple[list[Option], dict[int, IntArray]]:
    """Number all different options; give each group the numbers of its own."""
    choices: list[Option] = []
    number: dict[tuple[str, str, int, int], int] = {}
    options: dict[int, IntArray] = {}
    for g, own in wanted.items():
        rows = []
        for c in own:
            key = (c.path.first.id, c.path.last.id, c.lot, c.seeds_per_cell)
            if key not in number:
                number[key] = len(choices)
                choices.append(c)
            rows.append(number[key])
        options[g] = np.array(rows, dtype=np.int64)
    return choices, options


def numbers_of(rule: ReadyRule) -> tuple[object, ...]:
    """What decides the days of a ready rule; rules that agree in it share their computation."""
    return (
        rule.days_ref,
        rule.temp_ref_c,
        rule.dli_ref_mol_m2_d,
        rule.sigma_growth,
        rule.window_d_ref,
        rule.tone_d,
        rule.pot_on_d_ref,
        rule.space_d_ref,
        rule.space_plants_per_m2,
    )


def lot_in_time(
    season: Season,
    timeline: Timeline,
    choices: list[Option],
    choice: IntArray,
    sow: IntArray,
) -> NDArray[np.bool_]:
    """Whether the lot is in the house and not past its date on the sowing day."""
    calendar = season.calendar
    low = np.full(len(choices), -1)
    high = np.full(len(choices), calendar.n_days)
    for i, c in enumerate(choices):
        record = season.lots[c.lot].record
        if record.arrives_on is not None:
            low[i] = calendar.day(record.arrives_on)
        if record.use_by is not None:
            high[i] = calendar.day(record.use_by)
    day = timeline.sow_day[sow]
    ok: NDArray[np.bool_] = (day >= low[choice]) & (day <= high[choice])
    return ok


def sowing_pairs(
    season: Season,
    crop: Crop,
    route: Route,
    timeline: Timeline,
    wanted: dict[int, list[Option]],
    groups: GroupTable,
    pins: dict[str, Pin],
    seen: dict[int, str],
) -> tuple[IntArray, IntArray, IntArray, IntArray] | None:
    """(group, sowing day, hand-over days, end) that dates, cold and pins allow."""
    own = np.fromiter(wanted, dtype=np.int64)
    ready = timeline.ready_day[None, :]
    ok = np.repeat(timeline.ok[None, :], len(own), axis=0)
    soon = (timeline.ok[None, :] & (ready <= groups.latest[own, 0][:, None])).any(axis=1)
    hand = np.full((len(own), len(timeline.sow_day), MAX_SHARED_ORDERS), -1)
    for m in range(MAX_SHARED_ORDERS):
        has = (groups.orders[own, m] >= 0)[:, None]
        if not has.any():
            break
        latest = groups.latest[own, m][:, None]
        h = np.maximum(groups.wanted[own, m][:, None], ready)
        h = np.where(h > latest, np.maximum(ready, latest), h)
        ok &= (h <= latest + LATE_AT_MOST_D) | ~has
        hand[:, :, m] = np.where(has, h, -1)
    for row in np.flatnonzero(np.isin(groups.orders[own, 0], _pinned_orders(season, pins))):
        order = season.orders[int(groups.orders[own[row], 0])]
        ok[row] &= pinned(pins.get(order.id), season, route, timeline)
    g, s = np.nonzero(ok)
    last = hand[g, s].max(axis=1)
    first = np.where(hand[g, s] >= 0, hand[g, s], last[:, None]).min(axis=1)
    found = []
    fresh = np.zeros(len(own), dtype=bool)
    for e in range(len(route.ends)):
        good = serves(season, crop, route, timeline, e, s, first, last)
        fresh[g[good]] = True
        rows = np.flatnonzero(good & warm_enough(season, crop, route, timeline, e, s, last))
        found.append((g[rows], s[rows], hand[g[rows], s[rows]], np.full(len(rows), e)))
    out_g, out_s, out_hand, out_end = (np.concatenate(part) for part in zip(*found, strict=True))
    reached = np.zeros(len(own), dtype=bool)
    reached[out_g] = True
    for row in np.flatnonzero((groups.orders[own, 1] < 0) & ~reached):
        late = int(groups.orders[own[row], 0])
        why = "too_soon"
        if soon[row]:
            why = "temperature" if fresh[row] else "crew"
        if WEIGHT_OF_REASON[why] > WEIGHT_OF_REASON.get(seen.get(late, ""), 0):
            seen[late] = why
    if not len(out_g):
        return None
    return own[out_g], out_s, out_hand, out_end


def serves(
    season: Season,
    crop: Crop,
    route: Route,
    timeline: Timeline,
    end: int,
    rows: IntArray,
    first: IntArray,
    last: IntArray,
) -> NDArray[np.bool_]:
    """Whether sowings are not overgrown on `last` and use every place of the end before `first`.

    One that goes out before it would be moved keeps pace with the place it stands in, not with
    the cooler one; the end without that place is another candidate.
    """
    middle = (timeline.overgrown.shape[1] // 2, timeline.overgrown.shape[2] // 2)
    ok: NDArray[np.bool_] = timeline.overgrown[end, middle[0], middle[1], rows] > last
    place = route.ends[end]
    tone = last_use_day(season, timeline, rows, last)
    if place.tone != route.grow:
        ok &= tone < first
        if season.places[place.tone].kind == PlaceKind.BENCH:
            stop = last
            if place.hold >= 0:
                held = hold_from(season, route, place, timeline.ready_day[rows], tone)
                stop = np.minimum(held, last)
            warmer = season.warmth(place.tone) - season.warmth(route.grow)
            ok &= warmer[np.maximum(stop, tone)] - warmer[tone] <= 1e-9
    if place.hold >= 0:
        ready = timeline.ready_day[rows]
        held = hold_from(season, route, place, ready, tone)
        ok &= (held < first) & (last - ready <= crop.hold_d)
    return ok


def _pinned_orders(season: Season, pins: dict[str, Pin]) -> list[int]:
    """Orders that have a pin."""
    return [i for i, o in enumerate(season.orders) if o.id in pins]


def pinned(pin: Pin | None, season: Season, route: Route, timeline: Timeline) -> NDArray[np.bool_]:
    """Sowing days that a pin allows."""
    ok = np.ones(len(timeline.sow_day), dtype=bool)
    if pin is None:
        return ok
    calendar = season.calendar
    if pin.place and season.places[route.grow].name != pin.place:
        ok[:] = False
    if pin.sow_date is not None:
        ok &= timeline.sow_day == calendar.day(pin.sow_date)
    if pin.not_before is not None:
        ok &= timeline.sow_day >= calendar.day(pin.not_before)
    if pin.not_after is not None:
        ok &= timeline.sow_day <= calendar.day(pin.not_after)
    return ok


def warm_enough(
    season: Season,
    crop: Crop,
    route: Route,
    timeline: Timeline,
    end: int,
    rows: IntArray,
    last: IntArray,
) -> NDArray[np.bool_]:
    """Whether no place on the path is too cold on any day of the stay, nor chills too long."""
    ok = np.ones(len(rows), dtype=bool)
    stays = stays_of(season, crop, route, timeline, end, rows, last)
    chill = np.zeros(len(rows))
    middle = timeline.ready.shape[0] // 2
    for place, start, stop, least_c in stays:
        climate = season.climates[place]
        closed = np.concatenate(([0], np.cumsum(climate.coldest_hour_c < least_c)))
        ok &= closed[np.maximum(stop, start)] - closed[start] == 0
        if crop.chill_below_c is not None:
            cold = climate.temp_day_mean_c[middle] < crop.chill_below_c
            total = np.concatenate(([0], np.cumsum(cold)))
            chill += total[np.maximum(stop, start)] - total[start]
    if crop.chill_days_max is not None:
        ok &= chill <= crop.chill_days_max
    return ok


def stays_of(
    season: Season,
    crop: Crop,
    route: Route,
    timeline: Timeline,
    end: int,
    rows: IntArray,
    last: IntArray,
) -> list[tuple[int, IntArray, IntArray, float]]:
    """Stays (place, from, to, coldest hour borne [°C]) of sowings that go out on `last`."""
    sow, exit_day = timeline.sow_day[rows], timeline.exit_day[rows]
    tone, place = last_use_day(season, timeline, rows, last), route.ends[end]
    stays = []
    start = sow
    if route.germ != route.grow:
        stays.append((route.germ, sow, exit_day, crop.min_c))
        start = exit_day
    if place.hold >= 0:
        held = hold_from(season, route, place, timeline.ready_day[rows], tone)
        hold = np.minimum(held, last)
        tone = np.minimum(tone, hold)
        stays.append((route.grow, start, tone, crop.min_c))
        stays.append((place.tone, tone, hold, crop.tone_min_c))
        stays.append((place.hold, hold, last, crop.hold_min_c))
    else:
        stays.append((route.grow, start, tone, crop.min_c))
        stays.append((place.tone, tone, last, crop.tone_min_c))
    return stays


def join(
    season: Season, blocks: list[Block], groups: GroupTable, mates: NDArray[np.bool_]
) -> Program:
    """Join all blocks into the program over them."""
    segments = []
    for block in blocks:
        builder = SegmentBuilder()
        add_uses(season, block, groups, builder, 0)
        segments.append(builder.build(len(block)))
        block.moves = None  # cheap to work out again, dear to keep

    def flat(parts: list[NDArray[Any]]) -> NDArray[Any]:
        return np.concatenate(parts) if parts else np.zeros(0)

    splits = flat([can_split(season, b, groups) for b in blocks]).astype(bool)
    sow_day = flat([b.timeline.sow_day[b.sow] for b in blocks]).astype(np.int64)
    lot = flat([np.array([c.lot for c in b.choices])[b.choice] for b in blocks]).astype(np.int64)
    code = lot * season.calendar.n_days + sow_day
    units = np.maximum(flat([b.sizing.n_units for b in blocks]), 1).astype(np.int32)
    pairs, lot_day = np.unique(code, return_inverse=True)
    crew = season.house.crew
    per_minute = crew.rate_per_hour / 60.0
    limited = np.isfinite(season.calendar.minutes).any()
    crew_index = next(i for i, k in enumerate(season.resources.kinds) if k.value == "crew")
    return Program(
        groups.orders.astype(np.int32),
        flat([b.group for b in blocks]).astype(np.int32),
        flat([b.costs.variable for b in blocks]),
        flat([b.costs.fixed for b in blocks]),
        lot_day.astype(np.int32),
        (pairs % season.calendar.n_days).astype(np.int32),
        units,
        splits,
        np.array([season.house.prices.short_plant * season.open_plants(o) for o in season.orders]),
        crew.setup_minutes,
        crew.setup_minutes * per_minute,
        crew_index if limited else -1,
        sow_day.astype(np.int32),
        stacked(segments),
        season.resources,
        flat([b.costs.relief for b in blocks]).astype(np.float32),
        savings(season, blocks, groups, splits, mates),
    )
