"""Ways to resow what may fall short, what is at stake, and which counts can change the decision."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.stand import stand_of
from sowbench.checking.timeline import Course, Pace, course_of, timeline
from sowbench.forecasting.resow import advise_resowing, cells_to_resow, sizes_of
from sowbench.forecasting.resow_records import ResowAdvice, Resowing, Stakes
from sowbench.forecasting.sampling import CountAsked, counts_worth_making
from sowbench.forecasting.supply import supply_parts
from sowbench.services.kept_results import Kept

if TYPE_CHECKING:
    from sowbench.checking.season import Season
    from sowbench.domain.plan import Sowing
    from sowbench.domain.records import Order, SeedLot
    from sowbench.services.forecasts import HouseForecast

Ints = NDArray[np.int64]

# What setting up for one more sowing takes, beside its cells [min] (assumption).
RESOW_MINUTES: Final = 20.0
# One looks at open sowings again after so many days (assumption).
NEXT_LOOK_D: Final = 3
_SOW_HOUR: Final = 12
_DAYS_MOST: Final = 120
_LOTS_MOST: Final = 3
# Parts of the money of a plan that grow with its cells.
_BY_CELL: Final = ("seed", "container", "mix", "labor", "room")
_AGAIN: Final = "once more"


@dataclass(frozen=True, slots=True, eq=False)
class Resowings:
    """What could be resown, what that is worth, and what to count first.

    Attributes
    ----------
    advice : dict of str to ResowAdvice
        For each order and sowing, by "ORDER|SOWING".
    ways : dict of str to tuple of Resowing
        Ways to resow, by order.
    asked : tuple of CountAsked
        Counts that can change a decision today, most worth a minute first.
    stakes : Stakes
        Money that was taken.
    """

    advice: dict[str, ResowAdvice]
    ways: dict[str, tuple[Resowing, ...]]
    asked: tuple[CountAsked, ...]
    stakes: Stakes

    def of(self, order: str, sowing: str) -> ResowAdvice | None:
        """Return the advice on an order and one of its sowings.

        Parameters
        ----------
        order, sowing : str
            Their names.

        Returns
        -------
        advice : ResowAdvice or None
            None where the order needs nothing of it any more.
        """
        return self.advice.get(f"{order}|{sowing}")


_kept: Kept[tuple[object, ...], Resowings] = Kept(6)


def resowings(forecast: HouseForecast, lots: Sequence[SeedLot]) -> Resowings:
    """Find what could be resown for open orders.

    Parameters
    ----------
    forecast : HouseForecast
        The forecast of the house.
    lots : sequence of SeedLot
        Lots of the house with what is left of each.

    Returns
    -------
    found : Resowings
        Kept as long as the forecast is.
    """
    return _kept.get(forecast.gathered.key, lambda: _found(forecast, lots))


def stakes_of(forecast: HouseForecast) -> Stakes:
    """Return the money that a decision to resow is about.

    Parameters
    ----------
    forecast : HouseForecast
        The forecast.

    Returns
    -------
    stakes : Stakes
        A plant short by the house's price; a cell by the mean of the plan's money for seed,
        containers, mix, labor and room over all its cells.
    """
    plan, house = forecast.gathered.plan, forecast.gathered.season.house
    cells = sum(each.n_cells for each in plan.sowings)
    money = sum(max(plan.cost_parts.get(each, 0.0), 0.0) for each in _BY_CELL)
    minute = house.crew.rate_per_hour / 60.0
    return Stakes(
        missed_order=0.0,
        short_plant=house.prices.short_plant,
        resow=RESOW_MINUTES * minute,
        resow_cell=money / cells if cells else 0.0,
        minute=minute,
    )


def _found(forecast: HouseForecast, lots: Sequence[SeedLot]) -> Resowings:
    """Find ways, advice and counts."""
    gathered = forecast.gathered
    season, stakes = gathered.season, stakes_of(forecast)
    today = season.index(gathered.today)
    batch = forecast.found.batch
    # Only orders with a sowing that is begun: what is still to be sown can be planned otherwise.
    orders = [
        each
        for each in gathered.orders
        if any(gathered.sowings[share.sowing].entries for share in each.need.shares)
    ]
    if batch is None or not orders:
        return Resowings({}, {}, (), stakes)
    pace = Pace(season)
    ways = [
        _ways(season, pace, forecast, gathered.order(each.order), lots, each.need.latest_day, today)
        for each in orders
    ]
    second = [own[0].days_from(today) if own else None for own in ways]
    sow_day = [season.index(each.sow_date) for each in gathered.sowings]
    parts = supply_parts(batch, orders, today, second, sow_day)
    goal = [forecast.wanted(each.order) for each in orders]
    latest = [each.need.latest_day for each in orders]
    advice = advise_resowing(parts, ways, latest, goal, today, today + NEXT_LOOK_D, stakes)
    first = [ways[at][0] if ways[at] else None for at in parts.order.tolist()]
    own = np.array([goal[at] for at in parts.order.tolist()])
    n_cells, _ = cells_to_resow(parts, first, own)
    sizes = sizes_of(parts, first, n_cells, stakes)
    names = gathered.names
    asked = [
        each
        for each in counts_worth_making(batch, parts, sizes, stakes)
        if _can_be_counted(forecast, names[each.row])
    ]
    return Resowings(
        {f"{orders[each.order].order}|{names[each.row]}": each for each in advice},
        {each.order: tuple(own_ways) for each, own_ways in zip(orders, ways, strict=True)},
        tuple(asked),
        stakes,
    )


def _can_be_counted(forecast: HouseForecast, sowing: str) -> bool:
    """Tell whether there are trays of a sowing to look at."""
    followed = forecast.gathered.followed.get(sowing)
    return followed is not None and followed.life.sown_date is not None


def _ways(
    season: Season,
    pace: Pace,
    forecast: HouseForecast,
    order: Order,
    lots: Sequence[SeedLot],
    latest_day: int,
    today: int,
) -> tuple[Resowing, ...]:
    """Return ways to resow for an order: as its sowing, from any lot that may serve."""
    gathered = forecast.gathered
    model = next(
        (
            each
            for each in gathered.planned.values()
            if each.crop == order.crop and any(s.order == order.id for s in each.orders)
        ),
        None,
    )
    if model is None:
        return ()
    days = _sow_days(season, today, latest_day)
    again = replace(model, sowing=_AGAIN, standing=False)
    course = course_of(season, again)
    rule = season.rule_of(again)
    crop = season.catalog.crops[model.crop]
    if course is None or rule is None or days.size == 0:
        return ()
    short = Course(course.germinate, ((course.grow[0][0], 0),), course.tone, hold=False)
    line = timeline(season, pace, crop, rule, short, days.astype(np.float64) * 24.0 + _SOW_HOUR)
    good = line.exit_ok
    if not good.any():
        return ()
    found = []
    for lot in _lots(order, model, lots, season.day(today)):
        stand = stand_of(
            season,
            replace(again, lot=lot.id),
            crop,
            line,
            getattr(season.catalog, "viability", {}),
        )
        if stand is None or not stand.lot:
            continue
        usable, weights = stand.usable_at_nodes()
        mean = float(season.w_weights @ usable @ weights)
        spread = float(season.w_weights @ (usable - mean) ** 2 @ weights)
        most = (lot.n_seeds or 0) // max(model.seeds_per_cell, 1)
        if mean <= 0.0 or most <= 0:
            continue
        found.append(
            Resowing(
                lot.id,
                days[good],
                np.maximum.accumulate(line.ready_day[good], axis=-1),
                np.maximum.accumulate(line.overgrown_day[good], axis=-1),
                mean,
                spread**0.5,
                stand.cells_per_tray,
                most,
            )
        )
    return tuple(sorted(found, key=lambda each: -each.usable_frac)[:_LOTS_MOST])


def _sow_days(season: Season, today: int, latest_day: int) -> Ints:
    """Return the sowing days from today up to the last day that serves."""
    last = min(latest_day, today + _DAYS_MOST)
    return np.array(
        [each for each in range(today, last) if season.can_sow_on(season.day(each))],
        dtype=np.int64,
    )


def _lots(order: Order, model: Sowing, lots: Sequence[SeedLot], today: date) -> list[SeedLot]:
    """Return lots that may serve an order; the one that may have failed comes last."""
    varieties = {order.variety, *order.substitutes} if order.variety else set()
    fit = [
        each
        for each in lots
        if each.crop == order.crop
        and (not varieties or each.variety in varieties)
        and (each.arrives_on is None or each.arrives_on <= today + timedelta(days=NEXT_LOOK_D))
        and (not order.organic or each.organic)
    ]
    return sorted(fit, key=lambda each: each.id == model.lot)
