"""What another choice would have cost on the same season: cells, seeds in a cell, container."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from sowbench.domain.look_back import PastSowing
from sowbench.planning.work import Work
from sowbench.science.labor import LaborRates
from sowbench.science.stand import (
    CULL_FRAC,
    RHO_CELL,
    SURVIVE_FRAC,
    cell_ok_prob,
    expected_short,
    expected_surplus,
    thin_per_cell,
)
from sowbench.services import wording

if TYPE_CHECKING:
    from sowbench.domain.records import Container
    from sowbench.services.look_back import SeasonBack
    from sowbench.services.look_back_spent import Grown, Spending

CHOICE_PARTS: Final = ("seed", "container", "mix", "labor", "room", "short", "surplus")
"""Parts of what a choice costs."""

_SAID: Final = {
    "seed": "seed",
    "container": "containers",
    "mix": "mix",
    "labor": "work",
    "room": "room",
    "short": "short plants",
    "surplus": "plants sold above the orders",
}
_STEPS: Final = 60
# Differences of less than this share of what was chosen are not worth a word (ours).
_NOISE_FRAC: Final = 0.01


@dataclass(frozen=True, slots=True)
class Choice:
    """One way in which a sowing could have been sown.

    Attributes
    ----------
    words : str
        What would have been different; "as it was" of the way that was taken.
    n_cells, n_trays, seeds_per_cell : int
        Cells, trays and seeds in a cell.
    container : str
        What it would have been sown in.
    expected_usable : float
        Usable cells to be expected of the stand that was measured.
    expected_short : float
        Plants missing to be expected.
    parts : dict of str to float
        Money by `CHOICE_PARTS`.
    """

    words: str
    n_cells: int
    n_trays: int
    seeds_per_cell: int
    container: str
    expected_usable: float
    expected_short: float
    parts: dict[str, float]

    @property
    def total(self) -> float:
        """All of its money."""
        return sum(self.parts.values())


@dataclass(frozen=True, slots=True)
class Choices:
    """A sowing that is over, and what else could have been done.

    Attributes
    ----------
    sowing : PastSowing
        The sowing.
    wanted : int
        Plants that orders wanted of it.
    seed_frac : float
        Share of seeds that came up, by the count of its cells.
    kept_frac : float
        Share of good cells that became plants to hand over.
    choices : tuple of Choice
        The way that was taken first, then the others.
    best : Choice
        The one that would have cost least; the way taken where none is cheaper.
    sentence : str
        What the best one would have cost and saved.
    """

    sowing: PastSowing
    wanted: int
    seed_frac: float
    kept_frac: float
    choices: tuple[Choice, ...]
    best: Choice
    sentence: str

    @property
    def saved(self) -> float:
        """Money that the best choice would have saved."""
        return self.choices[0].total - self.best.total


def season_choices(season: SeasonBack, names: Iterable[str], spending: Spending) -> list[Choices]:
    """Work out what else could have been done with sowings.

    Parameters
    ----------
    season : SeasonBack
        The season.
    names : iterable of str
        Sowings; those that are not over, were not counted, or whose crop or container the
        handbook does not know, are left out.
    spending : Spending
        Prices.

    Returns
    -------
    found : list of Choices
        What would have saved most first.
    """
    found = []
    for name in names:
        each = _choices(season, name, spending)
        if each is not None:
            found.append(each)
    return sorted(found, key=lambda each: (-each.saved, each.sowing.name))


def _choices(season: SeasonBack, name: str, spending: Spending) -> Choices | None:
    """Work out what else could have been done with one sowing."""
    past, grown = season.sowings.get(name), season.grown.get(name)
    if past is None or grown is None or not (past.n_seen and past.n_cells and past.n_right):
        return None
    crop = season.catalog.crops.get(past.crop)
    container = spending.container(past.container)
    wanted = sum(each.promised for each in season.lines if each.sowing == name)
    if crop is None or container is None or not wanted:
        return None
    trays = {each.container for each in grown.life.trays}
    if len(trays) > 1:
        return None  # potted on: what it was sown in is not what it was handed over in
    seeds = max(round(past.n_seeds / past.n_cells), 1)
    planned = grown.planned
    least = crop.plants_per_cell[0] if planned is None else planned.plants_per_cell[0]
    per_unit = crop.seedlings_per_unit
    right_frac = min(past.n_right / past.n_seen, 1.0)
    kept = ((1.0 - min(past.n_lost / past.n_cells, 1.0)) if past.n_lost else SURVIVE_FRAC) * (
        1.0 - CULL_FRAC
    )
    seed_frac = _seed_frac(right_frac, seeds, least, per_unit)
    model = _Model(season, past, grown, container, wanted, least, per_unit, seed_frac, kept)
    ways = _ways(season, past, container, seeds, max(crop.max_seeds_per_cell, seeds), spending)
    choices = tuple(
        model.choice(words, cells, each, of, spending) for words, cells, each, of in ways
    )
    best = min(choices, key=lambda each: each.total)
    if choices[0].total - best.total <= _NOISE_FRAC * abs(choices[0].total):
        best = choices[0]
    money = season.house.prices.currency
    return Choices(past, wanted, seed_frac, kept, choices, best, _sentence(choices[0], best, money))


def _seed_frac(right_frac: float, seeds: int, least: int, per_unit: float) -> float:
    """Return the chance of a seed that gives a share of right cells, by bisection."""
    low, high = 0.0, 1.0
    for _ in range(_STEPS):
        middle = 0.5 * (low + high)
        if float(cell_ok_prob(seeds, middle, least, RHO_CELL, per_unit)) < right_frac:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _ways(
    season: SeasonBack,
    past: PastSowing,
    container: Container,
    seeds: int,
    most_seeds: int,
    spending: Spending,
) -> list[tuple[str, int, int, Container]]:
    """List the ways: as it was, other seeds in a cell, a tray more or less, other containers."""
    n, full = past.n_cells, container.cells
    ways = [("as it was", n, seeds, container)]
    for each in (seeds - 1, seeds + 1):
        if 1 <= each <= most_seeds:
            noun = "seed" if each == 1 else "seeds"
            ways.append((f"{each} {noun} a cell", n, each, container))
    if n > full:
        ways.append(("a tray less", n - full, seeds, container))
    ways.append(("a tray more", n + full, seeds, container))
    if n - full > 0 and seeds + 1 <= most_seeds:
        ways.append((f"a tray less and {seeds + 1} seeds a cell", n - full, seeds + 1, container))
    asked = {each.name for each in season.orders} & {
        row.order for row in season.lines if row.sowing == past.name
    }
    allowed = season.containers_asked(asked)
    for stock in season.house.stock:
        other = spending.container(stock.container)
        if other is None or other.id == container.id:
            continue
        if other.container_class is not container.container_class:
            continue  # ready on other days: not the same season any more
        if allowed is not None and other.id not in allowed:
            continue
        ways.append((f"in {other.name}", n, seeds, other))
    return ways


@dataclass(frozen=True, slots=True)
class _Model:
    """What is now known of a sowing, and what a way would have cost."""

    season: SeasonBack
    past: PastSowing
    grown: Grown
    container: Container
    wanted: int
    least: int
    per_unit: float
    seed_frac: float
    kept_frac: float

    def choice(
        self, words: str, n_cells: int, seeds: int, container: Container, spending: Spending
    ) -> Choice:
        """Reckon one way."""
        house, past = self.season.house, self.past
        n_trays, was = -(-n_cells // container.cells), -(-past.n_cells // self.container.cells)
        right = cell_ok_prob(seeds, self.seed_frac, self.least, RHO_CELL, self.per_unit)
        usable = float(right) * self.kept_frac
        cells = -(-self.wanted // self.per_cell)
        short = self._expected(expected_short, cells, n_cells, container, usable)
        above = self._expected(expected_surplus, cells, n_cells, container, usable)
        parts = {
            "seed": n_cells * seeds * spending.seed_price(past.lot, past.crop),
            "container": n_trays * spending.unit_price(container),
            "mix": spending.mix_price(container, n_cells),
            "labor": self._minutes(n_cells, seeds, n_trays / was) / 60.0 * house.crew.rate_per_hour,
            "room": past.money.get("room", 0.0)
            * (n_trays * container.area_m2)
            / max(was * self.container.area_m2, 1e-9),
            "short": short * self.per_cell * house.prices.short_plant,
            "surplus": 0.0 - above * self.per_cell * house.prices.surplus_plant,
        }
        return Choice(
            words,
            n_cells,
            n_trays,
            seeds,
            container.id,
            n_cells * usable,
            short * self.per_cell,
            parts,
        )

    @property
    def per_cell(self) -> int:
        """Plants of the orders' unit in a usable cell."""
        return 1 if self.season.by_cell(self.past.name) else max(self.least, 1)

    @staticmethod
    def _expected(
        of: object, cells: int, n_cells: int, container: Container, usable: float
    ) -> float:
        """Return the expectation over trays, the stand being known."""
        if not callable(of):
            raise TypeError(f"{of!r} cannot be called")
        found = of([cells], [n_cells], container.cells, [usable], [1.0])
        return float(np.asarray(found)[0])

    def _minutes(self, n_cells: int, seeds: int, trays_ratio: float) -> float:
        """Working time as it was, by trays; seeds placed and cells thinned by their number."""
        defaults = {name: each.value for name, each in self.season.catalog.labor.items()}
        work = Work(LaborRates.from_table(defaults, self.season.house.minutes))
        was = max(round(self.past.n_seeds / self.past.n_cells), 1)
        before = self._by_seed(work, self.past.n_cells, was)
        after = self._by_seed(work, n_cells, seeds)
        return max(self.past.minutes - before, 0.0) * trays_ratio + after

    def _by_seed(self, work: Work, n_cells: int, seeds: int) -> float:
        """Minutes of placing seed and of thinning."""
        most = self.least if self.grown.planned is None else self.grown.planned.plants_per_cell[1]
        _, share = thin_per_cell(seeds, self.seed_frac, most, RHO_CELL, self.per_unit)
        placed = work.place_seed(n_cells * seeds, pelleted=False)
        return float(placed) + float(work.thin(n_cells * float(share)))


def _sentence(taken: Choice, best: Choice, currency: str) -> str:
    """Say what the best way would have cost and saved."""
    if best is taken:
        return "Nothing that was tried would have been cheaper."
    differs = {name: best.parts[name] - taken.parts[name] for name in CHOICE_PARTS}
    least = 0.05 * max(abs(each) for each in differs.values())

    def said(sign: int) -> str:
        more = " more" if sign > 0 else ""
        return wording.listed(
            [
                f"{wording.money(abs(change), currency)}{more} in {_SAID[name]}"
                for name, change in differs.items()
                if change * sign > 0 and abs(change) >= least
            ]
        )

    more, less = said(1), said(-1)
    words = wording.sentence_start(best.words)
    if more:
        return f"{words} would have cost {more} and saved {less}."
    return f"{words} would have saved {less}."
