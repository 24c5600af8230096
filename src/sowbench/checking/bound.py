"""The bound of a plan from its prices: docs/model.md section 9 once more, with all candidates."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.candidates import GROUP_MOST, Enumerator, Group, Offers
from sowbench.checking.chances import Stands
from sowbench.checking.costs import given_filling, given_timing
from sowbench.checking.hands import Rates, Work, water_by_day
from sowbench.checking.prices import Tariff, capacity_value, is_given
from sowbench.checking.pricing import Pricer
from sowbench.checking.report import Ledger
from sowbench.checking.rooms import stays, step_area
from sowbench.checking.routes import Calendar, Routes, routes_of
from sowbench.checking.season import Season
from sowbench.checking.sizing import Sized, Sizer
from sowbench.checking.timeline import Timelines
from sowbench.checking.timing import LATE_MOST_D
from sowbench.checking.ways import ContainerPath, admissible_lots, container_paths
from sowbench.domain.records import Order, ReadyRule

Floats = NDArray[np.float64]

GROUP_WITHIN_D: Final = 7
BOUND_SLIP_FRAC: Final = 0.001
_CHUNK: Final = 100_000


def groups_of(season: Season, demand: Mapping[str, int]) -> list[Group]:
    """Return single orders, and runs of up to four that may share a sowing."""
    kinds: dict[tuple[object, ...], list[Order]] = defaultdict(list)
    for order in season.orders.values():
        if demand[order.id] > 0 and order.crop in season.catalog.crops:
            lots = tuple(sorted(each.id for each in admissible_lots(season, order)))
            key = (
                order.crop, order.system, order.handover, order.organic, order.containers,
                order.unit, lots,
            )  # fmt: skip
            kinds[key].append(order)
    groups = []
    pinned = {each.target for each in season.pins}
    for members in kinds.values():
        members.sort(key=lambda each: (each.wanted_date, season.file_order[each.id]))
        for at, first in enumerate(members):
            for n in range(1, GROUP_MOST + 1):
                run = members[at : at + n]
                if len(run) < n or (run[-1].wanted_date - first.wanted_date).days > GROUP_WITHIN_D:
                    break
                if n > 1 and pinned.intersection(each.id for each in run):
                    break
                groups.append(Group(tuple(run), tuple(demand[each.id] for each in run)))
    return groups


def demand_left(season: Season) -> dict[str, int]:
    """Return the plants of each order that what stands does not serve in the plan."""
    demand = {each.id: each.plants for each in season.orders.values()}
    for sowing in season.plan.sowings:
        if is_given(season, sowing.sowing):
            for share in sowing.orders:
                if share.order in demand:
                    demand[share.order] -= share.plants
    return {name: max(plants, 0) for name, plants in demand.items()}


class BoundCheck:
    """Recomputes the bound: cover prices of the orders, lowered where a candidate is cheaper."""

    def __init__(
        self, season: Season, lines: Timelines, stands: Stands, rates: Rates, ledger: Ledger
    ) -> None:
        self.season = season
        self.lines = lines
        self.rates = rates
        self.tariff = Tariff(season, rates, ledger)
        self.tariff.scale_changes()
        self.calendar = Calendar(season)
        self.demand = demand_left(season)
        self.cover: dict[str, float] = {}
        self.n_candidates = 0
        self.enumerator = Enumerator(season)
        self.sizer = Sizer(season, stands.constants)
        self.pricer = Pricer(season, self.tariff, rates, self.calendar)

    def run(self, work: list[Work]) -> float:
        """Return the bound at the plan's prices."""
        season = self.season
        for order in season.orders.values():
            most = season.house.prices.short_plant * self.demand[order.id]
            self.cover[order.id] = min(self.tariff.order.get(order.id, most), most)
        crops: dict[str, list[Group]] = defaultdict(list)
        for group in groups_of(season, self.demand):
            crops[group.orders[0].crop].append(group)
        for members in crops.values():
            self._lower(members)
        value = sum(self.cover.values())
        value -= capacity_value(season, self.tariff, work, self.rates)
        return value + self._given_cost(work)

    def _lower(self, groups: list[Group]) -> None:
        """Lower the cover of a crop's groups to their cheapest candidates, small groups first."""
        cheapest = np.full(len(groups), np.inf)
        for offers, numbers in self.offers(groups):
            self.n_candidates += offers.group.size
            # What costs more than its orders are worth lowers nothing.
            worth = np.array([sum(self.cover[o.id] for o in groups[g].orders) for g in numbers])
            for start in range(0, offers.group.size, _CHUNK):
                rows = np.arange(start, min(start + _CHUNK, offers.group.size))
                money = self.reduced(offers.take(rows), worth)
                np.minimum.at(cheapest, numbers[offers.group[rows]], money)
        for g in sorted(range(len(groups)), key=lambda each: len(groups[each].orders)):
            self._lower_one(groups[g].orders, float(cheapest[g]))

    def offers(self, groups: list[Group]) -> list[tuple[Offers, NDArray[np.int64]]]:
        """Give the candidates of a crop's groups rule by rule, with the numbers of the groups."""
        season = self.season
        crop = season.catalog.crops[groups[0].orders[0].crop]
        latest = max(
            season.index(each.latest_date) + LATE_MOST_D for g in groups for each in g.orders
        )
        by_rule: dict[ReadyRule, dict[int, list[ContainerPath]]] = defaultdict(dict)
        for at, group in enumerate(groups):
            for path in _paths(season, group):
                by_rule[path.rule].setdefault(at, []).append(path)
        found = []
        for rule, own in by_rule.items():
            routes = self.routes(crop.id, rule, latest)
            if routes is None:
                continue
            members = [groups[at] for at in own]
            offers = self.enumerator.offers(members, list(own.values()), routes)
            if offers is not None:
                found.append((offers, np.array(list(own), dtype=np.int64)))
        return found

    def routes(self, crop: str, rule: ReadyRule, latest: int) -> Routes | None:
        """Lay out the routes of a crop under a rule."""
        record = self.season.catalog.crops[crop]
        return routes_of(self.season, self.lines.pace, self.calendar, record, rule, latest)

    def reduced(self, offers: Offers, worth: Floats) -> Floats:
        """Reduced cost of candidates; infinite above what their group is worth."""
        few, paying = self.sizer.size(offers)
        late = self.enumerator.late_money(offers)
        money = np.minimum(
            self._with_cells(offers, few, late), self._with_cells(offers, paying, late)
        )
        near = np.flatnonzero(money < worth[offers.group])
        out = np.full(money.size, np.inf)
        if near.size:
            out[near] = money[near] + self.enumerator.overgrown_money(offers.take(near))
        return out

    def _with_cells(self, offers: Offers, sized: Sized, late: Floats) -> Floats:
        """Reduced cost of so many cells, overgrown plants left out."""
        prices = self.season.house.prices
        money = self.pricer.reduced(offers, sized) + late
        per_cell = offers.per_cell[offers.group]
        money += per_cell * (
            prices.short_plant * sized.short - prices.surplus_plant * sized.surplus
        )
        return np.where(sized.cells > 0, money, np.inf)

    def _lower_one(self, orders: tuple[Order, ...], cheapest: float) -> None:
        """Lower the cover of one group to its cheapest candidate."""
        excess = max(sum(self.cover[each.id] for each in orders) - cheapest, 0.0)
        for order in reversed(orders):
            cut = min(excess, max(self.cover[order.id], 0.0))
            self.cover[order.id] -= cut
            excess -= cut
        self.cover[orders[0].id] -= excess

    def _given_cost(self, work: list[Work]) -> float:
        """Money for what stands already: its room, its work and what it falls short."""
        season = self.season
        money = self._given_room()
        rate = season.house.crew.rate_per_hour / 60.0
        minutes = sum(each.minutes for each in work if is_given(season, each.sowing))
        money += (minutes + float(water_by_day(season, self.rates, given_only=True).sum())) * rate
        money += given_filling(season)
        return money + given_timing(season, self.lines)

    def _given_room(self) -> float:
        """Money for the room of what stands already."""
        money = 0.0
        first = self.season.inputs.from_date
        for sowing, step, container, units in stays(self.season):
            place = self.season.places.get(step.place)
            if place is not None and self.season.is_given(sowing):
                days = max((step.to_date - max(step.from_date, first)).days, 0)
                area = units * container.area_m2
                if place.n_positions is None:
                    area = step_area(step, container, units)
                money += area * days * place.price_per_m2_day
        return money


def _paths(season: Season, group: Group) -> list[ContainerPath]:
    """Return the container paths that every order of a group accepts."""
    common = container_paths(season, group.orders[0])
    for order in group.orders[1:]:
        others = {(each.first.id, each.last.id) for each in container_paths(season, order)}
        common = [each for each in common if (each.first.id, each.last.id) in others]
    return common


def check_bound(
    season: Season, lines: Timelines, stands: Stands, rates: Rates, work: list[Work],
    ledger: Ledger,
) -> None:  # fmt: skip
    """Recompute the bound and compare: the plan's may not lie above it."""
    if not season.plan.prices:
        ledger.notes.append("the bound is not recomputed: the plan carries no prices")
        return
    check = BoundCheck(season, lines, stands, rates, ledger)
    value = check.run(work)
    ledger.figures["bound"] = value
    ledger.figures["bound of the plan"] = season.plan.bound
    ledger.figures["candidates tried for the bound"] = float(check.n_candidates)
    ledger.require(
        season.plan.bound <= value + BOUND_SLIP_FRAC * abs(value) + 0.01, "bound", "plan",
        "The prices prove less than the plan states.", f"at most {value:.2f}", season.plan.bound,
    )  # fmt: skip
