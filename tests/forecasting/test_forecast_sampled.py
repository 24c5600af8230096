"""Intervals of forecasts against sowings drawn cell by cell from an urn, and a plain integral."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from tests.forecasting._made import GOAL_CD, ON_TIME, SIGMA_SEED, count, drawn_tray, made

from sowbench.forecasting import ForecastParameters, forecast_sowings

N_SOWINGS = 300
KEPT = 0.98 * 0.95
N_TRAYS, N_CELLS, COUNTED = 4, 60, 2


def drawn_sowing(rng, name):
    """Draw a sowing with two of four trays counted on a few days: (sowing, usable, lag)."""
    s = 0.95 * rng.beta(91, 11)
    lag = 0.25 * rng.standard_normal()
    days = sorted(rng.choice(np.arange(5, 15), size=rng.integers(1, 4), replace=False).tolist())
    usable, entries = 0, []
    for tray in range(1, N_TRAYS + 1):
        rights, fit = drawn_tray(rng, N_CELLS, s=s, lag=lag, kept=KEPT, days=days)
        usable += 0 if rng.random() < 0.005 else fit
        if tray <= COUNTED:
            for day, n in zip(days, rights, strict=True):
                entries.append(count(name, day, n, (tray,)))
    sowing = made(
        name, n_cells=N_TRAYS * N_CELLS, n_trays=N_TRAYS, entries=entries, test=(90, 100),
        measured=True, spread_c=0.0,
    )  # fmt: skip
    return sowing, usable, lag


def test_eighty_percent_intervals_hold_in_eighty_of_a_hundred_drawn_sowings():
    rng = np.random.default_rng(20261125)
    drawn = [drawn_sowing(rng, f"S{i}") for i in range(N_SOWINGS)]
    found = forecast_sowings([each[0] for each in drawn], (), ForecastParameters(odd_lot_frac=0.0))
    usable = np.array([each[1] for each in drawn])
    lag = np.array([each[2] for each in drawn])
    # Both ends are the least number with so much at or below it: their slips cancel.
    assert found.batch is not None
    ends = found.batch.outlook.quantiles((0.1, 0.9))
    inside = np.mean((usable > ends[:, 0]) & (usable <= ends[:, 1]))
    error = np.sqrt(0.8 * 0.2 / N_SOWINGS)
    assert inside == pytest.approx(0.8, abs=2.6 * error)
    low = np.mean(usable <= ends[:, 0])
    assert low == pytest.approx(0.1, abs=2.6 * np.sqrt(0.1 * 0.9 / N_SOWINGS))
    bands = np.array([each.lag for each in found.sowings])
    held = np.mean((lag > bands[:, 0]) & (lag < bands[:, 2]))
    assert held == pytest.approx(0.8, abs=2.6 * error)


def test_the_posterior_is_that_of_a_plain_integral():
    # Three trays, each looked at once: independent beta-binomials of a general library.
    looks = [(7, 1, 25), (9, 2, 70), (12, 3, 105)]
    entries = [count("S", day, n, (tray,)) for day, tray, n in looks]
    sowing = made(entries=entries, measured=True, spread_c=0.0)
    found = forecast_sowings([sowing], (), ForecastParameters(odd_lot_frac=0.0)).sowings[0]
    p = np.linspace(0.6, 0.9999, 500)[:, None]
    lag = np.linspace(-1.2, 1.2, 700)[None, :]
    log = stats.beta.logpdf(p, 191, 11) + stats.norm.logpdf(lag, 0.0, 0.25)
    weight = (1 - 0.015) / 0.015
    for day, _, n in looks:
        up = stats.norm.cdf((np.log(10.0 * day / GOAL_CD) - lag) / SIGMA_SEED) * 0.95 * p
        log = log + stats.betabinom.logpmf(n, 128, weight * up, weight * (1 - up))
    mass = np.exp(log - log.max())
    mass /= mass.sum()
    for share, stand, at in zip((0.1, 0.5, 0.9), found.right_frac, found.lag, strict=True):
        below = np.cumsum(mass.sum(axis=1))
        assert stand == pytest.approx(0.95 * np.interp(share, below, p[:, 0]), abs=0.0008)
        below = np.cumsum(mass.sum(axis=0))
        assert at == pytest.approx(np.interp(share, below, lag[0]), abs=0.004)
    others = 7 * 128 * KEPT * ON_TIME * float((mass.sum(axis=1) * 0.95 * p[:, 0]).sum())
    assert 0.995 * others < found.plants_mean < 0.995 * others + 3 * 128 * KEPT
