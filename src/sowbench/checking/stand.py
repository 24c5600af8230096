"""Usable cells of a sowing: docs/model.md section 5 once more, exact and by drawing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from math import comb
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, ndtr, ndtri

from sowbench.checking.season import Season
from sowbench.checking.timeline import Timeline
from sowbench.domain.plan import Sowing
from sowbench.domain.records import Crop, SeedLot, StepKind
from sowbench.science.quadrature import beta_nodes

Floats = NDArray[np.float64]

EMERGENCE_FRAC: Final = 0.95
RHO_CELL: Final = 0.05
SURVIVE_FRAC: Final = 0.98
CULL_FRAC: Final = 0.05
RHO_TRAY: Final = 0.015
TRAY_LOSS_FRAC: Final = 0.005
N_LOT: Final = 9
KEPT_FRAC: Final = SURVIVE_FRAC * (1 - CULL_FRAC)


def cell_chances(n_seeds: int, p: Floats, rho: float = RHO_CELL) -> Floats:
    """Chance of 0 to n seedlings of n seeds that share fate a little, shape (n + 1, ...)."""
    rows = []
    for k in range(n_seeds + 1):
        term = np.full_like(p, float(comb(n_seeds, k)))
        for i in range(k):
            term = term * (p * (1 - rho) + i * rho)
        for j in range(n_seeds - k):
            term = term * ((1 - p) * (1 - rho) + j * rho)
        for both in range(n_seeds):
            term = term / (1 - rho + both * rho)
        rows.append(term)
    return np.stack(rows)


def cell_ok(seeds: int, p: Floats, plants_least: int, per_unit: float = 1.0) -> Floats:
    """Chance that a cell holds what is wanted.

    A unit with several seedlings counts as so many seeds where more than one plant is wanted; a
    broken number mixes its two neighbors.
    """
    worth = seeds * (per_unit if plants_least > 1 else 1.0)
    low = int(np.floor(worth + 1e-9))
    part = min(max(worth - low, 0.0), 1.0)
    chance = (1 - part) * cell_chances(low, p)[plants_least:].sum(axis=0)
    if part > 0:
        chance = chance + part * cell_chances(low + 1, p)[plants_least:].sum(axis=0)
    return np.asarray(np.clip(chance, 0.0, 1.0))


def cell_crowded(seeds: int, p: Floats, plants_most: int, per_unit: float = 1.0) -> Floats:
    """Chance that a cell holds more than is wanted and is thinned."""
    rows = cell_chances(seeds, p)
    over = np.arange(seeds + 1) * per_unit > plants_most + 1e-9
    return np.asarray(rows[over].sum(axis=0) if over.any() else np.zeros_like(p))


def aging_shift(lot: SeedLot, constants: Mapping[str, Any], day: date) -> float:
    """Probits that a lot has lost since its test (Ellis and Roberts); 0 where unknown."""
    known = constants.get(lot.crop)
    if known is None or lot.tested_on is None or lot.moisture_frac is None:
        return 0.0
    if lot.storage_c is None or lot.primed or lot.pelleted or lot.moisture_frac <= 0:
        return 0.0
    log_sigma = known.k_e - known.c_w * np.log10(100 * lot.moisture_frac)
    log_sigma -= known.c_h * lot.storage_c + known.c_q * lot.storage_c**2
    return max((day - lot.tested_on).days, 0) / float(10.0**log_sigma)


def aged(p: Floats, shift: float) -> Floats:
    """Germination after aging."""
    if shift <= 0:
        return p
    return np.asarray(ndtr(ndtri(np.clip(p, 1e-12, 1 - 1e-12)) - shift))


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """What decides the usable cells of one sowing.

    Parameters
    ----------
    lot : str
        Name of the lot, "" where the stand is counted.
    n_cells, cells_per_tray : int
        Cells and cells of a tray.
    seed_frac : ndarray, shape (W,)
        Chance of a seedling for each unit of germination, by weather node.
    seeds, plants_least, plants_most : int
        Seeds in a cell, least and most plants wanted.
    per_unit : float
        Seedlings of a seed unit.
    light_frac : float
        Share left by poor light.
    shift : float
        Probits lost by age.
    alpha, beta : float
        The lot's test.
    n_counted : int or None
        Counted plants of a standing sowing.
    """

    lot: str
    n_cells: int
    cells_per_tray: int
    seed_frac: Floats
    seeds: int
    plants_least: int
    plants_most: int
    per_unit: float
    light_frac: float
    shift: float
    alpha: float
    beta: float
    n_counted: int | None = None

    def usable(self, p: Floats, w: NDArray[np.int64] | int) -> Floats:
        """Usable share of cells for germinations and weather nodes."""
        seed = np.clip(aged(p, self.shift) * self.seed_frac[w], 0.0, 1.0)
        ok = cell_ok(self.seeds, seed, self.plants_least, self.per_unit)
        return np.asarray(ok * KEPT_FRAC * self.light_frac)

    def usable_at_nodes(self) -> tuple[Floats, Floats]:
        """Usable share at the lot's nodes, shape (W, 9), with the nodes' weights."""
        if self.n_counted is not None:
            return np.full((self.seed_frac.size, 1), KEPT_FRAC * self.light_frac), np.ones(1)
        p, weight = beta_nodes(self.alpha, self.beta, N_LOT)
        rows = [self.usable(p, w) for w in range(self.seed_frac.size)]
        return np.stack(rows), weight

    def crowded_frac(self) -> float:
        """Expected share of cells to thin at w = 0."""
        p, weight = beta_nodes(self.alpha, self.beta, N_LOT)
        seed = np.clip(aged(p, self.shift) * self.seed_frac[self.seed_frac.size // 2], 0.0, 1.0)
        return float(cell_crowded(self.seeds, seed, self.plants_most, self.per_unit) @ weight)

    def draw(self, rng: np.random.Generator, p: Floats, w: NDArray[np.int64]) -> NDArray[np.int64]:
        """Draw usable cells, tray by tray."""
        n_draws = w.size
        if self.n_counted is not None:
            drawn = rng.binomial(self.n_counted, KEPT_FRAC * self.light_frac, n_draws)
            return np.asarray(drawn, dtype=np.int64)
        usable = np.clip(self.usable(p, w), 1e-9, 1 - 1e-9)
        size = 1 / RHO_TRAY - 1
        total = np.zeros(n_draws, dtype=np.int64)
        left = self.n_cells
        while left > 0:
            cells = min(left, self.cells_per_tray)
            share = rng.beta(usable * size, (1 - usable) * size)
            kept = rng.random(n_draws) >= TRAY_LOSS_FRAC
            total += np.where(kept, rng.binomial(cells, share), 0)
            left -= cells
        return total


def stand_of(
    season: Season, sowing: Sowing, crop: Crop, line: Timeline, constants: Mapping[str, Any]
) -> Stand | None:
    """Gather what decides the usable cells of a sowing; None if its lot or tray is unknown."""
    steps = [each for each in sowing.steps if each.kind is not StepKind.PREPARE]
    standing = season.standings.get(sowing.sowing)
    first = standing.container if standing is not None else steps[0].container
    container = season.catalog.containers.get(first)
    lot = season.lot(sowing.lot)
    counted = None
    if sowing.sowing in season.left:
        counted = season.left[sowing.sowing].n_counted
    elif standing is not None:
        counted = standing.n_usable if standing.n_usable is not None else standing.n_counted
    if container is None or (lot is None and counted is None):
        return None
    frac = line.warm_frac[0] * EMERGENCE_FRAC * line.on_time_frac[0]
    if lot is None:
        alpha, beta, shift, per_unit = 1.0, 1.0, 0.0, 1.0
    else:
        alpha, beta = lot.n_normal + 1.0, lot.n_tested - lot.n_normal + 1.0
        shift = aging_shift(lot, constants, season.inputs.from_date)
        per_unit = lot.seedlings_per_unit
    return Stand(
        "" if counted is not None else sowing.lot, sowing.n_cells, container.cells, frac,
        sowing.seeds_per_cell, crop.plants_per_cell[0], crop.plants_per_cell[1], per_unit,
        float(line.light_frac[0]), shift, alpha, beta, counted,
    )  # fmt: skip


def tray_chances(n_cells: int, usable: Floats, loss: float = TRAY_LOSS_FRAC) -> Floats:
    """Chance of each number of usable cells of one tray, shape (..., n + 1)."""
    u = np.clip(usable, 1e-12, 1 - 1e-12)[..., None]
    size = 1 / RHO_TRAY - 1
    a, b = u * size, (1 - u) * size
    k = np.arange(n_cells + 1.0)
    log = gammaln(n_cells + 1) - gammaln(k + 1) - gammaln(n_cells - k + 1)
    log = log + gammaln(a + k) + gammaln(b + n_cells - k) - gammaln(a + b + n_cells)
    pmf = (1 - loss) * np.exp(log + gammaln(a + b) - gammaln(a) - gammaln(b))
    pmf[..., 0] += loss
    return np.asarray(pmf)


def total_chances(stand: Stand, usable: Floats) -> Floats:
    """Chance of each number of usable cells over all trays, shape (..., n + 1)."""
    if stand.n_counted is not None:
        n = stand.n_counted
        k = np.arange(n + 1.0)
        u = np.clip(usable, 1e-12, 1 - 1e-12)[..., None]
        log = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
        return np.asarray(np.exp(log + k * np.log(u) + (n - k) * np.log1p(-u)))
    n_full, last = divmod(stand.n_cells, stand.cells_per_tray)
    length = stand.n_cells + 1
    size = 1 << length.bit_length()
    spectrum = np.ones((*usable.shape, size // 2 + 1), dtype=np.complex128)
    if n_full:
        full = np.fft.rfft(tray_chances(stand.cells_per_tray, usable), size)
        spectrum = full**n_full
    if last:
        spectrum = spectrum * np.fft.rfft(tray_chances(last, usable), size)
    return np.asarray(np.maximum(np.fft.irfft(spectrum, size)[..., :length], 0.0))
