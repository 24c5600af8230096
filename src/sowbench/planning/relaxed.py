"""What a plan may pay less than its candidates do one by one: docs/model.md section 9.

Shortage is less where several sowings serve an order, and a tray costs less where it is shared. The
bound leaves both out of the candidates that it may concern, so that no plan is below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sowbench.planning.block import Block
from sowbench.planning.costs import raising_costs
from sowbench.planning.options import admissible_lots
from sowbench.planning.program import Saved
from sowbench.planning.resources import SegmentBuilder
from sowbench.planning.season import Season
from sowbench.planning.sizing import LOW_NODES
from sowbench.planning.uses import add_uses, moves_of, of_choice

if TYPE_CHECKING:
    from sowbench.planning.options import GroupTable

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Flags = NDArray[np.bool_]

LEAST_TO_SPLIT = 10
"""Cells of an order from which on a tenth of it is a cell at least."""
_NONE = -1
_FACTORS = np.random.default_rng(12).integers(1, 2**62, 12)
"""By which the numbers of a course are made one; two alike by chance only lower the bound."""


def can_split(season: Season, block: Block, groups: GroupTable) -> Flags:
    """Whether a part of each candidate can be taken beside other parts of its order.

    A partial order may be handed over day by day; any other only on the wanted day, which is the
    one day that all its parts can share.
    """
    partial = np.array([o.partial for o in season.orders], dtype=bool)
    first = groups.orders[block.group, 0]
    alone = groups.orders[block.group, 1] < 0
    on_day = block.hand_over[:, 0] == groups.wanted[block.group, 0]
    large = (block.sizing.n_units > 1) & (groups.total[block.group] >= LEAST_TO_SPLIT)
    return np.asarray(alone & large & (on_day | partial[first]))


def short_relief(season: Season, block: Block, groups: GroupTable) -> FloatArray:
    """Money by which shortage and surplus in a plan may be less than a candidate's parts say.

    Returns
    -------
    relief : ndarray, shape (n, 5)
        For each choice of nodes of `sizing.LOW_NODES`.
    """
    crew, sizing = season.house.crew, block.sizing
    setup = crew.setup_minutes / 60.0 * crew.rate_per_hour
    n_lots = np.array([len(admissible_lots(season, o)) for o in season.orders])
    stands = np.array([o.id in season.covered for o in season.orders], dtype=bool)
    member = groups.orders[block.group]
    of_one_lot = n_lots[member[:, 0]] == 1
    none = np.where(of_one_lot[:, None], sizing.none, sizing.none[:, :1])
    least = sizing.least[:, None]
    split = can_split(season, block, groups)[:, None]
    pays = np.where(split, np.minimum(least, none + setup), least)
    helped = ((member >= 0) & stands[np.maximum(member, 0)]).any(axis=1)
    none = np.where((member[:, 1] < 0)[:, None], none, none[:, :1])
    pays = np.where(helped[:, None], none, pays)
    charged = block.costs.parts["short"] + block.costs.parts["surplus"]
    return np.asarray(np.maximum(charged[:, None] - pays, 0.0))


def standing_lack(season: Season) -> FloatArray:
    """Money for what standing sowings of each order lack on average at the lowest nodes of its lot.

    Returns
    -------
    money : ndarray, shape (n_orders, 5)
        Below 0 where they have more than they are meant to give; minus infinity where the order
        accepts several lots, so that no node is taken.
    """
    out = np.zeros((len(season.orders), len(LOW_NODES)))
    prices = season.house.prices
    for o, order in enumerate(season.orders):
        if order.id not in season.covered:
            continue
        lots = admissible_lots(season, order)
        worth = season.plants_per_cell(order) * max(prices.short_plant - prices.surplus_plant, 0.0)
        lack = season.covered[order.id] - season.standing_usable[order.id]
        for k, n_low in enumerate(LOW_NODES):
            if n_low and len(lots) == 1:
                out[o, k] = worth * float(season.lots[lots[0]].weights[:n_low] @ lack[:n_low])
            elif n_low:
                out[o, k] = -np.inf
    return out


def choose_nodes(season: Season, blocks: Sequence[Block], groups: GroupTable) -> float:
    """Choose at which nodes the parts of each order lack, so that its cheapest way is dearest.

    Any choice is valid as long as it is one for all parts of an order.

    Returns
    -------
    constant : float
        Money for what standing sowings lack at these nodes.
    """
    lack = standing_lack(season)
    best: FloatArray = np.full(lack.shape, np.inf)
    for block in blocks:
        money = (block.costs.variable + block.costs.fixed)[:, None] - block.costs.relief
        alone = groups.orders[block.group, 1] < 0
        np.minimum.at(best, groups.orders[block.group[alone], 0], money[alone])
    nodes = np.where(np.isfinite(best), best + lack, lack).argmax(axis=1)
    for block in blocks:
        lead = groups.orders[block.group, 0]
        block.costs.relief = block.costs.relief[np.arange(len(block)), nodes[lead]]
        block.sizing = replace(block.sizing, none=block.sizing.none[:, :0])
    return float(lack[np.arange(len(nodes)), nodes].sum())


def unit_money(block: Block) -> FloatArray:
    """Most money that a lifted unit less can save: its share of trays, labor and room."""
    parts = block.costs.parts
    return np.asarray((parts["container"] + parts["labor"] + parts["room"]) / block.sizing.n_units)


@dataclass(frozen=True)
class Tails:
    """Candidates of a block by what their last unit would have to have in common with a mate's.

    Attributes
    ----------
    course : ndarray of int, shape (n,)
        Container, days and places, kind of crop, as one number.
    open_to : ndarray of int, shape (n,)
        Customer for whom all its orders are, -1 for several.
    loose : ndarray of bool, shape (n,)
        Whether it goes out without its trays.
    ok : ndarray of bool, shape (n,)
        Whether it has a last unit that could be shared.
    """

    course: IntArray
    open_to: IntArray
    loose: Flags
    ok: Flags


def tails_of(season: Season, block: Block, groups: GroupTable, splits: Flags) -> Tails:
    """Work out what candidates would have to have in common to share a tray."""
    moves, n = moves_of(season, block), len(block)
    last = block.hand_over.max(axis=1)
    at_once = (np.where(block.hand_over >= 0, block.hand_over, last[:, None]) == last[:, None]).all(
        axis=1
    )
    route = block.route
    toned = (block.tone != route.grow) & (moves.tone < moves.hold)
    held = (block.hold >= 0) & (moves.hold < moves.end)
    number = {c: k for k, c in enumerate(season.containers)}
    kinds = sorted({(c.season.value, c.cover) for c in season.catalog.crops.values()})
    numbers = (
        of_choice(block, lambda c: number[c.path.first.id]),
        block.timeline.sow_day[block.sow],
        np.full(n, route.germ),
        moves.start if route.germ != route.grow else np.full(n, _NONE),
        np.full(n, route.grow),
        np.where(toned, block.tone, _NONE),
        np.where(toned, moves.tone, _NONE),
        np.where(held, block.hold, _NONE),
        np.where(held, moves.hold, _NONE),
        last,
        np.full(n, kinds.index((block.crop.season.value, block.crop.cover))),
    )
    course = np.zeros(n, dtype=np.int64)
    for factor, each in zip(_FACTORS, numbers, strict=False):
        course += factor * each.astype(np.int64)
    names = {c: k for k, c in enumerate(dict.fromkeys(o.customer for o in season.orders))}
    customer = np.array([names[o.customer] for o in season.orders])
    in_trays = np.array([o.handover == "trays" for o in season.orders], dtype=bool)
    member = groups.orders[block.group]
    present = member >= 0
    first = customer[member[:, 0]]
    one = (
        np.where(present, customer[np.maximum(member, 0)], first[:, None]) == first[:, None]
    ).all(axis=1)
    loose = ~(present & in_trays[np.maximum(member, 0)]).any(axis=1)
    ok = at_once & (block.rule.space_d_ref is None)
    ok &= ~of_choice(block, lambda c: c.path.potted_on).astype(bool)
    ok &= (rows_of(block) < of_choice(block, lambda c: c.path.first.rows or 1)) | splits
    return Tails(course, np.where(one, first, _NONE), loose, np.asarray(ok))


def rows_of(block: Block) -> IntArray:
    """Rows that each candidate takes of its last unit."""
    per_unit = of_choice(block, lambda c: c.path.first.cells)
    per_row = of_choice(block, lambda c: c.path.first.cols or c.path.first.cells)
    last = block.sizing.n_cells - (block.sizing.n_units - 1) * per_unit
    return np.asarray(-(-last // per_row), dtype=np.int64)


def with_mates(
    tails: Sequence[Tails], group: NDArray[np.int32], members: NDArray[np.int32]
) -> Flags:
    """Whether a candidate for some other order could share each candidate's last unit."""
    course = np.concatenate([t.course for t in tails])
    open_to = np.concatenate([t.open_to for t in tails])
    ok = np.concatenate([t.ok for t in tails])
    loose = np.concatenate([t.loose for t in tails]) & ok
    found = np.zeros(len(course), dtype=bool)
    found |= _beside(course, np.flatnonzero(loose), group, members)
    alike = course + _FACTORS[-1] * (open_to + 1)
    found |= _beside(alike, np.flatnonzero(ok & (open_to >= 0)), group, members)
    return found


def _beside(
    key: IntArray, rows: IntArray, group: NDArray[np.int32], members: NDArray[np.int32]
) -> Flags:
    """Whether among rows of the same key there is an order that each row does not serve."""
    out = np.zeros(len(key), dtype=bool)
    if not len(rows):
        return out
    n_orders = int(members.max()) + 1
    _, at = np.unique(key[rows], return_inverse=True)
    member = members[group[rows]]
    present = member >= 0
    pairs = np.unique((at[:, None] * n_orders + np.maximum(member, 0))[present])
    n_there = np.bincount(pairs // n_orders, minlength=int(at.max()) + 1)
    out[rows] = n_there[at] > present.sum(axis=1)
    return out


def is_worth(block: Block, groups: GroupTable, saves: NDArray[np.floating]) -> NDArray[np.bool_]:
    """Whether candidates may cost less than leaving their orders unmet, if a plan saves so much."""
    least = block.costs.variable + block.costs.fixed - saves
    return np.asarray(least < groups.short[block.group])


def leave_out(
    season: Season, blocks: list[Block], groups: GroupTable
) -> tuple[list[Block], NDArray[np.bool_]]:
    """Leave out candidates that cost more than their orders are worth, even with trays shared.

    Returns
    -------
    blocks : list of Block
        What is left.
    mates : ndarray of bool, shape (n,)
        Whether each candidate could share its last unit.
    """
    if not blocks:
        return [], np.zeros(0, dtype=bool)
    tails = [tails_of(season, b, groups, can_split(season, b, groups)) for b in blocks]
    group = np.concatenate([b.group for b in blocks]).astype(np.int32)
    found = with_mates(tails, group, groups.orders.astype(np.int32))
    shared = np.split(found, np.cumsum([len(b) for b in blocks])[:-1])
    left, mates = [], []
    for block, own in zip(blocks, shared, strict=True):
        block.moves = None
        saves = np.where(own, block.costs.unit, 0.0)
        worth = is_worth(block, groups, saves + block.costs.relief)
        if worth.any():
            left.append(block if worth.all() else block.take(np.flatnonzero(worth)))
            mates.append(own[worth])
    return left, np.concatenate(mates) if mates else np.zeros(0, dtype=bool)


def savings(
    season: Season,
    blocks: Sequence[Block],
    groups: GroupTable,
    splits: Flags,
    mates: Flags,
) -> Saved:
    """What candidates save that share their last unit, or are potted on in part."""
    rows, cost, builder, n_rows, first = [], [], SegmentBuilder(), 0, 0
    for block in blocks:
        own = slice(first, first + len(block))
        first += len(block)
        split = splits[own]
        potted = of_choice(block, lambda c: c.path.potted_on).astype(bool) & split
        some = np.flatnonzero(mates[own] | potted)
        if not len(some):
            continue
        whole = block.take(some)
        slim = slimmed(whole, split[some], mates[own][some])
        money = _money(season, whole, groups) - _money(season, slim, groups)
        _add_difference(season, whole, slim, groups, builder, n_rows)
        rows.append(own.start + some)
        cost.append(money)
        n_rows += len(some)
    if not rows:
        return Saved()
    return Saved(np.concatenate(rows), np.concatenate(cost), builder.build(n_rows))


def slimmed(block: Block, splits: Flags, mates: Flags) -> Block:
    """Candidates with no more units and cells than they must pay for."""
    size = block.sizing
    per_unit = of_choice(block, lambda c: c.path.first.cells)
    n_rows = of_choice(block, lambda c: c.path.first.rows or 1)
    by_cells = size.n_cells / per_unit
    by_rows = size.n_units - 1.0 + rows_of(block) / n_rows
    units = np.where(mates, np.where(splits, by_cells, by_rows), size.n_units.astype(float))
    potted = of_choice(block, lambda c: c.path.potted_on).astype(bool)
    part = potted & splits
    last = np.where(part, size.n_cells * size.mean_usable, size.n_last)
    per_last = of_choice(block, lambda c: c.path.last.cells)
    last_units = np.where(part, last / per_last, np.where(potted, size.n_last_units, units))
    sizing = replace(size, n_units=units, n_last=last, n_last_units=last_units)
    return replace(block, sizing=sizing, moves=block.moves)


def _money(season: Season, block: Block, groups: GroupTable) -> FloatArray:
    """Money for seed, trays, mix, labor and room."""
    return np.asarray(sum(raising_costs(season, block, groups).values()))


def _add_difference(
    season: Season,
    whole: Block,
    slim: Block,
    groups: GroupTable,
    builder: SegmentBuilder,
    at: int,
) -> None:
    """Add what `slim` uses less than `whole`."""
    both = []
    for block in (whole, slim):
        uses = SegmentBuilder()
        add_uses(season, block, groups, uses, 0)
        both.append(uses.build(len(block)))
    more, less = both
    owner = np.repeat(np.arange(at, at + len(more)), np.diff(more.offset))
    builder.add(owner, more.resource, more.start, more.stop, more.amount - less.amount)
