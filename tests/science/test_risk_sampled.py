"""The order's risk against a plain simulation of the same model, written without its code.

Every draw makes a season: weather node, one germination a lot from the test's exact Beta
posterior, one pace a crop from the normal distribution; then every tray, its share of usable
cells, its loss; then days are tried one by one.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from sowbench.science.quadrature import normal_nodes
from sowbench.science.risk import OrderNeed, Share, SowingRisk, order_chances, season_chances
from sowbench.science.stand import cell_ok_prob, lot_nodes

N_DRAWS = 20_000
W_NODES, W_WEIGHTS = normal_nodes(5)
Z_NODES, _ = normal_nodes(9)


def instance(seed):
    """Make a random order with its sowings; returns what both sides need to know."""
    rng = np.random.default_rng(seed)
    n_sowings = int(rng.choice([1, 1, 2, 2, 3]))
    n_lots = int(rng.integers(1, n_sowings + 1))
    tests = [
        (int(n), int(n * g))
        for n, g in zip(
            rng.choice([20, 50, 100, 400], n_lots), rng.uniform(0.6, 0.98, n_lots), strict=True
        )
    ]
    size = int(rng.choice([8, 30, 120, 500, 3000]))
    sowings, shares = [], []
    plenty = float(n_sowings) if rng.random() < 0.4 else 1.0  # each sowing could fill it alone
    for s in range(n_sowings):
        part = max(size // n_sowings, 1)
        shared = rng.random() < 0.35
        before = int(rng.integers(0, part)) if shared else 0
        last = bool(rng.random() < 0.5) if shared else True
        after = 0 if last else int(rng.integers(1, part + 1))
        sowings.append(
            {
                "lot": int(s % n_lots),
                "seeds": int(rng.integers(1, 4)),
                "w_effect": float(rng.uniform(0.0, 0.06)),
                "rest": float(rng.uniform(0.8, 0.98)),
                "per_tray": int(rng.choice([1, 6, 18, 72, 128] if size < 500 else [72, 128, 288])),
                "cells": max(int((part + before + after) * rng.uniform(1.05, 1.4) * plenty), 1),
                "ready": float(rng.uniform(30, 36)),
                "w_days": float(rng.uniform(0.0, 3.0)),
                "z_days": float(rng.uniform(0.3, 3.0)),
                "bend": float(rng.uniform(0.0, 0.4)),
                "window": float(rng.uniform(1.0, 8.0)),
                "rho": float(rng.choice([0.0, 0.015, 0.05])),
                "loss": float(rng.choice([0.0, 0.005, 0.05])),
                "never": bool(rng.random() < 0.15),
            }
        )
        shares.append(Share(s, before, part, last=last))
    earliest = int(rng.integers(30, 37))
    order = OrderNeed(
        tuple(shares),
        wanted=size,
        need=math.ceil(size * float(rng.choice([1.0, 1.0, 0.9]))),
        earliest_day=earliest,
        latest_day=earliest + int(rng.integers(0, 7)),
        partial=bool(rng.random() < 0.3),
    )
    return tests, sowings, order


def usable_of(sowing, p, w):
    """Usable share at germination p and weather w."""
    return np.clip(
        cell_ok_prob(sowing["seeds"], p * (1 - sowing["w_effect"] * np.abs(w)), 1)
        * sowing["rest"], 0, 1,
    )  # fmt: skip


def days_at_nodes(sowing):
    """Ready and overgrown days, bent in z, at all nodes."""
    z = Z_NODES[None, :]
    ready = (
        sowing["ready"]
        - sowing["w_days"] * W_NODES[:, None]
        + sowing["z_days"] * (z + sowing["bend"] * np.maximum(z, 0))
    )
    over = ready + sowing["window"] * (1 + 0.1 * (z - Z_NODES[0]))
    if sowing["never"]:
        ready[:, 7:] = np.inf
        over[:, 6:] = np.inf
    return ready, over


def straight(z, days):
    """Day at pace z, straight between nodes and beyond; never from the first infinite node on."""
    finite = int(np.isfinite(days).sum())
    day = np.interp(z, Z_NODES[:finite], days[:finite])
    low = days[0] + (z - Z_NODES[0]) * (days[1] - days[0]) / (Z_NODES[1] - Z_NODES[0])
    a, b = finite - 2, finite - 1
    high = days[b] + (z - Z_NODES[b]) * (days[b] - days[a]) / (Z_NODES[b] - Z_NODES[a])
    day = np.where(z < Z_NODES[0], low, np.where(z > Z_NODES[b], high, day))
    return np.where(z >= Z_NODES[finite], np.inf, day) if finite < Z_NODES.size else day


def play(seed, tests, sowings, order):
    """Draw seasons; returns means and standard errors of the four figures."""
    rng = np.random.default_rng(seed + 10_000)
    node = rng.choice(5, size=N_DRAWS, p=W_WEIGHTS)
    p_of = [rng.beta(k + 1, n - k + 1, N_DRAWS) for n, k in tests]
    z = rng.standard_normal(N_DRAWS)
    got, good = [], []
    window = range(order.earliest_day, order.latest_day + 1)
    for sowing, share in zip(sowings, order.shares, strict=True):
        u = usable_of(sowing, p_of[sowing["lot"]], W_NODES[node])
        n, left = np.zeros(N_DRAWS), sowing["cells"]
        while left > 0:
            cells = min(left, sowing["per_tray"])
            left -= cells
            q = u
            if sowing["rho"] > 0:
                size = 1 / sowing["rho"] - 1
                q = rng.beta(np.maximum(u * size, 1e-9), np.maximum((1 - u) * size, 1e-9))
            n += rng.binomial(cells, q) * (rng.random(N_DRAWS) >= sowing["loss"])
        rest = np.maximum(n - share.before, 0)
        got.append(rest if share.last else np.minimum(rest, share.share))
        ready, over = days_at_nodes(sowing)
        r, o = np.empty(N_DRAWS), np.empty(N_DRAWS)
        for w in range(5):
            r[node == w] = straight(z[node == w], ready[w])
            o[node == w] = straight(z[node == w], np.maximum(over[w], ready[w] + 1))
        good.append(np.array([(r <= d) & (d < o) for d in window]))
    given, fit = np.array(got), np.array(good)  # (S, draws), (S, D, draws)
    enough = given.sum(axis=0) >= order.need
    if order.partial:
        some = fit.any(axis=1)
        in_time = some.all(axis=0)
        filled = (given * some).sum(axis=0) >= order.need
    else:
        in_time = fit.all(axis=0).any(axis=0)
        filled = ((given[:, None] * fit).sum(axis=0) >= order.need).any(axis=0)
    short = np.maximum(order.wanted - given.sum(axis=0), 0)
    figures = np.array([enough, in_time, filled, short], dtype=float)
    return figures.mean(axis=1), figures.std(axis=1) / math.sqrt(N_DRAWS)


def risk_of(tests, sowings):
    """Put the same sowings in the form that the closed calculation takes."""
    risks = []
    for sowing in sowings:
        n, k = tests[sowing["lot"]]
        p, weights = lot_nodes(k, n)
        ready, over = days_at_nodes(sowing)
        risks.append(SowingRisk(
            sowing["lot"], 0, sowing["cells"], sowing["per_tray"],
            usable_of(sowing, p[None, :], W_NODES[:, None]), weights, ready, over,
            sowing["rho"], sowing["loss"],
        ))  # fmt: skip
    return risks


@pytest.mark.parametrize("seed", range(36))
def test_chances_agree_with_a_plain_simulation(seed):
    tests, sowings, order = instance(seed)
    found = order_chances(order, risk_of(tests, sowings))
    mean, error = play(seed, tests, sowings, order)
    for name, value, played, standard_error in zip(found._fields, found, mean, error, strict=True):
        allowed = 4 * standard_error + (0.005 if name != "expected_short" else 0.002 * order.wanted)
        assert abs(value - played) <= allowed, (name, value, played, standard_error, order)


def test_many_orders_at_once_give_the_same_as_one_by_one():
    orders: list[OrderNeed] = []
    risks: list[SowingRisk] = []
    for seed in (2, 5, 11):
        tests, sowings, order = instance(seed)
        moved = tuple(Share(s.sowing + len(risks), s.before, s.share, s.last) for s in order.shares)
        orders.append(OrderNeed(
            moved, order.wanted, order.need, order.earliest_day, order.latest_day, order.partial
        ))  # fmt: skip
        risks += risk_of(tests, sowings)
    together = season_chances(orders, risks)
    assert together == [order_chances(order, risks) for order in orders]
