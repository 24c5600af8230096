"""Resowing: until when, how many cells, and when a sowing is called short."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from tests.forecasting._made import count, made, order
from tests.forecasting._resow import STAKES, parts_of, way

from sowbench.forecasting.resow import (
    advise_resowing,
    cells_to_resow,
    expected_loss,
    last_useful_day,
    part_losses,
    resown_moments,
    second_of,
)
from sowbench.forecasting.resow_records import ONLY_MISSED, ResowRule, Stakes
from sowbench.forecasting.supply import ready_chance
from sowbench.science.errors import OutOfRangeError
from sowbench.science.quadrature import normal_nodes
from sowbench.science.trays import tray_total_moments


def _advice(sowing, asked, today, own, *, confidence=0.9, next_look=None, rule=None):
    _, parts = parts_of([sowing], [asked], today, [own])
    return advise_resowing(
        parts, [[own]], [asked.need.latest_day], [confidence], today,
        today + 1 if next_look is None else next_look, STAKES, rule,
    )[0]  # fmt: skip


def test_chance_of_being_ready_is_that_of_drawn_weather_and_pace():
    w, weights = normal_nodes(5)
    z, _ = normal_nodes(9)
    days = 30.0 + 3.0 * z[None, :] - 1.5 * w[:, None]
    by_hand = weights @ stats.norm.cdf((33.0 - 30.0 + 1.5 * w) / 3.0)
    assert float(ready_chance(days, 33.0)) == pytest.approx(by_hand, abs=1e-12)


def test_the_last_useful_day_is_the_last_that_is_ready_in_time():
    # Sown on day 0 it is ready on day 33 (8 + 25); sown on day d, on 33 + 0.9 d.
    sowing = made()
    own = way(sowing, 0, 30, later_d=0.9)
    last = last_useful_day([own], 45)
    assert last.day == 13
    assert last.in_time_frac >= 0.5
    surer = last_useful_day([own], 45, 0.8)
    assert surer.day is not None
    assert surer.day < last.day
    assert surer.in_time_frac >= 0.8 > last.in_time_frac


def test_there_is_no_last_useful_day_when_it_is_too_late():
    own = way(made(), 20, 30)
    assert last_useful_day([own], 45).day is None
    assert last_useful_day([], 45).day is None


def test_the_last_useful_day_is_that_of_the_fastest_way():
    sowing = made()
    slow, fast = way(sowing, 0, 30), way(sowing, 0, 30, later_d=0.45)
    assert last_useful_day([slow, fast], 45).day == last_useful_day([fast], 45).day == 26


def test_resown_cells_have_the_moments_of_trays():
    own = way(made(), sd=0.0)
    for n in (40, 128, 500):
        mean, variance = resown_moments(own, n)
        wanted = tray_total_moments(n, 128, 0.85)
        assert float(mean) == pytest.approx(float(wanted[0]))
        assert float(variance) == pytest.approx(float(wanted[1]))


def test_loss_is_the_mean_over_a_normal_count():
    stakes = Stakes(100.0, 2.0, 0.0, 0.0, 0.0)
    x = np.arange(0, 200)
    chance = np.diff(stats.norm.cdf(np.append(x, 200) - 0.5, 80.0, 9.0))
    by_hand = chance @ (100.0 * (x < 85) + 2.0 * np.maximum(85 - x, 0))
    assert float(expected_loss(80.0, 81.0, 85, stakes)) == pytest.approx(by_hand, rel=2e-3)


def test_cells_to_resow_reach_the_confidence_and_some_fewer_do_not():
    sowing = made(entries=(count("S", 20, 900),))
    own = way(sowing, later_d=0.0)  # as soon as the first, so that only plants matter
    _, parts = parts_of([sowing], [order(1000, latest=60, earliest=30)], 21, [own])
    n, reaches = cells_to_resow(parts, [own], np.array([0.9]))
    assert reaches[0]
    for cells, enough in ((n[0], True), (n[0] - 5, False)):
        second = second_of([own], np.array([cells]), ONLY_MISSED)
        _, missed = part_losses(parts, np.array([0]), second, ONLY_MISSED)
        # Given that it is in time, which is as good as sure here.
        assert bool(1.0 - parts.weight[0] @ missed[0] >= 0.8995) is enough


def test_cells_to_resow_agree_with_drawn_counts():
    sowing = made(entries=(count("S", 20, 500),), tray_loss_frac=0.0)
    own = way(sowing, later_d=0.0, tray_loss_frac=0.0)
    batch, parts = parts_of([sowing], [order(1000, latest=70, earliest=30)], 21, [own])
    n, _ = cells_to_resow(parts, [own], np.array([0.9]))
    rng = np.random.default_rng(5)
    mass = batch.posterior.mass[0].ravel()
    cell = rng.choice(mass.size, 40_000, p=mass)
    mean, variance = (
        each[0].ravel()[cell] for each in (batch.outlook.mean, batch.outlook.variance)
    )
    first = rng.normal(mean, np.sqrt(variance))
    share = np.clip(rng.normal(0.85, 0.02, cell.size), 0.0, 1.0)
    second = np.zeros(cell.size)
    weight = (1 - own.rho_tray) / own.rho_tray
    left = int(n[0])
    while left > 0:
        m = min(left, 128)
        second += rng.binomial(m, rng.beta(weight * share, weight * (1 - share)))
        left -= m
    assert np.mean(first + second >= 999.5) == pytest.approx(0.9, abs=0.01)


def test_with_too_little_seed_the_confidence_is_not_reached():
    sowing = made(entries=(count("S", 18, 300),))
    own = way(sowing, cells_most=100)
    _, parts = parts_of([sowing], [order(1000)], 13, [own])
    n, reaches = cells_to_resow(parts, [own], np.array([0.9]))
    assert n[0] == 100
    assert not reaches[0]


def test_a_dead_lot_is_called_short_and_a_good_one_is_not():
    asked = order(1000, earliest=30, latest=56)
    dead = made(entries=(count("S", 18, 200),))
    good = made(entries=(count("S", 18, 1200),))
    assert _advice(dead, asked, 19, way(dead)).short
    advice = _advice(good, asked, 19, way(good))
    assert not advice.short
    assert advice.chance_now_frac > 0.9


def test_in_doubt_it_waits_until_the_last_call():
    asked = order(1070, earliest=30, latest=49)
    sowing = made(entries=(count("S", 13, 1180),))
    rule = ResowRule(now_frac=0.3, last_frac=0.7)
    waiting = _advice(sowing, asked, 14, way(sowing), rule=rule)
    assert 0.3 < waiting.chance_now_frac < 0.7
    assert not waiting.short
    assert not waiting.is_last_call
    called = _advice(sowing, asked, 14, way(sowing), rule=rule, next_look=17)
    assert called.last.day == 15
    assert called.is_last_call
    assert called.short
    assert called.chance_with_frac > called.chance_now_frac


def test_after_the_last_useful_day_it_is_called_short_but_not_resown():
    asked = order(1000, earliest=30, latest=40)
    dead = made(entries=(count("S", 18, 200),))
    advice = _advice(dead, asked, 19, way(dead))
    assert advice.last.day < 19
    assert advice.short
    assert not advice.pays


def test_a_resowing_must_pay_for_itself():
    asked = order(1000, earliest=30, latest=56)
    dead = made(entries=(count("S", 18, 200),))
    _, parts = parts_of([dead], [asked], 19, [way(dead)])
    dear = replace(STAKES, resow_cell=10.0)
    advice = advise_resowing(parts, [[way(dead)]], [56], [0.9], 19, 20, dear)[0]
    assert advice.gain < 0.0
    assert advice.short
    assert not advice.pays


def test_gain_is_what_leaving_loses_more_than_resowing():
    asked = order(1000, earliest=30, latest=56)
    dead = made(entries=(count("S", 18, 200),))
    advice = _advice(dead, asked, 19, way(dead))
    missed_less = advice.chance_with_frac - advice.chance_now_frac
    assert advice.cost == pytest.approx(60.0 + 0.3 * advice.n_cells)
    assert advice.gain > 300.0 * missed_less - advice.cost  # fewer plants short beside that


def test_without_a_way_there_is_only_the_chance():
    sowing = made()
    _, parts = parts_of([sowing], [order(1000)], 13, [None])
    advice = advise_resowing(parts, [[]], [38], [0.9], 13, 14, STAKES)[0]
    assert (advice.n_cells, advice.lot, advice.short) == (0, "", False)
    assert advice.last.day is None


def test_impossible_rules_and_ways_are_refused():
    with pytest.raises(OutOfRangeError, match="now_frac must be from 0 to 1"):
        ResowRule(now_frac=1.5)
    with pytest.raises(OutOfRangeError, match="short_plant must be 0 or more"):
        Stakes(1.0, -1.0, 0.0, 0.0, 0.0)
    own = way(made())
    with pytest.raises(OutOfRangeError, match="usable_frac of other lot"):
        replace(own, usable_frac=0.0)
    with pytest.raises(OutOfRangeError, match="ready_day of other lot"):
        replace(own, ready_day=own.ready_day[1:])
    with pytest.raises(OutOfRangeError, match="overgrown_day of other lot"):
        replace(own, overgrown_day=own.overgrown_day[1:])
