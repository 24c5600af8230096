"""How long the pages of a house book take, in a large book against the demo's.

    python -m benchmarks.pages [--url ADDRESS] [--sowings N] [--entries N] [--trays N] [--times N]

Makes the demo's book, times every page in it, grows a copy of the book to many seasons
(`benchmarks.big_book`), times every page in that, and prints for each page the ratio of the times
at the 95th percentile and the number of queries in both. Server time is that of the application
itself, without the network: the test client calls it in this process.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

import numpy as np
from litestar.testing import TestClient
from sqlalchemy import Engine, event, text

from benchmarks.big_book import grow, largest_sowing
from sowbench.bootstrap import open_desk
from sowbench.planning.parameters import SolveParameters
from sowbench.services.demo_book import fill_demo_book
from sowbench.services.desk import Desk
from sowbench.web.app import create_app

HTML: Final = {"accept": "text/html"}
MOST_RATIO: Final = 3.0


@dataclass(frozen=True, slots=True)
class Timed:
    """One page in one book: server time at the middle and the 95th percentile, and its queries."""

    p50_ms: float
    p95_ms: float
    n_queries: int


@contextmanager
def counting(engine: Engine) -> Iterator[list[str]]:
    """Count the statements that an engine runs.

    Yields
    ------
    statements : list of str
        Grows by each statement.
    """
    statements: list[str] = []

    def note(*arguments: Any) -> None:
        statements.append(arguments[2])

    event.listen(engine, "before_cursor_execute", note)
    try:
        yield statements
    finally:
        event.remove(engine, "before_cursor_execute", note)


def addresses(sowing: str) -> list[str]:
    """Return the addresses of the pages that are timed.

    Parameters
    ----------
    sowing : str
        An open sowing with many trays.

    Returns
    -------
    paths : list of str
        Every page that reads the book.
    """
    name = quote(sowing, safe="")
    return [
        "/today",
        "/count",
        "/orders",
        "/orders/N002",
        "/orders/free",
        "/plans",
        "/season",
        "/season/pins",
        "/sowings",
        f"/sowings/{name}",
        f"/sowings/{name}/trays/1",
        "/seed",
        "/seed/S01",
        "/supplies",
        "/house",
        "/handbook",
        f"/working/cells?of={name}",
    ]


def time_pages(
    client: TestClient[Any], engine: Engine, paths: Sequence[str], n_times: int
) -> dict[str, Timed]:
    """Ask for each page many times.

    Parameters
    ----------
    client : TestClient
        Client of the application.
    engine : Engine
        Its database.
    paths : sequence of str
        Pages.
    n_times : int
        How often each is asked for, after one that is not timed.

    Returns
    -------
    timed : dict of str to Timed
        By page.
    """
    found = {}
    for path in paths:
        with counting(engine) as statements:
            first = client.get(path, headers=HTML)
        if first.status_code != 200:
            raise SystemExit(f"{path} answered {first.status_code}: {first.text[:300]}")
        times_ms = []
        for _ in range(n_times):
            begun = time.perf_counter()
            client.get(path, headers=HTML)
            times_ms.append(1e3 * (time.perf_counter() - begun))
        p50, p95 = np.percentile(times_ms, [50, 95])
        found[path] = Timed(float(p50), float(p95), len(statements))
    return found


def time_entry(client: TestClient[Any], sowing: str, n_times: int) -> Timed:
    """Post one count after another, as a phone does.

    Parameters
    ----------
    client : TestClient
        Client of the application.
    sowing : str
        Sowing that is counted.
    n_times : int
        How many entries.

    Returns
    -------
    timed : Timed
        Time of a post; its queries are not counted.
    """
    times_ms = []
    for at in range(n_times):
        token = client.get("/entries/token").json()["token"]
        entry = {
            "id": f"{time.time_ns():032x}",
            "kind": "counted",
            "day_date": "2027-03-09",
            "sowing": sowing,
            "trays": [1 + at % 8],
            "n": 60,
        }
        begun = time.perf_counter()
        answer = client.post("/entries", json=[entry], headers={"x-csrftoken": token})
        times_ms.append(1e3 * (time.perf_counter() - begun))
        if answer.status_code >= 300:
            raise SystemExit(f"POST /entries answered {answer.status_code}: {answer.text[:300]}")
    p50, p95 = np.percentile(times_ms, [50, 95])
    return Timed(float(p50), float(p95), 0)


def time_book(desk: Desk, engine: Engine, n_times: int) -> dict[str, Timed]:
    """Time all pages of a book.

    Parameters
    ----------
    desk : Desk
        Its desk.
    engine : Engine
        Its database.
    n_times : int
        How often each page is asked for.

    Returns
    -------
    timed : dict of str to Timed
        By page.
    """
    with engine.connect() as connection:
        sowing = largest_sowing(connection)
    with TestClient(create_app(desk), base_url="http://127.0.0.1") as client:
        timed = time_pages(client, engine, addresses(sowing), n_times)
        timed["POST /entries"] = time_entry(client, sowing, n_times)
    return timed


def report(small: dict[str, Timed], large: dict[str, Timed]) -> list[str]:
    """Write the table.

    Parameters
    ----------
    small, large : dict of str to Timed
        Times in the demo's book and in the large one, pages in the same order.

    Returns
    -------
    lines : list of str
        A line a page.
    """
    lines = ["| page | demo p95 | large p95 | ratio | queries |", "|---|---|---|---|---|"]
    for (path, one), (_, many) in zip(small.items(), large.items(), strict=True):
        ratio = many.p95_ms / one.p95_ms
        missed = "" if ratio <= MOST_RATIO else " missed"
        queries = f"{one.n_queries}" + (
            "" if one.n_queries == many.n_queries else f" → {many.n_queries}"
        )
        shown = path.split("?")[0]
        lines.append(
            f"| {shown} | {one.p95_ms:.0f} ms | {many.p95_ms:.0f} ms | {ratio:.2f}{missed} |"
            f" {queries} |"
        )
    return lines


def main(say: Callable[[str], Any] = print) -> None:
    """Make both books, time them and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--url", help="database to use in place of SQLite; it is emptied")
    parser.add_argument("--sowings", type=int, default=100_000)
    parser.add_argument("--entries", type=int, default=2_000_000)
    parser.add_argument("--trays", type=int, default=200)
    parser.add_argument("--times", type=int, default=40)
    parser.add_argument("--out", help="file for the figures (JSON)")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, open_desk(Path(folder), given.url) as desk:
        engine: Engine = desk.book.engine  # type: ignore[attr-defined]
        fill_demo_book(desk, SolveParameters(rounds=10, seconds=60))
        small = time_book(desk, engine, given.times)
        begun = time.perf_counter()
        grow(engine, given.sowings, given.entries, given.trays)
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("ANALYZE"))
        say(f"grown in {time.perf_counter() - begun:.0f} s")
        large = time_book(desk, engine, given.times)
        lines = report(small, large)
        say("\n".join(lines))
        if given.out:
            figures = {
                "database": engine.dialect.name,
                "sowings": given.sowings,
                "entries": given.entries,
                "trays": given.trays,
                "demo": {path: asdict(each) for path, each in small.items()},
                "large": {path: asdict(each) for path, each in large.items()},
            }
            Path(given.out).write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    if any("missed" in each for each in lines):
        sys.exit(1)


if __name__ == "__main__":
    main()
