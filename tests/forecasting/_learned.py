"""Made-up finished sowings for the tests of learning."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from sowbench.forecasting.learning_records import FinishedSowing, Reading

DAY = date(2027, 3, 1)
KIN = {
    "basil": "mint", "thyme": "mint", "oregano": "mint", "sage": "mint",
    "tomato": "nightshade", "pepper": "nightshade", "eggplant": "nightshade",
    "kale": "cabbage", "cabbage": "cabbage",
}  # fmt: skip


def finished(name, crop="basil", pace=None, error=0.02, **more):
    """Return a finished sowing that came up by so much later, in ln of thermal time."""
    fields: dict[str, Any] = {
        "kin": KIN[crop], "container": "plug", "place": "bench 1", "sow_date": DAY,
        "ended_date": DAY + timedelta(days=40), "sigma_pace": 0.25, "sigma_growth": 0.3,
    } | more  # fmt: skip
    reading = None if pace is None else Reading(pace, error**2)
    return FinishedSowing(sowing=name, crop=crop, pace_emergence=reading, **fields)
