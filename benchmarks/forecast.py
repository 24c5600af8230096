"""Forecasts of many open sowings against a general sampler of the same model, and their coverage.

    python -m benchmarks.forecast [--sowings 10000] [--sampled 8] [--steps 2000] [--drawn 2000]

Times are of the processor, all of one run. The sampler (emcee) takes a few of the sowings and is
scaled by their number; both are held against a sum over a fine fixed grid with a general library's
distributions. Coverage: sowings are drawn from what the forecast believes, cell by cell.
"""

from __future__ import annotations

import argparse
import os
import sys
import time

import emcee
import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.special import betaln, gammaln, ndtr

from benchmarks.forecast_world import (
    DAY,
    GOAL_CD,
    SIGMA_PACE,
    SIGMA_SEED,
    counted_once,
    drawn_sowing,
)
from sowbench.forecasting import OpenOrder, OpenSowing, forecast_sowings
from sowbench.forecasting.days import ready_chance
from sowbench.science.quadrature import normal_nodes
from sowbench.science.tray_process import usable_moments

Floats = NDArray[np.float64]

N_TRAYS, N_CELLS, ODD_LOT = 10, 128, 0.01
_WALKERS, _BURN = 24, 300


class Model:
    """The same model of one sowing, written plainly: trays counted once each, weather measured.

    Parameters
    ----------
    sowing : OpenSowing
        The sowing.
    order : OpenOrder
        Its order.
    """

    def __init__(self, sowing: OpenSowing, order: OpenOrder) -> None:
        self.sowing, self.order = sowing, order
        counts = sowing.entries[1:]
        self.n = np.array([each.n for each in counts], dtype=np.float64)
        days = np.array([(each.day_date - DAY).days for each in counts])
        self.log_ahead = np.log(10.0 * days / GOAL_CD)
        self.weight = (1.0 - sowing.rho_tray) / sowing.rho_tray
        test = sowing.test
        self.test = test.n_normal + 1.0, test.n_tested - test.n_normal + 1.0

    def shares(self, z: Floats, p: Floats) -> Floats:
        """Share of cells right at each count, shape (..., C)."""
        up = ndtr((self.log_ahead - SIGMA_PACE * z[..., None]) / SIGMA_SEED)
        return np.asarray(np.clip(0.95 * p[..., None] * up, 1e-11, 1.0 - 1e-11))

    def log_posterior(self, at: Floats) -> Floats:
        """Logarithm of the posterior density at points (z, p), shape (N,), for the sampler."""
        z, p = at[:, 0], at[:, 1]
        inside = (p > 0.0) & (p < 1.0)
        safe = np.where(inside, p, 0.5)
        a, b = self.test
        beta = np.exp((a - 1) * np.log(safe) + (b - 1) * np.log1p(-safe) - betaln(a, b))
        share = self.shares(z, safe)
        one, two = self.weight * share, self.weight * (1.0 - share)
        log = (
            gammaln(self.n + one) - gammaln(one)
            + gammaln(N_CELLS - self.n + two) - gammaln(two)
        ).sum(axis=1)  # fmt: skip
        total = log - 0.5 * z**2 + np.log((1.0 - ODD_LOT) * beta + ODD_LOT)
        return np.where(inside, total, -np.inf)

    def filled(self, z: Floats, p: Floats) -> Floats:
        """Chance that the order is filled, given pace and germination."""
        sowing, need = self.sowing, self.order.need
        end = 0.95 * p * sowing.on_time_frac
        found = [
            usable_moments(n, N_CELLS, 0, self.weight, self.shares(z, p)[..., i], end,
                           sowing.kept_frac)
            for i, n in enumerate(self.n)
        ]  # fmt: skip
        rest = usable_moments(0, 0, N_CELLS, self.weight, end, end, sowing.kept_frac)
        found += [rest] * (N_TRAYS - self.n.size)
        mean, variance = (sum(each[i] for each in found) for i in range(2))
        enough = np.zeros_like(z)
        loss = sowing.tray_loss_frac
        for lost in range(3):
            way = stats.binom.pmf(lost, N_TRAYS, loss)
            stay = 1.0 - lost / N_TRAYS
            enough += way * ndtr((mean * stay - need.need + 0.5) / np.sqrt(variance * stay))
        z_nodes, _ = normal_nodes(sowing.ready_day.shape[1])
        late, early = (
            np.interp(day, line[0], z_nodes)
            for day, line in ((need.latest_day, sowing.ready_day),
                              (need.earliest_day, sowing.overgrown_day))
        )  # fmt: skip
        return np.asarray(enough * ((z <= late) & (z > early)))

    def by_grid(self, n_z: int = 801, n_p: int = 601) -> float:
        """Chance that the order is filled by a sum over a fixed fine grid."""
        z = np.linspace(-4.5, 4.5, n_z)[:, None]
        p = (np.linspace(0.5, n_p - 0.5, n_p) / n_p)[None, :]
        log = stats.norm.logpdf(z) + np.log(
            (1.0 - ODD_LOT) * stats.beta.pdf(p, *self.test) + ODD_LOT
        )
        up = ndtr((self.log_ahead - SIGMA_PACE * z[..., None]) / SIGMA_SEED)
        for i, n in enumerate(self.n.astype(int).tolist()):
            share = np.clip(0.95 * p * up[..., i], 1e-11, 1.0 - 1e-11)
            one, two = self.weight * share, self.weight * (1.0 - share)
            log = log + stats.betabinom.logpmf(n, N_CELLS, one, two)
        mass = np.exp(log - log.max())
        heavy = np.nonzero(mass > 1e-9)
        wide_z, wide_p = (np.broadcast_to(each, mass.shape)[heavy] for each in (z, p))
        return float(mass[heavy] @ self.filled(wide_z, wide_p) / mass.sum())

    def by_sampler(self, steps: int, seed: int) -> float:
        """Chance that the order is filled as the mean over a sampler's draws."""
        rng = np.random.default_rng(seed)
        sampler = emcee.EnsembleSampler(_WALKERS, 2, self.log_posterior, vectorize=True)
        sampler.random_state = np.random.RandomState(seed).get_state()
        start = np.column_stack(
            [0.3 * rng.standard_normal(_WALKERS), rng.beta(*self.test, _WALKERS)]
        )
        sampler.run_mcmc(start, _BURN + steps)
        drawn = sampler.get_chain(discard=_BURN, flat=True)
        return float(self.filled(drawn[:, 0], drawn[:, 1]).mean())


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sowings", type=int, default=10_000)
    parser.add_argument("--counts", type=int, default=8)
    parser.add_argument("--sampled", type=int, default=8)
    parser.add_argument("--steps", type=int, default=2_000)
    parser.add_argument("--drawn", type=int, default=2_000)
    asked = parser.parse_args()
    say = sys.stdout.write
    sowings, orders = counted_once(asked.sowings, asked.counts)
    forecast_sowings(sowings[:3], orders[:3])
    begin, wall = time.process_time(), time.perf_counter()
    found = forecast_sowings(sowings, orders)
    own_s, own_wall_s = time.process_time() - begin, time.perf_counter() - wall
    load = os.getloadavg()[0]
    models = [Model(*each) for each in zip(sowings, orders, strict=True)][: asked.sampled]
    exact = np.array([each.by_grid() for each in models])
    own = np.array([each.chance_filled_frac for each in found.orders[: len(models)]])
    begin = time.process_time()
    sampled = np.array([each.by_sampler(asked.steps, i) for i, each in enumerate(models)])
    sampler_s = (time.process_time() - begin) / len(models) * asked.sowings
    own_error, error = (float(np.sqrt(np.mean((each - exact) ** 2))) for each in (own, sampled))
    say(f"{asked.sowings} open sowings, {asked.counts} counts and an order each; load {load:.1f}\n")
    say(f"all together   {own_s:10.2f} s of the processor, {own_wall_s:.2f} s by the clock\n")
    say(
        f"               {own_error:10.5f} error of the chance of being filled (root mean square)\n"
    )
    say(f"sampler        {sampler_s:10.0f} s, from {len(models)} of them, {asked.steps} steps of "
        f"{_WALKERS} walkers; {error:.5f} error\n")  # fmt: skip
    say(f"as it is       {sampler_s / own_s:10.0f} x\n")
    scale = max((error / max(own_error, 1e-9)) ** 2, 1e-9)
    say(f"equally exact  {sampler_s * scale / own_s:10.0f} x (error falls as the root of steps)\n")
    if asked.drawn:
        say(coverage(asked.drawn))


def coverage(n_drawn: int) -> str:
    """Say how often intervals of 80 % hold for sowings drawn from the forecast's own beliefs."""
    rng = np.random.default_rng(20261125)
    drawn = [drawn_sowing(rng, f"S{i}") for i in range(n_drawn)]
    found = forecast_sowings([each.sowing for each in drawn])
    batch = found.batch
    if batch is None:
        return ""
    ends = batch.outlook.quantiles((0.1, 0.9))
    usable = np.array([each.n_usable for each in drawn])
    # Both ends are the least number with so much at or below it: their slips cancel.
    plants = (usable > ends[:, 0]) & (usable <= ends[:, 1])
    day = np.array([each.ready_day for each in drawn])
    days = np.stack([each.sowing.ready_day for each in drawn])
    below = ready_chance(batch.prior, batch.posterior, days, day)
    ready = (below > 0.1) & (below < 0.9)
    other = np.array([each.way == 1 for each in drawn])
    return (
        f"{n_drawn} drawn sowings: plants within 80 % in {plants.mean():.1%}, day in "
        f"{ready.mean():.1%}; trays counted whole {plants[~other].mean():.1%} and "
        f"{ready[~other].mean():.1%}, with samples of cells {plants[other].mean():.1%} and "
        f"{ready[other].mean():.1%}\n"
    )


if __name__ == "__main__":
    main()
