"""How good forecasts were: what was foretold at 80 %, and how often it came."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import msgspec

from sowbench.forecasting.calibration import (
    BrierScore,
    ReliabilityBin,
    brier_score,
    reliability,
)
from sowbench.forecasting.learning_hindsight import (
    Foretold,
    HindsightScore,
    foretell,
    score_foretold,
)
from sowbench.forecasting.learning_records import QUANTITIES, task_of
from sowbench.services.house_day import day_in_house
from sowbench.services.kept_results import Kept
from sowbench.services.learned import choices_of, finished_of_book, learned_key

if TYPE_CHECKING:
    from sowbench.domain.ports import Unit
    from sowbench.domain.ports.learned import OrderOver
    from sowbench.services.desk import Desk

__all__ = ["CalibrationView", "OrdersView", "ScoreLine", "calibration_view"]

ORDERS_MOST: Final = 1_000
"""Orders that are judged, the last (our limit)."""

_FEW: Final = 10
_EDGES: Final = (0.0, 0.2, 0.4, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0)
_TOLD: Final[Kept[tuple[object, ...], tuple[Foretold, ...]]] = Kept(2)


@dataclass(frozen=True, slots=True)
class ScoreLine:
    """How good forecasts of one quantity were.

    Attributes
    ----------
    title : str
        What was foretold.
    score : HindsightScore
        Coverage and scores.
    is_few : bool
        Whether they are too few to judge by.
    """

    title: str
    score: HindsightScore
    is_few: bool


@dataclass(frozen=True, slots=True)
class OrdersView:
    """How good the chances of orders were.

    Attributes
    ----------
    n, n_filled : int
        Orders that are over, and those that were filled in time.
    bins : tuple of ReliabilityBin
        The reliability curve.
    brier : BrierScore
        Score with its parts.
    skill_frac : float
        Share of the score of who always says the share that was filled that is saved.
    chart : str
        The curve as a Vega-Lite description.
    """

    n: int
    n_filled: int
    bins: tuple[ReliabilityBin, ...]
    brier: BrierScore
    skill_frac: float
    chart: str


@dataclass(frozen=True, slots=True)
class CalibrationView:
    """What the page of calibration shows.

    Attributes
    ----------
    whole : HindsightScore
        Of everything foretold about sowings.
    lines : tuple of ScoreLine
        By quantity.
    orders : OrdersView
        Chances of orders.
    verdict : str
        What it comes to, as a sentence; blank where there is nothing to judge.
    """

    whole: HindsightScore
    lines: tuple[ScoreLine, ...]
    orders: OrdersView
    verdict: str


def calibration_view(desk: Desk) -> CalibrationView:
    """Judge what was foretold.

    Parameters
    ----------
    desk : Desk
        The desk.

    Returns
    -------
    view : CalibrationView
        What the page shows.
    """
    with desk.book.reading() as unit:
        told = foretold_of(unit)
        over = unit.learned.orders_over(day_in_house(unit, desk.clock()), ORDERS_MOST)
    names = {each.quantity for each in told}
    order: list[str] = [each for each in QUANTITIES if each in names]
    order += sorted(names - set(order))
    whole = score_foretold(told)
    lines = tuple(
        ScoreLine(_title(each), score, score.learned.n < _FEW)
        for each in order
        for score in [score_foretold(told, each)]
    )
    return CalibrationView(whole, lines, _orders(over), _verdict(whole))


def foretold_of(unit: Unit) -> tuple[Foretold, ...]:
    """Foretell every finished sowing of a book from what was known before.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.

    Returns
    -------
    foretold : tuple of Foretold
        Kept while nothing changes.
    """
    return _TOLD.get(learned_key(unit), lambda: foretell(finished_of_book(unit), choices_of(unit)))


def _title(quantity: str) -> str:
    """Name a quantity at the head of a row."""
    task = task_of(quantity)
    return f"Minutes to {task}" if task else quantity[:1].upper() + quantity[1:]


def _verdict(whole: HindsightScore) -> str:
    """Say what coverage comes to."""
    found = whole.learned
    if found.n == 0:
        return ""
    if found.low_frac <= 0.8 <= found.high_frac:
        return "that is as it should be, as far as so many can tell"
    if found.within_frac < 0.8:
        return "fewer than there should be: the spans are too narrow"
    return "more than there should be: the spans are too wide"


def _orders(over: list[OrderOver]) -> OrdersView:
    """Judge the chances of orders that are over."""
    chances = [each.first_chance_frac for each in over]
    filled = [each.given >= math.ceil(each.min_frac * each.plants - 1e-9) for each in over]
    brier = brier_score(chances, filled, _EDGES)
    bins = reliability(chances, filled, _EDGES)
    gained = 1.0 - brier.score / brier.uncertainty if over and brier.uncertainty > 0 else math.nan
    return OrdersView(
        n=len(over),
        n_filled=sum(filled),
        bins=bins,
        brier=brier,
        skill_frac=gained,
        chart=msgspec.json.encode(_chart(bins)).decode(),
    )


def _chart(bins: tuple[ReliabilityBin, ...]) -> dict[str, Any]:
    """Describe the reliability curve."""
    values = [
        {
            "told": round(100 * each.mean_frac, 1),
            "came": round(100 * each.happened_frac, 1),
            "low": round(100 * each.happened_low_frac, 1),
            "high": round(100 * each.happened_high_frac, 1),
            "words": f"{round(each.n * each.happened_frac)} of {each.n}",
        }
        for each in bins
    ]
    axis = {"values": [0, 20, 40, 60, 80, 100]}
    x = {"field": "told", "type": "quantitative", "title": "chance by the plan, %",
         "scale": {"domain": [0, 100]}, "axis": axis}  # fmt: skip
    y = {"type": "quantitative", "title": "filled in time, %", "scale": {"domain": [0, 100]},
         "axis": axis}  # fmt: skip
    tip = [
        {"field": "told", "title": "chance, %"},
        {"field": "came", "title": "filled, %"},
        {"field": "words", "title": "orders"},
    ]
    return {
        "width": "container",
        "height": 300,
        "layer": [
            {
                "data": {"values": [{"told": 0, "came": 0}, {"told": 100, "came": 100}]},
                "mark": {"type": "line", "color": "var(--soft)", "strokeDash": [4, 4]},
                "encoding": {"x": x, "y": {**y, "field": "came"}},
            },
            {
                "data": {"values": values},
                "mark": {"type": "rule", "color": "var(--leaf)", "opacity": 0.35,
                         "strokeWidth": 9},
                "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
            },
            {
                "data": {"values": values},
                "mark": {"type": "point", "filled": True, "fill": "var(--sheet)",
                         "stroke": "var(--ink)", "strokeWidth": 2.6, "size": 130, "opacity": 1},
                "encoding": {"x": x, "y": {**y, "field": "came"}, "tooltip": tip},
            },
        ],
    }  # fmt: skip
