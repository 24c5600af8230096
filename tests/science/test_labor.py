"""Minutes by task by hand, in proportion, and rates that are refused."""

from dataclasses import fields

import numpy as np
import pytest

from sowbench.science import labor
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.science.labor import LaborRates

TABLE = {
    "fill_s_per_container": 35.0,
    "sow_seeds_per_h": 700.0,
    "sow_pelleted_seeds_per_h": 1000.0,
    "carry_lift_s": 1.5,
    "carry_speed_m_s": 1.22,
    "carry_distance_m": 20.0,
    "carry_units_per_trip": 4.0,
    "thin_cells_per_h": 1000.0,
    "gap_up_per_h": 500.0,
    "pot_on_per_h": 800.0,
    "space_per_h": 900.0,
    "water_min_per_10m2": 1.5,
    "water_times_per_d": 2.0,
    "count_s_per_tray": 30.0,
    "pack_s_per_container": 40.0,
}
RATES = LaborRates.from_table(TABLE)

TASKS = {
    "fill_minutes": 35 / 60,
    "sow_by_hand_minutes": 60 / 700,
    "carry_minutes": (2 * 1.5 + 40 / 1.22 / 4) / 60,
    "thin_minutes": 60 / 1000,
    "gap_up_minutes": 60 / 500,
    "pot_on_minutes": 60 / 800,
    "space_minutes": 60 / 900,
    "water_minutes": 0.3,
    "count_minutes": 0.5,
    "pack_minutes": 40 / 60,
}


@pytest.mark.parametrize(("task", "one"), TASKS.items())
def test_minutes_of_one_and_in_proportion(task, one):
    function = getattr(labor, task)
    assert float(function(1, RATES)) == pytest.approx(one)
    np.testing.assert_allclose(function([0, 2, 12.5], RATES), np.array([0, 2, 12.5]) * one)


@pytest.mark.parametrize("task", TASKS)
@pytest.mark.parametrize("value", [-1.0, float("nan")])
def test_negative_amounts_are_refused(task, value):
    with pytest.raises(OutOfRangeError, match="must be 0 or more; got"):
        getattr(labor, task)(value, RATES)


def test_easy_seed_goes_quicker():
    found = labor.sow_by_hand_minutes([100, 100], RATES, [False, True])
    np.testing.assert_allclose(found, [100 * 60 / 700, 6.0])


def test_watering_counts_days():
    assert float(labor.water_minutes(20, RATES, 7)) == pytest.approx(20 * 7 * 0.3)


def test_carrying_another_way():
    assert float(labor.carry_minutes(4, RATES, 0.0)) == pytest.approx(4 * 3 / 60)


def test_machine_takes_its_changeover_only_when_used():
    found = labor.sow_by_machine_minutes([0, 1, 90], 90.0, 12.0)
    np.testing.assert_allclose(found, [0, 12 + 60 / 90, 72])
    with pytest.raises(OutOfRangeError, match="trays_per_hour must be above 0"):
        labor.sow_by_machine_minutes(1, 0.0)


def test_a_later_table_overrides():
    assert LaborRates.from_table(TABLE, {"thin_cells_per_h": 600}).thin_cells_per_h == 600


def test_a_rate_with_an_unknown_name_or_none_is_refused():
    with pytest.raises(UnknownNameError, match=r"'thin_cell_per_h'. Did you mean 'thin_cells"):
        LaborRates.from_table(TABLE, {"thin_cell_per_h": 600})
    short = {name: value for name, value in TABLE.items() if name != "count_s_per_tray"}
    with pytest.raises(UnknownNameError, match="count_s_per_tray"):
        LaborRates.from_table(short)


@pytest.mark.parametrize("field", [each.name for each in fields(LaborRates)])
def test_rates_that_make_no_sense_are_refused(field):
    for value in (-1.0, float("nan"), float("inf")):
        with pytest.raises(OutOfRangeError, match=f"^{field} must be"):
            LaborRates.from_table(TABLE, {field: value})
    if field.endswith(("_per_h", "_m_s", "_per_trip")):
        with pytest.raises(OutOfRangeError, match=f"^{field} must be a finite number above 0"):
            LaborRates.from_table(TABLE, {field: 0.0})
    else:
        assert getattr(LaborRates.from_table(TABLE, {field: 0.0}), field) == 0
