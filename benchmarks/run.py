"""Run every measure with fixed seeds, print the tables and keep them beside the best plans known.

    python -m benchmarks.run --orders 100 500 --seconds 30 120 --years 1000

Every season is planned in a process of its own. Times stand as ratios to what else ran in the same
process: first come, first served on the same candidates, and a bare loop.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from benchmarks.seasons import INSTANCES, instance_names
from benchmarks.tables import report

RESULTS = Path(__file__).parent / "results"
FILES = ("orders.csv", "seed.csv", "house.toml")


def season_name(n_orders: int) -> str:
    """Name the season of a size: the frozen instance, if there is one.

    Parameters
    ----------
    n_orders : int
        Orders.

    Returns
    -------
    name : str
        Name for `benchmarks.measure`.
    """
    frozen = f"crowded-{n_orders}"
    return frozen if frozen in instance_names() else f"made-{n_orders}-1"


def run_one(
    name: str, seconds: float, seed: int, n_years: int, most_s: float, clock: str = "wall"
) -> dict[str, Any]:
    """Measure one season in a process of its own.

    Parameters
    ----------
    name : str
        Season.
    seconds : float
        Limit of the search [s].
    seed : int
        Seed of the search.
    n_years : int
        Years of the other world.
    most_s : float
        Limit of the whole process [s].
    clock : str, default "wall"
        Clock of the search, "wall" or "cpu".

    Returns
    -------
    result : dict
        Its figures; on failure `error` says why.
    """
    with tempfile.TemporaryDirectory() as work:
        out = Path(work) / "result.json"
        command = [sys.executable, "-m", "benchmarks.measure", name, "--seconds", f"{seconds:g}"]
        command += ["--seed", str(seed), "--years", str(n_years), "--out", str(out)]
        command += ["--clock", clock]
        load = os.getloadavg()[0]
        try:
            done = subprocess.run(  # noqa: S603 - our own interpreter and module
                command, check=False, capture_output=True, text=True, timeout=most_s
            )
        except subprocess.TimeoutExpired:
            return {"name": name, "seconds_limit": seconds, "error": f"over {most_s:g} s"}
        if done.returncode:
            last = done.stderr.strip().splitlines()[-1:] or [f"ended with {done.returncode}"]
            return {"name": name, "seconds_limit": seconds, "error": last[0]}
        result: dict[str, Any] = json.loads(out.read_text(encoding="utf-8"))
    return result | {"load_before": load, "load_after": os.getloadavg()[0]}


def fingerprint(name: str) -> str:
    """Tell a frozen instance from an earlier one of the same name.

    Parameters
    ----------
    name : str
        Instance.

    Returns
    -------
    digest : str
        SHA-256 of its files in sequence.
    """
    digest = hashlib.sha256()
    for each in FILES:
        digest.update((INSTANCES / name / each).read_bytes())
    return digest.hexdigest()


def keep_best(result: dict[str, Any], command: str) -> None:
    """Keep the lowest cost and the highest bound known of a frozen instance.

    A bound goes when the candidates change in number: they are then another version's.

    Parameters
    ----------
    result : dict
        Figures of one run.
    command : str
        What made them.
    """
    name = str(result["name"])
    if name not in instance_names() or "error" in result:
        return
    path = INSTANCES / name / "best.json"
    known: dict[str, Any] = {}
    if path.exists():
        known = json.loads(path.read_text(encoding="utf-8"))
    if known.get("sha256") != fingerprint(name):
        known = {}
    n_candidates = int(result["seconds"]["n_candidates"])
    if known.get("n_candidates") != n_candidates:
        # A bound holds for plans of the candidates it was proven over, and for no others.
        known.pop("bound", None)
    known["n_candidates"] = n_candidates
    cost, bound = float(result["methods"]["planner"]["cost"]), float(result["bound"])
    today = date.today().isoformat()  # noqa: DTZ011 - a day to write beside the figure
    made = {"date": today, "command": command, "seed": result["seed"]}
    if cost < float(known.get("cost", float("inf"))):
        known |= {"cost": cost, "cost_from": made}
    if bound > float(known.get("bound", 0.0)):
        known |= {"bound": bound, "bound_from": made}
    known["gap_frac"] = round((known["cost"] - known["bound"]) / known["bound"], 6)
    known["sha256"] = fingerprint(name)
    path.write_text(json.dumps(known, indent=2) + "\n", encoding="utf-8")


def main(arguments: Sequence[str] | None = None) -> None:
    """Run everything.

    Parameters
    ----------
    arguments : sequence of str or None, default None
        Command line; None takes that of the program.
    """
    parser = argparse.ArgumentParser(description="Run every measure with fixed seeds.")
    parser.add_argument("--orders", type=int, nargs="+", default=[100, 500])
    parser.add_argument("--seconds", type=float, nargs="+", default=[30.0, 120.0])
    parser.add_argument("--years", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--most-seconds", type=float, default=1800.0, help="for one season")
    parser.add_argument("--clock", choices=["wall", "cpu"], default="wall", help="of the search")
    parser.add_argument("--name", default="all", help="behind the date in the results' name")
    given = parser.parse_args(arguments)
    command = (
        f"python -m benchmarks.run --orders {' '.join(map(str, given.orders))}"
        f" --seconds {' '.join(f'{s:g}' for s in given.seconds)}"
        f" --years {given.years} --seed {given.seed} --clock {given.clock}"
    )
    RESULTS.mkdir(exist_ok=True)
    today = date.today()  # noqa: DTZ011 - the day on which the figures are made
    stem = f"{today.isoformat()}-{given.name}"
    results: list[dict[str, Any]] = []
    cases = [(season_name(n), s) for n in given.orders for s in given.seconds]
    cases.append((f"{season_name(given.orders[0])}+weekdays", given.seconds[0]))
    for name, seconds in cases:
        # The years are played once a season: with the longest search.
        years = given.years if seconds == max(given.seconds) else 0
        result = run_one(name, seconds, given.seed, years, given.most_seconds, given.clock)
        keep_best(result, command)
        results.append(result)
        print(f"{name}, {seconds:g} s: {result.get('error', 'done')}", file=sys.stderr)  # noqa: T201
        # Kept as they come, so that an hour's figures outlive whatever happens after.
        (RESULTS / f"{stem}.json").write_text(json.dumps(results, indent=1) + "\n", "utf-8")
    machine = f"{os.cpu_count()} cores, Python {platform.python_version()}, {platform.machine()}"
    text = report(results, command, machine, today)
    print(text)  # noqa: T201 - the command's purpose
    (RESULTS / f"{stem}.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
