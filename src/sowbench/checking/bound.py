"""The bound of a plan from its prices: docs/model.md section 9 once more, with all candidates."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.candidates import GROUP_MOST, Enumerator, Group, Offers
from sowbench.checking.chances import Stands, plants_per_cell
from sowbench.checking.costs import given_filling, given_timing
from sowbench.checking.hands import Rates, Work, water_by_day
from sowbench.checking.prices import Tariff, capacity_value, is_given
from sowbench.checking.pricing import Pricer
from sowbench.checking.report import Ledger
from sowbench.checking.rooms import stays, step_area
from sowbench.checking.routes import Calendar, Routes, routes_of
from sowbench.checking.season import Season
from sowbench.checking.sizing import LACK_AT, Sized, Sizer
from sowbench.checking.slim import Courses, splits, units_of
from sowbench.checking.stand import N_LOT, TRAY_LOSS_FRAC
from sowbench.checking.timeline import Timelines
from sowbench.checking.timing import LATE_MOST_D
from sowbench.checking.ways import ContainerPath, admissible_lots, container_paths
from sowbench.domain.plan import Sowing
from sowbench.domain.records import Order, ReadyRule, SeedLot

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

GROUP_WITHIN_D: Final = 7
BOUND_SLIP_FRAC: Final = 0.003
"""Here more candidates may share a tray, also with such as cost more than their orders bring."""
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


@dataclass(frozen=True, slots=True, eq=False)
class LaidOut:
    """Candidates of a crop under a rule with the numbers of their groups, cells and courses."""

    offers: Offers
    numbers: NDArray[np.int64]
    sizes: tuple[Sized, Sized]
    keys: tuple[NDArray[np.int64], NDArray[np.int64]]


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
        self.standing_lack = 0.0
        self.stands = stands
        self.enumerator = Enumerator(season)
        self.sizer = Sizer(season, stands.constants)
        self.pricer = Pricer(season, self.tariff, rates, self.calendar)
        self.courses = Courses(season)

    def run(self, work: list[Work]) -> float:
        """Return the bound at the plan's prices."""
        season = self.season
        for order in season.orders.values():
            most = season.house.prices.short_plant * self.demand[order.id]
            self.cover[order.id] = min(self.tariff.order.get(order.id, most), most)
        crops: dict[str, list[Group]] = defaultdict(list)
        for group in groups_of(season, self.demand):
            crops[group.orders[0].crop].append(group)
        made = [(members, self._laid_out(members)) for members in crops.values()]
        for members, offers in made:
            self._lower(members, offers)
        value = sum(self.cover.values())
        value -= capacity_value(season, self.tariff, work, self.rates)
        return value + self.standing_lack + self._given_cost(work)

    def _laid_out(self, groups: list[Group]) -> list[LaidOut]:
        """Size a crop's candidates, and take down which could share a tray."""
        out = []
        for offers, numbers in self.offers(groups):
            self.n_candidates += offers.group.size
            sizes = self.sizer.size(offers)
            keys = self.courses.keys(offers, sizes)
            self.courses.note(offers, keys)
            out.append(LaidOut(offers, numbers, sizes, keys))
        return out

    def _lower(self, groups: list[Group], laid: list[LaidOut]) -> None:
        """Lower the cover of a crop's groups to their cheapest candidates, small groups first."""
        cheapest = np.full((len(groups), len(LACK_AT)), np.inf)
        for each in laid:
            # What costs more than its orders are worth lowers nothing.
            worth = np.array(
                [sum(self.cover[o.id] for o in groups[g].orders) for g in each.numbers]
            )
            shared = self.courses.shared(each.offers, each.keys)
            for start in range(0, each.offers.group.size, _CHUNK):
                rows = np.arange(start, min(start + _CHUNK, each.offers.group.size))
                sizes = [sized.take(rows) for sized in each.sizes]
                money = self.reduced(each.offers.take(rows), sizes, shared[rows], worth)
                np.minimum.at(cheapest, each.numbers[each.offers.group[rows]], money)
        for g in sorted(range(len(groups)), key=lambda each: len(groups[each].orders)):
            orders = groups[g].orders
            lack = self._standing_lack(orders[0])
            best = int(np.argmax(np.where(np.isfinite(cheapest[g]), cheapest[g] + lack, lack)))
            if len(orders) == 1:
                self.standing_lack += float(lack[best])
            self._lower_one(orders, float(cheapest[g, best]))

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

    def reduced(
        self, offers: Offers, sizes: Sequence[Sized], shared: Flags, worth: Floats
    ) -> Floats:
        """Reduced cost of candidates, infinite above what their group is worth, shape (N, 5).

        One column for each choice of nodes at which the parts of an order lack.
        """
        late = self.enumerator.late_money(offers)[:, None]
        money = np.minimum.reduce([self._with_cells(offers, each, shared) for each in sizes]) + late
        near = np.flatnonzero(money.min(axis=1) < worth[offers.group])
        out = np.full(money.shape, np.inf)
        if near.size:
            over = self.enumerator.overgrown_money(offers.take(near))
            out[near] = money[near] + over[:, None]
        return out

    def _with_cells(self, offers: Offers, sized: Sized, shared: Flags) -> Floats:
        """Reduced cost of so many cells, late and overgrown plants left out, shape (N, 5)."""
        split = splits(self.season, offers, sized)
        money = self.pricer.reduced(offers, sized, units_of(offers, sized, split, shared))
        crew = self.season.house.crew
        setup = crew.setup_minutes / 60.0 * crew.rate_per_hour
        first = offers.orders[offers.group, 0]
        n_lots = np.array([len(admissible_lots(self.season, each)) for each in offers.members])
        one_lot = (n_lots[first] == 1)[:, None]
        none = np.where(one_lot, sized.none, sized.none[:, :1])
        least = sized.least[:, None]
        pays = np.where(split[:, None], np.minimum(least, none + setup), least)
        helped = np.array([self.demand[o.id] < o.plants for o in offers.members], dtype=bool)
        member = offers.orders[offers.group]
        stands = ((member >= 0) & helped[member]).any(axis=1)[:, None]
        alone = (member[:, 1] < 0)[:, None]
        pays = np.where(stands, np.where(alone, none, none[:, :1]), pays)
        return np.where(sized.cells[:, None] > 0, money[:, None] + pays, np.inf)

    def _lower_one(self, orders: tuple[Order, ...], cheapest: float) -> None:
        """Lower the cover of one group to its cheapest candidate."""
        excess = max(sum(self.cover[each.id] for each in orders) - cheapest, 0.0)
        for order in reversed(orders):
            cut = min(excess, max(self.cover[order.id], 0.0))
            self.cover[order.id] -= cut
            excess -= cut
        self.cover[orders[0].id] -= excess

    def _standing_lack(self, order: Order) -> Floats:
        """Money for what standing sowings of an order lack on average, at the nodes of its lot."""
        season, out = self.season, np.zeros(len(LACK_AT))
        if self.demand[order.id] >= order.plants:
            return out
        lots = admissible_lots(season, order)
        usable = np.zeros(N_LOT)
        for sowing in season.plan.sowings:
            names = [each.order for each in sowing.orders]
            if season.is_given(sowing) and order.id in names:
                most = np.inf
                if names[-1] != order.id:
                    own = sum(e.plants for e in sowing.orders if e.order == order.id)
                    most = season.wanted_cells(order, own)
                usable += np.minimum(self._standing_usable(sowing, lots), most)
        cells = season.wanted_cells(order)
        left = self.demand[order.id]
        covered = cells - (season.wanted_cells(order, left) if left else 0)
        prices = season.house.prices
        worth = max(prices.short_plant - prices.surplus_plant, 0.0) * plants_per_cell(season, order)
        for k, nodes in enumerate(LACK_AT):
            if nodes and len(lots) == 1:
                weight = self.sizer.nodes(lots[0])[1][:nodes]
                out[k] = worth * float(weight @ (covered - usable[:nodes]))
            elif nodes:
                out[k] = -np.inf
        return out

    def _standing_usable(self, sowing: Sowing, lots: Sequence[SeedLot]) -> Floats:
        """Cells of a standing sowing that are usable on average, at the nodes of an order's lot."""
        stand = self.stands.of(sowing)
        if stand is None:
            return np.full(N_LOT, np.inf)
        shares, weight = stand.usable_at_nodes()
        n = stand.n_cells * (1 - TRAY_LOSS_FRAC)
        if stand.n_counted is not None:
            n = stand.n_counted
        at_nodes = n * (self.season.w_weights @ shares)
        same = stand.n_counted is None and [each.id for each in lots] == [stand.lot]
        return np.asarray(at_nodes if same else np.full(N_LOT, float(at_nodes @ weight)))

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
