"""Plan one season in a process of its own and measure it; `benchmarks.run` starts this.

python -m benchmarks.measure crowded-500 --seconds 30 --years 1000 --out result.json
"""

from __future__ import annotations

import argparse
import json
import re
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.attendance import attendance
from benchmarks.first_come import first_come_plan
from benchmarks.hand_rule import hand_rule_plan
from benchmarks.laid_out import LaidOut, read_season
from benchmarks.other_world import World
from benchmarks.play import Played, play
from benchmarks.seasons import instance_names, make_season, open_instance
from sowbench.demo import WEATHER_NAME, weather_file
from sowbench.domain.plan import Plan
from sowbench.planning.candidates import build_candidates
from sowbench.planning.parameters import SolveParameters
from sowbench.planning.plan import make_plan

LOOP_STEPS = 5_000_000


def peak_mib() -> float:
    """Most memory that this process has held so far [MiB].

    Returns
    -------
    peak_mib : float
        From /proc where there is one, which forgets what the parent held; else from getrusage.
    """
    status = Path("/proc/self/status")
    if status.exists():
        for line in status.read_text(encoding="ascii").splitlines():
            if line.startswith("VmHWM:"):
                return float(line.split()[1]) / 1024.0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1024.0**2 if sys.platform == "darwin" else 1024.0)


def bare_loop_s(steps: int = LOOP_STEPS) -> float:
    """Time of a bare loop of additions, as a measure of how quick this machine is now.

    Parameters
    ----------
    steps : int, default 5000000
        Additions.

    Returns
    -------
    seconds : float
        Wall time [s].
    """
    began = time.monotonic()
    total = 0
    for k in range(steps):
        total += k
    if total != steps * (steps - 1) // 2:
        message = f"the loop must add up; got {total}"
        raise ArithmeticError(message)
    return time.monotonic() - began


def season_folder(name: str, folder: Path) -> Path:
    """Open a frozen instance, or make the season of a name such as made-2000-1.

    Parameters
    ----------
    name : str
        Instance, or made-<orders>-<seed>; with +weekdays behind it nobody comes on other days.
    folder : Path
        Folder to fill.

    Returns
    -------
    folder : Path
        The season with its weather.
    """
    name, _, variant = name.partition("+")
    if name in instance_names():
        open_instance(name, folder)
    else:
        _, n_orders, seed = name.split("-")
        make_season(folder, int(n_orders), int(seed))
        shutil.copyfile(weather_file(), folder / WEATHER_NAME)
    if variant == "weekdays":
        house = folder / "house.toml"
        text = house.read_text(encoding="utf-8")
        house.write_text(re.sub(r"weekend_minutes = \d+", "weekend_minutes = 0", text), "utf-8")
    return folder


class Stages:
    """Notes when each stage of the search began, how often it reported, and its last figures."""

    def __init__(self) -> None:
        self.began = time.monotonic()
        self.seen: dict[str, dict[str, float]] = {}

    def __call__(self, what: str, bound: float, cost: float) -> bool:
        """Take one report; never ends the search."""
        now = time.monotonic() - self.began
        stage = self.seen.setdefault(what, {"first_s": now, "reports": 0})
        stage |= {"last_s": now, "reports": stage["reports"] + 1, "bound": bound, "cost": cost}
        return False


def measure(
    name: str, seconds: float, seed: int, n_years: int, rounds: int | None = None
) -> dict[str, Any]:
    """Plan a season three ways and play the plans.

    Parameters
    ----------
    name : str
        See `season_folder`.
    seconds : float
        Limit of the planner's search [s].
    seed : int
        Seed of its search.
    n_years : int
        Years of the other world; 0 plays none.
    rounds : int or None, default None
        Rounds of the search, in place of its time.

    Returns
    -------
    result : dict
        Figures by name, as they go into the tables.
    """
    base = peak_mib()
    loop_before = bare_loop_s()
    with tempfile.TemporaryDirectory() as work:
        folder = season_folder(name, Path(work))
        laid = read_season(folder)
    stages = Stages()
    began, cpu = time.monotonic(), time.process_time()
    planned = make_plan(laid.inputs, SolveParameters(seconds=seconds, rounds=rounds), seed, stages)
    took, cpu_took = time.monotonic() - began, time.process_time() - cpu
    memory = peak_mib() - base
    bound = planned.plan.bound
    greedy, greedy_s = _first_come(laid, bound)
    began = time.monotonic()
    hand = hand_rule_plan(laid, bound)
    hand_s = time.monotonic() - began
    loop = (loop_before + bare_loop_s()) / 2
    result: dict[str, Any] = {
        "name": name,
        "n_orders": len(laid.season.orders),
        "seconds_limit": seconds,
        "seed": seed,
        "stages": stages.seen,
        "rounds": planned.rounds,
        "linear_optimal": planned.linear_optimal,
        "bound": bound,
        "memory_mib": memory,
        "base_mib": base,
        "seconds": {
            "planner": took,
            "planner_cpu": cpu_took,
            **greedy_s,
            "hand": hand_s,
            "loop": loop,
        },
        "methods": {},
    }
    for method, plan in (("planner", planned.plan), ("first come", greedy), ("hand rule", hand)):
        result["methods"][method] = _figures(plan, laid, bound, n_years)
    return result


def _first_come(laid: LaidOut, bound: float) -> tuple[Plan, dict[str, float]]:
    """First come with the time of its candidates and of its own."""
    began = time.monotonic()
    candidates = build_candidates(laid.season)
    made = time.monotonic()
    plan = first_come_plan(laid, candidates, bound)
    return plan, {
        "candidates": made - began,
        "first_come": time.monotonic() - made,
        "n_candidates": float(candidates.program.n),
    }


def _figures(plan: Plan, laid: LaidOut, bound: float, n_years: int) -> dict[str, Any]:
    """What is said of one method's plan."""
    out: dict[str, Any] = {
        "cost": plan.cost,
        "cost_parts": plan.cost_parts,
        "gap_frac": (plan.cost - bound) / bound if bound > 0 else 0.0,
        "n_sowings": len(plan.sowings),
        "n_unmet": sum(o.planned == 0 for o in plan.orders),
        "planned_plants_frac": sum(o.planned for o in plan.orders)
        / sum(o.plants for o in plan.orders),
        "expected_filled_frac": float(np.mean([o.chance_filled_frac for o in plan.orders])),
        "crew": asdict(attendance(plan, laid.season)),
    }
    if n_years:
        began = time.monotonic()
        played = play(plan, laid.season, World(), n_years)
        out["played"] = _played(played, laid) | {"play_s": time.monotonic() - began}
    return out


def _played(played: Played, laid: LaidOut) -> dict[str, Any]:
    """Figures of the years, without the years themselves."""
    low, high = np.percentile(played.money, [5, 95])
    calendar = laid.season.calendar
    months: dict[str, list[float]] = {}
    for day, lack in enumerate(played.trays_short):
        if calendar.date(day) <= laid.season.until_date:
            months.setdefault(f"{calendar.date(day):%Y-%m}", []).append(float(lack))
    return {
        "n_years": len(played.money),
        "filled_frac": played.filled_frac,
        "plants_in_time_frac": played.plants_in_time_frac,
        "money": float(played.money.mean()),
        "money_p05": float(low),
        "money_p95": float(high),
        "short": float(played.short.mean()),
        "late": float(played.late.mean()),
        "overgrown": float(played.overgrown.mean()),
        "lifted_in_time_frac": played.lifted_in_time_frac,
        "over_m2_d": played.over_m2_d,
        "over_positions_d": played.over_positions_d,
        "trays_short_days": played.trays_short_days,
        "trays_short_worst": played.trays_short_worst,
        "trays_short_by_month": {m: float(np.mean(v)) for m, v in months.items()},
    }


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure one season and write the figures.

    Parameters
    ----------
    arguments : sequence of str or None, default None
        Command line; None takes that of the program.
    """
    parser = argparse.ArgumentParser(description="Plan one season and measure it.")
    parser.add_argument("name", help="a frozen instance, or made-<orders>-<seed>")
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--years", type=int, default=1000)
    parser.add_argument("--clock", choices=["wall", "cpu"], default="wall", help="of all limits")
    parser.add_argument("--out", type=Path, required=True, help="file for the figures")
    given = parser.parse_args(arguments)
    if given.clock == "cpu":
        # On a machine shared with others, the search is given CPU seconds; the solver's own limits
        # within it stay wall time.
        time.monotonic = time.process_time
    result = measure(given.name, given.seconds, given.seed, given.years)
    given.out.write_text(json.dumps(result, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
