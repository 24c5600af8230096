"""What sowings took by the journal: seed, containers, mix, work and room, at the house's prices."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final

import numpy as np

from sowbench.domain.life_records import SowingLife, TrayLife
from sowbench.domain.look_back import RAISING, PastSowing
from sowbench.domain.plan import Sowing
from sowbench.domain.stays import TrayStay
from sowbench.planning.season import container_price, is_reusable
from sowbench.science.cost import USES_OF_REUSABLE
from sowbench.science.medium import WASTE_FRAC

if TYPE_CHECKING:
    from sowbench.domain.ports.back_page import JobDone
    from sowbench.domain.records import Container, House, SeedLot
    from sowbench.reference.catalog import Catalog

_SPACED_FRAC: Final = 0.999


@dataclass(frozen=True, slots=True)
class Grown:
    """A sowing by its journal, with what was planned of it.

    Attributes
    ----------
    name : str
        Its name.
    life : SowingLife
        Where it stood in the end, or stands.
    stays : tuple of TrayStay
        Where its trays stood.
    planned : Sowing or None
        As the last accepted plan that has it plans it.
    is_over : bool
        Whether it ended within the days looked at.
    """

    name: str
    life: SowingLife
    stays: tuple[TrayStay, ...]
    planned: Sowing | None
    is_over: bool

    @property
    def since(self) -> date:
        """First day on which it was there."""
        days = [each.from_date for each in self.stays]
        if self.life.sown_date is not None:
            days.append(self.life.sown_date)
        days += [each.date for each in self.life.handed_over]
        return min(days)

    @property
    def container(self) -> str:
        """What it was sown in; blank where no tray is known."""
        if self.life.trays:
            return self.life.trays[0].container
        steps = () if self.planned is None else self.planned.steps
        return steps[0].container if steps else ""

    @property
    def n_seeds(self) -> int:
        """Seeds sown; where nobody wrote them down, as many a cell as were planned."""
        if self.life.n_seeds is not None:
            return self.life.n_seeds
        each = 1 if self.planned is None else self.planned.seeds_per_cell
        return (self.life.n_cells or 0) * each

    def mates(self, container: str) -> int:
        """Sowings that shared the last tray of a container with it."""
        steps = () if self.planned is None else self.planned.steps
        return max((len(each.from_sowings) for each in steps if each.container == container),
                   default=0)  # fmt: skip

    def density_m2(self, container: Container) -> float | None:
        """Plants on a square meter once spaced; None where the plan does not say."""
        steps = () if self.planned is None else self.planned.steps
        most = _SPACED_FRAC * container.cells / container.area_m2 if container.area_m2 else 0.0
        wide = [
            each.plants_per_m2
            for each in steps
            if each.container == container.id and 0 < each.plants_per_m2 < most
        ]
        return min(wide, default=None)


class Spending:
    """Prices what sowings took.

    Parameters
    ----------
    house : House
        The house with its prices.
    catalog : Catalog
        Crops and containers.
    lots : mapping of str to SeedLot
        Seed lots by name.
    """

    def __init__(self, house: House, catalog: Catalog, lots: Mapping[str, SeedLot]) -> None:
        self._house = house
        self._catalog = catalog
        self._lots = lots
        self._stock = {each.container: each for each in house.stock}
        self._places = {each.name: each for each in house.places}
        self.n_unpriced = 0

    def container(self, name: str) -> Container | None:
        """Return a container of the handbook or of the house; None if it is unknown."""
        return self._catalog.containers.get(name)

    def units(self, grown: Grown, number: int, container: str) -> float:
        """Return what a tray counts for: an even part of the one that sowings shared."""
        n_mates = grown.mates(container)
        if not n_mates:
            return 1.0
        last = max(each.number for each in grown.life.trays if each.container == container)
        return 1.0 / (n_mates + 1) if number == last else 1.0

    def area_m2(self, grown: Grown, stay: TrayStay) -> float:
        """Return the footprint of a tray in a stay [m2]."""
        container = self.container(stay.container)
        if container is None:
            return 0.0
        density = grown.density_m2(container) if stay.spaced else None
        if density is not None:
            return stay.n_cells / density
        return self.units(grown, stay.number, stay.container) * container.area_m2

    def seed_price(self, lot: str, crop: str) -> float:
        """Return the money for a seed."""
        found = self._lots.get(lot)
        if found is not None and found.price_per_1000 is not None:
            return found.price_per_1000 / 1000.0
        of = self._catalog.crops.get(crop)
        return 0.0 if of is None else of.seed_price_per_1000 / 1000.0

    def unit_price(self, container: Container) -> float:
        """Return the money for one use of a lifted unit, with its label."""
        price = container_price(container, self._stock)
        if is_reusable(container, self._stock):
            price /= USES_OF_REUSABLE
        return price + self._house.prices.label

    def mix_price(self, container: Container, n_cells: float) -> float:
        """Return the money for the mix of so many cells."""
        if not container.takes_mix:
            return 0.0
        liters = n_cells * container.cell_volume_ml / 1000.0 * (1.0 + WASTE_FRAC)
        return liters * self._house.prices.mix_per_l

    def past(
        self, grown: Grown, own: tuple[float, float], shared: Mapping[str, tuple[float, float]]
    ) -> PastSowing:
        """Add up what a sowing took.

        Parameters
        ----------
        grown : Grown
            The sowing.
        own : tuple of float
            Minutes of its own jobs, and those of them that were written down [min].
        shared : mapping of str to tuple of float
            Its part of work on whole places, likewise.

        Returns
        -------
        past : PastSowing
            The sowing with its money.
        """
        life = grown.life
        money = dict.fromkeys(RAISING, 0.0)
        money["seed"] = grown.n_seeds * self.seed_price(life.lot, life.crop)
        for tray in life.trays:
            self._fill(grown, tray, money)
        m2_days = position_days = 0.0
        for stay in grown.stays:
            area = self.area_m2(grown, stay) * stay.days
            m2_days += area
            position_days += self.units(grown, stay.number, stay.container) * stay.days
            place = self._places.get(stay.place)
            money["room"] += area * (0.0 if place is None else place.price_per_m2_day)
        more = shared.get(grown.name, (0.0, 0.0))
        minutes, told = own[0] + more[0], own[1] + more[1]
        money["labor"] = minutes / 60.0 * self._house.crew.rate_per_hour
        meant = {} if grown.planned is None else grown.planned.orders
        wanted: dict[str, int] = {}
        for each in meant:
            wanted[each.order] = wanted.get(each.order, 0) + each.plants
        return PastSowing(
            grown.name,
            life.crop,
            life.variety,
            life.lot,
            grown.container,
            grown.is_over,
            life.n_cells or 0,
            grown.n_seeds,
            life.n_right or 0,
            (life.n_seen or 0) if life.n_right is not None else 0,
            life.n_lost,
            m2_days,
            position_days,
            minutes,
            told,
            money,
            wanted,
        )

    def _fill(self, grown: Grown, tray: TrayLife, money: dict[str, float]) -> None:
        """Add the money of one tray that was filled."""
        container = self.container(tray.container)
        if container is None:
            self.n_unpriced += 1
            return
        part = self.units(grown, tray.number, tray.container)
        money["container"] += part * self.unit_price(container)
        money["mix"] += self.mix_price(container, tray.n_cells)


def shared_work(
    jobs: Iterable[JobDone],
    told: Mapping[str, float],
    grown: Mapping[str, Grown],
    spending: Spending,
) -> tuple[dict[str, tuple[float, float]], list[JobDone]]:
    """Share work on whole places among what stood there that day, by area.

    Parameters
    ----------
    jobs : iterable of JobDone
        Jobs that were ticked off.
    told : mapping of str to float
        Minutes that people wrote down, by entry.
    grown : mapping of str to Grown
        All sowings that stood there.
    spending : Spending
        Knows areas.

    Returns
    -------
    shares : dict of str to tuple of float
        By sowing, minutes and those of them that were written down [min].
    left : list of JobDone
        Jobs of no sowing on a place where nothing stood, or of no place; with the minutes told.
    """
    names = list(grown)
    at = {name: row for row, name in enumerate(names)}
    by_place: dict[str, list[tuple[int, int, float, int]]] = defaultdict(list)
    for name, each in grown.items():
        for stay in each.stays:
            area = spending.area_m2(each, stay)
            span = (stay.from_date.toordinal(), stay.to_date.toordinal())
            by_place[stay.place].append((*span, area, at[name]))
    stays = {place: np.array(rows, dtype=np.float64) for place, rows in by_place.items()}
    minutes, said = np.zeros(len(names)), np.zeros(len(names))
    left = []
    for job in jobs:
        if job.sowing in at:
            continue
        spent, written = told.get(job.entry, job.minutes), told.get(job.entry, 0.0)
        rows = stays.get(job.place)
        day = job.day.toordinal()
        here = None if rows is None else rows[(rows[:, 0] <= day) & (day < rows[:, 1])]
        total = 0.0 if here is None else float(here[:, 2].sum())
        if here is None or total <= 0.0 or job.sowing:
            left.append(job._replace(minutes=spent))
            continue
        shares = np.bincount(here[:, 3].astype(np.int64), here[:, 2] / total, len(names))
        minutes += spent * shares
        said += written * shares
    return {name: (float(minutes[row]), float(said[row])) for name, row in at.items()}, left
