"""How long a large file of orders takes to be taken in, against the least that could be done.

    python -m benchmarks.import_orders [--url ADDRESS] [--rows N] [--times N] [--out FILE]

Ours is all that happens between the upload and the orders in the book: the file is kept, read,
every cell checked, compared with the orders that are known, and taken, each order with its entry
among the changes. The least is `csv.reader` and `executemany` of the same rows into a table of the
same columns and indexes, committed. Both begin with an empty book, in turns, on the same disk.
PostgreSQL by its address; the database must be empty and is emptied between turns.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import platform
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final, cast

import numpy as np
from sqlalchemy import create_engine

from benchmarks.pages import commit
from sowbench.bootstrap import open_desk
from sowbench.exchange.orders import COLUMNS
from sowbench.services.desk import Desk
from sowbench.services.orders_intake import keep_file, look, take
from sowbench.store import tables

MOST_RATIO: Final = 4.0
_CROPS: Final = ("lettuce", "tomato", "basil", "kale", "leek", "cucumber", "celery", "onion")
_SYSTEMS: Final = ("field", "bed", "any", "")
_FIRST: Final = date(2027, 1, 4)


def write_orders(path: Path, n_rows: int, seed: int = 1) -> None:
    """Write a file of invented orders.

    Parameters
    ----------
    path : Path
        File to write.
    n_rows : int
        Orders in it.
    seed : int, default 1
        Where the random numbers start.
    """
    draw = np.random.default_rng(seed)
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, COLUMNS, restval="")
        writer.writeheader()
        for at in range(n_rows):
            wanted = _FIRST + timedelta(days=int(draw.integers(300)))
            writer.writerow(
                {
                    "order": f"B{at:06}",
                    "customer": f"customer {draw.integers(400)}",
                    "crop": draw.choice(_CROPS),
                    "plants": draw.integers(50, 3_000),
                    "wanted_on": wanted,
                    "earliest_on": wanted - timedelta(days=2),
                    "latest_on": wanted + timedelta(days=3),
                    "system": draw.choice(_SYSTEMS),
                    "confidence_frac": draw.choice(("", "0.9", "0.95")),
                    "organic": draw.choice(("", "yes", "no")),
                    "status": "promised",
                    "note": draw.choice(("", "by the back gate", f"note {at}")),
                }
            )


def bare(desk: Desk, path: Path) -> float:
    """Put the rows of a file into the table of orders with nothing around it.

    Parameters
    ----------
    desk : Desk
        Desk of an empty book.
    path : Path
        The file.

    Returns
    -------
    seconds : float
        Time it took [s].
    """
    engine = create_engine(desk.data_url)
    names = [each.name for each in tables.orders.columns]
    mark = "?" if engine.dialect.name == "sqlite" else "%s"
    into = f"INSERT INTO orders ({', '.join(names)}) VALUES ({', '.join([mark] * len(names))})"  # noqa: S608 - names of our table
    try:
        connection = engine.raw_connection()
        cursor = connection.cursor()
        if engine.dialect.name == "sqlite":
            cursor.execute("PRAGMA synchronous=FULL")
        begun_s = time.perf_counter()
        with path.open(encoding="utf-8", newline="") as stream:
            cursor.executemany(into, cast("Any", _bare_rows(csv.reader(stream))))
        connection.commit()
        taken_s = time.perf_counter() - begun_s
        connection.close()
    finally:
        engine.dispose()
    return taken_s


def _bare_rows(reader: Iterator[list[str]]) -> Iterator[tuple[object, ...]]:
    """Put the cells of a row in the order of the table, as the file has them."""
    place = {name: at for at, name in enumerate(next(reader))}
    order, customer, crop, plants, wanted, earliest, latest, system, sure, organic, note = (
        place[each]
        for each in (
            "order", "customer", "crop", "plants", "wanted_on", "earliest_on", "latest_on",
            "system", "confidence_frac", "organic", "note",
        )
    )  # fmt: skip
    for at, row in enumerate(reader):
        yield (
            row[order], at, row[customer], row[crop], "", "", row[plants], "plant", row[wanted],
            row[earliest], row[latest], row[system], "", row[sure] or None, 1.0, False,
            row[organic] == "yes", "trays", "promised", row[note], "",
        )  # fmt: skip


def ours(desk: Desk, data: bytes) -> float:
    """Take a file in as its page does.

    Parameters
    ----------
    desk : Desk
        Desk of an empty book.
    data : bytes
        The file.

    Returns
    -------
    seconds : float
        Time it took [s].
    """
    begun_s = time.perf_counter()
    intake_id = keep_file(desk, "orders.csv", data)
    intake = look(desk, intake_id)
    if intake.problems:
        raise SystemExit(f"The file is not right: {intake.problems[0]}")
    take(desk, intake_id)
    return time.perf_counter() - begun_s


def empty(url: str | None) -> None:
    """Empty the tables that a turn fills; a file of SQLite is a new one each turn anyway.

    Parameters
    ----------
    url : str or None
        Address of the database; None is a file.
    """
    if url is None:
        return
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.execute(tables.orders.delete())
        connection.execute(tables.change.delete())
    engine.dispose()


def main(arguments: list[str] | None = None, say: Callable[[str], Any] = print) -> int:
    """Time both in turns, and print the ratio.

    Parameters
    ----------
    arguments : list of str or None, default None
        Words of the command line.
    say : callable, default print
        Is given each line.

    Returns
    -------
    status : int
        1 if it takes more than four times the least.
    """
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    parser.add_argument("--url", help="address of an empty PostgreSQL database")
    parser.add_argument("--rows", type=int, default=100_000)
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--out", type=Path, help="file for the figures (JSON)")
    asked = parser.parse_args(arguments)
    least_s, took_s = [], []
    load = os.getloadavg()[0]
    version = commit()
    with tempfile.TemporaryDirectory() as made:
        path = Path(made) / "orders.csv"
        write_orders(path, asked.rows)
        data = path.read_bytes()
        for turn in range(asked.times):
            with open_desk(Path(made) / f"bare-{turn}", asked.url) as desk:
                empty(asked.url)
                least_s.append(bare(desk, path))
            with open_desk(Path(made) / f"ours-{turn}", asked.url) as desk:
                empty(asked.url)
                took_s.append(ours(desk, data))
                with desk.book.reading() as unit:
                    if unit.orders_page.n_orders() != asked.rows:
                        raise SystemExit("Not every order is in the book.")
            say(f"turn {turn + 1}: bare {least_s[-1]:.2f} s, ours {took_s[-1]:.2f} s")
        empty(asked.url)
    ratio = min(took_s) / min(least_s)
    say(f"{asked.rows:,} orders: {ratio:.2f} times the least (at most {MOST_RATIO:g})")
    if asked.out:
        figures = {
            "date": date.today().isoformat(),  # noqa: DTZ011 - the day on which it was run
            "commit": version,
            "database": "sqlite" if asked.url is None else "postgresql",
            "machine": f"{os.cpu_count()} cores, Python {platform.python_version()}",
            "load": [round(load, 1), round(os.getloadavg()[0], 1)],
            "rows": asked.rows,
            "bare_s": least_s,
            "ours_s": took_s,
            "ratio": ratio,
        }
        asked.out.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    return int(ratio > MOST_RATIO)


if __name__ == "__main__":
    sys.exit(main())
