"""What a plan needs, by the week in which it is to be ordered."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from sowbench.services.book_inputs import house_of
from sowbench.services.house_day import day_in_house

if TYPE_CHECKING:
    from sowbench.domain.plan import Supply
    from sowbench.domain.ports.seed_page import Ordered
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk


@dataclass(frozen=True, slots=True)
class SupplyLine:
    """One thing that is needed; ``kind`` is seed, container or mix, ``lot`` names a seed lot.

    ``key`` is that of the tick by which it is ordered, ``ordered`` the entry that did so.
    """

    supply: Supply
    kind: str
    name: str
    lot: str
    is_late: bool
    key: str = ""
    ordered: Ordered | None = None


@dataclass(frozen=True, slots=True)
class SupplyWeek:
    """What is to be ordered in a week, from its Monday."""

    monday: date
    last_date: date
    is_past: bool
    lines: tuple[SupplyLine, ...]


@dataclass(frozen=True, slots=True)
class SuppliesView:
    """The list of supplies.

    ``weeks`` are what is still to be ordered, ``in_stock`` those of which there is enough, ``past``
    what was to be bought for a day that is over; ``has_mix`` tells whether mix is needed at all.
    """

    today: date
    has_plan: bool
    weeks: tuple[SupplyWeek, ...]
    in_stock: tuple[SupplyLine, ...]
    past: tuple[SupplyLine, ...]
    n_buy: int
    n_late: int
    next_date: date | None
    has_mix: bool = False


def supplies_view(desk: Desk) -> SuppliesView:
    """Gather the list of supplies.

    Parameters
    ----------
    desk : Desk
        The desk.

    Returns
    -------
    view : SuppliesView
        What the page shows.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        head = unit.plans.current()
        if head is None:
            return SuppliesView(today, has_plan=False, weeks=(), in_stock=(), past=(), n_buy=0,
                                n_late=0, next_date=None)  # fmt: skip
        supplies = unit.seed_page.supplies(head.id)
        lots = {each.id: each for each in unit.lots.all()}
        ordered = unit.seed_page.ordered([supply_key(each) for each in supplies if each.to_buy > 0])
        _, catalog, _ = house_of(unit)
    varieties = {name: (lot.crop, lot.variety) for name, lot in lots.items()}
    lines = [_with_tick(_line(each, varieties, catalog, today), ordered) for each in supplies]
    wanting = [each for each in lines if each.supply.to_buy > 0]
    to_buy = [each for each in wanting if each.supply.needed_on >= today]
    by_week: defaultdict[date, list[SupplyLine]] = defaultdict(list)
    for each in to_buy:
        day = each.supply.order_by
        by_week[day - timedelta(days=day.weekday())].append(each)
    return SuppliesView(
        today=today,
        has_plan=True,
        weeks=tuple(
            SupplyWeek(
                monday=monday,
                last_date=monday + timedelta(days=6),
                is_past=monday + timedelta(days=7) <= today,
                lines=tuple(found),
            )
            for monday, found in sorted(by_week.items())
        ),
        in_stock=tuple(each for each in lines if each.supply.to_buy <= 0),
        past=tuple(each for each in wanting if each.supply.needed_on < today),
        n_buy=sum(each.ordered is None for each in to_buy),
        n_late=sum(each.is_late for each in to_buy),
        next_date=min(
            (
                each.supply.order_by
                for each in to_buy
                if each.supply.order_by >= today and each.ordered is None
            ),
            default=None,
        ),
        has_mix=any(each.kind == "mix" for each in lines),
    )


def supply_key(supply: Supply) -> str:
    """Return the key of the tick by which something is ordered.

    Parameters
    ----------
    supply : Supply
        What is needed.

    Returns
    -------
    key : str
        ``DATE/supply/ITEM``, with the day on which it is needed; another plan's line of the same
        day and thing is the same one.
    """
    return f"{supply.needed_on}/supply/{supply.item}"


def _with_tick(line: SupplyLine, ordered: Mapping[str, Ordered]) -> SupplyLine:
    """Say of a line whether it is ordered; then it is late no more."""
    key = supply_key(line.supply)
    found = ordered.get(key)
    return replace(line, key=key, ordered=found, is_late=line.is_late and found is None)


def _line(
    supply: Supply, varieties: dict[str, tuple[str, str]], catalog: Catalog, today: date
) -> SupplyLine:
    """Say what one supply is."""
    is_late = supply.to_buy > 0 and supply.order_by < today
    if supply.item.startswith("seed "):
        lot = supply.item.removeprefix("seed ")
        crop, variety = varieties.get(lot, ("", ""))
        record = catalog.crops.get(crop)
        name = record.name if record else lot
        if variety:
            name += f", {variety}"
        return SupplyLine(supply, "seed", name, lot if lot in varieties else "", is_late)
    if supply.unit == "L":
        return SupplyLine(supply, "mix", _month_words(supply.item), "", is_late)
    return SupplyLine(supply, "container", supply.item, "", is_late)


def _month_words(item: str) -> str:
    """Write the month of an item as people say it: mix for 2027-04 is mix for April 2027."""
    words, _, month = item.rpartition(" ")
    try:
        return f"{words} {date.fromisoformat(f'{month}-01'):%B %Y}"
    except ValueError:
        return item
