"""A house book of many seasons: the demo's, copied into the past until it is as large as asked.

The current plan and what happened by it stay those of the demo, and one of its open sowings gets
as many trays counted cell by cell as asked, so that what a page shows of today is comparable and
what lies behind it is not.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from itertools import islice
from typing import Any, Final

import numpy as np
from sqlalchemy import Connection, Engine, Table, func, insert, select

from sowbench.store import tables as t
from sowbench.store.bulk import insert_rows

_CHUNK: Final = 20_000
_YEAR_D: Final = 364  # whole weeks, so that work days stay work days
# Reading the book's own rows needs no more columns than these to be moved in time.
_DATES: Final = (
    *("sow_date", "end_date", "from_date", "to_date", "date", "sown_date", "ended_date"),
    *("counted_date", "wanted_date", "earliest_date", "latest_date", "gone_date", "needed_date"),
    *("order_by_date", "until_date", "day_date", "first_date"),
)
_NAMES: Final = {
    "planned_sowing": ("sowing",),
    "planned_stay": ("sowing",),
    "planned_order": ("name",),
    "planned_job": ("sowing", "key"),
    "sowing_life": ("sowing",),
    "tray": ("sowing", "count_entry"),
    "delivery": ("sowing", "name", "entry"),
    "job_done": ("sowing", "key", "entry"),
    "orders": ("name",),
    "entry": ("sowing", "job", "id", "corrects"),
}


def grow(engine: Engine, n_sowings: int, n_entries: int, n_mapped: int, seed: int = 1) -> None:
    """Copy the season of a book into the past until the book is large.

    Parameters
    ----------
    engine : Engine
        A book that holds the demo.
    n_sowings, n_entries : int
        Sowings and journal entries to reach.
    n_mapped : int
        Trays of one open sowing to be counted cell by cell.
    seed : int, default 1
        Where the invented counts start.
    """
    with engine.begin() as connection, _without_indexes(connection):
        season = {
            name: [dict(row) for row in connection.execute(select(table)).mappings()]
            for name, table in t.metadata.tables.items()
            if name in _NAMES or name in {"plan", "planned_use", "planned_supply"}
        }
        n_planned = len(season["planned_sowing"])
        n_copies = max(-(-(n_sowings - n_planned) // n_planned), 0)
        n_here = connection.execute(select(func.count()).select_from(t.entry)).scalar_one()
        wanted = max(n_entries - n_here - n_mapped, 0)
        by_copy = -(-wanted // max(n_copies, 1))
        for copy in range(1, n_copies + 1):
            _copy(connection, season, copy, min(by_copy, wanted))
            wanted -= min(by_copy, wanted)
        _map_trays(connection, n_mapped, seed)


@contextmanager
def _without_indexes(connection: Connection) -> Iterator[None]:
    """Take the indexes of the tables that grow away while they do; made at once they cost less."""
    indexes = [each for name in _NAMES for each in t.metadata.tables[name].indexes]
    for each in indexes:
        each.drop(connection)
    yield
    for each in indexes:
        each.create(connection)


def _put(connection: Connection, table: Table, rows: Iterable[dict[str, Any]]) -> None:
    """Insert rows, all of the same columns, some thousand at a time."""
    left = iter(rows)
    while some := list(islice(left, _CHUNK)):
        values = [tuple(each.values()) for each in some]
        insert_rows(connection, table, tuple(some[0]), values)


def _moved(row: dict[str, Any], name: str, copy: int, plan: int | None) -> dict[str, Any]:
    """Return a row as it would stand in a season long ago."""
    earlier = timedelta(days=_YEAR_D * (1 + (copy - 1) % 40))
    moved = dict(row)
    for column in _DATES:
        if isinstance(moved.get(column), date) and not isinstance(moved.get(column), datetime):
            moved[column] -= earlier
    for column in _NAMES.get(name, ()):
        if moved.get(column):
            moved[column] = f"{moved[column]}~{copy}"[:64]
    if plan is not None and "plan" in moved:
        moved["plan"] = plan
    if name in {"sowing_life", "tray"}:
        end = "ended_date" if name == "sowing_life" else "gone_date"
        moved[end] = moved[end] or moved.get("sown_date") or moved.get("from_date")
    return moved


def _copy(
    connection: Connection, season: dict[str, list[dict[str, Any]]], copy: int, n_entries: int
) -> None:
    """Write one earlier season, all of it over and done."""
    plan = _moved(season["plan"][-1], "plan", copy, None)
    plan.pop("id")
    plan["state"] = "past"
    number = connection.execute(insert(t.plan).values(**plan).returning(t.plan.c.id)).scalar_one()
    for name, rows in season.items():
        if name in {"plan", "entry"}:
            continue
        table = t.metadata.tables[name]
        _put(connection, table, (_moved(row, name, copy, number) for row in rows))
    entries = [_moved(row, "entry", copy, None) for row in season["entry"]]

    def written() -> Iterator[dict[str, Any]]:
        for at in range(n_entries):
            turn, place = divmod(at, len(entries))
            row = entries[place] | {"id": f"{turn}-{entries[place]['id']}"[:64]}
            del row["seq"]
            if turn:
                row["job"] = row["corrects"] = ""
            yield row

    _put(connection, t.entry, written())


def largest_sowing(connection: Connection) -> str:
    """Name the open sowing with the most trays.

    Parameters
    ----------
    connection : Connection
        Of the book.

    Returns
    -------
    sowing : str
        Its name.
    """
    n_trays = func.count().label("n_trays")
    counted = (
        select(t.tray.c.sowing, n_trays)
        .join(t.sowing_life, t.sowing_life.c.sowing == t.tray.c.sowing)
        .where(t.sowing_life.c.ended_date.is_(None), t.tray.c.gone_date.is_(None))
        .group_by(t.tray.c.sowing)
        .order_by(n_trays.desc(), t.tray.c.sowing)
        .limit(1)
    )
    return str(connection.execute(counted).scalar_one())


def _map_trays(connection: Connection, n_trays: int, seed: int) -> None:
    """Count many trays of one open sowing cell by cell."""
    sowing = largest_sowing(connection)
    trays_of = select(t.tray).where(t.tray.c.sowing == sowing)
    sample = connection.execute(trays_of).mappings().first()
    if sample is None:
        return
    rng = np.random.default_rng(seed)
    n_cells = int(sample["n_cells"])
    connection.execute(t.tray.delete().where(t.tray.c.sowing == sowing))
    day = sample["counted_date"] or sample["from_date"]
    trays, entries = [], []
    for number in range(1, n_trays + 1):
        marks = rng.choice(["0", "1", "+"], size=n_cells, p=[0.12, 0.84, 0.04])
        cells = "".join(marks.tolist())
        entry = f"map-{sowing}-{number}"[:64]
        n_right = cells.count("1") + cells.count("+")
        tray = dict(sample)
        tray |= {"number": number, "n_cells": n_cells, "cells": cells, "n_right": n_right,
                 "n_seen": n_cells, "count_entry": entry, "counted_date": day}  # fmt: skip
        trays.append(tray)
        fields = {"n": n_right, "n_of": n_cells, "trays": [number], "cells": cells}
        body = json.dumps(fields, separators=(",", ":"))
        entries.append(
            {
                "id": entry,
                "kind": "counted",
                "day_date": day,
                "sowing": sowing,
                "body": body,
                "received_at": datetime.now(UTC),
                "at": None,
                "person": "",
                "lot": "",
                "job": "",
                "corrects": "",
            }
        )
    _put(connection, t.tray, trays)
    _put(connection, t.entry, entries)


def main() -> None:
    """Grow the book of a data folder or database that holds the demo."""
    from sowbench.store.engine import open_engine

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("url", help="address of the database")
    parser.add_argument("--sowings", type=int, default=100_000)
    parser.add_argument("--entries", type=int, default=2_000_000)
    parser.add_argument("--trays", type=int, default=200)
    given = parser.parse_args()
    engine = open_engine(given.url)
    grow(engine, given.sowings, given.entries, given.trays)
    engine.dispose()


if __name__ == "__main__":
    main()
