"""Forecasts of many open sowings at once, against the same model in a plain loop.

    python -m benchmarks.forecast [--sowings 500] [--counts 8]

Times are of the processor; the ratio is of one run. The plain loop integrates each sowing on a
grid of its own with a general library's beta-binomial, and gives the same stand and lag.
"""

from __future__ import annotations

import argparse
import sys
import time
from datetime import date, timedelta

import numpy as np
from scipy import stats

from sowbench.domain.journal import Entry, EntryKind
from sowbench.forecasting import (
    CellRule,
    LotTest,
    OpenOrder,
    OpenSowing,
    Pace,
    forecast_sowings,
)
from sowbench.science.quadrature import normal_nodes
from sowbench.science.risk import OrderNeed, Share

DAY = date(2027, 3, 1)
GOAL_CD, SIGMA_SEED, SIGMA_PACE = 80.0, 0.18, 0.25
N_TRAYS, N_CELLS, N_LOOP = 10, 128, 40
CHECKED_WITHIN = 0.01


def invented(
    n_sowings: int, n_counts: int, seed: int = 0
) -> tuple[list[OpenSowing], list[OpenOrder]]:
    """Invent open sowings, each counted tray by tray, with an order each."""
    rng = np.random.default_rng(seed)
    z, _ = normal_nodes(9)
    hours = np.arange(0.0, 24 * 60 + 1, 6.0)
    progress = np.tile(10.0 * hours / 24, (1, 1))
    ready = np.tile(GOAL_CD * np.exp(SIGMA_PACE * z) / 10.0 + 25 * np.exp(0.1 * z), (5, 1))
    sowings, orders = [], []
    for i in range(n_sowings):
        share, lag = 0.95 * rng.beta(191, 11), SIGMA_PACE * rng.standard_normal()
        name = f"S{i}"
        entries = [
            Entry(f"{name} sown", DAY, EntryKind.SOWN, name, n=N_TRAYS * N_CELLS,
                  n_containers=N_TRAYS, values={"n_cells_per_tray": N_CELLS})
        ]  # fmt: skip
        for tray in range(1, n_counts + 1):
            day = int(rng.integers(6, 16))
            up = share * stats.norm.cdf((np.log(10.0 * day / GOAL_CD) - lag) / SIGMA_SEED)
            n = int(rng.binomial(N_CELLS, up))
            entries.append(
                Entry(f"{name} {tray}", DAY + timedelta(days=day), EntryKind.COUNTED, name, n=n,
                      trays=(tray,))
            )  # fmt: skip
        sowings.append(
            OpenSowing(
                name, "L", "tomato", DAY, LotTest(190, 200), Pace(GOAL_CD, SIGMA_SEED, SIGMA_PACE),
                CellRule(), hours, progress, np.ones(5), ready, ready + 8.0, tuple(entries),
            )
        )  # fmt: skip
        need = OrderNeed((Share(i, 0, 1000),), 1000, 1000, 32, 38)
        orders.append(OpenOrder(f"O{i}", need))
    return sowings, orders


def plain(sowing: OpenSowing, n_stand: int = 100, n_lag: int = 160) -> tuple[float, float]:
    """Mean stand and lag of one sowing by a plain sum over a fixed grid."""
    p = np.linspace(0.6, 0.9995, n_stand)[:, None]
    lag = np.linspace(-1.2, 1.2, n_lag)[None, :]
    log = stats.beta.logpdf(p, 191, 11) + stats.norm.logpdf(lag, 0.0, SIGMA_PACE)
    weight = (1 - sowing.rho_tray) / sowing.rho_tray
    for each in sowing.entries[1:]:
        day = (each.day_date - DAY).days
        z = (np.log(10.0 * day / GOAL_CD) - lag) / SIGMA_SEED
        up = np.clip(0.95 * p * stats.norm.cdf(z), 1e-12, 1 - 1e-12)
        log = log + stats.betabinom.logpmf(each.n or 0, N_CELLS, weight * up, weight * (1 - up))
    mass = np.exp(log - log.max())
    mass /= mass.sum()
    return float((mass * p).sum() * 0.95), float((mass * lag).sum())


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sowings", type=int, default=500)
    parser.add_argument("--counts", type=int, default=8)
    asked = parser.parse_args()
    sowings, orders = invented(asked.sowings, asked.counts)
    forecast_sowings(sowings[:3], orders[:3])
    begin = time.process_time()
    found = forecast_sowings(sowings, orders)
    together_s = time.process_time() - begin
    some = sowings[: min(N_LOOP, len(sowings))]
    begin = time.process_time()
    for each in some:
        forecast_sowings([each])
    alone_s = (time.process_time() - begin) / len(some) * len(sowings)
    begin = time.process_time()
    by_loop = [plain(each) for each in some]
    loop_s = (time.process_time() - begin) / len(some) * len(sowings)
    posterior = found.batch.posterior if found.batch is not None else None
    worst = 0.0
    for row, (stand, lag) in enumerate(by_loop):
        if posterior is not None:
            mass = posterior.mass[row]
            off_stand = abs(float(mass.sum(axis=0) @ posterior.stand[row]) - stand)
            off_lag = abs(float(mass.sum(axis=1) @ posterior.lag[row]) - lag)
            worst = max(worst, off_stand, off_lag)
    say = sys.stdout.write
    say(f"{len(sowings)} open sowings, {asked.counts} counts each, an order each\n")
    say(f"all together            {together_s:8.2f} s of the processor\n")
    say(f"one by one              {alone_s:8.2f} s, {alone_s / together_s:.1f} x\n")
    say(f"plain loop, 100 x 160   {loop_s:8.2f} s, {loop_s / together_s:.1f} x (posterior only)\n")
    say(f"largest difference of mean stand or lag from the plain loop: {worst:.4f}\n")
    if worst > CHECKED_WITHIN:
        raise SystemExit(f"the two differ by {worst:.4f}, more than {CHECKED_WITHIN}")


if __name__ == "__main__":
    main()
