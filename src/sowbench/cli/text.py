"""Text for a terminal: paragraphs and tables that fit a width, with or without wide letters."""

from __future__ import annotations

import shutil
import sys
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import click

WIDTH: Final = 100
_LEAST_WIDTH: Final = 60
_GAP: Final = "  "


def page_width() -> int:
    """Return the columns to fill: those of the terminal, at most 100, at least 60.

    Returns
    -------
    width : int
        Columns.
    """
    if not sys.stdout.isatty():
        return WIDTH
    return max(_LEAST_WIDTH, min(WIDTH, shutil.get_terminal_size((WIDTH, 24)).columns))


def columns_of(text: str) -> int:
    """Count the columns that a text takes on a terminal.

    Parameters
    ----------
    text : str
        One line.

    Returns
    -------
    n_columns : int
        Wide letters count two, marks over a letter none.
    """
    n_columns = 0
    for letter in text:
        if unicodedata.combining(letter) or unicodedata.category(letter) in {"Mn", "Me", "Cf"}:
            continue
        n_columns += 2 if unicodedata.east_asian_width(letter) in {"W", "F"} else 1
    return n_columns


def plain(text: str) -> str:
    """Take out of a text what would move the cursor or change the look of a terminal.

    Parameters
    ----------
    text : str
        Text that may come from a file.

    Returns
    -------
    text : str
        Control letters become blanks.
    """
    return "".join(
        " " if unicodedata.category(letter) in {"Cc", "Zl", "Zp"} else letter for letter in text
    )


def wrap(text: str, width: int, indent: str = "", lead: str | None = None) -> list[str]:
    """Break a text into lines.

    Parameters
    ----------
    text : str
        Words; runs of blanks are one.
    width : int
        Most columns of a line.
    indent : str, default ""
        Before each line.
    lead : str or None, default None
        Before the first line in place of the indent.

    Returns
    -------
    lines : list of str
        At least one; a word that is too long is broken.
    """
    start = indent if lead is None else lead
    lines: list[str] = []
    line, empty = start, True
    for word in plain(text).split():
        rest = word
        if not empty and columns_of(line) + 1 + columns_of(rest) <= width:
            line += " " + rest
            continue
        if not empty:
            lines.append(line)
            line = indent
        while columns_of(line) + columns_of(rest) > width:
            head = _fitting(rest, max(width - columns_of(line), 1))
            lines.append(line + head)
            line, rest = indent, rest[len(head) :]
        line += rest
        empty = False
    if not empty or not lines:
        lines.append(line)
    return [each.rstrip() for each in lines]


def _fitting(word: str, width: int) -> str:
    """Return the longest beginning of a word that fits; at least one letter."""
    end = 1
    while end < len(word) and columns_of(word[: end + 1]) <= width:
        end += 1
    return word[:end]


def pad(text: str, width: int, *, right: bool = False) -> str:
    """Fill a text with blanks to a width.

    Parameters
    ----------
    text : str
        One line.
    width : int
        Columns.
    right : bool, default False
        Whether the blanks come before it.

    Returns
    -------
    text : str
        As wide as asked, or wider if it was.
    """
    blanks = " " * max(width - columns_of(text), 0)
    return blanks + text if right else text + blanks


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table.

    Attributes
    ----------
    head : str
        What it is headed.
    right : bool
        Whether it stands to the right, as numbers do.
    flexible : bool
        Whether its cells may be broken into several lines to make the table fit.
    least : int
        Fewest columns of a flexible one.
    """

    head: str
    right: bool = False
    flexible: bool = False
    least: int = 10


def table(
    columns: Sequence[Column],
    rows: Iterable[Sequence[str]],
    width: int = WIDTH,
    indent: str = "",
) -> list[str]:
    """Set rows in columns.

    Parameters
    ----------
    columns : sequence of Column
        The columns; a column whose cells are all blank is left out.
    rows : iterable of sequence of str
        Cells by row.
    width : int, default 100
        Most columns of a line.
    indent : str, default ""
        Before each line.

    Returns
    -------
    lines : list of str
        Header and rows; none if there is no row.
    """
    cells = [[plain(cell) for cell in row] for row in rows]
    shown = [at for at in range(len(columns)) if any(row[at].strip() for row in cells)]
    if not shown:
        return []
    heads = [columns[at] for at in shown]
    cells = [[row[at] for at in shown] for row in cells]
    widths = _widths(heads, cells, width - columns_of(indent))
    lines = []
    if any(each.head for each in heads):
        lines = _set([each.head for each in heads], heads, widths, indent)
    for row in cells:
        lines += _set(row, heads, widths, indent)
    return lines


def _widths(columns: Sequence[Column], cells: Sequence[Sequence[str]], room: int) -> list[int]:
    """Give each column what it needs, the flexible ones less until all fit."""
    widths = [
        max(columns_of(each.head), *(columns_of(row[at]) for row in cells))
        for at, each in enumerate(columns)
    ]
    over = sum(widths) + len(_GAP) * (len(widths) - 1) - room
    while over > 0:
        able = [
            at for at, each in enumerate(columns) if each.flexible and widths[at] > each.least
        ] or [at for at, each in enumerate(widths) if each > 1]
        if not able:
            break
        widest = max(able, key=lambda at: widths[at])
        widths[widest] -= 1
        over -= 1
    return widths


def _set(
    cells: Sequence[str], columns: Sequence[Column], widths: Sequence[int], indent: str
) -> list[str]:
    """Set one row, of as many lines as its longest cell takes."""
    broken = [wrap(cell, width) for cell, width in zip(cells, widths, strict=True)]
    lines = []
    for at in range(max(map(len, broken))):
        parts = [
            pad(part[at] if at < len(part) else "", width, right=column.right)
            for part, width, column in zip(broken, widths, columns, strict=True)
        ]
        lines.append((indent + _GAP.join(parts)).rstrip())
    return lines


def heading(text: str) -> str:
    """Make a heading stand out on a terminal; elsewhere it is plain.

    Parameters
    ----------
    text : str
        The heading.

    Returns
    -------
    text : str
        Bold on a terminal.
    """
    return click.style(text, bold=True) if sys.stdout.isatty() else text


def block(title: str, lines: Iterable[str]) -> list[str]:
    """Set lines under a heading, with a blank line before.

    Parameters
    ----------
    title : str
        Heading.
    lines : iterable of str
        Lines.

    Returns
    -------
    lines : list of str
        Nothing if there are no lines.
    """
    below = list(lines)
    return ["", heading(title), *below] if below else []
