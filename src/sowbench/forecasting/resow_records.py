"""What resowing is decided from, and what is said of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sowbench.forecasting.supply import SecondDays
from sowbench.science.errors import OutOfRangeError
from sowbench.science.trays import RHO_TRAY, TRAY_LOSS_FRAC

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Stakes:
    """What is at stake, in the house's money.

    Attributes
    ----------
    missed_order : float
        An order that is not filled in time and in full.
    short_plant : float
        A plant that it lacks.
    resow, resow_cell : float
        A resowing, and each of its cells (seed, mix, room, minutes).
    minute : float
        A minute of counting.
    """

    missed_order: float
    short_plant: float
    resow: float
    resow_cell: float
    minute: float

    def __post_init__(self) -> None:
        """Refuse money below 0."""
        for name in ("missed_order", "short_plant", "resow", "resow_cell", "minute"):
            if not getattr(self, name) >= 0.0:
                raise OutOfRangeError(name, "0 or more", getattr(self, name))


ONLY_MISSED: Final = Stakes(1.0, 0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class ResowRule:
    """When a sowing is called short.

    The usual values are tuned on the seasons of docs/benchmarks.md, "Failures planted".

    Attributes
    ----------
    now_frac : float
        Below this chance to be filled it is called short at once.
    last_frac : float
        Below this chance it is called short when there will be no look before it is too late to
        resow, and ever after.
    sure_frac : float
        Chance of being ready in time that a last useful day must give at least, beside being ready
        in time at the middle of weather and pace.
    gain_least : float
        Money that a resowing must save at least.
    """

    now_frac: float = 0.2
    last_frac: float = 0.35
    sure_frac: float = 0.5
    gain_least: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no chance."""
        for name in ("now_frac", "last_frac", "sure_frac"):
            if not 0.0 <= getattr(self, name) <= 1.0:
                raise OutOfRangeError(name, "from 0 to 1", getattr(self, name))


@dataclass(frozen=True, slots=True, eq=False)
class Resowing:
    """One way to resow: an admissible lot in a container, on each day on which it may be sown.

    Attributes
    ----------
    lot : str
        Its lot.
    sow_day : ndarray of int, shape (D,)
        Days on which it may be sown, rising, in days since the season's first midnight.
    ready_day, overgrown_day : ndarray, shape (D, W, Z)
        Days on which it is then ready and overgrown, at the nodes of weather and pace.
    usable_frac, usable_sd_frac : float
        Share of its cells that will be usable, and doubt about it (lot, season).
    cells_per_tray : int
        Cells of a full tray.
    cells_most : int
        Cells for which there is seed and room.
    rho_tray, tray_loss_frac : float
        As in docs/model.md section 5.
    """

    lot: str
    sow_day: Ints
    ready_day: Floats
    overgrown_day: Floats
    usable_frac: float
    usable_sd_frac: float
    cells_per_tray: int
    cells_most: int
    rho_tray: float = RHO_TRAY
    tray_loss_frac: float = TRAY_LOSS_FRAC

    def __post_init__(self) -> None:
        """Refuse what does not fit together."""
        n_days = self.sow_day.size
        if self.ready_day.ndim != 3 or self.ready_day.shape[0] != n_days:
            rule = f"one table for each of {n_days} sowing days"
            raise OutOfRangeError(f"ready_day of {self.lot}", rule, self.ready_day.shape)
        if self.overgrown_day.shape != self.ready_day.shape:
            rule = f"as ready_day {self.ready_day.shape}"
            raise OutOfRangeError(f"overgrown_day of {self.lot}", rule, self.overgrown_day.shape)
        if not 0.0 < self.usable_frac <= 1.0:
            raise OutOfRangeError(f"usable_frac of {self.lot}", "above 0, to 1", self.usable_frac)

    def days_from(self, today: int) -> SecondDays | None:
        """Return the days of a resowing on the first sowing day from today on.

        Parameters
        ----------
        today : int
            Today.

        Returns
        -------
        days : SecondDays or None
            None if it is sown no more.
        """
        at = int(np.searchsorted(self.sow_day, today))
        if at == self.sow_day.size:
            return None
        return SecondDays(self.ready_day[at], self.overgrown_day[at])


@dataclass(frozen=True, slots=True)
class LastDay:
    """The last sowing day on which a resowing still helps.

    Attributes
    ----------
    day : int or None
        The day; None if there is none.
    lot : str
        Lot that is ready in time when sown then.
    in_time_frac : float
        Its chance of being ready in time.
    """

    day: int | None
    lot: str
    in_time_frac: float


@dataclass(frozen=True, slots=True)
class ResowAdvice:
    """What to think of an order and its sowing today.

    Attributes
    ----------
    order, row : int
        Which order, and which sowing.
    short : bool
        Whether it is called short.
    pays : bool
        Whether a resowing then saves more than it costs.
    chance_now_frac, chance_with_frac : float
        Chance that the order is filled as it stands, and with the resowing.
    limit_frac : float
        Chance below which it is called short today.
    last : LastDay
        Last useful resowing day over all ways.
    is_last_call : bool
        Whether the next look would come after it, or there is none.
    lot : str
        Lot of the best way; "" if there is none.
    n_cells : int
        Cells to resow, so that what both give reaches the confidence.
    reaches : bool
        Whether that many cells reach it.
    gain, cost : float
        Money that the resowing saves beyond its cost, and its cost.
    """

    order: int
    row: int
    short: bool
    pays: bool
    chance_now_frac: float
    chance_with_frac: float
    limit_frac: float
    last: LastDay
    is_last_call: bool
    lot: str
    n_cells: int
    reaches: bool
    gain: float
    cost: float


@dataclass(frozen=True, slots=True, eq=False)
class Second:
    """What a resowing adds.

    Attributes
    ----------
    mean, variance : ndarray, shape (Q,)
        Of its usable cells.
    cost : ndarray, shape (Q,)
        Its cost.
    """

    mean: Floats
    variance: Floats
    cost: Floats
