import contextlib
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sowbench.domain.records import Order
from sowbench.exchange.orders import order_changes, read_orders
from sowbench.science.errors import InputFileError, UnknownNameError

HEAD = "order,crop,plants,wanted_on"
ROW = {"order": "a", "crop": "lettuce", "plants": "240", "wanted_on": "2027-04-08"}


@pytest.fixture
def read(write, resolve_crop, crop_unit):
    def read_text(text, **more):
        return read_orders(
            write("orders.csv", text),
            resolve_crop=resolve_crop,
            crop_unit=crop_unit,
            containers=["plug-72", "cube-40"],
            **more,
        )

    return read_text


def one_row(**cells):
    row = {**ROW, **cells}
    quoted = ",".join(f'"{each}"' for each in row.values())
    return f"{','.join(row)}\n{quoted}\n"


def test_smallest_order_takes_the_stated_defaults(read):
    (order,) = read(one_row()).orders
    assert order == Order(
        id="a",
        crop="lettuce",
        plants=240,
        wanted_date=date(2027, 4, 8),
        earliest_date=date(2027, 4, 8),
        latest_date=date(2027, 4, 8),
        unit="plant",
        system="any",
        min_frac=1.0,
        handover="trays",
        status="promised",
    )


def test_every_column_is_taken(read):
    (order,) = read(
        one_row(
            customer="Long Acre",
            variety="Ruby",
            substitutes="Rust | Plum|Rust",
            unit="cell",
            earliest_on="2027-04-06",
            latest_on="2027-04-11",
            system="Raft",
            container="PLUG-72|cube-40",
            confidence_frac="0.9",
            min_frac="0.95",
            partial="yes",
            organic="Yes",
            handover="on racks",
            status="asked",
            note="side door",
        )
    ).orders
    assert order == Order(
        id="a",
        crop="lettuce",
        plants=240,
        wanted_date=date(2027, 4, 8),
        earliest_date=date(2027, 4, 6),
        latest_date=date(2027, 4, 11),
        customer="Long Acre",
        variety="Ruby",
        substitutes=("Rust", "Plum"),
        unit="cell",
        system="raft",
        containers=("plug-72", "cube-40"),
        confidence_frac=0.9,
        min_frac=0.95,
        partial=True,
        organic=True,
        handover="racks",
        status="asked",
        note="side door",
    )


def test_unit_left_blank_is_the_usual_one_of_the_crop(read):
    assert read(one_row(crop="basil")).orders[0].unit == "cell"


def test_other_spelling_of_a_crop_becomes_its_id(read):
    assert read(one_row(crop="Salad")).orders[0].crop == "lettuce"


@pytest.mark.parametrize(
    ("column", "value", "word"),
    [
        ("order", "", "blank"),
        ("order", "a|b", "one line"),
        ("crop", "", "blank"),
        ("crop", "letuce", "'lettuce'"),
        ("plants", "", "blank"),
        ("plants", "0", "at least 1"),
        ("plants", "-3", "at least 1"),
        ("plants", "12.5", "whole"),
        ("plants", "1 000", "1000"),
        ("plants", "1,000", "1000"),
        ("plants", "many", "whole"),
        ("unit", "tray", "plant or cell"),
        ("wanted_on", "", "blank"),
        ("wanted_on", "03/08/2027", "2027-08-03 or 2027-03-08"),
        ("wanted_on", "8.3.2027", "2027-03-08"),
        ("wanted_on", "8-Mar-2027", "2027-03-08"),
        ("wanted_on", "2027-02-29", "no such day"),
        ("earliest_on", "2027-04-09", "wanted_on"),
        ("latest_on", "2027-04-07", "wanted_on"),
        ("repeat_every_d", "7", "repeat_until"),
        ("repeat_until", "2027-05-08", "repeat_every_d"),
        ("repeat_every_d", "0", "from 1"),
        ("system", "cellar", "channel"),
        ("container", "plug-71", "'plug-72'"),
        ("confidence_frac", "95", "0.95"),
        ("confidence_frac", "95%", "0.95"),
        ("confidence_frac", "0,95", "0.95"),
        ("confidence_frac", "1", "0.999"),
        ("confidence_frac", "0.4", "0.5"),
        ("min_frac", "0", "above 0"),
        ("min_frac", "90", "0.9"),
        ("partial", "maybe", "yes or no"),
        ("organic", "1", "yes or no"),
        ("handover", "by post", "trays"),
        ("status", "maybe", "asked"),
        ("substitutes", "Rust", "variety"),
    ],
)
def test_each_wrong_cell_is_named_with_what_would_be_right(read, problems_of, column, value, word):
    found = problems_of(read, one_row(**{column: value}))
    matching = [each for each in found if each[:2] == (2, column)]
    assert matching, found
    assert matching[0][2] == (value or None)
    assert word in matching[0][3]


def test_day_wanted_after_the_last_day_that_serves_is_refused(read, problems_of):
    found = problems_of(read, one_row(earliest_on="2027-04-01", latest_on="2027-04-07"))
    assert found[0][:3] == (2, "latest_on", "2027-04-07")


def test_last_day_before_the_first_is_refused_once(read, problems_of):
    found = problems_of(read, one_row(earliest_on="2027-04-10", latest_on="2027-04-06"))
    assert [each[1] for each in found] == ["latest_on"]


def test_repeat_that_ends_before_it_starts_is_refused(read, problems_of):
    found = problems_of(read, one_row(repeat_every_d="7", repeat_until="2027-04-07"))
    assert found[0][1] == "repeat_until"


def test_repeat_without_end_in_sight_is_refused(read, problems_of):
    found = problems_of(read, one_row(repeat_every_d="1", repeat_until="2127-04-08"))
    assert found[0][1] == "repeat_until"
    assert "year" in found[0][3]


def test_name_twice_in_a_file_is_refused_with_its_first_row(read, problems_of):
    text = f"{HEAD}\na,kale,1,2027-04-08\nb,kale,1,2027-04-08\na,lettuce,2,2027-04-09\n"
    found = problems_of(read, text)
    assert [(row, column, value) for row, column, value, _ in found] == [(4, "order", "a")]
    assert "row 2" in found[0][3]


def test_every_bad_row_is_named_in_file_order_and_nothing_is_taken(read, problems_of):
    text = (
        f"{HEAD}\n"
        "a,kale,1,2027-04-08\n"
        "b,kail,0,8.4.2027\n"
        "c,kale,1,2027-04-08\n"
        "a,kale,1,x\n"
        ",kale,1,2027-04-08\n"
    )
    found = problems_of(read, text)
    assert [row for row, *_ in found] == [3, 3, 3, 5, 5, 6]


@pytest.mark.parametrize("missing", ["order", "crop", "plants", "wanted_on"])
def test_each_missing_column_is_refused(read, problems_of, missing):
    left = {key: value for key, value in ROW.items() if key != missing}
    found = problems_of(read, f"{','.join(left)}\n{','.join(left.values())}\n")
    assert [each[:2] for each in found] == [(1, missing)]


def test_file_with_a_header_alone_is_refused(read, problems_of):
    assert "no order" in problems_of(read, f"{HEAD}\n")[0][3]


def test_standing_order_becomes_an_order_for_each_drop(read):
    orders = read(
        one_row(
            earliest_on="2027-04-07",
            latest_on="2027-04-10",
            repeat_every_d="7",
            repeat_until="2027-04-28",
        )
    ).orders
    assert [(each.id, each.earliest_date, each.latest_date) for each in orders] == [
        ("a/2027-04-08", date(2027, 4, 7), date(2027, 4, 10)),
        ("a/2027-04-15", date(2027, 4, 14), date(2027, 4, 17)),
        ("a/2027-04-22", date(2027, 4, 21), date(2027, 4, 24)),
    ]
    assert {each.standing_of for each in orders} == {"a"}


def test_last_drop_may_fall_on_the_last_day(read):
    orders = read(one_row(repeat_every_d="7", repeat_until="2027-04-15")).orders
    assert [each.wanted_date.day for each in orders] == [8, 15]


STANDING = (
    "order,crop,plants,wanted_on,repeat_every_d,repeat_until,status\n"
    "a,lettuce,240,2027-04-08,7,2027-04-22,\n"
)


def test_row_named_as_a_drop_changes_that_drop_alone(read):
    orders = read(STANDING + "a/2027-04-15,lettuce,300,2027-04-16,,,\n").orders
    assert {each.id: (each.plants, each.wanted_date.day) for each in orders} == {
        "a/2027-04-08": (240, 8),
        "a/2027-04-15": (300, 16),
        "a/2027-04-22": (240, 22),
    }
    assert {each.standing_of for each in orders} == {"a"}


def test_drop_can_be_cancelled_by_a_row_of_its_own(read):
    found = read(STANDING + "a/2027-04-15,lettuce,240,2027-04-15,,,cancelled\n")
    assert [each.id for each in found.orders] == ["a/2027-04-08", "a/2027-04-22"]
    assert [each.id for each in found.cancelled] == ["a/2027-04-15"]


def test_row_named_as_a_drop_that_is_none_is_refused(read, problems_of):
    found = problems_of(read, STANDING + "a/2027-04-16,lettuce,240,2027-04-16,,,\n")
    assert found[0][:3] == (3, "order", "a/2027-04-16")
    assert "a/2027-04-15" in found[0][3]


def test_cancelled_orders_are_left_out_and_reported(read):
    text = f"{HEAD},status\na,kale,1,2027-04-08,canceled\nb,kale,1,2027-04-08,\n"
    found = read(text)
    assert [each.id for each in found.orders] == ["b"]
    assert [each.id for each in found.cancelled] == ["a"]
    assert any("a is cancelled" in each for each in found.notes)


def test_workbook_with_the_same_headers_gives_the_same_orders(
    write, workbook, resolve_crop, crop_unit
):
    rows = [
        ["Order", "Crop", "Plants", "Wanted on", "Confidence_frac", "Partial"],
        [7, "kale", 12.0, date(2027, 4, 8), 0.9, True],
    ]
    path = write("orders.xlsx", workbook(rows))
    (order,) = read_orders(path, resolve_crop=resolve_crop, crop_unit=crop_unit).orders
    assert (order.id, order.plants, order.wanted_date) == ("7", 12, date(2027, 4, 8))
    assert (order.confidence_frac, order.partial) == (0.9, True)


def test_systems_of_the_house_are_taken_beside_the_usual_ones(read):
    text = one_row(system="Tower")
    assert read(text, systems=("channel", "tower")).orders[0].system == "tower"


def test_changes_of_known_orders_are_shown_as_the_file_spells_them(read):
    old = read(f"{HEAD},note\na,kale,1,2027-04-08,x\nb,kale,1,2027-04-08,\nc,kale,1,2027-04-08,\n")
    a, b, c = old.orders
    new = [
        replace(a, plants=5, wanted_date=date(2027, 4, 9), containers=("p", "q"), partial=True),
        replace(b, status="cancelled"),
        replace(c, id="d"),
    ]
    changes = [
        (each.order, each.kind, each.column, each.before, each.after)
        for each in order_changes(old.orders, new)
    ]
    assert changes == [
        ("a", "changed", "plants", "1", "5"),
        ("a", "changed", "wanted_on", "2027-04-08", "2027-04-09"),
        ("a", "changed", "container", "", "p|q"),
        ("a", "changed", "partial", "no", "yes"),
        ("b", "cancelled", "status", "promised", "cancelled"),
        ("c", "gone", "", "", ""),
        ("d", "new", "", "", ""),
    ]
    assert order_changes(old.orders, old.orders) == []


@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.lists(st.text(max_size=12), min_size=4, max_size=8), max_size=4))
def test_any_text_gives_orders_or_an_input_file_error(read, rows):
    body = "\n".join(",".join(cell.replace('"', '""') for cell in row) for row in rows)
    with contextlib.suppress(InputFileError):  # anything else fails the test
        read(f"{HEAD},latest_on,confidence_frac,repeat_every_d,repeat_until\n{body}\n")


def test_other_spelling_of_a_container_becomes_its_id(read, problems_of):
    def resolve_container(name):
        if name == "72-cell tray":
            return "plug-72"
        raise UnknownNameError(name, "container", ["plug-72"])

    found = read(one_row(container="72-cell tray"), resolve_container=resolve_container)
    assert found.orders[0].containers == ("plug-72",)
    bad = problems_of(read, one_row(container="tray"), resolve_container=resolve_container)
    assert "'plug-72'" in bad[0][3]
