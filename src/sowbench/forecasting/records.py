"""What a forecast is made from, and what it says."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.journal import Entry
from sowbench.domain.plan import Spread
from sowbench.domain.records import Standing
from sowbench.science.errors import OutOfRangeError
from sowbench.science.risk import OrderNeed
from sowbench.science.stand import CULL_FRAC, EMERGENCE_FRAC, SURVIVE_FRAC
from sowbench.science.trays import RHO_TRAY, TRAY_LOSS_FRAC

Floats = NDArray[np.float64]

# Chance that a lot's test says nothing of the seed as it lies in the cells (assumption).
ODD_LOT_FRAC: Final = 0.01


@dataclass(frozen=True, slots=True)
class LotTest:
    """What is known of a lot before anything comes up.

    Attributes
    ----------
    n_normal, n_tested : float
        Normal seedlings of those tested.
    aging_probits : float
        Probits that the lot has lost since its test; 0 where unknown.
    """

    n_normal: float
    n_tested: float
    aging_probits: float = 0.0


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast a crop comes up.

    Attributes
    ----------
    thermal_time_cd : float
        Thermal time from sowing to median emergence [°C d].
    sigma_seed, sigma_pace : float
        Spread between seeds, and doubt about the crop's own thermal time; standard deviations of
        the logarithm.
    """

    thermal_time_cd: float
    sigma_seed: float
    sigma_pace: float


@dataclass(frozen=True, slots=True)
class CellRule:
    """What is put in a cell and what makes it right.

    Attributes
    ----------
    seeds_per_cell, plants_least : int
        Seed units in a cell, and the fewest plants wanted in it.
    seedlings_per_unit : float
        Seedlings of a seed unit.
    """

    seeds_per_cell: int = 1
    plants_least: int = 1
    seedlings_per_unit: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class OpenSowing:
    """A sowing that is not finished: what the plan knows of it, and its journal.

    Attributes
    ----------
    sowing, lot, crop : str
        Its name, its lot and its crop.
    sow_date : date
        Day of sowing, at noon.
    test : LotTest
        The lot's test.
    pace : Pace
        Pace of emergence.
    cell : CellRule
        What is in a cell.
    hours_h : ndarray, shape (T,)
        Hours since sowing at which progress is given, rising from 0; straight between.
    progress_cd : ndarray, shape (W, T) or (1, T)
        Thermal time of the mix since sowing [°C d] at each weather node, as planned; one row where
        it was measured.
    warm_frac : ndarray, shape (W,)
        Final fraction at the mix's temperature over that at the best, by weather node.
    ready_day, overgrown_day : ndarray, shape (W, Z)
        Days since the season's first midnight at the nodes of weather and pace; inf for never.
    entries : tuple of Entry
        Its entries that stand, in the order of arrival.
    standing : Standing or None
        How it stood before the book, if it did.
    n_cells, cells_per_tray : int
        Cells sown and cells of a full tray, for where the journal does not tell of trays.
    on_time_frac, light_frac : float
        Share of seeds that come before the grace ends, share left by poor light.
    emergence_frac, survive_frac, cull_frac, rho_tray, tray_loss_frac : float
        As in docs/model.md section 5.
    progress_before_cd : ndarray or None
        Progress as it was reckoned with before, as `progress_cd` is given now; None where it is
        the same.
    """

    sowing: str
    lot: str
    crop: str
    sow_date: date
    test: LotTest
    pace: Pace
    cell: CellRule
    hours_h: Floats
    progress_cd: Floats
    warm_frac: Floats
    ready_day: Floats
    overgrown_day: Floats
    entries: tuple[Entry, ...] = ()
    standing: Standing | None = None
    n_cells: int = 0
    cells_per_tray: int = 128
    on_time_frac: float = 1.0
    light_frac: float = 1.0
    emergence_frac: float = EMERGENCE_FRAC
    survive_frac: float = SURVIVE_FRAC
    cull_frac: float = CULL_FRAC
    rho_tray: float = RHO_TRAY
    tray_loss_frac: float = TRAY_LOSS_FRAC
    progress_before_cd: Floats | None = None

    def __post_init__(self) -> None:
        """Refuse what does not fit together."""
        n_nodes = self.warm_frac.size
        if self.ready_day.shape != self.overgrown_day.shape or self.ready_day.shape[0] != n_nodes:
            rule = f"days at the {n_nodes} weather nodes of warm_frac"
            raise OutOfRangeError(f"ready_day of {self.sowing}", rule, self.ready_day.shape)
        if self.progress_cd.ndim != 2 or self.progress_cd.shape[0] not in {1, n_nodes}:
            rule = f"one row, or one for each of {n_nodes} weather nodes"
            raise OutOfRangeError(f"progress_cd of {self.sowing}", rule, self.progress_cd.shape)
        if self.hours_h.shape != self.progress_cd.shape[1:]:
            rule = f"an hour for each of {self.progress_cd.shape[1]} values of progress_cd"
            raise OutOfRangeError(f"hours_h of {self.sowing}", rule, self.hours_h.shape)
        before = self.progress_before_cd
        if before is not None and (before.ndim != 2 or before.shape[1:] != self.hours_h.shape):
            rule = f"rows of {self.hours_h.size} values, one for each of hours_h"
            raise OutOfRangeError(f"progress_before_cd of {self.sowing}", rule, before.shape)
        if not 0.0 <= self.test.n_normal <= self.test.n_tested:
            rule = f"from 0 to n_tested {self.test.n_tested:g}"
            raise OutOfRangeError(f"n_normal of {self.sowing}", rule, self.test.n_normal)
        if not (self.pace.sigma_seed > 0.0 and self.pace.thermal_time_cd > 0.0):
            rule = "sigma_seed and thermal_time_cd above 0"
            raise OutOfRangeError(f"pace of {self.sowing}", rule, self.pace)

    @property
    def kept_frac(self) -> float:
        """Share of right cells that is handed over."""
        return self.survive_frac * (1.0 - self.cull_frac) * self.light_frac


@dataclass(frozen=True, slots=True)
class OpenOrder:
    """An order and what it gets of the open sowings.

    Attributes
    ----------
    order : str
        Its name.
    need : OrderNeed
        Cells still wanted, the days that serve, and its shares; a share's `sowing` is the index
        among the sowings that are forecast together.
    """

    order: str
    need: OrderNeed


@dataclass(frozen=True, slots=True)
class ForecastParameters:
    """How finely to reckon, and what is believed beside the plan.

    Attributes
    ----------
    n_lag, n_stand : int
        Cells of the last grid along lag and along final fraction, 8 or more.
    n_zoom : int
        Cells of each closing-in step along both, 8 or more.
    odd_lot_frac : float
        Chance that the lot's test says nothing of the seed in the cells (assumption).
    exact_up_to : int
        Sowings of so many cells at most are reckoned by their exact distribution.
    """

    n_lag: int = 33
    n_stand: int = 25
    n_zoom: int = 21
    odd_lot_frac: float = ODD_LOT_FRAC
    exact_up_to: int = 100

    def __post_init__(self) -> None:
        """Refuse what cannot be reckoned with."""
        for name in ("n_lag", "n_stand", "n_zoom"):
            if getattr(self, name) < 8:
                raise OutOfRangeError(name, "8 or more", getattr(self, name))
        if not 0.0 <= self.odd_lot_frac < 1.0:
            raise OutOfRangeError("odd_lot_frac", "from 0 to below 1", self.odd_lot_frac)


@dataclass(frozen=True, slots=True)
class DaySpread:
    """Ten, fifty and ninety percent points of a day; inf where it may never come.

    Attributes
    ----------
    p10, p50, p90 : float
        First midnight at or after, in days since the season's first midnight.
    """

    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True)
class SowingForecast:
    """What is to be expected of a sowing.

    Attributes
    ----------
    sowing : str
        Its name.
    plants : Spread
        Five, fifty and ninety-five percent points of usable cells still to be handed over.
    plants_mean, plants_sd : float
        Mean and standard deviation of the same.
    right_frac : tuple of float
        Ten, fifty and ninety percent points of the share of cells right in the end, of the lot as
        it came up in these trays.
    lag : tuple of float
        The same of the lag: how much more thermal time than planned (as ln) emergence takes.
    ready : DaySpread
        Day on which it is ready.
    n_cells : int
        Cells that still stand.
    n_counts : int
        Counts of its trays that it rests on.
    """

    sowing: str
    plants: Spread
    plants_mean: float
    plants_sd: float
    right_frac: tuple[float, float, float]
    lag: tuple[float, float, float]
    ready: DaySpread
    n_cells: int
    n_counts: int


@dataclass(frozen=True, slots=True)
class OrderForecast:
    """What an order has to hope for; the chances mean what docs/formats.md says.

    Attributes
    ----------
    order : str
        Its name.
    chance_enough_frac, chance_in_time_frac, chance_filled_frac : float
        Chances of enough plants, of the day, and of both at once.
    """

    order: str
    chance_enough_frac: float
    chance_in_time_frac: float
    chance_filled_frac: float


@dataclass(frozen=True, slots=True)
class Cause:
    """What one entry, or the warmth since, did to a forecast: with it less without it.

    Attributes
    ----------
    entry : str
        Id of the entry; empty for warmth.
    plants : float
        Change of the mean of usable plants.
    ready_d : float
        Change of the middle ready day [d].
    filled_frac : dict of str to float
        Change of the chance of each of the sowing's orders to be filled.
    warmer_cd : float or None
        Of warmth: thermal time at the end of the hours reckoned with now, less that of before
        [°C d]; below 0 where it was colder. None for an entry.
    """

    entry: str
    plants: float
    ready_d: float
    filled_frac: dict[str, float]
    warmer_cd: float | None = None


@dataclass(frozen=True, slots=True)
class Movement:
    """How a forecast moved since an earlier day.

    Attributes
    ----------
    sowing : str
        Name of the sowing.
    before, now : SowingForecast
        With the entries up to the earlier day, and with all.
    filled_before, filled_now : dict of str to float
        Chance of each of its orders to be filled.
    causes : tuple of Cause
        Later entries and warmth that moved it, the largest change of plants first.
    plants_rest : float
        Change of the mean that the causes do not add up to: what entries say together.
    """

    sowing: str
    before: SowingForecast
    now: SowingForecast
    filled_before: dict[str, float]
    filled_now: dict[str, float]
    causes: tuple[Cause, ...]
    plants_rest: float
