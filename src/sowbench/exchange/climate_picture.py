"""The year of a place as a picture: its temperature week by week, declared once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from sowbench.exchange.picture import ACT, FONT, INK, LEAF, LINE, SOFT

_HEIGHT_PX: Final = 130


@dataclass(frozen=True, slots=True)
class ClimateWeek:
    """One week of a place, from its Monday; temperatures of the air [°C].

    ``mean_c`` is the typical week, eight years in ten between ``mean_low_c`` and ``mean_high_c``;
    ``low_c`` and ``high_c`` are its coldest and its warmest hour, ``coldest_c`` the coldest hour of
    a cold year; ``dli_mol_m2_d`` is the light at the plants.
    """

    monday: date
    mean_c: float
    mean_low_c: float
    mean_high_c: float
    low_c: float
    high_c: float
    coldest_c: float
    dli_mol_m2_d: float


def climate_spec(
    weeks: Sequence[ClimateWeek], *, today: date | None = None, words: str = ""
) -> dict[str, Any]:
    """Declare the picture of a place's year, as wide as what it stands in.

    Parameters
    ----------
    weeks : sequence of ClimateWeek
        The weeks, at least one.
    today : date or None, default None
        Day to be marked.
    words : str, default ""
        What the picture says, for those who do not see it.

    Returns
    -------
    spec : dict
        A Vega-Lite specification with its data in it.

    Raises
    ------
    ValueError
        If there is no week.
    """
    if not weeks:
        raise ValueError("A picture of a place's year needs at least one week; got none.")
    values = [
        {
            "week": each.monday.isoformat(),
            "mean": round(each.mean_c, 1),
            "mean_low": round(each.mean_low_c, 1),
            "mean_high": round(each.mean_high_c, 1),
            "low": round(each.low_c, 1),
            "high": round(each.high_c, 1),
            "coldest": round(each.coldest_c, 1),
        }
        for each in weeks
    ]
    x = {
        "field": "week",
        "type": "temporal",
        "scale": {"type": "utc"},
        "axis": {
            "title": None,
            "format": "%b",
            "tickCount": "month",
            "grid": False,
            "labelAlign": "left",
        },
    }

    def y(field: str) -> dict[str, Any]:
        axis = {"title": None, "labelExpr": "datum.label + ' °C'", "tickCount": 4}
        scale = {"zero": False, "nice": True}
        return {"field": field, "type": "quantitative", "axis": axis, "scale": scale}

    tooltip = [
        {"field": "week", "type": "temporal", "format": "%e %B", "title": "week of"},
        {"field": "mean", "title": "mean °C"},
        {"field": "low", "title": "coldest hour °C"},
        {"field": "high", "title": "warmest hour °C"},
        {"field": "coldest", "title": "coldest hour of a cold year °C"},
    ]
    layers: list[dict[str, Any]] = [
        {
            "mark": {"type": "area", "color": LEAF, "opacity": 0.22},
            "encoding": {"x": x, "y": y("low"), "y2": {"field": "high"}},
        },
        {
            "mark": {"type": "area", "color": LEAF, "opacity": 0.4},
            "encoding": {"x": x, "y": y("mean_low"), "y2": {"field": "mean_high"}},
        },
        {
            "mark": {"type": "line", "color": INK, "strokeWidth": 1.5, "strokeDash": [2, 3]},
            "encoding": {"x": x, "y": y("coldest")},
        },
        {
            "mark": {"type": "line", "color": LEAF, "strokeWidth": 3},
            "encoding": {"x": x, "y": y("mean"), "tooltip": tooltip},
        },
    ]
    if today is not None and weeks[0].monday <= today:
        layers.append(
            {
                "data": {"values": [{"week": today.isoformat()}]},
                "mark": {"type": "rule", "color": ACT, "strokeWidth": 2, "strokeDash": [4, 3]},
                "encoding": {"x": x},
            }
        )
    return {
        "description": words,
        "data": {"values": values},
        "width": "container",
        "height": _HEIGHT_PX,
        "autosize": {"type": "fit-x", "contains": "padding"},
        "background": None,
        "layer": layers,
        "config": {
            "font": FONT,
            "view": {"stroke": None},
            "axis": {"labelColor": SOFT, "titleColor": SOFT, "gridColor": LINE,
                     "domainColor": LINE, "tickColor": LINE, "labelFontSize": 14,
                     "titleFontSize": 14, "titleFontWeight": "normal"},
        },
    }  # fmt: skip
