"""What is learned, laid over the handbook's values: crops, ready rules, shares and rates."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from sowbench.domain.records import Crop, ReadyRule
from sowbench.forecasting.learning import Learned
from sowbench.forecasting.learning_records import (
    GRADE,
    PACE_EMERGENCE,
    PACE_READY,
    STAND,
    SURVIVE,
    minutes_of,
)
from sowbench.science.errors import OutOfRangeError
from sowbench.science.labor import LaborRates

__all__ = [
    "RATES_OF_TASK",
    "learned_crop",
    "learned_emergence_frac",
    "learned_kept_frac",
    "learned_rates",
    "learned_rule",
    "moved_share",
]

# Rates of a task: +1 where more minutes make it larger, -1 where they make it smaller.
RATES_OF_TASK: Final[Mapping[str, Mapping[str, int]]] = {
    "sow": {
        "fill_s_per_container": 1,
        "sow_seeds_per_h": -1,
        "sow_pelleted_seeds_per_h": -1,
    },
    "move": {"carry_lift_s": 1, "carry_speed_m_s": -1},
    "count": {"count_s_per_tray": 1},
    "thin": {"thin_cells_per_h": -1},
    "pot on": {"pot_on_per_h": -1},
    "space": {"space_per_h": -1},
    "pack": {"pack_s_per_container": 1},
}
"""Rates that the minutes of a task change, with the direction."""


def moved_share(frac: float, multiplier: float) -> float:
    """Move a share by a multiplier of its odds.

    Parameters
    ----------
    frac : float
        Share, above 0 and below 1.
    multiplier : float
        Multiplier of the odds.

    Returns
    -------
    frac : float
        The share moved.

    Raises
    ------
    OutOfRangeError
        If it is no share, or the multiplier is not above 0.

    Examples
    --------
    >>> round(moved_share(0.5, 3.0), 3)
    0.75
    """
    if not 0.0 < frac < 1.0:
        raise OutOfRangeError("frac", "above 0 and below 1", frac)
    if not multiplier > 0.0:
        raise OutOfRangeError("multiplier", "above 0", multiplier)
    odds = frac / (1.0 - frac) * multiplier
    return odds / (1.0 + odds)


def learned_crop(crop: Crop, learned: Learned) -> Crop:
    """Lay what was learned of a crop's pace over its values.

    Parameters
    ----------
    crop : Crop
        The crop as the handbook or the house file has it.
    learned : Learned
        What was learned.

    Returns
    -------
    crop : Crop
        With its thermal time and the doubt about it.
    """
    of = learned.applied(PACE_EMERGENCE, crop.id, crop.kin, crop.emergence.sigma_pace)
    if of.multiplier == 1.0 and of.sigma == crop.emergence.sigma_pace:
        return crop
    emergence = replace(
        crop.emergence,
        thermal_time_cd=crop.emergence.thermal_time_cd * of.multiplier,
        sigma_pace=of.sigma,
    )
    return replace(crop, emergence=emergence)


def learned_rule(rule: ReadyRule, kin: str, learned: Learned) -> ReadyRule:
    """Lay what was learned of a crop's growth over a ready rule.

    Parameters
    ----------
    rule : ReadyRule
        The rule as the handbook or the house file has it.
    kin : str
        The crop's kin.
    learned : Learned
        What was learned.

    Returns
    -------
    rule : ReadyRule
        With its days and the doubt about them; days of potting on and spacing go along.
    """
    of = learned.applied(
        PACE_READY, rule.crop, kin, rule.sigma_growth, container=rule.container_class.value
    )
    if of.multiplier == 1.0 and of.sigma == rule.sigma_growth:
        return rule
    pot, space = rule.pot_on_d_ref, rule.space_d_ref
    return replace(
        rule,
        days_ref=rule.days_ref * of.multiplier,
        sigma_growth=of.sigma,
        pot_on_d_ref=None if pot is None else pot * of.multiplier,
        space_d_ref=None if space is None else space * of.multiplier,
    )


def learned_emergence_frac(
    crop: Crop, emergence_frac: float, learned: Learned, place: str | None = None
) -> float:
    """Share that comes up in a tray of what comes up in a test, as learned.

    Parameters
    ----------
    crop : Crop
        The crop; its usual germination says where on the logit it moves.
    emergence_frac : float
        Share without learning.
    learned : Learned
        What was learned.
    place : str or None, default None
        Place in which it comes up; None for those of the crop's evidence.

    Returns
    -------
    emergence_frac : float
        The share, at most 1.
    """
    of = learned.applied(STAND, crop.id, crop.kin, place=place)
    up = min(crop.germination_frac, 0.995) * emergence_frac
    moved = moved_share(up, of.multiplier)
    return min(emergence_frac * moved / up, 1.0)


def learned_kept_frac(
    crop: Crop, survive_frac: float, cull_frac: float, learned: Learned
) -> tuple[float, float]:
    """Share that survives and share that is culled, as learned.

    Parameters
    ----------
    crop : Crop
        The crop.
    survive_frac, cull_frac : float
        Shares without learning.
    learned : Learned
        What was learned.

    Returns
    -------
    survive_frac, cull_frac : float
        The shares.
    """
    survive = learned.applied(SURVIVE, crop.id, crop.kin).multiplier
    grade = learned.applied(GRADE, crop.id, crop.kin).multiplier
    return moved_share(survive_frac, survive), 1.0 - moved_share(1.0 - cull_frac, grade)


def learned_rates(rates: LaborRates, learned: Learned) -> LaborRates:
    """Lay what was learned of minutes over the rates of work.

    Parameters
    ----------
    rates : LaborRates
        Rates of the handbook with the house's own.
    learned : Learned
        What was learned.

    Returns
    -------
    rates : LaborRates
        With the house's factor of each task.
    """
    changed: dict[str, float] = {}
    for task, of in RATES_OF_TASK.items():
        # No crop: the factor of the house for a crop and kin not seen.
        factor = learned.applied(minutes_of(task), "", "").multiplier
        for name, direction in of.items():
            changed[name] = float(getattr(rates, name)) * math.exp(direction * math.log(factor))
    return replace(rates, **changed)
