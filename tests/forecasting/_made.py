"""Made-up sowings for the tests of forecasting, and a world that draws what happens to them."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
from scipy.special import ndtri

from sowbench.domain.journal import Entry, EntryKind
from sowbench.forecasting import CellRule, LotTest, OpenOrder, OpenSowing, Pace
from sowbench.science.quadrature import normal_nodes
from sowbench.science.risk import OrderNeed, Share

DAY = date(2027, 3, 1)
GOAL_CD = 80.0
SIGMA_SEED = 0.18
ON_TIME = 0.98


def made(
    name="S",
    n_cells=1280,
    n_trays=10,
    entries=(),
    *,
    sigma_pace=0.25,
    test=(190, 200),
    seeds=1,
    warm_c=18.0,
    spread_c=0.7,
    warm_frac=None,
    measured=False,
    lot="L",
    **more,
):
    """Return a sowing at a steady temperature; ready 25 days after median emergence."""
    w, _ = normal_nodes(5)
    z, _ = normal_nodes(9)
    rate = warm_c + spread_c * w - 8.0
    hours = np.arange(0.0, 24 * 60 + 1, 6.0)
    progress = rate[:, None] * hours / 24
    up = GOAL_CD * np.exp(sigma_pace * z) / rate[:, None]
    ready = up + 25 * np.exp(0.1 * z)
    sown = Entry(
        f"{name} sown", DAY, EntryKind.SOWN, name, n=n_cells, n_containers=n_trays, lot=lot,
        values={"n_cells_per_tray": -(-n_cells // n_trays)},
    )  # fmt: skip
    fields = {"on_time_frac": ON_TIME} | more
    return OpenSowing(
        name, lot, "tomato", DAY, LotTest(*test), Pace(GOAL_CD, SIGMA_SEED, sigma_pace),
        CellRule(seeds), hours, progress[2:3] if measured else progress,
        np.ones(5) if warm_frac is None else np.asarray(warm_frac), ready, ready + 8.0,
        (sown, *entries), **fields,
    )  # fmt: skip


def count(name, day, n, trays=(), n_of=None, person="", **more):
    """Return a count on a day after sowing."""
    key = f"{name} {day} {trays} {person}"
    day = DAY + timedelta(days=day)
    return Entry(
        more.pop("id", key), day, EntryKind.COUNTED, name, n=n, n_of=n_of, trays=trays,
        person=person, **more,
    )  # fmt: skip


def order(need, sowing=0, *, earliest=32, latest=38, name="O", **share):
    """Return an order of one sowing."""
    part = Share(sowing, share.get("before", 0), need, share.get("last", True))
    return OpenOrder(name, OrderNeed((part,), need, need, earliest, latest))


def drawn_tray(rng, n_cells, *, s, lag, kept, rho=0.015, days=()):
    """Draw one tray cell by cell: each like an earlier one, or anew.

    This is the urn of D. Blackwell and J. B. MacQueen, Annals of Statistics 1, 1973, 353-355 (from
    memory): it knows nothing of beta-binomials.
    """
    weight = (1 - rho) / rho
    up_z, fit = np.empty(n_cells), np.empty(n_cells, dtype=bool)
    for i in range(n_cells):
        if rng.random() * (weight + i) < weight:
            up_z[i] = rng.standard_normal() if rng.random() < s else np.inf
            fit[i] = rng.random() < kept
        else:
            like = rng.integers(i)
            up_z[i], fit[i] = up_z[like], fit[like]
    rights = [
        int((up_z <= (np.log(10.0 * day / GOAL_CD) - lag) / SIGMA_SEED).sum()) for day in days
    ]
    return rights, int((fit & (up_z <= ndtri(ON_TIME))).sum())
