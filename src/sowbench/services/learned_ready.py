"""How long plants took from half up to ready, by what the journal says was seen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np

from sowbench.checking.timeline import growth_rate, light_pace
from sowbench.domain.journal import Entry, EntryKind
from sowbench.forecasting.learning_records import Reading
from sowbench.science.quadrature import normal_nodes
from sowbench.services.learned_worked import READY

if TYPE_CHECKING:
    from sowbench.domain.records import Crop, ReadyRule
    from sowbench.services.learned_climate import Climates, Stay

__all__ = ["ready_reading", "seen_ready"]

_LOOKS: Final = frozenset(
    {EntryKind.NOTED, EntryKind.GRADED, EntryKind.READ, EntryKind.SCOUTED, EntryKind.COUNTED}
)


def seen_ready(entries: Sequence[Entry]) -> tuple[date | None, date | None]:
    """Say between which days a sowing became ready.

    Parameters
    ----------
    entries : sequence of Entry
        Its entries that stand.

    Returns
    -------
    not_yet, ready : date or None
        Last day on which it was seen as not ready, and first on which it was, or was handed over.
    """
    ready = [each.day_date for each in entries if each.kind is EntryKind.DELIVERED and each.n]
    ready += [each.day_date for each in entries if _said(each) == 1]
    first = min(ready, default=None)
    not_yet = [
        each.day_date
        for each in entries
        if _said(each) == 0 and (first is None or each.day_date < first)
    ]
    return max(not_yet, default=None), first


def _said(entry: Entry) -> float | None:
    """What an entry says of being ready."""
    value = entry.values.get(READY)
    return value if entry.kind in _LOOKS and isinstance(value, int | float) else None


def ready_reading(
    entries: Sequence[Entry],
    stays: Sequence[Stay],
    crop: Crop,
    rule: ReadyRule,
    climates: Climates,
    up_date: date,
    ended_date: date,
) -> Reading | None:
    """Compare the time from half up to ready with the handbook's.

    Parameters
    ----------
    entries : sequence of Entry
        Entries that stand.
    stays : sequence of Stay
        Where it stood.
    crop : Crop
        Its crop.
    rule : ReadyRule
        What ready means.
    climates : Climates
        Climate of the places.
    up_date : date
        Day on which half was up.
    ended_date : date
        Last day.

    Returns
    -------
    reading : Reading or None
        ln of days at reference over the rule's; None unless it was seen both not yet and ready.
    """
    not_yet, ready = seen_ready(entries)
    if not_yet is None or ready is None:
        return None
    n_days = (max(ended_date, ready) - up_date).days + 1
    if n_days < 2:
        return None
    here = [each for each in stays if each.from_date <= up_date][-1:]
    here += [each for each in stays if each.from_date > up_date]
    temp, light = climates.days(here, up_date, n_days)
    leaf = growth_rate(temp, crop, rule.temp_ref_c)
    mass = leaf * light_pace(light, rule.dli_ref_mol_m2_d)
    # The slower clock; both begin on the day after half was up, give or take half a day.
    total = np.minimum(np.cumsum(leaf, axis=1), np.cumsum(mass, axis=1))
    low = _gathered(total, not_yet - up_date, rule.tone_d)
    high = _gathered(total, ready - up_date, rule.tone_d)
    middle = total.shape[0] // 2
    if high[middle] <= 0.0:
        return None
    least = max(float(low[middle]), 0.25 * float(high[middle]))
    mean = 0.5 * (math.log(least) + math.log(float(high[middle])))
    width = math.log(float(high[middle]) / least)
    _, weights = normal_nodes(total.shape[0])
    spread = np.log(np.maximum(high, 1e-9) / high[middle])
    of_weather = float(weights @ (spread - weights @ spread) ** 2)
    return Reading(mean - math.log(rule.days_ref), width**2 / 12.0 + of_weather)


def _gathered(total: np.ndarray, after: timedelta, tone_d: int) -> np.ndarray:
    """Days at reference gathered by so long after half was up, less the days of toning."""
    at = after.days - tone_d - 1
    return np.asarray(total[:, min(at, total.shape[1] - 1)] if at >= 0 else 0.0 * total[:, 0])
