"""One reader for every table that comes in: CSV or a workbook, to rows of cells with their numbers.

What a file is shows in its first bytes, not in its name. Nothing is guessed about a value here:
cells stay as they were found, and `exchange.fields` turns them into what a column wants.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from sowbench.exchange.cells import (
    MAX_ROWS,
    Cell,
    column_key,
    decode_text,
    found_records,
    is_blank,
    is_workbook,
    read_bytes,
    whole_file,
)
from sowbench.science.errors import InputFileError, Problem

__all__ = [
    "Cell",
    "Records",
    "Row",
    "Table",
    "aside_notes",
    "column_key",
    "decode_text",
    "open_text",
    "read_bytes",
    "read_records",
    "read_table",
]


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
                if not is_blank(record[place])
            },
        )

    def kept_aside(self) -> tuple[str, ...]:
        """Name the columns that are not ours and hold anything, or have a name."""
        return tuple(
            name
            for place, name in self.others.items()
            if not name.startswith("column ")
            or any(not is_blank(each[place]) for each in self.records)
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
    found = found_records(file, data, columns, sheet)
    plain = not is_workbook(data)
    return _to_records(file, found, columns, tuple(required), renamed or {}, plain=plain)


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
            raise whole_file(
                file, f"has more than {MAX_ROWS:,} rows; is this the right file? Split it if so."
            )
        if not any(record) and all(map(is_blank, record)):
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
            beyond = [str(each) for each in record[n_columns:] if not is_blank(each)]
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
