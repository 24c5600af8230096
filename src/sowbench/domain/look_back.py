"""A season that is over, taken apart: what was promised, given and spent, each of it once.

The smallest part is a line: what one sowing gave one order, with its share of what the order
wanted and of what the sowing cost. Whatever a season is grouped by, the groups add up to the
whole, because every line is in one group.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final

RAISING: Final = ("seed", "container", "mix", "labor", "room")
"""Parts of what raising costs."""

PARTS: Final = (*RAISING, "dumped", "short", "late")
"""Parts of where the money went."""


@dataclass(frozen=True, slots=True)
class PastOrder:
    """An order whose time is over, or which was filled.

    Attributes
    ----------
    name, customer, crop : str
        As entered.
    plants : int
        Plants promised.
    earliest_date, latest_date : date
        Days between which plants are on time.
    enough : int
        Plants that make the order full.
    """

    name: str
    customer: str
    crop: str
    plants: int
    earliest_date: date
    latest_date: date
    enough: int


@dataclass(frozen=True, slots=True)
class PastSowing:
    """What was spent on one sowing, and what was seen of it.

    Attributes
    ----------
    name, crop, variety, lot, container : str
        What was sown, in what.
    is_over : bool
        Whether it has ended within the season; what still stands is not reckoned yet.
    n_cells, n_seeds : int
        Cells and seeds sown.
    n_right, n_seen : int
        Cells with what is wanted, of those last looked at.
    n_lost : int
        Cells lost or dumped.
    m2_days, position_days : float
        Room taken, by outer area and by lifted units.
    minutes, minutes_told : float
        Working time, and how much of it people wrote down; the rest is as reckoned [min].
    money : mapping of str to float
        Money by the parts of raising.
    meant : mapping of str to int
        Plants planned of it, by order.
    """

    name: str
    crop: str
    variety: str = ""
    lot: str = ""
    container: str = ""
    is_over: bool = True
    n_cells: int = 0
    n_seeds: int = 0
    n_right: int = 0
    n_seen: int = 0
    n_lost: int = 0
    m2_days: float = 0.0
    position_days: float = 0.0
    minutes: float = 0.0
    minutes_told: float = 0.0
    money: Mapping[str, float] = field(default_factory=dict)
    meant: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Given:
    """Plants handed over on one day."""

    sowing: str
    order: str
    date: date
    plants: int


@dataclass(slots=True)
class Line:
    """What one sowing had to do with one order; one of both may be blank.

    Attributes
    ----------
    order, customer, sowing, crop, lot, container : str
        What it is about.
    promised : int
        Its share of the plants promised.
    given, on_time, late : int
        Plants given, of them between earliest and latest day, and after it.
    late_plant_days : int
        Plants times days after the latest day.
    short : int
        Plants promised and not given.
    raised : int
        Plants given that the costs stand behind: those of sowings that are over.
    n_cells, n_seeds, n_right, n_seen, n_lost : int
        Shares of the sowing's.
    m2_days, position_days, minutes, minutes_told : float
        Shares of the sowing's.
    money : dict of str to float
        By `PARTS`.
    """

    order: str = ""
    customer: str = ""
    sowing: str = ""
    crop: str = ""
    lot: str = ""
    container: str = ""
    promised: int = 0
    given: int = 0
    on_time: int = 0
    late: int = 0
    late_plant_days: int = 0
    short: int = 0
    raised: int = 0
    n_cells: int = 0
    n_seeds: int = 0
    n_right: int = 0
    n_seen: int = 0
    n_lost: int = 0
    m2_days: float = 0.0
    position_days: float = 0.0
    minutes: float = 0.0
    minutes_told: float = 0.0
    money: dict[str, float] = field(default_factory=lambda: dict.fromkeys(PARTS, 0.0))


@dataclass(frozen=True, slots=True)
class Figures:
    """Sums over some lines; shares are None where there is nothing to divide by.

    Attributes
    ----------
    n_orders, n_sowings : int
        Orders and sowings that the figures stand on. One that is in two groups counts in both.
    n_full : int
        Orders given in full between their earliest and latest day.
    """

    n_orders: int
    n_sowings: int
    n_full: int
    promised: int
    given: int
    on_time: int
    late: int
    late_plant_days: int
    short: int
    raised: int
    n_cells: int
    n_seeds: int
    n_right: int
    n_seen: int
    n_lost: int
    m2_days: float
    position_days: float
    minutes: float
    minutes_told: float
    money: Mapping[str, float]

    @property
    def early(self) -> int:
        """Plants given before the earliest day."""
        return self.given - self.on_time - self.late

    @property
    def given_frac(self) -> float | None:
        """Plants given, of those promised."""
        return _ratio(self.given, self.promised)

    @property
    def on_time_frac(self) -> float | None:
        """Plants given between earliest and latest day, of those given."""
        return _ratio(self.on_time, self.given)

    @property
    def stand_frac(self) -> float | None:
        """Cells with what is wanted, of those last looked at."""
        return _ratio(self.n_right, self.n_seen)

    @property
    def seeds_per_plant(self) -> float | None:
        """Seeds sown for a plant given."""
        return _ratio(self.n_seeds, self.raised)

    @property
    def m2_days_per_plant(self) -> float | None:
        """Days on a square meter for a plant given [m2 d]."""
        return _ratio(self.m2_days, self.raised)

    @property
    def position_days_per_plant(self) -> float | None:
        """Days of a tray's position for a plant given."""
        return _ratio(self.position_days, self.raised)

    @property
    def minutes_per_plant(self) -> float | None:
        """Working time for a plant given [min]."""
        return _ratio(self.minutes, self.raised)

    @property
    def total(self) -> float:
        """All money."""
        return sum(self.money.values())

    def per_plant(self, part: str) -> float | None:
        """Return the money of a part for a plant given.

        Parameters
        ----------
        part : str
            One of `PARTS`.

        Returns
        -------
        money : float or None
            What raising cost goes by plants of sowings that are over, short and late by all.
        """
        plants = self.raised if part in RAISING or part == "dumped" else self.given
        return _ratio(self.money.get(part, 0.0), plants)

    @property
    def cost_per_plant(self) -> float | None:
        """Money for a plant given: the sum of its parts."""
        if not self.raised:
            return None
        return sum(self.per_plant(part) or 0.0 for part in PARTS)


def shares_of(n: int, weights: Sequence[int]) -> list[int]:
    """Share a whole number in proportion, so that the shares add up to it.

    Parameters
    ----------
    n : int
        What is shared.
    weights : sequence of int
        In proportion to what.

    Returns
    -------
    shares : list of int
        Whole numbers that add up to `n`; all to the first where no weight is above 0.

    Examples
    --------
    >>> shares_of(10, [1, 1, 1])
    [3, 3, 4]
    """
    total = sum(weights)
    if not weights:
        return []
    if total <= 0:
        return [n] + [0] * (len(weights) - 1)
    shares, passed, handed = [], 0, 0
    for weight in weights:
        passed += weight
        upto = n * passed // total
        shares.append(upto - handed)
        handed = upto
    return shares


def season_lines(
    orders: Iterable[PastOrder],
    sowings: Iterable[PastSowing],
    given: Iterable[Given],
    *,
    short_price: float = 0.0,
    late_price: float = 0.0,
    customers: Mapping[str, str] | None = None,
) -> tuple[Line, ...]:
    """Take a season apart into lines.

    Parameters
    ----------
    orders : iterable of PastOrder
        Orders of the season that are over.
    sowings : iterable of PastSowing
        Sowings that are over in it, and others that gave plants to its orders.
    given : iterable of Given
        What was handed over; what is neither for one of the orders nor of one of the sowings that
        are over is passed over.
    short_price, late_price : float, default 0
        Money of a plant short, and of a plant a day late.
    customers : mapping of str to str or None, default None
        Customers of orders outside of the season that sowings gave plants to.

    Returns
    -------
    lines : tuple of Line
        Every plant promised, given and short, every seed, cell, day and unit of money is in one.
    """
    known = {each.name: each for each in orders}
    grown = {each.name: each for each in sowings}
    whose = dict(customers or {}) | {each.name: each.customer for each in known.values()}
    lines: dict[tuple[str, str], Line] = {}

    def line(order: str, sowing: str) -> Line:
        found = lines.get((order, sowing))
        if found is None:
            of, by = grown.get(sowing), known.get(order)
            crop = of.crop if of is not None else (by.crop if by is not None else "")
            found = Line(order, whose.get(order, ""), sowing, crop)
            if of is not None:
                found.lot, found.container = of.lot, of.container
            lines[order, sowing] = found
        return found

    per_sowing: dict[str, dict[str, int]] = {}
    for each in given:
        order, sowing = known.get(each.order), grown.get(each.sowing)
        over = sowing is not None and sowing.is_over
        if order is None and not over:
            continue
        row = line(each.order, each.sowing)
        if order is not None:
            _give(row, order, each)
        if over:
            row.raised += each.plants
            plants = per_sowing.setdefault(each.sowing, {})
            plants[each.order] = plants.get(each.order, 0) + each.plants
    for order in known.values():
        _promise(order, grown, line, lines)
    for row in list(lines.values()):
        row.money["short"] = row.short * short_price
        row.money["late"] = row.late_plant_days * late_price
    for sowing in grown.values():
        if sowing.is_over:
            _spend(sowing, per_sowing.get(sowing.name, {}), line)
    return tuple(lines[key] for key in sorted(lines))


def _give(row: Line, order: PastOrder, given: Given) -> None:
    """Add plants handed over for an order."""
    row.given += given.plants
    if given.date > order.latest_date:
        row.late += given.plants
        row.late_plant_days += given.plants * (given.date - order.latest_date).days
    elif given.date >= order.earliest_date:
        row.on_time += given.plants


def _promise(
    order: PastOrder,
    grown: Mapping[str, PastSowing],
    line: Callable[[str, str], Line],
    lines: Mapping[tuple[str, str], Line],
) -> None:
    """Share what an order wanted, and what is missing of it, among its sowings."""
    mine = {name: row for (of, name), row in lines.items() if of == order.name}
    total = sum(each.given for each in mine.values())
    if total >= order.plants:
        names = sorted(mine)
        promised = shares_of(order.plants, [mine[name].given for name in names])
        for name, plants in zip(names, promised, strict=True):
            mine[name].promised += plants
        if not names:
            line(order.name, "").promised += order.plants
        return
    for row in mine.values():
        row.promised += row.given
    short = order.plants - total
    # What is missing falls on the sowings that were to give more than they gave.
    lacking = {
        each.name: each.meant[order.name] - (mine[each.name].given if each.name in mine else 0)
        for each in grown.values()
        if each.meant.get(order.name, 0) > 0
    }
    blamed = {name: plants for name, plants in sorted(lacking.items()) if plants > 0}
    if not blamed:
        blamed = {"": 1}
    for name, plants in zip(blamed, shares_of(short, list(blamed.values())), strict=True):
        if plants:
            row = line(order.name, name)
            row.promised += plants
            row.short += plants


def _spend(sowing: PastSowing, plants: Mapping[str, int], line: Callable[[str, str], Line]) -> None:
    """Share what a sowing took among the orders that had plants of it, or were to have some."""
    weights = {name: n for name, n in sorted(plants.items()) if n > 0}
    if not weights:
        weights = {name: n for name, n in sorted(sowing.meant.items()) if n > 0} or {"": 1}
    values = list(weights.values())
    whole = {
        name: shares_of(getattr(sowing, name), values)
        for name in ("n_cells", "n_seeds", "n_right", "n_seen", "n_lost")
    }
    lost_frac = min(sowing.n_lost / sowing.n_cells, 1.0) if sowing.n_cells else 0.0
    total = sum(values)
    for at, (order, weight) in enumerate(weights.items()):
        row, share = line(order, sowing.name), weight / total
        for name, numbers in whole.items():
            setattr(row, name, getattr(row, name) + numbers[at])
        row.m2_days += sowing.m2_days * share
        row.position_days += sowing.position_days * share
        row.minutes += sowing.minutes * share
        row.minutes_told += sowing.minutes_told * share
        for part in RAISING:
            money = sowing.money.get(part, 0.0) * share
            row.money[part] += money * (1.0 - lost_frac)
            row.money["dumped"] += money * lost_frac


def figures_of(lines: Iterable[Line], orders: Iterable[PastOrder] = ()) -> Figures:
    """Add lines up.

    Parameters
    ----------
    lines : iterable of Line
        Some lines of a season.
    orders : iterable of PastOrder, default ()
        The season's orders, by which one is full; without them none is.

    Returns
    -------
    figures : Figures
        Their sums.
    """
    rows = list(lines)
    names = {each.order for each in rows if each.promised or each.given}
    on_time: dict[str, int] = {}
    for each in rows:
        on_time[each.order] = on_time.get(each.order, 0) + each.on_time
    full = sum(on_time.get(each.name, 0) >= each.enough for each in orders if each.name in names)
    return Figures(
        n_orders=len(names),
        n_sowings=len({each.sowing for each in rows if each.sowing}),
        n_full=full,
        promised=sum(each.promised for each in rows),
        given=sum(each.given for each in rows),
        on_time=sum(each.on_time for each in rows),
        late=sum(each.late for each in rows),
        late_plant_days=sum(each.late_plant_days for each in rows),
        short=sum(each.short for each in rows),
        raised=sum(each.raised for each in rows),
        n_cells=sum(each.n_cells for each in rows),
        n_seeds=sum(each.n_seeds for each in rows),
        n_right=sum(each.n_right for each in rows),
        n_seen=sum(each.n_seen for each in rows),
        n_lost=sum(each.n_lost for each in rows),
        m2_days=sum(each.m2_days for each in rows),
        position_days=sum(each.position_days for each in rows),
        minutes=sum(each.minutes for each in rows),
        minutes_told=sum(each.minutes_told for each in rows),
        money={part: sum(each.money[part] for each in rows) for part in PARTS},
    )


def grouped(lines: Iterable[Line], by: str) -> dict[str, list[Line]]:
    """Put lines into groups.

    Parameters
    ----------
    lines : iterable of Line
        Lines of a season.
    by : str
        "crop", "container", "customer" or "lot".

    Returns
    -------
    groups : dict of str to list of Line
        Every line in one of them, by name.
    """
    groups: dict[str, list[Line]] = {}
    for each in lines:
        groups.setdefault(getattr(each, by), []).append(each)
    return dict(sorted(groups.items()))


def _ratio(part: float, whole: float) -> float | None:
    """Return a share; None of nothing."""
    return part / whole if whole else None
