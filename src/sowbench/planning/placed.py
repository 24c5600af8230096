"""Sowings that a plan has settled on: one candidate each, with its cells, orders and risk."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import floor

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from sowbench.planning.block import Block, Option, Sizing
from sowbench.planning.candidates import Candidates
from sowbench.planning.neighborhood import Choice, Part
from sowbench.planning.season import Season
from sowbench.planning.sizing import usable_nodes
from sowbench.science.risk import Chances, OrderNeed, Share, SowingRisk, season_chances
from sowbench.science.stand import usable_frac

FloatArray = NDArray[np.float64]
MOST_RAISES = 8


@dataclass
class Placed:
    """One sowing of the plan.

    Attributes
    ----------
    name : str
        Its name in the plan.
    row : Block
        A block of one candidate, with the cells that this sowing takes.
    orders : list of (order index, cells)
        What it is meant for, in the sequence in which it fills them.
    since : int
        First day that counts, for what stands already; -1 for a new sowing.
    counted : int or None
        Plants counted, where somebody has counted; losses still to come are binomial.
    standing : bool
        Whether it was handed in as standing.
    mates : tuple of str
        Sowings that share its last unit by rows; the units of `row` are then its own share.
    """

    name: str
    row: Block
    orders: list[tuple[int, int]]
    crop_index: int = 0
    since: int = -1
    counted: int | None = None
    standing: bool = False
    mates: tuple[str, ...] = ()

    @property
    def option(self) -> Option:
        """Containers, lot and seeds per cell."""
        return self.row.choices[int(self.row.choice[0])]

    @property
    def sow_day(self) -> int:
        """Day on which it is sown."""
        return int(self.row.timeline.sow_day[self.row.sow[0]])

    @property
    def n_cells(self) -> int:
        """Cells sown."""
        return int(self.row.sizing.n_cells[0])

    @property
    def n_units(self) -> int:
        """Lifted units sown, a shared one too."""
        return int(np.ceil(self.row.sizing.n_units[0] - 1e-9))

    def usable(self, season: Season) -> FloatArray:
        """Usable share of a cell at each weather node and lot node, shape (5, 9)."""
        t, s = self.row.timeline, self.row.sow
        env = t.fraction[:, s][:, 0] * t.on_time[s][0]
        light = np.full(len(env), self.light(season))
        option = self.option
        return usable_nodes(season, self.row.crop, option.lot, option.seeds_per_cell, env, light)

    def light(self, season: Season) -> float:
        """Usable share by the light it grows in."""
        t, s = self.row.timeline, self.row.sow
        start = t.emerge_day[s]
        stop = np.maximum(t.grown_day[s], start + 1)
        crop_season = season.crop_season(self.row.crop)
        return float(crop_season.light_frac(self.row.route.grow, start, stop)[0])

    def risk(self, season: Season) -> SowingRisk:
        """What is uncertain about it."""
        t, s = self.row.timeline, int(self.row.sow[0])
        over = t.overgrown[int(self.row.end[0]), :, :, s]
        if self.counted is not None:
            keep = float(usable_frac(1.0, self.light(season)))
            return SowingRisk(
                -1,
                self.crop_index,
                self.counted,
                max(1, self.counted),
                np.full((len(t.ready), 1), keep),
                np.ones(1),
                t.ready[:, :, s],
                over,
                0.0,
                0.0,
            )
        return SowingRisk(
            self.option.lot,
            self.crop_index,
            self.n_cells,
            self.option.path.first.cells,
            self.usable(season),
            season.lots[self.option.lot].weights,
            t.ready[:, :, s],
            over,
        )

    def with_cells(self, n_cells: int) -> Placed:
        """The same sowing with another number of cells."""
        option, old = self.option, self.row.sizing
        share = n_cells / max(1, int(old.n_cells[0]))
        per_unit = option.path.first.cells
        last = n_cells
        if option.path.potted_on:
            last = max(1, int(np.ceil(n_cells * float(old.mean_usable[0]) - 1e-9)))
        sizing = replace(
            old,
            n_cells=np.array([n_cells]),
            n_units=np.array([-(-n_cells // per_unit)]),
            n_last=np.array([last]),
            n_last_units=np.array([-(-last // option.path.last.cells)]),
            thin_cells=old.thin_cells * share,
        )
        return replace(self, row=with_sizing(self.row, sizing))


def with_sizing(row: Block, sizing: Sizing) -> Block:
    """Replace the cells of a block."""
    return replace(row, sizing=sizing)


@dataclass
class Settled:
    """All sowings of a plan with the chances of the orders."""

    placed: list[Placed]
    chances: dict[int, Chances] = field(default_factory=dict)
    shares: dict[int, list[tuple[int, int]]] = field(default_factory=dict)


def place_all(
    season: Season,
    candidates: Candidates,
    choice: Choice,
    names: dict[str, int] | None = None,
) -> list[Placed]:
    """Turn a choice into sowings with cells for each order."""
    parts = sorted(
        choice.parts,
        key=lambda p: (int(candidates.program.sow_day[p.candidate]), p.candidate),
    )
    program = candidates.program
    covering = sorted({o for part in parts for o in program.orders_of(part.candidate)})
    left = {o: season.need_cells(season.orders[o]) for o in covering}
    meant = part_cells(season, candidates, parts)
    crops = {c: k for k, c in enumerate(season.catalog.crops)}
    placed = []
    names = {} if names is None else names
    for part in parts:
        block, i = candidates.locate(part.candidate)
        row = block.take(np.array([i]))
        total = int(row.sizing.n_units[0])
        one = Placed("", row, [], crops[block.crop.id])
        members = program.orders_of(part.candidate)
        if part.units < total:
            (o,) = members
            option = one.option
            whole = int(row.sizing.n_cells[0])
            cells = min(-(-whole * part.units // total), part.units * option.path.first.cells)
            one = one.with_cells(cells)
            own = min(left[o], meant[part])
            one.orders = [(o, own)]
            left[o] -= own
        else:
            for o in members:
                one.orders.append((o, left[o]))
                left[o] = 0
        one.orders = [(o, n) for o, n in one.orders if n > 0]
        if one.orders:
            one.name = name_of(season, one, names)
            placed.append(one)
    return placed


def part_cells(season: Season, candidates: Candidates, parts: list[Part]) -> dict[Part, int]:
    """Cells of its order that each part is meant for: its share, rounded down.

    What is over goes, one cell each, to the parts whose plants cost most for days late and being
    overgrown, so that a plan never pays less for these than its parts' shares say.
    """
    program = candidates.program
    by_order: dict[int, list[tuple[float, int, Part, Fraction]]] = {}
    for at, part in enumerate(parts):
        total = int(program.n_units[part.candidate])
        if part.units < total:
            (o,) = program.orders_of(part.candidate)
            block, i = candidates.locate(part.candidate)
            want = season.need_cells(season.orders[o]) * Fraction(part.units, total)
            by_order.setdefault(o, []).append((-float(block.costs.timing[i]), at, part, want))
    out: dict[Part, int] = {}
    for own in by_order.values():
        over = floor(sum(want for _, _, _, want in own)) - sum(floor(w) for _, _, _, w in own)
        for _, _, part, want in sorted(own, key=lambda each: each[:2]):
            out[part] = floor(want) + (1 if over > 0 else 0)
            over -= 1
    return out


def name_of(season: Season, placed: Placed, names: dict[str, int]) -> str:
    """Name a sowing by its crop and sowing day, with a letter where there are several."""
    day = season.calendar.date(placed.sow_day)
    stem = f"{placed.row.crop.id} {day:%m-%d}"
    names[stem] = names.get(stem, 0) + 1
    return f"{stem} {letters(names[stem])}"


def letters(number: int) -> str:
    """Return a, b, ... z, aa, ab ... for 1, 2, ..."""
    out = ""
    while number > 0:
        number, rest = divmod(number - 1, 26)
        out = chr(ord("a") + rest) + out
    return out


def needs_of(
    season: Season, placed: list[Placed], indices: list[int]
) -> tuple[list[OrderNeed], list[SowingRisk]]:
    """Needs and risks of chosen orders over all sowings."""
    risks = [p.risk(season) for p in placed]
    shares: dict[int, list[Share]] = {}
    for s, p in enumerate(placed):
        before = 0
        for k, (o, n) in enumerate(p.orders):
            shares.setdefault(o, []).append(Share(s, before, n, k == len(p.orders) - 1))
            before += n
    needs = []
    calendar = season.calendar
    for o in indices:
        order = season.orders[o]
        meant = sum(s.share for s in shares[o])
        needs.append(
            OrderNeed(
                tuple(shares[o]),
                meant,
                season.whole_enough(order),
                calendar.day(order.earliest_date),
                calendar.day(order.latest_date),
                order.partial,
            )
        )
    return needs, risks


def settle(season: Season, placed: list[Placed], raises: int = MOST_RAISES) -> Settled:
    """Compute exact chances, adding cells within trays where an order's confidence is missed."""
    feeds: dict[int, list[int]] = {}
    for i, p in enumerate(placed):
        for o, _ in p.orders:
            feeds.setdefault(o, []).append(i)
    found: dict[int, Chances] = {}
    spare = spare_seeds(season, placed)
    todo = sorted(feeds)
    placed = list(placed)
    for turn in range(raises + 1):
        needs, risks = needs_of(season, placed, todo)
        found |= dict(zip(todo, season_chances(needs, risks, season.w_weights), strict=True))
        raised: set[int] = set()
        for o in todo if turn < raises else ():
            lack = ndtri(season.confidence(season.orders[o])) - ndtri(found[o].enough_frac)
            rooms = {i: more_cells(placed[i], spare) for i in feeds[o]}
            best = max(rooms, key=lambda i: rooms[i])
            room = rooms[best]
            if lack > 0 and room > 0 and best not in raised:
                p = placed[best]
                step = max(1, int(np.ceil(min(lack, 1.0) * 0.7 * np.sqrt(p.n_cells))))
                extra = min(step, room)
                placed[best] = p.with_cells(p.n_cells + extra)
                spare[p.option.lot] -= extra * p.option.seeds_per_cell
                raised.add(best)
        todo = sorted(o for o, rows in feeds.items() if raised.intersection(rows))
        if not todo:
            break
    return Settled(placed, found)


def spare_seeds(season: Season, placed: list[Placed]) -> dict[int, float]:
    """Seeds that each lot still has."""
    spare = {
        i: float("inf") if lot.record.n_seeds is None else float(lot.record.n_seeds)
        for i, lot in enumerate(season.lots)
    }
    for p in placed:
        if p.since < 0:
            spare[p.option.lot] -= p.n_cells * p.option.seeds_per_cell
    return spare


def more_cells(placed: Placed, spare: dict[int, float]) -> int:
    """Cells that can still be sown, by tray and seed."""
    seeds = max(0.0, spare[placed.option.lot]) / placed.option.seeds_per_cell
    return int(min(float(room_in_tray(placed)), seeds))


def room_in_tray(placed: Placed) -> int:
    """Cells that can still be sown in the last tray."""
    if placed.since >= 0:
        return 0
    path, sizing = placed.option.path, placed.row.sizing
    most = placed.n_units * path.first.cells
    if path.potted_on:  # no more blocks or pots than there is room for
        most = min(
            most,
            int(sizing.n_last_units[0] * path.last.cells / max(1e-6, float(sizing.mean_usable[0]))),
        )
    return max(0, most - placed.n_cells)
