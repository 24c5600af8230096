"""Chances of every order by drawing from the model, and its expected shortage exactly."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.report import Ledger
from sowbench.checking.season import Season
from sowbench.checking.stand import Stand, stand_of, total_chances
from sowbench.checking.timeline import Timeline, Timelines
from sowbench.domain.plan import OrderPlan, Sowing
from sowbench.domain.records import Order, StepKind

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

N_DRAWS: Final = 20_000
N_ERRORS: Final = 4.0
CHANCE_SLIP: Final = 0.005
SHORT_SLIP_FRAC: Final = 0.01
POTTED_SLIP_FRAC: Final = 0.01


class Stands:
    """Stands of the plan's sowings, made when they are first asked for."""

    def __init__(self, season: Season, lines: Timelines) -> None:
        self.season = season
        self.lines = lines
        self.constants: Mapping[str, Any] = getattr(season.catalog, "viability", {})
        self._made: dict[str, Stand | None] = {}

    def of(self, sowing: Sowing) -> Stand | None:
        """Return the stand of a sowing; None where the plan leaves it undefined."""
        if sowing.sowing not in self._made:
            line = self.lines.of(sowing)
            crop = self.season.catalog.crops.get(sowing.crop)
            made = None
            if line is not None and crop is not None:
                made = stand_of(self.season, sowing, crop, line, self.constants)
            self._made[sowing.sowing] = made
        return self._made[sowing.sowing]


@dataclass(frozen=True, slots=True)
class Part:
    """One sowing of an order: how many cells go to others before, and at most to this one.

    `most` is infinite for the order whose turn comes last, which takes all that is left.
    """

    sowing: Sowing
    stand: Stand
    line: Timeline
    before: int
    most: float


def parts_of(season: Season, lines: Timelines, stands: Stands, order: Order) -> list[Part] | None:
    """Return the sowings of an order; None if one of them is undefined."""
    parts = []
    for sowing in season.plan.sowings:
        if all(each.order != order.id for each in sowing.orders):
            continue
        line, stand = lines.of(sowing), stands.of(sowing)
        if line is None or stand is None:
            return None
        before, most = 0, np.inf
        own = sum(each.plants for each in sowing.orders if each.order == order.id)
        for share in sowing.orders:
            other = season.orders.get(share.order)
            if other is None or other.id == order.id:
                continue
            if _turn(season, other) < _turn(season, order):
                before += season.wanted_cells(other, share.plants)
            else:
                most = float(season.wanted_cells(order, own))
        parts.append(Part(sowing, stand, line, before, most))
    return parts


def _turn(season: Season, order: Order) -> tuple[int, int]:
    """Return the order's turn in a shared sowing: by wanted day, then file order."""
    return season.index(order.wanted_date), season.file_order[order.id]


def is_pooled(parts: Sequence[Part]) -> bool:
    """Tell whether all sowings serve the same orders, so that one makes up for another."""
    sets = {frozenset(each.order for each in part.sowing.orders) for part in parts}
    return len(sets) <= 1


def need_cells(season: Season, order: Order, planned: int) -> tuple[int, int]:
    """Return cells that count as enough, and cells wanted of what is planned."""
    wanted = season.wanted_cells(order)
    enough = int(np.ceil(order.min_frac * wanted - 1e-9))
    return enough, season.wanted_cells(order, planned)


class Draws:
    """Common draws: germination by lot, pace by crop, weather by season, cells by sowing."""

    def __init__(self, season: Season, n_draws: int = N_DRAWS, seed: int = 20_000) -> None:
        self.season = season
        self.n_draws = n_draws
        self._seed = seed
        rng = np.random.default_rng([seed, 0])
        self.w: Ints = rng.choice(season.w_nodes.size, n_draws, p=season.w_weights)
        self._pace: dict[str, Floats] = {}
        self._lots: dict[str, Floats] = {}
        self._cells: dict[str, Ints] = {}
        self._days: dict[str, tuple[Floats, Floats]] = {}

    def _rng(self, kind: int, name: str) -> np.random.Generator:
        """Return a stream of its own for a name, the same on every run."""
        return np.random.default_rng([self._seed, kind, *name.encode()])

    def pace(self, crop: str) -> Floats:
        """Pace z of a crop."""
        if crop not in self._pace:
            self._pace[crop] = self._rng(1, crop).standard_normal(self.n_draws)
        return self._pace[crop]

    def cells(self, sowing: Sowing, stand: Stand) -> Ints:
        """Usable cells of a sowing."""
        if sowing.sowing not in self._cells:
            if stand.lot not in self._lots:
                rng = self._rng(2, stand.lot)
                self._lots[stand.lot] = rng.beta(stand.alpha, stand.beta, self.n_draws)
            rng = self._rng(3, sowing.sowing)
            self._cells[sowing.sowing] = stand.draw(rng, self._lots[stand.lot], self.w)
        return self._cells[sowing.sowing]

    def days(self, sowing: Sowing, line: Timeline) -> tuple[Floats, Floats]:
        """Ready and overgrown days of a sowing."""
        if sowing.sowing not in self._days:
            z = self.pace(sowing.crop)
            ready, over = np.empty(self.n_draws), np.empty(self.n_draws)
            for w in range(self.season.w_nodes.size):
                rows = self.w == w
                ready[rows] = _along(line.ready_day[0, w], self.season.z_nodes, z[rows])
                over[rows] = _along(line.overgrown_day[0, w], self.season.z_nodes, z[rows])
            self._days[sowing.sowing] = ready, np.maximum(over, ready + 1.0)
        return self._days[sowing.sowing]


def _along(days: Floats, z_nodes: Floats, z: Floats) -> Floats:
    """Read days at paces, straight between nodes and beyond the last ones; inf stays inf."""
    right = np.clip(np.searchsorted(z_nodes, z), 1, z_nodes.size - 1)
    low, high = days[right - 1], days[right]
    share = (z - z_nodes[right - 1]) / (z_nodes[right] - z_nodes[right - 1])
    known = np.isfinite(low) & np.isfinite(high)
    step = np.where(known, high, 0.0) - np.where(known, low, 0.0)
    return np.where(known, np.where(known, low, 0.0) + share * step, np.inf)


def _usable_for(parts: Sequence[Part], cells: Sequence[Floats], *, pooled: bool) -> Floats:
    """Cells left for an order after those before it."""
    if pooled:
        total = np.sum(cells, axis=0) - sum(each.before for each in parts)
        return np.asarray(np.maximum(total, 0.0))
    rows = [
        np.clip(one - each.before, 0.0, each.most) for one, each in zip(cells, parts, strict=True)
    ]
    return np.asarray(np.sum(rows, axis=0))


def drawn_chances(
    season: Season, draws: Draws, order: Order, parts: Sequence[Part], planned: int
) -> tuple[float, float, float, Floats]:
    """Chance of enough, in time and filled, and the shortage of every draw [cells]."""
    enough, wanted = need_cells(season, order, planned)
    pooled = is_pooled(parts)
    cells = [draws.cells(each.sowing, each.stand).astype(np.float64) for each in parts]
    have = _usable_for(parts, cells, pooled=pooled)
    days = [draws.days(each.sowing, each.line) for each in parts]
    first, last = season.index(order.earliest_date), season.index(order.latest_date)
    good = []
    for ready, over in days:
        opens = np.maximum(np.ceil(np.where(np.isfinite(ready), ready, 1e9) - 1e-9), first)
        closes = np.minimum(np.ceil(np.where(np.isfinite(over), over, 1e9) - 1e-9) - 1, last)
        good.append((opens, closes))
    if order.partial:
        alone = [opens <= closes for opens, closes in good]
        in_time = np.all(alone, axis=0)
        counted = [np.where(ok, one, 0.0) for ok, one in zip(alone, cells, strict=True)]
        filled = _usable_for(parts, counted, pooled=pooled) >= enough
    else:
        opens = np.max([each[0] for each in good], axis=0)
        closes = np.min([each[1] for each in good], axis=0)
        in_time = opens <= closes
        filled = np.zeros(draws.n_draws, dtype=bool)
        for day in range(first, last + 1):
            counted = [
                np.where((a <= day) & (day <= b), one, 0.0)
                for (a, b), one in zip(good, cells, strict=True)
            ]
            filled |= _usable_for(parts, counted, pooled=pooled) >= enough
    short = np.maximum(wanted - have, 0.0)
    return float(np.mean(have >= enough)), float(np.mean(in_time)), float(np.mean(filled)), short


def check_chances(
    season: Season, lines: Timelines, stands: Stands, ledger: Ledger, draws: Draws
) -> None:
    """Compare the chances of every order with drawn ones."""
    for row in season.plan.orders:
        order = season.orders.get(row.order)
        if order is None:
            continue
        parts = parts_of(season, lines, stands, order)
        if parts is None:
            ledger.notes.append(f"chances of {row.order} cannot be drawn: a sowing is undefined")
            continue
        if not parts:
            for name in ("chance_enough_frac", "chance_in_time_frac", "chance_filled_frac"):
                ledger.near(
                    getattr(row, name), 0.0, 1e-9, name, row.order,
                    "Nothing is planned for it.",
                )  # fmt: skip
            continue
        enough, in_time, filled, short = drawn_chances(season, draws, order, parts, row.planned)
        _compare_chances(ledger, row, (enough, in_time, filled), draws.n_draws)
        per_cell = plants_per_cell(season, order)
        error = N_ERRORS * float(short.std()) / np.sqrt(draws.n_draws)
        ledger.near(
            row.expected_short, row.plants - row.planned + float(short.mean()) * per_cell,
            (error * per_cell) + SHORT_SLIP_FRAC * max(order.plants, 1), "expected_short",
            row.order, "Drawn plants short are another number.",
        )  # fmt: skip
        asked = season.confidence(order)
        ledger.require(
            row.chance_enough_frac >= asked - CHANCE_SLIP
            or bool(row.risky)
            or row.planned < row.plants,
            "an order below its confidence is named risky", row.order,
            "It is sure of less than it asks for.", asked, row.chance_enough_frac,
        )  # fmt: skip
    for sowing in season.plan.sowings:
        stand = stands.of(sowing)
        if stand is not None:
            _check_spread(ledger, sowing, draws.cells(sowing, stand))
            _check_potted(season, ledger, sowing, stand)


def plants_per_cell(season: Season, order: Order) -> int:
    """Return plants of an order's unit in a usable cell."""
    crop = season.catalog.crops.get(order.crop)
    return 1 if order.unit == "cell" or crop is None else max(crop.plants_per_cell[0], 1)


def _compare_chances(
    ledger: Ledger, row: OrderPlan, drawn: tuple[float, float, float], n_draws: int
) -> None:
    """Four standard errors and a half percent apart is a finding."""
    names = ("chance_enough_frac", "chance_in_time_frac", "chance_filled_frac")
    for name, chance in zip(names, drawn, strict=True):
        found = float(getattr(row, name))
        spread = max(chance * (1 - chance), found * (1 - found), 0.0)
        error = N_ERRORS * np.sqrt(spread / n_draws)
        ledger.near(
            found, chance, float(error) + CHANCE_SLIP, name, row.order,
            f"{n_draws} draws give another chance.",
        )  # fmt: skip


def _check_spread(ledger: Ledger, sowing: Sowing, cells: Ints) -> None:
    """Five, fifty and ninety-five percent points of usable plants."""
    for share, found in (
        (0.05, sowing.plants.p05),
        (0.50, sowing.plants.p50),
        (0.95, sowing.plants.p95),
    ):
        error = N_ERRORS * np.sqrt(share * (1 - share) / cells.size) + CHANCE_SLIP
        low, high = np.quantile(cells, [max(share - error, 0.0), min(share + error, 1.0)])
        ledger.require(
            bool(low - 1 <= found <= high + 1), "usable plants", sowing.sowing,
            f"The {100 * share:.0f} percent point is another.", f"{low:.0f} to {high:.0f}", found,
        )  # fmt: skip


def _check_potted(season: Season, ledger: Ledger, sowing: Sowing, stand: Stand) -> None:
    """As many cells are potted on as are expected to be usable, or as the orders want."""
    step = next((each for each in sowing.steps if each.kind is StepKind.POT_ON), None)
    if step is None or stand.n_counted is not None:
        return
    shares, weight = stand.usable_at_nodes()
    mean = stand.n_cells * float(season.w_weights @ shares @ weight)
    wanted = sum(
        season.wanted_cells(season.orders[each.order], each.plants)
        for each in sowing.orders
        if each.order in season.orders
    )
    expected = min(max(float(np.ceil(mean)), wanted), stand.n_cells)
    ledger.near(
        step.n_cells, expected, 1 + POTTED_SLIP_FRAC * expected, "cells expected for potting on",
        sowing.sowing, "Another number of cells is expected to be usable.",
    )  # fmt: skip


def expected_short(season: Season, order: Order, parts: Sequence[Part], planned: int) -> float:
    """Expected cells short of what is planned, summed over nodes [cells]."""
    _, wanted = need_cells(season, order, planned)
    pooled = is_pooled(parts)
    before = sum(each.before for each in parts) if pooled else 0
    lots = sorted({each.stand.lot for each in parts})
    nodes = [each.stand.usable_at_nodes() for each in parts]
    n_nodes = {
        lot: next(n[1].size for n, p in zip(nodes, parts, strict=True) if p.stand.lot == lot)
        for lot in lots
    }
    total = 0.0
    for choice in np.ndindex(*(n_nodes[lot] for lot in lots)):
        at = dict(zip(lots, choice, strict=True))
        usable, weight = [], np.ones(())
        seen: set[str] = set()
        for (shares, weights), part in zip(nodes, parts, strict=True):
            k = at[part.stand.lot] if part.stand.lot else 0
            usable.append(shares[:, min(k, shares.shape[1] - 1)])
            if part.stand.lot not in seen:
                weight = weight * weights[min(k, weights.size - 1)]
                seen.add(part.stand.lot)
        short = _short_given(parts, usable, wanted, before, pooled=pooled)
        total += float(weight) * float(short @ season.w_weights)
    return total


def _short_given(
    parts: Sequence[Part], usable: Sequence[Floats], wanted: int, before: int, *, pooled: bool
) -> Floats:
    """Expected cells short for each weather node, germination given, shape (W,)."""
    pmf = np.ones((usable[0].size, 1))
    for part, share in zip(parts, usable, strict=True):
        own = total_chances(part.stand, share)
        if not pooled and part.before:
            cut = own[:, part.before :].copy()
            cut[:, 0] += own[:, : part.before].sum(axis=1)
            own = cut
        if not pooled and part.most < own.shape[1] - 1:
            most = int(part.most)
            more = own[:, most + 1 :].sum(axis=1)
            own = own[:, : most + 1].copy()
            own[:, most] += more
        pmf = _convolved(pmf, own)
    n = np.arange(pmf.shape[1])
    have = np.maximum(n - before, 0)
    return np.asarray(pmf @ np.maximum(wanted - have, 0).astype(np.float64))


def _convolved(first: Floats, second: Floats) -> Floats:
    """Distribution of a sum, row by row."""
    if first.shape[1] == 1:
        return second
    length = first.shape[1] + second.shape[1] - 1
    size = 1 << length.bit_length()
    both = np.fft.rfft(first, size) * np.fft.rfft(second, size)
    return np.asarray(np.maximum(np.fft.irfft(both, size)[:, :length], 0.0))
