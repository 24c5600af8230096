from datetime import date

import pytest

from sowbench.domain.records import Pin
from sowbench.exchange.pins import read_pins


@pytest.fixture
def read(write):
    return lambda text: read_pins(
        write("pins.csv", text),
        orders=["a", "b"],
        sowings=["S-1"],
        containers=["plug-72"],
        places=["Yard"],
    )


HEAD = "order,sowing,container,seeds_per_cell,sow_date,place,not_before,not_after"


def test_pins_of_orders_and_sowings_are_taken(read):
    found = read(f"{HEAD}\na,,plug-72,2,,yard,2027-03-01,2027-03-09\n,S-1,,,2027-03-04,,,\n").pins
    assert found == (
        Pin("a", "plug-72", 2, None, "Yard", date(2027, 3, 1), date(2027, 3, 9)),
        Pin("S-1", sow_date=date(2027, 3, 4)),
    )


@pytest.mark.parametrize(
    ("line", "column", "word"),
    [
        ("a,S-1,plug-72,,,,,", None, "either an order or a sowing"),
        (",,plug-72,,,,,", None, "either an order or a sowing"),
        ("c,,plug-72,,,,,", "order", "'c'"),
        (",S-2,plug-72,,,,,", "sowing", "'S-1'"),
        ("a,,,,,,,", None, "Nothing is pinned"),
        ("a,,plug-71,,,,,", "container", "'plug-72'"),
        ("a,,,0,,,,", "seeds_per_cell", "from 1"),
        ("a,,,,4.3.2027,,,", "sow_date", "2027-03-04"),
        ("a,,,,,Attic,,", "place", "'Attic'"),
        ("a,,,,,,2027-03-09,2027-03-01", "not_after", "not_before"),
        ("a,,,,2027-02-01,,2027-03-01,", "sow_date", "not_before"),
        ("a,,,,2027-04-01,,,2027-03-01", "sow_date", "not_after"),
    ],
)
def test_each_wrong_row_is_named_with_what_would_be_right(read, problems_of, line, column, word):
    found = problems_of(read, f"{HEAD}\n{line}\n")
    assert [each[:2] for each in found] == [(2, column)]
    assert word in found[0][3]


def test_target_twice_is_refused(read, problems_of):
    found = problems_of(read, "order,place\na,Yard\na,Yard\n")
    assert found[0][:2] == (3, "order")


def test_file_without_a_target_column_is_refused(read, problems_of):
    assert "order or sowing" in problems_of(read, "place\nYard\n")[0][3]
