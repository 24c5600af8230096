"""The invented nursery's season as it was lived up to a day: invented entries for a plan."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta, tzinfo
from typing import Final

import numpy as np

from sowbench.domain.jobs import job_keys
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.plan import Plan, Sowing, Step, Task
from sowbench.domain.records import PlaceKind, StepKind

DEMO_TODAY: Final = date(2027, 3, 9)
"""Day on which the demo's house book is opened, a Tuesday and a sowing day."""

# Everything below is invented, as the nursery is.
_CREW: Final = ("Maren", "Ilo", "Tess")
_TRAYS_COUNTED: Final = 3
_LEFT_UNDONE_D: Final = 2
_POOR_STAND: Final = 0.58
_MORNING: Final = time(7, 40)
_KINDS: Final = {
    "sow": EntryKind.SOWN,
    "move": EntryKind.MOVED,
    "count": EntryKind.COUNTED,
    "thin": EntryKind.THINNED,
    "pot on": EntryKind.POTTED_ON,
    "space": EntryKind.SPACED,
    "tone": EntryKind.MOVED,
    "water": EntryKind.WATERED,
    "pack": EntryKind.DELIVERED,
    "change lot": EntryKind.NOTED,
}
_LIFTED_FROM: Final = {PlaceKind.CHAMBER, PlaceKind.MAT, PlaceKind.MIST, PlaceKind.HEALING}


def played_entries(
    plan: Plan,
    today: date,
    place_kinds: Mapping[str, PlaceKind],
    cells_of: Mapping[str, int],
    zone: tzinfo,
    seed: int = 7,
) -> list[Entry]:
    """Invent what a crew would have written down by the morning of a day.

    Nearly all jobs are done on their day; of the last two days some are left, the counts of one
    young sowing are poor, one count is corrected, some cells are lost to damping-off, and what is
    fed, read and scouted is noted week by week.

    Parameters
    ----------
    plan : Plan
        The plan by which the house works.
    today : date
        The day; of its jobs only the first is done.
    place_kinds : mapping of str to PlaceKind
        Kind by place.
    cells_of : mapping of str to int
        Cells of one container, by its id.
    zone : tzinfo
        Time zone of the house.
    seed : int, default 7
        Where the invention starts; the same seed invents the same.

    Returns
    -------
    entries : list of Entry
        In the order in which they were written.
    """
    player = _Player(plan, today, place_kinds, cells_of, zone, seed)
    return player.play()


class _Player:
    """Goes through the jobs day by day and keeps what is true of each sowing."""

    def __init__(
        self,
        plan: Plan,
        today: date,
        place_kinds: Mapping[str, PlaceKind],
        cells_of: Mapping[str, int],
        zone: tzinfo,
        seed: int,
    ) -> None:
        self._plan = plan
        self._today = today
        self._kinds = place_kinds
        self._cells_of = cells_of
        self._zone = zone
        self._rng = np.random.default_rng(seed)
        self._sowings = {each.sowing: each for each in plan.sowings}
        self._place = {each.sowing: each.steps[0].place for each in plan.sowings if each.steps}
        self._left = {each.sowing: each.plants.p50 for each in plan.sowings}
        self._stand = {each.sowing: self._true_stand(each) for each in plan.sowings}
        self._clock = datetime.combine(plan.from_date, _MORNING, zone)
        self.entries: list[Entry] = []

    def play(self) -> list[Entry]:
        """Write the entries of all days up to the morning of the day."""
        by_day: dict[date, list[tuple[Task, str]]] = {}
        for task, key in zip(self._plan.tasks, job_keys(self._plan.tasks), strict=True):
            if task.date <= self._today:
                by_day.setdefault(task.date, []).append((task, key))
        poor = self._poor_sowing()
        if poor is not None:
            self._stand[poor] = _POOR_STAND
        for day in sorted(by_day):
            self._clock = datetime.combine(day, _MORNING, self._zone)
            jobs = by_day[day]
            if day == self._today:
                jobs = [each for each in jobs if each[0].task in {"move", "water"}][:1]
            for task, key in jobs:
                if not self._is_left(task):
                    self._do(task, key)
            if day.weekday() == 3 and day < self._today:
                self._weekly(day)
        self._correct_a_count()
        return self.entries

    def _is_left(self, task: Task) -> bool:
        """Tell whether a job was left undone: a few of the last two working days."""
        recent = task.date >= self._today - timedelta(days=_LEFT_UNDONE_D)
        return (
            recent
            and task.date < self._today
            and task.task in {"count", "thin", "space"}
            and self._rng.random() < 0.5
        )

    def _true_stand(self, sowing: Sowing) -> float:
        """Share of cells that come up as wanted, near what the plan expects."""
        expected = sowing.plants.p50 / max(sowing.n_cells, 1)
        return float(np.clip(self._rng.normal(expected + 0.04, 0.025), 0.3, 0.99))

    def _poor_sowing(self) -> str | None:
        """Choose the sowing that comes up badly: the largest counted in the last ten days."""
        counted = [
            self._sowings[each.sowing]
            for each in self._plan.tasks
            if each.task == "count"
            and self._today - timedelta(days=10) <= each.date < self._today
            and len(self._sowings[each.sowing].orders) > 0
            and not self._sowings[each.sowing].standing
        ]
        return max(counted, key=lambda each: each.n_cells).sowing if counted else None

    def _write(self, day: date, kind: EntryKind, sowing: str, **more: object) -> Entry:
        """Write one entry some minutes after the last."""
        self._clock += timedelta(minutes=int(self._rng.integers(3, 17)))
        entry = Entry(
            id=self._rng.bytes(16).hex(),
            day_date=day,
            kind=kind,
            sowing=sowing,
            at=self._clock,
            person=_CREW[int(self._rng.integers(len(_CREW)))],
            **more,  # type: ignore[arg-type]
        )
        self.entries.append(entry)
        return entry

    def _do(self, task: Task, key: str) -> None:
        """Write what ticks off one job."""
        kind = _KINDS.get(task.task, EntryKind.NOTED)
        if task.task == "water":
            self._write(task.date, kind, "", place=task.place, job=key)
            return
        sowing = self._sowings.get(task.sowing)
        if sowing is None:
            self._write(task.date, EntryKind.NOTED, task.sowing, note=task.words, job=key)
            return
        if kind is EntryKind.SOWN:
            self._sow(task, sowing, key)
        elif kind is EntryKind.COUNTED:
            self._count(task, sowing, key)
        elif kind is EntryKind.MOVED:
            lifted = self._kinds.get(self._place[sowing.sowing]) in _LIFTED_FROM
            self._place[sowing.sowing] = task.place
            kind = EntryKind.PULLED if lifted else EntryKind.MOVED
            self._write(task.date, kind, sowing.sowing, place=task.place, job=key)
        elif kind is EntryKind.THINNED:
            n = max(1, round(0.06 * sowing.n_cells))
            self._write(task.date, kind, sowing.sowing, n=n, job=key)
        elif kind in {EntryKind.POTTED_ON, EntryKind.SPACED}:
            self._shift(task, sowing, kind, key)
        elif kind is EntryKind.DELIVERED:
            self._deliver(task, sowing, key)
        else:
            self._write(task.date, kind, sowing.sowing, note=f"seed {sowing.lot} out", job=key)

    def _sow(self, task: Task, sowing: Sowing, key: str) -> None:
        """Write a sowing as it was planned."""
        step = sowing.steps[0]
        self._write(
            task.date,
            EntryKind.SOWN,
            sowing.sowing,
            n=sowing.n_cells,
            place=step.place,
            crop=sowing.crop,
            variety=sowing.variety,
            lot=sowing.lot,
            container=step.container,
            n_containers=step.n_containers,
            job=key,
            values=self._cells_per_tray(step) | {"n_seeds": float(sowing.n_seeds)},
        )

    def _cells_per_tray(self, step: Step) -> dict[str, float | str]:
        """Say how many cells a full tray has, where it is known."""
        n_cells = self._cells_of.get(step.container)
        return {"n_cells_per_tray": float(n_cells)} if n_cells else {}

    def _count(self, task: Task, sowing: Sowing, key: str) -> None:
        """Count a few trays cell by cell."""
        step = _step_on(sowing, task.date)
        for number in range(1, min(step.n_containers, _TRAYS_COUNTED) + 1):
            n_cells = self._cells_in(sowing, step, number)
            cells = self._map(n_cells, self._stand[sowing.sowing], sowing.seeds_per_cell)
            self._write(
                task.date,
                EntryKind.COUNTED,
                sowing.sowing,
                trays=(number,),
                n=cells.count("1") + cells.count("+"),
                n_of=n_cells,
                cells=cells,
                place=task.place,
                job=key if number == 1 else "",
            )

    def _cells_in(self, sowing: Sowing, step: Step, number: int) -> int:
        """Return the cells sown in one tray: all are full but the last."""
        full = self._cells_of.get(step.container) or math.ceil(step.n_cells / step.n_containers)
        return min(full, sowing.n_cells - full * (number - 1))

    def _map(self, n_cells: int, stand: float, seeds_per_cell: int) -> str:
        """Invent the map of a tray; the gaps lie together more than by chance."""
        waves = np.sin(np.arange(n_cells) / self._rng.uniform(4, 11) + self._rng.uniform(0, 6))
        chance = np.clip(stand + 0.10 * waves, 0.02, 0.995)
        up = self._rng.random(n_cells) < chance
        many = self._rng.random(n_cells) < (0.12 if seeds_per_cell > 1 else 0.02)
        return "".join(
            "0" if not each else "+" if two else "1" for each, two in zip(up, many, strict=True)
        )

    def _shift(self, task: Task, sowing: Sowing, kind: EntryKind, key: str) -> None:
        """Write potting on or spacing as the step says."""
        step = _step_on(sowing, task.date)
        self._place[sowing.sowing] = step.place
        if kind is EntryKind.SPACED:
            self._write(task.date, kind, sowing.sowing, place=step.place, job=key)
            return
        self._write(
            task.date,
            kind,
            sowing.sowing,
            n=step.n_cells,
            container=step.container,
            n_containers=step.n_containers,
            place=step.place,
            job=key,
            values=self._cells_per_tray(step),
        )

    def _deliver(self, task: Task, sowing: Sowing, key: str) -> None:
        """Hand over what the plan hands over next from this sowing."""
        coming = sorted(
            (each.date, order.order, each.plants)
            for order in self._plan.orders
            for each in order.hand_over
            if each.sowing == sowing.sowing and each.date >= task.date
        )
        due = [each for each in coming if each[0] == coming[0][0]]
        for _, order, plants in due:
            given = max(min(plants, self._left[sowing.sowing]), 1)
            self._left[sowing.sowing] -= given
            self._write(
                task.date,
                EntryKind.DELIVERED,
                sowing.sowing,
                n=given,
                order=order,
                job=key if len(due) == 1 else f"{key}/{order}",
                values={"last": 1.0} if len(due) == len(coming) else {},
            )

    def _weekly(self, day: date) -> None:
        """Write the week's feeding, readings and a look at the sticky cards."""
        places = sorted({each for each in self._place.values() if each in self._kinds})
        benches = [each for each in places if self._kinds[each] is PlaceKind.BENCH]
        for place in benches:
            ec_ms_cm = round(float(self._rng.normal(1.1, 0.12)), 2)
            values: dict[str, float | str] = {"ec_ms_cm": ec_ms_cm, "ph": 5.9}
            self._write(day, EntryKind.FED, "", place=place, values=values, note="general feed")
            reading: dict[str, float | str] = {
                "ec_ms_cm": round(float(self._rng.normal(1.4, 0.2)), 2),
                "ph": round(float(self._rng.normal(6.0, 0.15)), 1),
                "temp_mix_c": round(float(self._rng.normal(18.0, 1.0)), 1),
            }
            self._write(day, EntryKind.READ, "", place=place, values=reading)
        if day.day <= 7:
            self._lose_cells(day)
        if benches:
            note = "two fungus gnats on the sticky card; nothing on the leaves"
            self._write(day, EntryKind.SCOUTED, "", place=benches[0], note=note)

    def _lose_cells(self, day: date) -> None:
        """Write the loss of some cells of a tray to damping-off, in one sowing a month."""
        young = [
            each.sowing
            for each in self.entries
            if each.kind is EntryKind.COUNTED and (day - each.day_date).days < 14
        ]
        if young:
            sowing = young[int(self._rng.integers(len(young)))]
            n = int(self._rng.integers(6, 25))
            self._left[sowing] = max(self._left[sowing] - n, 0)
            self._write(day, EntryKind.LOST, sowing, n=n, trays=(1,), reason="damping-off")

    def _correct_a_count(self) -> None:
        """Let the last count but one be mended the same day, as happens."""
        counts = [each for each in self.entries if each.kind is EntryKind.COUNTED]
        if len(counts) < 2:
            return
        first = counts[-2]
        n_first = first.n or 0
        cells = first.cells.replace("0", "1", 1)
        right = cells.count("1") + cells.count("+") if cells else n_first
        self._clock = max(each.at for each in self.entries if each.at is not None)
        self._write(
            first.day_date,
            EntryKind.COUNTED,
            first.sowing,
            trays=first.trays,
            n=right,
            n_of=first.n_of,
            cells=cells,
            place=first.place,
            job=first.job,
            corrects=first.id,
            note="one cell overlooked",
        )


def _step_on(sowing: Sowing, day: date) -> Step:
    """Return the step in which a sowing stands on a day, the last before it if it is between."""
    begun = [each for each in sowing.steps if each.from_date <= day]
    growing = [each for each in begun if each.kind is not StepKind.PREPARE]
    return (growing or begun or list(sowing.steps))[-1]
