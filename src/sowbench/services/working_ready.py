"""Workings of a sowing's days: when it is ready, and when it is overgrown."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from sowbench.checking.timeline import course_of
from sowbench.services import wording
from sowbench.services.working import (
    ASSUMED,
    HOUSE,
    PLANNED,
    WORKED_OUT,
    Input,
    Line,
    Working,
    amount,
    citations,
    compared,
    reference_input,
    said,
)

if TYPE_CHECKING:
    from datetime import date

    from sowbench.domain.plan import Sowing
    from sowbench.domain.records import ReadyRule
    from sowbench.services.working_model import Recomputed

_TIME_WHERE: Final = "docs/model.md, sections 2 to 4"


def _time_inputs(model: Recomputed, sowing: Sowing, rule: ReadyRule) -> tuple[Input, ...]:
    """What decides when plants are ready."""
    facts = model.crop(sowing).facts
    source, basis = rule.source, said(rule.basis)
    line = model.line(sowing)
    w, z = line.middle
    course = course_of(model.season, sowing)
    first = (course.germinate or course.grow[0][0]) if course is not None else ""
    up = line.emergence_h[0, w, z] / 24.0
    start = model.season.index(sowing.sow_date)
    mean_mix = ""
    if first and np.isfinite(up):
        hours = slice(24 * start + 12, max(24 * start + 36, int(24 * up)))
        mean_mix = f"{model.season.climate(first).temp_mix_c[w, hours].mean():.1f}"
    return (
        Input("sown", wording.day(sowing.sow_date), "12:00", "noon", PLANNED),
        Input(f"mix in {first} until up, mean", mean_mix, "°C", "typical year", WORKED_OUT),
        reference_input(facts, "emergence.base_c", "nothing moves below"),
        reference_input(facts, "emergence.optimum_low_c", "fastest from"),
        reference_input(facts, "emergence.ceiling_c", "nothing moves above"),
        reference_input(facts, "emergence.thermal_time_cd", "thermal time to the middle seed"),
        reference_input(facts, "emergence.sigma_pace", "doubt about the crop's pace"),
        reference_input(facts, "growth.base_c", "leaves stop below"),
        reference_input(facts, "growth.optimum_c", "leaves fastest at"),
        Input("from up to grown, at reference", amount(rule.days_ref), "d", source, basis,
              rule.words),
        Input("reference temperature", amount(rule.temp_ref_c), "°C", source, basis),
        Input("reference light", amount(rule.dli_ref_mol_m2_d), "mol m⁻² d⁻¹", "", ASSUMED),
        Input("doubt about growing", amount(rule.sigma_growth), "of the logarithm", source, basis),
        Input("toning", amount(rule.tone_d), "d", source, basis),
    )  # fmt: skip


def _weather_input(model: Recomputed) -> Input:
    """The spread of the weather."""
    few = model.few
    has_weather = few.weather is not None
    return Input(
        "weather from year to year",
        amount(few.house.weather_spread_c),
        "°C, a week",
        "house file" if has_weather else "no weather file: the room's temperatures",
        HOUSE if has_weather else ASSUMED,
    )


def ready_working(model: Recomputed, sowing: Sowing) -> Working:
    """Show when a sowing is ready.

    Parameters
    ----------
    model : Recomputed
        The sowing worked out once more.
    sowing : Sowing
        The sowing.

    Returns
    -------
    working : Working
        Ten, fifty and ninety percent points of the day.
    """
    rule = model.rule(sowing)
    line, span, plan = model.line(sowing), model.ready(sowing), sowing.ready_date
    if rule is None:
        return Working("Ready", sowing.sowing, "not known: no ready rule", (), ())
    w, z = line.middle
    season = model.season
    up = line.emergence_h[0, w, z] / 24.0
    inputs = (*_time_inputs(model, sowing, rule), _weather_input(model))
    grown, ready = float(line.grown_day[0, w, z]), float(line.ready_day[0, w, z])
    lines = (
        Line(
            "Coming up: every hour adds the warmth above the base, until the middle seed has its "
            "thermal time.",
            "Σ (T - base)/24 ≥ thermal time",
            _days_after(season.day(int(up)), up - season.index(sowing.sow_date) - 0.5, "sowing")
            if np.isfinite(up)
            else "never",
        ),
        Line(
            "Growing: two clocks run, one by the day's mean temperature (leaves), one by "
            "temperature and light (mass and roots); grown when both have gone round.",
            f"Σ r(T) ≥ {rule.days_ref:g} and Σ r(T) g(light) ≥ {rule.days_ref:g}",
            _days_after(season.day(int(grown)), grown - up, "coming up")
            if np.isfinite(grown)
            else "never",
        ),
        Line(
            "Ready after toning, in a typical year at the usual pace.",
            f"grown + {rule.tone_d} d",
            wording.day(season.day(int(np.ceil(ready - 1e-9)))) if np.isfinite(ready) else "never",
        ),
        Line(
            "The same for five kinds of season and nine paces, weighed by how likely each is: "
            "one in ten is ready before the first day, one in ten after the last.",
            "10, 50 and 90 % points",
            _span_words(span.p10, span.p50, span.p90),
        ),
    )
    here = _span_words(span.p10, span.p50, span.p90)
    return Working(
        "Ready window",
        sowing.sowing,
        f"{wording.day(span.p50)}, 8 times in 10 {wording.between(span.p10, span.p90 or span.p50)}",
        inputs,
        lines,
        span.p50,
        plan.p50,
        compared(here, _span_words(plan.p10, plan.p50, plan.p90), is_same=span == plan),
        sources=citations(inputs, model.few.catalog),
        where=_TIME_WHERE,
    )


def overgrown_working(model: Recomputed, sowing: Sowing) -> Working:
    """Show when a sowing is overgrown.

    Parameters
    ----------
    model : Recomputed
        The sowing worked out once more.
    sowing : Sowing
        The sowing.

    Returns
    -------
    working : Working
        Ten and fifty percent points of the day.
    """
    rule = model.rule(sowing)
    span, plan = model.overgrown(sowing), sowing.overgrown_date
    if rule is None:
        return Working("Overgrown", sowing.sowing, "not known: no ready rule", (), ())
    course = course_of(model.season, sowing)
    is_held = course is not None and course.hold
    crop = model.crop(sowing)
    window = Input("stays fit after it is grown, at reference", amount(rule.window_d_ref), "d",
                   rule.source, said(rule.basis), "both clocks, where it stands then")  # fmt: skip
    if is_held:
        window = reference_input(crop.facts, "hold_d", "keeps in the cold store")
    inputs = (window, *_time_inputs(model, sowing, rule), _weather_input(model))
    stands = course.tone if course is not None else ""
    lines = (
        Line(
            "Held in the cold store from the ready day on."
            if is_held
            else f"From grown on both clocks go on in {stands}, until they have gained the window.",
            f"ready + {crop.hold_d} d" if is_held else f"Σ r ≥ {rule.window_d_ref:g} after grown",
            f"at least a day after ready; {wording.day(span.p50)}",
        ),
        Line(
            "For five kinds of season and nine paces.",
            "10 and 50 % points",
            f"{wording.day(span.p10)}, {wording.day(span.p50)}",
        ),
    )
    here = f"{wording.day(span.p50)}, one in ten by {wording.day(span.p10)}"
    return Working(
        "Overgrown",
        sowing.sowing,
        f"about {here}",
        inputs,
        lines,
        span.p50,
        plan.p50,
        compared(
            here,
            f"{wording.day(plan.p50)}, one in ten by {wording.day(plan.p10)}",
            is_same=span == plan,
        ),
        sources=citations(inputs, model.few.catalog),
        where=_TIME_WHERE,
    )


def _days_after(day: date, n_days: float, since: str) -> str:
    """Write a day and how long it took."""
    return f"{wording.day(day)}, {n_days:.1f} days after {since}"


def _span_words(p10: date, p50: date, p90: date | None) -> str:
    """Write the three points of a date."""
    parts = [each for each in (p10, p50, p90) if each is not None]
    return ", ".join(wording.short_day(each) for each in parts)
