"""Trays that still stand as arrays, those of which the same is known together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sowbench.forecasting.evidence import SowingEvidence, TrayEvidence
from sowbench.forecasting.looks import Looks, base_look

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class TrayGroups:
    """Trays that still stand, those of which the same is known together.

    Sorted by sowing, time, cells looked at and others.

    Attributes
    ----------
    row : ndarray of int, shape (G,)
        Sowing.
    time : ndarray of int, shape (G,)
        Time of the look among those of `Looks`; -1 where none matters.
    n_good, n_seen, n_unseen : ndarray of int, shape (G,)
        Right cells, cells looked at, and others.
    times : ndarray of int, shape (G,)
        Trays of the kind.
    n_sure, n_trays, n_cells, n_taken : ndarray of int, shape (R,)
        Cells known to be fit, trays, cells, and plants already handed over of them.
    """

    row: Ints
    time: Ints
    n_good: Ints
    n_seen: Ints
    n_unseen: Ints
    times: Ints
    n_sure: Ints
    n_trays: Ints
    n_cells: Ints
    n_taken: Ints


def tray_groups(evidence: Sequence[SowingEvidence], looks: Looks) -> TrayGroups:
    """Put the standing trays of many sowings into groups.

    Parameters
    ----------
    evidence : sequence of SowingEvidence
        What their journals tell.
    looks : Looks
        Their looks as arrays.

    Returns
    -------
    groups : TrayGroups
        The groups.
    """
    bounds = np.searchsorted(looks.time_of, np.arange(len(evidence) + 1)).tolist()
    hours = looks.hour_h.tolist()
    table: list[tuple[int, ...]] = []
    sums: list[tuple[int, int, int, int]] = []
    for row, told in enumerate(evidence):
        index = {hour: at for at, hour in enumerate(hours[bounds[row] : bounds[row + 1]])}
        tally: dict[tuple[int, int, int, int], int] = {}
        n_sure = n_trays = n_cells = 0
        for tray in told.trays:
            if not tray.stands:
                continue
            left = max(tray.n_cells - tray.n_lost, 0)
            n_trays += 1
            n_cells += left
            if tray.n_fit is not None:
                n_sure += min(tray.n_fit, left)
                continue
            good, seen, hour = _known(tray, left)
            time = -1 if hour is None else bounds[row] + index[hour]
            kind = (time, seen, left - seen, good)
            tally[kind] = tally.get(kind, 0) + 1
        sums.append((n_sure, n_trays, n_cells, told.n_taken))
        table += [(row, *kind, n) for kind, n in sorted(tally.items())]
    groups = np.array(table, dtype=np.int64).reshape(-1, 6).T
    order = (0, 1, 4, 2, 3, 5)
    return TrayGroups(
        *(np.ascontiguousarray(groups[at]) for at in order),
        *(np.ascontiguousarray(each) for each in np.array(sums, dtype=np.int64).reshape(-1, 4).T),
    )


def _known(tray: TrayEvidence, left: int) -> tuple[int, int, float | None]:
    """Return right cells, cells looked at and the hour, as the tray is now."""
    if tray.chosen and not tray.looks:
        return left, left, None
    if not tray.looks:
        if not tray.n_added:
            return 0, 0, None
        added = min(tray.n_added, left)
        return added, added, None
    look = tray.looks[-1 if tray.chosen else base_look(tray.looks)]
    before = max(tray.n_cells - look.n_lost_before, 1)
    gone = tray.n_lost - look.n_lost_before
    here = round(gone * min(look.n_seen, before) / before)
    seen = min(max(look.n_seen - here, 0), left)
    good = min(max(look.n_right - here, 0) + tray.n_added, seen)
    return good, seen, None if tray.chosen else look.hour_h
