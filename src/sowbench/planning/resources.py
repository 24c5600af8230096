"""What is scarce: room by day, hands by day, containers by day, seed by lot, machines by day."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


CHUNK = 32768


class ResourceKind(StrEnum):
    """Kinds of resource; a lot is a resource with a single day."""

    PLACE = "place"
    CREW = "crew"
    CONTAINER = "container"
    MACHINE = "machine"
    LOT = "lot"


@dataclass(frozen=True)
class Resources:
    """Capacities by resource and day.

    Attributes
    ----------
    kinds, names : tuple
        One entry a resource.
    capacity : ndarray, shape (n_resources, n_days)
        What a resource holds on a day, in its own unit (m2 or positions, minutes, units, seeds);
        infinite where there is no limit. A lot has its stock on every day and is used on day 0.
    """

    kinds: tuple[ResourceKind, ...]
    names: tuple[str, ...]
    capacity: FloatArray

    @property
    def n_days(self) -> int:
        """Days of the horizon."""
        return int(self.capacity.shape[1])

    def index(self, kind: ResourceKind, name: str) -> int:
        """Index of a resource, -1 if there is none of that name."""
        for i, (k, n) in enumerate(zip(self.kinds, self.names, strict=True)):
            if k == kind and n == name:
                return i
        return -1


def cumulative_prices(price: FloatArray) -> FloatArray:
    """Prices summed over days with a leading zero, shape (n_resources, n_days + 1)."""
    out = np.zeros((price.shape[0], price.shape[1] + 1))
    np.cumsum(price, axis=1, out=out[:, 1:])
    return out


@dataclass(frozen=True)
class Segments:
    """Uses of resources by candidates: `amount` of `resource` on each day of [start, stop).

    Stored by rows: candidate j owns the entries `offset[j]:offset[j + 1]`.
    """

    offset: IntArray
    resource: NDArray[np.signedinteger]
    start: NDArray[np.signedinteger]
    stop: NDArray[np.signedinteger]
    amount: FloatArray

    def __len__(self) -> int:
        """Count candidates."""
        return len(self.offset) - 1

    def priced(self, cumulative: FloatArray) -> FloatArray:
        """Money of each candidate's uses at given cumulative prices, shape (n_candidates,)."""
        out = np.zeros(len(self))
        for first in range(0, len(self), CHUNK):  # in pieces, to keep memory small
            offset = self.offset[first : first + CHUNK + 1]
            rows = slice(int(offset[0]), int(offset[-1]))
            resource = self.resource[rows]
            each = self.amount[rows] * (
                cumulative[resource, self.stop[rows]] - cumulative[resource, self.start[rows]]
            )
            total = np.concatenate(([0.0], np.cumsum(each)))
            ends = offset - offset[0]
            out[first : first + CHUNK] = total[ends[1:]] - total[ends[:-1]]
        return out

    def take(self, rows: IntArray) -> Segments:
        """Return the segments of chosen candidates, in that order."""
        counts = self.offset[rows + 1] - self.offset[rows]
        offset = np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
        flat = np.repeat(self.offset[rows] - offset[:-1], counts) + np.arange(offset[-1])
        return Segments(
            offset, self.resource[flat], self.start[flat], self.stop[flat], self.amount[flat]
        )

    def use(self, share: FloatArray, n_resources: int, n_days: int) -> FloatArray:
        """Use by resource and day when candidate j is taken to the share `share[j]`."""
        counts = np.diff(self.offset)
        weight = np.repeat(share, counts) * self.amount
        change = np.zeros((n_resources, n_days + 1))
        np.add.at(change, (self.resource, self.start), weight)
        np.add.at(change, (self.resource, self.stop), -weight)
        return np.cumsum(change[:, :-1], axis=1)

    def fits(self, residual: FloatArray, tolerance: float = 1e-6) -> NDArray[np.bool_]:
        """Whether each candidate fits alone into what is left, shape (n_candidates,)."""
        ok = np.ones(len(self), dtype=bool)
        owner = np.repeat(np.arange(len(self)), np.diff(self.offset))
        least = RangeMinimum(residual).query(self.resource, self.start, self.stop)
        np.logical_and.at(ok, owner, self.amount <= least + tolerance * (1 + np.abs(self.amount)))
        return ok


def stacked(parts: list[Segments]) -> Segments:
    """Lay the segments of several blocks behind each other, in small types."""
    if not parts:
        return SegmentBuilder().build(0)
    sizes = np.cumsum([0, *(len(p.resource) for p in parts)])
    offsets = [p.offset[1:] + size for p, size in zip(parts, sizes, strict=False)]
    return Segments(
        np.concatenate(([0], *offsets)).astype(np.int64),
        np.concatenate([p.resource.astype(np.int16) for p in parts]),
        np.concatenate([p.start.astype(np.int16) for p in parts]),
        np.concatenate([p.stop.astype(np.int16) for p in parts]),
        np.concatenate([p.amount for p in parts]),
    )


class RangeMinimum:
    """Least value over ranges of days in constant time each (sparse table)."""

    def __init__(self, values: FloatArray) -> None:
        self._levels = [values]
        step = 1
        while 2 * step <= values.shape[1]:
            last = self._levels[-1]
            self._levels.append(np.minimum(last[:, : last.shape[1] - step], last[:, step:]))
            step *= 2

    def query(
        self,
        row: NDArray[np.signedinteger],
        start: NDArray[np.signedinteger],
        stop: NDArray[np.signedinteger],
    ) -> FloatArray:
        """Return the minimum of `values[row, start:stop]` for each entry; inf for empty ranges."""
        length = np.maximum(stop.astype(np.int64) - start, 0)
        level = np.where(length > 0, np.log2(np.maximum(length, 1)).astype(np.int64), 0)
        out = np.full(len(row), np.inf)
        for k, values in enumerate(self._levels):
            here = (level == k) & (length > 0)
            if here.any():
                r, a, b = row[here], start[here], stop[here]
                out[here] = np.minimum(values[r, a], values[r, b - (1 << k)])
        return out


class SegmentBuilder:
    """Collects segments in blocks of candidates and joins them once."""

    def __init__(self) -> None:
        self._owner: list[IntArray] = []
        self._resource: list[NDArray[np.int32]] = []
        self._start: list[NDArray[np.int32]] = []
        self._stop: list[NDArray[np.int32]] = []
        self._amount: list[FloatArray] = []

    def add(
        self,
        owner: IntArray,
        resource: int | IntArray,
        start: IntArray,
        stop: IntArray,
        amount: float | FloatArray,
    ) -> None:
        """Add one segment for each owner; empty ones are left out."""
        owner, start, stop = np.broadcast_arrays(owner, start, stop)
        amount = np.broadcast_to(np.asarray(amount, dtype=float), owner.shape)
        resource = np.broadcast_to(np.asarray(resource), owner.shape)
        keep = (stop > start) & (amount > 0) & (resource >= 0)
        if keep.any():
            self._owner.append(owner[keep].astype(np.int64))
            self._resource.append(resource[keep].astype(np.int32))
            self._start.append(start[keep].astype(np.int32))
            self._stop.append(stop[keep].astype(np.int32))
            self._amount.append(amount[keep].astype(float))

    def build(self, n_candidates: int) -> Segments:
        """Join all blocks into segments sorted by candidate."""
        if not self._owner:
            empty = np.zeros(0, dtype=np.int32)
            return Segments(
                np.zeros(n_candidates + 1, dtype=np.int64), empty, empty, empty, np.zeros(0)
            )
        owner = np.concatenate(self._owner)
        order = np.argsort(owner, kind="stable")
        counts = np.bincount(owner, minlength=n_candidates)
        offset = np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
        return Segments(
            offset,
            np.concatenate(self._resource)[order],
            np.concatenate(self._start)[order],
            np.concatenate(self._stop)[order],
            np.concatenate(self._amount)[order],
        )
