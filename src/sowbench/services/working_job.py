"""Workings of time: the minutes of a job, and how full a place or the hands are on a day."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from sowbench.checking.hands import CHANGE_LOT, WATER, machine_for
from sowbench.checking.rooms import is_spaced, stays, step_area
from sowbench.domain.records import StepKind
from sowbench.services import wording
from sowbench.services.working import (
    HOUSE,
    PLANNED,
    WORKED_OUT,
    YOURS,
    Input,
    Line,
    Working,
    amount,
    citations,
    compared,
    said,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from sowbench.domain.plan import Sowing, Step
    from sowbench.domain.ports.sowings_page import PlannedJob, PlannedUseDay
    from sowbench.services.working_model import Recomputed

HANDS: Final = "hands"
_SAME_FRAC: Final = 0.02
_SAME: Final = 0.1
_MOST_LINES: Final = 40
_TITLES: Final = {
    "sow": "Minutes to sow",
    "move": "Minutes to move",
    "tone": "Minutes to move out to tone",
    "count": "Minutes to count",
    "thin": "Minutes to thin",
    "pot on": "Minutes to pot on",
    "space": "Minutes to space",
    "pack": "Minutes to pack",
    WATER: "Minutes to water",
    CHANGE_LOT: "Minutes to change the lot",
}


def rate_input(model: Recomputed, name: str) -> Input:
    """Take one rate of work.

    Parameters
    ----------
    model : Recomputed
        With the reference and the house.
    name : str
        Name of the rate.

    Returns
    -------
    given : Input
        The house's own, else the reference's with its source.
    """
    rate = model.few.catalog.labor[name]
    own = model.few.house.minutes.get(name)
    if own is not None:
        return Input(rate.label, amount(float(own)), rate.unit, "house file", HOUSE)
    source = rate.source if rate.source in model.few.catalog.sources else ""
    return Input(rate.label, amount(rate.value), rate.unit, source, said(rate.basis), rate.why)


def _carry(model: Recomputed, n_units: float) -> tuple[tuple[Input, ...], Line, float]:
    """Carrying lifted units."""
    minutes = model.rates.carry(n_units)
    names = ("carry_lift_s", "carry_distance_m", "carry_speed_m_s", "carry_units_per_trip")
    line = Line(
        "Carry: pick up and set down each, and its share of the way there and back.",
        f"{n_units:g} x (2 lifts + 2 x way / pace / carried at a time) / 60",
        f"{minutes:.1f} min",
    )
    return tuple(rate_input(model, each) for each in names), line, minutes


def minutes_working(model: Recomputed, job: PlannedJob) -> Working:
    """Show how long a job takes.

    Parameters
    ----------
    model : Recomputed
        The sowings it is about, worked out once more.
    job : PlannedJob
        The job.

    Returns
    -------
    working : Working
        Minutes at the house's rates.
    """
    if job.task == WATER:
        inputs, lines, minutes = _water(model, job)
    elif job.task == CHANGE_LOT:
        minutes = model.few.house.crew.setup_minutes
        inputs = (Input("put one lot away, take the next", amount(minutes), "min", "", HOUSE),)
        lines = [Line("Once for each different lot sown on a day.", "", f"{minutes:g} min")]
    else:
        inputs, lines, minutes = _of_sowing(model, model.sowing(job.sowing), job)
    same = abs(minutes - job.minutes) <= _SAME + _SAME_FRAC * job.minutes
    return Working(
        _TITLES.get(job.task, f"Minutes: {job.task}"),
        f"{job.sowing or job.place}, {wording.day(job.day)}",
        f"{minutes:.1f} min",
        inputs,
        tuple(lines),
        minutes,
        job.minutes,
        compared(f"{minutes:.1f} min", f"{job.minutes:.1f} min", is_same=same),
        sources=citations(inputs, model.few.catalog),
        where="docs/model.md, sections 7 and 10",
    )


def _of_sowing(
    model: Recomputed, sowing: Sowing, job: PlannedJob
) -> tuple[tuple[Input, ...], list[Line], float]:
    """Minutes of a job around one sowing."""
    index = model.season.index(job.day)
    done = [each for each in model.work if each.task == job.task and each.sowing == job.sowing]
    near = min(done, key=lambda each: abs(each.day - index), default=None)
    minutes = 0.0 if near is None else near.minutes
    step = _step_on(sowing, job.day)
    n_units = Input("trays or units", amount(step.n_containers), "", "", PLANNED)
    n_cells = Input("cells", amount(step.n_cells), "", "", PLANNED)
    if job.task == "sow":
        return _sow(model, sowing)
    if job.task in {"move", "tone"}:
        given, line, _ = _carry(model, step.n_containers)
        return (n_units, *given), [line], minutes
    if job.task == "count":
        rate = rate_input(model, "count_s_per_tray")
        return (n_units, rate), [_times(step.n_containers, rate, minutes)], minutes
    if job.task == "thin":
        rate = rate_input(model, "thin_cells_per_h")
        crowded = model.stand(sowing).crowded_frac()
        inputs = (
            Input("cells", amount(sowing.n_cells), "", "", PLANNED),
            Input("cells with more than wanted", wording.percent(crowded, 1), "", "", WORKED_OUT),
            rate,
        )
        n = sowing.n_cells * crowded
        line = Line("Cells to thin, at that pace.", f"{n:,.0f} x 60 / {rate.value}",
                    f"{minutes:.1f} min")  # fmt: skip
        return inputs, [line], minutes
    if job.task == "pack":
        rate = rate_input(model, "pack_s_per_container")
        line = Line(
            "Grade, label and pack each unit; a part that goes on another day by its plants.",
            f"{step.n_containers} x {rate.value} s / 60",
            f"{minutes:.1f} min",
        )
        return (n_units, rate), [line], minutes
    if job.task == "pot on":
        fill, rate = rate_input(model, "fill_s_per_container"), rate_input(model, "pot_on_per_h")
        line = Line("Fill the new containers, move every plant.",
                    f"{step.n_containers} x {fill.value} s / 60 + {step.n_cells} x 60 / "
                    f"{rate.value}", f"{minutes:.1f} min")  # fmt: skip
        return (n_units, n_cells, fill, rate), [line], minutes
    rate = rate_input(model, "space_per_h")
    line = Line("Set every plant apart.", f"{step.n_cells} x 60 / {rate.value}",
                f"{minutes:.1f} min")  # fmt: skip
    return (n_cells, rate), [line], minutes


def _times(n: int, rate: Input, minutes: float) -> Line:
    """So many, each so many seconds."""
    return Line("Each takes so long.", f"{n} x {rate.value} s / 60", f"{minutes:.1f} min")


def _step_on(sowing: Sowing, day: date) -> Step:
    """Return the step that begins on a day, else the one it stands in."""
    for each in sowing.steps:
        if each.from_date == day:
            return each
    return next((s for s in sowing.steps if s.from_date <= day < s.to_date), sowing.steps[-1])


def _sow(model: Recomputed, sowing: Sowing) -> tuple[tuple[Input, ...], list[Line], float]:
    """Minutes to set up, fill, sow and carry."""
    house, rates, step = model.few.house, model.rates, sowing.steps[0]
    n_units, n_seeds = step.n_containers, sowing.n_seeds
    lot = model.lot(sowing)
    setup = house.crew.setup_minutes
    fill = rates.seconds("fill_s_per_container", n_units)
    fill_rate = rate_input(model, "fill_s_per_container")
    machine = machine_for(model.season, step.container)
    inputs = [
        Input("trays or units", amount(n_units), "", "", PLANNED),
        Input("seeds", amount(n_seeds), "", "", PLANNED),
        Input("set up and clear away", amount(setup), "min", "", HOUSE),
        fill_rate,
    ]
    lines = [
        Line("Set up and clear away, once a sowing.", "", f"{setup:.1f} min"),
        Line("Fill, firm and wet in.", f"{n_units} x {fill_rate.value} s / 60",
             f"{fill:.1f} min"),
    ]  # fmt: skip
    if machine is None:
        name = "sow_pelleted_seeds_per_h" if lot is not None and lot.pelleted else "sow_seeds_per_h"
        rate = rate_input(model, name)
        sow = rates.per_hour(name, n_seeds)
        inputs.append(rate)
        lines.append(Line("Place the seed by hand.", f"{n_seeds:,} x 60 / {rate.value}",
                          f"{sow:.1f} min"))  # fmt: skip
    else:
        sow = n_units * 60.0 / machine.trays_per_hour + machine.changeover_minutes
        inputs += [
            Input(machine.name, amount(machine.trays_per_hour), "trays an hour", "", HOUSE),
            Input("changeover", amount(machine.changeover_minutes), "min", "", HOUSE),
        ]
        lines.append(
            Line(
                f"{machine.name} sows; its changeover once a sowing.",
                f"{n_units} x 60 / {machine.trays_per_hour:g} + {machine.changeover_minutes:g}",
                f"{sow:.1f} min",
            )
        )
    given, line, carry = _carry(model, n_units)
    return (*inputs, *given), [*lines, line], setup + fill + sow + carry


def _water(model: Recomputed, job: PlannedJob) -> tuple[tuple[Input, ...], list[Line], float]:
    """Minutes to water a place."""
    area = sum(
        step_area(step, container, units)
        for _, step, container, units in stays(model.season)
        if step.place == job.place
        and step.from_date <= job.day < step.to_date
        and step.kind is not StepKind.PREPARE
    )
    minutes = model.rates.water(area)
    per, times = rate_input(model, "water_min_per_10m2"), rate_input(model, "water_times_per_d")
    inputs = (
        Input("trays standing there", f"{area:.1f}", "m²", "", PLANNED),
        per,
        times,
    )
    line = Line("Area, at that pace, so many times.",
                f"{area:.1f} / 10 x {per.value} x {times.value}", f"{minutes:.1f} min")  # fmt: skip
    return inputs, [line], minutes


def use_working(
    model: Recomputed | None, use: PlannedUseDay, day: date, jobs: Sequence[PlannedJob] = ()
) -> Working:
    """Show how full a place, or the hands, are on a day.

    Parameters
    ----------
    model : Recomputed or None
        The sowings that stand there; None for the hands, or where nothing stands.
    use : PlannedUseDay
        What the plan says.
    day : date
        The day.
    jobs : sequence of PlannedJob, default ()
        The jobs of the day, for the hands.

    Returns
    -------
    working : Working
        What stands there, or is to be done, added up.
    """
    unit = "m²" if use.unit == "m2" else use.unit
    digits = 1 if use.unit == "m2" else 0
    rows: list[tuple[str, float]] = []
    inputs: list[Input] = []
    if use.name == HANDS:
        rows = [(f"{each.task} {each.sowing or each.place}", each.minutes) for each in jobs]
        words = "Minutes of all jobs of the day."
    else:
        words = "Positions taken by what stands there." if use.unit == "positions" else (
            "Area of what stands there: the outer size of trays, or plants / plants per m²."
        )  # fmt: skip
        rows = [] if model is None else _standing_there(model, use.name, day)
        place = None if model is None else model.season.places.get(use.name)
        if place is not None and place.area_m2 is not None and place.n_positions is None:
            inputs += [
                Input("area", amount(place.area_m2), "m²", "house file", YOURS),
                Input("of it usable", wording.percent(place.usable_frac), "", "", HOUSE),
            ]
    total = sum(value for _, value in rows)
    inputs += [Input(name, f"{value:,.{digits}f}", unit, "", PLANNED)
               for name, value in rows[:_MOST_LINES]]  # fmt: skip
    if len(rows) > _MOST_LINES:
        rest = sum(value for _, value in rows[_MOST_LINES:])
        inputs.append(Input(f"{len(rows) - _MOST_LINES} more", f"{rest:,.{digits}f}", unit))
    lines = [Line(words, "sum", f"{total:,.{digits}f} {unit}")]
    if use.capacity is not None:
        lines.append(
            Line("What it holds.", "", f"{use.capacity:,.{digits}f} {unit}; "
                 f"{wording.percent(total / use.capacity if use.capacity else 0.0)} taken")
        )  # fmt: skip
    here, plan = (f"{each:,.{digits}f} {unit}" for each in (total, use.use))
    return Working(
        "Hands" if use.name == HANDS else "How full",
        f"{use.name}, {wording.day(day)}",
        here if use.capacity is None else f"{here} of {use.capacity:,.{digits}f}",
        tuple(inputs),
        tuple(lines),
        total,
        use.use,
        compared(here, plan, is_same=abs(total - use.use) <= _SAME + _SAME_FRAC * use.use),
        where="docs/model.md, section 6",
    )


def _standing_there(model: Recomputed, place: str, day: date) -> list[tuple[str, float]]:
    """What each sowing takes of a place on a day."""
    found = model.season.places.get(place)
    by_position = found is not None and found.n_positions is not None
    rows = []
    for sowing, step, container, units in stays(model.season):
        if step.place != place or not step.from_date <= day < step.to_date:
            continue
        amount_there = units if by_position else step_area(step, container, units)
        spaced = ", spaced" if is_spaced(step, container) else ""
        rows.append((f"{sowing.sowing}, {units:g} x {container.id}{spaced}", amount_there))
    return rows
