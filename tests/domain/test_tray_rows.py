"""Rows of shared trays, as the crew reads them."""

from dataclasses import replace

import pytest
from tests.checking.small_season import TRAY, small_plan

from sowbench.domain.tray_rows import own_units, tray_rows

PLAN, _ = small_plan()


def sowing(name, n_cells, *mates):
    steps = tuple(
        replace(each, n_cells=n_cells, n_containers=-(-n_cells // 50), from_sowings=mates)
        for each in PLAN.sowings[0].steps
    )
    return replace(PLAN.sowings[0], sowing=name, n_cells=n_cells, steps=steps)


def test_rows_follow_each_other_in_the_order_of_the_sowings():
    # Rows of ten cells; 75 cells fill a tray of fifty and three rows of the shared one.
    both = (sowing("s1", 75, "s2"), sowing("s2", 12, "s1"))
    rows = tray_rows((sowing("s0", 60), *both), {"tray-50": TRAY})
    assert set(rows) == {"s1", "s2"}
    assert (rows["s1"].first_row, rows["s1"].last_row) == (1, 3)
    assert rows["s2"].words == "shares its last tray with s1: rows 4 to 5 of 5"
    assert tray_rows((sowing("s1", 8, "s2"),), {"tray-50": TRAY})["s1"].words.endswith("row 1 of 5")


def test_own_units_count_a_shared_tray_in_even_parts():
    assert own_units(sowing("s1", 75).steps[0]) == 2
    assert own_units(sowing("s1", 75, "s2").steps[0]) == pytest.approx(1.5)
    assert own_units(sowing("s1", 5, "s2", "s3").steps[0]) == pytest.approx(1 / 3)
