"""A season that is over, out of the house book: what was promised, given and spent."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.domain.journal import Entry
from sowbench.domain.life import sowing_life
from sowbench.domain.look_back import (
    Figures,
    Given,
    Line,
    PastOrder,
    PastSowing,
    figures_of,
    season_lines,
)
from sowbench.domain.stays import tray_stays
from sowbench.services.book_inputs import house_of
from sowbench.services.kept_results import Kept
from sowbench.services.look_back_spent import Grown, Spending, shared_work

if TYPE_CHECKING:
    from sowbench.domain.plan import Sowing
    from sowbench.domain.ports import Unit
    from sowbench.domain.ports.back_page import JobDone
    from sowbench.domain.records import House, Order, Standing
    from sowbench.reference.catalog import Catalog

MINUTES_WORKED: Final = "minutes_worked"
_MOST_KEPT: Final = 4


@dataclass(frozen=True, slots=True)
class SeasonBack:
    """A season that is over, as far as it is.

    Attributes
    ----------
    first, last : date
        Days looked at: orders wanted, and sowings that ended, from the first to the last.
    today : date
        The day in the house.
    lines : tuple of Line
        What every sowing had to do with every order.
    orders : tuple of PastOrder
        Orders whose time is over, or which were filled.
    sowings : dict of str to PastSowing
        Sowings that the lines name, and others that stand.
    grown : dict of str to Grown
        What else is known of those that are over.
    total : Figures
        The whole season.
    n_open_orders : int
        Orders of these days whose time is not over.
    n_open_sowings : int
        Sowings that still stand.
    open_money : float
        What they have cost so far; it is in no figure.
    n_unpriced : int
        Trays whose container the handbook does not know; they cost nothing here.
    spending : Spending
        Prices.
    house : House
        The house, with its prices of today.
    catalog : Catalog
        The handbook with the house's own values.
    wanted : dict of str to Order
        Orders as they were entered, by name.
    """

    first: date
    last: date
    today: date
    lines: tuple[Line, ...]
    orders: tuple[PastOrder, ...]
    sowings: dict[str, PastSowing]
    grown: dict[str, Grown]
    total: Figures
    n_open_orders: int
    n_open_sowings: int
    open_money: float
    n_unpriced: int
    spending: Spending
    house: House
    catalog: Catalog
    wanted: dict[str, Order]

    def containers_asked(self, orders: Iterable[str]) -> frozenset[str] | None:
        """Return the containers that all of some orders take.

        Parameters
        ----------
        orders : iterable of str
            Names of orders.

        Returns
        -------
        containers : frozenset of str or None
            None where every container serves.
        """
        allowed: frozenset[str] | None = None
        for name in orders:
            order = self.wanted.get(name)
            if order is not None and order.containers:
                mine = frozenset(order.containers)
                allowed = mine if allowed is None else allowed & mine
        return allowed

    def by_cell(self, sowing: str) -> bool:
        """Tell whether the orders of a sowing count cells, not plants.

        Parameters
        ----------
        sowing : str
            Name of the sowing.

        Returns
        -------
        by_cell : bool
            As the first of its orders has it.
        """
        for each in self.lines:
            if each.sowing == sowing and each.order in self.wanted:
                return self.wanted[each.order].unit == "cell"
        return False


_seasons: Kept[tuple[object, ...], SeasonBack] = Kept(_MOST_KEPT)


def season_back(unit: Unit, first: date, last: date, today: date) -> SeasonBack:
    """Look back on a season.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.
    first, last : date
        Days within which orders were wanted and sowings ended.
    today : date
        The day in the house.

    Returns
    -------
    season : SeasonBack
        Kept as long as nothing of it changes.
    """
    entry = unit.journal.latest(1)
    head = unit.plans.current()
    house, catalog, _ = house_of(unit)
    key = (
        (entry[0].seq, entry[0].entry.id) if entry else None,
        unit.orders_page.last_change(),
        None if head is None else (head.id, head.made_at),
        id(house),
        first,
        last,
        today,
    )
    return _seasons.get(key, lambda: _gathered(unit, first, last, today, house, catalog))


def _gathered(
    unit: Unit, first: date, last: date, today: date, house: House, catalog: Catalog
) -> SeasonBack:
    """Read the book and take the season apart."""
    page = unit.back_page
    wanted = page.orders(first, last)
    entries = page.entries(first, last)
    planned = page.planned(first, last)
    starts = {each.sowing: each for each in unit.standings.all()}
    grown = _grown(entries, planned, starts, first, last, today)
    since = min((each.since for each in grown.values()), default=first)
    jobs = page.jobs_done(min(since, first), today)
    house_entries = page.house_entries(min(since, first), today)
    lots = {each.id: each for each in unit.lots.all()}
    spending = Spending(house, catalog, lots)
    said = _minutes_told(entries, house_entries)
    shared, left = shared_work(jobs, said, grown, spending)
    sowings = {
        each.name: spending.past(each, _own_minutes(jobs, said, each.name), shared)
        for each in grown.values()
    }
    handed = {each.entry: each for each in page.deliveries(first, last)}
    for each in grown.values():
        handed |= {one.entry: one for one in each.life.handed_over}
    given = [Given(each.sowing, each.order, each.date, each.plants) for each in handed.values()]
    names = {each.order for each in given if each.order} | {
        name for each in sowings.values() for name in each.meant
    }
    known = {each.id: each for each in wanted} | unit.orders.named(
        sorted(names - {each.id for each in wanted})
    )
    had: dict[str, int] = {}
    for one in given:
        had[one.order] = had.get(one.order, 0) + one.plants
    over = [
        each for each in wanted if each.latest_date < today or had.get(each.id, 0) >= each.plants
    ]
    orders = tuple(_past_order(each) for each in over)
    lines = list(
        season_lines(
            orders,
            sowings.values(),
            given,
            short_price=house.prices.short_plant,
            late_price=house.prices.late_plant_day,
            customers={each.id: each.customer for each in known.values()},
        )
    )
    own = [each for each in left if first <= each.day <= last]
    if own:
        lines.append(_house_line(own, house.crew.rate_per_hour))
    standing = [each for each in sowings.values() if grown[each.name].life.ended_date is None]
    return SeasonBack(
        first,
        last,
        today,
        tuple(lines),
        orders,
        sowings,
        {name: each for name, each in grown.items() if each.is_over},
        figures_of(lines, orders),
        len(wanted) - len(over),
        len(standing),
        sum(sum(each.money.values()) for each in standing),
        spending.n_unpriced,
        spending,
        house,
        catalog,
        known,
    )


def _grown(
    entries: Mapping[str, Sequence[Entry]],
    planned: Mapping[str, tuple[int, Sowing]],
    starts: Mapping[str, Standing],
    first: date,
    last: date,
    today: date,
) -> dict[str, Grown]:
    """Follow sowings by their journals."""
    found = {}
    for name in sorted(set(entries) | set(planned) | set(starts)):
        own, start = entries.get(name, ()), starts.get(name)
        if not own and start is None:
            continue
        life = sowing_life(name, own, start)
        if life.sown_date is None and not life.handed_over:
            continue
        until = life.ended_date or today + timedelta(days=1)
        sowing = planned.get(name)
        found[name] = Grown(
            name,
            life,
            tray_stays(name, own, start, until),
            None if sowing is None else sowing[1],
            life.ended_date is not None and first <= life.ended_date <= last,
        )
    return found


def _minutes_told(
    entries: Mapping[str, Iterable[Entry]], house: Mapping[str, Entry]
) -> dict[str, float]:
    """Return the minutes that people wrote down, by entry."""
    told = {}
    for each in [*(one for of in entries.values() for one in of), *house.values()]:
        minutes = each.values.get(MINUTES_WORKED) if each.job else None
        if isinstance(minutes, int | float) and minutes > 0:
            told[each.id] = float(minutes)
    return told


def _own_minutes(
    jobs: Iterable[JobDone], told: Mapping[str, float], sowing: str
) -> tuple[float, float]:
    """Return the minutes of a sowing's own jobs, and how many of them were written down."""
    minutes = said = 0.0
    for each in jobs:
        if each.sowing == sowing:
            minutes += told.get(each.entry, each.minutes)
            said += told.get(each.entry, 0.0)
    return minutes, said


def _past_order(order: Order) -> PastOrder:
    """Return an order as looking back needs it."""
    return PastOrder(
        order.id,
        order.customer,
        order.crop,
        order.plants,
        order.earliest_date,
        order.latest_date,
        math.ceil(order.min_frac * order.plants - 1e-9),
    )


def _house_line(jobs: Sequence[JobDone], rate_per_hour: float) -> Line:
    """Return the work that is of no sowing as a line of its own."""
    line = Line()
    line.minutes = sum(each.minutes for each in jobs)
    line.money["labor"] = line.minutes / 60.0 * rate_per_hour
    return line
