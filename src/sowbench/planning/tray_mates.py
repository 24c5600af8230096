"""Small sowings are moved onto the days and places of another to share its tray, if it pays.

A sowing that fills a row or two of a tray may cost a little more on another day or bench and still
save: the tray, its room, its water and its carrying are then shared.
"""

from __future__ import annotations

import time
from collections import Counter, defaultdict
from collections.abc import Collection

import numpy as np

from sowbench.planning.candidates import LATE_AT_MOST_D, Candidates
from sowbench.planning.money import plan_cost
from sowbench.planning.offers import residual_of
from sowbench.planning.placed import Placed, Settled, name_of, settle
from sowbench.planning.repair import broken
from sowbench.planning.season import Season
from sowbench.planning.tray_rows import Course, course_of, ends_of, share_trays, tail_of

LOOKED_AT = 40
"""So many ways of a sowing, the cheapest, are compared with the courses of others."""
TRIED = 60
"""So many moves in all are worked out to the last minute."""


def align_trays(
    season: Season,
    candidates: Candidates,
    settled: Settled,
    names: dict[str, int],
    stay: Collection[str] = (),
    until: float = float("inf"),
) -> Settled:
    """Move small sowings onto the course of another where sharing its tray saves more.

    Parameters
    ----------
    season : Season
        The season.
    candidates : Candidates
        All ways to sow.
    settled : Settled
        Sowings with their final cells, trays not shared.
    names : dict of str to int
        Letters used in names so far.
    stay : collection of str, default ()
        Sowings that are not moved.
    until : float, optional
        Time on the steady clock from which on none is moved.

    Returns
    -------
    settled : Settled
        Never dearer, once trays are shared.
    """
    mover = _Mover(season, candidates, settled)
    for name in [p.name for p in settled.placed if p.since < 0 and p.name not in stay]:
        mover.try_to_move(name, names)
        if mover.n_tried >= TRIED or time.monotonic() >= until:
            break
    return mover.settled


class _Mover:
    """Keeps the plan while sowings are moved one by one."""

    def __init__(self, season: Season, candidates: Candidates, settled: Settled) -> None:
        self.season = season
        self.candidates = candidates
        self.settled = settled
        self.n_tried = 0
        program = candidates.program
        self._order = np.argsort(program.group, kind="stable")
        self._sorted = program.group[self._order]
        self._group = {group.orders: g for g, group in enumerate(candidates.groups)}
        self._cost = program.cost_variable + program.cost_fixed
        self._at = {p.name: i for i, p in enumerate(settled.placed)}
        self._n_sowings = Counter(o for p in settled.placed for o, _ in p.orders)
        self._tails = [
            i for i, p in enumerate(settled.placed) if p.since < 0 and tail_of(p, 0) is not None
        ]
        self._course: dict[int, Course] = {}

    def try_to_move(self, name: str, names: dict[str, int]) -> None:
        """Move one sowing if that saves money and everything still fits."""
        at = self._at[name]
        old = self.settled.placed[at]
        if not self._can_move(old):
            return
        courses = self._courses(at)
        if not courses or course_of(self.season, old) in courses:
            return
        for course, new in self._ways(old, set(courses)).items():
            trial, rows = self._with(at, new), [at, *courses[course]]
            if self._money(trial, rows) >= self._money(self.settled, rows) - 1e-6:
                continue
            self.n_tried += 1
            shared = share_trays(self.season, trial).placed
            left = residual_of(self.season, [p for p in shared if p.since < 0])
            if not broken(self.season, left).any():
                moved = trial.placed[at]
                moved.name = name_of(self.season, moved, names)
                self.settled = trial
                self._course.pop(at, None)
                return

    def _can_move(self, placed: Placed) -> bool:
        """Whether a sowing has a tail and is all that its orders get."""
        if tail_of(placed, 0) is None or placed.n_units > 1:
            return False
        alone = all(self._n_sowings[o] == 1 for o, _ in placed.orders)
        need = all(n == self.season.need_cells(self.season.orders[o]) for o, n in placed.orders)
        return alone and need and tuple(o for o, _ in placed.orders) in self._group

    def _courses(self, at: int) -> dict[Course, list[int]]:
        """Courses of others with part-filled trays that its orders could go along with."""
        placed = self.settled.placed
        container, _, _ = ends_of(placed[at])
        orders = [self.season.orders[o] for o, _ in placed[at].orders]
        day = self.season.calendar.day
        first = max(day(each.earliest_date) for each in orders)
        last = min(day(each.latest_date) for each in orders) + LATE_AT_MOST_D
        found: dict[Course, list[int]] = defaultdict(list)
        for i in self._tails:
            other, _, end = ends_of(placed[i])
            if i != at and other == container and first <= end <= last:
                if i not in self._course:
                    self._course[i] = course_of(self.season, placed[i])
                found[self._course[i]].append(i)
        return found

    def _ways(self, old: Placed, courses: set[Course]) -> dict[Course, Placed]:
        """Cheapest way to sow the same orders on each of some courses, the cheapest first."""
        g = self._group[tuple(o for o, _ in old.orders)]
        low, high = np.searchsorted(self._sorted, [g, g + 1])
        rows = self._order[low:high]
        days: dict[int, set[Course]] = defaultdict(set)
        for course in courses:
            days[course.sow_day].add(course)
        rows = rows[np.isin(self.candidates.program.sow_day[rows], list(days))]
        rows = rows[np.argsort(self._cost[rows], kind="stable")]
        found: dict[Course, Placed] = {}
        for j in rows[: 10 * LOOKED_AT]:
            block, i = self.candidates.locate(int(j))
            option = block.choices[int(block.choice[i])]
            if option.path.potted_on or option.path.first.id != old.option.path.first.id:
                continue
            new = Placed("", block.take(np.array([i])), list(old.orders), old.crop_index)
            course = course_of(self.season, new)
            if course in courses:
                found.setdefault(course, new)
        return found

    def _with(self, at: int, new: Placed) -> Settled:
        """The plan with one sowing replaced and settled."""
        one = settle(self.season, [new])
        placed = list(self.settled.placed)
        placed[at] = one.placed[0]
        return Settled(placed, {**self.settled.chances, **one.chances})

    def _money(self, settled: Settled, rows: list[int]) -> float:
        """Cost of some sowings once trays are shared, with all changes of lot of the plan."""
        some = Settled([settled.placed[i] for i in rows], settled.chances)
        crew = self.season.house.crew
        changes = len(lots_by_day(settled.placed)) - len(lots_by_day(some.placed))
        money = sum(plan_cost(self.season, share_trays(self.season, some)).values())
        return money + changes * crew.setup_minutes / 60.0 * crew.rate_per_hour


def lots_by_day(placed: list[Placed]) -> set[tuple[int, int]]:
    """Lots sown on each day."""
    return {(p.sow_day, p.option.lot) for p in placed if p.since < 0}
