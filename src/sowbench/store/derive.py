"""What follows from the journal: made anew for what new entries are about, or for all of it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, Select, delete, exists, select

from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.life import (
    HandedOver,
    SowingLife,
    Ticked,
    TrayLife,
    handed_over,
    sowing_life,
    ticked_jobs,
)
from sowbench.store import tables as t
from sowbench.store.bodies import standing_of
from sowbench.store.bulk import insert_rows
from sowbench.store.entry_rows import entry_of, standing_entries, standing_rows
from sowbench.store.repository import in_parts

_N_SOWINGS: Final = 500
_N_JOBS: Final = 5_000
_INTEGER_MAX: Final = 2**31 - 1


def follow_sowings(connection: Connection, sowings: Iterable[str]) -> dict[str, SowingLife]:
    """Follow sowings anew from their entries, and write what comes out.

    Parameters
    ----------
    connection : Connection
        Connection of a unit of work that writes.
    sowings : iterable of str
        Their names; a blank one is passed over.

    Returns
    -------
    lives : dict of str to SowingLife
        Where each stands; one of which nothing is known has none.
    """
    lives: dict[str, SowingLife] = {}
    for names in in_parts(sorted({each for each in sowings if each}), _N_SOWINGS):
        lives |= _follow_part(connection, names)
    return lives


def _follow_part(connection: Connection, names: list[str]) -> dict[str, SowingLife]:
    """Follow some sowings."""
    entries: dict[str, list[Entry]] = {}
    for one in standing_entries(connection, names):
        entries.setdefault(one.sowing, []).append(one)
    standing = select(t.standing.c.body).where(t.standing.c.sowing.in_(names))
    starts = {
        each.sowing: each for each in map(standing_of, connection.execute(standing).scalars())
    }
    lives = {
        name: sowing_life(name, entries.get(name, ()), starts.get(name))
        for name in names
        if name in entries or name in starts
    }
    for table in (t.sowing_life, t.tray, t.delivery):
        connection.execute(delete(table).where(table.c.sowing.in_(names)))
    _put(connection, t.sowing_life, map(_life_row, lives.values()))
    _put(
        connection,
        t.tray,
        (_tray_row(one.sowing, tray) for one in lives.values() for tray in one.trays),
    )
    _put(
        connection,
        t.delivery,
        (_delivery_row(each) for one in lives.values() for each in one.handed_over),
    )
    return lives


def follow_jobs(connection: Connection, keys: Iterable[str]) -> None:
    """Find anew which entry ticks off a job, and write it.

    Parameters
    ----------
    connection : Connection
        Connection of a unit of work that writes.
    keys : iterable of str
        Keys of planned jobs; a blank one is passed over.
    """
    for part in in_parts(sorted({each for each in keys if each})):
        # That the key is not blank lets the index of ticks serve.
        query = standing_rows().where(t.entry.c.job.in_(part), t.entry.c.job != "")
        entries = [entry_of(row) for row in connection.execute(query.order_by(t.entry.c.seq))]
        connection.execute(delete(t.job_done).where(t.job_done.c.key.in_(part)))
        _put(connection, t.job_done, map(_job_row, ticked_jobs(entries).values()))


def follow_loose_deliveries(connection: Connection, ids: Collection[str]) -> None:
    """Find anew what was handed over of no sowing that is named.

    Parameters
    ----------
    connection : Connection
        Connection of a unit of work that writes.
    ids : collection of str
        Entries that name no sowing, and that may be deliveries.
    """
    for part in in_parts(sorted(ids)):
        connection.execute(
            delete(t.delivery).where(t.delivery.c.entry.in_(part), t.delivery.c.sowing == "")
        )
        _write_loose(connection, t.entry.c.id.in_(part))


def _write_loose(connection: Connection, condition: ColumnElement[bool]) -> None:
    """Write deliveries of no sowing that is named."""
    query = standing_rows().where(
        condition, t.entry.c.sowing == "", t.entry.c.kind == EntryKind.DELIVERED.value
    )
    handed = handed_over(entry_of(row) for row in connection.execute(query))
    _put(connection, t.delivery, map(_delivery_row, handed))


def rebuild(connection: Connection) -> int:
    """Make all derived state anew, some hundred sowings at a time.

    Parameters
    ----------
    connection : Connection
        Connection of a unit of work that writes.

    Returns
    -------
    n_sowings : int
        Number of sowings.
    """
    for table in t.DERIVED:
        connection.execute(delete(table))
    entry, standing = t.entry.c.sowing, t.standing.c.sowing
    # Those of which there are entries, then those that only stood before the book.
    with_entries = select(entry).distinct()
    without = select(standing).where(~exists().where(entry == standing))
    n_sowings = 0
    for column, query in ((entry, with_entries), (standing, without)):
        for names in _in_batches(connection, query, column, "", _N_SOWINGS):
            n_sowings += len(_follow_part(connection, names))
    job = t.entry.c.job
    ticks = select(job).where(job != "").distinct()
    for keys in _in_batches(connection, ticks, job, "", _N_JOBS):
        follow_jobs(connection, keys)
    loose = select(t.entry.c.seq).where(
        t.entry.c.sowing == "", t.entry.c.kind == EntryKind.DELIVERED.value
    )
    for seqs in _in_batches(connection, loose, t.entry.c.seq, 0, _N_JOBS):
        _write_loose(connection, t.entry.c.seq.between(seqs[0], seqs[-1]))
    return n_sowings


def _in_batches(
    connection: Connection, query: Select[Any], column: ColumnElement[Any], first: Any, size: int
) -> Iterator[list[Any]]:
    """Read one column in its order, so many values at a time, each time by its index."""
    last = first
    while True:
        batch = query.where(column > last).order_by(column).limit(size)
        values = list(connection.execute(batch).scalars())
        if not values:
            return
        yield values
        last = values[-1]


def _put(connection: Connection, table: Any, rows: Iterable[dict[str, Any]]) -> None:
    """Insert rows, all with the same columns, if there are any."""
    every = list(rows)
    if every:
        insert_rows(connection, table, list(every[0]), [tuple(each.values()) for each in every])


def _fits(n: int | None) -> int | None:
    """Keep a sum within what a column holds; no house comes near it."""
    return None if n is None else min(n, _INTEGER_MAX)


def _life_row(one: SowingLife) -> dict[str, Any]:
    """Return a life as a row."""
    return {
        "sowing": one.sowing,
        "crop": one.crop,
        "variety": one.variety,
        "lot": one.lot,
        "sown_date": one.sown_date,
        "n_cells": _fits(one.n_cells),
        "n_seeds": _fits(one.n_seeds),
        "n_lost": _fits(one.n_lost),
        "n_delivered": _fits(one.n_delivered),
        "counted_date": one.counted_date,
        "n_right": _fits(one.n_right),
        "n_seen": _fits(one.n_seen),
        "place": one.place,
        "ended_date": one.ended_date,
        "last_entry_at": one.last_entry_at,
        "n_entries": one.n_entries,
    }


def _tray_row(sowing: str, tray: TrayLife) -> dict[str, Any]:
    """Return a tray as a row."""
    return {
        "sowing": sowing,
        "number": tray.number,
        "container": tray.container,
        "n_cells": _fits(tray.n_cells),
        "place": tray.place,
        "from_date": tray.from_date,
        "gone_date": tray.gone_date,
        "gone_how": tray.gone_how,
        "counted_date": tray.counted_date,
        "counted_by": tray.counted_by,
        "count_entry": tray.count_entry,
        "n_right": _fits(tray.n_right),
        "n_seen": _fits(tray.n_seen),
        "cells": tray.cells,
    }


def _delivery_row(one: HandedOver) -> dict[str, Any]:
    """Return what was handed over as a row."""
    return {
        "entry": one.entry,
        "sowing": one.sowing,
        "name": one.order,
        "date": one.date,
        "plants": one.plants,
    }


def _job_row(one: Ticked) -> dict[str, Any]:
    """Return a job that was ticked off as a row."""
    return {
        "key": one.key,
        "entry": one.entry,
        "date": one.date,
        "at": one.at,
        "person": one.person,
        "sowing": one.sowing,
    }
