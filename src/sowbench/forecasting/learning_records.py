"""What is learned from: finished sowings and their evidence; and what is learned: factors."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Final

from sowbench.science.errors import OutOfRangeError

PACE_EMERGENCE: Final = "pace to emergence"
PACE_READY: Final = "pace to ready"
STAND: Final = "final stand"
SURVIVE: Final = "losses after emergence"
GRADE: Final = "losses at grading"
_MINUTES: Final = "minutes: "

QUANTITIES: Final = (PACE_EMERGENCE, PACE_READY, STAND, SURVIVE, GRADE)
"""Quantities that are learned, less the minutes of each task."""

ON_LOGIT: Final = frozenset({STAND, SURVIVE, GRADE})
"""Quantities whose factor moves a share by its logit."""


def minutes_of(task: str) -> str:
    """Return the quantity that the minutes of a task are.

    Parameters
    ----------
    task : str
        Task as the plan names it, such as ``sow``.

    Returns
    -------
    quantity : str
        Its quantity.

    Examples
    --------
    >>> minutes_of("sow"), task_of("minutes: sow"), task_of("final stand")
    ('minutes: sow', 'sow', '')
    """
    return f"{_MINUTES}{task}"


def task_of(quantity: str) -> str:
    """Return the task whose minutes a quantity is.

    Parameters
    ----------
    quantity : str
        A quantity.

    Returns
    -------
    task : str
        The task; blank if it is no minutes.
    """
    return quantity.removeprefix(_MINUTES) if quantity.startswith(_MINUTES) else ""


class Level(StrEnum):
    """What a factor is about, from the widest to the narrowest."""

    HOUSE = "house"
    KIN = "kin"
    CROP = "crop"
    CONTAINER = "container"
    PLACE = "place"
    SEASON = "season"


@dataclass(frozen=True, slots=True)
class Reading:
    """A number with its own error.

    Attributes
    ----------
    value : float
        Logarithm of observed over expected, or difference of logits.
    variance : float
        Variance of its error.
    """

    value: float
    variance: float

    def __post_init__(self) -> None:
        """Refuse what is no number."""
        if not math.isfinite(self.value):
            raise OutOfRangeError("value of a reading", "a finite number", self.value)
        if not (math.isfinite(self.variance) and self.variance >= 0.0):
            raise OutOfRangeError("variance of a reading", "0 or more", self.variance)


@dataclass(frozen=True, slots=True)
class Kept:
    """Cells that were kept of those there were, and the share that was expected.

    Attributes
    ----------
    n_kept, n_of : int
        Cells kept, and cells there were.
    expected_frac : float
        Share expected.
    n_trays : int
        Trays that they were in.
    """

    n_kept: int
    n_of: int
    expected_frac: float
    n_trays: int = 1

    def __post_init__(self) -> None:
        """Refuse counts that do not fit."""
        if not 0 <= self.n_kept <= self.n_of:
            raise OutOfRangeError("n_kept", f"from 0 to n_of {self.n_of}", self.n_kept)
        if not 0.0 < self.expected_frac < 1.0:
            raise OutOfRangeError("expected_frac", "above 0 and below 1", self.expected_frac)
        if self.n_trays < 1:
            raise OutOfRangeError("n_trays", "1 or more", self.n_trays)


@dataclass(frozen=True, slots=True)
class Worked:
    """Minutes of one task of a sowing, as worked and as reckoned."""

    task: str
    worked_min: float
    reckoned_min: float

    def __post_init__(self) -> None:
        """Refuse minutes that have no logarithm."""
        for name in ("worked_min", "reckoned_min"):
            if not (math.isfinite(getattr(self, name)) and getattr(self, name) > 0.0):
                raise OutOfRangeError(f"{name} of {self.task}", "above 0 min", getattr(self, name))


@dataclass(frozen=True, slots=True)
class FinishedSowing:
    """A sowing that is over, with what it says of the handbook's values.

    Attributes
    ----------
    sowing, crop, kin : str
        Its name, its crop and the crop's kin.
    container : str
        Container class in which it grew.
    place : str
        Place in which it grew.
    sow_date, ended_date : date
        First and last day.
    sigma_pace, sigma_growth : float
        The handbook's doubt about both paces; standard deviations of the logarithm.
    pace_emergence, pace_ready, stand : Reading or None
        Readings of docs/model.md section 15; None where the journal does not tell.
    survived, graded : Kept or None
        Cells left after losses, and cells fit at grading.
    minutes : tuple of Worked
        Minutes by task.
    germination_place : str
        Place in which it came up; that of growing if blank.
    lot : str
        Its lot; what the lot's test is wrong by is shared by all that was sown of it.
    """

    sowing: str
    crop: str
    kin: str
    container: str
    place: str
    sow_date: date
    ended_date: date
    sigma_pace: float
    sigma_growth: float
    pace_emergence: Reading | None = None
    pace_ready: Reading | None = None
    stand: Reading | None = None
    survived: Kept | None = None
    graded: Kept | None = None
    minutes: tuple[Worked, ...] = ()
    germination_place: str = ""
    lot: str = ""

    def __post_init__(self) -> None:
        """Refuse what cannot be learned from."""
        for name in ("sigma_pace", "sigma_growth"):
            if not getattr(self, name) > 0.0:
                raise OutOfRangeError(f"{name} of {self.sowing}", "above 0", getattr(self, name))
        if self.ended_date < self.sow_date:
            rule = f"{self.sow_date} (sow_date) or later"
            raise OutOfRangeError(f"ended_date of {self.sowing}", rule, self.ended_date)


@dataclass(frozen=True, slots=True)
class Evidence:
    """One observation of a quantity by a sowing.

    Attributes
    ----------
    quantity, sowing, crop, kin, container, place : str
        What was observed and where.
    season : int
        Year in which it was sown.
    batch : str
        What it shares with others beside: its crop and season, or its lot.
    date : date
        Day on which the sowing ended.
    value, variance : float
        Logarithm of observed over expected (or difference of logits), and its error variance.
    doubt : float
        Standard deviation that the handbook gives it.
    weight : float
        Pull that it has, against one that is as expected; near 1 for most, near 0 for odd ones.
    dropped : bool
        Whether the grower left it out.
    """

    quantity: str
    sowing: str
    crop: str
    kin: str
    container: str
    place: str
    season: int
    batch: str
    date: date
    value: float
    variance: float
    doubt: float
    weight: float = 1.0
    dropped: bool = False

    @property
    def key(self) -> str:
        """Name by which it can be dropped."""
        return f"{self.quantity}|{self.sowing}"


@dataclass(frozen=True, slots=True)
class Factor:
    """What the house's records say of one thing.

    Attributes
    ----------
    quantity : str
        The quantity.
    level : Level
        What it is about.
    name : str
        Crop, kin, container class or place; blank for the house.
    multiplier : float
        exp of the mean: against the handbook, of the house, kin and crop with what is above, of a
        crop also with the containers and places of its evidence; of containers and places against
        the others. The odds' for quantities on the logit.
    low, high : float
        Ten and ninety percent points.
    n_evidence : int
        Observations that bear on it directly, less those dropped.
    shrink_frac : float
        Share of the prior doubt that is left: 1 is as little known as before.
    frozen : float or None
        Multiplier that the grower has fixed.
    """

    quantity: str
    level: Level
    name: str
    multiplier: float
    low: float
    high: float
    n_evidence: int
    shrink_frac: float
    frozen: float | None = None

    @property
    def used(self) -> float:
        """Multiplier in use."""
        return self.multiplier if self.frozen is None else self.frozen

    @property
    def key(self) -> str:
        """Name by which it can be frozen."""
        return factor_key(self.quantity, self.level, self.name)


def factor_key(quantity: str, level: Level, name: str) -> str:
    """Return the name of a factor by which it can be frozen.

    Parameters
    ----------
    quantity : str
        The quantity.
    level : Level
        What the factor is about.
    name : str
        Crop, kin, container class or place; blank for the house.

    Returns
    -------
    key : str
        Its name.

    Examples
    --------
    >>> factor_key(PACE_READY, Level.CROP, "basil")
    'pace to ready|crop|basil'
    """
    return f"{quantity}|{level}|{name}"


@dataclass(frozen=True, slots=True)
class Applied:
    """What is used of a quantity for a crop, a container and a place.

    Attributes
    ----------
    multiplier : float
        Takes the place of 1: of thermal time, of days at reference, of minutes; of the odds of
        shares.
    sigma : float
        Standard deviation of the logarithm (or logit) for one more sowing.
    n_evidence : int
        Sowings of the crop that it rests on.
    n_house : int
        Sowings of the house that it rests on.
    """

    multiplier: float
    sigma: float
    n_evidence: int
    n_house: int


@dataclass(frozen=True, slots=True)
class Choices:
    """What the grower has decided about what is learned.

    Attributes
    ----------
    dropped : frozenset of str
        Keys of evidence that is left out.
    frozen : dict of str to float
        Multipliers by key of their factor.
    """

    dropped: frozenset[str] = frozenset()
    frozen: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse multipliers that none can have."""
        for key, value in self.frozen.items():
            if not 0.05 <= value <= 20.0:
                rule = "from 0.05 to 20 (our limits, against slips of the finger)"
                raise OutOfRangeError(f"frozen value of {key}", rule, value)


@dataclass(frozen=True, slots=True)
class Scales:
    """Prior scales of the spreads of one quantity (assumptions, docs/model.md section 15).

    Attributes
    ----------
    house, kin, crop : float
        Shares of the doubt about a crop; their squares add to 1.
    container, place, season, sowing : float
        In the unit of the quantity.
    doubt : float or None
        Prior standard deviation where the handbook has none of its own.
    """

    house: float
    kin: float
    crop: float
    container: float
    place: float
    season: float
    sowing: float
    doubt: float | None = None

    def __post_init__(self) -> None:
        """Refuse shares that do not add up, and spreads of nothing."""
        total = self.house**2 + self.kin**2 + self.crop**2
        if abs(total - 1.0) > 0.01:
            rule = "such that the squares of house, kin and crop add to 1"
            raise OutOfRangeError("scales", rule, total)
        for name in ("container", "place", "season", "sowing"):
            if not getattr(self, name) > 0.0:
                raise OutOfRangeError(name, "above 0", getattr(self, name))


SCALES_PACE: Final = Scales(0.45, 0.55, 0.70, 0.04, 0.05, 0.08, 0.08)
SCALES_SHARE: Final = Scales(0.45, 0.55, 0.70, 0.15, 0.15, 0.30, 0.25, 0.6)
SCALES_MINUTES: Final = Scales(0.70, 0.45, 0.55, 0.10, 0.10, 0.05, 0.15, 0.4)


def scales_of(quantity: str) -> Scales:
    """Return the prior scales of a quantity.

    Parameters
    ----------
    quantity : str
        The quantity.

    Returns
    -------
    scales : Scales
        Its scales.
    """
    if quantity in {PACE_EMERGENCE, PACE_READY}:
        return SCALES_PACE
    return SCALES_SHARE if quantity in ON_LOGIT else SCALES_MINUTES
