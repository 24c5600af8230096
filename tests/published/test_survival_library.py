"""Fits of published germination counts against a library of survival analysis.

The library knows intervals, seeds that never come ("limited failure population") and both families
of curves; it shares no code with this project.
"""

from __future__ import annotations

import csv
import importlib
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.published._report import record
from tests.published.test_forecast_counts import forecast_fit

from sowbench.science.germination_fit import fit_germination

DATA = Path(__file__).parents[1] / "data"
RITZ = "C. Ritz, C. B. Pipper, J. C. Streibig, European Journal of Agronomy 45, 2013, 1-6"
surpyval: Any = importlib.import_module("surpyval")  # its types do not say what it exports
LIBRARY = {"log-normal": surpyval.LogNormal, "log-logistic": surpyval.LogLogistic}
# Fewer intervals than parameters tell the library nothing.
LEAST_INTERVALS = 3


def _dishes():
    """Start, end and number of each interval of each dish where there is enough to fit."""
    dishes: dict[tuple[str, str], list[list[float]]] = {}
    with (DATA / "germination_drc.csv").open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            cell = [float(row[name]) for name in ("start_d", "end_d", "n_germinated")]
            dishes.setdefault((row["species"], row["temp_c"]), []).append(cell)
    found = {}
    for key, rows in dishes.items():
        start, end, number = np.array(rows).T
        if np.count_nonzero(np.isfinite(end) & (number > 0)) >= LEAST_INTERVALS:
            found[key] = start, end, number
    return found


DISHES = _dishes()


def _by_library(start, end, number, family):
    """Final fraction, median and spread by the library."""
    seen = number > 0
    up = np.isfinite(end[seen])
    looks = np.column_stack([start[seen], np.where(up, end[seen], start[seen])])
    some_never = bool(np.any(~up))
    model = LIBRARY[family].fit(
        x=looks, c=np.where(up, 2, 1), n=number[seen].astype(int), lfp=some_never
    )
    final = float(model.lfp_p) if some_never else 1.0
    one, two = (float(each) for each in model.params)
    if family == "log-normal":
        return final, math.exp(one), two
    return final, one, 1.0 / two


def test_most_published_dishes_can_be_compared():
    assert len(DISHES) >= 8


@pytest.mark.parametrize("family", LIBRARY)
@pytest.mark.parametrize("dish", DISHES)
@pytest.mark.filterwarnings("ignore::sowbench.science.errors.DoubtWarning")
def test_curves_are_those_of_the_survival_library(dish, family):
    start, end, number = DISHES[dish]
    final, median, spread = _by_library(start, end, number, family)
    fit = fit_germination(start, end, number, family=family)
    record(f"{family} curves by a survival library", RITZ, 1, fit.median_d - median, "d")
    assert fit.final_frac == pytest.approx(final, abs=2e-4)
    assert fit.median_d == pytest.approx(median, rel=2e-4)
    assert fit.spread == pytest.approx(spread, rel=2e-3)


@pytest.mark.parametrize("dish", [("rice", "22"), ("rice", "34"), ("mungbean", "10")])
def test_what_a_forecast_finds_likeliest_is_what_the_survival_library_fits(dish):
    start, end, number = DISHES[dish]
    final, median, spread = _by_library(start, end, number, "log-normal")
    mine, mine_final = forecast_fit(start, end, number, spread)
    assert mine == pytest.approx(median, rel=0.001)
    assert mine_final == pytest.approx(final, abs=0.002)
