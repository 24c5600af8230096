"""Candidates of one crop, ready rule and path through the places, as flat arrays."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.records import Crop, ReadyRule
from sowbench.planning.options import ContainerPath
from sowbench.planning.timeline import Route, Timeline

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Option:
    """One way to sow: containers, lot and seeds per cell."""

    path: ContainerPath
    lot: int
    seeds_per_cell: int


@dataclass
class Sizing:
    """Cells of each candidate and what to expect of them, all of shape (n,).

    Attributes
    ----------
    ok : ndarray of bool
        Whether the confidence can be reached at all.
    n_cells : ndarray of int
        Cells sown.
    n_units : ndarray
        Lifted units sown; broken only in a settled plan, where a unit is shared by rows.
    n_last, n_last_units : ndarray
        Cells and units after potting on; the same as sown without it.
    need : ndarray of int
        Usable cells that the orders want together.
    mean_usable : ndarray
        Mean usable share of a cell.
    short, surplus : ndarray
        Expected cells short and above.
    thin_cells : ndarray
        Cells to thin.
    least, none : ndarray
        Money that a plan with this candidate pays at the least for shortage, surplus and cells
        that are added: as its orders' only sowing, and with others that make up for it, of shape
        (n, 5) for the nodes of the lot at which they are all taken to lack (`sizing.LOW_NODES`).
    """

    ok: NDArray[np.bool_]
    n_cells: IntArray
    n_units: IntArray | FloatArray
    n_last: IntArray
    n_last_units: IntArray | FloatArray
    need: IntArray
    mean_usable: FloatArray
    short: FloatArray
    surplus: FloatArray
    thin_cells: FloatArray
    least: FloatArray
    none: FloatArray

    def take(self, keep: NDArray[np.bool_] | IntArray) -> Sizing:
        """Keep some rows."""
        return Sizing(**{name: getattr(self, name)[keep] for name in self.__dataclass_fields__})

    def then(self, other: Sizing) -> Sizing:
        """Lay another sizing behind this one."""
        return Sizing(
            **{
                name: np.concatenate((getattr(self, name), getattr(other, name)))
                for name in self.__dataclass_fields__
            }
        )


@dataclass
class CostParts:
    """Money of each candidate by part; `fixed` is due for any share of it.

    `relief` is what a plan with it may pay less for shortage than its parts say, of shape (n, 5)
    until the nodes of each order are chosen (`relaxed.choose_nodes`); `timing` the money for days
    late and overgrown plants; `unit` the most that a lifted unit less could save.
    """

    parts: dict[str, FloatArray] = field(default_factory=dict)
    fixed: FloatArray = field(default_factory=lambda: np.zeros(0))
    relief: NDArray[np.floating] = field(default_factory=lambda: np.zeros(0))
    timing: NDArray[np.floating] = field(default_factory=lambda: np.zeros(0))
    unit: NDArray[np.floating] = field(default_factory=lambda: np.zeros(0))

    @property
    def variable(self) -> FloatArray:
        """Money that grows with the share taken."""
        return np.asarray(sum(self.parts.values()))

    def take(self, keep: NDArray[np.bool_] | IntArray) -> CostParts:
        """Keep some rows."""
        return CostParts(
            {k: v[keep] for k, v in self.parts.items()},
            self.fixed[keep],
            *(v[keep] if len(v) else v for v in (self.relief, self.timing, self.unit)),
        )


@dataclass(frozen=True)
class Moves:
    """Days on which candidates change container, spacing or place, all shape (n,).

    `pot` is the start of growing without potting on; `space` equals `tone` without spacing.
    """

    start: IntArray
    pot: IntArray
    space: IntArray
    tone: IntArray
    hold: IntArray
    end: IntArray


@dataclass
class Block:
    """Candidates of one crop, rule and place path, as flat arrays of the same length.

    Attributes
    ----------
    group, choice, sow : ndarray of int
        Group served, index into `choices`, index into the timeline's sowing days.
    hand_over : ndarray of int, shape (n, 4)
        Day on which each member of the group is handed over; -1 without a member.
    end : ndarray of int
        Which end of the route it takes.
    """

    crop: Crop
    rule: ReadyRule
    route: Route
    timeline: Timeline
    choices: tuple[Option, ...]
    group: IntArray
    choice: IntArray
    sow: IntArray
    hand_over: IntArray
    end: IntArray
    sizing: Sizing
    costs: CostParts = field(default_factory=CostParts)
    moves: Moves | None = None

    def __len__(self) -> int:
        """Count candidates."""
        return len(self.group)

    @property
    def tone(self) -> IntArray:
        """Toning place of each candidate."""
        return np.array([e.tone for e in self.route.ends])[self.end]

    @property
    def hold(self) -> IntArray:
        """Cold store of each candidate, -1 without."""
        return np.array([e.hold for e in self.route.ends])[self.end]

    def compact(self) -> Block:
        """Forget what is not asked again: the parts of the cost, and the days of moves."""
        costs = self.costs
        self.costs = CostParts(
            {"all": costs.variable},
            costs.fixed,
            *(v.astype(np.float32) for v in (costs.relief, costs.timing, costs.unit)),
        )
        self.moves = None
        small = {
            name: getattr(self, name).astype(np.int32)
            for name in ("group", "choice", "sow", "hand_over", "end")
        }
        return replace(self, **small)

    def take(self, rows: IntArray) -> Block:
        """Keep some candidates."""
        costs = self.costs.take(rows) if self.costs.parts else self.costs
        return Block(
            self.crop,
            self.rule,
            self.route,
            self.timeline,
            self.choices,
            self.group[rows],
            self.choice[rows],
            self.sow[rows],
            self.hand_over[rows],
            self.end[rows],
            self.sizing.take(rows),
            costs,
        )
