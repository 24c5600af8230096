from datetime import date

import pytest

from sowbench.domain.records import Standing
from sowbench.exchange.standing import read_standing

ROW = {
    "sowing": "S-17",
    "crop": "kale",
    "container": "plug-72",
    "n_containers": "3",
    "n_cells": "200",
    "place": "North bench",
    "sown_on": "2027-01-20",
}


@pytest.fixture
def read(write, resolve_crop):
    return lambda text: read_standing(
        write("standing.csv", text),
        resolve_crop=resolve_crop,
        container_cells={"plug-72": 72, "cube-40": 1},
        places=["North bench", "Yard"],
        orders=["a", "b"],
    )


def one_row(**cells):
    row = {**ROW, **cells}
    return f"{','.join(row)}\n{','.join(row.values())}\n"


def test_every_column_is_taken(read):
    (found,) = read(
        one_row(
            variety="Ruby",
            lot="L1",
            counted_on="2027-02-01",
            n_counted="190",
            n_usable="180",
            orders="a|b",
            place="north BENCH",
        )
    ).standing
    assert found == Standing(
        sowing="S-17",
        crop="kale",
        variety="Ruby",
        lot="L1",
        container="plug-72",
        n_containers=3,
        n_cells=200,
        place="North bench",
        sown_date=date(2027, 1, 20),
        counted_date=date(2027, 2, 1),
        n_counted=190,
        n_usable=180,
        orders=("a", "b"),
    )


@pytest.mark.parametrize(
    ("cells", "column", "word"),
    [
        ({"sowing": ""}, "sowing", "blank"),
        ({"crop": "kail"}, "crop", "'kale'"),
        ({"container": "plug-70"}, "container", "'plug-72'"),
        ({"n_containers": "0"}, "n_containers", "at least 1"),
        ({"n_cells": "217"}, "n_cells", "216"),
        ({"n_cells": "1 0"}, "n_cells", "whole"),
        ({"place": "South bench"}, "place", "'North bench'"),
        ({"sown_on": "20.1.2027"}, "sown_on", "2027-01-20"),
        ({"counted_on": "2027-01-19", "n_counted": "3"}, "counted_on", "sown_on"),
        ({"n_counted": "3"}, "n_counted", "counted_on"),
        ({"n_usable": "3"}, "n_usable", "counted_on"),
        ({"counted_on": "2027-02-01", "n_counted": "201"}, "n_counted", "n_cells (200)"),
        (
            {"counted_on": "2027-02-01", "n_counted": "10", "n_usable": "11"},
            "n_usable",
            "n_counted (10)",
        ),
        ({"counted_on": "2027-02-01", "n_usable": "201"}, "n_usable", "n_cells (200)"),
        ({"orders": "a|c"}, "orders", "'c'"),
        ({"sowing": "leek/trays/3"}, "sowing", "a dash instead"),
    ],
)
def test_each_wrong_cell_is_named_with_what_would_be_right(read, problems_of, cells, column, word):
    found = [each for each in problems_of(read, one_row(**cells)) if each[1] == column]
    assert [each[:2] for each in found] == [(2, column)]
    assert word in found[0][3]


def test_sowing_twice_is_refused_with_its_first_row(read, problems_of):
    line = ",".join(ROW.values())
    found = problems_of(read, f"{one_row()}{line}\n")
    assert found[0][:2] == (3, "sowing")
    assert "row 2" in found[0][3]


@pytest.mark.parametrize("missing", list(ROW))
def test_each_missing_column_is_refused(read, problems_of, missing):
    left = {key: value for key, value in ROW.items() if key != missing}
    found = problems_of(read, f"{','.join(left)}\n{','.join(left.values())}\n")
    assert [each[:2] for each in found] == [(1, missing)]
