"""How a crop comes up by the temperature of the mix: a curve, and what it says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp, isinf
from typing import Any, Final

from sowbench.domain.records import Crop
from sowbench.reference.catalog import Catalog, emergence_other_record
from sowbench.science.emergence import days_at_constant, relative_fraction
from sowbench.services import wording

_EIGHT_IN_TEN: Final = 1.2816
"""Standard normal quantile of 0.9: eight times in ten within so many spreads."""

_LONGEST_D: Final = 30.0
"""Days beyond which the curve says only that it takes too long (assumption)."""


@dataclass(frozen=True, slots=True)
class EmergenceCurve:
    """How a crop comes up.

    Attributes
    ----------
    heading : str
        What the curve says, in a sentence.
    words : str
        The curve at some temperatures, in words.
    chart : dict of str to object
        Days to half up by temperature of the mix, in Vega-Lite.
    """

    heading: str
    words: str
    chart: dict[str, Any]


def days_half_up(crop: Crop, temp_c: float) -> str:
    """Say in how many days half of a crop is up.

    Parameters
    ----------
    crop : Crop
        The crop.
    temp_c : float
        Temperature of the mix [°C].

    Returns
    -------
    text : str
        As "2.4 d", or "does not come up".
    """
    days = float(days_at_constant(temp_c, crop.emergence))
    return "does not come up" if isinf(days) else f"{wording.amount(round(days, 1))} d"


def emergence_curve(catalog: Catalog, crop: Crop) -> EmergenceCurve:
    """Draw how a crop comes up.

    Parameters
    ----------
    catalog : Catalog
        Reference with the house's own values.
    crop : Crop
        The crop.

    Returns
    -------
    curve : EmergenceCurve
        Days to half up by temperature of the mix, and what the curve says.
    """
    spread = exp(_EIGHT_IN_TEN * crop.emergence.sigma_pace)
    other = emergence_other_record(catalog.emergence_other.get(crop.id, {}), crop.emergence)
    points = []
    for half_degrees in range(4, 81):
        temp_c = half_degrees / 2
        days = float(days_at_constant(temp_c, crop.emergence))
        if isinf(days) or days > 4 * _LONGEST_D:
            continue
        point: dict[str, Any] = {
            "temp_c": temp_c,
            "days": min(days, _LONGEST_D),
            "low": min(days / spread, _LONGEST_D),
            "high": min(days * spread, _LONGEST_D),
            "share": float(relative_fraction(temp_c, crop.emergence)),
        }
        if other is not None:
            otherwise = float(days_at_constant(temp_c, other))
            if otherwise <= _LONGEST_D:
                point["other"] = otherwise
        points.append(point)
    fit = [each for each in points if each["days"] < _LONGEST_D and each["share"] >= 0.9]
    if fit:
        best = min(fit, key=lambda each: float(each["days"]))
        heading = (
            f"Quickest near {best['temp_c']:.0f} °C: half up in about {best['days']:.1f} days; "
            f"nine in ten of the best still come up from {fit[0]['temp_c']:.0f} to "
            f"{fit[-1]['temp_c']:.0f} °C"
        )
    else:
        heading = "How it comes up, by the temperature of the mix"
    words = "; ".join(
        f"at {temp_c} °C half up in {days_half_up(crop, float(temp_c))}"
        for temp_c in (10, 15, 20, 25, 30)
    )
    chart = _emergence_chart(points, with_other=other is not None)
    return EmergenceCurve(heading, f"{words}.", chart)


def _emergence_chart(points: list[dict[str, Any]], *, with_other: bool) -> dict[str, Any]:
    """Draw days to half up by temperature: middle, eight times in ten, and the other table."""
    x = {
        "field": "temp_c",
        "type": "quantitative",
        "title": "temperature of the mix, °C",
        "scale": {"zero": False, "nice": False},
    }
    scale: Mapping[str, object] = {"domain": [0, _LONGEST_D]}
    title = "days to half up"
    layers: list[dict[str, Any]] = [
        {
            "mark": {"type": "area", "color": "var(--leaf)", "opacity": 0.22, "clip": True},
            "encoding": {
                "y": {"field": "low", "type": "quantitative", "title": title, "scale": scale},
                "y2": {"field": "high"},
            },
        },
        {
            "mark": {"type": "line", "color": "var(--leaf)", "clip": True},
            "encoding": {
                "y": {"field": "days", "type": "quantitative", "title": title, "scale": scale},
            },
        },
    ]
    if with_other:
        layers.append(
            {
                "mark": {
                    "type": "line",
                    "color": "var(--soft)",
                    "strokeWidth": 2,
                    "strokeDash": [6, 5],
                    "clip": True,
                },
                "encoding": {
                    "y": {"field": "other", "type": "quantitative", "title": title, "scale": scale},
                },
            }
        )
    layers.append(
        {
            "mark": {"type": "point", "opacity": 0, "size": 400},
            "encoding": {
                "y": {"field": "days", "type": "quantitative", "title": title, "scale": scale},
                "tooltip": [
                    {"field": "temp_c", "title": "mix, °C", "format": ".1f"},
                    {"field": "days", "title": "days to half up", "format": ".1f"},
                    {"field": "share", "title": "of the best", "format": ".0%"},
                ],
            },
        }
    )
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "width": "container",
        "height": 220,
        "data": {"values": points},
        "encoding": {"x": x},
        "layer": layers,
    }
