"""Which sowing days, places and days of handing over are candidates, against a plain search.

The places have made-up climates that wander from day to day, so that a bench is the cooler one on
some days only, a yard has frost, and the chill is counted on different days.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.planning.tiny_house import (
    BENCH,
    CHAMBER,
    COOL,
    LOT,
    STORE,
    candidates_of,
    crew,
    house,
    inputs,
    on,
    order,
    reference,
    season_of,
)

from sowbench.domain.records import PlaceKind
from sowbench.planning.candidates import build_candidates
from sowbench.planning.timeline import routes_of
from sowbench.science.house import PlaceClimate
from sowbench.science.quadrature import normal_nodes

W_NODES, _ = normal_nodes(5)
YARD = replace(BENCH, name="yard", kind=PlaceKind.YARD, temp_c=None, price_per_m2_day=0.0)
PLACES = (CHAMBER, BENCH, COOL, YARD, STORE)
MEAN_C = {"chamber": 21.0, "bench": 18.0, "cool bench": 16.5, "yard": 13.0, "store": 4.0}
LIMITS = {"min_c": 7.0, "tone_min_c": 4.0, "hold_min_c": 2.0, "hold_d": 4}


def wandering(seed, mean_c, n_days):
    """A climate whose days wander about a mean by 3 °C, nights 4 °C below."""
    rng = np.random.default_rng(seed)
    typical = mean_c + rng.normal(0.0, 3.0 if mean_c < 20 else 0.2, n_days)
    means = typical[None, :] + 0.5 * W_NODES[:, None]
    hours = np.repeat(means, 24, axis=1)
    zero = np.zeros(n_days)
    light = np.full(n_days, 11.5)
    return PlaceClimate(hours, hours, means, light, typical - 4.0, zero)


def season_with(seed, made):
    """A season in wandering climates, money so high that every sowing pays."""
    made = replace(
        made, house=replace(made.house, prices=replace(made.house.prices, short_plant=1e4))
    )
    season = season_of(made)
    n_days = season.calendar.n_days
    climates = tuple(
        wandering(10 * seed + k, MEAN_C[p.name], n_days) for k, p in enumerate(season.places)
    )
    return replace(season, climates=climates)


def ways_of(season, found):
    """Every candidate by (orders, places, sowing day) with its days of handing over."""
    names = [*(p.name for p in season.places), ""]
    out = {}
    for block in found.blocks:
        for j in range(len(block)):
            end = block.route.ends[int(block.end[j])]
            orders = found.groups[int(block.group[j])].orders
            key = (
                orders, names[block.route.germ], names[block.route.grow], names[end.tone],
                names[end.hold], int(block.timeline.sow_day[block.sow[j]]),
            )  # fmt: skip
            out[key] = tuple(int(h) for h in block.hand_over[j, : len(orders)])
    return out


def allowed(season, crop, orders, route, end, line, s):
    """Days of handing over if one sowing is a candidate, else None; rule by rule."""
    calendar = season.calendar
    if not line.ok[s]:
        return None
    ready = int(line.ready_day[s])
    days = []
    for o in orders:
        wanted, latest = (
            calendar.day(getattr(season.orders[o], f"{x}_date")) for x in ("wanted", "latest")
        )
        if ready > latest + 7:
            return None
        days.append(max(wanted, ready) if ready <= latest else ready)
    first, last = min(days), max(days)
    place = route.ends[end]
    if not line.overgrown[end, 2, 4, s] > last:
        return None
    grown = int(line.grown_day[s])
    tone = min(int(calendar.next_work[grown]), last)
    held = last
    if place.hold >= 0:
        held = int(calendar.next_work[ready])
        if place.tone != route.grow:
            held = max(held, tone)
        if held >= first or last - ready > crop.hold_d:
            return None
        tone = min(tone, held)
    means = [c.temp_day_mean_c[2] for c in season.climates]
    if place.tone != route.grow:
        if tone >= first:
            return None
        stop = min(held, last)
        if season.places[place.tone].kind == PlaceKind.BENCH:
            here, there = (means[p][tone:stop].sum() for p in (route.grow, place.tone))
            if there > here + 1e-9:
                return None
    sown, leave = int(line.sow_day[s]), int(line.exit_day[s])
    stays = [(route.grow, sown, tone, crop.min_c)]
    if route.germ != route.grow:
        stays = [(route.germ, sown, leave, crop.min_c), (route.grow, leave, tone, crop.min_c)]
    stays.append((place.tone, tone, held, crop.tone_min_c))
    if place.hold >= 0:
        stays.append((place.hold, held, last, crop.hold_min_c))
    chill = 0
    for p, a, b, least_c in stays:
        for day in range(a, b):
            if season.climates[p].coldest_hour_c[day] < least_c:
                return None
            chill += crop.chill_below_c is not None and means[p][day] < crop.chill_below_c
    if crop.chill_days_max is not None and chill > crop.chill_days_max:
        return None
    return tuple(days)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(
    "change",
    [
        {},
        {"chill_below_c": 14.0, "chill_days_max": 5},
        {"hardy": False, "tone_under_cover": True},
        {"hardy": False, "vine": True},
    ],
    ids=["hardy", "chilled", "tender", "vine"],
)
def test_candidates_are_all_that_the_rules_allow(seed, change):
    made = inputs(
        order("a", 10, 16, early=1, late=2), order("b", 5, 20, late=3), order("c", 8, 30),
        house=house(*PLACES, crew=crew(
            weekend_minutes=20.0, sow_days=(0, 1, 3, 4), closed=frozenset({on(14), on(23)})
        )),
        catalog=reference(**LIMITS, **change),
    )  # fmt: skip
    season = season_with(seed, made)
    crop = season.catalog.crops["cress"]
    found = build_candidates(season)
    assert {g.orders for g in found.groups} == {(0,), (1,), (2,), (0, 1)}
    expected = {}
    names = [*(p.name for p in season.places), ""]
    days = np.flatnonzero(season.calendar.is_sow)
    for route in routes_of(crop, season.places, season.climates):
        line = season.crop_season(crop).timeline(
            route, season.rule(crop, season.containers["tray-20"], "any"), days
        )
        for group in found.groups:
            for e, end in enumerate(route.ends):
                for s, day in enumerate(days):
                    hand_over = allowed(season, crop, group.orders, route, e, line, s)
                    if hand_over is not None:
                        place = (names[p] for p in (route.germ, route.grow, end.tone, end.hold))
                        expected[(group.orders, *place, int(day))] = hand_over
    assert ways_of(season, found) == expected
    assert len(expected) > 20


def test_the_plain_search_meets_every_rule_at_least_once():
    """Over the seeds every kind of place is used and every kind of place is refused."""
    made = inputs(
        order("a", 10, 16, late=2), order("b", 5, 20, late=3), house=house(*PLACES),
        catalog=reference(**LIMITS),
    )  # fmt: skip
    seen = set()
    for seed in range(6):
        season = season_with(seed, made)
        for _, germ, _, tone, hold, _ in ways_of(season, build_candidates(season)):
            seen |= {("germ", germ), ("tone", tone), ("hold", hold)}
    assert {("germ", "chamber"), ("germ", "bench"), ("tone", "cool bench"), ("tone", "yard"),
            ("hold", "store"), ("hold", "")} <= seen  # fmt: skip


def test_a_sowing_that_costs_more_than_it_is_worth_is_no_candidate():
    cheap = inputs(order("a", 1, 15))
    _, found = candidates_of(cheap)
    assert found.program.n == 0
    assert found.why_none == {0: "price"}


def test_candidates_are_found_again_by_their_number():
    season, found = candidates_of(
        inputs(order("a", 10, 15), order("b", 10, 16), house=house(CHAMBER, BENCH, COOL))
    )
    assert found.program.n == sum(len(b) for b in found.blocks)
    for j in range(found.program.n):
        block, i = found.locate(j)
        assert found.groups[int(block.group[i])].orders == tuple(found.program.orders_of(j))
        assert found.program.sow_day[j] == block.timeline.sow_day[block.sow[i]]
        lot = block.choices[int(block.choice[i])].lot
        assert season.lots[lot].record.id == "L1"
        costs = block.costs
        money = float(costs.variable[i] + costs.fixed[i])
        assert found.program.cost_variable[j] + found.program.cost_fixed[j] == pytest.approx(money)


def test_lots_and_days_are_numbered_in_pairs():
    lots = (LOT, replace(LOT, id="L2"))
    season, found = candidates_of(inputs(order("a", 10, 15), lots=lots))
    program = found.program
    pairs = set()
    for j in range(program.n):
        block, i = found.locate(j)
        lot = block.choices[int(block.choice[i])].lot
        pairs.add((int(program.lot_day[j]), lot, int(program.sow_day[j])))
    assert len(pairs) == len({p for p, _, _ in pairs}) == len({(a, b) for _, a, b in pairs})
    for pair, _, day in pairs:
        assert program.lot_day_sow[pair] == day
    assert len(season.lots) == 2


@pytest.mark.parametrize(("partial", "splits"), [(False, {15}), (True, set(range(15, 26)))])
def test_only_what_goes_out_in_one_go_may_be_split(partial, splits):
    """An order of several trays is split on the wanted day, a partial one on any day it has."""
    made = inputs(order("a", 60, 15, late=3, partial=partial), order("b", 10, 15))
    _, found = candidates_of(made)
    program = found.program
    days = set()
    for j in range(program.n):
        block, i = found.locate(j)
        if program.splits[j]:
            assert len(program.orders_of(j)) == 1
            assert program.n_units[j] > 1
            days.add(int(block.hand_over[i, 0]))
    assert 15 in days
    assert days <= splits
    assert len(days) > 1 or not partial
