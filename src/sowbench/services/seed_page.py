"""Seed: each lot with its test, what age has left of it, what is there and what is needed."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import TYPE_CHECKING, Final

from sowbench.domain.records import SeedLot
from sowbench.reference.cautions import caution_words
from sowbench.science.errors import UnknownNameError
from sowbench.services.book_inputs import house_of
from sowbench.services.house_day import day_in_house
from sowbench.services.seed_germination import Germination, germination_as_tested, germination_on
from sowbench.services.seed_stock import Stock, stocks

if TYPE_CHECKING:
    from sowbench.domain.book import Kept
    from sowbench.domain.plan import Supply
    from sowbench.domain.ports.seed_page import LotSowing, LotTake
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk

LOTS_A_PAGE: Final = 60
ENTRIES_A_PAGE: Final = 40
"""Entries of a lot's journal on one page; ours."""
_MARKS: Final = ("treated", "pelleted", "primed", "organic")
_WORDS: Final = {
    "n_tested": "seeds tested",
    "n_normal": "normal seedlings",
    "n_seeds": "seeds in stock",
    "tested_on": "day of the test",
    "arrives_on": "there from",
    "use_by": "use by",
    "seeds_per_g": "seeds in a gram",
    "seedlings_per_unit": "seedlings a unit",
    "price_per_1000": "price of 1,000",
    "pack_sizes": "packs",
    "moisture_frac": "moisture",
    "storage_c": "store, °C",
}


@dataclass(frozen=True, slots=True)
class LotLine:
    """One lot in the list.

    ``level`` is act (seed is missing), watch (something is to be looked at) or "" ; ``why`` says
    it. ``minimum_frac`` is the crop's federal minimum, None where there is none.
    """

    lot: SeedLot
    crop_name: str
    tested: Germination
    now: Germination
    minimum_frac: float | None
    stock: Stock
    take: LotTake | None
    buy: Supply | None
    marks: tuple[str, ...]
    level: str
    why: str


@dataclass(frozen=True, slots=True)
class SeedView:
    """The list of lots; ``n_buy`` of them are to be bought, the first by ``buy_by_date``."""

    today: date
    lines: tuple[LotLine, ...]
    n_lots: int
    n_found: int
    n_buy: int
    buy_by_date: date | None
    has_plan: bool
    query: str
    page: int
    n_pages: int


@dataclass(frozen=True, slots=True)
class LotChange:
    """One change of a lot, field by field in words."""

    at: datetime
    person: str
    reason: str
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LotView:
    """The page of one lot.

    ``entries`` are its tests and what else was written down about it, the latest first; those
    before them begin under the number ``earlier``, 0 if there are none.
    """

    line: LotLine
    today: date
    currency: str
    caution: str
    sowings: tuple[LotSowing, ...]
    entries: tuple[Kept, ...]
    earlier: int
    changes: tuple[LotChange, ...]


def seed_view(desk: Desk, query: str = "", page: int = 1) -> SeedView:
    """Gather the list of lots.

    Parameters
    ----------
    desk : Desk
        The desk.
    query : str, default ""
        Part of a lot's name, crop, variety or mark.
    page : int, default 1
        Which page.

    Returns
    -------
    view : SeedView
        What the page shows; what is to be bought first stands first.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        head = unit.plans.current()
        _, catalog, _ = house_of(unit)
        lots = unit.lots.all()
        takes = unit.seed_page.takes(head.id) if head else {}
        buys = _seed_supplies(unit.seed_page.supplies(head.id) if head else ())
        known = stocks(unit, lots)
    lines = [
        _line(each, catalog, today, known[each.id], takes.get(each.id), buys.get(each.id))
        for each in lots
    ]
    lines.sort(key=_urgency)
    to_buy = [each for each in lines if each.level == "act"]
    wanted = query.strip().casefold()
    found = [each for each in lines if not wanted or wanted in _searched(each)]
    n_pages = max(-(-len(found) // LOTS_A_PAGE), 1)
    page = min(max(page, 1), n_pages)
    return SeedView(
        today=today,
        lines=tuple(found[(page - 1) * LOTS_A_PAGE : page * LOTS_A_PAGE]),
        n_lots=len(lots),
        n_found=len(found),
        n_buy=len(to_buy),
        buy_by_date=min((each.buy.order_by for each in to_buy if each.buy), default=None),
        has_plan=head is not None,
        query=query.strip(),
        page=page,
        n_pages=n_pages,
    )


def lot_view(desk: Desk, name: str, before: int | None = None) -> LotView:
    """Gather the page of one lot.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str
        The lot.
    before : int or None, default None
        Show entries that arrived before the one of this number; None is the last ones.

    Returns
    -------
    view : LotView
        What the page shows.

    Raises
    ------
    UnknownNameError
        If there is no such lot.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        lot = unit.lots.get(name)
        if lot is None:
            raise UnknownNameError.among(name, "lot", [each.id for each in unit.lots.all()])
        head = unit.plans.current()
        house, catalog, _ = house_of(unit)
        take = unit.seed_page.takes(head.id).get(name) if head else None
        buys = _seed_supplies(unit.seed_page.supplies(head.id) if head else ())
        stock = stocks(unit, [lot])[name]
        sowings = unit.seed_page.sowings_of(head.id, name) if head else []
        entries = unit.journal.of_lot(name, ENTRIES_A_PAGE + 1, before)
        changes = unit.lots.history(name)
    more, entries = len(entries) > ENTRIES_A_PAGE, entries[:ENTRIES_A_PAGE]
    line = _line(lot, catalog, today, stock, take, buys.get(name))
    return LotView(
        line=line,
        today=today,
        currency=house.prices.currency,
        caution=caution_words("treated_seed") if lot.treated else "",
        sowings=tuple(sowings),
        entries=tuple(entries),
        earlier=entries[-1].seq if more else 0,
        changes=tuple(
            LotChange(each.at, each.person, each.reason, _differences(each.before, each.after))
            for each in reversed(changes)
        ),
    )


def _line(
    lot: SeedLot,
    catalog: Catalog,
    today: date,
    stock: Stock,
    take: LotTake | None,
    buy: Supply | None,
) -> LotLine:
    """Put one lot together."""
    crop = catalog.crops.get(lot.crop)
    fact = None if crop is None else crop.facts.get("germination_min_frac")
    minimum = fact.value if fact is not None else None
    minimum_frac = float(minimum) if isinstance(minimum, int | float) else None
    now = germination_on(lot, catalog, today)
    missing = buy if buy is not None and buy.to_buy > 0 else None
    level, why = _looked_at(lot, today, stock, take, missing, now, minimum_frac)
    return LotLine(
        lot=lot,
        crop_name=crop.name if crop else lot.crop,
        tested=germination_as_tested(lot.n_normal, lot.n_tested),
        now=now,
        minimum_frac=minimum_frac,
        stock=stock,
        take=take,
        buy=missing,
        marks=tuple(each for each in _MARKS if getattr(lot, each)),
        level=level,
        why=why,
    )


def _looked_at(
    lot: SeedLot,
    today: date,
    stock: Stock,
    take: LotTake | None,
    buy: Supply | None,
    now: Germination,
    minimum_frac: float | None,
) -> tuple[str, str]:
    """Say what should be looked at."""
    if buy is not None:
        return "act", ""
    if take is not None and stock.n_left is not None and take.n_seeds > stock.n_left:
        return "act", f"the plan takes {take.n_seeds:,}, {stock.n_left:,} are left"
    if lot.use_by is not None and take is not None and take.last_date > lot.use_by:
        return "watch", "sown after its use-by day"
    if lot.use_by is not None and lot.use_by < today:
        return "watch", "past its use-by day"
    if minimum_frac is not None and now.mid_frac < minimum_frac:
        return "watch", "below the US federal minimum"
    return "", ""


def _urgency(line: LotLine) -> tuple[int, date, str, str]:
    """Sort what is to be bought first, then what is sown next, then by crop."""
    rank = {"act": 0, "watch": 1, "": 2}[line.level]
    if line.buy is not None:
        day = line.buy.order_by
    elif line.take is not None:
        day = line.take.first_date
    else:
        day = date.max
    return rank, day, line.crop_name, line.lot.id


def _searched(line: LotLine) -> str:
    """Return what a search looks at."""
    lot = line.lot
    return " ".join(
        (lot.id, lot.crop, line.crop_name, lot.variety, lot.passport, *line.marks)
    ).casefold()


def _seed_supplies(supplies: Sequence[Supply]) -> Mapping[str, Supply]:
    """Pick what a plan needs of each lot."""
    return {
        each.item.removeprefix("seed "): each for each in supplies if each.item.startswith("seed ")
    }


def _differences(before: str | None, after: str | None) -> tuple[str, ...]:
    """Say which fields changed."""
    old = json.loads(before) if before else {}
    new = json.loads(after) if after else {}
    if not old:
        return ("taken in",)
    names = [each.name for each in fields(SeedLot)]
    return tuple(
        f"{_WORDS.get(name, name)}: {_shown(name, old.get(name))} → {_shown(name, new.get(name))}"
        for name in names
        if old.get(name) != new.get(name)
    )


def _shown(name: str, value: object) -> str:
    """Show one value of a lot."""
    if value is None or (isinstance(value, str | list) and not value):
        return "none"
    if name == "moisture_frac" and isinstance(value, int | float):
        return f"{100 * value:g} %"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(str(each) for each in value)
    return f"{value:,}" if isinstance(value, int) else str(value)
