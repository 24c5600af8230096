"""What a lot's test says of its germination, and what age has left of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final

from scipy.special import betaincinv

from sowbench.science.viability import aged_germination, probit_loss

if TYPE_CHECKING:
    from sowbench.domain.records import SeedLot
    from sowbench.reference.catalog import Catalog

_POINTS: Final = (0.1, 0.5, 0.9)


@dataclass(frozen=True, slots=True)
class Germination:
    """Germination of a lot on a day, shares of 1; nine times in ten it is above ``low_frac``.

    ``is_aged`` tells whether age was reckoned with; ``why_not`` says why it was not.
    """

    low_frac: float
    mid_frac: float
    high_frac: float
    is_aged: bool
    why_not: str = ""


def germination_as_tested(n_normal: int, n_tested: int) -> Germination:
    """Say what a test says of a lot.

    Parameters
    ----------
    n_normal, n_tested : int
        Normal seedlings, and seeds tested.

    Returns
    -------
    germination : Germination
        Ten, fifty and ninety percent points; before the test every germination is held equally
        likely, as `science.stand.lot_nodes` does.
    """
    low, mid, high = (
        float(betaincinv(n_normal + 1.0, n_tested - n_normal + 1.0, point)) for point in _POINTS
    )
    return Germination(low, mid, high, is_aged=False)


def germination_on(lot: SeedLot, catalog: Catalog, day: date) -> Germination:
    """Say what the germination of a lot is on a day.

    Parameters
    ----------
    lot : SeedLot
        The lot.
    catalog : Catalog
        The reference.
    day : date
        The day.

    Returns
    -------
    germination : Germination
        Lowered for age where constants are published and moisture, store and day of the test are
        known; else as tested.
    """
    tested = germination_as_tested(lot.n_normal, lot.n_tested)
    constants = catalog.viability.get(lot.crop)
    missing = [
        name
        for name, value in (
            ("day of the test", lot.tested_on),
            ("moisture", lot.moisture_frac),
            ("temperature of the store", lot.storage_c),
        )
        if value is None
    ]
    why = ""
    if lot.primed or lot.pelleted:
        why = "primed, pelleted or coated seed: no constants of aging are published for it"
    elif constants is None:
        why = "no constants of aging are published for this crop"
    elif missing:
        why = f"{' and '.join(missing)} not given"
    if why or constants is None or lot.tested_on is None:
        return Germination(
            tested.low_frac, tested.mid_frac, tested.high_frac, is_aged=False, why_not=why
        )
    days = float(max((day - lot.tested_on).days, 0))
    loss = probit_loss(constants, lot.moisture_frac or 0.0, lot.storage_c or 0.0, days)
    low, mid, high = (
        float(aged_germination(each, loss))
        for each in (tested.low_frac, tested.mid_frac, tested.high_frac)
    )
    return Germination(low, mid, high, is_aged=True)
