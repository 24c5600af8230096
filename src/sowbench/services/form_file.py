"""What a form says, as the one-row file that the reader of such files checks."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from sowbench.science.errors import InputFileError, Problem

T = TypeVar("T")


def read_form(
    file: str, columns: Sequence[str], values: Mapping[str, str], reader: Callable[[Path], T]
) -> tuple[T | None, tuple[Problem, ...]]:
    """Let the reader of a table check one row that was filled in on a page.

    Parameters
    ----------
    file : str
        Name of the file it stands for, as messages show it.
    columns : sequence of str
        Its columns.
    values : mapping of str to str
        Text by column; what is absent is blank.
    reader : callable
        Reads the file at a path.

    Returns
    -------
    read : object or None
        What the reader gave; None if something is wrong.
    problems : tuple of Problem
        What is wrong, by column.
    """
    with tempfile.TemporaryDirectory(prefix="sowbench-") as folder:
        path = Path(folder) / file
        with path.open("w", encoding="utf-8", newline="") as opened:
            writer = csv.writer(opened)
            writer.writerow(columns)
            # A line break would end the row for some who open such a file later.
            writer.writerow([" ".join(values.get(each, "").split()) for each in columns])
        return _read(path, file, reader)


def read_upload(
    file: str, content: bytes, reader: Callable[[Path], T]
) -> tuple[T | None, tuple[Problem, ...]]:
    """Let the reader of a table check a file that was sent in.

    Parameters
    ----------
    file : str
        Name of the file, as messages show it.
    content : bytes
        Its content.
    reader : callable
        Reads the file at a path.

    Returns
    -------
    read : object or None
        What the reader gave; None if something is wrong.
    problems : tuple of Problem
        What is wrong, by row and column.
    """
    with tempfile.TemporaryDirectory(prefix="sowbench-") as folder:
        path = Path(folder) / "upload"
        path.write_bytes(content)
        return _read(path, file, reader)


def _read(
    path: Path, file: str, reader: Callable[[Path], T]
) -> tuple[T | None, tuple[Problem, ...]]:
    """Read a file, naming it in problems as the person does."""
    try:
        return reader(path), ()
    except InputFileError as error:
        return None, tuple(
            replace(each, file=file, message=each.message.replace(str(path), file))
            for each in error.problems
        )


def by_field(problems: Sequence[Problem]) -> dict[str, list[str]]:
    """Sort problems by the field they are about.

    Parameters
    ----------
    problems : sequence of Problem
        Problems.

    Returns
    -------
    found : dict of str to list of str
        Messages by column; those of the whole row under "".
    """
    found: dict[str, list[str]] = {}
    for each in problems:
        found.setdefault(each.column or "", []).append(each.message)
    return found
