"""Made-up ways to resow, for the tests of resowing and counting."""

from __future__ import annotations

import numpy as np

from sowbench.forecasting import forecast_sowings
from sowbench.forecasting.resow_records import Resowing, Stakes
from sowbench.forecasting.supply import supply_parts

STAKES = Stakes(missed_order=300.0, short_plant=0.5, resow=60.0, resow_cell=0.3, minute=0.5)


def way(sowing, first=4, last=24, *, usable=0.85, sd=0.02, cells_most=4000, later_d=1.0, **more):
    """Return a resowing that is ready `later_d` days later for each day it is sown later."""
    days = np.arange(first, last)
    ready = np.stack([sowing.ready_day + later_d * day for day in days])
    fields = {"cells_per_tray": 128, "cells_most": cells_most} | more
    return Resowing("other lot", days, ready, ready + 8.0, usable, sd, **fields)


def parts_of(sowings, orders, today, ways):
    """Forecast, and put into parts; all were sown on day 0."""
    batch = forecast_sowings(sowings, orders).batch
    assert batch is not None
    second = [None if each is None else each.days_from(today) for each in ways]
    return batch, supply_parts(batch, orders, today, second, [0] * len(sowings))
