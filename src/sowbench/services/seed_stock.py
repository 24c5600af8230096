"""How much seed of each lot is left: the stock as last stated, less what was sown since."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from sowbench.services.house_day import house_zone

if TYPE_CHECKING:
    from sowbench.domain.ports import Unit
    from sowbench.domain.records import SeedLot


@dataclass(frozen=True, slots=True)
class Stock:
    """Seeds of a lot: stated on a day (None where that is not known), sown since, left."""

    n_stated: int | None
    stated_date: date | None
    n_sown: int

    @property
    def n_left(self) -> int | None:
        """Seeds left; None where no stock is stated."""
        return None if self.n_stated is None else max(self.n_stated - self.n_sown, 0)


def stocks(unit: Unit, lots: Sequence[SeedLot]) -> dict[str, Stock]:
    """Work out how much seed of each lot is left.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.
    lots : sequence of SeedLot
        The lots.

    Returns
    -------
    stocks : dict of str to Stock
        By lot. Sowings of the very day on which a stock was stated are taken off it: who counts
        seed and sows on one day counts first (ours).
    """
    if not lots:
        return {}
    names = [each.id for each in lots]
    zone = house_zone(unit)
    stated = {
        name: at.astimezone(zone).date() for name, at in unit.seed_page.stock_stated(names).items()
    }
    head = unit.plans.current()
    since = min(stated.values(), default=date.min)
    sown: Counter[str] = Counter()
    for each in unit.seed_page.sown(head.id if head else None, names, since):
        if each.date >= stated.get(each.lot, date.min):
            sown[each.lot] += each.n_seeds
    return {each.id: Stock(each.n_seeds, stated.get(each.id), sown[each.id]) for each in lots}
