"""How long the pages of a house book take, in a large book against the demo's.

    python -m benchmarks.pages [--url ADDRESS --large-url ADDRESS] [--books FOLDER] [--times N]

Makes the demo's book twice and grows one of them to many seasons (`benchmarks.big_book`). Every
page is then asked for in both in turns, so that whatever else the machine does falls on both alike,
and for each page the times of both are printed with their ratio and the number of queries of both.
Server time is that of the application itself, without the network: the test client calls it in this
process. Books in a folder or database that hold a plan already are taken as they are.
"""

from __future__ import annotations

import argparse
import gc
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

import numpy as np
from litestar.testing import TestClient
from sqlalchemy import Engine, event, text

from benchmarks.big_book import grow, largest_sowing
from sowbench.bootstrap import open_desk
from sowbench.planning.inputs import PlanInputs
from sowbench.planning.parameters import SolveParameters
from sowbench.services.demo_book import fill_demo_book
from sowbench.services.desk import Desk
from sowbench.services.parts import Made, Progress
from sowbench.web.app import create_app

HTML: Final = {"accept": "text/html"}
MOST_RATIO: Final = 3.0
POST: Final = "POST /entries"
_SEARCH: Final = SolveParameters(rounds=10, seconds=60)


@dataclass(frozen=True, slots=True)
class Timed:
    """One page in one book.

    Server time at the middle and the 95th percentile, time of this process's processor at the
    middle (without that of a database server), and queries.
    """

    p50_ms: float
    p95_ms: float
    cpu_p50_ms: float
    n_queries: int


@dataclass(frozen=True, slots=True)
class Compared:
    """One page in the demo's book and in the large one."""

    demo: Timed
    large: Timed

    @property
    def ratio(self) -> float:
        """Of the times at the 95th percentile."""
        return self.large.p95_ms / self.demo.p95_ms

    @property
    def is_missed(self) -> bool:
        """Whether the large book takes too long, or more queries."""
        return self.ratio > MOST_RATIO or self.large.n_queries > self.demo.n_queries


@dataclass(frozen=True, slots=True)
class Opened:
    """A book with its application: `sowing` is the open sowing with the most trays."""

    engine: Engine
    client: TestClient[Any]
    sowing: str


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


def addresses(sowing: str, order: str = "N002", lot: str = "S01") -> list[str]:
    """Return the addresses of the pages that are timed.

    Parameters
    ----------
    sowing : str
        An open sowing with many trays.
    order : str, default "N002"
        An order.
    lot : str, default "S01"
        A seed lot.

    Returns
    -------
    paths : list of str
        Every page that reads the book.
    """
    name, crop_order, seed = (quote(each, safe="") for each in (sowing, order, lot))
    return [
        "/today",
        "/count",
        "/orders",
        "/orders?show=past",
        f"/orders/{crop_order}",
        "/orders/free",
        "/plans",
        "/season",
        "/season/pins",
        "/sowings",
        "/sowings?show=finished",
        f"/sowings/{name}",
        f"/sowings/{name}/trays/1",
        "/seed",
        f"/seed/lot?of={seed}",
        "/supplies",
        "/house",
        "/handbook",
        f"/working/cells?of={name}",
    ]


def _asked(client: TestClient[Any], path: str) -> None:
    """Ask for a page, and stop where it is not answered."""
    answer = client.get(path, headers=HTML)
    if answer.status_code != 200:
        raise SystemExit(f"{path} answered {answer.status_code}: {answer.text[:300]}")


Asking = Callable[["Opened", int], Callable[[], None]]
"""Given a book and the number of the turn, returns what asks for a page; only that is timed."""


def _getting(large: Opened, paths: tuple[str, str]) -> Asking:
    """Return what asks for a page under its address in the demo's and in the large book."""

    def asking(book: Opened, _: int) -> Callable[[], None]:
        path = paths[book is large]
        return lambda: _asked(book.client, path)

    return asking


def _posted(opened: Opened, at: int) -> Callable[[], None]:
    """Make a count of one tray, as a phone sends it; return what posts it."""
    client = opened.client
    token = client.get("/entries/token").json()["token"]
    entry = {
        "id": f"{time.time_ns():032x}",
        "kind": "counted",
        "day_date": "2027-03-09",
        "sowing": opened.sowing,
        "trays": [1 + at % 8],
        "n": 60,
    }

    def post() -> None:
        answer = client.post("/entries", json=[entry], headers={"x-csrftoken": token})
        if answer.status_code >= 300:
            raise SystemExit(f"{POST} answered {answer.status_code}: {answer.text[:300]}")

    return post


def compare(demo: Opened, large: Opened, asking: Asking, n_times: int) -> Compared:
    """Ask for one page many times, in both books in turns.

    Parameters
    ----------
    demo, large : Opened
        The books.
    asking : Asking
        The page.
    n_times : int
        How often each is asked, after twice that are not timed; the second of those is counted.

    Returns
    -------
    compared : Compared
        Both.
    """
    books = (demo, large)
    n_queries: list[int] = []
    took_ms: tuple[list[float], list[float]] = ([], [])
    cpu_ms: tuple[list[float], list[float]] = ([], [])
    for each in books:
        asking(each, 0)()
        ask = asking(each, 1)
        with counting(each.engine) as statements:
            ask()
        n_queries.append(len(statements))
    for turn in range(n_times):
        # Who comes second finds the caches of the processor warm; each does so every other time.
        for at in (turn % 2, 1 - turn % 2):
            ask = asking(books[at], turn)
            began_s, cpu_began_s = time.perf_counter(), time.process_time()
            ask()
            cpu_ms[at].append(1e3 * (time.process_time() - cpu_began_s))
            took_ms[at].append(1e3 * (time.perf_counter() - began_s))
    timed = []
    for at in (0, 1):
        p50, p95 = np.percentile(took_ms[at], [50, 95])
        timed.append(Timed(float(p50), float(p95), float(np.median(cpu_ms[at])), n_queries[at]))
    return Compared(*timed)


def compare_pages(
    demo: Opened, large: Opened, n_times: int, only: str = "", say: Callable[[str], Any] = print
) -> dict[str, Compared]:
    """Time all pages of both books, and a count that is sent.

    Parameters
    ----------
    demo, large : Opened
        The books.
    n_times : int
        How often each page is asked for.
    only : str, default ""
        Only pages with this in their address.
    say : callable, default print
        Is given the line of each page.

    Returns
    -------
    compared : dict of str to Compared
        By page.
    """
    pairs = zip(addresses(demo.sowing), addresses(large.sowing), strict=True)
    asked = {paths[0]: _getting(large, paths) for paths in pairs}
    asked[POST] = _posted
    compared = {}
    for path, asking in asked.items():
        if only in path:
            compared[path] = compare(demo, large, asking, n_times)
            say(line_of(path, compared[path]))
    return compared


HEAD: Final = (
    "| page | demo p50 | p95 | large p50 | p95 | ratio of p95 | of p50 | queries |\n"
    "|---|---|---|---|---|---|---|---|"
)


def line_of(path: str, each: Compared) -> str:
    """Write the line of a page.

    Parameters
    ----------
    path : str
        Its address.
    each : Compared
        Its times.

    Returns
    -------
    line : str
        A row of a table with the head `HEAD`.
    """
    one, many = each.demo, each.large
    queries = f"{one.n_queries}"
    if many.n_queries != one.n_queries:
        queries += f" → {many.n_queries}"
    return (
        f"| {path} | {one.p50_ms:.1f} | {one.p95_ms:.1f} | {many.p50_ms:.1f} | {many.p95_ms:.1f} |"
        f" {each.ratio:.2f}{' missed' if each.is_missed else ''} |"
        f" {many.p50_ms / one.p50_ms:.2f} | {queries} |"
    )


def commit() -> str:
    """Return the commit that is measured; blank where there is no git."""
    here = str(Path(__file__).parent)
    try:
        done = subprocess.run(  # noqa: S603 - our own words
            ["git", "-C", here, "rev-parse", "--short", "HEAD"],  # noqa: S607 - of the path
            check=True,
            capture_output=True,
            text=True,
        )
    except (OSError, subprocess.CalledProcessError):
        return ""
    return done.stdout.strip()


def _has_plan(desk: Desk) -> bool:
    """Tell whether a book holds a plan."""
    with desk.book.reading() as unit:
        return unit.plans.current() is not None


def _engine(desk: Desk) -> Engine:
    """Return the database of a desk."""
    engine: Engine = desk.book.engine  # type: ignore[attr-defined]
    return engine


def fill_both(demo: Desk, large: Desk) -> bool:
    """Put the demo with one and the same plan into the books that have none yet.

    Parameters
    ----------
    demo, large : Desk
        Their desks.

    Returns
    -------
    to_grow : bool
        Whether the large book is only the demo's so far.
    """
    made: list[Made] = []

    def planned_once(
        inputs: PlanInputs,
        parameters: SolveParameters,
        seed: int,
        progress: Progress | None = None,
    ) -> Made:
        if not made:
            made.append(demo.parts.make_plan(inputs, parameters, seed, progress))
        return made[0]

    to_grow = not _has_plan(large)
    for desk in (demo, large):
        if not _has_plan(desk):
            parts = replace(desk.parts, make_plan=planned_once)
            fill_demo_book(replace(desk, parts=parts), _SEARCH)
    return to_grow


def _gather_statistics(engine: Engine) -> None:
    """Do what a server of PostgreSQL does on its own before long; with SQLite nobody does."""
    if engine.dialect.name == "postgresql":
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("VACUUM ANALYZE"))


def opened(stack: ExitStack, desk: Desk) -> Opened:
    """Serve a book.

    Parameters
    ----------
    stack : ExitStack
        Ends it.
    desk : Desk
        Its desk.

    Returns
    -------
    opened : Opened
        The book with its application.
    """
    engine = _engine(desk)
    with engine.connect() as connection:
        sowing = largest_sowing(connection)
    client = TestClient(create_app(desk), base_url="http://127.0.0.1")
    return Opened(engine, stack.enter_context(client), sowing)


def main(say: Callable[[str], Any] = print) -> None:
    """Make both books, time them and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--url", help="database for the demo's book in place of an SQLite file")
    parser.add_argument("--large-url", help="database for the large book")
    parser.add_argument("--books", type=Path, help="folder in which SQLite books are kept")
    parser.add_argument("--sowings", type=int, default=100_000)
    parser.add_argument("--entries", type=int, default=2_000_000)
    parser.add_argument("--trays", type=int, default=200)
    parser.add_argument("--times", type=int, default=100)
    parser.add_argument("--only", default="", help="only pages with this in their address")
    parser.add_argument("--out", type=Path, help="file for the figures (JSON)")
    given = parser.parse_args()
    if (given.url is None) != (given.large_url is None):
        parser.error("--url and --large-url go together: two books, two databases")
    with ExitStack() as stack:
        folder = given.books or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        desks = [
            stack.enter_context(open_desk(folder / name, url))
            for name, url in (("demo", given.url), ("large", given.large_url))
        ]
        if fill_both(*desks):
            began_s = time.perf_counter()
            grow(_engine(desks[1]), given.sowings, given.entries, given.trays)
            say(f"grown in {time.perf_counter() - began_s:.0f} s")
        for desk in desks:
            _gather_statistics(_engine(desk))
        demo, large = (opened(stack, desk) for desk in desks)
        gc.collect()
        load = os.getloadavg()[0]
        version = commit()
        database = demo.engine.dialect.name
        say(f"{database}, {given.times} times each, commit {version}, load {load:.1f}\n\n{HEAD}")
        compared = compare_pages(demo, large, given.times, given.only, say)
        loads = [round(each, 1) for each in (load, os.getloadavg()[0])]
        say(f"\nload {loads[0]} before, {loads[1]} after")
    if given.out:
        figures = {
            "date": date.today().isoformat(),  # noqa: DTZ011 - the day on which it was run
            "commit": version,
            "database": database,
            "machine": f"{os.cpu_count()} cores, Python {platform.python_version()}",
            "load": loads,
            "sowings": given.sowings,
            "entries": given.entries,
            "trays": given.trays,
            "times": given.times,
            "pages": {path: asdict(each) for path, each in compared.items()},
        }
        given.out.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    if any(each.is_missed for each in compared.values()):
        sys.exit(1)


if __name__ == "__main__":
    main()
