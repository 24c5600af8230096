"""How well the house would have foretold each sowing from what it knew when that was sown."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from sowbench.forecasting.calibration import Coverage, coverage, crps_normal, skill
from sowbench.forecasting.learning import Learned, evidence_of_sowing, learn
from sowbench.forecasting.learning_records import Choices, FinishedSowing

__all__ = ["Foretold", "HindsightScore", "foretell", "score_foretold"]

_Z80: Final = 1.2815515655446004
CUTS_MOST: Final = 12
"""Days at which it is learned anew, at most (our limit)."""


@dataclass(frozen=True, slots=True)
class Foretold:
    """One observation beside what was to be expected of it when it was sown.

    Attributes
    ----------
    quantity, sowing, crop : str
        What was observed.
    sow_date : date
        Day of sowing.
    known_until : date
        Only sowings that had ended before this day were learned from.
    value : float
        What came: logarithm of observed over the handbook's, or difference of logits.
    mean, sd : float
        As the house had learned by then, error of the observation included.
    handbook_sd : float
        The same by the handbook's fixed values, whose mean is 0.
    n_known : int
        Observations that were learned from.
    """

    quantity: str
    sowing: str
    crop: str
    sow_date: date
    known_until: date
    value: float
    mean: float
    sd: float
    handbook_sd: float
    n_known: int


@dataclass(frozen=True, slots=True)
class HindsightScore:
    """How good what was foretold was.

    Attributes
    ----------
    quantity : str
        The quantity; blank is all of them.
    learned, handbook : Coverage
        How many came within what was foretold at 80 %: as learned, and by the handbook.
    crps_learned, crps_handbook : float
        Mean scores, less is better.
    skill_frac : float
        Share of the handbook's score that learning saves.
    """

    quantity: str
    learned: Coverage
    handbook: Coverage
    crps_learned: float
    crps_handbook: float
    skill_frac: float


def foretell(
    finished: Iterable[FinishedSowing],
    choices: Choices | None = None,
    cuts_most: int = CUTS_MOST,
) -> tuple[Foretold, ...]:
    """Foretell every finished sowing from those that had ended before it was sown.

    Parameters
    ----------
    finished : iterable of FinishedSowing
        The sowings.
    choices : Choices or None, default None
        What the grower dropped; frozen factors are used as they are now.
    cuts_most : int, default 12
        Days at most at which it is learned anew; a sowing goes by the last one before it.

    Returns
    -------
    foretold : tuple of Foretold
        By day of sowing; what was dropped is left out.
    """
    chosen = choices or Choices()
    every = sorted(finished, key=lambda each: (each.sow_date, each.sowing))
    if not every:
        return ()
    days = sorted({each.sow_date for each in every})
    at = np.unique(np.linspace(0, len(days) - 1, min(cuts_most, len(days))).round().astype(int))
    cuts = [days[each] for each in at]
    out: list[Foretold] = []
    for k, cut in enumerate(cuts):
        until = cuts[k + 1] if k + 1 < len(cuts) else date.max
        known = [each for each in every if each.ended_date < cut]
        learned = learn(known, chosen)
        for sowing in every:
            if cut <= sowing.sow_date < until:
                out += _foretold(learned, sowing, cut, chosen)
    return tuple(out)


def _foretold(
    learned: Learned, sowing: FinishedSowing, cut: date, choices: Choices
) -> list[Foretold]:
    """Put what a sowing showed beside what was known."""
    out = []
    for each in evidence_of_sowing(sowing):
        if each.key in choices.dropped:
            continue
        of = learned.applied(
            each.quantity,
            each.crop,
            each.kin,
            each.doubt,
            container=each.container,
            place=each.place,
            season=each.season,
        )
        out.append(
            Foretold(
                each.quantity,
                each.sowing,
                each.crop,
                sowing.sow_date,
                cut,
                each.value,
                math.log(of.multiplier),
                math.hypot(of.sigma, math.sqrt(each.variance)),
                math.hypot(each.doubt, math.sqrt(each.variance)),
                of.n_house,
            )
        )
    return out


def score_foretold(foretold: Sequence[Foretold], quantity: str = "") -> HindsightScore:
    """Score what was foretold.

    Parameters
    ----------
    foretold : sequence of Foretold
        Foretold and come.
    quantity : str, default ""
        Only this quantity; all by default.

    Returns
    -------
    score : HindsightScore
        Coverage of 80 % spans and CRPS, as learned and by the handbook.
    """
    some = [each for each in foretold if not quantity or each.quantity == quantity]
    value = np.array([each.value for each in some])
    mean, sd = np.array([each.mean for each in some]), np.array([each.sd for each in some])
    fixed = np.array([each.handbook_sd for each in some])
    spans = coverage(mean - _Z80 * sd, mean + _Z80 * sd, value)
    by_book = coverage(-_Z80 * fixed, _Z80 * fixed, value)
    if not some:
        return HindsightScore(quantity, spans, by_book, math.nan, math.nan, math.nan)
    crps = float(crps_normal(mean, sd, value).mean())
    of_book = float(crps_normal(0.0, fixed, value).mean())
    return HindsightScore(quantity, spans, by_book, crps, of_book, skill(crps, of_book))
