"""Changes of what people enter beside the journal: before, after, who, when and why."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Final

from sqlalchemy import Connection, select

from sowbench.domain.book import Change
from sowbench.store.bulk import insert_rows
from sowbench.store.tables import change

_COLUMNS: Final = ("at", "person", "subject", "name", "before", "after", "reason")


def write_changes(
    connection: Connection,
    subject: str,
    changed: Iterable[tuple[str, str | None, str | None]],
    at: datetime,
    person: str,
    reason: str,
) -> None:
    """Write changes down.

    Parameters
    ----------
    connection : Connection
        Connection of a unit of work that writes.
    subject : str
        What changed: order, lot, pin, standing or house.
    changed : iterable of tuple
        Name, JSON before and JSON after of each.
    at : datetime
        Instant of the change.
    person : str
        Who changed it.
    reason : str
        Why.
    """
    rows = [(at, person, subject, name, before, after, reason) for name, before, after in changed]
    insert_rows(connection, change, _COLUMNS, rows)


def history(connection: Connection, subject: str, name: str) -> list[Change]:
    """Return the changes of one thing, the first first.

    Parameters
    ----------
    connection : Connection
        Connection of a unit of work.
    subject : str
        What it is: order, lot, pin, standing or house.
    name : str
        Its name.

    Returns
    -------
    changes : list of Change
        The changes.
    """
    columns = (
        change.c.seq,
        change.c.at,
        change.c.person,
        change.c.subject,
        change.c.name,
        change.c.before,
        change.c.after,
        change.c.reason,
    )
    query = select(*columns).where(change.c.subject == subject, change.c.name == name)
    return [Change(*row) for row in connection.execute(query.order_by(change.c.seq))]
