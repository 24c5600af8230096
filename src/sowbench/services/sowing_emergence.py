"""Emergence of a sowing as it is planned, with what was counted beside it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from sowbench.checking.stand import aged, cell_ok
from sowbench.checking.timeline import course_of
from sowbench.science.emergence import HOURS_PER_DAY, accumulate
from sowbench.science.quadrature import beta_nodes
from sowbench.services.kept_results import Kept

if TYPE_CHECKING:
    from sowbench.checking.season import Season
    from sowbench.checking.timeline import Timeline
    from sowbench.domain.journal import Entry
    from sowbench.domain.plan import Sowing
    from sowbench.domain.ports.sowings_page import TrayState
    from sowbench.domain.records import Emergence
    from sowbench.services.working_model import Recomputed

Floats = NDArray[np.float64]

_STEP_H: Final = 6
_SOW_H: Final = 12
_LEAST_D: Final = 6
_MOST_D: Final = 60
# Once so much of the last level is reached, the curve has told what it can.
_LEVEL_FRAC: Final = 0.995
_BEYOND_D: Final = 3
_N_PACES: Final = 41
_N_LOT: Final = 9
_BAND_FRAC: Final = (0.1, 0.5, 0.9)


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Cells with what is wanted, by time, as planned.

    Attributes
    ----------
    first : datetime
        Moment of sowing, in the house's standard time.
    hours : ndarray, shape (T,)
        Hours since then.
    low, middle, high : ndarray, shape (T,)
        Ten, fifty and ninety percent points of the share of cells.
    half_date : date or None
        Day on which half of what comes up is up, in a typical season; None if never.
    """

    first: datetime
    hours: Floats
    low: Floats
    middle: Floats
    high: Floats
    half_date: date | None

    def at(self, day: date) -> tuple[float, float, float]:
        """Return the band at noon of a day.

        Parameters
        ----------
        day : date
            The day.

        Returns
        -------
        low, middle, high : float
            Ten, fifty and ninety percent points of the share of cells.
        """
        hour = (datetime.combine(day, time(_SOW_H)) - self.first) / timedelta(hours=1)
        low, middle, high = (
            float(np.interp(hour, self.hours, each)) for each in (self.low, self.middle, self.high)
        )
        return low, middle, high


@dataclass(frozen=True, slots=True)
class CountPoint:
    """What the counts of one day say together."""

    day: date
    n_right: int
    n_seen: int
    n_counts: int
    people: tuple[str, ...]

    @property
    def share(self) -> float:
        """Share of the cells looked at that hold what is wanted."""
        return self.n_right / self.n_seen if self.n_seen else 0.0


def planned_curve(model: Recomputed, sowing: Sowing) -> Curve | None:
    """Return how a sowing comes up by the plan.

    Parameters
    ----------
    model : Recomputed
        The sowing worked out once more.
    sowing : Sowing
        The sowing.

    Returns
    -------
    curve : Curve or None
        None where the plan leaves it undefined, as for what was counted before the book began.
    """
    key = (*model.few.key, sowing.sowing)
    return _curves.get(key, lambda: _curve(model, sowing))


def _curve(model: Recomputed, sowing: Sowing) -> Curve | None:
    """Work a curve out."""
    if course_of(model.season, sowing) is None:
        return None
    line, stand, crop = model.line(sowing), model.stand(sowing), model.crop(sowing)
    season = model.season
    planned = planned_progress(season, sowing, line, crop.emergence)
    if planned is None:
        return None
    at, gained = planned
    z = ndtri((np.arange(_N_PACES) + 0.5) / _N_PACES)
    goal = crop.emergence.thermal_time_cd * np.exp(crop.emergence.sigma_pace * z)
    with np.errstate(divide="ignore"):
        ratio = np.log(gained[:, None, :] / goal[None, :, None])
    up = ndtr(ratio / max(crop.emergence.sigma_seed, 1e-9))  # (W, Z, T)
    p, weights = beta_nodes(stand.alpha, stand.beta, _N_LOT)
    final = aged(p, stand.shift)[None, :] * _final_frac(model, sowing)[:, None]  # (W, K)
    seed = np.clip(up[:, :, None, :] * final[:, None, :, None], 0.0, 1.0)
    share = cell_ok(stand.seeds, seed, stand.plants_least, stand.per_unit)
    mass = season.w_weights[:, None, None] * np.full(_N_PACES, 1 / _N_PACES)[:, None]
    mass = (mass * weights).ravel()
    low, middle, high = _weighted_points(share.reshape(-1, at.size), mass)
    settled = np.flatnonzero(middle >= _LEVEL_FRAC * middle[-1])
    stop = at.size
    if settled.size:
        ends_h = max(at[settled[0]] + _BEYOND_D * 24, _LEAST_D * 24)
        stop = int(min(np.searchsorted(at, ends_h) + 1, at.size))
    half = line.emergence_h[0, line.middle[0], line.middle[1]]
    return Curve(
        datetime.combine(sowing.sow_date, time(_SOW_H)),
        at[:stop].astype(np.float64),
        low[:stop],
        middle[:stop],
        high[:stop],
        season.day(half // HOURS_PER_DAY) if np.isfinite(half) else None,
    )


def planned_progress(
    season: Season, sowing: Sowing, line: Timeline, emergence: Emergence
) -> tuple[NDArray[np.int64], Floats] | None:
    """Return the thermal time that a sowing gathers as it is planned.

    Parameters
    ----------
    season : Season
        The season of its plan.
    sowing : Sowing
        The sowing.
    line : Timeline
        Its days, for the hour at which it leaves the chamber.
    emergence : Emergence
        How its crop comes up.

    Returns
    -------
    hours_h : ndarray of int, shape (T,)
        Hours since noon of the day of sowing, up to 60 days.
    progress_cd : ndarray, shape (W, T)
        Thermal time of the mix by then, at each weather node [°C d].

        None where the plan leaves the sowing's course open.
    """
    course = course_of(season, sowing)
    if course is None or not sowing.steps:
        return None
    start_h = season.index(sowing.sow_date) * 24 + _SOW_H
    first = course.germinate or course.grow[0][0]
    hours = min(_MOST_D * 24, season.n_days * 24 - start_h - 1)
    until = start_h + hours
    mix = season.climate(first).temp_mix_c[:, :until].copy()
    leaves_h = line.exit_h[0]
    for place, from_day in course.grow:
        begin = from_day * 24
        if course.germinate is not None and (place, from_day) == course.grow[0]:
            begin = int(leaves_h) if np.isfinite(leaves_h) else until
        if begin < until and place != first:
            mix[:, max(begin, 0) :] = season.climate(place).temp_mix_c[:, max(begin, 0) : until]
    at = np.arange(0, hours + 1, _STEP_H)
    return at, accumulate(mix[:, start_h:], emergence)[:, at]


_curves: Kept[tuple[object, ...], Curve | None] = Kept(256)


def _final_frac(model: Recomputed, sowing: Sowing) -> Floats:
    """Share of germination that comes up in the tray at all, by weather; not cut by lateness."""
    line, stand = model.line(sowing), model.stand(sowing)
    on_time = float(line.on_time_frac[0])
    return np.asarray(stand.seed_frac / on_time if on_time > 0 else stand.seed_frac)


def _weighted_points(values: Floats, mass: Floats) -> tuple[Floats, Floats, Floats]:
    """Ten, fifty and ninety percent points of each column."""
    order = np.argsort(values, axis=0)
    total = np.cumsum(mass[order], axis=0)
    rows = np.take_along_axis(values, order, axis=0)
    found = []
    for share in _BAND_FRAC:
        where = np.minimum((total < share * total[-1]).sum(axis=0), len(values) - 1)
        found.append(np.take_along_axis(rows, where[None], axis=0)[0])
    return found[0], found[1], found[2]


def count_points(counts: Iterable[Entry], trays: Sequence[TrayState]) -> tuple[CountPoint, ...]:
    """Add up counts by day.

    Parameters
    ----------
    counts : iterable of Entry
        Counts that stand, in the order of days.
    trays : sequence of TrayState
        Trays of the sowing, for the cells of those that a count names.

    Returns
    -------
    points : tuple of CountPoint
        One a day; of a tray counted twice in a day, the last count.
    """
    cells: Mapping[int, int] = {each.number: each.n_cells for each in trays}
    whole = sum(cells.values())
    by_day: dict[date, dict[tuple[int, ...], Entry]] = {}
    for each in counts:
        by_day.setdefault(each.day_date, {})[each.trays] = each
    points = []
    for day, found in sorted(by_day.items()):
        n_right = n_seen = 0
        for named, each in found.items():
            n_right += each.n or 0
            seen = each.n_of
            if seen is None:
                seen = sum(cells.get(number, 0) for number in named) if named else whole
            n_seen += max(seen, each.n or 0)
        people = tuple(dict.fromkeys(each.person for each in found.values() if each.person))
        points.append(CountPoint(day, n_right, n_seen, len(found), people))
    return tuple(points)


def emergence_spec(
    curve: Curve | None, points: Sequence[CountPoint], today: date
) -> dict[str, Any] | None:
    """Describe the chart of emergence.

    Parameters
    ----------
    curve : Curve or None
        As planned.
    points : sequence of CountPoint
        As counted.
    today : date
        The day in the house.

    Returns
    -------
    spec : dict or None
        A Vega-Lite description in the colors of the page; None with nothing to show.
    """
    if curve is None and not points:
        return None
    layers: list[dict[str, Any]] = []
    x = {
        "field": "at",
        "type": "temporal",
        "title": None,
        "axis": {"format": "%-d %b", "grid": False, "tickCount": 7, "labelOverlap": True},
    }
    y = {
        "type": "quantitative",
        "title": "cells with what is wanted, %",
        "scale": {"domain": [0, 100]},
        "axis": {"values": [0, 25, 50, 75, 100]},
    }
    if curve is not None:
        values = [
            {
                "at": f"{curve.first + timedelta(hours=float(hour)):%Y-%m-%dT%H:%M}",
                "low": round(100 * float(low), 1),
                "middle": round(100 * float(middle), 1),
                "high": round(100 * float(high), 1),
            }
            for hour, low, middle, high in zip(
                curve.hours, curve.low, curve.middle, curve.high, strict=True
            )
        ]
        tip = [
            {"field": "at", "type": "temporal", "title": "as planned", "format": "%-d %b"},
            {"field": "low", "title": "1 in 10 below"},
            {"field": "middle", "title": "middle"},
            {"field": "high", "title": "1 in 10 above"},
        ]
        layers += [
            {
                "data": {"values": values},
                "mark": {"type": "area", "color": "var(--leaf)", "opacity": 0.22},
                "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"},
                             "tooltip": tip},
            },
            {
                "data": {"values": values},
                "mark": {"type": "line", "color": "var(--leaf)", "strokeWidth": 2.5,
                         "strokeDash": [7, 5]},
                "encoding": {"x": x, "y": {**y, "field": "middle"}},
            },
            {
                "data": {"values": [values[-1]]},
                "mark": {"type": "text", "align": "right", "dy": -10, "fontSize": 15,
                         "color": "var(--leaf)"},
                "encoding": {"x": x, "y": {**y, "field": "middle"},
                             "text": {"value": "as planned"}},
            },
        ]  # fmt: skip
        last = curve.first + timedelta(hours=float(curve.hours[-1]))
        if curve.first.date() <= today <= last.date():
            layers.append(
                {
                    "data": {"values": [{"at": f"{today:%Y-%m-%d}T{_SOW_H}:00"}]},
                    "mark": {"type": "rule", "color": "var(--act)", "strokeDash": [4, 4],
                             "strokeWidth": 2},
                    "encoding": {"x": x},
                }
            )  # fmt: skip
    if points:
        layers.append(
            {
                "data": {
                    "values": [
                        {
                            "at": f"{each.day:%Y-%m-%d}T{_SOW_H}:00",
                            "share": round(100 * each.share, 1),
                            "words": f"{each.n_right:,} of {each.n_seen:,}",
                        }
                        for each in points
                    ]
                },
                "mark": {"type": "point", "filled": True, "fill": "var(--sheet)",
                         "stroke": "var(--ink)", "strokeWidth": 2.6, "size": 150, "opacity": 1},
                "encoding": {
                    "x": x,
                    "y": {**y, "field": "share"},
                    "tooltip": [
                        {"field": "at", "type": "temporal", "title": "counted",
                         "format": "%-d %b"},
                        {"field": "words", "title": "cells"},
                    ],
                },
            }
        )  # fmt: skip
    return {"width": "container", "height": 270, "layer": layers}
