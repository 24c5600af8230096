"""The likelihood of counted trays on published dishes, against interval-censored fits elsewhere."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize, stats
from tests.forecasting._made import DAY, count, made
from tests.published._report import record

from sowbench.forecasting import LotTest, Pace, forecast_sowings
from sowbench.science.germination_fit import fit_germination

DATA = Path(__file__).parents[1] / "data"
RITZ = "C. Ritz, C. B. Pipper, J. C. Streibig, European Journal of Agronomy 45, 2013, 1-6"
WHOLE_DAYS = [("rice", 22), ("rice", 28), ("rice", 34), ("mungbean", 10)]


def _dish(species, temp_c):
    """Start, end and number of each interval of one dish."""
    with (DATA / "germination_drc.csv").open(encoding="utf-8") as lines:
        rows = [
            [float(row[name]) for name in ("start_d", "end_d", "n_germinated")]
            for row in csv.DictReader(lines)
            if (row["species"], row["temp_c"]) == (species, str(temp_c))
        ]
    return np.array(rows).T


def forecast_fit(start, end, number, sigma_seed):
    """Median and final fraction of the largest likelihood by the forecast's own code."""
    n_seeds = int(number.sum())
    seen = np.cumsum(number[np.isfinite(end)])
    looks = end[np.isfinite(end)]
    entries = [
        count("S", 0, int(n), (1,), id=str(i)) for i, n in enumerate(seen)
    ]  # fmt: skip
    # Days stand for the times of the published looks; a day of ours is an hour of theirs.
    entries = [
        replace(each, day_date=DAY + timedelta(days=round(24 * float(at))))
        for each, at in zip(entries, looks, strict=True)
    ]
    hours = np.array([0.0, 24.0 * 24 * 60])
    sowing = replace(
        made(n_cells=n_seeds, n_trays=1, entries=entries, measured=True),
        test=LotTest(0, 0), pace=Pace(5.0, sigma_seed, 2.0), hours_h=hours,
        progress_cd=np.array([[0.0, 24.0 * 60 / 24]]), emergence_frac=1.0, rho_tray=0.0,
    )  # fmt: skip
    batch = forecast_sowings([sowing]).batch
    assert batch is not None
    looks_of = batch.looks

    def minus(x):
        share = np.array([[1.0 / (1.0 + math.exp(-x[1]))]])
        return -float(looks_of.log_likelihood(slice(0, 1), np.array([[x[0]]]), share)[0, 0, 0])

    found = optimize.minimize(
        minus, [0.0, 2.0], method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9}
    )
    return 5.0 * math.exp(found.x[0]), 1.0 / (1.0 + math.exp(-found.x[1]))


@pytest.mark.parametrize("dish", WHOLE_DAYS)
@pytest.mark.filterwarnings("ignore::sowbench.science.errors.DoubtWarning")
def test_counts_of_published_dishes_are_most_likely_where_a_maximum_likelihood_fit_says(dish):
    start, end, number = _dish(*dish)
    fit = fit_germination(start, end, number, family="log-normal")
    median, final = forecast_fit(start, end, number, fit.spread)
    record("counts of dishes by the forecast", RITZ, 1, median - fit.median_d, "d")
    assert median == pytest.approx(fit.median_d, rel=0.001)
    assert final == pytest.approx(fit.final_frac, abs=0.002)


def test_a_dish_that_came_up_whole_agrees_with_a_general_library_of_censored_data():
    start, end, number = _dish("mungbean", 10)
    up = np.isfinite(end)
    pairs = [
        (max(a, 1e-9), b)
        for a, b, n in zip(start[up], end[up], number[up], strict=True)
        for _ in range(int(n))
    ]
    never = [float(end[up].max())] * int(number[~up].sum())
    data: stats.CensoredData = stats.CensoredData(interval=pairs, right=never)
    spread, _, scale = stats.lognorm.fit(data, floc=0)
    median, final = forecast_fit(start, end, number, spread)
    assert final == pytest.approx(1.0, abs=0.002)
    assert median == pytest.approx(scale, rel=0.002)
