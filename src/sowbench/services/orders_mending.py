"""What may be meant by a cell that is wrong, and by a header that is not ours."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from sowbench.exchange.orders import REQUIRED
from sowbench.exchange.tables import column_key

if TYPE_CHECKING:
    from sowbench.science.errors import Problem
    from sowbench.services.orders_intake import Intake


_ALL_AT_LEAST: Final = 2


@dataclass(frozen=True, slots=True)
class ForAll:
    """A way to mend many cells of a column at once.

    Attributes
    ----------
    key : str
        Name of it within the file.
    column : str
        Column of the cells.
    words : str
        As "day, month, year: 15.05.2027 is 2027-05-15".
    texts : mapping of int to str
        What is put, by row.
    """

    key: str
    column: str
    words: str
    texts: Mapping[int, str]


def for_all(problems: Iterable[Problem]) -> tuple[ForAll, ...]:
    """Find what can be mended in many rows alike.

    Days are read in one order where every one of them can be; digits parted at thousands are put
    together; a name that stands in several rows is replaced in all of them.

    Parameters
    ----------
    problems : iterable of Problem
        All that is wrong.

    Returns
    -------
    ways : tuple of ForAll
        Ways that mend two rows or more.
    """
    days: dict[str, list[tuple[int, str, tuple[str, ...]]]] = {}
    numbers: dict[str, list[tuple[int, str, tuple[str, ...]]]] = {}
    names: dict[tuple[str, str], list[tuple[int, str, tuple[str, ...]]]] = {}
    for each in problems:
        may_be = suggestions(each)
        if each.row is None or each.column is None or each.value is None or not may_be:
            continue
        found = (each.row, each.value, may_be)
        if "may mean" in each.message:
            days.setdefault(each.column, []).append(found)
        elif "Write it" in each.message:
            numbers.setdefault(each.column, []).append(found)
        elif "Did you mean" in each.message and len(may_be) == 1:
            names.setdefault((each.column, each.value), []).append(found)
    ways = [way for column, cells in days.items() for way in _orders_of_days(column, cells)]
    for column, cells in numbers.items():
        texts = {row: may_be[0] for row, _, may_be in cells}
        ways.append(ForAll(f"{column}.whole", column, _as(cells[0], "without the sign"), texts))
    for (column, name), cells in names.items():
        texts = {row: may_be[0] for row, _, may_be in cells}
        ways.append(ForAll(f"{column}.{name}", column, _as(cells[0]), texts))
    return tuple(each for each in ways if len(each.texts) >= _ALL_AT_LEAST)


def _orders_of_days(column: str, cells: list[tuple[int, str, tuple[str, ...]]]) -> list[ForAll]:
    """Read the days of a column in an order that suits all of them, else those that are sure."""
    ways = []
    for key, words, part in (
        ("day", "day, month, year", slice(8, 10)),
        ("month", "month, day, year", slice(5, 7)),
    ):
        texts: dict[int, str] = {}
        for row, value, may_be in cells:
            first = re.match(r"\D*(\d{1,2})\D", value)
            fit = [each for each in may_be if first and int(each[part]) == int(first[1])]
            if len(fit) == 1:
                texts[row] = fit[0]
        if len(texts) == len(cells):
            shown = max(cells, key=lambda each: len(each[2]))
            ways.append(
                ForAll(
                    f"{column}.{key}", column, f"{words}: {shown[1]} is {texts[shown[0]]}", texts
                )
            )
    if not ways:
        sure = [each for each in cells if len(each[2]) == 1]
        texts = {row: may_be[0] for row, _, may_be in sure}
        ways += [ForAll(f"{column}.sure", column, _as(sure[0]), texts)] if sure else []
    return ways


def _as(cell: tuple[int, str, tuple[str, ...]], how: str = "") -> str:
    """Say what becomes of the first of many cells."""
    _, value, may_be = cell
    return f"{how}: {value} is {may_be[0]}" if how else f"{value} is {may_be[0]}"


def suggestions(problem: Problem) -> tuple[str, ...]:
    """Return the cells that a problem says may be meant.

    Parameters
    ----------
    problem : Problem
        What is wrong with a cell.

    Returns
    -------
    texts : tuple of str
        What could stand there, the likeliest first.
    """
    message = problem.message
    if "may mean" in message or "day number for" in message:
        _, _, told = message.partition("may mean" if "may mean" in message else "number for")
        return tuple(re.findall(r"\d{4}-\d{2}-\d{2}", told))
    if "Did you mean" in message:
        return tuple(re.findall(r"'([^']+)'", message.partition("Did you mean")[2]))
    found = re.search(r"Write it [^:]+: ([\d.]+?)(?:, or ([\d.]+?) if)?\.?(?:\s|$)", message)
    if found:
        return tuple(each for each in found.groups() if each)
    found = re.search(r"(?:Write [\d.]+ % as|Give the number alone[^:]*:) ([\d.]+?)\.?$", message)
    return (found[1],) if found else ()


def missing_columns(intake: Intake) -> tuple[str, ...]:
    """Return the columns that a file must have and does not.

    Parameters
    ----------
    intake : Intake
        The file.

    Returns
    -------
    columns : tuple of str
        Ours, that a header of the file may stand for.
    """
    return tuple(
        each.column
        for each in intake.problems
        if each.column in REQUIRED and "lacks the required column" in each.message
    )


def likely_header(column: str, headers: tuple[str, ...]) -> str:
    """Return the header that most likely stands for a column.

    Parameters
    ----------
    column : str
        Ours.
    headers : tuple of str
        Of the file.

    Returns
    -------
    header : str
        Blank if none is like it.
    """
    keys = {column_key(each): each for each in headers}
    close = difflib.get_close_matches(column, keys, n=1, cutoff=0.5)
    return keys[close[0]] if close else ""
