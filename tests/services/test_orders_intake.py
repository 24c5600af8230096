"""Orders from a file: looked at row by row, mended, and only then taken."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import openpyxl
import pytest

from sowbench.bootstrap import open_desk
from sowbench.domain.records import Order
from sowbench.exchange.orders import COLUMNS
from sowbench.science.errors import InputFileError, UnknownNameError
from sowbench.services.desk import Desk
from sowbench.services.orders_intake import (
    Intake,
    SeenOtherwiseError,
    keep_file,
    look,
    mend,
    take,
)
from sowbench.services.orders_mending import for_all, likely_header, missing_columns, suggestions

HEADER = "order,customer,crop,plants,wanted_on,note\n"
GOOD = HEADER + "leeks,Long Field,leek,6000,2027-05-20,\nsalad,Kitchen,lettuce,240,2027-03-08,\n"


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """An empty book."""
    with open_desk(tmp_path / "book") as opened:
        yield opened


def give(desk: Desk, text: str | bytes, name: str = "orders.csv") -> Intake:
    """Give a file and look at it."""
    data = text if isinstance(text, bytes) else text.encode()
    return look(desk, keep_file(desk, name, data))


def orders_of(desk: Desk) -> dict[str, Order]:
    """Return the orders of the book by name."""
    with desk.book.reading() as unit:
        return {each.id: each for each in unit.orders.all()}


def test_nothing_is_taken_by_looking(desk: Desk) -> None:
    intake = give(desk, GOOD)

    assert intake.ready
    assert [each.id for each in intake.new] == ["leeks", "salad"]
    assert not orders_of(desk)


def test_a_file_that_is_right_is_taken_with_its_name_as_the_reason(desk: Desk) -> None:
    taken = take(desk, give(desk, GOOD).id)

    assert (taken.n_new, taken.n_changed) == (2, 0)
    assert orders_of(desk)["leeks"].plants == 6000
    with desk.book.reading() as unit:
        assert [each.reason for each in unit.orders.history("leeks")] == [
            "taken in from orders.csv"
        ]


def test_a_bad_cell_is_mended_without_giving_the_file_again(desk: Desk) -> None:
    intake = give(desk, GOOD.replace(",leek,", ",leak,").replace("2027-03-08", "8.3.2027"))
    assert [(each.row, each.column) for each in intake.problems] == [(2, "crop"), (3, "wanted_on")]
    assert not intake.ready
    with pytest.raises(InputFileError):
        take(desk, intake.id)
    assert not orders_of(desk)

    mend(desk, intake.id, {(2, "crop"): "leek", (3, "wanted_on"): "2027-03-08"}, {}, {})

    assert look(desk, intake.id).ready
    take(desk, intake.id)
    assert orders_of(desk)["salad"].wanted_date == date(2027, 3, 8)


def test_a_column_that_the_file_lacks_can_be_filled_by_mending(desk: Desk) -> None:
    text = "order,crop,plants,wanted_on,repeat_every_d\nsalad,lettuce,9,2027-03-08,7\n"
    intake = give(desk, text)
    assert [each.column for each in intake.problems] == ["repeat_every_d"]

    mend(desk, intake.id, {(2, "repeat_until"): "2027-03-22"}, {}, {})

    assert [each.id for each in look(desk, intake.id).new] == [
        "salad/2027-03-08",
        "salad/2027-03-15",
        "salad/2027-03-22",
    ]


def test_a_row_can_be_left_out_and_brought_back(desk: Desk) -> None:
    intake = give(desk, GOOD.replace("6000", "0"))
    mend(desk, intake.id, {}, {2: True}, {})
    without = look(desk, intake.id)
    assert without.ready
    assert [each.id for each in without.new] == ["salad"]

    mend(desk, intake.id, {}, {2: False}, {})

    assert [each.column for each in look(desk, intake.id).problems] == ["plants"]


def test_a_column_of_another_name_is_taken_once_a_person_says_so(desk: Desk) -> None:
    intake = give(desk, GOOD.replace("wanted_on", "Liefertag").replace("plants", "Plant count"))
    assert missing_columns(intake) == ("plants", "wanted_on")
    assert likely_header("plants", intake.headers) == "Plant count"

    mend(desk, intake.id, {}, {}, {"Liefertag": "wanted_on", "Plant count": "plants"})

    assert look(desk, intake.id).ready


def test_a_known_order_is_shown_as_a_difference_and_can_be_left_as_it_is(desk: Desk) -> None:
    take(desk, give(desk, GOOD).id)

    intake = give(desk, GOOD.replace("6000", "5000").replace("240", "300"))
    assert not intake.new
    assert [(each.before.plants, each.after.plants) for each in intake.changed] == [
        (6000, 5000),
        (240, 300),
    ]
    take(desk, intake.id, frozenset({"salad"}))

    assert {name: each.plants for name, each in orders_of(desk).items()} == {
        "leeks": 5000,
        "salad": 240,
    }


def test_what_a_file_has_no_column_for_stays_as_it_is(desk: Desk) -> None:
    full = (
        "order,customer,crop,variety,plants,wanted_on,earliest_on,latest_on,system,note\n"
        "k,Long Field,kale,Dark,60,2027-05-10,2027-05-08,2027-05-14,field,by the gate\n"
    )
    take(desk, give(desk, full).id)

    intake = give(desk, "order,crop,plants,wanted_on\nk,kale,80,2027-05-12\n")
    take(desk, intake.id)

    order = orders_of(desk)["k"]
    assert (order.plants, order.customer, order.variety) == (80, "Long Field", "Dark")
    assert (order.system, order.note) == ("field", "by the gate")
    assert (order.earliest_date, order.latest_date) == (date(2027, 5, 10), date(2027, 5, 16))


def test_a_blank_cell_of_a_column_that_is_there_is_taken_as_blank(desk: Desk) -> None:
    take(desk, give(desk, GOOD).id)

    intake = give(desk, GOOD.replace("Long Field", ""))

    assert [each.after.customer for each in intake.changed] == [""]


def test_a_file_taken_again_changes_nothing(desk: Desk) -> None:
    take(desk, give(desk, GOOD).id)

    intake = give(desk, GOOD)

    assert intake.n_same == 2
    assert not intake.ready


def test_a_drop_that_stands_alone_in_a_file_stays_a_drop(desk: Desk) -> None:
    standing = (
        "order,crop,plants,wanted_on,repeat_every_d,repeat_until\n"
        "salad,lettuce,240,2027-03-08,7,2027-03-22\n"
    )
    take(desk, give(desk, standing).id)

    intake = give(desk, "order,crop,plants,wanted_on\nsalad/2027-03-15,lettuce,300,2027-03-15\n")
    assert intake.n_others == 2
    take(desk, intake.id)

    drop = orders_of(desk)["salad/2027-03-15"]
    assert (drop.plants, drop.standing_of) == (300, "salad")


def test_what_was_looked_at_must_still_hold_when_it_is_taken(desk: Desk) -> None:
    intake = give(desk, GOOD)
    other = give(desk, GOOD.replace("6000", "100"))
    take(desk, other.id)

    with pytest.raises(SeenOtherwiseError, match=r"Look at it once more"):
        take(desk, intake.id)

    assert orders_of(desk)["leeks"].plants == 100
    assert [each.before.plants for each in look(desk, intake.id).changed] == [100]


def test_stray_columns_are_said_and_not_taken(desk: Desk) -> None:
    text = GOOD.replace(",note\n", ",wagon\n")

    intake = give(desk, text)

    assert intake.ready
    assert "'wagon' is not used" in intake.notes[0]


def test_a_workbook_is_read_as_a_csv_file_is(desk: Desk) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Order", "Crop", "Plants", "Wanted on"])
    sheet.append(["leeks", "leek", 6000, date(2027, 5, 20)])
    stream = io.BytesIO()
    book.save(stream)

    intake = give(desk, stream.getvalue(), "from the office.xlsx")

    assert [(each.id, each.plants) for each in intake.new] == [("leeks", 6000)]


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"\xff\xfeo\0r\0", "UTF-16"),
        (b"PK\x03\x04nonsense", "damaged workbook"),
        (b"\xd0\xcf\x11\xe0....", "old or password-protected"),
        (b"%PDF-1.7\n\x00\x01", "is a PDF"),
        (b"\n\n  \n", "empty"),
        (b"order,crop,plants,wanted_on\n", "no order below"),
    ],
)
def test_what_is_no_table_of_orders_says_what_it_is(desk: Desk, data: bytes, word: str) -> None:
    intake = give(desk, data)

    assert not intake.ready
    assert word in " ".join(each.message for each in intake.problems)


def test_a_crop_like_none_is_refused_with_where_they_are_listed(desk: Desk) -> None:
    intake = give(desk, b"order,crop,plants,wanted_on\na,dragonfruit,5,2027-05-20\n")

    (problem,) = intake.problems
    assert "handbook" in problem.message
    assert "[[crop]]" in problem.message


def test_an_empty_file_is_refused_and_not_kept(desk: Desk) -> None:
    with pytest.raises(InputFileError, match="empty"):
        keep_file(desk, "orders.csv", b"")

    assert not list(desk.data.glob("intake/*"))


def test_the_name_of_a_file_leads_nowhere(desk: Desk) -> None:
    intake_id = keep_file(desk, "..\\..\\..//etc/../book.sqlite", GOOD.encode())

    assert look(desk, intake_id).edits.name == "book.sqlite"
    for wrong in ("../../book", "0" * 31, "g" * 32, "0" * 32):
        with pytest.raises(UnknownNameError):
            look(desk, wrong)


def test_a_file_is_gone_once_it_is_taken(desk: Desk) -> None:
    intake = give(desk, GOOD)
    take(desk, intake.id)

    with pytest.raises(UnknownNameError):
        take(desk, intake.id)
    assert not list((desk.data / "intake").iterdir())


def test_many_orders_are_taken_in_at_once(desk: Desk) -> None:
    rows = "".join(f"B{at:06},,leek,{at % 900 + 1},2027-05-20,\n" for at in range(100_000))

    intake = give(desk, HEADER + rows)
    assert len(intake.new) == 100_000
    take(desk, intake.id)

    with desk.book.reading() as unit:
        assert unit.orders_page.n_orders() == 100_000
        order = unit.orders.get("B099999")
    assert order is not None
    assert order.plants == 99_999 % 900 + 1


@pytest.mark.parametrize(
    ("row", "column", "likely"),
    [
        ("a,,leak,10,2027-05-20,", "crop", "leek"),
        ("a,,leek,10,20.5.2027,", "wanted_on", "2027-05-20"),
        ("a,,leek,10,03/08/2027,", "wanted_on", "2027-08-03"),
        ('a,,leek,"1,200",2027-05-20,', "plants", "1200"),
        ("a,,leek,1 200,2027-05-20,", "plants", "1200"),
        ("a,,leek,60 plants,2027-05-20,", "plants", "60"),
    ],
)
def test_what_is_likely_meant_is_offered(desk: Desk, row: str, column: str, likely: str) -> None:
    (problem,) = give(desk, HEADER + row + "\n").problems

    assert problem.column == column
    assert suggestions(problem)[0] == likely
    assert column in COLUMNS


def ways_of(desk: Desk, *rows: str) -> dict[str, dict[int, str]]:
    """Return how a file with these crops, plants and days can be mended in many rows at once."""
    head = "order;crop;plants;wanted_on\n"
    lines = "".join(f"{at};{each}\n" for at, each in enumerate(rows))
    intake = give(desk, (head + lines).encode())
    return {each.key: dict(each.texts) for each in for_all(intake.problems)}


def test_days_in_another_order_are_mended_in_all_rows_at_once(desk: Desk) -> None:
    ways = ways_of(desk, "leek;5;15.05.2027", "leek;5;04.05.2027", "leek;5;20.5.27")

    days = {2: "2027-05-15", 3: "2027-05-04", 4: "2027-05-20"}
    assert ways == {"wanted_on.day": days}


def test_days_that_may_stand_in_either_order_can_be_read_in_both(desk: Desk) -> None:
    ways = ways_of(desk, "leek;5;03/04/2027", "leek;5;05/04/2027")

    assert ways["wanted_on.day"] == {2: "2027-04-03", 3: "2027-04-05"}
    assert ways["wanted_on.month"] == {2: "2027-03-04", 3: "2027-05-04"}


def test_days_in_no_single_order_are_mended_only_where_they_are_sure(desk: Desk) -> None:
    ways = ways_of(desk, "leek;5;15/04/2027", "leek;5;04/15/2027", "leek;5;05/04/2027")

    assert ways == {"wanted_on.sure": {2: "2027-04-15", 3: "2027-04-15"}}


def test_numbers_and_names_are_mended_in_all_rows_at_once(desk: Desk) -> None:
    ways = ways_of(desk, "leeek;6.000;2027-05-20", "leeek;1.200;2027-05-20", "leek;0;2027-05-20")

    assert ways == {"plants.whole": {2: "6000", 3: "1200"}, "crop.leeek": {2: "leek", 3: "leek"}}


def test_one_row_is_mended_where_it_stands(desk: Desk) -> None:
    assert not ways_of(desk, "leek;6.000;15.05.2027")
