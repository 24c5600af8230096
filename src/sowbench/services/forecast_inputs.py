"""What a forecast is made from: sowings of a plan that are not over, what orders still want."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any, Final, cast

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.season import CheckInputs, Season
from sowbench.checking.stand import aging_shift
from sowbench.checking.timeline import Timeline, Timelines
from sowbench.domain.records import StepKind
from sowbench.forecasting import CellRule, LotTest, OpenOrder, OpenSowing, Pace
from sowbench.forecasting.learning_use import learned_emergence_frac, learned_kept_frac
from sowbench.science.risk import OrderNeed, Share
from sowbench.science.stand import CULL_FRAC, EMERGENCE_FRAC, SURVIVE_FRAC
from sowbench.services.book_state import followed_sowings
from sowbench.services.kept_results import Kept
from sowbench.services.learned import learned_house_of, learned_key, learned_now
from sowbench.services.sowing_emergence import planned_progress
from sowbench.services.working_few import plan_head

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sowbench.domain.book import PlanHead
    from sowbench.domain.plan import Plan, Sowing
    from sowbench.domain.ports import Unit
    from sowbench.domain.records import House, Order
    from sowbench.forecasting.learning import Learned
    from sowbench.reference.catalog import Catalog
    from sowbench.science.weather_year import WeatherYear
    from sowbench.services.book_state import Followed

Floats = NDArray[np.float64]

_MOST_KEPT: Final = 6


@dataclass(frozen=True, slots=True, eq=False)
class ForecastSet:
    """What is forecast together.

    Attributes
    ----------
    head : PlanHead
        The plan by which the house works.
    plan : Plan
        Its body, or the one that was asked for in its stead.
    today : date
        The day in the house.
    season : Season
        Days, climate, lots and places of the plan.
    sowings : tuple of OpenSowing
        Sowings that are not over, and those that are still to be sown.
    orders : tuple of OpenOrder
        Orders that still want plants, those without a sowing too.
    planned : dict of str to Sowing
        The planned sowings by name.
    lines : dict of str to Timeline
        Days of each sowing.
    followed : dict of str to Followed
        What the journal says of those that were begun.
    given : dict of str to int
        Plants handed over already, by order.
    aside : tuple of str
        Sowings that cannot be forecast: their crop, place or lot is no longer known.
    key : tuple
        What all of it depends on.
    """

    head: PlanHead
    plan: Plan
    today: date
    season: Season
    sowings: tuple[OpenSowing, ...]
    orders: tuple[OpenOrder, ...]
    planned: dict[str, Sowing]
    lines: dict[str, Timeline]
    followed: dict[str, Followed]
    given: dict[str, int]
    aside: tuple[str, ...]
    key: tuple[object, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the sowings, in their order."""
        return tuple(each.sowing for each in self.sowings)

    def order(self, name: str) -> Order:
        """Return an order as it was entered.

        Parameters
        ----------
        name : str
            Its name.

        Returns
        -------
        order : Order
            The order.
        """
        return self.season.orders[name]


def forecast_key(unit: Unit, today: date) -> tuple[object, ...]:
    """Return what a forecast of a book depends on.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    today : date
        The day in the house.

    Returns
    -------
    key : tuple
        The same as long as plan, journal, orders, lots, house and what was learned are.
    """
    head = unit.plans.current()
    last = unit.journal.latest(1)
    return (
        None if head is None else (head.id, head.made_at),
        (last[0].seq, last[0].entry.id) if last else None,
        unit.orders_page.last_change(),
        learned_key(unit),
        today,
    )


_sets: Kept[tuple[object, ...], ForecastSet] = Kept(_MOST_KEPT)


def forecast_set(
    unit: Unit, today: date, plan: Plan | None = None, changed: Sequence[Order] = ()
) -> ForecastSet:
    """Gather what is forecast, out of a book.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    today : date
        The day in the house.
    plan : Plan or None, default None
        A plan to forecast by in the current one's stead, as with an offer taken.
    changed : sequence of Order, default ()
        Orders that would be others with that plan.

    Returns
    -------
    gathered : ForecastSet
        Kept as long as nothing of it changes, if it is of the current plan.

    Raises
    ------
    UnknownNameError
        If the book has no plan.
    """
    head = plan_head(unit, None)
    key = forecast_key(unit, today)
    if plan is not None:
        return _gathered(unit, head, plan, today, key, changed)
    return _sets.get(key, lambda: _gathered(unit, head, unit.plans.body(head.id), today, key))


def _gathered(
    unit: Unit,
    head: PlanHead,
    plan: Plan,
    today: date,
    key: tuple[object, ...],
    changed: Sequence[Order] = (),
) -> ForecastSet:
    """Gather what is forecast by a plan."""
    house, catalog, weather = learned_house_of(unit, head.house_version, today.year)
    learned = learned_now(unit)
    followed = followed_sowings(unit, plan)
    orders = unit.orders.named({each.order for each in plan.orders})
    orders |= {each.id: each for each in changed}
    season = _season(unit, plan, orders, (house, catalog, weather))
    given = _given(followed.values())
    lines = Timelines(season)
    sowings: list[OpenSowing] = []
    found: dict[str, Timeline] = {}
    aside: list[str] = []
    planned: dict[str, Sowing] = {}
    for each in plan.sowings:
        life = followed.get(each.sowing)
        if life is not None and life.life.ended_date is not None:
            continue
        sowing = _as_sown(each, life)
        line = lines.of(sowing)
        made = None
        if line is not None:
            made = _open(season, sowing, line, life, head.from_date, learned)
        if line is None or made is None:
            aside.append(each.sowing)
            continue
        sowings.append(made)
        found[each.sowing] = line
        planned[each.sowing] = sowing
    names = [each.sowing for each in sowings]
    return ForecastSet(
        head,
        plan,
        today,
        season,
        tuple(sowings),
        _open_orders(season, plan, planned, names, followed, given),
        planned,
        found,
        followed,
        given,
        tuple(aside),
        key,
    )


def _season(
    unit: Unit,
    plan: Plan,
    orders: Mapping[str, Order],
    of: tuple[House, Catalog, WeatherYear | None],
) -> Season:
    """Return days, climate and places of a plan."""
    house, catalog, weather = of
    lots = {each.lot for each in plan.sowings}
    known = tuple(each for each in unit.lots.all() if each.id in lots)
    return Season(
        plan,
        CheckInputs(
            house=house,
            orders=tuple(orders.values()),
            lots=known or None,
            catalog=cast("Any", catalog),
            from_date=plan.from_date,
            weather=weather,
        ),
    )


def _as_sown(planned: Sowing, followed: Followed | None) -> Sowing:
    """Return a planned sowing with the day on which it was really sown."""
    if followed is None or followed.start is not None:
        return planned
    sown = followed.life.sown_date
    return planned if sown is None or sown == planned.sow_date else replace(planned, sow_date=sown)


def _open(
    season: Season,
    sowing: Sowing,
    line: Timeline,
    followed: Followed | None,
    day: date,
    learned: Learned,
) -> OpenSowing | None:
    """Return a sowing as the forecast takes it; None if its lot or tray is unknown."""
    steps = [each for each in sowing.steps if each.kind is not StepKind.PREPARE]
    crop = season.catalog.crops[sowing.crop]
    start = None if followed is None else followed.start
    name = start.container if start is not None else (steps[0].container if steps else "")
    container = season.catalog.containers.get(name)
    lot = season.lot(sowing.lot)
    if container is None or lot is None:
        return None
    progress = planned_progress(season, sowing, line, crop.emergence)
    if progress is None:
        return None
    hours, gained = progress
    survive_frac, cull_frac = learned_kept_frac(crop, SURVIVE_FRAC, CULL_FRAC, learned)
    constants = getattr(season.catalog, "viability", {})
    return OpenSowing(
        sowing=sowing.sowing,
        lot=sowing.lot or sowing.sowing,
        crop=sowing.crop,
        sow_date=sowing.sow_date,
        test=LotTest(lot.n_normal, lot.n_tested, aging_shift(lot, constants, day)),
        pace=Pace(
            crop.emergence.thermal_time_cd,
            max(crop.emergence.sigma_seed, 1e-6),
            crop.emergence.sigma_pace,
        ),
        cell=CellRule(sowing.seeds_per_cell, crop.plants_per_cell[0], lot.seedlings_per_unit),
        hours_h=hours.astype(np.float64),
        progress_cd=gained,
        warm_frac=line.warm_frac[0],
        ready_day=line.ready_day[0],
        overgrown_day=line.overgrown_day[0],
        entries=() if followed is None else followed.entries,
        standing=start,
        n_cells=sowing.n_cells,
        cells_per_tray=container.cells,
        on_time_frac=float(line.on_time_frac[0]),
        light_frac=float(line.light_frac[0]),
        emergence_frac=learned_emergence_frac(crop, EMERGENCE_FRAC, learned),
        survive_frac=survive_frac,
        cull_frac=cull_frac,
    )


def _given(followed: Any) -> dict[str, int]:
    """Add up the plants handed over, by order."""
    given: dict[str, int] = {}
    for each in followed:
        for handed in each.life.handed_over:
            if handed.order:
                given[handed.order] = given.get(handed.order, 0) + handed.plants
    return given


def _handed(followed: Followed | None, order: str) -> int:
    """Return the plants of a sowing that an order has had."""
    if followed is None:
        return 0
    return sum(each.plants for each in followed.life.handed_over if each.order == order)


def _open_orders(
    season: Season,
    plan: Plan,
    planned: Mapping[str, Sowing],
    names: list[str],
    followed: Mapping[str, Followed],
    given: Mapping[str, int],
) -> tuple[OpenOrder, ...]:
    """Return what orders still want, and of which sowings."""
    at = {name: row for row, name in enumerate(names)}
    turn = {
        each.id: (each.wanted_date, season.file_order[each.id]) for each in season.orders.values()
    }
    serving: dict[str, list[Sowing]] = {}
    for sowing in planned.values():
        for each in sowing.orders:
            serving.setdefault(each.order, []).append(sowing)
    found = []
    for row in plan.orders:
        order = season.orders.get(row.order)
        if order is None or order.status == "cancelled":
            continue
        had = season.wanted_cells(order, given.get(order.id, 0)) if given.get(order.id) else 0
        wanted = season.wanted_cells(order)
        if had >= wanted:
            continue
        shares = tuple(
            _share(season, sowing, order, turn, at[sowing.sowing], followed)
            for sowing in serving.get(order.id, ())
        )
        need = OrderNeed(
            tuple(each for each in shares if each.share > 0),
            max(wanted - had, 0),
            max(int(np.ceil(order.min_frac * wanted - 1e-9)) - had, 0),
            season.index(order.earliest_date),
            season.index(order.latest_date),
            order.partial,
        )
        found.append(OpenOrder(order.id, need))
    return tuple(found)


def _share(
    season: Season,
    sowing: Sowing,
    order: Order,
    turn: Mapping[str, tuple[date, int]],
    row: int,
    followed: Mapping[str, Followed],
) -> Share:
    """Return what a sowing still gives an order."""
    own = before = later = 0
    for each in sowing.orders:
        other = season.orders.get(each.order)
        if other is None:
            continue
        left = max(each.plants - _handed(followed.get(sowing.sowing), each.order), 0)
        cells = season.wanted_cells(other, left) if left else 0
        if other.id == order.id:
            own += cells
        elif turn[other.id] < turn[order.id]:
            before += cells
        else:
            later += cells
    return Share(row, before, own, later == 0)
