"""The season as a picture: what stands in each place, and what the hands do, against what there is.

The picture is declared once, as a Vega-Lite specification, and drawn to SVG and PNG from it. Each
meaning has its own shape beside its color: days in use are bars, full days are brown under a row of
triangles, days over the limit are red under triangles that point up, and what a place holds is a
line.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from itertools import groupby
from typing import Any, Final

from sowbench.exchange.season_use import (
    FULL_FRAC,
    DailyUse,
    day_states,
    fullest_day,
    headline,
    in_days,
    percent,
)

PAPER: Final = "#f6f3ea"
SHEET: Final = "#fffdf7"
INK: Final = "#1b2420"
SOFT: Final = "#56605a"
LINE: Final = "#d9d3c3"
LEAF: Final = "#7fa78c"
SOIL: Final = "#6b4a2f"
ACT: Final = "#a3301f"
FONT: Final = "Atkinson Hyperlegible Next, Atkinson Hyperlegible, DejaVu Sans, sans-serif"

WIDTH_PX: Final = 1280
_LABEL_PX: Final = 196
_MARGIN_PX: Final = 36
_ROW_PX: Final = 74
_ALONE_PX: Final = 92
_WEEKS_UP_TO_D: Final = 77
_SCHEMA: Final = "https://vega.github.io/schema/vega-lite/v5.json"
_VEGALITE: Final = "5.21"


def season_spec(uses: Sequence[DailyUse], *, title: str = "") -> dict[str, Any]:
    """Declare the picture.

    Parameters
    ----------
    uses : sequence of DailyUse
        Places in their order, then hands; at least one, all with the same days.
    title : str, default ""
        Small line over the heading, as "46 sowings for 63 orders".

    Returns
    -------
    spec : dict
        A Vega-Lite specification with its data in it.

    Raises
    ------
    ValueError
        If there is nothing to draw.
    """
    if not uses or not any(len(each.use) for each in uses):
        raise ValueError("A picture of the season needs at least one place with days; got none.")
    head, more = headline(uses)
    first = min(each.first_date for each in uses)
    last = max(each.first_date + timedelta(days=len(each.use)) for each in uses)
    subtitle = [each for each in (more, title) if each]
    return {
        "$schema": _SCHEMA,
        "description": f"Use of places and hands by day. {head} {more}".strip(),
        "background": PAPER,
        "padding": {"left": 30, "right": _MARGIN_PX, "top": 26, "bottom": 22},
        "title": {
            "text": head,
            "subtitle": subtitle,
            "anchor": "start",
            "frame": "bounds",
            "offset": 18,
        },
        "spacing": 44,
        "bounds": "flush",
        "vconcat": [*(_row(each, first, last) for each in uses), _key()],
        "config": _config(),
    }


def place_spec(
    daily: DailyUse, first: date, last: date, *, today: date | None = None, words: str = ""
) -> dict[str, Any]:
    """Declare one place alone, as wide as what it stands in: a row of the picture without words.

    Parameters
    ----------
    daily : DailyUse
        Use by day, or by week, for all days shown.
    first, last : date
        First day shown, and the day after the last.
    today : date or None, default None
        Day to be marked, if it is shown.
    words : str, default ""
        What the picture says, for those who do not see it.

    Returns
    -------
    spec : dict
        A Vega-Lite specification with its data in it.
    """
    row = _row(daily, first, last, alone=True)
    row["layer"][0]["encoding"]["opacity"] = {
        "condition": {"test": "datum.state == 'room'", "value": 0.6},
        "value": 0.95,
    }
    if today is not None and first <= today < last:
        row["layer"].append(_today(today, row["layer"][0]["encoding"]["x"]))
    return {
        **row,
        "$schema": _SCHEMA,
        "description": words,
        "width": "container",
        "autosize": {"type": "fit-x", "contains": "padding"},
        "background": None,
        "padding": {"left": 1, "right": 1, "top": 0, "bottom": 5},
        "config": _config(),
    }


def _today(today: date, x: dict[str, Any]) -> dict[str, Any]:
    """Mark a day with a dashed line."""
    return {
        "data": {"values": [{"from": today.isoformat()}]},
        "mark": {"type": "rule", "color": ACT, "strokeWidth": 2, "strokeDash": [4, 3]},
        "encoding": {"x": x},
    }


def _config() -> dict[str, Any]:
    """Return the look: paper, ink, type."""
    return {
        "font": FONT,
        "view": {"stroke": None, "fill": SHEET},
        "title": {
            "color": INK,
            "fontSize": 25,
            "fontWeight": "bold",
            "subtitleColor": SOFT,
            "subtitleFontSize": 17,
            "subtitlePadding": 8,
            "subtitleLineHeight": 22,
        },
        "axis": {
            "labelColor": SOFT,
            "labelFontSize": 15,
            "domainColor": LINE,
            "tickColor": LINE,
            "gridColor": LINE,
            "labelFont": FONT,
        },
        "text": {"font": FONT},
    }


def _row(daily: DailyUse, first: date, last: date, *, alone: bool = False) -> dict[str, Any]:
    """Declare one place: bars of use, the line of what it holds, triangles over full days."""
    states = day_states(daily)
    top = max([*daily.use, *_limits(daily), 1e-9])
    values = [
        {
            "from": max(day, first).isoformat(),
            "to": min(day + timedelta(days=daily.step_d), last).isoformat(),
            "use": round(float(use), 3),
            "state": state,
        }
        for day, use, state in zip(_dates(daily), daily.use, states, strict=True)
    ]
    x = {
        "field": "from",
        "type": "temporal",
        # Bars alone reach from end to end, so their days are all that need be said.
        "scale": {"type": "utc", "nice": False}
        if alone
        else {"type": "utc", "domain": [first.isoformat(), last.isoformat()]},
        "axis": _axis(first, last) if alone else _month_axis(first, last),
    }
    y_scale = {"domain": [0, top * 1.22], "nice": False}
    bars = {
        "data": {"values": values},
        "mark": {"type": "rect", "stroke": SHEET, "strokeWidth": 0.6},
        "encoding": {
            "x": x,
            "x2": {"field": "to"},
            "y": {"field": "use", "type": "quantitative", "scale": y_scale, "axis": None},
            "y2": {"datum": 0},
            "color": {
                "field": "state",
                "type": "nominal",
                "scale": {"domain": ["room", "full", "over"], "range": [LEAF, SOIL, ACT]},
                "legend": None,
            },
        },
    }
    layers = [bars, *(() if alone else _labels(daily, states))]
    if daily.capacity is not None:
        layers += [
            _limit(daily, first, last, x, y_scale),
            *_triangles(daily, states, x, y_scale, top),
        ]
    return {
        "width": WIDTH_PX - _LABEL_PX - 30 - _MARGIN_PX,
        "height": _ALONE_PX if alone else _ROW_PX,
        "view": {"fill": SHEET},
        "layer": layers,
    }


def _labels(daily: DailyUse, states: Sequence[str]) -> list[dict[str, Any]]:
    """Declare the words left of a place: its name, what it holds, how full it gets."""
    lines = [daily.name, *_holds(daily, states)]
    return [
        {
            "data": {"values": [{"word": line}]},
            "mark": {
                "type": "text",
                "align": "left",
                "baseline": "top",
                "fontSize": 18 if at == 0 else 15,
                "fontWeight": "bold" if at == 0 else "normal",
                "color": INK if at == 0 else SOFT,
                "limit": _LABEL_PX - 14,
            },
            "encoding": {
                "x": {"value": -_LABEL_PX},
                "y": {"value": (8, 33, 52)[at]},
                "text": {"field": "word"},
            },
        }
        for at, line in enumerate(lines)
    ]


def _axis(first: date, last: date) -> dict[str, Any]:
    """Mark the first days of months; in a short time the Mondays."""
    if (last - first).days > _WEEKS_UP_TO_D:
        return _month_axis(first, last)
    monday = first + timedelta(days=-first.weekday() % 7)
    n_weeks = max((last - monday).days - 1, 0) // 7 + 1
    every = 1 if n_weeks <= 5 else 2
    days = [monday + timedelta(days=7 * at) for at in range(0, n_weeks, every)]
    return {
        "values": [each.isoformat() for each in days if each < last],
        "labelExpr": "utcFormat(datum.value, '%e %b')",
        "labelAlign": "left",
        "labelPadding": 3,
        "labelFlush": False,
        "title": None,
        "grid": True,
        "gridOpacity": 0.7,
        "tickSize": 7,
    }


def _month_axis(first: date, last: date) -> dict[str, Any]:
    """Mark the first days of months; the year stands with January and with the first month."""
    months = [first]
    day = first.replace(day=1)
    while day < last:
        day = (day + timedelta(days=32)).replace(day=1)
        if first < day < last:
            months.append(day)
    if len(months) > 1 and (months[1] - months[0]).days < 12:
        months = months[1:]
    return {
        "values": [each.isoformat() for each in months],
        "labelExpr": (
            "(utcmonth(datum.value) == 0 || datum.index == 0)"
            " ? utcFormat(datum.value, '%b %Y') : utcFormat(datum.value, '%b')"
        ),
        "labelAlign": "left",
        "labelPadding": 3,
        "labelFlush": False,
        "title": None,
        "grid": True,
        "gridOpacity": 0.7,
        "tickSize": 7,
    }


def _limits(daily: DailyUse) -> Iterable[float]:
    """Return what there is on each day, nothing if there is no limit."""
    return () if daily.capacity is None else daily.capacity


def _dates(daily: DailyUse) -> list[date]:
    """List the days of a use."""
    return [daily.first_date + timedelta(days=at * daily.step_d) for at in range(len(daily.use))]


def _limit(
    daily: DailyUse, first: date, last: date, x: dict[str, Any], y_scale: dict[str, Any]
) -> dict[str, Any]:
    """Declare the line of what a place holds, one stretch for days on end with the same limit."""
    pairs = zip(_dates(daily), _limits(daily), strict=True)
    values = []
    for capacity, group in groupby(pairs, key=lambda each: each[1]):
        days = [day for day, _ in group]
        if capacity > 0:
            values.append(
                {
                    "from": max(days[0], first).isoformat(),
                    "to": min(days[-1] + timedelta(days=daily.step_d), last).isoformat(),
                    "capacity": round(float(capacity), 3),
                }
            )
    return {
        "data": {"values": values},
        "mark": {"type": "rule", "color": INK, "strokeWidth": 2},
        "encoding": {
            "x": x,
            "x2": {"field": "to"},
            "y": {"field": "capacity", "type": "quantitative", "scale": y_scale, "axis": None},
        },
    }


def _triangles(
    daily: DailyUse,
    states: Sequence[str],
    x: dict[str, Any],
    y_scale: dict[str, Any],
    top: float,
) -> list[dict[str, Any]]:
    """Declare a triangle over full days: one for each spell, and one more every four days of it."""
    days = _dates(daily)
    layers = []
    for state, shape, color in (("full", "triangle-down", SOIL), ("over", "triangle-up", ACT)):
        values = []
        at = 0
        for found, group in groupby(states):
            n_days = len(list(group))
            if found == state:
                n_marks = n_days if daily.step_d > 1 else max(1, round(n_days / 4))
                step_h = n_days * 24 * daily.step_d / n_marks
                values += [
                    {"from": f"{days[at] + timedelta(hours=h)}T{h % 24:02d}:00:00Z"}
                    for h in (int(step_h * (mark + 0.5)) for mark in range(n_marks))
                ]
            at += n_days
        if values:
            layers.append(
                {
                    "data": {"values": values},
                    "mark": {
                        "type": "point",
                        "shape": shape,
                        "filled": True,
                        "color": color,
                        "size": 62,
                        "opacity": 1,
                    },
                    "encoding": {"x": x, "y": {"datum": top * 1.14, "scale": y_scale}},
                }
            )
    return layers


def _holds(daily: DailyUse, states: Sequence[str]) -> list[str]:
    """Say what a place holds, and how full it gets."""
    if daily.capacity is None:
        most = max(daily.use, default=0.0)
        return ["no limit", f"at most {_amount(most, daily)}"]
    most = max(daily.capacity, default=0.0)
    n_full = sum(each == "full" for each in states)
    n_over = sum(each == "over" for each in states)
    fullest = (
        f"full on {in_days(n_full)}" if n_full else f"at most {percent(fullest_day(daily)[0])}"
    )
    if n_over:
        fullest = f"over on {in_days(n_over)}"
    return [f"holds {_amount(most, daily)}" if not daily.hands else _amount(most, daily), fullest]


def _amount(value: float, daily: DailyUse) -> str:
    """Write an amount with its unit; minutes of a day as hours."""
    if daily.hands:
        return f"{value / 60:.3g} h a day"
    unit = {"m2": "m²"}.get(daily.unit, daily.unit)
    return f"{value:,.3g} {unit}" if value < 1000 else f"{value:,.0f} {unit}"


def _key() -> dict[str, Any]:
    """Declare the key: each shape with its word."""
    entries = [
        (0, "square", LEAF, "in use"),
        (110, "square", SOIL, ""),
        (128, "triangle-down", SOIL, f"full: {percent(FULL_FRAC)} and more"),
        (360, "square", ACT, ""),
        (378, "triangle-up", ACT, "over what there is"),
    ]
    entries.append((616, "", PAPER, "what there is"))
    values = [
        {"x": x, "shape": shape, "color": color, "word": word} for x, shape, color, word in entries
    ]
    place = {"field": "x", "type": "quantitative", "scale": None, "axis": None}
    return {
        "width": WIDTH_PX - _LABEL_PX - 30 - _MARGIN_PX,
        "height": 24,
        "view": {"fill": None},
        "data": {"values": values},
        "layer": [
            {
                "mark": {
                    "type": "point",
                    "filled": True,
                    "size": 130,
                    "opacity": 1,
                    "strokeWidth": 2.5,
                },
                "encoding": {
                    "x": place,
                    "y": {"value": 12},
                    "shape": {"field": "shape", "type": "nominal", "scale": None},
                    "color": {"field": "color", "type": "nominal", "scale": None},
                },
            },
            {
                "mark": {
                    "type": "text",
                    "align": "left",
                    "baseline": "middle",
                    "dx": 14,
                    "fontSize": 15,
                    "color": SOFT,
                },
                "encoding": {"x": place, "y": {"value": 12}, "text": {"field": "word"}},
            },
            {
                "data": {"values": [{"x": 594, "to": 622, "word": "what there is"}]},
                "mark": {"type": "rule", "color": INK, "strokeWidth": 2},
                "encoding": {
                    "x": place,
                    "x2": {"field": "to"},
                    "y": {"value": 12},
                },
            },
        ],
    }


def draw_season(spec: dict[str, Any]) -> dict[str, bytes]:
    """Draw the picture.

    Parameters
    ----------
    spec : dict
        Specification of `season_spec`.

    Returns
    -------
    pictures : dict of str to bytes
        ``season.svg`` and ``season.png``, the latter 1,920 dots wide.
    """
    import vl_convert

    text = json.dumps(spec)
    svg = vl_convert.vegalite_to_svg(text, vl_version=_VEGALITE)
    png = vl_convert.vegalite_to_png(text, vl_version=_VEGALITE, scale=1.5)
    return {"season.svg": svg.encode("utf-8"), "season.png": png}
