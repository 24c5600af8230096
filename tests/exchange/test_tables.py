import contextlib
import io
import zipfile
from datetime import datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sowbench.exchange import cells as raw_cells
from sowbench.exchange import tables
from sowbench.exchange.tables import read_table
from sowbench.science.errors import InputFileError

COLUMNS = ("order", "plants", "note")


def read(path, columns=COLUMNS, required=("order", "plants"), sheet=""):
    return read_table(path, columns, required, sheet)


def cells(table):
    return [(row.number, dict(row.cells)) for row in table.rows]


PLAIN = [(2, {"order": "a", "plants": "12", "note": "x"})]


@pytest.mark.parametrize(
    "text",
    [
        "order,plants,note\na,12,x\n",
        "order;plants;note\na;12;x\n",
        "order\tplants\tnote\na\t12\tx\n",
        "order,plants,note\r\na,12,x\r\n",
        "\ufefforder,plants,note\na,12,x",
        " Order , PLANTS ,Note\n a , 12 ,x\n",
        "note,order,plants\nx,a,12\n",
        '"order","plants","note"\n"a","12","x"\n',
    ],
)
def test_every_usual_form_of_csv_reads_the_same(write, text):
    assert cells(read(write("orders.csv", text))) == PLAIN


def test_semicolon_is_found_though_a_cell_holds_commas(write):
    table = read(write("o.csv", "order;plants;note\na;12;one, two, three, four\n"))
    assert table.rows[0].cells["note"] == "one, two, three, four"


def test_separator_hint_of_a_spreadsheet_is_no_header_and_counts_as_a_row(write):
    assert cells(read(write("o.csv", "sep=;\norder;plants;note\na;12;x\n"))) == [
        (3, {"order": "a", "plants": "12", "note": "x"})
    ]


def test_blank_lines_are_skipped_and_counted_as_a_spreadsheet_counts(write):
    table = read(write("o.csv", "\norder,plants\n\na,1\n,\n\nb,2\n"))
    assert [row.number for row in table.rows] == [4, 7]


def test_extra_columns_are_kept_aside_and_reported_with_what_they_may_mean(write):
    table = read(write("o.csv", "order,plants,nots,field\na,12,hello,7\n"))
    assert table.kept_aside == ("nots", "field")
    assert dict(table.rows[0].kept_aside) == {"nots": "hello", "field": "7"}
    assert "'nots'" in table.notes[0]
    assert "did you mean note?" in table.notes[0]
    assert "'field'" in table.notes[1]


def test_missing_required_columns_are_all_named_with_the_nearest_header(write, problems_of):
    found = problems_of(read, write("o.csv", "ordr,note\na,x\n"))
    assert [(row, column) for row, column, _, _ in found] == [(1, "order"), (1, "plants")]
    assert "'ordr'" in found[0][3]


def test_column_twice_is_refused(write, problems_of):
    found = problems_of(read, write("o.csv", "order,plants,Order\na,1,b\n"))
    assert found[0][:3] == (1, "order", "Order")


def test_row_longer_than_the_header_is_refused_with_advice(write, problems_of):
    found = problems_of(read, write("o.csv", "order,plants,note\na,1,x\nb,2,one,two\n"))
    assert [(row, value) for row, _, value, _ in found] == [(3, "two")]
    assert "quotes" in found[0][3]


def test_open_quote_is_refused_and_not_read_to_the_end_of_the_file(write, problems_of):
    found = problems_of(read, write("o.csv", 'order,plants,note\na,1,"x\nb,2,y\n'))
    assert found[0][0] == 2
    assert "quotes" in found[0][3]


def test_quoted_cell_may_hold_a_line_end(write):
    table = read(write("o.csv", 'order,plants,note\na,1,"x\ny"\nb,2,z\n'))
    assert [row.number for row in table.rows] == [2, 3]
    assert table.rows[0].cells["note"] == "x\ny"


def test_empty_file_is_refused(write, problems_of):
    assert "empty" in problems_of(read, write("o.csv", ""))[0][3]
    assert "empty" in problems_of(read, write("o.csv", "\n , \n"))[0][3]


def test_missing_file_is_refused_with_the_nearest_name(write, problems_of):
    path = write("orders.csv", "order,plants\n")
    found = problems_of(read, path.with_name("order.csv"))
    assert "no such file" in found[0][3].casefold()
    assert "'orders.csv'" in found[0][3]


def test_folder_is_refused(tmp_path, problems_of):
    assert "folder" in problems_of(read, tmp_path)[0][3]


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-32"])
def test_utf16_is_refused_with_advice(write, problems_of, encoding):
    found = problems_of(read, write("o.csv", "order,plants\na,1\n".encode(encoding)))
    assert "UTF-16" in found[0][3]
    assert "UTF-8" in found[0][3]


def test_latin_1_is_refused_with_line_text_and_advice(write, problems_of):
    data = "order,plants\na,1\nendürée,2\n".encode("latin-1")
    for head in (b"", b"\xef\xbb\xbf"):
        found = problems_of(read, write("o.csv", head + data))
        assert "line 3" in found[0][3]
        assert "CSV UTF-8" in found[0][3]
        assert found[0][2] == "endürée,2"


def test_nul_byte_is_refused_with_its_line(write, problems_of):
    found = problems_of(read, write("o.csv", b"order,plants\na,1\nb,\x002\n"))
    assert "NUL byte in line 3" in found[0][3]


@pytest.mark.parametrize(
    ("start", "what"),
    [
        (b"\x89PNG\r\n\x1a\n\0\0", "a picture (PNG)"),
        (b"\xff\xd8\xff\xe0\0\x10JFIF", "a picture (JPEG)"),
        (b"\0\0\0\x18ftypheic", "a photo"),
    ],
)
def test_a_picture_is_called_one(write, problems_of, start, what):
    found = problems_of(read, write("o.csv", start + b"\0" * 50))
    assert f"is {what}" in found[0][3]


def test_file_too_large_is_refused(write, problems_of, monkeypatch):
    monkeypatch.setattr(raw_cells, "MAX_BYTES", 20)
    found = problems_of(read, write("o.csv", "order,plants\na,1\nb,2\nc,3\n"))
    assert "larger than" in found[0][3]


def test_too_many_rows_are_refused(write, problems_of, monkeypatch):
    monkeypatch.setattr(tables, "MAX_ROWS", 3)
    found = problems_of(read, write("o.csv", "order,plants\na,1\nb,2\nc,3\n"))
    assert "more than 3 rows" in found[0][3]


def test_cell_longer_than_the_reader_takes_is_refused(write, problems_of):
    found = problems_of(read, write("o.csv", "order,plants\n" + "a" * 200_000 + ",1\n"))
    assert found[0][0] == 2


def test_workbook_reads_with_typed_cells(write, workbook):
    day = datetime(2027, 3, 8)  # noqa: DTZ001  a workbook's day has no zone
    data = workbook(
        [["Order", "Plants", "Note"], ["a", 12, day], [None, None, None], ["b", 3, 1.5]]
    )
    table = read(write("o.xlsx", data))
    assert cells(table) == [
        (2, {"order": "a", "plants": 12, "note": day}),
        (4, {"order": "b", "plants": 3, "note": 1.5}),
    ]


@pytest.mark.parametrize("name", ["orders.csv", "orders.xlsx", "orders"])
def test_content_and_not_the_name_says_what_a_file_is(write, workbook, name):
    rows = [["order", "plants", "note"], ["a", "12", "x"]]
    assert cells(read(write(name, workbook(rows)))) == PLAIN
    assert cells(read(write(name, "order,plants,note\na,12,x\n"))) == PLAIN


def test_sheet_of_the_name_is_taken_and_the_first_one_otherwise(write, workbook):
    rows = [["order", "plants"], ["a", 1]]
    path = write("o.xlsx", workbook({"Cover": [["hello"]], "Orders": rows}))
    assert read(path, sheet="orders").rows[0].cells == {"order": "a", "plants": 1}
    path = write("o.xlsx", workbook({"Spring": rows, "Other": [["hello"]]}))
    assert read(path, sheet="orders").rows[0].cells == {"order": "a", "plants": 1}


def test_formula_without_a_saved_value_is_refused(write, workbook, problems_of):
    path = write("o.xlsx", workbook([["order", "plants"], ["a", "=1+1"]]))
    found = problems_of(read, path)
    assert (found[0][0], found[0][2]) == (2, "=1+1")
    assert "save" in found[0][3]


def test_formula_with_a_saved_value_reads_as_the_value(write, workbook):
    data = workbook([["order", "plants"], ["a", "=40+2"]])
    # openpyxl saves no values; a spreadsheet program writes them beside the formula like this.
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name.endswith("sheet1.xml"):
                assert b"<v />" in content or b"<v/>" in content
                content = content.replace(b"<v />", b"<v>42</v>").replace(b"<v/>", b"<v>42</v>")
            new.writestr(name, content)
    assert read(write("o.xlsx", out.getvalue())).rows[0].cells["plants"] == 42


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"\xd0\xcf\x11\xe0" + b"x" * 600, "password"),
        (b"PK\x03\x04" + b"x" * 600, "damaged"),
    ],
)
def test_other_workbooks_are_refused_with_advice(write, problems_of, data, word):
    assert word in problems_of(read, write("o.xlsx", data))[0][3]


def zipped(files):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return stream.getvalue()


def test_open_document_and_other_archives_are_refused_with_advice(write, problems_of):
    ods = zipped({"mimetype": "application/vnd.oasis.opendocument.spreadsheet"})
    assert "OpenDocument" in problems_of(read, write("o.ods", ods))[0][3]
    assert "ZIP" in problems_of(read, write("o.zip", zipped({"a.csv": "order"})))[0][3]
    broken = zipped({"[Content_Types].xml": "<x", "xl/workbook.xml": "<x"})
    assert "cannot be read" in problems_of(read, write("o.xlsx", broken))[0][3]


def test_workbook_that_unpacks_too_large_is_refused(write, workbook, problems_of, monkeypatch):
    monkeypatch.setattr(raw_cells, "MAX_UNPACKED_BYTES", 100)
    found = problems_of(read, write("o.xlsx", workbook([["order", "plants"], ["a", 1]])))
    assert "unpacks" in found[0][3]


QUIET = settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])


@QUIET
@given(data=st.binary(max_size=300))
def test_any_bytes_give_a_table_or_an_input_file_error(tmp_path, data):
    path = tmp_path / "any"
    path.write_bytes(data)
    with contextlib.suppress(InputFileError):  # anything else fails the test
        read(path)


@QUIET
@given(at=st.integers(0, 4000), byte=st.integers(0, 255))
def test_a_damaged_workbook_gives_a_table_or_an_input_file_error(tmp_path, workbook, at, byte):
    data = bytearray(workbook([["order", "plants"], ["a", 1], ["b", 2]]))
    data[at % len(data)] = byte
    path = tmp_path / "any.xlsx"
    path.write_bytes(bytes(data))
    with contextlib.suppress(InputFileError):  # anything else fails the test
        read(path)
