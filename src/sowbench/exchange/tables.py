"""One reader for every table that comes in: CSV or a workbook, to rows of cells with their numbers.

What a file is shows in its first bytes, not in its name. Nothing is guessed about a value here:
cells stay as they were found, and `exchange.fields` turns them into what a column wants.
"""

from __future__ import annotations

import csv
import difflib
import io
import warnings
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from typing import IO, Any

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
_UTF16_STARTS = (b"\xff\xfe", b"\xfe\xff")
_UTF8_ADVICE = "Save it as UTF-8: in a spreadsheet program choose 'CSV UTF-8'."


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table: its number as a spreadsheet shows it (header: row 1) and its cells."""

    number: int
    cells: Mapping[str, Cell]
    kept_aside: Mapping[str, Cell] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of one file under the names of our columns, and what was found beside them.

    ``kept_aside`` names the columns that are not ours, as the file spells them; ``notes`` says so
    in sentences for the person who gave the file.
    """

    file: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    kept_aside: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


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


@dataclass(frozen=True, slots=True)
class Records:
    """The cells of a table as they were found, before they are put under names.

    Attributes
    ----------
    file : str
        Name for messages.
    columns : mapping of int to str
        Our columns by their position in a record.
    others : mapping of int to str
        Columns that are not ours, as the file spells them.
    numbers : list of int
        Number of each row as a spreadsheet shows it.
    records : list of sequence of Cell
        Cells of each row, as many as the header has.
    problems : list of Problem
        What is wrong with the header, and rows with more cells than it.
    plain : bool
        Whether every cell is text, as in a CSV file.
    """

    file: str
    columns: dict[int, str]
    others: dict[int, str]
    numbers: list[int]
    records: list[Sequence[Cell]]
    problems: list[Problem]
    plain: bool

    def row(self, at: int) -> Row:
        """Return a row with its cells under the names of the columns."""
        record = self.records[at]
        return Row(
            self.numbers[at],
            {name: record[place] for place, name in self.columns.items()},
            {
                name: record[place]
                for place, name in self.others.items()
                if not _is_blank(record[place])
            },
        )

    def kept_aside(self) -> tuple[str, ...]:
        """Name the columns that are not ours and hold anything, or have a name."""
        return tuple(
            name
            for place, name in self.others.items()
            if not name.startswith("column ")
            or any(not _is_blank(each[place]) for each in self.records)
        )


def read_table(
    path: str | Path, columns: Sequence[str], required: Iterable[str], sheet: str = ""
) -> Table:
    """Read a CSV file or a workbook whose first row that is not blank is the header.

    Parameters
    ----------
    path : str or Path
        File to read; shown in messages as given.
    columns : sequence of str
        Names of our columns.
    required : iterable of str
        Those of them that the file must have.
    sheet : str, default ""
        Name of the sheet to take from a workbook that has one so named; the first sheet otherwise.

    Returns
    -------
    table : Table
        Rows that are not blank, with their numbers.

    Raises
    ------
    InputFileError
        If the file cannot be read as a table, or a required column is missing.
    """
    found = read_records(str(path), read_bytes(path), columns, required, sheet)
    if found.problems:
        raise InputFileError(found.problems)
    aside = found.kept_aside()
    return Table(
        found.file,
        tuple(found.columns.values()),
        tuple(found.row(at) for at in range(len(found.records))),
        aside,
        aside_notes(found.file, aside, columns, found.columns.values()),
    )


def read_records(
    file: str,
    data: bytes,
    columns: Sequence[str],
    required: Iterable[str],
    sheet: str = "",
    renamed: Mapping[str, str] | None = None,
) -> Records:
    """Read the content of a CSV file or a workbook, without putting cells under names yet.

    Parameters
    ----------
    file : str
        Name for messages.
    data : bytes
        Content of the file.
    columns : sequence of str
        Names of our columns.
    required : iterable of str
        Those of them that the file must have.
    sheet : str, default ""
        Name of the sheet to take from a workbook that has one so named; the first sheet otherwise.
    renamed : mapping of str to str or None, default None
        Headers of the file that stand for another name.

    Returns
    -------
    records : Records
        The rows; what is wrong with the header, or with the number of cells in a row, is in its
        problems.

    Raises
    ------
    InputFileError
        If the file cannot be read as a table at all.
    """
    plain = not data.startswith(_ZIP_START)
    if not plain:
        found: Iterable[Sequence[Cell]] = _workbook_records(file, data, sheet)
    elif data.startswith(_OLE_START):
        raise _whole_file(
            file,
            "is an old or password-protected workbook, which cannot be read; save it as XLSX"
            " without a password, or as CSV UTF-8.",
        )
    else:
        found = _csv_records(file, decode_text(file, data), columns)
    return _to_records(file, found, columns, tuple(required), renamed or {}, plain=plain)


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
        raise _whole_file(file, f"There is no such file.{_near_files(Path(path))}") from None
    except IsADirectoryError:
        raise _whole_file(file, "is a folder; name the file in it.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise _whole_file(file, f"cannot be read: {reason}.") from error
    if len(data) > MAX_BYTES:
        raise _whole_file(
            file,
            f"is larger than {MAX_BYTES // 2**20} MiB; is this the right file? Split it if so.",
        )
    if not data:
        raise _whole_file(file, "is empty: not one byte is in it.")
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
    if data.startswith(_UTF16_STARTS):
        raise _whole_file(file, f"is UTF-16 text, not UTF-8. {advice}")
    at = data.find(b"\0")
    if at >= 0:
        if data[:400].count(b"\0") >= max(1, len(data[:400]) // 3):
            raise _whole_file(file, f"looks like UTF-16 or UTF-32 text, not UTF-8. {advice}")
        line = data.count(b"\n", 0, at) + 1
        raise _whole_file(
            file, f"holds a NUL byte in line {line}, so it is no text file, or it is damaged."
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # Bytes before the mark is stripped: utf-8-sig counts from after it.
        start = error.start + (3 if data.startswith(b"\xef\xbb\xbf") else 0)
        line = data.count(b"\n", 0, start) + 1
        begin = data.rfind(b"\n", 0, start) + 1
        end = data.find(b"\n", start)
        shown = data[begin : end if end >= 0 else len(data)][:120].decode("cp1252", "replace")
        raise _whole_file(
            file,
            f"is not UTF-8: line {line} holds a byte that UTF-8 does not know, most likely an"
            f" accented letter from an older program. {advice}",
            shown.strip(),
        ) from None


def _whole_file(file: str, message: str, value: str | None = None) -> InputFileError:
    """Make the error for a file that cannot be used at all."""
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
        raise _whole_file(file, "is a damaged workbook; save it again as XLSX or CSV.") from None
    if b"opendocument" in kind:
        raise _whole_file(file, "is an OpenDocument file; save it as XLSX or as CSV UTF-8.")
    if "[Content_Types].xml" not in names:
        raise _whole_file(file, "is a ZIP archive but no XLSX workbook; unpack it first.")
    if unpacked > MAX_UNPACKED_BYTES:
        raise _whole_file(
            file,
            f"unpacks to more than {MAX_UNPACKED_BYTES // 2**20} MiB; save the one sheet as CSV.",
        )
    try:
        yield from _sheet_records(file, data, sheet)
    except InputFileError:
        raise
    except Exception as error:  # openpyxl fails with anything on a damaged workbook
        raise _whole_file(
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
            raise _whole_file(file, "is a workbook without a sheet of cells.")
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


def _to_records(
    file: str,
    found: Iterable[Sequence[Cell]],
    columns: Sequence[str],
    required: tuple[str, ...],
    renamed: Mapping[str, str],
    *,
    plain: bool,
) -> Records:
    """Find the header, keep what is below it, and report what does not fit."""
    problems: list[Problem] = []
    header: list[str] | None = None
    ours: dict[int, str] = {}
    others: dict[int, str] = {}
    numbers: list[int] = []
    records: list[Sequence[Cell]] = []
    n_columns = 0
    for number, record in enumerate(found, start=1):
        if number > MAX_ROWS:
            raise _whole_file(
                file, f"has more than {MAX_ROWS:,} rows; is this the right file? Split it if so."
            )
        if not any(record) and all(map(_is_blank, record)):
            continue
        if header is None:
            header = ["" if each is None else str(each).strip() for each in record]
            header = [renamed.get(each, each) for each in header]
            n_columns = len(header)
            ours, others = _match_header(file, number, header, columns, problems)
            missing = [each for each in required if each not in ours.values()]
            problems += _missing_columns(file, number, header, missing)
            continue
        if len(record) != n_columns:
            beyond = [str(each) for each in record[n_columns:] if not _is_blank(each)]
            if beyond:
                problems.append(
                    Problem(
                        file,
                        number,
                        None,
                        beyond[0],
                        f"This row has {len(record)} cells and the header {n_columns}; put a text"
                        " that holds the delimiter in quotes.",
                    )
                )
            record = [*record[:n_columns], *[None] * (n_columns - len(record))]  # noqa: PLW2901
        numbers.append(number)
        records.append(record)
    if header is None:
        problems.append(
            Problem(file, None, None, None, "is empty; it needs a header row and rows below it.")
        )
    return Records(file, ours, others, numbers, records, problems, plain)


def _is_blank(cell: Cell) -> bool:
    """Tell whether a cell holds nothing."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def _match_header(
    file: str,
    number: int,
    header: Sequence[str],
    columns: Sequence[str],
    problems: list[Problem],
) -> tuple[dict[int, str], dict[int, str]]:
    """Map positions to our columns and to those kept aside; a column twice is a problem."""
    known = {column_key(each): each for each in columns}
    ours: dict[int, str] = {}
    others: dict[int, str] = {}
    for at, text in enumerate(header):
        name = known.get(column_key(text))
        if name is None:
            label = text or f"column {at + 1}"
            others[at] = label if label not in others.values() else f"{label} ({at + 1})"
        elif name in ours.values():
            problems.append(
                Problem(
                    file, number, name, text, "This column stands twice in the header; keep one."
                )
            )
        else:
            ours[at] = name
    return ours, others


def _missing_columns(
    file: str, number: int, header: Sequence[str], missing: Sequence[str]
) -> Iterator[Problem]:
    """Report each required column that the header lacks, with the header most like it."""
    shown = ", ".join(each for each in header if each)[:200]
    keys = {column_key(each): each for each in header if each}
    for name in missing:
        close = difflib.get_close_matches(name, keys, n=1, cutoff=0.6)
        advice = f" Did you mean it by {keys[close[0]]!r}?" if close else ""
        yield Problem(
            file,
            number,
            name,
            shown,
            f"The header lacks the required column {name}.{advice}",
        )


def aside_notes(
    file: str, names: Iterable[str], columns: Sequence[str], found: Iterable[str]
) -> tuple[str, ...]:
    """Say which columns were kept aside, and which of ours they may have been meant for.

    Parameters
    ----------
    file : str
        Name for messages.
    names : iterable of str
        Columns kept aside, as the file spells them.
    columns : sequence of str
        Names of our columns.
    found : iterable of str
        Those of them that the file has.

    Returns
    -------
    notes : tuple of str
        One sentence a column.
    """
    known = set(found)
    left = [each for each in columns if each not in known]
    notes = []
    for name in names:
        close = difflib.get_close_matches(column_key(name), left, n=1, cutoff=0.75)
        advice = f"; did you mean {close[0]}?" if close else "."
        notes.append(f"{file}: the column {name!r} is not used and was kept aside{advice}")
    return tuple(notes)


def open_text(path: Path) -> IO[str]:
    """Open a CSV file for writing as the readers here expect it.

    Parameters
    ----------
    path : Path
        File to write.

    Returns
    -------
    stream : text stream
        UTF-8 with line ends left to the CSV writer.
    """
    return path.open("w", encoding="utf-8", newline="")
