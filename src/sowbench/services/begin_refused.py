"""A file of the first steps that was not right: its bad rows, with what is wrong beside each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sowbench.exchange.seed import COLUMNS as SEED_COLUMNS
from sowbench.exchange.standing import COLUMNS as STANDING_COLUMNS
from sowbench.exchange.tables import read_records
from sowbench.science.errors import InputFileError, Problem
from sowbench.services.book_inputs import base_name


@dataclass(frozen=True, slots=True)
class BadCell:
    """A cell of a row with a problem: its column, what stands there, what is wrong with it."""

    column: str
    text: str
    problems: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row of a file with what is wrong beside it."""

    number: int
    cells: tuple[BadCell, ...]
    problems: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Refused:
    """A file of which nothing was taken.

    Attributes
    ----------
    part : str
        What it was given for.
    file : str
        Its name.
    n_problems : int
        How many things are not right.
    rows : tuple of BadRow
        Its rows with a problem.
    whole : tuple of Problem
        Problems of no row.
    """

    part: str
    file: str
    n_problems: int
    rows: tuple[BadRow, ...]
    whole: tuple[Problem, ...]


def refused(part: str, file: str, content: bytes, problems: Sequence[Problem]) -> Refused:
    """Put the problems of a file beside its rows.

    Parameters
    ----------
    part : str
        What the file was given for.
    file : str
        Its name as given.
    content : bytes
        Its content.
    problems : sequence of Problem
        What is wrong.

    Returns
    -------
    refused : Refused
        The rows with a problem as they stand in the file, and the problems of no row.
    """
    columns = {"seed": SEED_COLUMNS, "standing": STANDING_COLUMNS}.get(part, ())
    rows = _bad_rows(base_name(file), content, columns, part, problems) if columns else ()
    beside = {each.number for each in rows}
    whole = tuple(each for each in problems if each.row not in beside)
    return Refused(part, base_name(file), len(problems), rows, whole)


def _bad_rows(
    file: str, content: bytes, columns: Sequence[str], sheet: str, problems: Sequence[Problem]
) -> tuple[BadRow, ...]:
    """Find the rows with a problem; none if the file is no table."""
    try:
        records = read_records(file, content, columns, (), sheet)
    except InputFileError:
        return ()
    found = []
    for at, number in enumerate(records.numbers):
        here = [each for each in problems if each.row == number]
        if not here:
            continue
        texts = {
            name: "" if cell is None else str(cell) for name, cell in records.row(at).cells.items()
        }
        cells = tuple(
            BadCell(name, text, tuple(each.message for each in here if each.column == name))
            for name, text in texts.items()
            if text or any(each.column == name for each in here)
        )
        others = tuple(each.message for each in here if each.column not in texts)
        found.append(BadRow(number, cells, others))
    return tuple(found)
