"""What may be meant by a cell that is wrong, and by a header that is not ours."""

from __future__ import annotations

import difflib
import re
from typing import TYPE_CHECKING

from sowbench.exchange.orders import REQUIRED
from sowbench.exchange.tables import column_key

if TYPE_CHECKING:
    from sowbench.science.errors import Problem
    from sowbench.services.orders_intake import Intake


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
