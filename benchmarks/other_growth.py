"""Growth as single handbook rows have it, and emergence by the other table."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.records import ContainerClass, Crop, Emergence, ReadyRule
from sowbench.reference.catalog import Catalog, emergence_other_record
from sowbench.reference.fit_growth import POT_DIRECT_FACTOR
from sowbench.reference.growth_rows import (
    LEAST_GROWTH_D,
    EmergenceDays,
    Row,
    cardinal,
    choices,
    pace,
    schedule_rows,
)
from sowbench.science.emergence import days_at_constant

Floats = NDArray[np.float64]

_ROWS_OF = {
    ContainerClass.PLUG: "plug",
    ContainerClass.CUBE: "cube",
    ContainerClass.BLOCK: "block",
    ContainerClass.POT: "pot",
}


@dataclass(frozen=True)
class RowDays:
    """Days of growth at the rule's reference temperature by single rows, shape (n_rows,)."""

    low_d: Floats
    high_d: Floats

    def drawn(self, which: Floats, where: Floats) -> Floats:
        """Days of a row each year, between the ends of its weeks.

        Parameters
        ----------
        which, where : ndarray, shape (n_years,)
            Draws from 0 to 1: the row, and the place between its weeks.

        Returns
        -------
        days_d : ndarray, shape (n_years,)
            Days at the reference temperature [d].
        """
        row = np.minimum((which * len(self.low_d)).astype(np.int64), len(self.low_d) - 1)
        low, high = self.low_d[row], self.high_d[row]
        return np.asarray(low + (high - low) * where)


class OtherGrowth:
    """What the other world holds for true of each crop's emergence and growth."""

    def __init__(self, catalog: Catalog) -> None:
        self.catalog = catalog
        self.rows = schedule_rows()
        self.choices = {row["crop"]: row for row in choices()}
        self.cardinal = cardinal()
        self.planners_days = EmergenceDays()
        self.without_rows: set[str] = set()
        self._kept: dict[tuple[str, ReadyRule], RowDays] = {}

    def emergence(self, crop: Crop) -> Emergence:
        """Emergence by the other table, where it has the crop.

        Parameters
        ----------
        crop : Crop
            The crop.

        Returns
        -------
        emergence : Emergence
            What the planner uses, with the other table's values in place of it.
        """
        row = self.catalog.emergence_other.get(crop.id, {})
        return emergence_other_record(row, crop.emergence) or crop.emergence

    def days(self, crop: Crop, rule: ReadyRule) -> RowDays:
        """Days of growth by each row of the crop in the rule's container class.

        Parameters
        ----------
        crop : Crop
            The crop.
        rule : ReadyRule
            The planner's rule, for its class and reference temperature.

        Returns
        -------
        days : RowDays
            One a row; if no row speaks of the crop, the rule's days and a fifth to either side.
        """
        key = (crop.id, rule)
        if key not in self._kept:
            self._kept[key] = self._days(crop, rule)
        return self._kept[key]

    def _days(self, crop: Crop, rule: ReadyRule) -> RowDays:
        factor = 1.0
        wanted = _ROWS_OF.get(rule.container_class, "")
        if rule.container_class == ContainerClass.PELLET:
            wanted = "plug" if rule.leaves != 2.5 else "cube"
        if rule.container_class == ContainerClass.POT and rule.pot_on_d_ref is None:
            wanted, factor = "plug", POT_DIRECT_FACTOR
        own = [r for r in self.rows if r.crop == crop.id and r.container_class == wanted]
        choice = self.choices.get(crop.id)
        if not own and choice is not None and choice["kin_rows"]:
            kin = choice["kin_rows"].split("|")
            own = [r for r in self.rows if r.crop in kin and r.container_class == wanted]
        if not own or choice is None:
            self.without_rows.add(f"{crop.id} in {rule.container_class.value}")
            return RowDays(np.array([0.8 * rule.days_ref]), np.array([1.2 * rule.days_ref]))
        response = self.cardinal[choice["like"]]
        ends = [self._ends(crop, r, response, rule.temp_ref_c) for r in own]
        low, high = (np.array(each) * factor for each in zip(*ends, strict=True))
        return RowDays(low, high)

    def _ends(
        self, crop: Crop, row: Row, response: dict[str, str], temp_ref_c: float
    ) -> tuple[float, float]:
        """Least and most days of growth of one row, emergence by the other table taken off."""
        emergence = self.emergence(crop)
        best_c = (emergence.optimum_low_c + emergence.optimum_high_c) / 2
        temp_c = best_c if row.germination_c is None else row.germination_c
        emerge_d = float(days_at_constant(temp_c, emergence))
        if not math.isfinite(emerge_d):
            emerge_d = self.planners_days.days(replace(row, crop=crop.id))
        rate = 1.0 if row.temp_24h_c is None else pace(row.temp_24h_c, response, temp_ref_c)
        low, high = (
            max(LEAST_GROWTH_D, 7 * each - emerge_d) * rate
            for each in (row.weeks_min, row.weeks_max)
        )
        return low, high
