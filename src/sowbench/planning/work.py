"""Minutes of the jobs around a sowing, from the house's rates."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sowbench.science.labor import (
    LaborRates,
    carry_minutes,
    count_minutes,
    fill_minutes,
    pack_minutes,
    pot_on_minutes,
    sow_by_hand_minutes,
    space_minutes,
    thin_minutes,
    water_minutes,
)

FloatArray = NDArray[np.float64]


class Work:
    """Minutes of each job at one house's rates."""

    def __init__(self, rates: LaborRates) -> None:
        self.rates = rates

    def fill(self, n_units: ArrayLike) -> FloatArray:
        """Fill or soak containers."""
        return np.asarray(fill_minutes(n_units, self.rates))

    def place_seed(self, n_seeds: ArrayLike, *, pelleted: bool) -> FloatArray:
        """Place seed by hand."""
        return np.asarray(sow_by_hand_minutes(n_seeds, self.rates, pelleted))

    def carry(self, n_units: ArrayLike) -> FloatArray:
        """Carry lifted units there and back."""
        return np.asarray(carry_minutes(n_units, self.rates))

    def thin(self, n_cells: ArrayLike) -> FloatArray:
        """Thin cells that hold too many."""
        return np.asarray(thin_minutes(n_cells, self.rates))

    def count(self, n_units: ArrayLike) -> FloatArray:
        """Count emergence."""
        return np.asarray(count_minutes(n_units, self.rates))

    def pot_on(self, n_cells: ArrayLike) -> FloatArray:
        """Pot plants on."""
        return np.asarray(pot_on_minutes(n_cells, self.rates))

    def space(self, n_cells: ArrayLike) -> FloatArray:
        """Space plants out."""
        return np.asarray(space_minutes(n_cells, self.rates))

    def pack(self, n_units: ArrayLike) -> FloatArray:
        """Grade, label and pack for handing over."""
        return np.asarray(pack_minutes(n_units, self.rates))

    def water_per_m2(self) -> float:
        """Water a square meter for a day."""
        return float(np.asarray(water_minutes(1.0, self.rates)))
