"""Sowings drawn from what the forecast itself believes, cell by cell, and counted as people count.

Weather, pace and germination are drawn from their priors; the cells of a tray by the urn of
D. Blackwell and J. B. MacQueen, Annals of Statistics 1, 1973, 353-355 (from memory): each is like
an earlier one of its tray, or anew. The urn knows nothing of beta-binomials or grids.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sowbench.domain.journal import Entry, EntryKind
from sowbench.forecasting import CellRule, LotTest, OpenOrder, OpenSowing, Pace
from sowbench.science.quadrature import normal_nodes
from sowbench.science.risk import OrderNeed, Share
from sowbench.science.stand import cell_ok_prob

Floats = NDArray[np.float64]

DAY: Final = date(2027, 3, 1)
GOAL_CD, SIGMA_SEED, SIGMA_PACE = 80.0, 0.18, 0.25
ON_TIME = 0.97
_ODD_LOT = 0.01
_PEOPLE: Final = ("Ada", "Ben", "Cleo")
# Cells of a tray, and trays, of the invented containers.
_CELLS: Final = (50, 72, 98, 128)
_TRAYS: Final = (2, 9)


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """A drawn sowing and what became of it.

    Attributes
    ----------
    sowing : OpenSowing
        What is known of it.
    n_usable : int
        Plants usable in the end.
    lag : float
        How much more thermal time than planned emergence took, as ln.
    ready_day : float
        When it was ready; not whole.
    way : int
        0 where trays were counted whole, 1 where cells of some or several at once were.
    """

    sowing: OpenSowing
    n_usable: int
    lag: float
    ready_day: float
    way: int


def drawn_sowing(rng: np.random.Generator, name: str) -> Drawn:
    """Draw one sowing, its counts and its end.

    Parameters
    ----------
    rng : Generator
        Random numbers.
    name : str
        Its name.

    Returns
    -------
    drawn : Drawn
        The sowing.
    """
    nodes, weights = normal_nodes(5)
    z_nodes, _ = normal_nodes(9)
    n_tested = int(rng.choice([50, 100, 200]))
    n_normal = n_tested - int(rng.binomial(n_tested, 0.08))
    seeds = int(rng.choice([1, 1, 2, 3]))
    n_cells = int(rng.choice(_CELLS))
    n_trays = int(rng.integers(*_TRAYS))
    measured = rng.random() < 0.5
    rates = 10.0 + 0.6 * nodes
    warm = np.clip(1.0 - 0.012 * (nodes - 0.5) ** 2, 0.0, 1.0)
    hours = np.arange(0.0, 24 * 60 + 1, 12.0)
    node = 2 if measured else int(rng.choice(5, p=weights))
    z = rng.standard_normal()
    p = rng.random() if rng.random() < _ODD_LOT else rng.beta(n_normal + 1, n_tested - n_normal + 1)
    up_day = GOAL_CD * np.exp(SIGMA_PACE * z_nodes) / rates[:, None]
    ready = up_day + 25.0 * np.exp(0.1 * z_nodes)
    if measured:  # the weather is known, and with it the days
        warm, ready = np.full(5, warm[2]), np.tile(ready[2], (5, 1))
    sowing = OpenSowing(
        name, "L", "invented", DAY, LotTest(n_normal, n_tested),
        Pace(GOAL_CD, SIGMA_SEED, SIGMA_PACE), CellRule(seeds), hours,
        (rates[2:3] if measured else rates)[:, None] * hours / 24.0, warm, ready, ready + 8.0,
        on_time_frac=ON_TIME, n_cells=n_cells * n_trays, cells_per_tray=n_cells,
    )  # fmt: skip
    stand = sowing.emergence_frac * warm[node] * p
    chance, kept = _urn(rng, n_trays, n_cells, (1 - sowing.rho_tray) / sowing.rho_tray,
                        sowing.kept_frac)  # fmt: skip
    in_time = float(cell_ok_prob(seeds, stand * ON_TIME, 1))
    usable = (kept & (chance <= in_time)).sum(axis=1)
    usable[rng.random(n_trays) < sowing.tray_loss_frac] = 0
    days = np.sort(rng.choice(np.arange(5, 17), size=int(rng.integers(0, 6)), replace=False))
    log_ahead = np.log(rates[node] * np.maximum(days, 1) / GOAL_CD) - SIGMA_PACE * z
    right = cell_ok_prob(seeds, np.clip(stand * ndtr(log_ahead / SIGMA_SEED), 0.0, 1.0), 1)
    entries = [
        Entry(f"{name} sown", DAY, EntryKind.SOWN, name, n=n_cells * n_trays,
              n_containers=n_trays, values={"n_cells_per_tray": n_cells})
    ]  # fmt: skip
    way = int(rng.random() < 0.6)
    for day, share in zip(days.tolist(), np.atleast_1d(right).tolist(), strict=True):
        entries += _counts(rng, name, day, chance <= share, way)
    filled = {"entries": tuple(entries)}
    known = OpenSowing(**{each: getattr(sowing, each) for each in OpenSowing.__slots__} | filled)
    line = ready[node]
    at = np.interp(z, z_nodes, line)
    if z > z_nodes[-1] or z < z_nodes[0]:
        last = slice(-2, None) if z > 0 else slice(0, 2)
        (z_one, z_two), (one, two) = z_nodes[last], line[last]
        at = one + (z - z_one) / (z_two - z_one) * (two - one)
    delta = 0.0 if measured else float(np.log(rates[node] / rates[2]))
    return Drawn(known, int(usable.sum()), SIGMA_PACE * z - delta, float(at), way)


def _urn(
    rng: np.random.Generator, n_trays: int, n_cells: int, weight: float, kept_frac: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """Draw for each cell at which share of cells it is right, and whether it lives to the end."""
    chance = rng.random((n_trays, n_cells))
    kept = rng.random((n_trays, n_cells)) < kept_frac
    every = np.arange(n_trays)
    for cell in range(1, n_cells):
        like = rng.integers(cell, size=n_trays)
        old = rng.random(n_trays) * (weight + cell) >= weight
        chance[old, cell] = chance[every[old], like[old]]
        kept[old, cell] = kept[every[old], like[old]]
    return chance, kept


def _counts(
    rng: np.random.Generator, name: str, day: int, right: NDArray[np.bool_], way: int
) -> list[Entry]:
    """Let somebody count some trays: whole, some cells of them, or several at once."""
    n_trays, n_cells = right.shape
    who = str(rng.choice(_PEOPLE))
    trays = np.sort(rng.choice(n_trays, size=int(rng.integers(1, n_trays + 1)), replace=False))
    whole = way == 0 or rng.random() < 0.3
    on = DAY + timedelta(days=day)
    if not whole and rng.random() < 0.35:  # several trays as one number
        return [
            Entry(f"{name} {day}", on, EntryKind.COUNTED, name, n=int(right[trays].sum()),
                  trays=tuple(int(each) + 1 for each in trays), person=who)
        ]  # fmt: skip
    entries = []
    for tray in trays.tolist():
        n_of = n_cells if whole else int(rng.integers(n_cells // 4, n_cells))
        seen = rng.choice(n_cells, size=n_of, replace=False)
        entries.append(
            Entry(f"{name} {day} {tray}", on, EntryKind.COUNTED, name,
                  n=int(right[tray, seen].sum()), n_of=n_of if n_of < n_cells else None,
                  trays=(tray + 1,), person=who)
        )  # fmt: skip
    return entries


def counted_once(
    n_sowings: int, n_counts: int, seed: int = 0
) -> tuple[list[OpenSowing], list[OpenOrder]]:
    """Draw sowings of ten trays of 128 cells with one count each of some trays, and an order each.

    Parameters
    ----------
    n_sowings, n_counts : int
        Sowings, and trays counted of each.
    seed : int, default 0
        Of the random numbers.

    Returns
    -------
    sowings : list of OpenSowing
        Their weather is measured, so that pace and germination are all that is not known.
    orders : list of OpenOrder
        Of the sowing of the same place.
    """
    rng = np.random.default_rng(seed)
    z, _ = normal_nodes(9)
    hours = np.arange(0.0, 24 * 60 + 1, 6.0)
    progress = np.tile(10.0 * hours / 24, (1, 1))
    ready = np.tile(GOAL_CD * np.exp(SIGMA_PACE * z) / 10.0 + 25 * np.exp(0.1 * z), (5, 1))
    n_trays, n_cells = 10, 128
    sowings, orders = [], []
    for i in range(n_sowings):
        share, lag = 0.95 * rng.beta(191, 11), SIGMA_PACE * rng.standard_normal()
        name = f"S{i}"
        entries = [
            Entry(f"{name} sown", DAY, EntryKind.SOWN, name, n=n_trays * n_cells,
                  n_containers=n_trays, values={"n_cells_per_tray": n_cells})
        ]  # fmt: skip
        days = rng.integers(6, 16, size=n_counts)
        up = share * ndtr((np.log(10.0 * days / GOAL_CD) - lag) / SIGMA_SEED)
        fate = rng.beta(np.maximum(65.7 * up, 1e-9), 65.7 * (1.0 - up))
        for tray, (day, n) in enumerate(
            zip(days.tolist(), rng.binomial(n_cells, fate).tolist(), strict=True), start=1
        ):
            entries.append(
                Entry(f"{name} {tray}", DAY + timedelta(days=day), EntryKind.COUNTED, name, n=n,
                      trays=(tray,))
            )  # fmt: skip
        sowings.append(
            OpenSowing(
                name, "L", "invented", DAY, LotTest(190, 200),
                Pace(GOAL_CD, SIGMA_SEED, SIGMA_PACE), CellRule(), hours, progress, np.ones(5),
                ready, ready + 8.0, tuple(entries),
            )
        )  # fmt: skip
        wanted = int(rng.integers(950, 1150))
        need = OrderNeed((Share(i, 0, wanted),), wanted, wanted, 30, int(rng.integers(33, 37)))
        orders.append(OpenOrder(f"O{i}", need))
    return sowings, orders
