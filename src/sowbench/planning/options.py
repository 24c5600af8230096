"""What a crop can be sown in: container paths, lots, seeds per cell; and orders sown together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.records import Container, Crop, Order, Pin, ReadyRule
from sowbench.planning.season import Lot, Season, container_price, is_limited, is_reusable

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MAX_SHARED_ORDERS = 4
SHARED_WITHIN_D = 7


@dataclass(frozen=True)
class ContainerPath:
    """Containers of a sowing: the one it is sown in, and the one it is potted on to, if any."""

    first: Container
    last: Container
    rule: ReadyRule

    @property
    def potted_on(self) -> bool:
        """Whether plants change container."""
        return self.first.id != self.last.id


@dataclass(frozen=True)
class Group:
    """Orders that one sowing can serve together, in the sequence in which it fills them."""

    orders: tuple[int, ...]


@dataclass(frozen=True)
class GroupTable:
    """Numbers of all groups, members padded to four.

    Attributes
    ----------
    groups : list of Group
    orders : ndarray of int, shape (n_groups, 4)
        Orders of each group, -1 where there is none.
    wanted, latest : ndarray of int, shape (n_groups, 4)
        Days, 0 without a member.
    plants : ndarray of int, shape (n_groups, 4)
        Plants meant for each member.
    share : ndarray, shape (n_groups, 4)
        Share of the cells meant for each member.
    needs : ndarray of int, shape (n_groups, 4)
        Usable cells that fill the orders up to each member.
    confidence : ndarray, shape (n_groups, 4)
    total, per_cell : ndarray of int, shape (n_groups,)
        Cells wanted together, and plants a cell stands for.
    short : ndarray, shape (n_groups,)
        Money of leaving them all unmet.
    """

    groups: list[Group]
    orders: IntArray
    wanted: IntArray
    latest: IntArray
    plants: IntArray
    share: FloatArray
    needs: IntArray
    confidence: FloatArray
    total: IntArray
    per_cell: IntArray
    short: FloatArray


def group_table(
    season: Season, groups: list[Group], cells: list[list[int]] | None = None
) -> GroupTable:
    """Lay out the numbers of groups.

    Parameters
    ----------
    cells : list of list of int, optional
        Cells meant for each member, where an order is split; by default all it wants.
    """
    shape = (len(groups), MAX_SHARED_ORDERS)
    orders = np.full(shape, -1)
    wanted, latest, plants, needs = (np.zeros(shape, dtype=np.int64) for _ in range(4))
    share, confidence = np.zeros(shape), np.zeros(shape)
    per_cell = np.ones(len(groups), dtype=np.int64)
    total = np.zeros(len(groups), dtype=np.int64)
    calendar = season.calendar
    for g, group in enumerate(groups):
        meant = [season.need_cells(season.orders[o]) for o in group.orders]
        if cells is not None:
            meant = cells[g]
        before = 0
        for m, o in enumerate(group.orders):
            order = season.orders[o]
            per_cell[g] = season.plants_per_cell(order)
            orders[g, m] = o
            wanted[g, m] = calendar.day(order.wanted_date)
            latest[g, m] = calendar.day(order.latest_date)
            plants[g, m] = season.open_plants(order) if cells is None else meant[m] * per_cell[g]
            needs[g, m] = before + (season.enough_cells(order) if cells is None else meant[m])
            before += meant[m]
            confidence[g, m] = season.confidence(order)
        share[g, : len(meant)] = np.array(meant) / max(1, before)
        total[g] = before
    short = season.house.prices.short_plant * plants.sum(axis=1)
    return GroupTable(
        groups, orders, wanted, latest, plants, share, needs, confidence, total, per_cell, short
    )


def container_paths(
    season: Season, crop: Crop, order: Order, *, all_of_them: bool = False
) -> list[ContainerPath]:
    """List the containers that the system, the crop, the house and the order allow.

    Parameters
    ----------
    all_of_them : bool, default False
        Also those that another beats in everything, as a pin may want.
    """
    paths: list[ContainerPath] = []
    pool = season.containers
    for container in pool.values():
        if order.containers and container.id not in order.containers:
            continue
        if order.organic and not container.organic_ok:
            continue
        if not season.catalog.suits(crop.id, container.id, order.system):
            continue
        rule = season.rule(crop, container, order.system)
        if rule is None:
            continue
        if rule.pot_on_d_ref is None:
            paths.append(ContainerPath(container, container, rule))
            continue
        firsts = [
            c
            for c in pool.values()
            if c.container_class == rule.pot_on_from_class
            and season.catalog.cells_suit(crop.id, c.id)
            and (c.organic_ok or not order.organic)
        ]
        paths.extend(ContainerPath(c, container, rule) for c in firsts)
    return paths if all_of_them else leanest(paths, season)


def leanest(paths: list[ContainerPath], season: Season) -> list[ContainerPath]:
    """Drop a path that another of the same rule beats in room, price and mix a cell at once.

    Only containers that can be bought without limit are compared; the rule, and so the time, is
    the same for both, and so is the machine that sows them, so the other is never worse at any
    price of room.
    """

    def measure(p: ContainerPath) -> tuple[float, ...]:
        out: list[float] = []
        for c in (p.first, p.last):
            price = container_price(c, season.stock)
            out += [c.area_m2 / c.cells, price / c.cells, c.cell_volume_ml, -c.cells, c.cells]
        return tuple(out)

    kept = []
    for p in paths:
        beaten = any(
            q is not p
            and not is_limited(q.first, season.stock)
            and not is_limited(q.last, season.stock)
            and q.rule == p.rule
            and q.first.takes_mix == p.first.takes_mix
            and season.machine_for(q.first.id) == season.machine_for(p.first.id)
            and is_reusable(q.first, season.stock) == is_reusable(p.first, season.stock)
            and is_reusable(q.last, season.stock) == is_reusable(p.last, season.stock)
            and all(a <= b for a, b in zip(measure(q), measure(p), strict=True))
            and measure(q) != measure(p)
            for q in paths
        )
        if not beaten:
            kept.append(p)
    return kept


def admissible_lots(season: Season, order: Order) -> list[int]:
    """Indices of the lots that an order accepts."""
    names = {order.variety.casefold(), *(s.casefold() for s in order.substitutes)}
    out = []
    for i, lot in enumerate(season.lots):
        r = lot.record
        if r.crop != order.crop:
            continue
        if order.variety and r.variety.casefold() not in names:
            continue
        if order.organic and not (r.organic or r.assumed):
            continue
        if season.house.school and r.treated:
            continue
        if r.n_seeds is not None and r.n_seeds <= 0:
            continue
        out.append(i)
    return out


def seeds_per_cell_options(crop: Crop, lot: Lot, pin: Pin | None) -> list[int]:
    """Seeds per cell worth trying: the usual number and those above it that can pay."""
    if pin is not None and pin.seeds_per_cell is not None:
        return [pin.seeds_per_cell]
    usual = crop.seeds_per_cell
    most = max(usual, crop.max_seeds_per_cell)
    if lot.record.pelleted or lot.record.primed:
        return [usual]
    return list(range(usual, min(most, usual + 2) + 1))


def shared_key(
    season: Season, order: Order, index: int, pins: dict[str, Pin]
) -> tuple[object, ...]:
    """What orders must have in common to be sown together."""
    lots = tuple(admissible_lots(season, order))
    alone = index if order.id in pins else -1
    return (
        order.crop,
        order.system,
        order.handover,
        order.organic,
        order.containers,
        order.unit,
        lots,
        alone,
    )


def shared_groups(season: Season, pins: dict[str, Pin]) -> list[Group]:
    """Every order alone, and up to four that follow each other within a week."""
    by_key: dict[tuple[object, ...], list[int]] = {}
    still = [i for i, order in enumerate(season.orders) if season.need_cells(order) > 0]
    for i in still:
        by_key.setdefault(shared_key(season, season.orders[i], i, pins), []).append(i)
    groups = [Group((i,)) for i in still]
    for rows in by_key.values():
        rows.sort(key=lambda i: (season.orders[i].wanted_date, i))
        days = np.array([season.orders[i].wanted_date.toordinal() for i in rows])
        for a in range(len(rows)):
            for n in range(2, MAX_SHARED_ORDERS + 1):
                b = a + n - 1
                if b >= len(rows) or days[b] - days[a] > SHARED_WITHIN_D:
                    break
                groups.append(Group(tuple(rows[a : b + 1])))
    return groups
