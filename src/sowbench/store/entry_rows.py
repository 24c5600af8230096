"""Entries of the journal to rows of the table and back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from datetime import datetime
from typing import Any, Final

import msgspec
from sqlalchemy import ColumnElement, Connection, FromClause, Row, Select, and_, select

from sowbench.domain.book import Kept
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.life import in_order
from sowbench.science.errors import OutOfRangeError
from sowbench.store import tables

_COLUMNS: Final = ("id", "kind", "day_date", "at", "person", "sowing", "lot", "job", "corrects")
_IN_BODY: Final = {
    each.name: each.default
    for each in fields(Entry)
    if each.name not in _COLUMNS and each.name != "values"
}
_ID_LENGTH: Final = 64
_N_MAX: Final = 10_000_000
_KINDS: Final = {each.value: each for each in EntryKind}

entry: Final = tables.entry
FIELDS: Final = (*(entry.c[name] for name in _COLUMNS), entry.c.body)
"""Columns from which `entry_of` makes an entry, in its order."""


def entry_row(one: Entry, received_at: datetime) -> dict[str, Any]:
    """Return an entry as a row of the table.

    Parameters
    ----------
    one : Entry
        The entry.
    received_at : datetime
        Instant at which it arrived.

    Returns
    -------
    row : dict of str to object
        Values by column.

    Raises
    ------
    OutOfRangeError
        If the entry has no id, or holds what a database cannot.
    """
    if not one.id or len(one.id) > _ID_LENGTH:
        raise OutOfRangeError("id of an entry", f"1 to {_ID_LENGTH} characters", one.id[:80])
    for name in ("n", "n_of", "n_containers"):
        value = getattr(one, name)
        if value is not None and not 0 <= value <= _N_MAX:
            raise OutOfRangeError(name, f"a whole number from 0 to {_N_MAX}", value)
    body: dict[str, Any] = {}
    for name, blank in _IN_BODY.items():
        value = getattr(one, name)
        if value != blank:
            body[name] = value
    if one.values:
        body["values"] = dict(one.values)
    row: dict[str, Any] = {name: getattr(one, name) for name in _COLUMNS}
    row["kind"] = one.kind.value
    row["received_at"] = received_at
    for name, value in (*row.items(), *body.items()):
        if isinstance(value, str):
            _check_text(name, value)
    row["body"] = msgspec.json.encode(body).decode()
    return row


def entry_of(row: Row[Any] | tuple[Any, ...]) -> Entry:
    """Return the entry of a row.

    Parameters
    ----------
    row : Row or tuple
        Values of `FIELDS`, in that order; more may follow.

    Returns
    -------
    one : Entry
        The entry.
    """
    id_, kind, day_date, at, person, sowing, lot, job, corrects, body = row[: len(FIELDS)]
    more: dict[str, Any] = {} if body == "{}" else msgspec.json.decode(body)
    if "trays" in more:
        more["trays"] = tuple(more["trays"])
    return Entry(
        id=id_,
        kind=_KINDS[kind],
        day_date=day_date,
        at=at,
        person=person,
        sowing=sowing,
        lot=lot,
        job=job,
        corrects=corrects,
        **more,
    )


def kept_rows() -> Select[Any]:
    """Return the query of entries with what strikes them; `kept_of` makes its rows records.

    Returns
    -------
    query : Select
        To be narrowed by a condition and an order.
    """
    other = entry.alias()
    struck_by = (
        select(other.c.id).where(_mends(other)).order_by(other.c.seq).limit(1).scalar_subquery()
    )
    return select(*FIELDS, entry.c.seq, entry.c.received_at, struck_by)


def kept_of(row: Row[Any]) -> Kept:
    """Return the record of a row of `kept_rows`.

    Parameters
    ----------
    row : Row
        A row.

    Returns
    -------
    kept : Kept
        The entry as the journal holds it.
    """
    seq, received_at, struck_by = row[len(FIELDS) :]
    return Kept(seq=seq, entry=entry_of(row), received_at=received_at, struck_by=struck_by or "")


def standing_rows() -> Select[Any]:
    """Return the query of the entries that stand: neither struck nor a bare correction.

    Returns
    -------
    query : Select
        Of `FIELDS` and the number of arrival, to be narrowed by a condition and an order.
    """
    other = entry.alias()
    struck = select(other.c.seq).where(_mends(other)).exists()
    return select(*FIELDS, entry.c.seq).where(~struck, entry.c.kind != EntryKind.CORRECTED.value)


def standing_entries(
    connection: Connection, sowings: Sequence[str] | Select[Any] | None = None
) -> list[Entry]:
    """Return the entries that stand, one that replaces another in its place.

    Parameters
    ----------
    connection : Connection
        Connection of a unit of work.
    sowings : sequence of str, Select or None, default None
        Only those about these sowings, or those of a query; None is every entry.

    Returns
    -------
    entries : list of Entry
        In the order in which `sowbench.domain.life` takes them within a day.
    """
    standing, other = standing_rows(), entry.alias()
    struck = select(entry.c.sowing, entry.c.id, entry.c.seq, entry.c.corrects).join(
        other, _mends(other)
    )
    if sowings is not None:
        standing = standing.where(entry.c.sowing.in_(sowings))
        struck = struck.where(entry.c.sowing.in_(sowings))
    arrived = [(row[-1], entry_of(row)) for row in connection.execute(standing)]
    places = {(row[0], row[1]): (row[2], row[3]) for row in connection.execute(struck)}
    return in_order(arrived, places)


def _mends(other: FromClause) -> ColumnElement[bool]:
    """Return the condition that another entry corrects this one, so that its index serves."""
    return and_(other.c.corrects == entry.c.id, other.c.corrects != "")


def _check_text(name: str, value: str) -> None:
    """Refuse text that PostgreSQL, or no database, can hold."""
    if "\x00" in value or not value.isascii():
        try:
            value.encode()
        except UnicodeEncodeError:
            raise OutOfRangeError(name, "text of whole characters", ascii(value)[:80]) from None
        if "\x00" in value:
            raise OutOfRangeError(name, "text without zero bytes", ascii(value)[:80])
