"""Part-filled last trays of sowings that go together are put into one, by rows: model section 12.

This is done when everything is settled, so it takes nothing from anybody: a tray less is to be
filled, carried, watered and given room.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from sowbench.domain.plan import Plan, Task
from sowbench.domain.records import Container, LightNeed
from sowbench.domain.tray_rows import TrayRows
from sowbench.planning.assemble import stretches
from sowbench.planning.placed import Placed, Settled, with_sizing
from sowbench.planning.season import Season

UP_WITHIN_D = 2
LEAVES_APART = 2.0  # how similar heights are judged (assumption)
DAYS_REF_APART_D = 7.0


@dataclass(frozen=True)
class Tail:
    """The part-filled last tray of a sowing: its index, and the rows that it takes."""

    index: int
    rows: int


@dataclass(frozen=True)
class Course:
    """Container, sowing day, and places with their days."""

    container: str
    sow_day: int
    runs: tuple[tuple[int, int, int], ...]


def share_trays(season: Season, settled: Settled) -> Settled:
    """Put part-filled last trays of new sowings into one wherever they go together.

    Parameters
    ----------
    season : Season
        The season.
    settled : Settled
        Sowings with their final cells.

    Returns
    -------
    settled : Settled
        The same sowings; those that share a tray name each other and count their share of it.
    """
    placed = list(settled.placed)
    new = [i for i, p in enumerate(placed) if p.since < 0]
    for mates in _bins(season, placed, new):
        _join(placed, mates)
    return replace(settled, placed=placed)


def share_again(season: Season, placed: list[Placed], kept: Plan) -> list[Placed]:
    """Let sowings that stand already share on where they did in the kept plan and still can."""
    named = {
        s.sowing: frozenset((s.sowing, *s.steps[0].from_sowings))
        for s in kept.sowings
        if s.steps and s.steps[0].from_sowings
    }
    out = list(placed)
    sets: dict[frozenset[str], list[int]] = defaultdict(list)
    for i, p in enumerate(out):
        if p.name in named:
            sets[named[p.name]].append(i)
    for own in sets.values():
        for mates in _bins(season, out, own):
            _join(out, mates)
    return out


def tell_rows(tasks: list[Task], rows: Mapping[str, TrayRows]) -> list[Task]:
    """Say at the sowing which rows of a shared tray are whose."""
    return [
        replace(each, words=rows[each.sowing].words)
        if each.task == "sow" and each.sowing in rows
        else each
        for each in tasks
    ]


def own_units(n_units: float, n_mates: int) -> float:
    """Lifted units that count as a sowing's own, of those it has cells in."""
    return n_units if n_mates < 2 else n_units - 1.0 + 1.0 / n_mates


def _join(placed: list[Placed], mates: list[int]) -> None:
    """Make sowings share their last tray."""
    names = [placed[i].name for i in mates]
    for i in mates:
        p = placed[i]
        units = np.array([own_units(float(p.n_units), len(mates))])
        sizing = replace(p.row.sizing, n_units=units, n_last_units=units)
        others = tuple(name for name in names if name != p.name)
        placed[i] = replace(p, row=with_sizing(p.row, sizing), mates=others)


def _bins(season: Season, placed: list[Placed], which: list[int]) -> list[list[int]]:
    """Fill trays with tails that go together, the longest first into the first that takes it."""
    alike: dict[tuple[str, int, int], list[Tail]] = defaultdict(list)
    for i in which:
        tail = tail_of(placed[i], i)
        if tail is not None:
            alike[ends_of(placed[i])].append(tail)
    courses: dict[Course, list[Tail]] = defaultdict(list)
    for tails in alike.values():
        for tail in tails if len(tails) > 1 else ():
            courses[course_of(season, placed[tail.index])].append(tail)
    out = []
    for tails in courses.values():
        n_rows = placed[tails[0].index].option.path.first.rows or 1
        bins: list[list[Tail]] = []
        for tail in sorted(tails, key=lambda t: (-t.rows, t.index)):
            for own in bins:
                room = sum(t.rows for t in own) + tail.rows <= n_rows
                if room and all(_agree(season, placed[t.index], placed[tail.index]) for t in own):
                    own.append(tail)
                    break
            else:
                bins.append([tail])
        out += [sorted(t.index for t in own) for own in bins if len(own) > 1]
    return out


def tail_of(placed: Placed, index: int) -> Tail | None:
    """The part-filled last tray of a sowing; None if it has none that could be shared."""
    path = placed.option.path
    days = placed.row.hand_over[0]
    if path.potted_on or placed.standing or not placed.orders:
        return None
    if len({int(d) for d in days if d >= 0}) > 1 or placed.row.rule.space_d_ref is not None:
        return None
    rows = rows_taken(path.first, placed.n_cells, placed.n_units)
    return Tail(index, rows) if rows < (path.first.rows or 1) else None


def rows_taken(container: Container, n_cells: int, n_units: int) -> int:
    """Rows of the last of some trays that the cells of a sowing take."""
    last = n_cells - (n_units - 1) * container.cells
    return -(-last // (container.cols or container.cells))


def ends_of(placed: Placed) -> tuple[str, int, int]:
    """Container, day of sowing and last day of handing over."""
    last = int(placed.row.hand_over[0].max())
    return placed.option.path.first.id, placed.sow_day, last


def course_of(season: Season, placed: Placed) -> Course:
    """Container, day and places by day, which sowings in one tray must have in common."""
    runs: list[tuple[int, int, int]] = []
    for s in stretches(season, placed):
        place = int(s.stay.place[0])
        if runs and runs[-1][0] == place and runs[-1][2] == s.start:
            runs[-1] = (place, runs[-1][1], s.stop)
        else:
            runs.append((place, s.start, s.stop))
    return Course(placed.option.path.first.id, placed.sow_day, tuple(runs))


def _agree(season: Season, one: Placed, other: Placed) -> bool:
    """Whether two sowings on one course may stand in one tray."""
    a, b = one.row.crop, other.row.crop
    if a.season != b.season or a.cover != b.cover:
        return False
    if {a.light_need, b.light_need} == {LightNeed.LIGHT, LightNeed.DARK}:
        return False
    if abs(up_day(one) - up_day(other)) > UP_WITHIN_D:
        return False
    x, y = one.row.rule, other.row.rule
    if abs(x.leaves - y.leaves) > LEAVES_APART or abs(x.days_ref - y.days_ref) > DAYS_REF_APART_D:
        return False
    served = [{o for o, _ in p.orders} for p in (one, other)]
    if served[0] & served[1]:
        return False
    orders = [season.orders[o] for p in (one, other) for o, _ in p.orders]
    customers = {o.customer for o in orders}
    return len(customers) == 1 or all(o.handover != "trays" for o in orders)


def up_day(placed: Placed) -> int:
    """Day of median emergence in typical weather."""
    return int(placed.row.timeline.emerge_day[placed.row.sow[0]])
