"""The bound of a plan from its prices: docs/model.md section 9 once more, with all candidates."""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from sowbench.checking.candidates import Evaluator
from sowbench.checking.chances import Stands
from sowbench.checking.costs import given_filling, given_timing
from sowbench.checking.hands import Rates, Work, water_by_day
from sowbench.checking.prices import Tariff, capacity_value, is_given
from sowbench.checking.report import Ledger
from sowbench.checking.routes import Calendar, Climates, Route, routes_of
from sowbench.checking.season import Season
from sowbench.checking.sizing import Offered, Sizer
from sowbench.checking.timeline import Timelines
from sowbench.checking.timing import LATE_MOST_D
from sowbench.checking.ways import ContainerPath, admissible_lots, container_paths
from sowbench.domain.records import Order, ReadyRule

GROUP_MOST: Final = 4
GROUP_WITHIN_D: Final = 7
BOUND_SLIP_FRAC: Final = 0.001
ROUGH_FRAC: Final = 0.02
"""How far the rough reduced cost may be off."""
N_EXACT: Final = 6
"""So many candidates of a group, the roughly cheapest, are sized exactly."""


@dataclass(frozen=True, slots=True)
class Group:
    """Orders that follow each other and may share a sowing, in their turn."""

    orders: tuple[Order, ...]
    plants: tuple[int, ...]


def groups_of(season: Season, demand: Mapping[str, int]) -> list[Group]:
    """Return single orders, and runs of up to four that may share a sowing."""
    kinds: dict[tuple[object, ...], list[Order]] = defaultdict(list)
    for order in season.orders.values():
        if demand[order.id] > 0 and order.crop in season.catalog.crops:
            lots = tuple(sorted(each.id for each in admissible_lots(season, order)))
            key = (order.crop, order.system, order.handover, order.organic, lots)
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
        self.stands = stands
        self.rates = rates
        self.tariff = Tariff(season, rates, ledger)
        self.tariff.scale_changes()
        self.calendar = Calendar(season)
        self.climates = Climates(season)
        self.demand = demand_left(season)
        self.cover: dict[str, float] = {}
        self.n_candidates = self.n_exact = 0
        self.sizer = Sizer(season, stands.constants)
        self.evaluator = Evaluator(season, self.tariff, rates, self.calendar, self.sizer)

    def run(self, work: list[Work]) -> float:
        """Return the bound at the plan's prices."""
        season = self.season
        for order in season.orders.values():
            most = season.house.prices.short_plant * self.demand[order.id]
            self.cover[order.id] = min(self.tariff.order.get(order.id, most), most)
        groups = groups_of(season, self.demand)
        crops: dict[str, list[Group]] = defaultdict(list)
        for group in groups:
            crops[group.orders[0].crop].append(group)
        for members in crops.values():
            self._lower(members)
        value = sum(self.cover.values())
        value -= capacity_value(season, self.tariff, work, self.rates)
        return value + self._given_cost(work)

    def _lower(self, groups: list[Group]) -> None:
        """Lower the cover of a crop's groups to their cheapest candidates, small groups first."""
        season = self.season
        crop = season.catalog.crops[groups[0].orders[0].crop]
        by_path: dict[tuple[str, str], list[Group]] = defaultdict(list)
        by_rule: dict[ReadyRule, dict[tuple[str, str], ContainerPath]] = defaultdict(dict)
        for group in groups:
            for path in _paths(season, group):
                key = (path.first.id, path.last.id)
                by_path[key].append(group)
                by_rule[path.rule][key] = path
        latest = max(
            season.index(each.latest_date) + LATE_MOST_D for g in groups for each in g.orders
        )
        ways = [
            (path, by_path[key], route)
            for rule, paths in by_rule.items()
            for route in routes_of(season, self.lines.pace, self.calendar, crop, rule, latest)
            for key, path in paths.items()
        ]
        self.sizer.forget()
        for n in sorted({len(each.orders) for each in groups}):
            near: dict[int, list[tuple[float, int, Offered]]] = defaultdict(list)
            for path, members, route in ways:
                for group in members:
                    if len(group.orders) == n:
                        near[id(group)] += self._near(group, path, route)
            for group in groups:
                self._lower_one(group, near.get(id(group), []))

    def _near(
        self, group: Group, path: ContainerPath, route: Route
    ) -> list[tuple[float, int, Offered]]:
        """Candidates of a group on a route that may be cheaper than its cover, roughly priced."""
        target = sum(self.cover[each.id] for each in group.orders)
        found = []
        for offered in self.offers(group, path, route):
            self.n_candidates += offered.rows.size
            days, money = self.evaluator.rough(offered, target * (1 + ROUGH_FRAC))
            found += [
                (float(each), int(day), offered)
                for day, each in zip(days, money, strict=True)
                if each * (1 - ROUGH_FRAC) < target
            ]
        return heapq.nsmallest(N_EXACT, found, key=lambda each: each[0])

    def _lower_one(self, group: Group, near: list[tuple[float, int, Offered]]) -> None:
        """Lower the cover of one group to its cheapest candidate, the likeliest tried first."""
        target = cheapest = sum(self.cover[each.id] for each in group.orders)
        for _, day, offered in sorted(near, key=lambda each: each[0])[:N_EXACT]:
            self.n_exact += 1
            cheapest = min(cheapest, self.evaluator.exact(offered, day))
        excess = target - cheapest
        for order in reversed(group.orders):
            cut = min(excess, max(self.cover[order.id], 0.0))
            self.cover[order.id] -= cut
            excess -= cut
        self.cover[group.orders[0].id] -= excess

    def routes(self, group: Group, path: ContainerPath) -> Iterator[Route]:
        """Give the routes of a group in a container."""
        latest = max(self.season.index(each.latest_date) + LATE_MOST_D for each in group.orders)
        crop = self.season.catalog.crops[group.orders[0].crop]
        pace = self.lines.pace
        return routes_of(self.season, pace, self.calendar, crop, path.rule, latest)

    def offers(self, group: Group, path: ContainerPath, route: Route) -> Iterator[Offered]:
        """Give the days on which a group can be sown on a route, by lot and seeds per cell."""
        return self.evaluator.offers(group.orders, group.plants, path, route, self.climates)

    def _given_cost(self, work: list[Work]) -> float:
        """Money for what stands already: its room, its work and what it falls short."""
        season = self.season
        money = self.evaluator.given_room()
        rate = season.house.crew.rate_per_hour / 60.0
        minutes = sum(each.minutes for each in work if is_given(season, each.sowing))
        money += (minutes + float(water_by_day(season, self.rates, given_only=True).sum())) * rate
        money += given_filling(season)
        return money + given_timing(season, self.lines)


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
