"""Play a plan through years of the other world and count what becomes of its orders.

The crew knows the plan and sees what stands before it, and has no forecast: it lifts a tray out of
the chamber at the first visit after the root shows, moves and pots on by the dates of the plan, and
hands over on the day of the plan, or on the first work day after it on which the plants are ready.
Nobody resows.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from benchmarks.other_growth import OtherGrowth
from benchmarks.other_world import YEARS_AT_ONCE, Floats, Ints, World, Years, drawn_years
from benchmarks.script import Given, Sown, script_of
from sowbench.domain.plan import Plan
from sowbench.planning.season import Season, container_price, is_limited
from sowbench.science.emergence import emergence_target, germination_target, thermal_rate
from sowbench.science.emergence_fraction import relative_fraction
from sowbench.science.growth import light_factor, light_usable_frac, relative_rate
from sowbench.science.stand import cell_ok_prob

WATCHED_D = 35
GROWING_BEYOND_D = 90
REFUSED_AFTER_D = 60
PARTS_PLANNED = ("seed", "container", "mix", "labor", "room")

Bools = NDArray[np.bool_]


@dataclass
class Played:
    """What became of a plan; the first axis is the year where there is one.

    Attributes
    ----------
    filled : ndarray of bool, shape (n_years, n_orders)
        Whether an order got all it wanted, usable and not overgrown, inside its window.
    plants_in_time_frac : float
        Share of all ordered plants that were usable, not overgrown and inside their windows.
    money : ndarray, shape (n_years,)
        The plan's seed, containers, mix, labor and room, with what shortage, lateness and
        overgrown plants really cost, late plants' room, and trays bought because there were none.
    short, late, overgrown : ndarray, shape (n_years,)
        Money of each of these.
    lifted_in_time_frac : float
        Share of sowings in a chamber that somebody lifted out within the hours they can stand.
    over_m2_d, over_positions_d : float
        Mean use above capacity a year, summed over days: area [m2 d] and positions [d].
    trays_short : ndarray, shape (n_days,)
        Mean trays short on each day.
    trays_short_days, trays_short_worst : float
        Mean days a year with a tray short, and the mean of a year's worst day [trays].
    """

    filled: Bools
    plants_in_time_frac: float
    money: Floats
    short: Floats
    late: Floats
    overgrown: Floats
    lifted_in_time_frac: float
    over_m2_d: float
    over_positions_d: float
    trays_short: Floats
    trays_short_days: float
    trays_short_worst: float

    @property
    def filled_frac(self) -> float:
        """Share of orders filled in time and in full, over all years."""
        return float(self.filled.mean())


@dataclass
class _Chunk:
    """Sums of some years while the sowings are played."""

    season: Season
    world: World
    growth: OtherGrowth
    years: Years
    good: Floats
    got: Floats
    late: Floats
    overgrown: Floats
    extra_room: Floats
    room: Floats
    trays: Floats
    lifted: list[float] = field(default_factory=list)
    rates: dict[tuple[object, ...], tuple[Floats, Floats]] = field(default_factory=dict)


def play(plan: Plan, season: Season, world: World, n_years: int) -> Played:
    """Play a plan through years of the other world.

    Parameters
    ----------
    plan : Plan
        Any method's plan of the season.
    season : Season
        The season; only its records, calendar and weather are used.
    world : World
        The other world.
    n_years : int
        Years; the same years for every plan of a season.

    Returns
    -------
    played : Played
        What became of it.
    """
    script = script_of(plan, season)
    growth = OtherGrowth(season.catalog)
    resources = season.resources
    fixed = sum(plan.cost_parts[name] for name in PARTS_PLANNED)
    prices = season.house.prices
    per_cell = np.array([season.plants_per_cell(o) for o in season.orders])
    need = np.array([season.need_cells(o) for o in season.orders])
    enough = np.array([season.enough_cells(o) for o in season.orders])
    own = [name for name, each in season.containers.items() if is_limited(each, season.stock)]
    stock = np.array([float(season.stock[name].n_in_stock or 0) for name in own])
    price = np.array([container_price(season.containers[n], season.stock) for n in own])
    found: list[dict[str, NDArray[Any]]] = []
    done = 0
    while done < n_years:
        count = min(YEARS_AT_ONCE, n_years - done)
        chunk = _play_chunk(script, season, world, growth, own, len(found), count)
        missing = np.maximum(0.0, need - chunk.got)
        short = prices.short_plant * (missing * per_cell).sum(axis=1)
        room = np.cumsum(chunk.room, axis=2)[:, :, :-1]
        capacity = resources.capacity[: len(season.places)]
        over = np.maximum(0.0, room - capacity[:, None, :] - 1e-6)
        by_position = season.by_position
        trays = np.cumsum(chunk.trays, axis=2)[:, :, :-1]
        lack = np.maximum(0.0, trays - stock[:, None, None] - 1e-6)
        bought = price @ lack.max(axis=2, initial=0.0) if own else np.zeros(count)
        all_lack = lack.sum(axis=0)
        found.append(
            {
                "filled": chunk.good >= enough - 1e-9,
                "plants": np.minimum(chunk.good, need) @ per_cell,
                "short": short,
                "late": chunk.late,
                "overgrown": chunk.overgrown,
                "money": fixed + short + chunk.late + chunk.overgrown + chunk.extra_room + bought,
                "lifted": np.array(chunk.lifted),
                "m2": over[~by_position].sum(axis=(0, 2)),
                "positions": over[by_position].sum(axis=(0, 2)),
                "lack": all_lack.mean(axis=0) * count,
                "lack_days": (all_lack > 0).sum(axis=1),
                "lack_worst": all_lack.max(axis=1, initial=0.0),
            }
        )
        done += count

    def joined(name: str) -> NDArray[Any]:
        return np.concatenate([each[name] for each in found])

    lifted = joined("lifted")
    return Played(
        joined("filled").astype(bool),
        float(joined("plants").mean() / (need @ per_cell)),
        joined("money"),
        joined("short"),
        joined("late"),
        joined("overgrown"),
        float(lifted.mean()) if len(lifted) else 1.0,
        float(joined("m2").mean()),
        float(joined("positions").mean()),
        np.sum([each["lack"] for each in found], axis=0) / n_years,
        float(joined("lack_days").mean()),
        float(joined("lack_worst").mean()),
    )


def _play_chunk(
    script: list[Sown],
    season: Season,
    world: World,
    growth: OtherGrowth,
    own: list[str],
    number: int,
    n_years: int,
) -> _Chunk:
    """Play all sowings through some years."""
    years = drawn_years(season, world, number, n_years)
    n_orders, n_days = len(season.orders), season.calendar.n_days
    chunk = _Chunk(
        season,
        world,
        growth,
        years,
        np.zeros((n_years, n_orders)),
        np.zeros((n_years, n_orders)),
        np.zeros(n_years),
        np.zeros(n_years),
        np.zeros(n_years),
        np.zeros((len(season.places), n_years, n_days + 1)),
        np.zeros((len(own), n_years, n_days + 1)),
    )
    for k, sown in enumerate(script):
        rng = np.random.default_rng([world.seed, number, 1, k])
        _play_sowing(chunk, sown, own, rng)
    return chunk


def _play_sowing(chunk: _Chunk, sown: Sown, own: list[str], rng: np.random.Generator) -> None:
    """Raise one sowing through the chunk's years and hand it over."""
    up, lifted_h, in_time, p_seed = _emerge(chunk, sown)
    if sown.chamber >= 0:
        chunk.lifted.extend(in_time.astype(float).tolist())
    ready, overgrown, light, cold = _grow(chunk, sown, up)
    years, world = chunk.years, chunk.world
    ok = cell_ok_prob(
        sown.seeds_per_cell,
        np.clip(p_seed, 0.0, 1.0),
        sown.crop.plants_per_cell[0],
        world.rho_cell,
        chunk.season.lots[sown.lot].record.seedlings_per_unit,
    )
    share = ok * years.kept[sown.crop.id] * light
    share = share * np.where(in_time, 1.0, 1.0 - world.stretched_frac)
    share = share * np.where(cold, 1.0 - world.cold_loss_frac, 1.0)
    share = np.where(np.isfinite(up), share, 0.0)
    usable = np.minimum(_trays(chunk, sown, share, up, rng), sown.n_last)
    last_day = _hand_over(chunk, sown, usable, ready, overgrown)
    _stand(chunk, sown, lifted_h, last_day, own)


def _emerge(chunk: _Chunk, sown: Sown) -> tuple[Floats, Floats, Bools, Floats]:
    """Median emergence [h], hour of lifting out, whether in time, and chance of a seedling."""
    season, years = chunk.season, chunk.years
    emergence = chunk.growth.emergence(sown.crop)
    calendar = season.calendar
    start = sown.sow_day * 24 + 12
    stop = min(start + 24 * WATCHED_D, 24 * calendar.n_days)
    grow = years.temp_mix_c[sown.stays[0].place][:, start:stop]
    pace = np.exp(emergence.sigma_pace * years.pace_z[sown.crop.id])
    lifted = np.full(years.n_years, float(start))
    in_time = np.ones(years.n_years, dtype=bool)
    temp = grow
    if sown.chamber >= 0:
        inside = years.temp_mix_c[sown.chamber][:, start:stop]
        gained = np.cumsum(thermal_rate(inside, emergence) / 24.0, axis=1)
        goal = float(germination_target(emergence)) * pace
        shows = start + _first_at(gained, goal)
        # What never shows is lifted out when the plan says so.
        shows = np.where(np.isfinite(shows), shows, sown.exit_day * 24.0 + 8.0)
        latest = shows + 24.0
        if sown.crop.vine:
            shows = np.maximum(shows, start + 30.0)
            latest = np.minimum(latest, start + 48.0)
        visit = calendar.next_visit(shows)
        lifted = np.where(np.isfinite(visit), visit, shows)
        in_time = lifted <= np.maximum(latest, shows) + 1e-9
        hour = np.arange(start, stop)
        temp = np.where(hour < lifted[:, None], inside, grow)
    progress = np.cumsum(thermal_rate(temp, emergence) / 24.0, axis=1)
    goal = float(np.asarray(emergence_target(emergence))) * pace
    after = _first_at(progress, goal)
    fraction = relative_fraction(temp[:, :48].mean(axis=1), emergence)
    last = progress.shape[1] - 1
    at = np.where(np.isfinite(after), after, last).astype(np.int64)
    here = np.take_along_axis(progress, np.minimum(at, last)[:, None], axis=1)[:, 0]
    later = np.take_along_axis(progress, np.minimum(at + 72, last)[:, None], axis=1)[:, 0]
    on_time = ndtr(np.log(np.maximum(later / np.maximum(here, 1e-9), 1.0)) / emergence.sigma_seed)
    p_seed = years.germination[sown.lot] * years.in_tray[sown.crop.id] * fraction * on_time
    return start + after, lifted, in_time, np.asarray(p_seed)


def _first_at(progress: Floats, goal: Floats) -> Floats:
    """Hours until a rising sum reaches its goal, inf if it never does."""
    reached = progress >= goal[:, None]
    found = np.where(reached.any(axis=1), reached.argmax(axis=1) + 1.0, np.inf)
    return np.asarray(found)


def _clock_rates(chunk: _Chunk, sown: Sown, place: int) -> tuple[Floats, Floats]:
    """Daily gains of the two clocks in a place, shape (n_years, n_days)."""
    growth, rule = sown.crop.growth, sown.rule
    key = (place, growth, rule.temp_ref_c, rule.dli_ref_mol_m2_d)
    if key not in chunk.rates:
        leaf = np.asarray(
            relative_rate(
                chunk.years.day_mean_c[place],
                growth.base_c,
                growth.optimum_c,
                growth.ceiling_c,
                rule.temp_ref_c,
            )
        )
        light = light_factor(chunk.years.dli_mol_m2_d[place], rule.dli_ref_mol_m2_d)
        chunk.rates[key] = (leaf, leaf * light)
    return chunk.rates[key]


def _grow(chunk: _Chunk, sown: Sown, up_h: Floats) -> tuple[Floats, Floats, Floats, Bools]:
    """Day of ready and of overgrown, usable share by light, and whether it stood too cold."""
    years, n_days = chunk.years, chunk.season.calendar.n_days
    first = sown.sow_day
    last = min(sown.stays[-1].stop + GROWING_BEYOND_D, n_days)
    spans = []
    at = first
    for k, stay in enumerate(sown.stays):
        stop = last if k == len(sown.stays) - 1 else min(stay.stop, last)
        if stop > at:
            spans.append((stay.place, at, stop))
            at = stop
    pieces = [_clock_rates(chunk, sown, p) for p, _, _ in spans]
    leaf, mass = (
        np.concatenate([x[w][:, a:b] for x, (_, a, b) in zip(pieces, spans, strict=True)], axis=1)
        for w in (0, 1)
    )
    light = np.concatenate([years.dli_mol_m2_d[p][:, a:b] for p, a, b in spans], axis=1)
    coldest = np.concatenate([years.day_low_c[p][:, a:b] for p, a, b in spans], axis=1)
    days = chunk.growth.days(sown.crop, sown.rule).drawn(
        years.row_draw[sown.crop.id], years.row_place[sown.crop.id]
    )
    window = sown.rule.window_d_ref * days / sown.rule.days_ref
    start = np.where(np.isfinite(up_h), up_h / 24.0 - first, np.inf)
    grown, spoilt = np.zeros(years.n_years), np.zeros(years.n_years)
    for gain in (leaf, mass):
        total = np.concatenate((np.zeros((years.n_years, 1)), np.cumsum(gain, axis=1)), axis=1)
        base = _at(total, start)
        grown = np.maximum(grown, _crossed(total, base + days))
        spoilt = np.maximum(spoilt, _crossed(total, base + days + window))
    ready = grown + sown.rule.tone_d
    if sown.held:
        spoilt = ready + max(sown.crop.hold_d, 1)
    spoilt = np.maximum(spoilt, ready + 1.0)
    seen = np.concatenate((np.zeros((years.n_years, 1)), np.cumsum(light, axis=1)), axis=1)
    a = np.clip(start, 0, light.shape[1] - 1)
    b = np.clip(np.where(np.isfinite(grown), grown, light.shape[1]), a + 1, light.shape[1])
    usable = light_usable_frac((_at(seen, b) - _at(seen, a)) / (b - a))
    day = np.arange(first, first + coldest.shape[1])
    stands = (day >= sown.exit_day) & (day < sown.stays[-1].stop)
    limit = np.where(day < sown.tone_day, sown.crop.min_c, sown.crop.tone_min_c)
    cold: Bools = np.asarray(((coldest < limit) & stands).any(axis=1))
    return first + ready, first + spoilt, np.asarray(usable), cold


def _at(total: Floats, day: Floats) -> Floats:
    """Value of a sum over days at a fractional day of each year."""
    last = total.shape[1] - 1
    day = np.clip(day, 0.0, float(last))
    low = np.minimum(day.astype(np.int64), last - 1)
    a = np.take_along_axis(total, low[:, None], axis=1)[:, 0]
    b = np.take_along_axis(total, low[:, None] + 1, axis=1)[:, 0]
    return np.asarray(a + (b - a) * (day - low))


def _crossed(total: Floats, level: Floats) -> Floats:
    """Fractional day at which a sum over days reaches a level, inf if it never does."""
    reached = total >= level[:, None] - 1e-12
    high = np.maximum(reached.argmax(axis=1), 1)
    b = np.take_along_axis(total, high[:, None], axis=1)[:, 0]
    a = np.take_along_axis(total, high[:, None] - 1, axis=1)[:, 0]
    share = np.clip((level - a) / np.maximum(b - a, 1e-12), 0.0, 1.0)
    return np.where(reached.any(axis=1), high - 1 + share, np.inf)


def _trays(
    chunk: _Chunk, sown: Sown, share: Floats, up_h: Floats, rng: np.random.Generator
) -> Floats:
    """Usable cells of all trays."""
    world, n_years = chunk.world, chunk.years.n_years
    cells = np.full(sown.n_units, sown.first.cells)
    cells[-1] = sown.n_cells - (sown.n_units - 1) * sown.first.cells
    p = np.clip(share, 1e-4, 1 - 1e-4)[:, None]
    size = 1.0 / world.rho_tray - 1.0
    chance = rng.beta(p * size, (1 - p) * size, (n_years, sown.n_units))
    count = rng.binomial(cells, chance)
    day = np.where(np.isfinite(up_h), up_h / 24.0, -1e5)
    began = chunk.years.outbreak_day[sown.stays[0].place]
    hit = ((day[:, None] >= began) & (day[:, None] < began + world.outbreak_d)).any(axis=1)
    loss = world.tray_loss_frac + np.where(hit, world.outbreak_trays, 0.0)
    alive = rng.random((n_years, sown.n_units)) >= loss[:, None]
    return np.where(share > 0, (count * alive).sum(axis=1), 0.0)


def _hand_over(chunk: _Chunk, sown: Sown, usable: Floats, ready: Floats, overgrown: Floats) -> Ints:
    """Hand plants over to the sowing's orders; returns the day on which the last ones go."""
    season = chunk.season
    calendar, prices = season.calendar, season.house.prices
    before = np.zeros_like(usable)
    last_day = np.full(len(usable), sown.stays[-1].stop)
    wanted = sum(g.cells for g in sown.given)
    for k, given in enumerate(sown.given):
        order = season.orders[given.order]
        latest = calendar.day(order.latest_date)
        cells = np.maximum(usable - before, 0.0)
        if k < len(sown.given) - 1:
            cells = np.minimum(cells, given.cells)
        before = before + given.cells
        day = _goes(chunk, given, ready)
        kept = day <= latest + REFUSED_AFTER_D
        spoilt = overgrown <= day
        chunk.got[:, given.order] += np.where(kept, cells, 0.0)
        chunk.good[:, given.order] += np.where((day <= latest) & ~spoilt, cells, 0.0)
        plants = np.minimum(cells, given.cells) * season.plants_per_cell(order)
        late = np.clip(day - latest, 0, REFUSED_AFTER_D)
        chunk.late += np.where(kept, prices.late_plant_day * plants * late, 0.0)
        chunk.overgrown += np.where(kept & spoilt, prices.overgrown_plant * plants, 0.0)
        # What waits for its day stands in the last place, by its share of the cells.
        gone = np.minimum(day, latest + REFUSED_AFTER_D).astype(np.int64)
        _add(chunk, sown, given.cells / wanted, given.day, gone)
        last_day = np.maximum(last_day, gone)
    return last_day


def _goes(chunk: _Chunk, given: Given, ready: Floats) -> Floats:
    """Day on which an order's plants go: that of the plan, or the first work day after ready."""
    calendar = chunk.season.calendar
    ok = np.isfinite(ready) & (ready < calendar.n_days - 1)
    midnight = np.where(ok, np.ceil(ready - 1e-9), 0).astype(np.int64)
    later = calendar.next_work[np.clip(midnight, 0, calendar.n_days - 1)].astype(float)
    day = np.where(midnight <= given.day, float(given.day), later)
    return np.where(ok, day, np.inf)


def _add(chunk: _Chunk, sown: Sown, share: float, start: int, stop: Ints) -> None:
    """Count what stands longer than planned, and its money."""
    stay, n_days = sown.stays[-1], chunk.season.calendar.n_days
    size = stay.units if chunk.season.by_position[stay.place] else stay.m2
    to = np.clip(stop, start, n_days)
    years = np.arange(chunk.years.n_years)
    chunk.room[stay.place, :, min(start, n_days)] += size * share
    chunk.room[stay.place, years, to] -= size * share
    chunk.extra_room += (to - start) * stay.m2 * share * chunk.season.room_price[stay.place]


def _stand(chunk: _Chunk, sown: Sown, lifted_h: Floats, last_day: Ints, own: list[str]) -> None:
    """Count the room and the trays that a sowing really takes."""
    season, n_days = chunk.season, chunk.season.calendar.n_days
    years = np.arange(chunk.years.n_years)
    lifted = np.clip((lifted_h // 24).astype(np.int64), sown.sow_day, n_days)
    if sown.chamber >= 0:
        size = sown.n_units if season.by_position[sown.chamber] else sown.chamber_m2
        chunk.room[sown.chamber, :, sown.sow_day] += size
        chunk.room[sown.chamber, years, lifted] -= size
    for k, stay in enumerate(sown.stays):
        size = stay.units if season.by_position[stay.place] else stay.m2
        start = np.full(len(years), stay.start)
        if k == 0 and sown.chamber >= 0:
            start = np.minimum(lifted, stay.stop)
        chunk.room[stay.place, years, start] += size
        chunk.room[stay.place, :, min(stay.stop, n_days)] -= size
    parts = [(sown.first.id, sown.sow_day, last_day, sown.n_units, False)]
    if sown.pot_day >= 0:
        pot = np.full(len(years), sown.pot_day)
        parts = [
            (sown.first.id, sown.sow_day, pot, sown.n_units, True),
            (sown.last.id, sown.pot_day, last_day, sown.n_last_units, False),
        ]
    for container, begin, end, units, stays_home in parts:
        if container in own:
            stock = season.stock[container]
            away = stock.wash_d + (0 if stays_home else stock.back_after_d)
            row = own.index(container)
            chunk.trays[row, :, begin] += units
            chunk.trays[row, years, np.minimum(end + away, n_days)] -= units
