"""What the bound leaves out of candidates that may share a tray or be taken in part: section 9."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sowbench.checking.candidates import Offers
from sowbench.checking.routes import stays_of
from sowbench.checking.season import Season
from sowbench.checking.sizing import Sized

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

SPLIT_FROM_CELLS = 10
_NOWHERE = -1
_WEIGHTS = np.array([0x9E3779B97F4A7C15 >> shift | 1 for shift in range(1, 14)], dtype=np.int64)
"""Odd numbers that make the days and places of a course into one number."""


@dataclass(frozen=True, slots=True, eq=False)
class Units:
    """Units and cells that candidates pay for at the least, each of shape (N,)."""

    units: Floats
    last_cells: Floats
    last_units: Floats


def splits(season: Season, offers: Offers, sized: Sized) -> Flags:
    """Tell which candidates may be taken in part, beside other parts of their order."""
    group = offers.group
    partial = np.array([each.partial for each in offers.members], dtype=bool)
    wanted = np.array([season.index(each.wanted_date) for each in offers.members])
    first = offers.orders[group, 0]
    alone = offers.orders[group, 1] < 0
    on_day = offers.hand_over[:, 0] == wanted[first]
    several = sized.cells > offers.first_cells[offers.path]
    large = offers.wanted[group] >= SPLIT_FROM_CELLS
    return np.asarray(alone & several & large & (on_day | partial[first]))


def units_of(offers: Offers, sized: Sized, split: Flags, shared: Flags) -> Units:
    """Give the units of candidates, those of shared trays and parts not rounded up."""
    firsts = [each.first for each in offers.paths]
    per_unit = offers.first_cells[offers.path]
    per_row = np.array([each.cols or each.cells for each in firsts])[offers.path]
    n_rows = np.array([each.rows or 1 for each in firsts])[offers.path]
    per_last = np.array([each.last.cells for each in offers.paths])[offers.path]
    potted = np.array([each.first is not each.last for each in offers.paths])[offers.path]
    cells = sized.cells.astype(np.float64)
    whole = np.ceil(cells / per_unit - 1e-9)
    rows = np.ceil((cells - (whole - 1) * per_unit) / per_row - 1e-9)
    units = np.where(split, cells / per_unit, whole - 1 + rows / n_rows)
    units = np.where(shared, units, whole)
    wanted = offers.wanted[offers.group]
    part = potted & split
    expected = cells * sized.mean
    expected = np.where(part, expected, np.ceil(expected - 1e-9))
    last_cells = np.where(potted, np.minimum(np.maximum(expected, wanted), cells), cells)
    last_units = last_cells / per_last
    last_units = np.where(part, last_units, np.ceil(last_units - 1e-9))
    return Units(units, last_cells, np.where(potted, last_units, units))


class Courses:
    """Finds out which candidates could share their last unit with one for another order."""

    def __init__(self, season: Season) -> None:
        self.season = season
        orders = list(season.orders.values())
        self._order = {each.id: at for at, each in enumerate(orders)}
        customers = sorted({each.customer for each in orders})
        self._customer = np.array([customers.index(each.customer) for each in orders])
        self._in_trays = np.array([each.handover == "trays" for each in orders], dtype=bool)
        crops = season.catalog.crops.values()
        self._kinds = sorted({(each.season.value, each.cover) for each in crops})
        self._containers = sorted(season.catalog.containers)
        self._there: dict[int, set[int]] = {}

    def keys(self, offers: Offers, sizes: Sequence[Sized]) -> tuple[Ints, Ints]:
        """Give two numbers of each candidate: for plants out of trays, and for one customer.

        Candidates that could stand in one tray have one of the two in common; 0 is none.
        """
        firsts = [each.first for each in offers.paths]
        potted = np.array([each.first is not each.last for each in offers.paths])[offers.path]
        n_rows = np.array([each.rows or 1 for each in firsts])[offers.path]
        end = offers.hand_over.max(axis=1)
        early = np.where(offers.hand_over >= 0, offers.hand_over, end[:, None]).min(axis=1)
        at = stays_of(offers.routes, offers.route, offers.row, end)
        inside = at.germinate >= 0
        toned = (at.tone != at.grow) & (at.toned < at.held)
        held = (at.hold >= 0) & (at.held < at.end)
        crop = offers.routes.crop
        numbers = (
            np.array([self._containers.index(each.id) for each in firsts])[offers.path],
            at.sow, at.germinate, np.where(inside, at.leave, _NOWHERE), at.grow,
            np.where(toned, at.tone, _NOWHERE), np.where(toned, at.toned, _NOWHERE),
            np.where(held, at.hold, _NOWHERE), np.where(held, at.held, _NOWHERE), end,
            np.full(end.size, self._kinds.index((crop.season.value, crop.cover))),
        )  # fmt: skip
        key = np.ones(end.size, dtype=np.int64)
        for weight, each in zip(_WEIGHTS, numbers, strict=False):
            key = key + weight * (each.astype(np.int64) + 2)
        ragged = np.zeros(end.size, dtype=bool)
        for sized in sizes:
            none = np.zeros(end.size, dtype=bool)
            filled = units_of(offers, sized, none, ~none).units
            ragged |= np.ceil(filled - 1e-9) - filled > 1e-9 / n_rows
            ragged |= splits(self.season, offers, sized)
        open_tray = ragged & ~potted & (early == end) & (offers.routes.rule.space_d_ref is None)
        member = self._members(offers)
        there = member >= 0
        customer = np.where(there, self._customer[member], -1)
        first = customer[:, :1]
        one = ((customer == first) | ~there).all(axis=1)
        in_trays = (there & self._in_trays[member]).any(axis=1)
        loose = np.where(open_tray & ~in_trays, key, 0)
        own = np.where(open_tray & one, key + _WEIGHTS[-1] * (first[:, 0] + 2), 0)
        return loose, own

    def _members(self, offers: Offers) -> Ints:
        """Numbers of the orders of each candidate, -1 without."""
        number = np.array([self._order[each.id] for each in offers.members], dtype=np.int64)
        member = offers.orders[offers.group]
        return np.where(member >= 0, number[member], -1)

    def note(self, offers: Offers, keys: tuple[Ints, Ints]) -> None:
        """Take down which orders could be in a tray of each kind."""
        member = self._members(offers)
        for each in keys:
            rows, column = np.nonzero((member >= 0) & (each != 0)[:, None])
            pairs = np.unique(np.stack((each[rows], member[rows, column]), axis=1), axis=0)
            for key, order in pairs.tolist():
                self._there.setdefault(key, set()).add(order)

    def shared(self, offers: Offers, keys: tuple[Ints, Ints]) -> Flags:
        """Tell which candidates have an order beside them that they do not serve."""
        n_own = (self._members(offers) >= 0).sum(axis=1)
        found = np.zeros(n_own.size, dtype=bool)
        for each in keys:
            unique, back = np.unique(each, return_inverse=True)
            n_there = np.array([len(self._there.get(int(key), ())) for key in unique])
            found |= (each != 0) & (n_there[back.ravel()] > n_own)
        return found
