"""A plan with one thing changed and everything else left as it is: tasks, supplies, uses in step.

Only what the change touches is reckoned anew, once as it was and once as it will be; the plan gets
the difference. So what the change does not touch keeps its figures to the last digit.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.plan import OrderPlan, Plan, Sowing, SowingShare, Supply, Task, Unmet
from sowbench.domain.records import Order
from sowbench.planning.assemble import order_plans, sowing_record, tasks_of, total_use
from sowbench.planning.fixed import lots_needed, placed_from_plan
from sowbench.planning.inputs import PlanInputs
from sowbench.planning.money import plan_cost
from sowbench.planning.placed import Placed, Settled, settle
from sowbench.planning.plan import assumed_lots, gap
from sowbench.planning.replan import differences
from sowbench.planning.season import Season, make_season
from sowbench.planning.supplies import supplies_of
from sowbench.planning.tray_rows import share_again

Floats = NDArray[np.float64]
_SLIP = 1e-6


@dataclass(frozen=True, slots=True)
class Patch:
    """A change of a plan.

    Attributes
    ----------
    sowings : tuple of Sowing
        Sowings to be added, and sowings of the plan with other shares or places; days, units and
        chances of them are reckoned.
    orders : tuple of Order
        Orders of which plants or days change.
    """

    sowings: tuple[Sowing, ...] = ()
    orders: tuple[Order, ...] = ()


@dataclass(frozen=True, slots=True)
class UseChange:
    """What a change takes of one resource more, by day.

    Attributes
    ----------
    kind, name : str
        What it is: place, crew, container, machine or lot, and which.
    first_date : date
        Day of the first value.
    more : ndarray of float
        What is taken more; below 0 where less is.
    left : ndarray of float
        What is left of it with the change; infinite where nothing limits it.
    """

    kind: str
    name: str
    first_date: date
    more: Floats
    left: Floats

    @property
    def short_days(self) -> tuple[date, ...]:
        """Days on which it takes more than there is."""
        over = (self.more > _SLIP) & (self.left < -_SLIP * (1.0 + np.abs(self.more)))
        first = self.first_date.toordinal()
        return tuple(date.fromordinal(first + int(d)) for d in np.flatnonzero(over))


@dataclass(frozen=True, slots=True)
class Patched:
    """A changed plan, and what the change takes."""

    plan: Plan
    uses: tuple[UseChange, ...]

    def against(self) -> tuple[UseChange, ...]:
        """Return what it would take more of than there is."""
        return tuple(each for each in self.uses if each.short_days)


@dataclass(frozen=True, eq=False)
class Laid:
    """A plan read back into the planner's terms.

    Attributes
    ----------
    season : Season
        Its season.
    placed : list of Placed
        Its sowings that have steps.
    use : ndarray, shape (resources, days)
        All that they take.
    supplies : dict of (str, str) to Supply
        What they need, by item and unit, once it is asked for.
    """

    season: Season
    placed: list[Placed]
    use: Floats
    supplies: dict[tuple[str, str], Supply] = field(default_factory=dict)


def lay_plan(inputs: PlanInputs, plan: Plan) -> Laid:
    """Read a plan back.

    Parameters
    ----------
    inputs : PlanInputs
        What it was made from; orders with the plants that the plan is for.
    plan : Plan
        The plan.

    Returns
    -------
    laid : Laid
        To be used for any number of changes.
    """
    season = _season(inputs, plan)
    placed = _placed(inputs, season, plan, frozenset(), plan)
    return Laid(season, placed, total_use(season, placed))


def patched(inputs: PlanInputs, plan: Plan, patch: Patch, laid: Laid | None = None) -> Patched:
    """Change a plan.

    Parameters
    ----------
    inputs : PlanInputs
        What it was made from.
    plan : Plan
        The plan; stays as it is.
    patch : Patch
        The change.
    laid : Laid or None, default None
        The plan as `lay_plan` read it, if that is at hand.

    Returns
    -------
    patched : Patched
        The plan with the change, and what it takes of each resource. It is not looked at whether
        that is there: `against` says so.
    """
    before = laid or lay_plan(inputs, plan)
    changed = {each.sowing for each in patch.sowings}
    orders = {each.id: each for each in patch.orders}
    moved = frozenset(orders)
    replaced = {each.sowing: each for each in patch.sowings}
    old = {each.sowing: each for each in plan.sowings}
    rows = [replaced.get(each.sowing, each) for each in plan.sowings]
    rows += [each for each in patch.sowings if each.sowing not in old]
    wanted = replace(plan, sowings=tuple(rows))
    after_inputs = replace(inputs, orders=tuple(orders.get(o.id, o) for o in inputs.orders))
    season = _season(after_inputs, wanted) if orders else before.season
    touched = _touched(plan, wanted, changed, moved)
    if orders:
        placed = _placed(after_inputs, season, wanted, changed | touched.of_moved, plan)
    else:
        own = [each for each in rows if each.sowing in touched.sowings]
        part = _placed(after_inputs, season, replace(wanted, sowings=tuple(own)), changed, plan)
        anew = {each.name: each for each in part}
        names = {each.name for each in before.placed}
        placed = [anew.get(each.name, each) for each in before.placed]
        placed += [each for each in part if each.name not in names]
    was = _part(before.season, before.placed, touched)
    now = _part(season, placed, touched)
    new_plan = _written(plan, patch, before, was, season, placed, now, touched)
    return Patched(new_plan, _uses(before, season, was, now))


@dataclass(frozen=True, slots=True)
class _Touched:
    """Sowings and orders that a change touches, and those that have to be reckoned with them."""

    sowings: frozenset[str]
    orders: frozenset[str]
    of_moved: frozenset[str]


@dataclass(frozen=True, eq=False)
class _Part:
    """The touched part of a plan, as it was or as it will be."""

    placed: list[Placed]
    records: dict[str, Sowing]
    orders: dict[str, OrderPlan]
    tasks: list[Task]
    parts: dict[str, float]
    use: Floats


def _touched(plan: Plan, wanted: Plan, changed: set[str], moved: frozenset[str]) -> _Touched:
    """Find what a change touches."""
    both = (*plan.sowings, *wanted.sowings)
    of_moved = {s.sowing for s in both if any(share.order in moved for share in s.orders)}
    core = changed | of_moved
    orders = {share.order for s in both if s.sowing in core for share in s.orders} | moved
    pairs = {(s.lot, s.sow_date) for s in both if s.sowing in core}
    sowings = set(core)
    for s in both:
        if any(share.order in orders for share in s.orders) or (s.lot, s.sow_date) in pairs:
            sowings.add(s.sowing)
    mates = {m for s in both if s.sowing in sowings and s.steps for m in s.steps[0].from_sowings}
    return _Touched(frozenset(sowings | mates), frozenset(orders), frozenset(of_moved))


def _season(inputs: PlanInputs, plan: Plan) -> Season:
    """Lay the season of a plan out, with its whole capacities."""
    kept = replace(inputs, kept=plan, done=())
    lots = inputs.lots if inputs.lots is not None else assumed_lots(inputs)
    days = [s.sow_date for s in plan.sowings] + [s.sown_date for s in inputs.standings]
    return make_season(
        inputs.house,
        inputs.catalog,
        tuple(o for o in inputs.orders if o.status != "cancelled"),
        lots_needed(kept, lots),
        inputs.weather,
        inputs.from_date,
        first_date=min([inputs.from_date, *days]),
    )


def _placed(
    inputs: PlanInputs, season: Season, wanted: Plan, changed: Iterable[str], plan: Plan
) -> list[Placed]:
    """Read sowings back; of changed ones days of handing over are reckoned."""
    index = {order.id: i for i, order in enumerate(season.orders)}
    to_sow = {each.sowing for each in plan.tasks if each.task == "sow"}
    known = {each.sowing for each in plan.sowings}
    counted = {each.sowing: _count_of(inputs, each) for each in plan.sowings}
    out = []
    for sowing in wanted.sowings:
        if not sowing.steps:
            continue
        new = sowing.sowing in to_sow or sowing.sowing not in known
        one = placed_from_plan(
            season,
            sowing,
            wanted,
            index,
            counted.get(sowing.sowing),
            since=-1 if new else season.from_day,
        )
        if sowing.sowing in changed:
            _set_days(season, one)
        out.append(one)
    return share_again(season, out, wanted)


def _count_of(inputs: PlanInputs, sowing: Sowing) -> int | None:
    """Return what was counted of a sowing before the plan, if it was handed in as standing."""
    for each in inputs.standings:
        if each.sowing == sowing.sowing:
            return each.n_usable if each.n_usable is not None else each.n_counted
    return None


def _set_days(season: Season, placed: Placed) -> None:
    """Sort a sowing's orders by their days, and set the days of handing over."""
    placed.orders = sorted(
        placed.orders, key=lambda row: (season.orders[row[0]].wanted_date, row[0])
    )
    placed.row.hand_over[0, :] = -1
    ready = int(placed.row.timeline.ready_day[0])
    calendar = season.calendar
    for k, (o, _) in enumerate(placed.orders):
        order = season.orders[o]
        wanted, latest = calendar.day(order.wanted_date), calendar.day(order.latest_date)
        day = max(wanted, ready)
        placed.row.hand_over[0, k] = max(
            day if day <= latest else max(ready, latest), season.from_day
        )
    placed.row.moves = None


def _part(season: Season, placed: Sequence[Placed], touched: _Touched) -> _Part:
    """Reckon the touched part of a plan."""
    own = [each for each in placed if each.name in touched.sowings]
    settled = settle(season, own, raises=0)
    rows = order_plans(season, settled)
    orders = {each.order: each for each in rows if each.order in touched.orders}
    return _Part(
        own,
        {each.name: sowing_record(season, each) for each in own},
        orders,
        tasks_of(season, own),
        plan_cost(season, _only(season, settled, touched)),
        total_use(season, own),
    )


def _only(season: Season, settled: Settled, touched: _Touched) -> Settled:
    """Keep the chances of the touched orders: of others not all sowings may be here."""
    return Settled(
        settled.placed,
        {o: c for o, c in settled.chances.items() if season.orders[o].id in touched.orders},
    )


def _written(
    plan: Plan,
    patch: Patch,
    before: Laid,
    was: _Part,
    season: Season,
    placed: list[Placed],
    now: _Part,
    touched: _Touched,
) -> Plan:
    """Write the changed plan down."""
    names = {each.sowing for each in plan.sowings}
    changed = {each.sowing for each in patch.sowings} | touched.of_moved
    sowings = [
        now.records[each.sowing]
        if each.sowing in changed and each.sowing in now.records
        else _same(each, was.records, now.records)
        for each in plan.sowings
    ]
    sowings += [each for name, each in now.records.items() if name not in names]
    orders = tuple(
        now.orders[each.order] if each.order in touched.orders else each for each in plan.orders
    )
    parts = {
        name: round(value + now.parts.get(name, 0.0) - was.parts.get(name, 0.0), 4)
        for name, value in plan.cost_parts.items()
    }
    cost = sum(parts.values())
    bound = min(plan.bound, cost)
    same = parts == plan.cost_parts
    without = gap(cost - parts.get("short", 0.0), bound - parts.get("short", 0.0))
    old = {each.sowing: each for each in plan.sowings}
    moves = tuple(
        move
        for each in sowings
        if each.sowing in old and old[each.sowing] != each
        for move in differences(old[each.sowing], each)
    )
    return replace(
        plan,
        until_date=season.until_date,
        cost=plan.cost if same else round(cost, 4),
        cost_parts=parts,
        bound=round(bound, 4),
        gap_frac=plan.gap_frac if same else gap(cost, bound),
        gap_without_short_frac=plan.gap_without_short_frac if same else without,
        orders=orders,
        sowings=tuple(sowings),
        unmet=_unmet(plan, orders, touched),
        tasks=_tasks(plan.tasks, was.tasks, now.tasks),
        supplies=_supplies(plan, before, season, placed),
        moved=moves,
    )


def _same(planned: Sowing, was: dict[str, Sowing], now: dict[str, Sowing]) -> Sowing:
    """Keep a sowing as the plan has it unless the change made it another."""
    name = planned.sowing
    return now[name] if name in now and was.get(name) != now[name] else planned


def _unmet(plan: Plan, orders: Iterable[OrderPlan], touched: _Touched) -> tuple[Unmet, ...]:
    """Lower what is unmet of touched orders by what is planned now."""
    left = {each.order: each.plants - each.planned for each in orders}
    out: list[Unmet] = []
    for each in plan.unmet:
        if each.order not in touched.orders:
            out.append(each)
            continue
        plants = min(each.plants, left[each.order])
        left[each.order] -= plants
        if plants > 0:
            out.append(each if plants == each.plants else replace(each, plants=plants, offers=()))
    return tuple(out)


_Key = tuple[date, str, str, str, str, int]


def _tasks(tasks: Iterable[Task], was: Iterable[Task], now: Iterable[Task]) -> tuple[Task, ...]:
    """Take off the tasks that were, and add those that will be; water is added up."""
    kept = list(tasks)
    minutes: defaultdict[tuple[date, str], float] = defaultdict(float)
    for sign, some in ((-1.0, was), (1.0, now)):
        for each in some:
            if each.task == "water":
                minutes[each.date, each.place] += sign * each.minutes
    old = Counter(each for each in was if each.task != "water")
    new = Counter(each for each in now if each.task != "water")
    gone, come = old - new, new - old
    by_job = Counter((e.date, e.task, e.sowing, e.place) for e in gone.elements())
    out = []
    for each in kept:
        job = (each.date, each.task, each.sowing, each.place)
        if each.task != "water" and by_job[job] > 0:
            by_job[job] -= 1
            continue
        if each.task == "water":
            more = minutes.pop((each.date, each.place), 0.0)
            if abs(more) > 1e-9:
                left = round(each.minutes + more, 3)
                if left <= 5e-4:
                    continue
                each = replace(each, minutes=left)  # noqa: PLW2901
        out.append(each)
    words = {e.sowing: e.words for e in kept if e.task == "sow"}
    out += [
        replace(e, words=words.get(e.sowing, "")) if e.task == "sow" else e for e in come.elements()
    ]
    out += [
        Task(day, "water", "", place, round(more, 3))
        for (day, place), more in minutes.items()
        if more > 5e-4
    ]
    rank = {"water": 0, "move": 1, "change lot": 2, "sow": 3, "count": 4, "thin": 5}
    return tuple(sorted(out, key=lambda t: (t.date, rank.get(t.task, 6), t.place, t.sowing)))


def _supplies(plan: Plan, before: Laid, season: Season, placed: list[Placed]) -> tuple[Supply, ...]:
    """Reckon supplies anew, keeping those that stay as they were."""
    if not before.supplies:
        before.supplies.update(
            {(e.item, e.unit): e for e in supplies_of(before.season, before.placed)}
        )
    planned = {(each.item, each.unit): each for each in plan.supplies}
    out = []
    for each in supplies_of(season, placed):
        key = (each.item, each.unit)
        same = key in planned and before.supplies.get(key) == each
        out.append(planned[key] if same else each)
    return tuple(sorted(out, key=lambda s: (s.order_by, s.item)))


def _uses(before: Laid, season: Season, was: _Part, now: _Part) -> tuple[UseChange, ...]:
    """Say what a change takes of each resource, and what is left of it then."""
    offset = (before.season.calendar.first - season.calendar.first).days
    n = season.resources.capacity.shape[1]
    first = season.calendar.first
    out = []
    rows = {
        (k.value, name): i
        for i, (k, name) in enumerate(
            zip(before.season.resources.kinds, before.season.resources.names, strict=True)
        )
    }
    for i, (kind, name) in enumerate(
        zip(season.resources.kinds, season.resources.names, strict=True)
    ):
        more = now.use[i].copy()
        whole = np.zeros(n)
        row = rows.get((kind.value, name))
        if row is not None:
            _add(more, -was.use[row], offset)
            _add(whole, before.use[row], offset)
        if np.abs(more).max(initial=0.0) > 1e-9:
            left = season.resources.capacity[i] - whole - more
            out.append(UseChange(kind.value, name, first, more, left))
    return tuple(out)


def _add(row: Floats, more: Floats, offset: int) -> None:
    """Add one row of days to another that begins on another day."""
    start = max(offset, 0)
    part = more[max(-offset, 0) :]
    stop = min(start + len(part), len(row))
    row[start:stop] += part[: stop - start]


def shares(sowing: Sowing, plants: dict[str, int]) -> Sowing:
    """Give a sowing other shares.

    Parameters
    ----------
    sowing : Sowing
        The sowing.
    plants : dict of str to int
        Plants by order; those of none are left out.

    Returns
    -------
    sowing : Sowing
        With these shares.
    """
    return replace(sowing, orders=tuple(SowingShare(o, n) for o, n in plants.items() if n > 0))


def order_of(inputs: PlanInputs, name: str) -> Order:
    """Return an order of some inputs.

    Parameters
    ----------
    inputs : PlanInputs
        The inputs.
    name : str
        Its name.

    Returns
    -------
    order : Order
        The order.
    """
    return next(each for each in inputs.orders if each.id == name)
