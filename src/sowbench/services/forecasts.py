"""The forecast of the house: open sowings, open orders, and what moved since yesterday."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from sowbench.forecasting import explain_movement, forecast_sowings
from sowbench.services.forecast_inputs import ForecastSet, forecast_set
from sowbench.services.kept_results import Kept

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from sowbench.domain.plan import OrderPlan, Plan
    from sowbench.domain.ports import Unit
    from sowbench.domain.records import Order
    from sowbench.forecasting import Forecasts, Movement, OrderForecast, SowingForecast

ACT_BELOW_FRAC: Final = 0.25
"""An order whose chance of enough has fallen so far below what was wanted asks for something to be
done (assumption)."""

WATCH_BELOW_FRAC: Final = 0.08
"""One that has fallen so far is to be watched (assumption)."""

_MOST_KEPT: Final = 6


class State(StrEnum):
    """How a sowing or an order stands against what was planned."""

    AS_PLANNED = "as_planned"
    WATCH = "watch"
    ACT = "act"


@dataclass(frozen=True, slots=True, eq=False)
class HouseForecast:
    """What is to be expected of the house.

    Attributes
    ----------
    gathered : ForecastSet
        What it was made from.
    found : Forecasts
        All of it, with the working.
    sowings : dict of str to SowingForecast
        By sowing.
    orders : dict of str to OrderForecast
        By order.
    moved : dict of str to Movement
        Sowings of which something was entered since yesterday.
    plans : dict of str to OrderPlan
        What the plan says of each order.
    n_serving : dict of str to int
        Sowings that still serve each open order.
    """

    gathered: ForecastSet
    found: Forecasts
    sowings: dict[str, SowingForecast]
    orders: dict[str, OrderForecast]
    moved: dict[str, Movement]
    plans: dict[str, OrderPlan]
    n_serving: dict[str, int]

    def wanted(self, order: str) -> float:
        """Return the confidence that an order was given.

        Parameters
        ----------
        order : str
            Its name.

        Returns
        -------
        confidence_frac : float
            Its own, or that of the house.
        """
        own = self.gathered.order(order).confidence_frac
        return self.gathered.season.house.confidence_frac if own is None else own

    def state_of_order(self, order: str) -> State:
        """Say how an order stands.

        Parameters
        ----------
        order : str
            Its name.

        Returns
        -------
        state : State
            By its chance of enough plants against the lesser of its confidence and its plan's
            chance, and by its chance to be filled in time against the plan's: what was accepted
            with the plan is no news.
        """
        plan = self.plans.get(order)
        told = self.orders[order]
        wanted = self.wanted(order)
        if plan is None:
            lacking = wanted - told.chance_enough_frac
        else:
            lacking = max(
                min(wanted, plan.chance_enough_frac) - told.chance_enough_frac,
                plan.chance_filled_frac - told.chance_filled_frac,
            )
        if lacking >= ACT_BELOW_FRAC:
            return State.ACT
        return State.WATCH if lacking >= WATCH_BELOW_FRAC else State.AS_PLANNED

    def state(self, sowing: str) -> State:
        """Say how a sowing stands.

        Parameters
        ----------
        sowing : str
            Its name.

        Returns
        -------
        state : State
            The worst of its orders.
        """
        states = [
            self.state_of_order(each.order)
            for each in self.gathered.planned[sowing].orders
            if each.order in self.orders
        ]
        for worst in (State.ACT, State.WATCH):
            if worst in states:
                return worst
        return State.AS_PLANNED


_forecasts: Kept[tuple[object, ...], HouseForecast] = Kept(_MOST_KEPT)


def house_forecast(unit: Unit, today: date) -> HouseForecast:
    """Forecast the house by its current plan.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    today : date
        The day in the house.

    Returns
    -------
    forecast : HouseForecast
        Kept as long as nothing changes.

    Raises
    ------
    UnknownNameError
        If the book has no plan.
    """
    gathered = forecast_set(unit, today)
    return _forecasts.get(gathered.key, lambda: forecast_of(gathered))


def forecast_with(
    unit: Unit, today: date, plan: Plan, changed: Sequence[Order] = ()
) -> HouseForecast:
    """Forecast the house by another plan than the current one.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    today : date
        The day in the house.
    plan : Plan
        The plan, as with an offer taken.
    changed : sequence of Order, default ()
        Orders that would be others with it.

    Returns
    -------
    forecast : HouseForecast
        Without what moved.
    """
    return forecast_of(forecast_set(unit, today, plan, changed), moved=False)


def forecast_of(gathered: ForecastSet, *, moved: bool = True) -> HouseForecast:
    """Forecast what was gathered.

    Parameters
    ----------
    gathered : ForecastSet
        Sowings and orders.
    moved : bool, default True
        Whether to tell what moved since yesterday.

    Returns
    -------
    forecast : HouseForecast
        The forecast.
    """
    found = forecast_sowings(gathered.sowings, gathered.orders)
    since = gathered.today - timedelta(days=1)
    movements: dict[str, Movement] = {}
    if moved:
        for each in explain_movement(gathered.sowings, gathered.orders, since):
            movements[each.sowing] = each
    return HouseForecast(
        gathered,
        found,
        {each.sowing: each for each in found.sowings},
        {each.order: each for each in found.orders},
        movements,
        {each.order: each for each in gathered.plan.orders},
        {each.order: len(each.need.shares) for each in gathered.orders},
    )
