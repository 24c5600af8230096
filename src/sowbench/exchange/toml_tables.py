"""From tables of a TOML file to values: each key taken once, what is left over refused.

Problems name the table as the file writes it, `[[place]] 2 "North bench".positions`.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from sowbench.exchange.fields import one_of, parse_day
from sowbench.exchange.tables import decode_text, read_bytes
from sowbench.science.errors import InputFileError, Problem, UnknownNameError

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_LONG_WEEKDAYS = (
    "monday",
    "tuesday",
    "wednesday",
    "thursday",
    "friday",
    "saturday",
    "sunday",
)
_KINDS = {str: "text in quotes", bool: "true or false", list: "a list in brackets", dict: "a table"}


def read_toml(path: str | Path) -> dict[str, Any]:
    """Read a TOML file, saying in which line it goes wrong.

    Parameters
    ----------
    path : str or Path
        File to read.

    Returns
    -------
    document : dict
        Its tables and keys.

    Raises
    ------
    InputFileError
        If the file is missing, not UTF-8 or not TOML.
    """
    file = str(path)
    text = decode_text(file, read_bytes(path), "Save it as UTF-8 in a text editor.")
    try:
        # TOML knows no lone carriage return; editors of old write it at line ends.
        return tomllib.loads(text.replace("\r\n", "\n"))
    except (ValueError, RecursionError) as error:
        found = re.search(r"at line (\d+), column (\d+)", str(error))
        line = int(found[1]) if found else None
        if line is None and "end of document" in str(error):
            line = text.count("\n") + 1
        lines = text.splitlines()
        shown = lines[line - 1].strip()[:120] if line and line <= len(lines) else None
        reason = "tables nested too deep" if isinstance(error, RecursionError) else str(error)
        raise InputFileError(
            [
                Problem(
                    file, line, None, shown, f"This is not TOML: {reason}. {_advice(shown)}".strip()
                )
            ]
        ) from None


def _advice(line: str | None) -> str:
    """Name the usual slip in a line that TOML does not take."""
    if line is None:
        return ""
    if re.search(r"=\s*\d+,\d+\s*$", line):
        return "Numbers have a decimal point."
    if re.search(r"=\s*[^\W\d_][^\"'\[{]*$", line):
        return "Text stands in quotes; yes and no are true and false."
    return ""


class TomlTable:
    """One table of a file, whose keys are taken one by one while problems are gathered.

    Parameters
    ----------
    file : str
        Name of the file for messages.
    name : str
        The table as the file writes it.
    values : mapping
        Its keys and values.
    problems : list of Problem
        Where problems go; shared by all tables of a file.
    """

    def __init__(
        self, file: str, name: str, values: Mapping[str, Any], problems: list[Problem]
    ) -> None:
        self.file = file
        self.name = name
        self.values = values
        self.problems = problems
        self._taken: set[str] = set()

    def problem(self, key: str | None, message: str) -> None:
        """Note that the value of a key is wrong, or the whole table."""
        where = self.name if key is None else f"{self.name}.{key}"
        value = None if key is None or key not in self.values else _shown(self.values[key])
        self.problems.append(Problem(self.file, None, where, value, message))

    def has(self, key: str) -> bool:
        """Tell whether the table has the key."""
        self._taken.add(key)
        return key in self.values

    def text(self, key: str, default: str = "", *, required: bool = False) -> str:
        """Take a text; a required one must not be blank."""
        value = self._of_kind(key, str)
        if isinstance(value, str) and (value.strip() or not required):
            return value.strip()
        if required and (key not in self.values or isinstance(value, str)):
            self.problem(key, f"{key} is required and must not be blank.")
        return default

    def flag(self, key: str, *, default: bool) -> bool:
        """Take true or false."""
        value = self._of_kind(key, bool)
        return value if isinstance(value, bool) else default

    def number(
        self,
        key: str,
        *,
        least: float = 0.0,
        most: float = math.inf,
        above: float = -math.inf,
        unit: str = "",
    ) -> float | None:
        """Take a number between bounds, which belong to the range; `above` does not."""
        if not self.has(key):
            return None
        value = self.values[key]
        bounds = (
            f"between {least:,.10g} and {most:,.10g}"
            if most < math.inf
            else f"at least {least:,.10g}"
        )
        if above > -math.inf:
            bounds = f"above {above:g}" + (f" and at most {most:,.10g}" if most < math.inf else "")
        rule = f"{key} must be a number {bounds}{f' {unit}' if unit else ''}"
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            hint = " Write it without quotes." if isinstance(value, str) else ""
            self.problem(key, f"{rule}.{hint}")
            return None
        if not (math.isfinite(value) and least <= value <= most and value > above):
            self.problem(key, f"{rule}.{_unit_advice(value, least, most, unit)}")
            return None
        return float(value)

    def whole(self, key: str, *, least: int = 0, most: int = 1_000_000_000) -> int | None:
        """Take a whole number between bounds, which belong to the range."""
        if not self.has(key):
            return None
        value = self.values[key]
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            self.problem(key, f"{key} must be a whole number from {least:,} to {most:,}.")
            return None
        return value

    def choice(self, key: str, choices: Sequence[str], default: str) -> str:
        """Take one of the given words, upper and lower case alike."""
        text = self.text(key)
        if not text:
            return default
        folded = {each.casefold(): each for each in choices}
        value = folded.get(text.casefold().replace(" ", "_"), folded.get(text.casefold()))
        if value is None:
            near = UnknownNameError.among(text, key, choices).nearest
            advice = f" Did you mean {near[0]!r}?" if near else ""
            self.problem(key, f"{key} must be {one_of(list(choices))}.{advice}")
            return default
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        """Take a list of texts."""
        value = self._of_kind(key, list)
        if not isinstance(value, list):
            return ()
        if not all(isinstance(each, str) and each.strip() for each in value):
            self.problem(key, f"{key} must be a list of texts, each in quotes.")
            return ()
        return tuple(each.strip() for each in value)

    def weekdays(self, key: str) -> tuple[int, ...] | None:
        """Take a list of weekdays, Monday being 0."""
        if not self.has(key):
            return None
        days: set[int] = set()
        for text in self.texts(key):
            day = weekday(text)
            if day is None:
                self.problem(key, f"{text!r} is no weekday; use {', '.join(WEEKDAYS)}.")
            else:
                days.add(day)
        return tuple(sorted(days))

    def days(self, key: str) -> frozenset[date]:
        """Take a list of days, as TOML dates or as texts in ISO 8601."""
        value = self._of_kind(key, list)
        found: set[date] = set()
        for each in value if isinstance(value, list) else []:
            if isinstance(each, str) or type(each) is date:
                day = parse_day(each)
            elif isinstance(each, datetime):
                day = f"Give the day alone: {each.date().isoformat()}."
            else:
                day = "A day is written year-month-day, as 2027-03-08."
            if isinstance(day, str):
                self.problem(key, f"{_shown(each)}: {day}")
            else:
                found.add(day)
        return frozenset(found)

    def table(self, key: str) -> TomlTable | None:
        """Take a table inside this one."""
        value = self._of_kind(key, dict)
        if not isinstance(value, dict):
            return None
        return TomlTable(self.file, f"{self.name}.{key}", value, self.problems)

    def rest(self) -> dict[str, Any]:
        """Take all keys that are left."""
        left = {key: value for key, value in self.values.items() if key not in self._taken}
        self._taken |= set(left)
        return left

    def refuse_rest(self, also: Collection[str] = ()) -> None:
        """Report every key that nothing has asked for, with the nearest that is right."""
        known = {*self._taken, *also}
        for key in self.values:
            if key not in known:
                near = UnknownNameError.among(key, "key", known).nearest
                advice = f" Did you mean {near[0]!r}?" if near else ""
                keys = ", ".join(sorted(known))
                self.problem(key, f"{self.name} has no key {key!r}.{advice or f' It has {keys}.'}")

    def _of_kind(self, key: str, kind: type) -> object:
        """Take a value of one kind; another kind is a problem and reads as absent."""
        if not self.has(key):
            return None
        value = self.values[key]
        if not isinstance(value, kind):
            self.problem(key, f"{key} must be {_KINDS[kind]}.")
            return None
        return value


def weekday(text: str) -> int | None:
    """Read the name of a weekday.

    Parameters
    ----------
    text : str
        English name, short or long, in any case.

    Returns
    -------
    day : int or None
        0 for Monday to 6 for Sunday; None if it is none.

    Examples
    --------
    >>> weekday("Tue"), weekday("sunday"), weekday("x")
    (1, 6, None)
    """
    folded = text.strip().casefold()
    if folded in _LONG_WEEKDAYS:
        return _LONG_WEEKDAYS.index(folded)
    short = [each.casefold() for each in WEEKDAYS]
    return short.index(folded) if folded in short else None


def _unit_advice(value: float, least: float, most: float, unit: str) -> str:
    """Guess at another unit: a temperature in °F, a percent for a share."""
    if not math.isfinite(value):
        return ""
    if unit == "°C" and value > most and least <= (value - 32) / 1.8 <= most:
        return f" If this is °F, write {(value - 32) / 1.8:.1f}."
    if most == 1 and 1 < value <= 100:
        return f" Write {value:g} % as {value / 100:g}."
    return ""


def _shown(value: object) -> str:
    """Show a value about as the file writes it, cut to a line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (date, datetime)):
        return value.isoformat()
    return str(value)[:80]
