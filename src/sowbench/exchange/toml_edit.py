"""Changing single values of a TOML text in place, so that its comments and its order stay.

Lines are looked up by their table; whether an edit did what was meant is always proved by reading
the new text, and where it did not, the whole is written anew, without its comments.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

_HEADER: Final = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_.\"' -]+?)\s*(\]\]?)\s*(#.*)?$")
_KEY: Final = re.compile(r"^\s*([A-Za-z0-9_-]+|\"[^\"]*\")\s*=")
_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")
_LONG: Final = 88


@dataclass(frozen=True, slots=True)
class Edited:
    """A text after a change; ``kept_comments`` is false where it had to be written anew."""

    text: str
    kept_comments: bool


@dataclass(frozen=True, slots=True)
class _Span:
    """Lines [start, end) of one table: its header, or of what stands before the first."""

    name: str
    is_list: bool
    start: int
    end: int


def set_values(text: str, table: str, at: int | None, values: Mapping[str, object]) -> Edited:
    """Set keys of a table; None takes a key out.

    Parameters
    ----------
    text : str
        TOML that can be read.
    table : str
        Name of the table, as ``house`` or ``place``; a missing table is added.
    at : int or None
        Which of ``[[table]]``, from 0; its number adds one. None is the one ``[table]``.
    values : mapping of str to object
        New values by key.

    Returns
    -------
    edited : Edited
        The text; reading it gives the document with these values.

    Raises
    ------
    tomllib.TOMLDecodeError
        If the text is not TOML.
    """
    document = tomllib.loads(text)
    wanted = copy.deepcopy(document)
    given = {key: value for key, value in values.items() if value is not None}
    if at is None:
        found = wanted.setdefault(table, {})
    else:
        tables = wanted.setdefault(table, [])
        if at >= len(tables):
            tables.append({})
        found = tables[at]
    for key in values:
        found.pop(key, None)
    found.update(given)
    if at is None and not found:
        del wanted[table]
    if wanted == document:
        return Edited(text, kept_comments=True)
    return _proved(text, wanted, _with_values(text, table, at, values))


def take_out(text: str, table: str, at: int) -> Edited:
    """Take one of ``[[table]]`` out.

    Parameters
    ----------
    text : str
        TOML that can be read.
    table : str
        Name of the list of tables.
    at : int
        Which, from 0.

    Returns
    -------
    edited : Edited
        The text without it.

    Raises
    ------
    IndexError
        If there is no such table.
    """
    wanted = copy.deepcopy(tomllib.loads(text))
    del wanted[table][at]
    if not wanted[table]:
        del wanted[table]
    lines = text.splitlines()
    spans = [each for each in _spans(lines) if each.is_list and each.name == table]
    tried = ""
    if at < len(spans):
        start, end = spans[at].start, spans[at].end
        while start > 0 and lines[start - 1].lstrip().startswith("#"):
            start -= 1
        while end > start and end < len(lines) and _is_aside(lines[end - 1]):
            end -= 1
        tried = _joined([*lines[:start], *lines[end:]])
    return _proved(text, wanted, tried)


def toml_text(document: Mapping[str, Any]) -> str:
    """Write a document of plain values, tables and lists of tables as TOML.

    Parameters
    ----------
    document : mapping
        As `tomllib.loads` gives it.

    Returns
    -------
    text : str
        TOML; reading it gives the same document.
    """
    lines = [f"{_key(key)} = {toml_value(value)}" for key, value in document.items()
             if not _is_table(value)]  # fmt: skip
    for name, value in document.items():
        if isinstance(value, Mapping):
            lines += ["", f"[{_key(name)}]", *_pairs(value)]
        elif _is_table(value):
            for each in value:
                lines += ["", f"[[{_key(name)}]]", *_pairs(each)]
    return _joined(lines)


def toml_value(value: object) -> str:
    """Write one value.

    Parameters
    ----------
    value : object
        Text, number, flag, day, list, or a table, which is written in braces.

    Returns
    -------
    text : str
        The value as TOML has it.

    Examples
    --------
    >>> toml_value(["Tue", "Thu"]), toml_value(0.5), toml_value(True)
    ('["Tue", "Thu"]', '0.5', 'true')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return _float(value)
    if isinstance(value, int | date):
        return str(value)
    if isinstance(value, Mapping):
        inner = ", ".join(f"{_key(key)} = {toml_value(each)}" for key, each in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, list | tuple):
        return _list([toml_value(each) for each in value])
    return _text(str(value))


def line_of(text: str, table: str, at: int | None, key: str = "") -> int | None:
    """Find the line in which a table or one of its keys stands.

    Parameters
    ----------
    text : str
        TOML, not necessarily right.
    table : str
        Name of the table.
    at : int or None
        Which of ``[[table]]``, from 0.
    key : str, default ""
        The key; blank for the header.

    Returns
    -------
    line : int or None
        Its number from 1; the header's where the key is missing; None where there is no such
        table.
    """
    lines = text.splitlines()
    span = _find(lines, table, at)
    if span is None:
        return None
    for number in range(span.start, span.end):
        match = _KEY.match(lines[number])
        if key and match and match[1].strip('"') == key:
            return number + 1
    return span.start + 1


def _with_values(text: str, table: str, at: int | None, values: Mapping[str, object]) -> str:
    """Set the keys on their lines; a guess, which is proved afterwards."""
    lines = text.splitlines()
    span = _find(lines, table, at)
    given = {key: value for key, value in values.items() if value is not None}
    if span is None:
        header = f"[{table}]" if at is None else f"[[{table}]]"
        where = _after_the_like(lines, table)
        block = [header, *_pairs(given)]
        before = [""] if where and lines[where - 1].strip() else []
        after = [""] if where < len(lines) and lines[where].strip() else []
        return _joined([*lines[:where], *before, *block, *after, *lines[where:]])
    start = span.start + 1 if span.name else span.start
    body = lines[start : span.end]
    for key, value in values.items():
        body = _set_line(body, key, value)
    return _joined([*lines[:start], *body, *lines[span.end :]])


def _set_line(body: list[str], key: str, value: object) -> list[str]:
    """Set, add or take out one key among the lines of a table."""
    for number, line in enumerate(body):
        match = _KEY.match(line)
        if match is None or match[1].strip('"') != key:
            continue
        end = _end_of_value(body, number)
        if value is None:
            return [*body[:number], *body[end:]]
        comment = _comment(line) if end == number + 1 else ""
        return [*body[:number], f"{match[0]} {toml_value(value)}{comment}", *body[end:]]
    if value is None:
        return body
    last = len(body)
    while last > 0 and _is_aside(body[last - 1]):
        last -= 1
    return [*body[:last], f"{_key(key)} = {toml_value(value)}", *body[last:]]


def _end_of_value(body: list[str], number: int) -> int:
    """Find the line after a value, which may go over several."""
    for end in range(number + 1, len(body) + 1):
        try:
            tomllib.loads("\n".join(body[number:end]))
        except tomllib.TOMLDecodeError:
            continue
        return end
    return number + 1


def _comment(line: str) -> str:
    """Return the comment behind the value of a line, with the blanks before it."""
    for match in re.finditer(r"\s*#", line):
        try:
            tomllib.loads(line[: match.start()])
        except tomllib.TOMLDecodeError:
            continue
        return line[match.start() :]
    return ""


def _spans(lines: list[str]) -> Iterator[_Span]:
    """Go through the tables of a text."""
    heads: list[tuple[int, str, bool]] = []
    for number, line in enumerate(lines):
        match = _HEADER.match(line)
        if (
            match is not None
            and len(match[1]) == len(match[3])
            and not _within_value(lines, number)
        ):
            heads.append((number, match[2].strip("\"'"), match[1] == "[["))
    first = heads[0][0] if heads else len(lines)
    yield _Span("", is_list=False, start=0, end=first)
    for at, (number, name, is_list) in enumerate(heads):
        end = heads[at + 1][0] if at + 1 < len(heads) else len(lines)
        yield _Span(name, is_list, number, end)


def _within_value(lines: list[str], number: int) -> bool:
    """Tell whether a line that looks like a header is an element of a list over several lines."""
    return lines[number].rstrip().endswith(("],", "]],"))


def _find(lines: list[str], table: str, at: int | None) -> _Span | None:
    """Find one table."""
    spans = [each for each in _spans(lines) if each.name == table and each.start < len(lines)]
    if at is None:
        return next((each for each in spans if not each.is_list), None)
    spans = [each for each in spans if each.is_list]
    return spans[at] if at < len(spans) else None


def _after_the_like(lines: list[str], table: str) -> int:
    """Find where one more of a list goes: behind the last of its kind, else at the end."""
    spans = [each for each in _spans(lines) if each.name == table]
    if not spans:
        return len(lines)
    end = spans[-1].end
    while end > spans[-1].start + 1 and _is_aside(lines[end - 1]):
        end -= 1
    return end


def _proved(text: str, wanted: Mapping[str, Any], tried: str) -> Edited:
    """Take a changed text if it says what is wanted, else write all anew."""
    try:
        if tried and tomllib.loads(tried) == wanted:
            return Edited(tried, kept_comments=True)
    except tomllib.TOMLDecodeError:
        pass
    fresh = toml_text(wanted)
    return Edited(fresh, kept_comments="#" not in text)


def _is_aside(line: str) -> bool:
    """Tell whether a line is blank or a comment."""
    return not line.strip() or line.lstrip().startswith("#")


def _is_table(value: object) -> bool:
    """Tell whether a value is written under a header of its own."""
    if isinstance(value, Mapping):
        return True
    return isinstance(value, list) and bool(value) and all(isinstance(e, Mapping) for e in value)


def _pairs(values: Mapping[str, object]) -> list[str]:
    """Write keys and values."""
    return [f"{_key(key)} = {toml_value(value)}" for key, value in values.items()]


def _key(key: str) -> str:
    """Write a key, in quotes if it needs them."""
    return key if _BARE.fullmatch(key) else _text(key)


def _float(value: float) -> str:
    """Write a number with a point, at most ten figures."""
    text = f"{value:.10g}"
    if value != float(text):
        text = repr(value)
    return text if any(each in text for each in ".einf") else f"{text}.0"


def _list(parts: list[str]) -> str:
    """Write a list, over several lines if it is long."""
    line = f"[{', '.join(parts)}]"
    if len(line) <= _LONG:
        return line
    return "[\n" + "".join(f"  {each},\n" for each in parts) + "]"


def _text(value: str) -> str:
    """Write a text in quotes, with what cannot stand there told by its number."""
    out = []
    for each in value:
        if each in '"\\':
            out.append(f"\\{each}")
        elif ord(each) < 0x20 or ord(each) == 0x7F:
            out.append(f"\\u{ord(each):04X}")
        else:
            out.append(each)
    return f'"{"".join(out)}"'


def _joined(lines: list[str]) -> str:
    """Join lines, without blank ones at the ends."""
    text = "\n".join(lines).strip("\n")
    return f"{text}\n" if text else ""
