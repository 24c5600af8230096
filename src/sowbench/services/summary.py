"""What a plan says, as plain values: the headline, what is short, the days ahead, what to buy."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.domain.plan import (
    Moved,
    Offer,
    OrderPlan,
    Plan,
    Sowing,
    Step,
    Supply,
    Task,
)
from sowbench.domain.records import Container, Order
from sowbench.domain.tray_rows import TrayRows, tray_rows

if TYPE_CHECKING:
    from sowbench.exchange.season_use import DailyUse
    from sowbench.planning.inputs import PlanInputs

DAYS_AHEAD_D: Final = 14
# One walks the house from what cannot wait to what is packed last.
_TASK_ORDER: Final = (
    "move", "water", "count", "thin", "pot on", "space", "tone", "change lot", "sow", "pack",
)  # fmt: skip
_ONCE_A_DAY: Final = frozenset({"water", "change lot"})
_AT_THE_END: Final = frozenset({"change lot", "sow", "pack"})


@dataclass(frozen=True, slots=True)
class UnmetOrder:
    """Plants of an order that are not planned, why, and what would help."""

    order: str
    customer: str
    crop: str
    plants_ordered: int
    plants_unmet: int
    wanted_date: date
    reason: str
    words: str
    offers: tuple[Offer, ...]


@dataclass(frozen=True, slots=True)
class RiskyOrder:
    """A planned order that may come short or late, and its weak part."""

    order: str
    customer: str
    crop: str
    plants: int
    wanted_date: date
    chance_enough_frac: float
    chance_in_time_frac: float
    chance_filled_frac: float
    expected_short: float
    weak_parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DayTask:
    """One task of a day; the same task for several sowings in one place is one line."""

    task: str
    place: str
    n: int
    sowings: tuple[str, ...]
    crops: tuple[str, ...]
    minutes: float
    slack_d: int
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DaySheet:
    """What is to be done on one day, in the order in which one walks the house."""

    date: date
    minutes: float
    tasks: tuple[DayTask, ...]


@dataclass(frozen=True, slots=True)
class SowingLine:
    """One sowing as the crew needs it."""

    sowing: str
    crop: str
    variety: str
    lot: str
    container: str
    n_containers: int
    seeds_per_cell: int
    n_cells: int
    n_seeds: int
    place: str
    ready_p10_date: date
    ready_p90_date: date | None
    orders: tuple[str, ...]
    shares: str = ""


@dataclass(frozen=True, slots=True)
class SowDay:
    """The sowings of one day."""

    date: date
    n_lots: int
    sowings: tuple[SowingLine, ...]


@dataclass(frozen=True, slots=True)
class Peak:
    """The fullest day of a place or of the crew."""

    name: str
    unit: str
    hands: bool
    date: date
    use: float
    capacity: float | None
    n_days_full: int


@dataclass(frozen=True, slots=True)
class Summary:
    """What a plan says in short."""

    house: str
    currency: str
    from_date: date
    until_date: date
    n_orders: int
    n_planned: int
    n_partly: int
    n_plants: int
    n_plants_planned: int
    n_sowings: int
    n_standing: int
    n_seeds: int
    on_time_frac: float
    cost: float
    cost_parts: Mapping[str, float]
    bound: float
    gap_frac: float
    gap_without_short_frac: float
    seconds: float
    unmet: tuple[UnmetOrder, ...]
    risky: tuple[RiskyOrder, ...]
    untimely: tuple[RiskyOrder, ...]
    days: tuple[DaySheet, ...]
    sow_days: tuple[SowDay, ...]
    to_buy: tuple[Supply, ...]
    peaks: tuple[Peak, ...]
    moved: tuple[Moved, ...]
    assumptions: tuple[str, ...]
    notes: tuple[str, ...] = ()


def summarize(
    plan: Plan,
    inputs: PlanInputs,
    uses: Sequence[DailyUse] = (),
    notes: Iterable[str] = (),
) -> Summary:
    """Say in short what a plan says.

    Parameters
    ----------
    plan : Plan
        The plan.
    inputs : PlanInputs
        What it was made from.
    uses : sequence of DailyUse, default ()
        Use of places and hands by day.
    notes : iterable of str, default ()
        Notes of reading the files.

    Returns
    -------
    summary : Summary
        Plain values, ready to print or to encode.
    """
    orders = {each.id: each for each in inputs.orders}
    to_sow = [each for each in plan.sowings if is_to_sow(each, plan)]
    missing: defaultdict[str, int] = defaultdict(int)
    for each in plan.unmet:
        missing[each.order] += each.plants
    wanted = {each.id: each.plants for each in inputs.orders}
    n_whole = sum(not missing[name] for name in wanted)
    n_none = sum(missing[name] >= plants for name, plants in wanted.items())
    return Summary(
        house=inputs.house.name,
        currency=inputs.house.prices.currency,
        from_date=plan.from_date,
        until_date=plan.until_date,
        n_orders=len(wanted),
        n_planned=n_whole,
        n_partly=len(wanted) - n_whole - n_none,
        n_plants=sum(wanted.values()),
        n_plants_planned=sum(max(plants - missing[name], 0) for name, plants in wanted.items()),
        n_sowings=len(to_sow),
        n_standing=len(plan.sowings) - len(to_sow),
        n_seeds=sum(each.n_seeds for each in to_sow),
        on_time_frac=_on_time_frac(plan),
        cost=plan.cost,
        cost_parts=dict(plan.cost_parts),
        bound=plan.bound,
        gap_frac=plan.gap_frac,
        gap_without_short_frac=plan.gap_without_short_frac,
        seconds=plan.seconds,
        unmet=_unmet(plan, orders),
        risky=_listed(plan, orders, lambda each: bool(each.risky)),
        untimely=_listed(plan, orders, _is_untimely),
        days=day_sheets(plan, [each.name for each in inputs.house.places]),
        sow_days=sow_days(plan, inputs.catalog.containers),
        to_buy=tuple(
            sorted(
                (each for each in plan.supplies if each.to_buy > 0),
                key=lambda each: (each.order_by, each.needed_on, each.item),
            )
        ),
        peaks=tuple(_peak(each) for each in uses if any(each.use)),
        moved=plan.moved,
        assumptions=plan.assumptions,
        notes=tuple(notes),
    )


def _unmet(plan: Plan, orders: Mapping[str, Order]) -> tuple[UnmetOrder, ...]:
    """List what is not planned, by the day it is wanted."""
    found = []
    for each in plan.unmet:
        order = orders[each.order]
        found.append(
            UnmetOrder(
                order=order.id,
                customer=order.customer,
                crop=order.crop,
                plants_ordered=order.plants,
                plants_unmet=each.plants,
                wanted_date=order.wanted_date,
                reason=each.reason,
                words=each.words,
                offers=each.offers,
            )
        )
    return tuple(sorted(found, key=lambda each: each.wanted_date))


def _on_time_frac(plan: Plan) -> float:
    """Share of the planned plants that can be expected to be fit on a day that serves."""
    planned = sum(each.planned for each in plan.orders)
    on_time = sum(each.planned * each.chance_in_time_frac for each in plan.orders)
    return on_time / planned if planned else 0.0


def _is_untimely(planned: OrderPlan) -> bool:
    """Tell whether what is planned for an order will more likely than not miss its days."""
    return planned.planned > 0 and planned.chance_in_time_frac < 0.5


def _listed(
    plan: Plan, orders: Mapping[str, Order], wanted: Callable[[OrderPlan], bool]
) -> tuple[RiskyOrder, ...]:
    """List planned orders of a kind, the least sure first."""
    found = [_risky_order(each, orders[each.order]) for each in plan.orders if wanted(each)]
    return tuple(sorted(found, key=lambda each: (each.chance_filled_frac, each.wanted_date)))


def _risky_order(planned: OrderPlan, order: Order) -> RiskyOrder:
    return RiskyOrder(
        order=order.id,
        customer=order.customer,
        crop=order.crop,
        plants=order.plants,
        wanted_date=order.wanted_date,
        chance_enough_frac=planned.chance_enough_frac,
        chance_in_time_frac=planned.chance_in_time_frac,
        chance_filled_frac=planned.chance_filled_frac,
        expected_short=planned.expected_short,
        weak_parts=planned.risky,
    )


def day_sheets(
    plan: Plan, places: Sequence[str], n_days: int = DAYS_AHEAD_D
) -> tuple[DaySheet, ...]:
    """List the tasks of the first days, in the order in which one walks the house.

    Parameters
    ----------
    plan : Plan
        The plan.
    places : sequence of str
        Places in walking order: that of the house file.
    n_days : int, default 14
        Days from the first day of the plan [d].

    Returns
    -------
    days : tuple of DaySheet
        Days with tasks; what is alike in one place is one line.
    """
    crops = {each.sowing: each.crop for each in plan.sowings}
    until = plan.from_date + timedelta(days=n_days)
    by_day: dict[date, list[Task]] = defaultdict(list)
    for each in plan.tasks:
        if plan.from_date <= each.date < until:
            by_day[each.date].append(each)
    walk = {name: at for at, name in enumerate(places)}
    return tuple(
        DaySheet(day, sum(each.minutes for each in tasks), _walked(tasks, walk, crops))
        for day, tasks in sorted(by_day.items())
    )


def _walked(
    tasks: Iterable[Task], walk: Mapping[str, int], crops: Mapping[str, str]
) -> tuple[DayTask, ...]:
    """Join tasks that are alike and sort them by the way through the house.

    Water is one round through all places, and changes of lot are told once a day.
    """
    alike: dict[tuple[str, str], list[Task]] = defaultdict(list)
    for each in tasks:
        place = "" if each.task in _ONCE_A_DAY else each.place
        alike[each.task, place].append(each)

    def place_in_walk(key: tuple[str, str]) -> tuple[int, int, str]:
        task, place = key
        turn = _TASK_ORDER.index(task) if task in _TASK_ORDER else len(_TASK_ORDER)
        if task == "water":
            return -1, turn, place
        late = task in _AT_THE_END
        return (len(walk) + turn if late else walk.get(place, len(walk)), turn, place)

    return tuple(
        _joined(task, place, alike[task, place], walk, crops)
        for task, place in sorted(alike, key=place_in_walk)
    )


def _joined(
    task: str,
    place: str,
    tasks: Sequence[Task],
    walk: Mapping[str, int],
    crops: Mapping[str, str],
) -> DayTask:
    """Make one line of tasks that are alike."""
    places = sorted(
        {each.place for each in tasks if each.place}, key=lambda each: walk.get(each, 0)
    )
    return DayTask(
        task=task,
        place=place or ", ".join(places),
        n=len(tasks),
        sowings=tuple(each.sowing for each in tasks if each.sowing),
        crops=tuple(dict.fromkeys(crops[each.sowing] for each in tasks if each.sowing in crops)),
        minutes=sum(each.minutes for each in tasks),
        slack_d=min(each.slack_d for each in tasks),
        words=tuple(dict.fromkeys(each.words for each in tasks if each.words)),
    )


def is_to_sow(sowing: Sowing, plan: Plan) -> bool:
    """Tell whether a sowing is still to be sown, not standing or sown before the plan begins.

    Parameters
    ----------
    sowing : Sowing
        A sowing of the plan.
    plan : Plan
        The plan.

    Returns
    -------
    to_sow : bool
        Whether the crew has to sow it.
    """
    return not sowing.standing and sowing.sow_date >= plan.from_date


def sow_days(plan: Plan, containers: Mapping[str, Container] | None = None) -> tuple[SowDay, ...]:
    """List the sowings by their day.

    Parameters
    ----------
    plan : Plan
        The plan.
    containers : mapping of str to Container, or None, default None
        Containers by id; without them shared rows are not told.

    Returns
    -------
    days : tuple of SowDay
        Days with a sowing; of one day, sowings of one lot and container stand together.
    """
    by_day: dict[date, list[Sowing]] = defaultdict(list)
    rows = tray_rows(plan.sowings, containers or {})
    for each in plan.sowings:
        if is_to_sow(each, plan):
            by_day[each.sow_date].append(each)
    return tuple(
        SowDay(
            date=day,
            n_lots=len({each.lot for each in sowings}),
            sowings=tuple(
                _sowing_line(each, rows.get(each.sowing))
                for each in sorted(sowings, key=lambda each: (each.crop, each.lot, each.sowing))
            ),
        )
        for day, sowings in sorted(by_day.items())
    )


def first_step(sowing: Sowing) -> Step:
    """Return the step in which a sowing starts.

    Parameters
    ----------
    sowing : Sowing
        A sowing with at least one step.

    Returns
    -------
    step : Step
        The step with the first day.
    """
    return min(sowing.steps, key=lambda each: each.from_date)


def _sowing_line(sowing: Sowing, rows: TrayRows | None) -> SowingLine:
    start = first_step(sowing)
    return SowingLine(
        sowing=sowing.sowing,
        crop=sowing.crop,
        variety=sowing.variety,
        lot=sowing.lot,
        container=start.container,
        n_containers=start.n_containers,
        seeds_per_cell=sowing.seeds_per_cell,
        n_cells=sowing.n_cells,
        n_seeds=sowing.n_seeds,
        place=start.place,
        ready_p10_date=sowing.ready_date.p10,
        ready_p90_date=sowing.ready_date.p90,
        orders=tuple(each.order for each in sowing.orders),
        shares="" if rows is None else rows.words,
    )


def _peak(daily: DailyUse) -> Peak:
    """Find the fullest day; without a limit the day of most use."""
    from sowbench.exchange.season_use import day_states

    capacity = daily.capacity

    def fullness(at: int) -> tuple[float, float]:
        room = capacity[at] if capacity is not None else 0.0
        # A closed day of the crew has no room and no work; it is never the fullest.
        share = daily.use[at] / room if room > 0 else float(daily.use[at] > 0 and bool(capacity))
        return share, daily.use[at]

    at = max(range(len(daily.use)), key=fullness)
    return Peak(
        name=daily.name,
        unit=daily.unit,
        hands=daily.hands,
        date=daily.first_date + timedelta(days=at),
        use=float(daily.use[at]),
        capacity=None if capacity is None else float(capacity[at]),
        n_days_full=sum(state != "room" for state in day_states(daily)),
    )
