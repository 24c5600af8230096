"""Errors and warnings that the whole of sowbench shares.

Every error says what is wrong, by which rule, with which value, and what would be right.
The parts are kept as attributes, so that a screen or a file report can show them its own way.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


class SowbenchError(Exception):
    """Base of every error that sowbench raises on purpose."""


class OutOfRangeError(SowbenchError, ValueError):
    """A value outside the range in which a function or a field is valid.

    The message reads ``{name} must be {rule}; got {value}. {advice}``.

    Parameters
    ----------
    name : str
        Name of the argument, attribute or field, with its unit suffix.
    rule : str
        What the value has to be, with its unit, to follow "must be".
    value : object
        Value received, shown as it is.
    advice : str, default ""
        What to do about it, as a sentence; left out by default.

    Examples
    --------
    >>> print(OutOfRangeError("temp_air_c", "between -20 and 60 °C", 75, "Is this °F?"))
    temp_air_c must be between -20 and 60 °C; got 75. Is this °F?
    """

    def __init__(self, name: str, rule: str, value: object, advice: str = "") -> None:
        # All four go to Exception.args, so that the error survives pickling between processes.
        super().__init__(name, rule, value, advice)
        self.name = name
        self.rule = rule
        self.value = value
        self.advice = advice

    def __str__(self) -> str:
        """Return the message in the house's form."""
        text = f"{self.name} must be {self.rule}; got {self.value}."
        return f"{text} {self.advice}" if self.advice else text


class UnknownNameError(SowbenchError, LookupError):
    """A name that is not in the table it was looked up in.

    Parameters
    ----------
    name : str
        Name that was asked for.
    kind : str
        What the name should have been, in the user's words: "crop", "container".
    nearest : sequence of str, default ()
        Known names close to it, the closest first.

    Examples
    --------
    >>> print(UnknownNameError("letuce", "crop", ["lettuce"]))
    Unknown crop 'letuce'. Did you mean 'lettuce'?
    """

    def __init__(self, name: str, kind: str, nearest: Sequence[str] = ()) -> None:
        super().__init__(name, kind, list(nearest))
        self.name = name
        self.kind = kind
        self.nearest = list(nearest)

    @classmethod
    def among(cls, name: str, kind: str, known: Iterable[str]) -> UnknownNameError:
        """Make the error with the known names that are spelled most like `name`.

        Parameters
        ----------
        name : str
            Name that was asked for.
        kind : str
            What the name should have been, in the user's words.
        known : iterable of str
            Every name that would have been right.

        Returns
        -------
        error : UnknownNameError
            The error, with at most three near names.

        Examples
        --------
        >>> UnknownNameError.among("Letuce", "crop", ["basil", "lettuce", "onion"]).nearest
        ['lettuce']
        """
        folded = {each.casefold(): each for each in known}
        close = difflib.get_close_matches(name.strip().casefold(), folded, n=3, cutoff=0.6)
        return cls(name, kind, [folded[each] for each in close])

    def __str__(self) -> str:
        """Return the message in the house's form."""
        text = f"Unknown {self.kind} {self.name!r}."
        if not self.nearest:
            return text
        return f"{text} Did you mean {' or '.join(repr(each) for each in self.nearest)}?"


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong in an input file, and where.

    Parameters
    ----------
    file : str
        Name of the file as the user gave it.
    row : int or None
        Row as a spreadsheet numbers it, the header being row 1; None for the whole file.
    column : str or None
        Header of the column, or the key of a TOML file; None for the whole row.
    value : str or None
        Text found there; None if there is none to show.
    message : str
        What is wrong and what would be right.
    """

    file: str
    row: int | None
    column: str | None
    value: str | None
    message: str

    def __str__(self) -> str:
        """Return the problem as one line."""
        where = [self.file]
        if self.row is not None:
            where.append(f"row {self.row}")
        if self.column is not None:
            where.append(f"column {self.column}")
        got = "" if self.value is None else f" Got {self.value!r}."
        return f"{', '.join(where)}: {self.message}{got}"


class InputFileError(SowbenchError, ValueError):
    """An input file with bad rows, of which nothing was taken.

    Parameters
    ----------
    problems : iterable of Problem
        Everything that is wrong, in the order of the file; at least one.

    Raises
    ------
    ValueError
        If there is no problem to report.

    Examples
    --------
    >>> rule = "plants must be a whole number from 1 up."
    >>> print(InputFileError([Problem("orders.csv", 3, "plants", "0", rule)]))
    1 problem; nothing was taken.
    orders.csv, row 3, column plants: plants must be a whole number from 1 up. Got '0'.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = list(problems)
        if not self.problems:
            message = "InputFileError needs at least one problem to report; got none."
            raise ValueError(message)
        super().__init__(self.problems)

    def __str__(self) -> str:
        """Return every problem, one a line, under a line that counts them."""
        n_problems = len(self.problems)
        noun = "problem" if n_problems == 1 else "problems"
        head = f"{n_problems} {noun}; nothing was taken."
        return "\n".join([head, *(str(each) for each in self.problems)])


class BookError(SowbenchError):
    """A house book that could not do what was asked; what is in it is as it was.

    Parameters
    ----------
    problem : str
        What is wrong and what would be right, as sentences.
    """

    def __init__(self, problem: str) -> None:
        super().__init__(problem)
        self.problem = problem

    def __str__(self) -> str:
        """Return the message."""
        return self.problem


class BookOpenError(BookError, OSError):
    """A house book that cannot be opened.

    Parameters
    ----------
    problem : str
        What is wrong and what would be right, as sentences.
    """


class BookBusyError(BookError, TimeoutError):
    """A house book that someone else is writing to for too long.

    Parameters
    ----------
    problem : str
        What is wrong and what would be right, as sentences.
    """


class StoreFullError(BookError, OSError):
    """A house book that has no room to write; nothing of this piece of work was kept.

    Parameters
    ----------
    problem : str
        What is wrong and what would be right, as sentences.
    """


class DoubtWarning(UserWarning):
    """A result that may be right but deserves a second look."""
