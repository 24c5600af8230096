import math
from datetime import date, datetime, time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sowbench.exchange.fields import (
    Fields,
    iso_candidates,
    number_advice,
    parse_day,
    parse_number,
    parse_whole,
    shown_cell,
)
from sowbench.exchange.tables import Row, Table
from sowbench.science.errors import Problem


def fields_of(**cells):
    problems: list[Problem] = []
    row = Row(7, cells)
    return Fields(Table("f.csv", tuple(cells), (row,)), row, problems), problems


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("03/08/2027", ["2027-08-03", "2027-03-08"]),
        ("8.3.2027", ["2027-03-08", "2027-08-03"]),
        ("8. 3. 2027", ["2027-03-08", "2027-08-03"]),
        ("8-Mar-2027", ["2027-03-08"]),
        ("8 March 2027", ["2027-03-08"]),
        ("March 8, 2027", ["2027-03-08"]),
        ("25/3/27", ["2027-03-25"]),
        ("3/25/2027", ["2027-03-25"]),
        ("2027/3/8", ["2027-03-08", "2027-08-03"]),
        ("2027-3-8", ["2027-03-08", "2027-08-03"]),
        ("20270308", ["2027-03-08", "2027-08-03"]),
        ("2027-03-08T10:00", ["2027-03-08", "2027-08-03"]),
        ("7/7/2027", ["2027-07-07"]),
        ("next week", []),
        ("99/99/2027", []),
    ],
)
def test_dates_in_another_order_are_refused_with_what_they_may_mean(text, days):
    assert [each.isoformat() for each in iso_candidates(text)] == days
    message = parse_day(text)
    assert isinstance(message, str)
    assert all(day in message for day in days)


def test_day_reads_iso_text_and_true_dates():
    assert parse_day("2027-03-08") == date(2027, 3, 8)
    assert parse_day(datetime(2027, 3, 8)) == date(2027, 3, 8)  # noqa: DTZ001
    assert parse_day(date(2027, 3, 8)) == date(2027, 3, 8)


def test_day_number_of_a_spreadsheet_is_refused_with_its_day():
    # 2027-03-08 is day 46454 where 1900-01-01 is day 1 and the format has a 29 February 1900.
    assert "2027-03-08" in str(parse_day("46454"))
    assert "2027-03-08" in str(parse_day(46454))


@pytest.mark.parametrize("cell", ["2027-02-30", "2027-13-01", "1750-01-01", "9999-01-01", True])
def test_days_that_are_none_are_refused(cell):
    assert isinstance(parse_day(cell), str)


def test_time_of_day_is_refused_with_the_day():
    assert "2027-03-08" in str(parse_day(datetime(2027, 3, 8, 14)))  # noqa: DTZ001


@pytest.mark.parametrize(
    ("text", "advice"),
    [
        ("0,95", "0.95"),
        ("1 000", "1000"),
        ("1\u00a0000", "1000"),
        ("1\u202f000,5", "1000.5"),
        ("1'000", "1000"),
        ("1,000", "1000"),
        ("1,234,567", "1234567"),
        ("1.234.567", "1234567"),
        ("1.234,5", "1234.5"),
        ("95%", "0.95"),
        ("95 %", "0.95"),
        ("$ 3.50", "3.50"),
        ("12 g", "12"),
    ],
)
def test_numbers_in_another_form_are_refused_with_the_right_form(text, advice):
    assert advice in number_advice(text)
    assert isinstance(parse_number(text), str)


@pytest.mark.parametrize(
    "cell", ["", "x", "nan", "inf", "1e3", "0x10", "١٢", "--1", math.nan, math.inf, True, time(1)]
)
def test_what_is_no_number_is_refused(cell):
    assert isinstance(parse_number(cell), str)
    assert isinstance(parse_whole(cell), str)


@pytest.mark.parametrize(
    ("cell", "value"), [("12", 12), ("12.0", 12), (12, 12), (12.0, 12), ("+3", 3), ("-3", -3)]
)
def test_whole_numbers_are_read(cell, value):
    assert parse_whole(cell) == value


@pytest.mark.parametrize("cell", ["1.5", "1,5", 1.5, "1.000", "1 000", "50%"])
def test_what_is_no_whole_number_is_refused(cell):
    assert isinstance(parse_whole(cell), str)


def test_point_for_thousands_is_told_apart_from_a_fraction():
    assert "1000" in str(parse_whole("1.000"))


@given(st.floats(0, 1e9).map(lambda each: round(each, 6)))
def test_every_plain_number_is_read_back(value):
    assert parse_number(f"{value:.6f}") == pytest.approx(value, abs=1e-9)


@given(st.dates(date(1900, 1, 1), date(2199, 12, 31)))
def test_every_iso_day_is_read_back(day):
    assert parse_day(day.isoformat()) == day


@given(
    st.one_of(
        st.none(), st.booleans(), st.integers(), st.floats(), st.text(), st.dates(), st.datetimes()
    )
)
def test_any_cell_gives_a_value_or_a_problem(cell):
    cells, problems = fields_of(x=cell)
    calls = (
        lambda: cells.text("x"),
        lambda: cells.names("x"),
        lambda: cells.number_of("x", least=0, most=9),
        lambda: cells.share("x", 0.5, 0.999),
        lambda: cells.whole("x", least=1),
        lambda: cells.day("x"),
        lambda: cells.yes_no("x"),
        lambda: cells.choice("x", {"a": "a"}, ""),
    )
    for call in calls:
        call()
    assert all(each.row == 7 and each.column == "x" and each.message for each in problems)


def test_yes_and_no_are_read_in_every_case():
    for text, value in (("Yes", True), ("NO", False), ("true", True), (True, True), ("", False)):
        cells, problems = fields_of(x=text)
        assert cells.yes_no("x") is value
        assert not problems


def test_error_of_a_spreadsheet_is_no_text():
    cells, problems = fields_of(x="#REF!")
    cells.text("x")
    assert "spreadsheet" in problems[0].message


def test_apostrophe_before_a_calculated_text_is_taken_off():
    for text, value in (("'=1", "=1"), ("'-", "-"), ("'hello", "'hello"), ("'", "'")):
        cells, _ = fields_of(x=text)
        assert cells.text("x") == value


def test_percent_for_a_share_is_refused_with_the_share():
    for cell in (95, "95", "95%"):
        cells, problems = fields_of(x=cell)
        assert cells.share("x", 0.5, 0.999) is None
        assert "0.95" in problems[0].message


def test_cells_are_shown_as_their_reader_writes_them():
    assert [shown_cell(each) for each in (None, True, 12.0, 1.5, date(2027, 3, 8))] == [
        "",
        "yes",
        "12",
        "1.5",
        "2027-03-08",
    ]
