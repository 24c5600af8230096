"""How a forecast came about: what was believed before, what the counts say, what is left of it."""

from __future__ import annotations

from dataclasses import replace
from math import exp, isfinite
from typing import TYPE_CHECKING, Final

from sowbench.domain.journal import EntryKind
from sowbench.forecasting import forecast_sowings
from sowbench.science.errors import UnknownNameError
from sowbench.services import wording
from sowbench.services.book_inputs import lots_left
from sowbench.services.forecasts import HouseForecast, house_forecast
from sowbench.services.resow_ways import NEXT_LOOK_D, resowings
from sowbench.services.sowing_journal import entry_words
from sowbench.services.working import ASSUMED, PLANNED, WORKED_OUT, YOURS, Input, Line, Working

if TYPE_CHECKING:
    from datetime import date

    from sowbench.domain.ports import Unit
    from sowbench.forecasting import DaySpread, OpenSowing, SowingForecast

FORECAST: Final = frozenset({"forecast", "forecast-ready", "forecast-order", "forecast-count"})
"""Workings of a forecast, as their addresses name them."""

_WHERE: Final = "docs/model.md, section 13"
_WHERE_COUNT: Final = "docs/model.md, section 14"
_COUNTS_TOLD: Final = 6


def forecast_working(unit: Unit, today: date, what: str, of: str) -> Working:
    """Show how a figure of the forecast came about.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    today : date
        The day in the house.
    what : str
        One of `FORECAST`.
    of : str
        Name of the sowing or order.

    Returns
    -------
    working : Working
        Inputs, steps and result.

    Raises
    ------
    UnknownNameError
        If nothing of that name is forecast.
    """
    forecast = house_forecast(unit, today)
    if what == "forecast-order":
        return _order(forecast, of)
    names = forecast.gathered.names
    if of not in names:
        raise UnknownNameError.among(of, "sowing that is open", list(names))
    if what == "forecast-count":
        return _count(forecast, unit, of)
    sowing = forecast.gathered.sowings[names.index(of)]
    if what == "forecast-ready":
        return _ready(forecast, sowing)
    return _plants(forecast, sowing)


def _percent(share: float) -> str:
    """Write a share."""
    return wording.percent(share, 1)


def _range(told: tuple[float, float, float]) -> str:
    """Write the middle of a share with what it is eight times in ten."""
    low, middle, high = (wording.percent(each) for each in told)
    return f"{middle} ({low} to {high})"


def _spread(told: SowingForecast) -> str:
    """Write plants with what they are nine times in ten."""
    return f"{told.plants.p50:,} ({told.plants.p05:,} to {told.plants.p95:,})"


def _count_inputs(sowing: OpenSowing) -> tuple[Input, ...]:
    """Return the counts that a forecast rests on, the last first."""
    counts = [each for each in sowing.entries if each.kind is EntryKind.COUNTED]
    rows = [
        Input(
            entry_words(each),
            f"{each.n or 0:,}" + ("" if each.n_of is None else f" of {each.n_of:,}"),
            "cells right",
            wording.day(each.day_date),
            YOURS,
        )
        for each in counts[::-1][:_COUNTS_TOLD]
    ]
    more = len(counts) - _COUNTS_TOLD
    if more > 0:
        rows.append(Input("and earlier counts", f"{more:,}", "", "journal", YOURS))
    return tuple(rows)


def _before(sowing: OpenSowing) -> SowingForecast:
    """Return what was to be expected before anything was counted."""
    told = [each for each in sowing.entries if each.kind is EntryKind.SOWN]
    return forecast_sowings([replace(sowing, entries=tuple(told))]).sowings[0]


def _plants(forecast: HouseForecast, sowing: OpenSowing) -> Working:
    """Show how many plants to expect now."""
    told, before = forecast.sowings[sowing.sowing], _before(sowing)
    inputs = (
        Input("lot's test", f"{sowing.test.n_normal:g} of {sowing.test.n_tested:g}",
              "normal seedlings", sowing.lot, YOURS),
        Input("tray against laboratory", _percent(sowing.emergence_frac), "", "", ASSUMED),
        Input("up in time with their tray", _percent(sowing.on_time_frac), "", "", WORKED_OUT),
        Input("seed units in a cell", f"{sowing.cell.seeds_per_cell}", "", "", PLANNED),
        Input("kept of what is right", _percent(sowing.kept_frac),
              "survives, not culled, light", "C115", ASSUMED),
        Input("trays differ", f"{sowing.rho_tray:g}", "correlation within a tray", "", ASSUMED),
        Input("a tray is lost whole", _percent(sowing.tray_loss_frac), "", "", ASSUMED),
        *_count_inputs(sowing),
    )  # fmt: skip
    lines = [
        Line(
            "Before any count: the lot's test, aged, at the temperature of the mix, gives the share"
            " of cells that will be right.",
            "share of cells ~ Beta of the test x warmth x tray",
            _range(before.right_frac),
        )
    ]
    if told.n_counts:
        lines.append(
            Line(
                f"{wording.count(told.n_counts, 'count')} of its trays, each with the chance of"
                " what it says at every final share and every pace: the two are found together, so"
                " that a slow stand is not taken for a poor one.",
                "after = before x chance of the counts",
                _range(told.right_frac),
            )
        )
    lines.append(
        Line(
            f"Cells right by the end of the grace, kept until they are handed over, in the"
            f" {told.n_cells:,} cells that stand; what is handed over already is off.",
            "usable = right in time x kept, tray by tray",
            f"{_spread(told)} plants",
        )
    )
    return Working(
        "Plants to expect now", sowing.sowing, f"{_spread(told)} usable plants", inputs,
        tuple(lines), float(told.plants.p50), float(before.plants.p50),
        f"Before it was counted: {_spread(before)}." if told.n_counts else "",
        where=_WHERE,
    )  # fmt: skip


def _ready(forecast: HouseForecast, sowing: OpenSowing) -> Working:
    """Show when a sowing is ready now."""
    season = forecast.gathered.season
    told, before = forecast.sowings[sowing.sowing], _before(sowing)

    def said(ready: DaySpread) -> str:
        return " to ".join(
            wording.short_day(season.day(round(each))) if isfinite(each) else "never"
            for each in (ready.p10, ready.p90)
        )

    middle = told.ready.p50
    result = wording.day(season.day(round(middle))) if isfinite(middle) else "perhaps never"
    slower = 100.0 * (exp(told.lag[1]) - 1.0)
    inputs = (
        Input("thermal time to emergence", f"{sowing.pace.thermal_time_cd:.0f}", "°C d", "",
              WORKED_OUT),
        Input("doubt about the pace", f"{100 * sowing.pace.sigma_pace:.0f} %", "", "", WORKED_OUT),
        *_count_inputs(sowing),
    )  # fmt: skip
    lines = (
        Line(
            "As planned: two clocks, leaves by temperature and mass by temperature and light, at"
            " five kinds of weather and nine paces.",
            "",
            said(before.ready),
        ),
        Line(
            "The counts tell how fast it comes up; the same pace is taken for what follows.",
            "pace from counts",
            f"{abs(slower):.0f} % {'slower' if slower > 0 else 'faster'} than planned",
        ),
        Line(
            "Ready days at every pace and weather, each with the chance that is left of it.",
            "",
            said(told.ready),
        ),
    )
    return Working(
        "Ready now", sowing.sowing, result, inputs, lines,
        season.day(round(middle)) if isfinite(middle) else None,
        forecast.gathered.planned[sowing.sowing].ready_date.p50, where=_WHERE,
    )  # fmt: skip


def _order(forecast: HouseForecast, name: str) -> Working:
    """Show the chances of an order now."""
    told = forecast.orders.get(name)
    if told is None:
        raise UnknownNameError.among(name, "order that is open", list(forecast.orders))
    gathered = forecast.gathered
    need = next(each.need for each in gathered.orders if each.order == name)
    order = gathered.order(name)
    plan = forecast.plans.get(name)
    inputs = (
        Input("ordered", f"{order.plants:,}", "plants", "", YOURS),
        Input("handed over already", f"{gathered.given.get(name, 0):,}", "plants", "journal",
              YOURS),
        Input("still needed", f"{need.need:,}", "cells", "", WORKED_OUT),
        Input("days that serve", f"{wording.between(order.earliest_date, order.latest_date)}", "",
              "", YOURS),
        *(
            Input(
                gathered.names[share.sowing],
                _spread(forecast.sowings[gathered.names[share.sowing]]),
                f"plants, {share.share:,} of them meant for it",
                "forecast",
                WORKED_OUT,
            )
            for share in need.shares
        ),
    )  # fmt: skip
    lines = (
        Line("Its sowings give enough", "P(usable, what goes to others before it off, >= needed)",
             _percent(told.chance_enough_frac)),
        Line("It is ready, and not overgrown, on a day that serves", "by pace and weather",
             _percent(told.chance_in_time_frac)),
        Line("Both at once: a slow stand and a poor one are told apart", "",
             _percent(told.chance_filled_frac)),
    )  # fmt: skip
    return Working(
        "Chance now", name, f"{_percent(told.chance_filled_frac)} enough and in time,"
        f" {_percent(told.chance_enough_frac)} enough", inputs, lines, told.chance_filled_frac,
        None if plan is None else plan.chance_filled_frac,
        "" if plan is None else f"As planned: {_percent(plan.chance_filled_frac)}.", where=_WHERE,
    )  # fmt: skip


def _count(forecast: HouseForecast, unit: Unit, name: str) -> Working:
    """Show what a count is worth."""
    found = resowings(forecast, lots_left(unit))
    row = forecast.gathered.names.index(name)
    asked = next((each for each in found.asked if each.row == row), None)
    if asked is None:
        raise UnknownNameError(name, "sowing whose count can change a decision today")
    money = forecast.gathered.season.house.prices.currency
    stakes = found.stakes
    inputs = (
        Input("a plant short", wording.money(stakes.short_plant, money), "", "", YOURS),
        Input("a cell resown", wording.money(stakes.resow_cell, money),
              "the plan's mean for seed, container, mix, labor and room", "", WORKED_OUT),
        Input("setting up a resowing", wording.money(stakes.resow, money), "", "", ASSUMED),
        Input("a minute", wording.money(stakes.minute, money), "", "", YOURS),
        Input("next look", f"{NEXT_LOOK_D}", "days from now", "", ASSUMED),
    )  # fmt: skip
    lines = (
        Line("Every result that the count may have, with its chance as it looks now; trays differ",
             "beta-binomial, tray by tray", f"{asked.n_trays} x {asked.n_cells_per_tray} cells"),
        Line("After each, the better of resowing and leaving it; before, the better of both",
             "worth = loss without the count - mean loss with it",
             wording.money(asked.value, money)),
        Line("What is left of wrong decisions: resown in vain, and a short stand missed", "",
             f"{wording.percent(asked.vain_frac)} and {wording.percent(asked.missed_frac)}"),
    )  # fmt: skip
    return Working(
        "What a count is worth", name, wording.money(asked.value, money), inputs, lines,
        asked.value, where=_WHERE_COUNT,
    )  # fmt: skip
