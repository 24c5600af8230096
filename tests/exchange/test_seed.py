from datetime import date

import pytest

from sowbench.domain.records import SeedLot
from sowbench.exchange.seed import read_seed

ROW = {"lot": "L1", "crop": "kale", "n_tested": "400", "n_normal": "371", "n_seeds": "9000"}


@pytest.fixture
def read(write, resolve_crop):
    return lambda text: read_seed(write("seed.csv", text), resolve_crop=resolve_crop)


def one_row(**cells):
    row = {**ROW, **cells}
    return f"{','.join(row)}\n{','.join(row.values())}\n"


def test_smallest_lot_takes_the_stated_defaults(read):
    (lot,) = read(one_row()).lots
    assert lot == SeedLot("L1", "kale", "", 400, 371, 9000, seedlings_per_unit=1.0)


def test_every_column_is_taken(read):
    (lot,) = read(
        one_row(
            variety="Ruby",
            tested_on="2026-11-02",
            arrives_on="2027-01-15",
            use_by="2028-01-01",
            seeds_per_g="280.5",
            seedlings_per_unit="2.5",
            price_per_1000="3.2",
            pack_sizes="1000|500",
            moisture_percent="6.5",
            storage_c="-18",
            treated="yes",
            pelleted="no",
            primed="yes",
            organic="no",
            passport="P-7",
        )
    ).lots
    assert lot == SeedLot(
        id="L1",
        crop="kale",
        variety="Ruby",
        n_tested=400,
        n_normal=371,
        n_seeds=9000,
        tested_on=date(2026, 11, 2),
        arrives_on=date(2027, 1, 15),
        use_by=date(2028, 1, 1),
        seeds_per_g=280.5,
        seedlings_per_unit=2.5,
        price_per_1000=3.2,
        pack_sizes=(500, 1000),
        moisture_frac=0.065,
        storage_c=-18,
        treated=True,
        primed=True,
        passport="P-7",
    )


@pytest.mark.parametrize(
    ("column", "value", "word"),
    [
        ("lot", "", "blank"),
        ("crop", "kail", "'kale'"),
        ("n_tested", "0", "at least 1"),
        ("n_tested", "", "blank"),
        ("n_normal", "401", "n_tested (400)"),
        ("n_normal", "-1", "at least 0"),
        ("n_normal", "92.5", "whole"),
        ("n_seeds", "", "blank"),
        ("n_seeds", "-5", "at least 0"),
        ("n_seeds", "9.000", "9000"),
        ("tested_on", "11/2/2026", "2026-02-11"),
        ("arrives_on", "soon", "2027-03-08"),
        ("seeds_per_g", "0", "above 0"),
        ("seedlings_per_unit", "0", "above 0"),
        ("price_per_1000", "-1", "between 0 and"),
        ("pack_sizes", "500|many", "500|1000"),
        ("pack_sizes", "500|0", "500|1000"),
        ("moisture_percent", "0.06", "6 for 6 %"),
        ("moisture_percent", "31", "1 to 30"),
        ("storage_c", "70", "-30 to 50"),
        ("treated", "dressed", "yes or no"),
        ("organic", "2", "yes or no"),
    ],
)
def test_each_wrong_cell_is_named_with_what_would_be_right(read, problems_of, column, value, word):
    found = [each for each in problems_of(read, one_row(**{column: value})) if each[1] == column]
    assert [each[:3] for each in found] == [(2, column, value or None)]
    assert word in found[0][3]


def test_use_by_before_arrival_is_refused(read, problems_of):
    found = problems_of(read, one_row(arrives_on="2027-02-01", use_by="2027-01-01"))
    assert found[0][:2] == (2, "use_by")


def test_lot_twice_is_refused_with_its_first_row(read, problems_of):
    found = problems_of(read, one_row() + "L1,kale,10,9,100\n")
    assert found[0][:3] == (3, "lot", "L1")
    assert "row 2" in found[0][3]


@pytest.mark.parametrize("missing", list(ROW))
def test_each_missing_column_is_refused(read, problems_of, missing):
    left = {key: value for key, value in ROW.items() if key != missing}
    found = problems_of(read, f"{','.join(left)}\n{','.join(left.values())}\n")
    assert [each[:2] for each in found] == [(1, missing)]


def test_all_bad_rows_are_named(read, problems_of):
    found = problems_of(read, one_row() + "L2,kale,0,0,1\nL3,kale,10,9,1\nL4,moss,10,11,1\n")
    assert [(row, column) for row, column, *_ in found] == [
        (3, "n_tested"),
        (5, "crop"),
        (5, "n_normal"),
    ]


def test_file_with_a_header_alone_is_a_house_without_seed(read):
    assert read(",".join(ROW) + "\n").lots == ()
