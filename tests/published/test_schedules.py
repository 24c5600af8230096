"""Weeks to transplant by our rules against the handbooks, at the temperatures they state.

C01 Utah State University Extension, Utah Vegetable Guide: Transplant Production.
C02, C03 the same, tomato-pepper-eggplant and cucumber-melon-pumpkin-squash pages.
C04 Iowa State University Extension, Seed Germination Guide, 2017.

A rule is made from several sources, so against each of them it shows how far they lie apart. The
sharper check leaves a handbook out, makes the rule from what remains, and predicts the handbook.
"""

import math

import pytest
from tests.published._report import record

from sowbench.reference.fit_growth import Calibration
from sowbench.reference.growth_rows import Row, pace

# All rows of the two pages are predicted with every source in, and where others remain, without.
HANDBOOKS = {"Utah State": ("C01", "C02", "C03"), "Iowa State": ("C04",)}


@pytest.fixture(scope="module")
def calibration():
    return Calibration()


def predicted_weeks(calibration: Calibration, row: Row, days_ref: float) -> float:
    """Emergence at the row's germination temperature and growth at its 24 h mean."""
    response, temp_ref_c = calibration.response(row.crop)
    assert row.temp_24h_c is not None
    rate = pace(row.temp_24h_c, response, temp_ref_c)
    return (calibration.emergence.days(row) + days_ref / rate) / 7


def outside(weeks: float, row: Row) -> float:
    """Weeks by which a prediction misses the published range; 0 within it."""
    return max(row.weeks_min - weeks, weeks - row.weeks_max, 0.0)


def rows_of(calibration: Calibration, ids) -> list[Row]:
    rows = []
    for crop, choice in calibration.choices.items():
        if choice["kin_rows"]:
            continue
        rows += [
            row
            for row in calibration.rows_of(crop, "plug")
            if row.source_id in ids and row.temp_24h_c is not None and not row.widen
        ]
    return rows


@pytest.mark.parametrize("name", HANDBOOKS)
def test_weeks_stay_near_the_published_range(calibration, name):
    ids = HANDBOOKS[name]
    rows = rows_of(calibration, ids)
    misses, errors = [], []
    for row in rows:
        days = calibration.prior(row.crop, calibration.rows_of(row.crop, "plug")).days_ref
        weeks = predicted_weeks(calibration, row, days)
        misses.append(outside(weeks, row))
        errors.append(weeks - (row.weeks_min + row.weeks_max) / 2)
    record(f"weeks to transplant, {name}: beyond the range", ", ".join(ids), len(rows), misses,
           "weeks", "all sources in")  # fmt: skip
    result = record(f"weeks to transplant, {name}: off the middle", ", ".join(ids), len(rows),
                    errors, "weeks", "all sources in")  # fmt: skip
    assert len(rows) >= 18
    assert sum(miss <= 0.5 for miss in misses) >= 0.8 * len(rows)
    assert result.worst <= 3.0


@pytest.mark.parametrize("name", HANDBOOKS)
def test_weeks_of_a_handbook_left_out_are_met_from_the_others(calibration, name):
    ids = HANDBOOKS[name]
    misses, errors, scores = [], [], []
    for row in rows_of(calibration, ids):
        rest = [x for x in calibration.rows_of(row.crop, "plug") if x.source_id not in ids]
        if not any(x.temp_24h_c is not None and not x.widen for x in rest):
            continue
        prior = calibration.prior(row.crop, rest)
        weeks = predicted_weeks(calibration, row, prior.days_ref)
        misses.append(outside(weeks, row))
        errors.append(weeks - (row.weeks_min + row.weeks_max) / 2)
        # How many of the rule's own spreads the handbook's middle lies from it.
        emerge_d = calibration.emergence.days(row)
        middle_d = 7 * (row.weeks_min + row.weeks_max) / 2 - emerge_d
        scores.append(math.log((7 * weeks - emerge_d) / middle_d) / prior.sigma)
    result = record(f"weeks to transplant, {name} left out: beyond the range", ", ".join(ids),
                    len(misses), misses, "weeks", "rule from the other sources only")  # fmt: skip
    middle = record(f"weeks to transplant, {name} left out: off the middle", ", ".join(ids),
                    len(errors), errors, "weeks", "rule from the other sources only")  # fmt: skip
    assert len(misses) >= 8
    assert result.median <= 1.0
    assert middle.median <= 2.0
    # A normal spread has 95 % within two; the sources are few and rough.
    within = [abs(score) <= 2 for score in scores]
    record(f"weeks to transplant, {name} left out: spreads off", ", ".join(ids), len(scores),
           scores, "sigma", f"{sum(within)} of {len(within)} within two")  # fmt: skip
    assert sum(within) >= 0.8 * len(within)
