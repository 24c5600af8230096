"""When sowings come up, are grown, ready and overgrown, against counting hour by hour.

The slow computation below is written from docs/model.md, sections 3, 4 and 10, one sowing, one
weather node and one pace at a time, in plain loops.
"""

from __future__ import annotations

from dataclasses import replace
from math import ceil, exp, floor, log
from statistics import NormalDist

import numpy as np
import pytest
from tests.planning.tiny_house import (
    BENCH,
    CHAMBER,
    COOL,
    CRESS,
    MONDAY,
    PLUG_RULE,
    POT_RULE,
    STORE,
)

from sowbench.domain.records import Crew, LightNeed, PlaceKind
from sowbench.planning.calendar import make_calendar
from sowbench.planning.timeline import (
    CropSeason,
    End,
    Route,
    germinates_in,
    routes_of,
)
from sowbench.science.house import PlaceClimate, place_climate
from sowbench.science.quadrature import normal_nodes

N_DAYS = 70
NORMAL = NormalDist()
W_NODES, _ = normal_nodes(5)
Z_NODES, _ = normal_nodes(9)
CREW = Crew(weekend_minutes=20.0)
SOWN = np.array([0, 1, 2, 3, 4, 7, 9, 11, 15, 21])
# Slower and less even than the tiny house's crop, with an upper end that warm days reach.
CROP = replace(
    CRESS,
    emergence=replace(
        CRESS.emergence, optimum_low_c=21.0, optimum_high_c=23.0, ceiling_c=30.0, cold_c=8.0,
        cold_sd_c=4.0, hot_c=30.0, hot_sd_c=3.0, top_frac=0.9,
    ),
    growth=replace(CRESS.growth, optimum_c=22.0, ceiling_c=31.0),
    hold_d=5,
)  # fmt: skip
RULE = replace(PLUG_RULE, days_ref=9.0, tone_d=2)


def climate(seed, mean_c, dli, *, swing_c=6.0, offset_c=-1.0):
    """A made-up climate: days that wander about a mean, warm at noon, a shift for each node."""
    rng = np.random.default_rng(seed)
    hour = np.arange(24 * N_DAYS)
    day = np.repeat(rng.normal(0.0, 2.0, N_DAYS), 24)
    typical = mean_c + day - swing_c * np.cos(2 * np.pi * (hour % 24) / 24)
    air = typical[None, :] + 0.9 * W_NODES[:, None]
    by_day = air.reshape(5, N_DAYS, 24)
    return PlaceClimate(
        air, air + offset_c, by_day.mean(axis=2), rng.uniform(0.4, 1.6, N_DAYS) * dli,
        by_day.min(axis=(0, 2)) - 1.0, np.zeros(N_DAYS),
    )  # fmt: skip


class Slow:
    """One sowing at a time, hour by hour and day by day."""

    def __init__(self, crop, germ, grow, tone, *, crew=CREW):
        self.crop, self.germ, self.grow, self.tone = crop, germ, grow, tone
        self.crew = crew

    def rate(self, temp):
        """°C d a day."""
        e = self.crop.emergence
        if temp <= e.base_c or temp >= e.ceiling_c:
            return 0.0
        if temp <= e.optimum_low_c:
            return temp - e.base_c
        most = e.optimum_low_c - e.base_c
        if temp <= e.optimum_high_c:
            return most
        return most * (e.ceiling_c - temp) / (e.ceiling_c - e.optimum_high_c)

    def mix(self, w, hour, leave):
        place = self.germ if hour < leave else self.grow
        return place.temp_mix_c[w, hour]

    def reached(self, w, start, target, leave):
        """Hour at which so many °C d are gathered since a whole hour."""
        done, hour = 0.0, start
        while hour < 24 * N_DAYS:
            gain = self.rate(self.mix(w, hour, leave)) / 24.0
            if done + gain >= target and gain > 0:
                return hour + (target - done) / gain
            done, hour = done + gain, hour + 1
        return np.inf

    def visits(self):
        """Hours at which somebody looks in."""
        for day in range(N_DAYS):
            work = day % 7 in self.crew.work_days  # day 0 is a Monday
            hours = (8, 12, 17) if work else (8,) if self.crew.weekend_minutes > 0 else ()
            yield from (24 * day + h for h in hours)

    def leave(self, day):
        """Hour of leaving the chamber, None if nobody is there in time."""
        e, sown = self.crop.emergence, 24 * day + 12
        if self.germ is self.grow:
            return sown
        target = e.germination_share * e.thermal_time_cd * exp(NORMAL.inv_cdf(0.05) * e.sigma_seed)
        shows = self.reached(2, sown, target, leave=10**6)
        earliest, latest = shows, shows + 24.0
        if self.crop.vine:
            earliest = max(shows, sown + 30.0)
            latest = min(max(latest, earliest), sown + 48.0)
        visit = next((v for v in self.visits() if v >= earliest), np.inf)
        return visit if visit <= latest else None

    def up(self, day, w, z):
        e = self.crop.emergence
        target = e.thermal_time_cd * exp(e.sigma_pace * Z_NODES[z])
        return self.reached(w, 24 * day + 12, target, self.leave(day)) / 24.0

    def on_time(self, day):
        e = self.crop.emergence
        hour = self.up(day, 2, 4) * 24.0
        gained, at = 0.0, hour
        while at < hour + 72.0:
            step = min(floor(at) + 1.0, hour + 72.0) - at
            gained += step * self.rate(self.grow.temp_mix_c[2, floor(at)]) / 24.0
            at += step
        return NORMAL.cdf(log((e.thermal_time_cd + gained) / e.thermal_time_cd) / e.sigma_seed)

    def final(self, temp):
        e = self.crop.emergence
        low, high = (temp - e.cold_c) / e.cold_sd_c, (e.hot_c - temp) / e.hot_sd_c
        return e.top_frac * NORMAL.cdf(low) * NORMAL.cdf(high)

    def fraction(self, day, w):
        sown, leave = 24 * day + 12, self.leave(day)
        mean = sum(self.mix(w, sown + k, leave) for k in range(48)) / 48.0
        best = max(self.final(0.05 * k) for k in range(900))
        return min(1.0, self.final(mean) / best)

    def steps(self, place, w, day, rule):
        """Gain of both clocks on a day."""
        g = self.crop.growth
        temp = place.temp_day_mean_c[w, day]
        if temp <= g.base_c or temp >= g.ceiling_c:
            rate = 0.0
        elif temp <= g.optimum_c:
            rate = temp - g.base_c
        else:
            rate = (g.optimum_c - g.base_c) * (g.ceiling_c - temp) / (g.ceiling_c - g.optimum_c)
        rate /= rule.temp_ref_c - g.base_c
        x = place.dli_mol_m2_d[day] / rule.dli_ref_mol_m2_d
        return rate, rate * min(1.0, 1.5 * x / (x + 0.5))

    def both(self, place, w, start, target, rule):
        """Day on which both clocks have gained so many days since a start."""
        if not np.isfinite(start):
            return np.inf
        days = []
        for clock in (0, 1):
            done, at = 0.0, start
            while True:
                if at >= N_DAYS:
                    return np.inf
                rest = floor(at) + 1.0 - at
                gain = self.steps(place, w, floor(at), rule)[clock] * rest
                if done + gain >= target and gain > 0:
                    days.append(at + rest * (target - done) / gain)
                    break
                done, at = done + gain, floor(at) + 1.0
        return max(days)

    def grown(self, day, w, z, rule):
        pace = exp(rule.sigma_growth * Z_NODES[z])
        return self.both(self.grow, w, self.up(day, w, z), rule.days_ref * pace, rule)

    def overgrown(self, day, w, z, rule):
        pace = exp(rule.sigma_growth * Z_NODES[z])
        grown = self.grown(day, w, z, rule)
        past = self.both(self.tone, w, grown, rule.window_d_ref * pace, rule)
        return max(past, grown + rule.tone_d + 1.0)


WARM, MIDDLING, COOLER = climate(1, 20.0, 10.0), climate(2, 17.0, 7.0), climate(3, 11.0, 9.0)
PLACES = (CHAMBER, BENCH, COOL, STORE)
CLIMATES = (WARM, MIDDLING, COOLER, climate(4, 4.0, 0.0, swing_c=0.0))


def run(crop, route, rule, sown=SOWN, crew=CREW):
    """The planner's timeline."""
    calendar = make_calendar(crew, MONDAY, N_DAYS)
    return CropSeason(crop, PLACES, CLIMATES, calendar, Z_NODES).timeline(route, rule, sown)


def next_work(day):
    """First work day at or after a day, by counting."""
    while day % 7 > 4:
        day += 1
    return day


@pytest.mark.parametrize(
    ("germ", "vine"), [(0, False), (0, True), (1, False)], ids=["chamber", "vine", "on the bench"]
)
def test_days_of_all_seasons_and_paces_are_those_counted_hour_by_hour(germ, vine):
    crop = replace(CROP, vine=vine)
    line = run(crop, Route(germ, 1, (End(1), End(2), End(2, 3))), RULE)
    slow = Slow(crop, CLIMATES[germ], MIDDLING, MIDDLING)
    cool = Slow(crop, CLIMATES[germ], MIDDLING, COOLER)
    assert line.ok.sum() > 3
    for s in np.flatnonzero(line.ok):
        day = int(SOWN[s])
        assert line.exit_hour[s] == pytest.approx(slow.leave(day))
        assert line.on_time[s] == pytest.approx(slow.on_time(day), abs=1e-9)
        for w in range(5):
            assert line.fraction[w, s] == pytest.approx(slow.fraction(day, w), abs=1e-4)
            for z in range(0, 9, 2):
                grown = slow.grown(day, w, z, RULE)
                assert line.ready[w, z, s] == pytest.approx(grown + 2.0, abs=1e-6)
                here, there = (each.overgrown(day, w, z, RULE) for each in (slow, cool))
                assert line.overgrown[0, w, z, s] == pytest.approx(here, abs=1e-6)
                assert line.overgrown[1, w, z, s] == pytest.approx(there, abs=1e-6)
                # Held from the ready day on it keeps for as long as the crop can be held.
                assert line.overgrown[2, w, z, s] == pytest.approx(grown + 2.0 + 5.0, abs=1e-6)


@pytest.mark.parametrize("germ", [0, 1])
def test_plan_days_follow_from_the_typical_season_and_pace(germ):
    rule = replace(POT_RULE, tone_d=2)
    line = run(CROP, Route(germ, 1, (End(1),)), rule)
    slow = Slow(CROP, CLIMATES[germ], MIDDLING, MIDDLING)
    for s in np.flatnonzero(line.ok):
        day = int(SOWN[s])
        up = slow.up(day, 2, 4)
        assert line.exit_day[s] == slow.leave(day) // 24
        assert line.emerge_day[s] == floor(up)
        assert line.count_day[s] == next_work(floor(up) + 2)
        assert line.thin_day[s] == next_work(floor(up) + 4)
        for found, target in ((line.pot_day, 4.0), (line.space_day, 8.0)):
            assert found[s] == next_work(floor(slow.both(MIDDLING, 2, up, target, rule)))
        grown = slow.grown(day, 2, 4, rule)
        assert line.grown_day[s] == ceil(grown)
        assert line.ready_day[s] == ceil(grown + 2.0)


def steady(crop):
    """Chamber and bench at 20 °C and a cool bench at 15 °C, the same in every season."""
    typical = np.full((5, N_DAYS), 20.0)
    hours = np.full((5, 24 * N_DAYS), 20.0)
    light, no_heat = np.full(N_DAYS, 11.5), np.zeros(N_DAYS)
    flat = PlaceClimate(hours, hours, typical, light, typical[0], no_heat)
    cool = PlaceClimate(hours - 5.0, hours - 5.0, typical - 5.0, light, typical[0] - 5.0, no_heat)
    calendar = make_calendar(CREW, MONDAY, N_DAYS)
    return CropSeason(crop, (CHAMBER, BENCH, COOL), (flat, flat, cool), calendar, Z_NODES)


def test_days_of_the_tiny_house_are_those_worked_out_by_hand():
    """At 20 °C up after 2 d, grown 6 d later, a day of toning; at 15 °C the window lasts 9 d."""
    season = steady(CRESS)
    line = season.timeline(Route(0, 1, (End(1), End(2))), PLUG_RULE, np.array([3]))
    assert line.exit_hour[0] == 24 * 4 + 8
    assert line.emerge_day[0] == 5
    assert line.ready[2, 4, 0] == pytest.approx(3 + 9.5)
    assert line.ready_day[0] == 13
    assert line.overgrown[:, 2, 4, 0] == pytest.approx([3 + 14.5, 3 + 17.5])


@pytest.mark.parametrize("vine", [False, True])
def test_nobody_in_time_means_no_sowing(vine):
    """Without weekend visits a tray sown on Friday is not lifted out before Monday, too late."""
    alone = Crew(weekend_minutes=0.0)
    crop = replace(CROP, vine=vine)
    line = run(crop, Route(0, 1, (End(1),)), RULE, crew=alone)
    slow = Slow(crop, WARM, MIDDLING, MIDDLING, crew=alone)
    by_hand = [slow.leave(int(day)) is not None for day in SOWN]
    assert line.ok.tolist() == by_hand
    assert not line.ok[SOWN % 7 == 4].any()
    assert line.ok[SOWN % 7 == 0].all()


def test_vine_crops_stay_thirty_hours_and_never_past_two_days():
    """The root shows at 0.5 x 45 x 0.72 = 16.2 °C d, 25.9 h at 20 °C: at 13:54 of the next day.

    Somebody comes at 17 h, 29 h after sowing; a vine crop stays until 8 h of the day after, 44 h.
    """
    season = steady(replace(CRESS, emergence=replace(CRESS.emergence, thermal_time_cd=45.0)))
    vine = steady(replace(season.crop, vine=True))
    for each, stay in ((season, 29.0), (vine, 44.0)):
        line = each.timeline(Route(0, 1, (End(1),)), PLUG_RULE, np.array([0, 1]))
        assert line.ok.all()
        assert (line.exit_hour - (24 * line.sow_day + 12)).tolist() == [stay, stay]
    # A root that shows after 80.6 h comes past the 48 that a vine crop may stay.
    slow = replace(vine.crop, emergence=replace(CRESS.emergence, thermal_time_cd=140.0))
    for vine_too in (False, True):
        each = steady(replace(slow, vine=vine_too))
        line = each.timeline(Route(0, 1, (End(1),)), PLUG_RULE, np.array([0, 1]))
        assert line.ok.tolist() == [not vine_too] * 2


def test_what_never_grows_is_no_sowing():
    crop = replace(CROP, growth=replace(CROP.growth, base_c=25.0, optimum_c=28.0))
    line = run(crop, Route(1, 1, (End(1),)), replace(RULE, temp_ref_c=27.0))
    assert not line.ok.any()
    assert np.isinf(line.ready[2, 4]).all()


def test_light_share_falls_below_eight_moles_by_the_mean_of_the_growing_days():
    calendar = make_calendar(CREW, MONDAY, N_DAYS)
    light = np.full(N_DAYS, 9.0)
    light[10:20] = 3.0
    dim = replace(MIDDLING, dli_mol_m2_d=light)
    season = CropSeason(CROP, (BENCH,), (dim,), calendar, Z_NODES)
    found = season.light_frac(0, np.array([0, 10, 5, 12]), np.array([10, 20, 15, 12]))
    # Means 9, 3 and 6: all, 0.7, and 0.7 + 0.3 x (6 - 3) / (8 - 3); a stay of no day counts one.
    assert found.tolist() == pytest.approx([1.0, 0.7, 0.88, 0.7])


def climates_of(places):
    """Climates of places in a house under lamps."""
    return tuple(place_climate(p, None, MONDAY, 30, W_NODES, house_light="lamps") for p in places)


def kinds(crop, places):
    """Routes by the names of their places."""
    names = [p.name for p in places] + [""]
    return {
        (names[r.germ], names[r.grow], names[e.tone], names[e.hold])
        for r in routes_of(crop, places, climates_of(places))
        for e in r.ends
    }


YARD = replace(BENCH, name="yard", kind=PlaceKind.YARD, temp_c=None)


def test_routes_lead_from_chamber_or_bench_to_every_bench():
    """Which bench is the cooler one is a question of the days (test_candidates.py)."""
    assert kinds(CRESS, (CHAMBER, BENCH, COOL)) == {
        (germ, grow, tone, "")
        for grow in ("bench", "cool bench")
        for germ in ("chamber", grow)
        for tone in ("bench", "cool bench")
    }


def test_only_hardy_crops_grow_in_the_yard_and_tender_ones_tone_under_cover():
    places = (BENCH, YARD)
    tender = replace(CRESS, hardy=False, tone_under_cover=True)
    assert kinds(CRESS, places) == {
        ("bench", "bench", "bench", ""), ("bench", "bench", "yard", ""),
        ("yard", "yard", "yard", ""), ("yard", "yard", "bench", ""),
    }  # fmt: skip
    assert kinds(replace(CRESS, hardy=False), places) == {
        ("bench", "bench", "bench", ""), ("bench", "bench", "yard", "")
    }  # fmt: skip
    assert kinds(tender, places) == {("bench", "bench", "bench", "")}


def test_cold_stores_are_for_crops_that_can_be_held():
    assert not any(hold for *_, hold in kinds(CRESS, (BENCH, STORE)))
    held = kinds(replace(CRESS, hold_d=4), (BENCH, STORE))
    assert ("bench", "bench", "bench", "store") in held


def test_seed_that_needs_light_does_not_germinate_in_the_dark():
    lit = replace(CHAMBER, lamp_ppfd_umol_m2_s=50.0, lamp_h=12.0)
    wants = replace(CRESS, light_need=LightNeed.LIGHT)
    dark_one, lit_one = climates_of((CHAMBER, lit))
    assert not germinates_in(wants, dark_one)
    assert germinates_in(wants, lit_one)
    assert germinates_in(CRESS, dark_one)
    assert {germ for germ, *_ in kinds(wants, (CHAMBER, BENCH))} == {"bench"}
    assert {germ for germ, *_ in kinds(wants, (lit, BENCH))} == {"chamber", "bench"}
