"""What sowings of one order share, and weather and pace taken together, against other sums."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from tests.forecasting._made import DAY, GOAL_CD, SIGMA_SEED, count, made

from sowbench.forecasting import ForecastParameters, OpenOrder, forecast_sowings
from sowbench.science.emergence import ThermalResponse, accumulate
from sowbench.science.quadrature import normal_nodes
from sowbench.science.risk import OrderNeed, Share, SowingRisk, order_chances
from sowbench.science.stand import lot_nodes, usable_frac

AS_PLANNED = ForecastParameters(odd_lot_frac=0.0)


@pytest.mark.parametrize(
    ("shares", "need"),
    [
        ((Share(0, 200, 330, last=False), Share(1, 0, 530)), 800),
        ((Share(0, 0, 500, last=False), Share(1, 100, 400)), 900),
        ((Share(0, 0, 500, last=False), Share(1, 100, 400)), 885),
    ],
)
def test_clipped_shares_of_two_lots_are_nearly_those_of_the_plan(shares, need):
    sowings = [made("A", n_cells=640, n_trays=5), made("B", n_cells=640, n_trays=5, lot="M")]
    asked = OrderNeed(shares, need, need, 32, 38)
    found = forecast_sowings(sowings, [OpenOrder("O", asked)], AS_PLANNED).orders[0]
    p, weight = lot_nodes(190, 200)
    usable = np.tile(usable_frac(p * 0.95 * 0.98), (5, 1))
    risks = [
        SowingRisk(lot, 0, 640, 128, usable, weight, each.ready_day, each.overgrown_day)
        for lot, each in enumerate(sowings)
    ]
    plan = order_chances(asked, risks)
    assert found.chance_enough_frac == pytest.approx(plan.enough_frac, abs=0.006)
    assert found.chance_in_time_frac == pytest.approx(plan.in_time_frac, abs=0.002)
    assert found.chance_filled_frac == pytest.approx(plan.filled_frac, abs=0.006)


def test_weather_and_pace_follow_from_the_lag_as_from_a_sum_over_both():
    # Nights near the base temperature: progress at the nodes is no fixed multiple of the middle.
    nodes, weights = normal_nodes(5)
    hours = np.arange(24 * 40)
    temp = np.where((hours % 24 >= 7) & (hours % 24 < 21), 20.0, 9.0)
    crop = ThermalResponse(8.0, 28.0, 30.0, 38.0, GOAL_CD)
    progress = np.stack([accumulate(temp + 1.2 * w, crop) for w in nodes])
    counts = [count("S", 9, 10, (1,)), count("S", 11, 50, (2,)), count("S", 15, 104, (3,))]
    sowing = replace(
        made(entries=counts), hours_h=np.arange(progress.shape[1]) * 1.0, progress_cd=progress
    )
    batch = forecast_sowings([sowing], (), AS_PLANNED).batch
    assert batch is not None
    p, z = np.linspace(0.6, 0.9999, 300)[:, None], np.linspace(-5.0, 5.0, 501)[None, :]
    tables = []
    for node, weight in enumerate(weights):
        log = stats.beta.logpdf(p, 191, 11) + stats.norm.logpdf(z) + np.log(weight)
        for each in counts:
            hour = 24 * (each.day_date - DAY).days
            up = stats.norm.cdf((np.log(progress[node, hour] / GOAL_CD) - 0.25 * z) / SIGMA_SEED)
            share = np.clip(0.95 * p * up, 1e-12, 1.0 - 1e-12)
            tray = (1 - 0.015) / 0.015
            log = log + stats.betabinom.logpmf(each.n or 0, 128, tray * share, tray * (1 - share))
        tables.append(log)
    exact = np.exp(np.array(tables) - np.max(tables))
    exact /= exact.sum()
    mine = batch.posterior.node_lag_mass(np.array([0]))[0]
    pace = (batch.posterior.lag[0] + batch.prior.delta[0][:, None]) / 0.25
    assert mine.sum(axis=1) == pytest.approx(exact.sum(axis=(1, 2)), abs=0.002)
    mean = float((exact * z).sum())
    assert float((mine * pace).sum()) == pytest.approx(mean, abs=0.005)
    sd = np.sqrt(float((exact * (z - mean) ** 2).sum()))
    assert np.sqrt(float((mine * (pace - mean) ** 2).sum())) == pytest.approx(sd, abs=0.005)
