"""Where plants may stand: kinds of place, light, cold, chill and cover."""

from __future__ import annotations

from typing import Final

import numpy as np

from sowbench.checking.report import Ledger
from sowbench.checking.season import Season, days_between
from sowbench.checking.timeline import GROWING
from sowbench.domain.plan import Sowing, Step
from sowbench.domain.records import Crop, LightNeed, PlaceKind, StepKind

GERMINATING_KINDS: Final = frozenset({PlaceKind.CHAMBER, PlaceKind.MAT, PlaceKind.MIST})
GROWING_KINDS: Final = frozenset(
    {PlaceKind.BENCH, PlaceKind.WINDOWSILL, PlaceKind.LAMP_SHELF, PlaceKind.YARD}
)
TONING_KINDS: Final = frozenset({PlaceKind.BENCH, PlaceKind.YARD})
_COLD_SLIP_C: Final = 1e-6


def check_placing(season: Season, ledger: Ledger) -> None:
    """Check every step of every sowing against what its crop bears."""
    for sowing in season.plan.sowings:
        crop = season.catalog.crops.get(sowing.crop)
        if crop is None:
            continue
        for step in sowing.steps:
            if step.place not in season.places or step.kind is StepKind.PREPARE:
                continue
            if sowing.sowing in season.left:  # it stands there, whatever was foreseen
                continue
            _check_kind(season, ledger, sowing, step, crop)
            _check_cold(season, ledger, sowing, step, crop)
        if sowing.sowing not in season.left:
            _check_chill(season, ledger, sowing, crop)


def growing_places(season: Season, sowing: Sowing) -> list[str]:
    """Return the places in which a sowing grows, in order."""
    places = [each.place for each in sowing.steps if each.kind in GROWING]
    standing = season.standings.get(sowing.sowing)
    if standing is not None:
        places.insert(0, standing.place)
    return [each for each in places if each in season.places]


def kind_allowed(kind: PlaceKind, step: StepKind, crop: Crop, *, grows_there: bool) -> bool:
    """Tell whether a kind of place will do for a step of a crop."""
    if step is StepKind.HOLD:
        return kind is PlaceKind.COLD_STORE
    if step is StepKind.GRAFT:
        return kind is PlaceKind.HEALING
    if step is StepKind.TONE:
        if kind is PlaceKind.YARD and crop.tone_under_cover:
            return False
        return kind in TONING_KINDS or grows_there
    if step is StepKind.GERMINATE and kind in GERMINATING_KINDS:
        return True
    if step is StepKind.GERMINATE and not grows_there:
        return False
    return kind in GROWING_KINDS and (kind is not PlaceKind.YARD or crop.hardy)


def _check_kind(season: Season, ledger: Ledger, sowing: Sowing, step: Step, crop: Crop) -> None:
    """Kind of place, light for the seed, and a toning place that is not warmer."""
    name, place = sowing.sowing, season.places[step.place]
    growing = growing_places(season, sowing)
    standing = season.standings.get(name)
    if standing is None or standing.place != step.place:
        ledger.require(
            kind_allowed(place.kind, step.kind, crop, grows_there=step.place in growing),
            "place is of a kind that will do", name,
            f"{step.place} is a {place.kind}; {sowing.crop} cannot {step.kind} there.",
        )  # fmt: skip
    if step.kind is StepKind.GERMINATE and crop.light_need is LightNeed.LIGHT:
        ledger.require(
            not season.is_dark_place(step.place), "light-needing seed is not in the dark", name,
            f"{step.place} is dark.",
        )  # fmt: skip
    cooler = place.kind is PlaceKind.BENCH and step.place not in growing
    if step.kind is StepKind.TONE and growing and cooler:
        days = days_between(season.index(step.from_date), season.index(step.to_date))
        if not days.size:
            return
        w = season.w_nodes.size // 2
        there = season.climate(step.place).temp_day_mean_c[w, days].mean()
        before = season.climate(growing[-1]).temp_day_mean_c[w, days].mean()
        ledger.require(
            bool(there <= before + _COLD_SLIP_C), "toning place is cooler", name,
            f"{step.place} is warmer than {growing[-1]}.", float(before), float(there),
        )  # fmt: skip


def least_temperature(crop: Crop, kind: StepKind) -> float:
    """Return the coldest hour that a crop bears in a step [°C]."""
    if kind is StepKind.HOLD:
        return crop.hold_min_c
    return crop.tone_min_c if kind is StepKind.TONE else crop.min_c


def _check_cold(season: Season, ledger: Ledger, sowing: Sowing, step: Step, crop: Crop) -> None:
    """No day's coldest hour in a cold year is below what the crop bears."""
    first = max(season.index(step.from_date), season.index(season.inputs.from_date))
    days = days_between(first, season.index(step.to_date))
    if not days.size:
        return
    coldest = season.climate(step.place).coldest_hour_c[days]
    least = least_temperature(crop, step.kind)
    at = int(np.argmin(coldest))
    ledger.require(
        bool(coldest[at] >= least - _COLD_SLIP_C), "place is warm enough", sowing.sowing,
        f"{step.place} on {season.day(days[at])} is too cold to {step.kind}.",
        f"at least {least:g} °C", f"{coldest[at]:.1f} °C",
    )  # fmt: skip


def _check_chill(season: Season, ledger: Ledger, sowing: Sowing, crop: Crop) -> None:
    """Not more chill days than the crop bears."""
    if crop.chill_below_c is None or crop.chill_days_max is None:
        return
    w = season.w_nodes.size // 2
    n_chill = 0
    for step in sowing.steps:
        if step.place in season.places:
            days = days_between(season.index(step.from_date), season.index(step.to_date))
            mean = season.climate(step.place).temp_day_mean_c[w, days]
            n_chill += int(np.count_nonzero(mean < crop.chill_below_c))
    ledger.require(
        n_chill <= crop.chill_days_max, "chill days", sowing.sowing,
        f"More days are below {crop.chill_below_c:g} °C than {sowing.crop} bears.",
        f"at most {crop.chill_days_max}", n_chill,
    )  # fmt: skip
