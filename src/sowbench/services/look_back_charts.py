"""Charts of a season looked back on: where the money went, and what was on time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from sowbench.services.look_back_page import Group

_MOST: Final = 12
_INK: Final = "var(--ink)"
_SOFT: Final = "var(--soft)"
_LINE: Final = "var(--line)"
_FONT: Final = '"Atkinson Hyperlegible Next Variable", system-ui, sans-serif'
_ROW_PX: Final = 30
_LABEL_PX: Final = 150
_LABEL_LETTERS: Final = 22


def money_spec(groups: Sequence[Group], words: Mapping[str, str]) -> dict[str, Any]:
    """Declare the chart of where the money went: a bar a part, over all groups.

    Parameters
    ----------
    groups : sequence of Group
        Groups of the season.
    words : mapping of str to str
        Parts of the money in words, in their order.

    Returns
    -------
    spec : dict
        A Vega-Lite specification in the colors of the page.
    """
    values = [
        {
            "part": said,
            "money": round(sum(each.figures.money[part] for each in groups), 2),
            "bad": part in {"dumped", "short", "late"},
        }
        for part, said in words.items()
    ]
    values = [each for each in values if each["money"]]
    y = {
        "field": "part",
        "type": "nominal",
        "sort": [each["part"] for each in values],
        "axis": _names(),
        "title": None,
    }
    x = {"field": "money", "type": "quantitative", "axis": _numbers(), "title": None}
    return {
        "data": {"values": values},
        "height": _ROW_PX * max(len(values), 1),
        "layer": [
            {
                "mark": {"type": "bar", "height": 16, "cornerRadiusEnd": 2},
                "encoding": {
                    "y": y,
                    "x": x,
                    "color": {
                        "condition": {"test": "datum.bad", "value": "var(--act)"},
                        "value": "var(--leaf)",
                    },
                },
            },
            {
                # What was lost has a shape of its own beside its color.
                "transform": [{"filter": "datum.bad"}],
                "mark": {
                    "type": "point",
                    "shape": "triangle-up",
                    "filled": True,
                    "size": 90,
                    "color": "var(--act)",
                    "opacity": 1,
                    "xOffset": 10,
                },
                "encoding": {"y": y, "x": x},
            },
        ],
        **_frame("Where the money went, by part."),
    }


def on_time_spec(groups: Sequence[Group]) -> dict[str, Any]:
    """Declare the chart of what was promised and what was given on time, a row a group.

    Parameters
    ----------
    groups : sequence of Group
        Groups of the season.

    Returns
    -------
    spec : dict
        A Vega-Lite specification in the colors of the page.
    """
    shown = sorted(
        (each for each in groups if each.figures.promised),
        key=lambda each: (-each.figures.promised, each.name),
    )[:_MOST]
    values = [
        {
            "group": _short(each.words),
            "promised": each.figures.promised,
            "on_time": each.figures.on_time,
        }
        for each in shown
    ]
    y = {
        "field": "group",
        "type": "nominal",
        "sort": [each["group"] for each in values],
        "axis": _names(),
        "title": None,
    }
    return {
        "data": {"values": values},
        "height": _ROW_PX * max(len(values), 1),
        "layer": [
            {
                "mark": {"type": "bar", "height": 16, "color": "var(--leaf)"},
                "encoding": {
                    "y": y,
                    "x": {
                        "field": "on_time",
                        "type": "quantitative",
                        "axis": _numbers(),
                        "title": None,
                    },
                },
            },
            {
                "mark": {"type": "tick", "thickness": 3, "size": 24, "color": _INK},
                "encoding": {"y": y, "x": {"field": "promised", "type": "quantitative"}},
            },
        ],
        **_frame("Plants given on time, and a tick at what was promised."),
    }


def _short(words: str) -> str:
    """Cut a long name to what fits beside a bar."""
    return words if len(words) <= _LABEL_LETTERS else words[: _LABEL_LETTERS - 1] + "…"


def _names() -> dict[str, Any]:
    """Axis of names."""
    return {"labelLimit": _LABEL_PX, "ticks": False, "domain": False, "labelPadding": 6}


def _numbers() -> dict[str, Any]:
    """Axis of numbers."""
    return {"format": ",.0f", "tickCount": 4, "domain": False, "ticks": False}


def _frame(description: str) -> dict[str, Any]:
    """What both charts share."""
    return {
        "description": description,
        "width": "container",
        "autosize": {"type": "fit-x", "contains": "padding"},
        "background": None,
        "padding": {"left": 1, "right": 14, "top": 2, "bottom": 4},
        "config": {
            "font": _FONT,
            "view": {"stroke": None},
            "axis": {
                "labelColor": _INK,
                "labelFontSize": 14,
                "gridColor": _LINE,
                "titleColor": _SOFT,
            },
        },
    }
