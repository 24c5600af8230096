"""The cells of a file as they are found: bytes, text, rows of a CSV file or a workbook."""

from __future__ import annotations

import csv
import difflib
import io
import warnings
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from sowbench.science.errors import InputFileError, Problem

Cell = str | bool | int | float | date | datetime | time | None

# Limits against a wrong or hostile file; a season of 100,000 orders fits (assumption).
MAX_BYTES = 64 * 1024 * 1024
MAX_UNPACKED_BYTES = 512 * 1024 * 1024
MAX_ROWS = 200_000
MAX_COLUMNS = 500

_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
_ZIP_START = b"PK\x03\x04"
_OLE_START = b"\xd0\xcf\x11\xe0"
_OTHER_STARTS = {
    b"\x89PNG\r\n": "a picture (PNG)",
    b"\xff\xd8\xff": "a picture (JPEG)",
    b"GIF8": "a picture (GIF)",
    b"%PDF-": "a PDF",
}
_UTF16_STARTS = (b"\xff\xfe", b"\xfe\xff")
_UTF8_ADVICE = "Save it as UTF-8: in a spreadsheet program choose 'CSV UTF-8'."


def column_key(header: str) -> str:
    """Fold a header so that case, outer blanks, inner blanks and hyphens make no difference.

    Parameters
    ----------
    header : str
        Header as the file spells it.

    Returns
    -------
    key : str
        Lower-case name with underscores.

    Examples
    --------
    >>> column_key(" Wanted on ")
    'wanted_on'
    """
    return "_".join(header.strip().casefold().replace("-", " ").replace("_", " ").split())


def is_workbook(data: bytes) -> bool:
    """Tell whether the content of a file is that of a workbook, whose cells have types.

    Parameters
    ----------
    data : bytes
        Content of the file.

    Returns
    -------
    is_workbook : bool
        Whether it begins as one.
    """
    return data.startswith(_ZIP_START)


def found_records(
    file: str, data: bytes, columns: Sequence[str], sheet: str = ""
) -> Iterable[Sequence[Cell]]:
    """Yield the rows of a file, blank ones too, as a spreadsheet counts them.

    Parameters
    ----------
    file : str
        Name for messages.
    data : bytes
        Content of the file.
    columns : sequence of str
        Names of our columns, by which the delimiter of a CSV file shows.
    sheet : str, default ""
        Name of the sheet to take from a workbook that has one so named; the first sheet otherwise.

    Returns
    -------
    records : iterable of sequence of Cell
        The cells of each row.

    Raises
    ------
    InputFileError
        If the file cannot be read as a table at all, at once or while it is read.
    """
    if is_workbook(data):
        return _workbook_records(file, data, sheet)
    if data.startswith(_OLE_START):
        raise whole_file(
            file,
            "is an old or password-protected workbook, which cannot be read; save it as XLSX"
            " without a password, or as CSV UTF-8.",
        )
    return _csv_records(file, decode_text(file, data), columns)


def read_bytes(path: str | Path) -> bytes:
    """Read a whole input file, refusing what is missing, empty or too large.

    Parameters
    ----------
    path : str or Path
        File to read.

    Returns
    -------
    data : bytes
        Its content, at least one byte.

    Raises
    ------
    InputFileError
        If there is no such file, or it is empty or larger than 64 MiB.
    """
    file = str(path)
    try:
        with Path(path).open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise whole_file(file, f"There is no such file.{_near_files(Path(path))}") from None
    except IsADirectoryError:
        raise whole_file(file, "is a folder; name the file in it.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise whole_file(file, f"cannot be read: {reason}.") from error
    if len(data) > MAX_BYTES:
        raise whole_file(
            file,
            f"is larger than {MAX_BYTES // 2**20} MiB; is this the right file? Split it if so.",
        )
    if not data:
        raise whole_file(file, "is empty: not one byte is in it.")
    return data


def decode_text(file: str, data: bytes, advice: str = _UTF8_ADVICE) -> str:
    """Decode UTF-8 text with or without a byte-order mark.

    Parameters
    ----------
    file : str
        Name for messages.
    data : bytes
        Content of the file.
    advice : str, default for spreadsheets
        How to save such a file as UTF-8.

    Returns
    -------
    text : str
        The text without the mark.

    Raises
    ------
    InputFileError
        If the bytes are UTF-16 or UTF-32, hold NUL bytes, or are not UTF-8.
    """
    for start, what in _OTHER_STARTS.items():
        if data.startswith(start):
            raise whole_file(
                file,
                f"is {what}, not a table or text that can be read; give the file it was made from.",
            )
    if data[4:8] == b"ftyp":
        raise whole_file(file, "is a photo or a film, not a table or text.")
    if data.startswith(_UTF16_STARTS):
        raise whole_file(file, f"is UTF-16 text, not UTF-8. {advice}")
    at = data.find(b"\0")
    if at >= 0:
        if data[:400].count(b"\0") >= max(1, len(data[:400]) // 3):
            raise whole_file(file, f"looks like UTF-16 or UTF-32 text, not UTF-8. {advice}")
        line = data.count(b"\n", 0, at) + 1
        raise whole_file(
            file,
            f"holds a NUL byte in line {line}: it is no text file, or it is damaged. Save it as CSV"
            " UTF-8 or XLSX once more.",
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # Bytes before the mark is stripped: utf-8-sig counts from after it.
        bad_at = error.start + (3 if data.startswith(b"\xef\xbb\xbf") else 0)
        line = data.count(b"\n", 0, bad_at) + 1
        begin = data.rfind(b"\n", 0, bad_at) + 1
        end = data.find(b"\n", bad_at)
        shown = data[begin : end if end >= 0 else len(data)][:120].decode("cp1252", "replace")
        raise whole_file(
            file,
            f"is not UTF-8: line {line} holds a byte that UTF-8 does not know, most likely an"
            f" accented letter from an older program. {advice}",
            shown.strip(),
        ) from None


def whole_file(file: str, message: str, value: str | None = None) -> InputFileError:
    """Make the error for a file that cannot be used at all.

    Parameters
    ----------
    file : str
        Its name.
    message : str
        What is wrong.
    value : str or None, default None
        What was found.

    Returns
    -------
    error : InputFileError
        To be raised.
    """
    return InputFileError([Problem(file, None, None, value, message)])


def _near_files(path: Path) -> str:
    """Name the files of the same folder that are spelled most like the missing one."""
    try:
        names = sorted(each.name for each in path.parent.iterdir() if each.is_file())
    except (OSError, ValueError):
        return ""
    close = difflib.get_close_matches(path.name, names, n=2, cutoff=0.75)
    return f" Did you mean {' or '.join(repr(each) for each in close)}?" if close else ""


def _csv_records(file: str, text: str, columns: Sequence[str]) -> Iterator[Sequence[Cell]]:
    """Yield the records of a CSV text; a blank line is an empty record, as a spreadsheet counts."""
    known = set(columns)
    delimiter = _delimiter_of(text, known)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    number = 0
    while True:
        number += 1
        try:
            record = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise InputFileError(
                [
                    Problem(
                        file,
                        number,
                        None,
                        None,
                        f"The quotes of this row are not in order ({error}); a cell that holds a"
                        ' quote is written in quotes with the quote doubled: "6"" pot".',
                    )
                ]
            ) from None
        if number == 1 and len(record) <= 2 and record and record[0].casefold().startswith("sep="):
            yield ()  # A hint for spreadsheet programs, not a header.
            continue
        yield list(map(str.strip, record))


def _delimiter_of(text: str, known: set[str]) -> str:
    """Choose the delimiter under which the header shows most of our columns, comma first."""
    header = next(
        (
            line
            for line in text[:100_000].splitlines()
            if line.strip(" \t,;") and not line.casefold().startswith("sep=")
        ),
        "",
    )
    counts = {}
    for delimiter in _DELIMITERS:
        try:
            cells = next(csv.reader([header], delimiter=delimiter), [])
        except csv.Error:
            cells = []
        counts[delimiter] = (len({column_key(each) for each in cells} & known), len(cells))
    # max keeps the first of equals, and the comma comes first; without any known column the
    # delimiter that cuts most says best what the header holds.
    return max(counts, key=lambda each: counts[each])


def _workbook_records(file: str, data: bytes, sheet: str) -> Iterator[Sequence[Cell]]:
    """Yield the rows of one sheet with typed cells, formulas as the values saved with them."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = set(archive.namelist())
            unpacked = sum(each.file_size for each in archive.infolist())
            kind = archive.read("mimetype")[:80] if "mimetype" in names else b""
    except (zipfile.BadZipFile, OSError, ValueError, RuntimeError, NotImplementedError):
        raise whole_file(file, "is a damaged workbook; save it again as XLSX or CSV.") from None
    if b"opendocument" in kind:
        raise whole_file(file, "is an OpenDocument file; save it as XLSX or as CSV UTF-8.")
    if "[Content_Types].xml" not in names:
        raise whole_file(file, "is a ZIP archive but no XLSX workbook; unpack it first.")
    if unpacked > MAX_UNPACKED_BYTES:
        raise whole_file(
            file,
            f"unpacks to more than {MAX_UNPACKED_BYTES // 2**20} MiB; save the one sheet as CSV.",
        )
    try:
        yield from _sheet_records(file, data, sheet)
    except InputFileError:
        raise
    except Exception as error:  # openpyxl fails with anything on a damaged workbook
        raise whole_file(
            file,
            f"is a workbook that cannot be read ({type(error).__name__}); save it again as XLSX, or"
            " as CSV UTF-8.",
        ) from error


def _sheet_records(file: str, data: bytes, sheet: str) -> Iterator[Sequence[Cell]]:
    """Yield rows of the sheet, each beside the same row read with its formulas."""
    import openpyxl

    def opened(*, values: bool) -> Any:
        with warnings.catch_warnings():
            # Styles and validations that openpyxl leaves out do not touch the values.
            warnings.simplefilter("ignore")
            return openpyxl.load_workbook(
                io.BytesIO(data), read_only=True, data_only=values, keep_links=False
            )

    def chosen(book: Any) -> Any:
        sheets = book.worksheets
        if not sheets:
            raise whole_file(file, "is a workbook without a sheet of cells.")
        named = [each for each in sheets if each.title.strip().casefold() == sheet.casefold()]
        return (named or sheets)[0]

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        value_rows = chosen(opened(values=True)).iter_rows(max_col=MAX_COLUMNS, values_only=True)
        formula_rows = chosen(opened(values=False)).iter_rows(max_col=MAX_COLUMNS, values_only=True)
        for number, (values, formulas) in enumerate(
            zip(value_rows, formula_rows, strict=False), start=1
        ):
            unsaved = [
                each
                for value, each in zip(values, formulas, strict=False)
                if value is None and each is not None
            ]
            if unsaved:
                raise InputFileError(
                    [
                        Problem(
                            file,
                            number,
                            None,
                            str(unsaved[0])[:60],
                            "A formula of this row has no saved value; open the workbook in a"
                            " spreadsheet program, let it calculate, and save it.",
                        )
                    ]
                )
            yield [each.strip() if isinstance(each, str) else each for each in values]


def is_blank(cell: Cell) -> bool:
    """Tell whether a cell holds nothing.

    Parameters
    ----------
    cell : Cell
        Any cell.

    Returns
    -------
    blank : bool
        Whether it is None, or text without a letter.
    """
    return cell is None or (isinstance(cell, str) and not cell.strip())
