"""Rows read many at once give what rows read one by one give, and leave the odd ones alone."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sowbench.exchange.fields import Fields
from sowbench.exchange.order_rows import OrderWords, quick_lines, read_line
from sowbench.exchange.orders import COLUMNS, REQUIRED, check_orders
from sowbench.exchange.tables import read_records
from sowbench.reference.catalog import load_catalog

CATALOG = load_catalog()
WORDS = OrderWords(
    resolve_crop=CATALOG.crop_id,
    crop_unit=lambda crop: CATALOG.crops[crop].unit,
    containers=CATALOG.containers,
    resolve_container=CATALOG.container_id,
)
CELLS = {
    "order": st.sampled_from(["a", "b", "", "c|d", "'=x"]),
    "customer": st.sampled_from(["", "Long Field", "#N/A", "'+49"]),
    "crop": st.sampled_from(["lettuce", "Lettuce", "letuce", "", "leek"]),
    "variety": st.sampled_from(["", "Winterlong"]),
    "substitutes": st.sampled_from(["", "A|B"]),
    "plants": st.sampled_from(["10", "10.0", "0", "1,200", "many", ""]),
    "unit": st.sampled_from(["", "plants", "clump", "box"]),
    "wanted_on": st.sampled_from(["2027-03-08", "8.3.2027", "", "2027-02-30"]),
    "earliest_on": st.sampled_from(["", "2027-03-01", "2027-03-20"]),
    "latest_on": st.sampled_from(["", "2027-03-10", "2027-03-01"]),
    "repeat_every_d": st.sampled_from(["", "7", "x"]),
    "repeat_until": st.sampled_from(["", "2027-04-08"]),
    "system": st.sampled_from(["", "field", "Raft", "moon"]),
    "container": st.sampled_from(["", "plug-128", "plug-128|tray"]),
    "confidence_frac": st.sampled_from(["", "0.9", "95", "95 %"]),
    "min_frac": st.sampled_from(["", "0.5", "0"]),
    "partial": st.sampled_from(["", "yes", "maybe"]),
    "organic": st.sampled_from(["", "n"]),
    "handover": st.sampled_from(["", "in trays", "cart"]),
    "status": st.sampled_from(["", "asked", "canceled", "lost"]),
    "note": st.sampled_from(["", "gate", "#REF!"]),
}


@settings(max_examples=150, deadline=None)
@given(st.lists(st.fixed_dictionaries(CELLS), min_size=1, max_size=6))
def test_rows_read_at_once_are_what_each_gives_by_itself(rows: list[dict[str, str]]) -> None:
    text = ",".join(COLUMNS) + "\n"
    for row in rows:
        text += ",".join('"' + row[each].replace('"', '""') + '"' for each in COLUMNS) + "\n"
    records = read_records("orders.csv", text.encode(), COLUMNS, REQUIRED)

    quick = quick_lines(records, WORDS)

    for at in range(len(records.records)):
        problems: list[object] = []
        alone = read_line(Fields(records, records.row(at), problems), WORDS)  # type: ignore[arg-type]
        if quick[at] is not None:
            assert quick[at] == alone
        else:
            assert alone is None or alone.repeat_every_d is not None


def test_a_good_row_beside_a_bad_one_is_still_an_order() -> None:
    data = b"order,crop,plants,wanted_on\na,leek,10,2027-05-20\nb,leak,0,2027-05-20\n"
    records = read_records("orders.csv", data, COLUMNS, REQUIRED)

    checked = check_orders(records, words=WORDS)

    assert [each.id for each in checked.orders] == ["a"]
    assert [(each.row, each.column) for each in checked.problems] == [(3, "crop"), (3, "plants")]
    assert [each.number for each in checked.bad_rows] == [3]


def test_a_workbook_keeps_one_and_true_apart(tmp_path: Path) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["order", "crop", "plants", "wanted_on", "organic"])
    sheet.append([1, "leek", 1, date(2027, 5, 20), True])
    sheet.append([2, "leek", 1.0, date(2027, 5, 20), False])
    sheet.append([3, "leek", True, date(2027, 5, 20), 1])
    path = tmp_path / "orders.xlsx"
    book.save(path)

    records = read_records("orders.xlsx", path.read_bytes(), COLUMNS, REQUIRED)
    checked = check_orders(records, words=WORDS)

    assert [(each.id, each.plants, each.organic) for each in checked.orders] == [
        ("1", 1, True),
        ("2", 1, False),
    ]
    assert {(each.row, each.column) for each in checked.problems} == {(4, "plants"), (4, "organic")}


@pytest.mark.parametrize("renamed", [{"Wanted": "wanted_on"}, {"Stück": "plants"}])
def test_a_header_can_stand_for_another_column(renamed: dict[str, str]) -> None:
    header = {"plants": "plants", "wanted_on": "wanted_on"}
    header |= {ours: theirs for theirs, ours in renamed.items()}
    text = f"order,crop,{header['plants']},{header['wanted_on']}\na,leek,10,2027-05-20\n"

    without = read_records("o.csv", text.encode(), COLUMNS, REQUIRED)
    found = read_records("o.csv", text.encode(), COLUMNS, REQUIRED, renamed=renamed)

    assert without.problems
    assert not found.problems
    assert check_orders(found, words=WORDS).orders[0].plants == 10
