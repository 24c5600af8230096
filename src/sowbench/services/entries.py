"""Entries that people send in: read, kept in the journal, and answered one by one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from math import isfinite
from typing import TYPE_CHECKING, Annotated, Any, Final

import msgspec
from msgspec import Meta

from sowbench.domain.book import Taken
from sowbench.domain.jobs import reads_as_tray
from sowbench.domain.journal import CELL_MARKS, Entry, EntryKind
from sowbench.science.errors import OutOfRangeError

if TYPE_CHECKING:
    from sowbench.domain.ports import Unit
    from sowbench.services.desk import Desk

BODY_MOST_BYTES: Final = 4 * 1024 * 1024
"""Largest post of entries that is read."""
ENTRIES_MOST: Final = 500
"""Most entries in one post."""
_SHOWN_MOST: Final = 60


class Said(StrEnum):
    """What became of an entry that was sent in."""

    TAKEN = "taken"
    KNOWN = "known"
    CLASH = "clash"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class EntryAnswer:
    """What is said to the sender of one entry.

    Attributes
    ----------
    id : str
        Id of the entry, as it was sent.
    state : Said
        Taken and known are in the journal; a clash or a refused one is not.
    notes : tuple of str
        What a person should look at, or what is wrong and what would be right.
    """

    id: str
    state: Said
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Field:
    """One field that may be sent: its type, and what is right in words."""

    type: Any
    right: str


_Name = Annotated[str, Meta(max_length=200)]
_Text = Annotated[str, Meta(max_length=4000)]
_Count = Annotated[int, Meta(ge=0, le=10_000_000)]
_Id = Annotated[str, Meta(pattern=r"^[0-9a-fA-F]{32}$")]
_Trays = Annotated[list[Annotated[int, Meta(ge=1, le=100_000)]], Meta(max_length=10_000)]
_Cells = Annotated[str, Meta(max_length=5000, pattern=r"^[.0\-1+]*$")]
_Reading = float | Annotated[str, Meta(max_length=200)]
_Readings = Annotated[
    dict[Annotated[str, Meta(min_length=1, max_length=60)], _Reading], Meta(max_length=40)
]

_NAME: Final = _Field(_Name, "a name of at most 200 characters")
_TEXT: Final = _Field(_Text, "a text of at most 4,000 characters")
_COUNT: Final = _Field(_Count, "a whole number from 0 to 10,000,000")

FIELDS: Final[Mapping[str, _Field]] = {
    "id": _Field(_Id, "32 hexadecimal digits, made by whoever writes the entry"),
    "day_date": _Field(date, "a day as 2027-03-09"),
    "kind": _Field(EntryKind, "one of " + ", ".join(EntryKind)),
    "sowing": _NAME,
    "n": _COUNT,
    "order": _NAME,
    "place": _NAME,
    "crop": _NAME,
    "variety": _NAME,
    "lot": _NAME,
    "container": _NAME,
    "n_containers": _COUNT,
    "note": _TEXT,
    "at": _Field(
        Annotated[datetime, Meta(tz=True)], "an instant with its zone, as 2027-03-09T08:12:00Z"
    ),
    "person": _NAME,
    "trays": _Field(_Trays, "a list of tray numbers from 1 up, as [1, 2, 3]"),
    "n_of": _COUNT,
    "cells": _Field(
        _Cells,
        "a mark a cell, row by row: "
        + ", ".join(f"{mark} {words}" for mark, words in CELL_MARKS.items()),
    ),
    "reason": _TEXT,
    "values": _Field(_Readings, 'readings by name with unit, as {"ec_ms_cm": 1.2}'),
    "job": _Field(Annotated[str, Meta(max_length=700)], "the key of a planned job"),
    "corrects": _Field(Annotated[str, Meta(max_length=64)], "the id of the entry it corrects"),
}
"""Every field of an entry that may be sent, as in domain.journal.Entry."""

_REQUIRED: Final = ("id", "day_date", "kind")
# A clock of a phone may be set wrong, but not by an age.
_FIRST_DATE: Final = date(2000, 1, 1)
_LAST_DATE: Final = date(2100, 1, 1)


@dataclass(frozen=True, slots=True)
class Unreadable:
    """An entry that cannot be read, with everything that is wrong in it."""

    id: str
    problems: tuple[str, ...]


def entry_from(fields: Mapping[str, object]) -> Entry | Unreadable:
    """Read one entry as it was sent.

    Parameters
    ----------
    fields : mapping of str to object
        Fields by name; a blank or absent one is not given.

    Returns
    -------
    entry : Entry or Unreadable
        The entry, or every field that is wrong with what would be right.
    """
    given = {name: value for name, value in fields.items() if value is not None and value != ""}
    sent_id = given.get("id")
    shown_id = sent_id[:64] if isinstance(sent_id, str) else ""
    read: dict[str, Any] = {}
    problems: list[str] = []
    for name, value in given.items():
        field = FIELDS.get(name)
        if field is None:
            known = ", ".join(FIELDS)
            problems.append(f"{_short(name)} is no field of an entry; the fields are {known}.")
            continue
        if _has_nul(value):
            problems.append(f"{name} must be {field.right}, without NUL; got {_short(value)}.")
            continue
        try:
            read[name] = msgspec.convert(value, field.type)
        except msgspec.ValidationError:
            problems.append(f"{name} must be {field.right}; got {_short(value)}.")
    problems += [
        f"{name} must be given: {FIELDS[name].right}." for name in _REQUIRED if name not in given
    ]
    if not problems:
        problems += _contradictions(read)
    if problems:
        return Unreadable(shown_id, tuple(problems))
    if "cells" in read:
        cells = read["cells"]
        read.setdefault("n", _n_right(cells))
        read.setdefault("n_of", len(cells) - cells.count("."))
    read["id"] = read["id"].lower()
    read["trays"] = tuple(sorted(set(read.get("trays", ()))))
    return Entry(**{"sowing": "", **read})


def _contradictions(read: Mapping[str, Any]) -> list[str]:
    """Say what cannot be, field against field, in an entry whose fields are each right."""
    problems = []
    kind: EntryKind = read["kind"]
    day: date = read["day_date"]
    if reads_as_tray(read.get("sowing", "")):
        problems.append(
            'sowing must not end in "/", nor in "/trays/" and a number, since that is the address'
            f" of a tray; got {_short(read['sowing'])}. Put a dash instead."
        )
    if not _FIRST_DATE <= day < _LAST_DATE:
        problems.append(f"day_date must be from 2000 to 2099; got {day}. Is the clock set right?")
    if kind is EntryKind.CORRECTED and "corrects" not in read:
        problems.append("corrects must be given where the kind is corrected: the id of an entry.")
    cells = read.get("cells", "")
    n, n_of = read.get("n"), read.get("n_of")
    if kind is EntryKind.COUNTED and not cells and n is None:
        problems.append("n must be given in a count: the cells with what is wanted, from 0 up.")
    if cells:
        n_looked_at = len(cells) - cells.count(".")
        if len(read.get("trays", ())) != 1:
            problems.append("trays must name the one tray that the map of cells shows.")
        if n is not None and n != _n_right(cells):
            problems.append(
                f"n must be the cells right or with too many in the map, {_n_right(cells)};"
                f" got {n}."
            )
        if n_of is not None and n_of != n_looked_at:
            problems.append(f"n_of must be the cells looked at, {n_looked_at}; got {n_of}.")
    elif n is not None and n_of is not None and n > n_of:
        problems.append(f"n must be at most n_of, the cells looked at, {n_of}; got {n}.")
    return problems


def _n_right(cells: str) -> int:
    """Count the cells with what is wanted; thinning makes one with too many right."""
    return cells.count("1") + cells.count("+")


def _has_nul(value: object) -> bool:
    """Tell whether there is a character in it that no database keeps in a text."""
    if isinstance(value, str):
        return "\0" in value
    if isinstance(value, dict):
        return any(_has_nul(each) for pair in value.items() for each in pair)
    return False


def _short(value: object) -> str:
    """Show a value that was received, not all of it if it is long."""
    text = repr(value)
    return text if len(text) <= _SHOWN_MOST else text[:_SHOWN_MOST] + "…"


def entries_from_json(body: bytes) -> list[Mapping[str, object]]:
    """Read a post of entries as JSON.

    Parameters
    ----------
    body : bytes
        A list of objects.

    Returns
    -------
    posted : list of mapping
        The objects; what is no object is an empty one, and so refused.

    Raises
    ------
    OutOfRangeError
        If it is no JSON, no list, or too long.
    """
    rule = "a JSON list of entries"
    if len(body) > BODY_MOST_BYTES:
        raise OutOfRangeError(
            "body", f"at most {BODY_MOST_BYTES:,} bytes", f"{len(body):,}", "Send fewer at once."
        )
    try:
        posted = msgspec.json.decode(body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        start = body[:_SHOWN_MOST].decode("utf-8", "replace")
        raise OutOfRangeError("body", rule, start, f"{error}.") from error
    if not isinstance(posted, list):
        raise OutOfRangeError("body", rule, _short(posted), "One entry is a list of one.")
    if len(posted) > ENTRIES_MOST:
        raise OutOfRangeError(
            "body", f"at most {ENTRIES_MOST} entries", len(posted), "Send fewer at once."
        )
    return [each if isinstance(each, dict) else {} for each in posted]


_NUMBERS: Final = ("n", "n_of", "n_containers")
_READING: Final = "values."


def fields_from_form(form: Mapping[str, str]) -> dict[str, object]:
    """Turn the fields of a plain form into those of an entry.

    Parameters
    ----------
    form : mapping of str to str
        Text by name; tray numbers with commas between, readings as ``values.NAME``.

    Returns
    -------
    fields : dict of str to object
        As `entry_from` takes them; what is no number stays text, and is refused there.
    """
    fields: dict[str, object] = {}
    values: dict[str, object] = {}
    for name, raw in form.items():
        text = raw.strip()
        if not text:
            continue
        if name in _NUMBERS:
            fields[name] = _whole(text)
        elif name == "trays":
            fields[name] = [_whole(each.strip()) for each in text.split(",") if each.strip()]
        elif name.startswith(_READING):
            values[name.removeprefix(_READING)] = _reading(text)
        else:
            fields[name] = text
    if values:
        fields["values"] = values
    return fields


def _whole(text: str) -> int | str:
    """Read a whole number; text that is none stays as it is."""
    return int(text) if text.isdecimal() and len(text) < 12 else text


def _reading(text: str) -> float | str:
    """Read a reading; text that is no number stays as it is."""
    try:
        number = float(text)
    except ValueError:
        return text
    return number if isfinite(number) else text


def record(desk: Desk, posted: Sequence[Mapping[str, object]]) -> list[EntryAnswer]:
    """Keep entries in the journal, all that can be read in one unit of work.

    Parameters
    ----------
    desk : Desk
        The open book.
    posted : sequence of mapping
        Entries as they were sent.

    Returns
    -------
    answers : list of EntryAnswer
        One each, in the same order; once this returns, what was taken is kept.
    """
    read = [entry_from(each) for each in posted]
    entries = [each for each in read if isinstance(each, Entry)]
    added: dict[int, EntryAnswer] = {}
    if entries:
        now = desk.clock()
        with desk.book.writing() as unit:
            results = unit.journal.add(entries, now)
            notes = [
                result.notes or (_told_again(unit, entry) if result.state is Taken.KNOWN else ())
                for entry, result in zip(entries, results, strict=True)
            ]
            unit.commit()
        for entry, result, said in zip(entries, results, notes, strict=True):
            added[id(entry)] = EntryAnswer(entry.id, Said(result.state.value), said)
    return [
        added[id(each)]
        if isinstance(each, Entry)
        else EntryAnswer(each.id, Said.REFUSED, each.problems)
        for each in read
    ]


def _told_again(unit: Unit, entry: Entry) -> tuple[str, ...]:
    """Say of a count that is known already who else counted the same that day.

    A phone sends an entry again when the answer did not reach it, and with the answer its notes.
    """
    if entry.kind is not EntryKind.COUNTED:
        return ()
    trays = set(entry.trays)
    for kept in unit.today_page.counts_of_day(entry.sowing, entry.day_date):
        other = kept.entry
        if other.id == entry.id or other.person == entry.person or kept.struck_by:
            continue
        both = sorted(trays & set(other.trays))
        if both or not trays or not other.trays:
            what = f"Tray {both[0]} of {entry.sowing}" if both else entry.sowing
            who = other.person or "someone"
            return (f"{what} was counted by {who} on {entry.day_date} too.",)
    return ()
