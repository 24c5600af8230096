"""Partial pooling against a sampler of the same model on the same data.

    python -m benchmarks.learning [--sowings 30 120] [--samples 2000] [--seed 1]
    python -m benchmarks.learning --worlds 36

The sampler is NumPyro's NUTS (install ``numpyro``; it is not among the extras, since it brings a
compiler along). Times are of the processor; the sampler's is without compiling. Differences are in
posterior standard deviations of the sampler. With ``--worlds`` houses are drawn from the model, and
each of their 60 sowings is foretold from those that had ended before: how many came within 80 %.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sowbench.forecasting.learning import own_doubt
from sowbench.forecasting.learning_hindsight import Foretold, foretell, score_foretold
from sowbench.forecasting.learning_pool import DEGREES, Levels, Pooled, pool
from sowbench.forecasting.learning_records import SCALES_PACE, FinishedSowing, Reading

Floats = NDArray[np.float64]

N_KIN, N_CROPS, N_CONTAINERS, N_PLACES, N_SEASONS = 5, 14, 3, 4, 3
DOUBT = 0.18
ODD_FRAC = 0.05


@dataclass(frozen=True)
class World:
    """Readings drawn from the model, with some odd ones."""

    value: Floats
    variance: Floats
    levels: Levels


def drawn(n: int, seed: int) -> World:
    """Draw a house's readings.

    Parameters
    ----------
    n : int
        Readings.
    seed : int
        Where chance starts.

    Returns
    -------
    world : World
        The readings.
    """
    rng = np.random.default_rng(seed)
    crop = rng.integers(0, N_CROPS, n)
    season = rng.integers(0, N_SEASONS, n)
    parts = [
        np.zeros(n, np.int64),
        crop % N_KIN,
        crop,
        rng.integers(0, N_CONTAINERS, n),
        rng.integers(0, N_PLACES, n),
        crop * N_SEASONS + season,
    ]
    sizes, columns = [], []
    for part in parts:
        names, index = np.unique(part, return_inverse=True)
        sizes.append(names.size)
        columns.append(index)
    index = np.stack(columns, axis=1).astype(np.int64)
    loading = np.ones(index.shape)
    loading[:, :3] = DOUBT
    s = SCALES_PACE
    scales = (s.house, s.kin, s.crop, s.container, s.place, s.season)
    eta = np.zeros(n)
    for level, (size, scale) in enumerate(zip(sizes, scales, strict=True)):
        effects = rng.normal(0.0, scale, size)
        eta += loading[:, level] * effects[index[:, level]]
    variance = rng.uniform(0.01, 0.08, n) ** 2
    value = eta + np.sqrt(s.sowing**2 + variance) * rng.standard_t(DEGREES, n)
    odd = rng.random(n) < ODD_FRAC
    value[odd] += rng.choice([-0.8, 0.8], odd.sum())
    levels = Levels(index, loading, tuple(sizes), scales, (True, *(False,) * 5))
    return World(value, variance, levels)


def sampled(world: World, n_samples: int, seed: int) -> tuple[Floats, float]:
    """Sample the same model.

    Parameters
    ----------
    world : World
        The readings.
    n_samples : int
        Draws kept of each of four chains, and as many to tune.
    seed : int
        Where chance starts.

    Returns
    -------
    draws : ndarray, shape (draws, p)
        Effects.
    seconds : float
        Time of the processor without compiling [s].
    """
    import jax
    import numpyro
    import numpyro.distributions as dist
    from numpyro.infer import MCMC, NUTS

    numpyro.enable_x64()
    levels = world.levels
    first = levels.first

    def model() -> None:
        parts = []
        for level, size in enumerate(levels.sizes):
            scale = levels.scales[level]
            tau = (
                scale
                if levels.fixed[level]
                else numpyro.sample(f"tau{level}", dist.HalfNormal(scale))
            )
            z = numpyro.sample(f"z{level}", dist.Normal(0, 1).expand([size]).to_event(1))
            parts.append(tau * z)
        effects = numpyro.deterministic("effects", jax.numpy.concatenate(parts))
        s = numpyro.sample("s", dist.HalfNormal(SCALES_PACE.sowing))
        eta = (effects[levels.index + first] * levels.loading).sum(axis=1)
        spread = jax.numpy.sqrt(s**2 + world.variance)
        numpyro.sample("y", dist.StudentT(DEGREES, eta, spread), obs=world.value)

    kernel = NUTS(model, target_accept_prob=0.95)
    runner: Any = MCMC(
        kernel, num_warmup=n_samples, num_samples=n_samples, num_chains=4,
        chain_method="sequential", progress_bar=False,
    )  # fmt: skip
    runner.run(jax.random.PRNGKey(seed))  # compiles
    began = time.process_time()
    runner.run(jax.random.PRNGKey(seed + 1))
    draws = np.asarray(runner.get_samples()["effects"])
    return draws, time.process_time() - began


def compared(world: World, pooled: Pooled, draws: Floats) -> tuple[Floats, Floats]:
    """Compare what plans use: the sum of effects of each crop, container and place that was seen.

    Parameters
    ----------
    world : World
        The readings.
    pooled : Pooled
        Ours.
    draws : ndarray, shape (draws, p)
        The sampler's.

    Returns
    -------
    mean_off : ndarray
        Differences of means in the sampler's standard deviations.
    sd_ratio : ndarray
        Our standard deviation over the sampler's.
    """
    columns = world.levels.index + world.levels.first
    # Without the season: what is known of the next one.
    rows = np.unique(np.column_stack([columns[:, :5], world.levels.index[:, 2]]), axis=0)[:, :5]
    off, ratio = [], []
    for row in rows:
        x = np.zeros(pooled.mean.size)
        x[row[:3]] += DOUBT
        x[row[3:]] += 1.0
        mean, variance = pooled.moments(x)
        theirs = draws @ x
        off.append((mean - theirs.mean()) / theirs.std())
        ratio.append(np.sqrt(variance) / theirs.std())
    return np.array(off), np.array(ratio)


def foretold_in_world(seed: int, n: int = 60, sigma: float = 0.25) -> tuple[Foretold, ...]:
    """Draw a house with its spreads from the model, and foretell its sowings one after the other.

    Parameters
    ----------
    seed : int
        Where chance starts.
    n : int, default 60
        Sowings, one in two weeks.
    sigma : float, default 0.25
        The handbook's doubt about every crop.

    Returns
    -------
    foretold : tuple of Foretold
        One a sowing.
    """
    rng = np.random.default_rng(seed)
    s = SCALES_PACE
    own = own_doubt(sigma, s)[0]
    spreads = [
        abs(rng.normal(0.0, each))
        for each in (s.kin, s.crop, s.container, s.place, s.season, s.sowing)
    ]
    kin, crop, container, place, season, sowing = spreads
    house = rng.normal(0.0, s.house)
    of_kin, of_crop = rng.normal(0.0, kin, 4), rng.normal(0.0, crop, 9)
    of_container, of_place = rng.normal(0.0, container, 2), rng.normal(0.0, place, 3)
    of_season: dict[tuple[int, int], float] = {}
    error = 0.03
    every = []
    for at in range(n):
        c, t, p = rng.integers(9), int(rng.random() < 0.4), rng.integers(3)
        day = date(2025, 2, 1) + timedelta(days=14 * at)
        key = (int(c), day.year)
        if key not in of_season:
            of_season[key] = rng.normal(0.0, season)
        value = own * (house + of_kin[c % 4] + of_crop[c]) + of_container[t] + of_place[p]
        value += of_season[key] + np.hypot(sowing, error) * rng.standard_t(DEGREES)
        every.append(
            FinishedSowing(
                f"S{at}", f"crop {c}", f"kin {c % 4}", ("plug", "cube")[t], f"bench {p}", day,
                day + timedelta(days=40), sigma, 0.3, Reading(float(value), error**2),
            )
        )  # fmt: skip
    return foretell(every, cuts_most=10)


def main() -> int:
    """Compare, and print a table.

    Returns
    -------
    status : int
        0.
    """
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sowings", type=int, nargs="+", default=[12, 60, 300])
    parser.add_argument("--samples", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--worlds", type=int, default=0)
    asked = parser.parse_args()
    if asked.worlds:
        told = [each for seed in range(asked.worlds) for each in foretold_in_world(seed)]
        score = score_foretold(told)
        sys.stdout.write(
            f"{score.learned.n} sowings of {asked.worlds} houses: within 80 % were "
            f"{100 * score.learned.within_frac:.1f} %, by the handbook "
            f"{100 * score.handbook.within_frac:.1f} %; CRPS saved {100 * score.skill_frac:.0f} %\n"
        )
        return 0
    head = ("sowings", "mean off, largest", "mean off, typical", "sd ratio", "ours s", "NUTS s",
            "times faster")  # fmt: skip
    sys.stdout.write("| " + " | ".join(head) + " |\n|" + "---|" * len(head) + "\n")
    for n in asked.sowings:
        world = drawn(n, asked.seed)
        scale = SCALES_PACE.sowing
        pool(world.value, world.variance, world.levels, scale)
        began = time.process_time()
        pooled = pool(world.value, world.variance, world.levels, scale)
        ours_s = time.process_time() - began
        draws, theirs_s = sampled(world, asked.samples, asked.seed)
        off, ratio = compared(world, pooled, draws)
        row = (
            f"{n}",
            f"{np.abs(off).max():.3f} sd",
            f"{np.median(np.abs(off)):.3f} sd",
            f"{ratio.min():.2f} to {ratio.max():.2f}",
            f"{ours_s:.2f}",
            f"{theirs_s:.1f}",
            f"{theirs_s / ours_s:.0f}",
        )
        sys.stdout.write("| " + " | ".join(row) + " |\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
