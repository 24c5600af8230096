"""Tasks and minutes: what has to be done on which day, how long it takes, and who is there."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.chances import Stands
from sowbench.checking.report import Ledger, Severity
from sowbench.checking.rooms import stays, step_area
from sowbench.checking.season import Season, days_between
from sowbench.checking.timeline import Timelines
from sowbench.domain.plan import Sowing, Step
from sowbench.domain.records import Machine, PlaceKind, StepKind

WATER: Final = "water"
CHANGE_LOT: Final = "change lot"
CANNOT_WAIT: Final = frozenset({WATER, "move"})
UNWATERED: Final = (PlaceKind.CHAMBER, PlaceKind.COLD_STORE)
MACHINE_MIN: Final = 480.0
COUNT_AFTER_D: Final = 2
THIN_AFTER_D: Final = 4
_SLIP_MIN: Final = 0.1
_SLIP_FRAC: Final = 0.02


@dataclass(frozen=True, slots=True)
class Work:
    """One job that has to be done.

    Parameters
    ----------
    day : int
        Day number.
    task : str
        Word of the task.
    sowing : str
        Sowing, "" for a job of the day.
    minutes : float
        Working time [min].
    slip_d : int
        By how many days the plan may differ.
    """

    day: int
    task: str
    sowing: str
    minutes: float
    slip_d: int = 0


class Rates:
    """How fast the crew works: the reference's rates with the house's own laid over."""

    def __init__(self, season: Season) -> None:
        table: Mapping[str, Any] = season.catalog.labor
        self._rates = {name: float(getattr(each, "value", each)) for name, each in table.items()}
        self._rates |= {name: float(each) for name, each in season.house.minutes.items()}

    def seconds(self, name: str, amount: float) -> float:
        """Minutes of a task rated in seconds each."""
        return amount * self._rates[name] / 60.0

    def per_hour(self, name: str, amount: float) -> float:
        """Minutes of a task rated in pieces an hour."""
        return amount * 60.0 / self._rates[name]

    def carry(self, n_units: float) -> float:
        """Minutes to carry lifted units: two lifts each, and a share of the way there and back."""
        r = self._rates
        way_s = 2 * r["carry_distance_m"] / r["carry_speed_m_s"] / r["carry_units_per_trip"]
        return n_units * (2 * r["carry_lift_s"] + way_s) / 60.0

    def water(self, area_m2: float) -> float:
        """Minutes to water an area for a day."""
        return area_m2 / 10.0 * self._rates["water_min_per_10m2"] * self._rates["water_times_per_d"]


def machine_for(season: Season, container: str) -> Machine | None:
    """Return the first machine that takes a container."""
    return next((each for each in season.house.machines if container in each.containers), None)


def sowing_minutes(
    season: Season, rates: Rates, container: str, n_units: float, n_seeds: float, *, easy: bool
) -> float:
    """Minutes to set up, fill, sow and carry; without changes of lot or of the machine."""
    machine = machine_for(season, container)
    if machine is None:
        name = "sow_pelleted_seeds_per_h" if easy else "sow_seeds_per_h"
        sow = rates.per_hour(name, n_seeds)
    else:
        sow = n_units * 60.0 / machine.trays_per_hour
    fill = rates.seconds("fill_s_per_container", n_units)
    return season.house.crew.setup_minutes + fill + sow + rates.carry(n_units)


def machine_minutes(
    season: Season, container: str, n_units: NDArray[np.float64] | float
) -> NDArray[np.float64] | float:
    """Minutes that the machine for a container runs; 0 without one."""
    machine = machine_for(season, container)
    if machine is None:
        return 0.0 * n_units
    return n_units * 60.0 / machine.trays_per_hour + machine.changeover_minutes


def check_machines(season: Season, ledger: Ledger) -> None:
    """No machine runs longer than a day has hours for it."""
    units = _units(season)
    used: dict[tuple[str, int], float] = defaultdict(float)
    for sowing in season.plan.sowings:
        steps = [each for each in sowing.steps if each.kind is not StepKind.PREPARE]
        if not steps or season.is_given(sowing):
            continue
        machine = machine_for(season, steps[0].container)
        if machine is not None and (sowing.sowing, steps[0]) in units:
            n = units[sowing.sowing, steps[0]]
            minutes = float(machine_minutes(season, steps[0].container, n))
            used[machine.name, season.index(sowing.sow_date)] += minutes
    for (name, day), minutes in used.items():
        ledger.require(
            minutes <= MACHINE_MIN + _SLIP_MIN, "machine hours by day",
            f"{name} on {season.day(day)}", "It would run longer than 8 hours.",
            f"at most {MACHINE_MIN:g} min", f"{minutes:.1f} min",
        )  # fmt: skip


def _units(season: Season) -> dict[tuple[str, Step], float]:
    """Lifted units of each step, shared trays by their share."""
    return {(sowing.sowing, step): units for sowing, step, _, units in stays(season)}


def expected_work(season: Season, lines: Timelines, stands: Stands, rates: Rates) -> list[Work]:
    """Work out every task of the plan from its sowings, watering left out."""
    work: list[Work] = []
    units = _units(season)
    first_day = season.index(season.inputs.from_date)
    lots: dict[tuple[int, str], str] = {}
    for sowing in season.plan.sowings:
        steps = [each for each in sowing.steps if each.kind is not StepKind.PREPARE]
        standing = season.standings.get(sowing.sowing)
        if not steps and standing is not None:
            work += _packing(season, rates, sowing, float(standing.n_containers))
        if not steps or any(each.container not in season.catalog.containers for each in steps):
            continue
        name, sown = sowing.sowing, season.index(sowing.sow_date)
        done = season.is_given(sowing)
        n_first = units[name, steps[0]]
        if not done:
            lot = season.lots.get(sowing.lot)
            easy = lot is not None and lot.pelleted
            minutes = sowing_minutes(
                season, rates, steps[0].container, n_first, sowing.n_seeds, easy=easy
            )
            machine = machine_for(season, steps[0].container)
            if machine is not None:
                minutes += machine.changeover_minutes
            work.append(Work(sown, "sow", name, minutes))
            lots.setdefault((sown, sowing.lot), name)
        work += _step_work(season, rates, sowing, steps, units)
        work += _stand_work(season, lines, stands, rates, sowing, n_first)
        last = [units[name, each] for each in steps if each.container == steps[-1].container]
        work += _packing(season, rates, sowing, max(last))
    setup = season.house.crew.setup_minutes
    work += [Work(day, CHANGE_LOT, "", setup) for (day, _lot) in lots]
    return [each for each in work if each.day >= first_day and each.minutes > 0]


def _step_work(
    season: Season,
    rates: Rates,
    sowing: Sowing,
    steps: list[Step],
    units: dict[tuple[str, Step], float],
) -> list[Work]:
    """Work of the changes between steps."""
    work = []
    name = sowing.sowing
    standing = season.standings.get(name)
    before_place = standing.place if standing is not None else ""
    for at, step in enumerate(steps):
        n = units[name, step]
        day = season.index(step.from_date)
        before = steps[at - 1].place if at else before_place
        came = bool(before) and before != step.place
        if step.kind is StepKind.POT_ON:
            minutes = rates.seconds("fill_s_per_container", n)
            minutes += rates.per_hour("pot_on_per_h", step.n_cells)
            work.append(Work(day, "pot on", name, minutes))
        elif step.kind is StepKind.SPACE:
            work.append(Work(day, "space", name, rates.per_hour("space_per_h", step.n_cells)))
        elif step.kind is StepKind.TONE and came:
            work.append(Work(day, "tone", name, rates.carry(n)))
        elif came:
            work.append(Work(day, "move", name, rates.carry(n)))
    return work


def _stand_work(
    season: Season,
    lines: Timelines,
    stands: Stands,
    rates: Rates,
    sowing: Sowing,
    n_units: float,
) -> list[Work]:
    """Counting and thinning, after median emergence."""
    line, stand = lines.of(sowing), stands.of(sowing)
    if line is None or stand is None:
        return []
    w, z = line.middle
    emerged = line.emergence_h[0, w, z] / 24.0
    if not np.isfinite(emerged):
        return []
    work = []
    if stand.n_counted is None:
        day = season.work_day_from(int(emerged) + COUNT_AFTER_D)
        work.append(
            Work(day, "count", sowing.sowing, rates.seconds("count_s_per_tray", n_units), 3)
        )
    if stand.n_counted is None or sowing.sowing not in season.standings:
        n_thin = sowing.n_cells * stand.crowded_frac()
        day = season.work_day_from(int(emerged) + THIN_AFTER_D)
        work.append(Work(day, "thin", sowing.sowing, rates.per_hour("thin_cells_per_h", n_thin), 3))
    return [each for each in work if season.day(each.day) < sowing.steps[-1].to_date]


def _packing(season: Season, rates: Rates, sowing: Sowing, n_units: float) -> list[Work]:
    """Packing, on the day of handing over or the work day before."""
    plants: dict[int, int] = defaultdict(int)
    for row in season.plan.orders:
        for each in row.hand_over:
            if each.sowing == sowing.sowing:
                plants[season.work_day_before(season.index(each.date))] += each.plants
    total = sum(plants.values())
    minutes = rates.seconds("pack_s_per_container", n_units)
    return [
        Work(day, "pack", sowing.sowing, minutes * n / total) for day, n in plants.items() if total
    ]


def water_by_day(season: Season, rates: Rates, *, given_only: bool = False) -> NDArray[np.float64]:
    """Minutes of watering by day, on attended days, outside chambers and cold stores."""
    out = np.zeros(season.n_days)
    first_day = season.index(season.inputs.from_date)
    for sowing, step, container, units in stays(season):
        if step.kind is StepKind.PREPARE or season.is_kind(step.place, *UNWATERED):
            continue
        if given_only and not season.is_given(sowing):
            continue
        days = days_between(
            max(season.index(step.from_date), first_day), season.index(step.to_date)
        )
        out[days] += rates.water(step_area(step, container, units))
    for index in np.flatnonzero(out):
        if not season.is_attended(season.day(index)):
            out[index] = 0.0
    return out


def task_word(text: str) -> str:
    """Return the word of a task as it is compared."""
    return " ".join(text.casefold().replace("_", " ").replace("-", " ").split())


def check_tasks(
    season: Season, work: list[Work], water: NDArray[np.float64], ledger: Ledger
) -> None:
    """Every job is there on its day with its minutes, and nothing else is."""
    found: dict[tuple[str, str], list[tuple[int, float]]] = defaultdict(list)
    lots: dict[int, float] = defaultdict(float)
    watered = np.zeros(season.n_days)
    for task in season.plan.tasks:
        day, word = season.index(task.date), task_word(task.task)
        ledger.require(
            task.slack_d >= 0, "slack is not negative", f"{task.task} {task.sowing}",
            f"The task of {task.date} has passed.", "0 or more", task.slack_d,
        )  # fmt: skip
        off = word in CANNOT_WAIT and season.is_attended(task.date)
        ledger.require(
            off or season.is_work_day(task.date), "tasks fall on days people are there",
            f"{task.task} {task.sowing}", f"Nobody does that on {task.date:%A} {task.date}.",
        )  # fmt: skip
        if word == WATER and 0 <= day < season.n_days:
            watered[day] += task.minutes
        elif word == CHANGE_LOT:
            lots[day] += task.minutes
        else:
            found[task.sowing, word].append((day, task.minutes))
    _check_water(season, ledger, watered, water)
    wanted: dict[tuple[str, str], list[Work]] = defaultdict(list)
    changes: dict[int, float] = defaultdict(float)
    for each in work:
        if each.task == CHANGE_LOT:
            changes[each.day] += each.minutes
        else:
            wanted[each.sowing, each.task].append(each)
    for day in sorted(set(lots) | set(changes)):
        _check_minutes(ledger, CHANGE_LOT, str(season.day(day)), changes[day], lots[day])
    for key in sorted(set(wanted) | set(found)):
        _check_task(season, ledger, key, wanted.get(key, []), found.get(key, []))


def _check_task(
    season: Season,
    ledger: Ledger,
    key: tuple[str, str],
    wanted: list[Work],
    found: list[tuple[int, float]],
) -> None:
    """One kind of task of one sowing."""
    sowing, task = key
    subject = f"{task} {sowing}"
    need, have = sum(each.minutes for each in wanted), sum(each[1] for each in found)
    if not found and need <= _SLIP_MIN:
        return
    if not ledger.require(
        bool(found) or not wanted, "every step has its task", subject, "The task is missing.",
        ", ".join(str(season.day(each.day)) for each in wanted), "none",
    ):  # fmt: skip
        return
    if not ledger.require(
        bool(wanted) or have <= _SLIP_MIN, "every task has its step", subject,
        "Nothing in the plan asks for this task.", "none",
        ", ".join(str(season.day(day)) for day, _ in found),
    ) or not wanted:  # fmt: skip
        return
    _check_minutes(ledger, task, subject, need, have)
    for day, _ in found:
        near = min(wanted, key=lambda each: abs(each.day - day))
        ledger.require(
            abs(near.day - day) <= near.slip_d, "task is on its day", subject,
            "It is on another day.", season.day(near.day), season.day(day),
        )  # fmt: skip


def _check_minutes(ledger: Ledger, task: str, subject: str, expected: float, found: float) -> None:
    """Compare minutes."""
    ledger.near(
        found, expected, _SLIP_MIN + _SLIP_FRAC * expected, f"minutes to {task}", subject,
        "It takes another time.",
    )  # fmt: skip


def _check_water(
    season: Season, ledger: Ledger, found: NDArray[np.float64], expected: NDArray[np.float64]
) -> None:
    """Watering, day by day."""
    for index in np.flatnonzero((found > 0) | (expected > 0)):
        _check_minutes(
            ledger, WATER, str(season.day(index)), float(expected[index]), float(found[index])
        )


def check_crew(
    season: Season, work: list[Work], water: NDArray[np.float64], ledger: Ledger
) -> None:
    """Nobody works longer than there are minutes, by the plan's tasks and by the recomputed."""
    listed, needed = np.zeros(season.n_days), water.copy()
    for task in season.plan.tasks:
        index = season.index(task.date)
        if 0 <= index < season.n_days:
            listed[index] += task.minutes
    for each in work:
        if 0 <= each.day < season.n_days:
            needed[each.day] += each.minutes
    for busy in np.flatnonzero((listed > 0) | (needed > 0)):
        day = season.day(busy)
        limit = season.minutes_limit(day)
        for minutes, whose in ((listed[busy], "listed"), (needed[busy], "recomputed")):
            ledger.require(
                bool(minutes <= limit * (1 + 1e-6) + _SLIP_MIN), "crew minutes by day", str(day),
                f"The {whose} tasks take longer than the crew has.",
                f"at most {limit:g} min", f"{minutes:.1f} min",
                Severity.FAILS if whose == "listed" else Severity.DIFFERS,
            )  # fmt: skip
