"""What a house's finished sowings say of the handbook's values (docs/model.md section 15)."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from sowbench.forecasting.learning_pool import SPAN_OF_T, Levels, Pooled, pool
from sowbench.forecasting.learning_records import (
    GRADE,
    PACE_EMERGENCE,
    PACE_READY,
    QUANTITIES,
    STAND,
    SURVIVE,
    Applied,
    Choices,
    Evidence,
    Factor,
    FinishedSowing,
    Kept,
    Level,
    Reading,
    Scales,
    factor_key,
    minutes_of,
    scales_of,
)
from sowbench.science.errors import OutOfRangeError
from sowbench.science.trays import RHO_TRAY

__all__ = [
    "CLOCK_SD",
    "VARIANCE_MOST",
    "Learned",
    "evidence_of_sowing",
    "learn",
    "own_doubt",
]

Floats = NDArray[np.float64]

VARIANCE_MOST: Final = 0.7**2
"""Evidence with a larger error variance is left out: it would say nothing (our limit)."""

CLOCK_SD: Final = 0.15
"""Error of minutes read off a clock by hand, of the logarithm (assumption)."""

# Shares counted: where nothing was lost the error is wide, but leaving that out would only leave
# the sowings that lost something.
_COUNTED: Final = frozenset({SURVIVE, GRADE})
_Z80: Final = float(ndtri(0.9))
_LEVELS: Final = (Level.HOUSE, Level.KIN, Level.CROP, Level.CONTAINER, Level.PLACE, Level.SEASON)
_OF_DOUBT: Final = frozenset({Level.HOUSE, Level.KIN, Level.CROP})


def evidence_of_sowing(finished: FinishedSowing) -> tuple[Evidence, ...]:
    """Read the evidence off a finished sowing.

    Parameters
    ----------
    finished : FinishedSowing
        The sowing.

    Returns
    -------
    evidence : tuple of Evidence
        One for each quantity that it tells of with an error small enough to matter.
    """
    share = _doubt(STAND)
    minutes: dict[str, list[float]] = {}
    for each in finished.minutes:
        worked, reckoned = minutes.setdefault(each.task, [0.0, 0.0])
        minutes[each.task] = [worked + each.worked_min, reckoned + each.reckoned_min]
    readings: list[tuple[str, Reading | None, float]] = [
        (PACE_EMERGENCE, finished.pace_emergence, finished.sigma_pace),
        (PACE_READY, finished.pace_ready, finished.sigma_growth),
        (STAND, finished.stand, share),
        (SURVIVE, _kept_reading(finished.survived), share),
        (GRADE, _kept_reading(finished.graded), share),
    ]
    for task, (worked, reckoned) in sorted(minutes.items()):
        reading = Reading(math.log(worked / reckoned), CLOCK_SD**2)
        readings.append((minutes_of(task), reading, _doubt(minutes_of(task))))
    came_up = finished.germination_place or finished.place
    return tuple(
        Evidence(
            quantity=quantity,
            sowing=finished.sowing,
            crop=finished.crop,
            kin=finished.kin,
            container=finished.container,
            place=came_up if quantity in {PACE_EMERGENCE, STAND} else finished.place,
            season=finished.sow_date.year,
            batch=_batch(quantity, finished),
            date=finished.ended_date,
            value=reading.value,
            variance=reading.variance,
            doubt=doubt,
        )
        for quantity, reading, doubt in readings
        if reading is not None and (quantity in _COUNTED or reading.variance <= VARIANCE_MOST)
    )


def _of_season(crop: str, season: int) -> str:
    """Name what sowings of a crop in one season share."""
    return f"{crop} {season}"


def _batch(quantity: str, finished: FinishedSowing) -> str:
    """Name what a sowing shares with others beside its crop: its lot, or its season."""
    if quantity == STAND and finished.lot:
        return f"lot {finished.lot}"
    return _of_season(finished.crop, finished.sow_date.year)


def _doubt(quantity: str) -> float:
    """Return the prior doubt about a quantity of which the handbook gives none."""
    doubt = scales_of(quantity).doubt
    if doubt is None:
        rule = "one whose doubt does not depend on the crop"
        raise OutOfRangeError("quantity", rule, quantity)
    return doubt


def _kept_reading(kept: Kept | None) -> Reading | None:
    """Compare a share kept with the one expected, by their logits."""
    if kept is None or kept.n_of == 0:
        return None
    good, bad = kept.n_kept + 0.5, kept.n_of - kept.n_kept + 0.5
    wider = 1.0 + max(kept.n_of / kept.n_trays - 1.0, 0.0) * RHO_TRAY
    value = math.log(good / bad) - math.log(kept.expected_frac / (1.0 - kept.expected_frac))
    return Reading(value, (1.0 / good + 1.0 / bad) * wider)


@dataclass(frozen=True, slots=True, eq=False)
class _Quantity:
    """What was pooled of one quantity."""

    quantity: str
    scales: Scales
    used: tuple[Evidence, ...]
    names: Mapping[Level, tuple[str, ...]]
    columns: Mapping[tuple[Level, str], int]
    pooled: Pooled

    def tau2(self, level: Level) -> float:
        """Mean squared spread of a level."""
        return float(self.pooled.tau2[_LEVELS.index(level)])

    def row(self, parts: Mapping[tuple[Level, str], float]) -> tuple[Floats, float]:
        """Effects in a sum, and the variance of those that nothing was seen of."""
        x = np.zeros(self.pooled.mean.size)
        unseen = 0.0
        for (level, name), weight in parts.items():
            column = self.columns.get((level, name))
            if column is None:
                unseen += weight * weight * self.tau2(level)
            else:
                x[column] += weight
        return x, unseen

    def mean_of(self, level: Level, name: str) -> float:
        """Mean of one effect; 0 where nothing was seen."""
        column = self.columns.get((level, name))
        return 0.0 if column is None else float(self.pooled.mean[column])

    def typical(self, crop: str, level: Level) -> dict[str, float]:
        """Shares of the crop's evidence by container or place; the house's where it has none."""
        of_crop = [each for each in self.used if each.crop == crop] or list(self.used)
        counts = Counter(_name(each, level) for each in of_crop)
        return {name: n / len(of_crop) for name, n in sorted(counts.items())}


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """What a house has learned.

    Attributes
    ----------
    evidence : tuple of Evidence
        All of it, with its pull; what was dropped too.
    factors : tuple of Factor
        Of everything that evidence bears on, by quantity, then from the house down.
    choices : Choices
        What the grower has decided.
    """

    evidence: tuple[Evidence, ...]
    factors: tuple[Factor, ...]
    choices: Choices
    _of: Mapping[str, _Quantity]

    def quantities(self) -> tuple[str, ...]:
        """Return the quantities that something was learned of.

        Returns
        -------
        quantities : tuple of str
            Paces, stand and losses first, then minutes.
        """
        known: list[str] = [each for each in QUANTITIES if each in self._of]
        return (*known, *sorted(each for each in self._of if each not in QUANTITIES))

    def applied(
        self,
        quantity: str,
        crop: str,
        kin: str,
        sigma: float | None = None,
        *,
        container: str | None = None,
        place: str | None = None,
        season: int | None = None,
    ) -> Applied:
        """Tell what to use of a quantity, for things seen or not.

        Parameters
        ----------
        quantity : str
            The quantity.
        crop, kin : str
            The crop and its kin.
        sigma : float or None, default None
            The handbook's doubt about the crop; the quantity's own by default.
        container, place : str or None, default None
            Container class and place; None stands for those in which the crop's evidence arose.
        season : int or None, default None
            Year of sowing; None is one that nothing is known of yet.

        Returns
        -------
        applied : Applied
            Multiplier and spread; 1 and the handbook's where nothing was learned.
        """
        doubt = _doubt(quantity) if sigma is None else sigma
        of = self._of.get(quantity)
        if of is None or doubt <= 0.0:
            frozen = self._frozen_total(quantity, crop, kin, {})
            return Applied(math.exp(frozen), doubt, 0, 0)
        own, prior = own_doubt(doubt, of.scales)
        parts = _crop_parts(crop, kin, own)
        if season is None:
            parts[Level.SEASON, ""] = 1.0
        else:
            parts[Level.SEASON, _of_season(crop, season)] = 1.0
        beside = usual = 0.0
        for level, name in ((Level.CONTAINER, container), (Level.PLACE, place)):
            typical = of.typical(crop, level)
            for each, share in (typical if name is None else {name: 1.0}).items():
                parts[level, each] = share
                beside += share * self._beside(of, level, each)
            usual += sum(share * self._beside(of, level, each) for each, share in typical.items())
        means = {
            level: own * of.mean_of(level, name)
            for level, name in ((Level.HOUSE, ""), (Level.KIN, kin), (Level.CROP, crop))
        }
        mean = self._frozen_total(quantity, crop, kin, means) + beside
        if factor_key(quantity, Level.CROP, crop) in self.choices.frozen:
            mean -= usual  # it was frozen as it stands where the crop is raised
        elif season is not None:
            mean += of.mean_of(Level.SEASON, _of_season(crop, season))
        x, unseen = of.row(parts)
        variance = of.pooled.moments(x)[1] + unseen + SPAN_OF_T**2 * of.pooled.scale2
        n_crop = sum(each.crop == crop for each in of.used)
        return Applied(math.exp(mean), math.sqrt(variance * doubt**2 / prior), n_crop, len(of.used))

    def _beside(self, of: _Quantity, level: Level, name: str) -> float:
        """Effect of a container or place, as frozen if it is."""
        frozen = self.choices.frozen.get(factor_key(of.quantity, level, name))
        return of.mean_of(level, name) if frozen is None else math.log(frozen)

    def _frozen_total(
        self, quantity: str, crop: str, kin: str, means: Mapping[Level, float]
    ) -> float:
        """Sum of house, kin and crop, each total frozen if it is."""
        total = 0.0
        for level, name in ((Level.HOUSE, ""), (Level.KIN, kin), (Level.CROP, crop)):
            frozen = self.choices.frozen.get(factor_key(quantity, level, name))
            total = total + means.get(level, 0.0) if frozen is None else math.log(frozen)
        return total


def learn(finished: Iterable[FinishedSowing], choices: Choices | None = None) -> Learned:
    """Learn from finished sowings.

    Parameters
    ----------
    finished : iterable of FinishedSowing
        The sowings, in any order.
    choices : Choices or None, default None
        What the grower dropped and froze; nothing by default.

    Returns
    -------
    learned : Learned
        Factors and evidence. The same sowings give the same, in whatever order.
    """
    chosen = choices or Choices()
    by_quantity: dict[str, list[Evidence]] = {}
    for sowing in sorted(finished, key=lambda each: (each.ended_date, each.sowing)):
        for each in evidence_of_sowing(sowing):
            said = replace(each, dropped=each.key in chosen.dropped)
            by_quantity.setdefault(each.quantity, []).append(said)
    told: list[Evidence] = []
    factors: list[Factor] = []
    of: dict[str, _Quantity] = {}
    order: list[str] = [each for each in QUANTITIES if each in by_quantity]
    order += sorted(each for each in by_quantity if each not in QUANTITIES)
    for quantity in order:
        every = by_quantity[quantity]
        used = [each for each in every if not each.dropped]
        if not used:
            told += every
            continue
        found = _pooled(quantity, used)
        of[quantity] = found
        told += _with_pull(every, found)
        factors += _factors(found, chosen)
    return Learned(tuple(told), tuple(factors), chosen, of)


def own_doubt(doubt: float, scales: Scales) -> tuple[float, float]:
    """Split a doubt: what is the crop's own, and all of it as the model has it before data.

    Parameters
    ----------
    doubt : float
        The handbook's doubt about the crop.
    scales : Scales
        Prior scales of the quantity.

    Returns
    -------
    own : float
        Standard deviation of what does not differ from sowing to sowing.
    variance : float
        Variance of one sowing before data.
    """
    rest = (SPAN_OF_T * scales.sowing) ** 2
    rest += scales.container**2 + scales.place**2 + scales.season**2
    own2 = max(doubt**2 - rest, 0.5 * doubt**2)
    return math.sqrt(own2), own2 * (scales.house**2 + scales.kin**2 + scales.crop**2) + rest


def _crop_parts(crop: str, kin: str, own: float) -> dict[tuple[Level, str], float]:
    """Effects of a crop, of its kin and of the house."""
    return {(Level.HOUSE, ""): own, (Level.KIN, kin): own, (Level.CROP, crop): own}


def _name(evidence: Evidence, level: Level) -> str:
    """Name of the effect of a level that bears on a piece of evidence."""
    match level:
        case Level.HOUSE:
            return ""
        case Level.SEASON:
            return evidence.batch
        case _:
            return str(getattr(evidence, level.value))


def _pooled(quantity: str, used: Sequence[Evidence]) -> _Quantity:
    """Pool the evidence of one quantity."""
    scales = scales_of(quantity)
    names = {level: tuple(sorted({_name(each, level) for each in used})) for level in _LEVELS}
    index = np.array(
        [[names[level].index(_name(each, level)) for level in _LEVELS] for each in used]
    )
    own = np.array([own_doubt(each.doubt, scales)[0] for each in used])
    loading = np.ones(index.shape)
    for at, level in enumerate(_LEVELS):
        if level in _OF_DOUBT:
            loading[:, at] = own
    levels = Levels(
        index,
        loading,
        tuple(len(names[level]) for level in _LEVELS),
        tuple(float(getattr(scales, level.value)) for level in _LEVELS),
        tuple(level is Level.HOUSE for level in _LEVELS),
    )
    value = np.array([each.value for each in used])
    variance = np.array([each.variance for each in used])
    pooled = pool(value, variance, levels, scales.sowing)
    keys = [(level, name) for level in _LEVELS for name in names[level]]
    columns = {key: column for column, key in enumerate(keys)}
    return _Quantity(quantity, scales, tuple(used), names, columns, pooled)


def _with_pull(every: Sequence[Evidence], found: _Quantity) -> list[Evidence]:
    """Give each piece of evidence the pull it has, and none if it was dropped."""
    pulls = dict(zip((each.key for each in found.used), found.pooled.pull.tolist(), strict=True))
    return [replace(each, weight=pulls.get(each.key, 0.0)) for each in every]


def _factors(found: _Quantity, choices: Choices) -> list[Factor]:
    """Put the factors of one quantity together."""
    out = []
    for level in _LEVELS[:-1]:
        for name in found.names[level]:
            mine = [each for each in found.used if _name(each, level) == name]
            doubt = float(np.median([each.doubt for each in mine]))
            own, _ = own_doubt(doubt, found.scales)
            parts: dict[tuple[Level, str], float] = {}
            prior = 0.0
            for up, scale in _totals(level, found.scales):
                loading = own if level in _OF_DOUBT else 1.0
                parts[up, name if up is level else _above(mine[0], up)] = loading
                prior += (loading * scale) ** 2
            if level is Level.CROP:
                for up in (Level.CONTAINER, Level.PLACE):
                    for each, share in found.typical(name, up).items():
                        parts[up, each] = share
                        prior += (share * float(getattr(found.scales, up.value))) ** 2
            mean, variance = found.pooled.moments(found.row(parts)[0])
            sd = math.sqrt(variance)
            out.append(
                Factor(
                    found.quantity,
                    level,
                    name,
                    math.exp(mean),
                    math.exp(mean - _Z80 * sd),
                    math.exp(mean + _Z80 * sd),
                    len(mine),
                    min(variance / prior, 1.0),
                    choices.frozen.get(factor_key(found.quantity, level, name)),
                )
            )
    return out


def _totals(level: Level, scales: Scales) -> list[tuple[Level, float]]:
    """Levels that a factor adds up, with their prior scales."""
    if level not in _OF_DOUBT:
        return [(level, float(getattr(scales, level.value)))]
    upto = _LEVELS.index(level) + 1
    return [(each, float(getattr(scales, each.value))) for each in _LEVELS[:upto]]


def _above(evidence: Evidence, level: Level) -> str:
    """Name of what is above a piece of evidence's crop or kin."""
    return evidence.kin if level is Level.KIN else ""
