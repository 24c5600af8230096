"""The page of a season looked back on: figures by crop, container, customer or lot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from sowbench.domain.look_back import PARTS, Figures, Line, figures_of, grouped
from sowbench.exchange.plan_tables import table_bytes
from sowbench.services import wording
from sowbench.services.house_day import day_in_house
from sowbench.services.look_back import SeasonBack, season_back
from sowbench.services.look_back_charts import money_spec, on_time_spec
from sowbench.services.look_back_choices import Choices, season_choices
from sowbench.services.orders_words import crop_name

if TYPE_CHECKING:
    from sowbench.domain.ports import Unit
    from sowbench.services.desk import Desk

GROUPS: Final = ("crop", "container", "customer", "lot")
"""By what a season can be grouped."""

PART_WORDS: Final = {
    "seed": "seed",
    "container": "containers",
    "mix": "mix",
    "labor": "work",
    "room": "room",
    "dumped": "lost or dumped",
    "short": "plants short",
    "late": "plants late",
}
"""Parts of the money in words."""

_NONE_WORDS: Final = {
    "crop": "the house as a whole",
    "container": "no container known",
    "customer": "no customer",
    "lot": "no lot known",
}
_SMALL: Final = 3
_MOST_CHOICES: Final = 200


@dataclass(frozen=True, slots=True)
class BackFilter:
    """What is asked for; a blank asks for any, None for the usual days.

    Attributes
    ----------
    by : str
        One of `GROUPS`.
    crop, container, customer, lot : str
        Only what is of these.
    first, last : date or None
        Days within which orders were wanted and sowings ended; the year of today.
    """

    by: str = "crop"
    crop: str = ""
    container: str = ""
    customer: str = ""
    lot: str = ""
    first: date | None = None
    last: date | None = None

    def asks(self, line: Line) -> bool:
        """Tell whether a line is asked for."""
        return all(
            not wanted or wanted == found
            for wanted, found in (
                (self.crop, line.crop),
                (self.container, line.container),
                (self.customer, line.customer),
                (self.lot, line.lot),
            )
        )


@dataclass(frozen=True, slots=True)
class Group:
    """One line of the table.

    Attributes
    ----------
    name, words : str
        Its name, and as a person says it.
    figures : Figures
        Its sums.
    is_small : bool
        Whether it stands on fewer than three sowings, so that its shares say little (ours).
    """

    name: str
    words: str
    figures: Figures
    is_small: bool


@dataclass(frozen=True, slots=True)
class BackView:
    """The page; every figure is a sum over `groups`."""

    heading: str
    wanted: BackFilter
    first: date
    last: date
    today: date
    years: tuple[tuple[int, date, date], ...]
    total: Figures
    groups: tuple[Group, ...]
    choices: tuple[Choices, ...]
    options: dict[str, tuple[tuple[str, str], ...]]
    currency: str
    n_open_orders: int
    n_open_sowings: int
    open_money: float
    n_unpriced: int
    money_chart: dict[str, Any] | None
    money_words: str
    on_time_chart: dict[str, Any] | None
    on_time_words: str
    parts: tuple[tuple[str, str, float], ...]
    query: str


def back_view(desk: Desk, wanted: BackFilter) -> BackView:
    """Gather the page.

    Parameters
    ----------
    desk : Desk
        The desk.
    wanted : BackFilter
        What is asked for.

    Returns
    -------
    view : BackView
        What the page shows.
    """
    with desk.book.reading() as unit:
        season, days = _season(unit, desk, wanted)
    lines = [each for each in season.lines if wanted.asks(each)]
    total = figures_of(lines, season.orders)
    groups = groups_of(season, lines, wanted.by)
    names = sorted({each.sowing for each in lines if each.sowing in season.grown})
    choices = season_choices(season, names[:_MOST_CHOICES], season.spending)
    currency = season.house.prices.currency
    parts = tuple((each, PART_WORDS[each], total.money[each]) for each in PARTS)
    return BackView(
        heading=_heading(total),
        wanted=wanted,
        first=season.first,
        last=season.last,
        today=season.today,
        years=_years(days, season.today),
        total=total,
        groups=groups,
        choices=tuple(choices),
        options={by: _options(season, by) for by in GROUPS},
        currency=currency,
        n_open_orders=season.n_open_orders,
        n_open_sowings=season.n_open_sowings,
        open_money=season.open_money,
        n_unpriced=season.n_unpriced,
        money_chart=money_spec(groups, PART_WORDS) if total.total > 0 else None,
        money_words=_money_words(total, currency),
        on_time_chart=on_time_spec(groups) if total.promised else None,
        on_time_words=f"{total.on_time:,} of {total.given:,} plants given went out between the "
        "earliest and the latest day of their order.",
        parts=parts,
        query=_query(wanted, season),
    )


def _season(
    unit: Unit, desk: Desk, wanted: BackFilter
) -> tuple[SeasonBack, tuple[date, date] | None]:
    """Return the season asked for, and the days that the book knows of."""
    today = day_in_house(unit, desk.clock())
    first = wanted.first or date(today.year, 1, 1)
    last = wanted.last or date((wanted.first or today).year, 12, 31)
    return season_back(unit, min(first, last), max(first, last), today), unit.back_page.days()


def season_asked(desk: Desk, wanted: BackFilter) -> SeasonBack:
    """Return the season that is asked for.

    Parameters
    ----------
    desk : Desk
        The desk.
    wanted : BackFilter
        What is asked for.

    Returns
    -------
    season : SeasonBack
        The season.
    """
    with desk.book.reading() as unit:
        return _season(unit, desk, wanted)[0]


def groups_of(season: SeasonBack, lines: Sequence[Line], by: str) -> tuple[Group, ...]:
    """Group lines of a season.

    Parameters
    ----------
    season : SeasonBack
        The season.
    lines : sequence of Line
        Some of its lines.
    by : str
        One of `GROUPS`.

    Returns
    -------
    groups : tuple of Group
        What cost most first.
    """
    found = []
    for name, rows in grouped(lines, by).items():
        figures = figures_of(rows, season.orders)
        found.append(Group(name, _words(season, by, name), figures, 0 < figures.n_sowings < _SMALL))
    return tuple(sorted(found, key=lambda each: (-each.figures.total, each.name)))


def back_table(desk: Desk, wanted: BackFilter) -> bytes:
    """Write the groups as CSV.

    Parameters
    ----------
    desk : Desk
        The desk.
    wanted : BackFilter
        What is asked for.

    Returns
    -------
    data : bytes
        The file; text that a spreadsheet would calculate is made harmless.
    """
    view = back_view(desk, wanted)
    rows = [
        {wanted.by: each.name or each.words, **figures_row(each.figures)} for each in view.groups
    ]
    rows.append({wanted.by: "all", **figures_row(view.total)})
    return table_bytes((wanted.by, *figures_row(view.total)), rows)


def figures_row(figures: Figures) -> dict[str, object]:
    """Write figures by the names of their columns.

    Parameters
    ----------
    figures : Figures
        Sums of a group.

    Returns
    -------
    row : dict of str to object
        Values by column.
    """
    return {
        "orders": figures.n_orders,
        "sowings": figures.n_sowings,
        "promised": figures.promised,
        "given": figures.given,
        "on_time": figures.on_time,
        "early": figures.early,
        "late": figures.late,
        "short": figures.short,
        "orders_full_on_time": figures.n_full,
        "cells": figures.n_cells,
        "seeds": figures.n_seeds,
        "cells_right": figures.n_right,
        "cells_seen": figures.n_seen,
        "cells_lost": figures.n_lost,
        "stand_frac": figures.stand_frac,
        "seeds_per_plant": figures.seeds_per_plant,
        "m2_days_per_plant": figures.m2_days_per_plant,
        "position_days_per_plant": figures.position_days_per_plant,
        "minutes": figures.minutes,
        "minutes_written_down": figures.minutes_told,
        "plants_costed": figures.raised,
        "cost_per_plant": figures.cost_per_plant,
        **{f"cost_{part}": figures.money[part] for part in PARTS},
        "cost": figures.total,
    }


def _words(season: SeasonBack, by: str, name: str) -> str:
    """Say a group as a person does."""
    if not name:
        return _NONE_WORDS[by]
    if by == "crop":
        return crop_name(name, season.catalog)
    if by == "container" and name in season.catalog.containers:
        return season.catalog.containers[name].name
    return name


def _options(season: SeasonBack, by: str) -> tuple[tuple[str, str], ...]:
    """Offer what there is to choose from."""
    names = sorted({getattr(each, by) for each in season.lines} - {""})
    return tuple((name, _words(season, by, name)) for name in names)


def _years(days: tuple[date, date] | None, today: date) -> tuple[tuple[int, date, date], ...]:
    """Offer the years that the book knows of, up to this one."""
    if days is None:
        return ()
    years = range(days[0].year, min(days[1].year, today.year) + 1)
    return tuple((each, date(each, 1, 1), date(each, 12, 31)) for each in years)


def _heading(total: Figures) -> str:
    """Say what is true of the season."""
    if not total.promised and not total.raised:
        return "Nothing of this season is over yet"
    if not total.promised:
        return f"{total.raised:,} plants were given"
    share = wording.percent(min(total.given / total.promised, 1.0))
    text = f"{share} of {total.promised:,} plants promised were given"
    if total.given and total.on_time < total.given:
        return f"{text}, {wording.percent(total.on_time / total.given)} of them on time"
    return f"{text}, all of them on time" if total.given else text


def _money_words(total: Figures, currency: str) -> str:
    """Say where the money went."""
    found = sorted(
        ((total.money[each], PART_WORDS[each]) for each in PARTS if total.money[each] > 0),
        reverse=True,
    )
    if not found:
        return "No money is known to have gone anywhere."
    parts = [f"{wording.money(value, currency)} for {words}" for value, words in found]
    return f"{wording.money(total.total, currency)} in all: {wording.listed(parts)}."


def _query(wanted: BackFilter, season: SeasonBack) -> str:
    """Write what is asked for as the end of an address, without by what it is grouped."""
    values = {each: getattr(wanted, each) for each in ("crop", "container", "customer", "lot")}
    days = {"from": season.first.isoformat(), "to": season.last.isoformat()}
    return urlencode({key: value for key, value in values.items() if value} | days)
