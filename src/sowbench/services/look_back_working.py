"""How a figure of a past season came about."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from sowbench.domain.look_back import PARTS, RAISING, Figures, figures_of
from sowbench.science.errors import UnknownNameError
from sowbench.services import wording
from sowbench.services.look_back_page import PART_WORDS, BackFilter, season_asked
from sowbench.services.working import HOUSE, WORKED_OUT, YOURS, Input, Line, Working, amount

if TYPE_CHECKING:
    from sowbench.services.desk import Desk
    from sowbench.services.look_back import SeasonBack

_WHERE: Final = "docs/book.md, section 7"
_OWN: Final = "All of it comes from your journal and orders; prices are those of the house today."


def back_working(desk: Desk, figure: str, wanted: BackFilter, group: str | None = None) -> Working:
    """Show how a figure came about.

    Parameters
    ----------
    desk : Desk
        The desk.
    figure : str
        "given", "on-time", "stand", "seed", "room", "cost" or "money".
    wanted : BackFilter
        What is asked for, and by what it is grouped.
    group : str or None, default None
        The group; None is all of it.

    Returns
    -------
    working : Working
        Inputs, formula and result.

    Raises
    ------
    UnknownNameError
        If there is no such figure, or no such group.
    """
    if figure not in _FIGURES:
        raise UnknownNameError.among(figure, "figure", sorted(_FIGURES))
    season = season_asked(desk, wanted)
    lines = [each for each in season.lines if wanted.asks(each)]
    if group is not None:
        lines = [each for each in lines if getattr(each, wanted.by) == group]
        if not lines:
            raise UnknownNameError(group, f"{wanted.by} of this season")
    figures = figures_of(lines, season.orders)
    title, result, inputs, steps = _FIGURES[figure](season, figures)
    counted = (
        Input("orders", amount(figures.n_orders), "", "their time is over, or they are filled",
              YOURS),
        Input("sowings", amount(figures.n_sowings), "", "by the journal", YOURS),
    )  # fmt: skip
    days = wording.between(season.first, season.last)
    return Working(
        title,
        f"{group or 'the season'}, {days}" if group is not None else days,
        result,
        (*counted, *inputs),
        steps,
        changed=_OWN,
        where=_WHERE,
    )


_Told = tuple[str, str, tuple[Input, ...], tuple[Line, ...]]


def _input(name: str, value: float, unit: str = "") -> Input:
    """Write a sum of the journal."""
    return Input(name, amount(round(value, 2)), unit, "journal and orders", YOURS)


def _share(part: float, whole: float) -> str:
    """Write a share."""
    return wording.percent(part / whole) if whole else "not known"


def _rate(part: float, whole: float, unit: str) -> str:
    """Write so much a plant."""
    return f"{part / whole:,.3g} {unit}".strip() if whole else "not known"


def _given(_: SeasonBack, f: Figures) -> _Told:
    """Promised and given."""
    inputs = (_input("promised", f.promised), _input("given", f.given), _input("short", f.short))
    line = Line(
        "Of what orders wanted, what was handed over for them. An order's plants go to the sowings "
        "that gave them; what is missing falls on those that were to give more than they gave.",
        f"{f.given:,} / {f.promised:,}",
        _share(f.given, f.promised),
    )
    return "Given of what was promised", _share(f.given, f.promised), inputs, (line,)


def _on_time(_: SeasonBack, f: Figures) -> _Told:
    """On time."""
    inputs = (
        _input("given on time", f.on_time),
        _input("given before the earliest day", f.early),
        _input("given after the latest day", f.late),
        _input("plants times days late", f.late_plant_days, "d"),
        _input("orders in full and on time", f.n_full),
    )
    line = Line(
        "Plants that went out from the earliest to the latest day of their order, of all given.",
        f"{f.on_time:,} / {f.given:,}",
        _share(f.on_time, f.given),
    )
    return "Given on time", _share(f.on_time, f.given), inputs, (line,)


def _stand(_: SeasonBack, f: Figures) -> _Told:
    """Stand."""
    inputs = (
        _input("right", f.n_right, "cells"),
        _input("looked at", f.n_seen, "cells"),
        _input("sown", f.n_cells, "cells"),
    )
    line = Line(
        "Cells with what is wanted in them, of those looked at in the last count of each tray.",
        f"{f.n_right:,} / {f.n_seen:,}",
        _share(f.n_right, f.n_seen),
    )
    return "Stand", _share(f.n_right, f.n_seen), inputs, (line,)


def _seed(_: SeasonBack, f: Figures) -> _Told:
    """Seed a plant."""
    inputs = (_input("seeds sown", f.n_seeds), _input("plants given of these sowings", f.raised))
    line = Line(
        "Seeds of sowings that are over, for each plant given of them.",
        f"{f.n_seeds:,} / {f.raised:,}",
        _rate(f.n_seeds, f.raised, "seeds"),
    )
    return "Seed a plant", _rate(f.n_seeds, f.raised, "seeds"), inputs, (line,)


def _room(_: SeasonBack, f: Figures) -> _Told:
    """Bench days a plant."""
    inputs = (
        _input("room taken", f.m2_days, "m² d"),
        _input("by trays", f.position_days, "tray d"),
        _input("plants given of these sowings", f.raised),
    )
    lines = (
        Line(
            "Where each tray stood, from evening to evening by the journal, times its area; of a "
            "tray that sowings shared, an even part.",
            f"{f.m2_days:,.1f} / {f.raised:,}",
            _rate(f.m2_days, f.raised, "m² d"),
        ),
        Line(
            "The same in trays.",
            f"{f.position_days:,.0f} / {f.raised:,}",
            _rate(f.position_days, f.raised, "tray d"),
        ),
    )
    return "Bench days a plant", _rate(f.m2_days, f.raised, "m² d"), inputs, lines


def _prices(season: SeasonBack, f: Figures) -> tuple[Input, ...]:
    """Prices and minutes that money rests on."""
    house, money = season.house, season.house.prices.currency
    return (
        _input("plants given of sowings that are over", f.raised),
        _input("plants given", f.given),
        Input("working time", f"{f.minutes:,.0f}", "min",
              f"{f.minutes_told:,.0f} of them written down, the others as planned for the jobs "
              "ticked off", WORKED_OUT),
        Input("an hour of work", wording.money(house.crew.rate_per_hour, money), "", "", HOUSE),
        Input("a plant short", wording.money(house.prices.short_plant, money), "", "", HOUSE),
        Input("a plant a day late", wording.money(house.prices.late_plant_day, money), "", "",
              HOUSE),
    )  # fmt: skip


def _cost(season: SeasonBack, f: Figures) -> _Told:
    """Cost a plant."""
    money = season.house.prices.currency
    lines = []
    for part in PARTS:
        each = f.per_plant(part)
        if each:
            over = f.raised if part in RAISING or part == "dumped" else f.given
            lines.append(
                Line(
                    f"{PART_WORDS[part].capitalize()}.",
                    f"{f.money[part]:,.2f} / {over:,}",
                    wording.money(each, money),
                )
            )
    total = f.cost_per_plant
    result = "not known" if total is None else wording.money(total, money)
    lines.append(Line("Together.", "sum", result))
    return "Cost of a plant given", result, _prices(season, f), tuple(lines)


def _money(season: SeasonBack, f: Figures) -> _Told:
    """Where the money went."""
    money = season.house.prices.currency
    lines = [
        Line(_MONEY_WORDS[part], "", wording.money(f.money[part], money))
        for part in PARTS
        if f.money[part]
    ]
    result = wording.money(f.total, money)
    lines.append(Line("Together.", "sum", result))
    return "Where the money went", result, _prices(season, f), tuple(lines)


_MONEY_WORDS: Final = {
    "seed": "Seed sown, at the price of its lot or else the handbook's.",
    "container": "Each tray filled, one use of it, and its label.",
    "mix": "Mix in the cells filled.",
    "labor": "Work: jobs ticked off; what was done to a whole place goes by area.",
    "room": "Room: days in each place by area, at the place's price.",
    "dumped": "Of all these, the share of cells lost or dumped; it is taken off the other parts.",
    "short": "Plants promised and not given, at the price of a plant short.",
    "late": "Plants times days after the latest day.",
}
_FIGURES: Final[dict[str, Callable[[SeasonBack, Figures], _Told]]] = {
    "given": _given,
    "on-time": _on_time,
    "stand": _stand,
    "seed": _seed,
    "room": _room,
    "cost": _cost,
    "money": _money,
}
