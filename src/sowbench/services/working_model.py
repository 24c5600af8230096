"""A few sowings of a plan worked out once more, for the pages that show how a number came about.

What a plan says of a sowing depends on its own crop, lot, places and orders alone, so the few rows
it is about are read and recomputed by the checker's functions, however large the season is.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from sowbench.checking.chances import Part, Stands, need_cells, parts_of
from sowbench.checking.hands import Rates, Work, expected_work
from sowbench.checking.season import CheckInputs, Season
from sowbench.checking.stand import Stand, aging_shift
from sowbench.checking.timeline import Timeline, Timelines
from sowbench.domain.plan import OrderPlan, Plan, Sowing, Span, Spread
from sowbench.planning.assemble import quantile_day
from sowbench.science.errors import UnknownNameError
from sowbench.science.risk import Chances, OrderNeed, Share, SowingRisk, season_chances
from sowbench.science.trays import tray_total_pmf
from sowbench.services.kept_results import Kept

if TYPE_CHECKING:
    from datetime import date

    from sowbench.domain.records import Container, Crop, Order, ReadyRule, SeedLot
    from sowbench.services.working_few import Few

_POINTS_FRAC = (0.05, 0.5, 0.95)


_MOST_KEPT = 12


class Recomputed:
    """A few sowings worked out once more; each figure is made when it is first asked for.

    Parameters
    ----------
    few : Few
        What they were made from.
    """

    def __init__(self, few: Few) -> None:
        self.few = few
        head = few.head
        plan = _plan_of(few.sowings, tuple(few.order_plans.values()), head.from_date, few)
        kept = _plan_of(few.kept, (), head.from_date, few) if few.kept else None
        self.season = Season(
            plan,
            CheckInputs(
                house=few.house,
                orders=few.orders,
                lots=few.lots,
                catalog=cast("Any", few.catalog),
                from_date=head.from_date,
                standings=few.standings,
                weather=few.weather,
                kept=kept,
                entries=few.entries,
            ),
        )
        self.lines = Timelines(self.season)
        self._stands = Stands(self.season, self.lines)

    def sowing(self, name: str) -> Sowing:
        """Return a planned sowing.

        Parameters
        ----------
        name : str
            Its name.

        Returns
        -------
        sowing : Sowing
            As planned.
        """
        return self.season.sowings[name]

    def crop(self, sowing: Sowing) -> Crop:
        """Return the crop of a sowing.

        Parameters
        ----------
        sowing : Sowing
            The sowing.

        Returns
        -------
        crop : Crop
            Its crop, with the house's own values.
        """
        return self.few.catalog.crops[sowing.crop]

    def lot(self, sowing: Sowing) -> SeedLot | None:
        """Return the lot of a sowing.

        Parameters
        ----------
        sowing : Sowing
            The sowing.

        Returns
        -------
        lot : SeedLot or None
            Its lot; an assumed one where there is no seed file.
        """
        return self.season.lot(sowing.lot)

    def rule(self, sowing: Sowing) -> ReadyRule | None:
        """Return what ready means for a sowing.

        Parameters
        ----------
        sowing : Sowing
            The sowing.

        Returns
        -------
        rule : ReadyRule or None
            Its ready rule.
        """
        return self.season.rule_of(sowing)

    def container(self, name: str) -> Container:
        """Return a container.

        Parameters
        ----------
        name : str
            Its id.

        Returns
        -------
        container : Container
            The container.
        """
        return self.few.catalog.containers[name]

    def line(self, sowing: Sowing) -> Timeline:
        """Return the days of a sowing.

        Parameters
        ----------
        sowing : Sowing
            The sowing.

        Returns
        -------
        line : Timeline
            Emergence, grown, ready and overgrown at the nodes of weather and pace.

        Raises
        ------
        UnknownNameError
            If its crop, ready rule or places are no longer known.
        """
        found = self.lines.of(sowing)
        if found is None:
            raise UnknownNameError(sowing.sowing, "sowing with a ready rule")
        return found

    def stand(self, sowing: Sowing) -> Stand:
        """Return what decides the usable cells of a sowing.

        Parameters
        ----------
        sowing : Sowing
            The sowing.

        Returns
        -------
        stand : Stand
            With the lot's age on the first day of the plan, as the planner takes it.

        Raises
        ------
        UnknownNameError
            If its lot or container is no longer known.
        """
        found = self._stands.of(sowing)
        if found is None:
            raise UnknownNameError(sowing.sowing, "sowing with a lot")
        lot = self.lot(sowing)
        if lot is None or found.n_counted is not None:
            return found
        shift = aging_shift(lot, self.few.catalog.viability, self.few.head.from_date)
        return replace(found, shift=shift)

    def spread(self, sowing: Sowing) -> Spread:
        """Return five, fifty and ninety-five percent points of the usable cells.

        Parameters
        ----------
        sowing : Sowing
            The sowing.

        Returns
        -------
        spread : Spread
            Usable cells.
        """
        stand = self.stand(sowing)
        usable, weights = stand.usable_at_nodes()
        if stand.n_counted is None:
            pmf = tray_total_pmf(stand.n_cells, stand.cells_per_tray, usable)
        else:
            n = stand.n_counted
            pmf = tray_total_pmf(n, max(1, n), usable, 0.0, 0.0)
        mixed = np.einsum("wkn,w,k->n", pmf, self.season.w_weights, weights)
        total = np.cumsum(mixed)
        return Spread(*(int(np.searchsorted(total, p * total[-1])) for p in _POINTS_FRAC))

    def ready(self, sowing: Sowing) -> Span:
        """Return ten, fifty and ninety percent points of the ready date.

        Parameters
        ----------
        sowing : Sowing
            The sowing.

        Returns
        -------
        span : Span
            Dates.
        """
        days = self.line(sowing).ready_day[0]
        return Span(self._date(days, 0.1), self._date(days, 0.5), self._date(days, 0.9))

    def overgrown(self, sowing: Sowing) -> Span:
        """Return ten and fifty percent points of the day on which it is overgrown.

        Parameters
        ----------
        sowing : Sowing
            The sowing.

        Returns
        -------
        span : Span
            Dates.
        """
        days = self.line(sowing).overgrown_day[0]
        return Span(self._date(days, 0.1), self._date(days, 0.5))

    def _date(self, days: np.ndarray[Any, np.dtype[np.float64]], share: float) -> date:
        """Return the first midnight at or after a quantile of a day."""
        day = quantile_day(days, self.season.z_nodes, self.season.w_weights, share)
        last = self.season.n_days - 1
        return self.season.day(last if not np.isfinite(day) else min(np.ceil(day - 1e-9), last))

    def parts(self, order: Order) -> list[Part]:
        """Return the sowings of an order.

        Parameters
        ----------
        order : Order
            The order.

        Returns
        -------
        parts : list of Part
            Each with its stand, its days, and the cells that go to other orders before.
        """
        found = parts_of(self.season, self.lines, self._stands, order) or []
        return [replace(each, stand=self.stand(each.sowing)) for each in found]

    def chances(self, order: Order, planned: int) -> Chances:
        """Return the chances of an order, exactly.

        Parameters
        ----------
        order : Order
            The order.
        planned : int
            Plants planned for it.

        Returns
        -------
        chances : Chances
            Enough, in time, filled, and what it is expected to lack.
        """
        parts = self.parts(order)
        lots = list(dict.fromkeys(each.stand.lot or each.sowing.sowing for each in parts))
        crops = list(dict.fromkeys(each.sowing.crop for each in parts))
        risks = []
        for each in parts:
            usable, weights = each.stand.usable_at_nodes()
            counted = each.stand.n_counted
            risks.append(
                SowingRisk(
                    lots.index(each.stand.lot or each.sowing.sowing),
                    crops.index(each.sowing.crop),
                    each.stand.n_cells if counted is None else counted,
                    each.stand.cells_per_tray if counted is None else max(1, counted),
                    usable,
                    weights,
                    each.line.ready_day[0],
                    each.line.overgrown_day[0],
                    *(() if counted is None else (0.0, 0.0)),
                )
            )
        shares = []
        for at, each in enumerate(parts):
            own = sum(s.plants for s in each.sowing.orders if s.order == order.id)
            cells = self.season.wanted_cells(order, own)
            rest = sum(
                self.season.wanted_cells(self.season.orders[s.order], s.plants)
                for s in each.sowing.orders
                if s.order in self.season.orders
            )
            shares.append(Share(at, each.before, cells, each.before + cells >= rest))
        enough, _ = need_cells(self.season, order, planned)
        need = OrderNeed(
            tuple(shares),
            sum(each.share for each in shares),
            enough,
            self.season.index(order.earliest_date),
            self.season.index(order.latest_date),
            order.partial,
        )
        return season_chances([need], risks, self.season.w_weights)[0]

    @cached_property
    def rates(self) -> Rates:
        """How fast the crew works."""
        return Rates(self.season)

    @cached_property
    def work(self) -> list[Work]:
        """Every job around these sowings."""
        return expected_work(self.season, self.lines, self._stands, self.rates)


_models: Kept[tuple[object, ...], Recomputed] = Kept(_MOST_KEPT)


def model_of(few: Few) -> Recomputed:
    """Return a few sowings worked out once more, from those kept if nothing has changed.

    Parameters
    ----------
    few : Few
        What they are made from.

    Returns
    -------
    model : Recomputed
        The same for the same plan, house, orders and lots.
    """
    return _models.get(few.key, lambda: Recomputed(few))


def _plan_of(
    sowings: tuple[Sowing, ...], orders: tuple[OrderPlan, ...], from_date: date, few: Few
) -> Plan:
    """Make a plan of a few sowings, without the money of the whole."""
    return Plan(
        from_date=from_date,
        until_date=few.head.until_date,
        cost=0.0,
        cost_parts={},
        bound=0.0,
        gap_frac=0.0,
        gap_without_short_frac=0.0,
        seconds=0.0,
        seed=0,
        assumptions=(),
        orders=orders,
        sowings=sowings,
        unmet=few.unmet,
        tasks=(),
        supplies=(),
        prices=(),
    )
