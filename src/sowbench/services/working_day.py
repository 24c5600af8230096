"""Workings of a day: the minutes of a job, and of all jobs at a place or of the whole day."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from sowbench.checking.hands import WATER
from sowbench.science.errors import UnknownNameError
from sowbench.services import wording
from sowbench.services.day_page import day_page
from sowbench.services.working import HOUSE, PLANNED, Input, Line, Working, compared
from sowbench.services.working_few import few_sowings
from sowbench.services.working_job import minutes_working
from sowbench.services.working_model import model_of

if TYPE_CHECKING:
    from datetime import date

    from sowbench.domain.book import PlanHead
    from sowbench.domain.ports import Unit
    from sowbench.domain.ports.sowings_page import PlannedJob
    from sowbench.services.day_jobs import JobLine
    from sowbench.services.desk import Desk

_SAME: Final = 0.6
_SAME_FRAC: Final = 0.02


def job_working(unit: Unit, head: PlanHead, key: str) -> Working:
    """Show how long a job takes; a job for one of several orders is part of the job for all.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    key : str
        Key of the job.

    Returns
    -------
    working : Working
        Minutes at the house's rates.

    Raises
    ------
    UnknownNameError
        If the plan has no such job.
    """
    job = _job(unit, head, key)
    if job is None:
        raise UnknownNameError(key, "job of this plan")
    if job.task == WATER:
        names = [each.sowing for each in unit.sowings_page.standing_in(head.id, job.place, job.day)]
    else:
        names = [job.sowing]
    return minutes_working(model_of(few_sowings(unit, head, names)), job)


def _job(unit: Unit, head: PlanHead, key: str) -> PlannedJob | None:
    """Find a job by its key, or by that of its part for one order."""
    found = unit.sowings_page.job(head.id, key)
    return found or unit.sowings_page.job(head.id, key.rpartition("/")[0])


def day_working(desk: Desk, place: str, day: date) -> Working:
    """Show how the minutes of a day add up, at one place or in all.

    Parameters
    ----------
    desk : Desk
        The desk.
    place : str
        The place as the page of the day names it; blank for the whole day.
    day : date
        The day.

    Returns
    -------
    working : Working
        Each job, worked out once more at the house's rates.

    Raises
    ------
    UnknownNameError
        If nothing is to be done at such a place that day, or there is no plan.
    """
    view = day_page(desk, day)
    stays = [each for each in view.stays if not place or each.place == place]
    if not stays:
        raise UnknownNameError(place or str(day), "place with jobs on this day")
    jobs = [job for each in stays for job in each.jobs]
    lines: list[Line] = []
    total = 0.0
    with desk.book.reading() as unit:
        head = unit.plans.current()
        if head is None:
            raise UnknownNameError("current", "plan")
        for job in jobs:
            found, is_part = _of_line(unit, head, job)
            # Of packing for several orders each line has its share, by its plants.
            minutes = job.minutes if found is None or is_part else float(found)
            total += minutes
            lines.append(
                Line(f"{job.title}{', done' if job.done is not None else ''}:",
                     "its part of packing" if is_part else "", f"{minutes:,.1f} min")
            )  # fmt: skip
    planned = sum(each.minutes for each in stays)
    n_open = sum(job.minutes for job in jobs if job.done is None)
    lines.append(Line("Together.", "sum", wording.minutes(total)))
    lines.append(
        Line("Of it still to be done: the jobs without a tick.", "",
             wording.minutes(n_open) if n_open else "nothing")
    )  # fmt: skip
    inputs = (
        Input("minutes of each job", "by its trays, cells and plants",
              "", "each opens on the page of its sowing", PLANNED),
        Input("rates of work", "as the house has them", "", "the house, or the handbook", HOUSE),
    )  # fmt: skip
    same = abs(total - planned) <= _SAME + _SAME_FRAC * planned
    return Working(
        "Minutes of the day",
        f"{place or 'all places'}, {wording.day(day)}",
        wording.minutes(total),
        inputs,
        tuple(lines),
        total,
        planned,
        compared(wording.minutes(total), wording.minutes(planned), is_same=same),
        where="docs/model.md, section 7",
    )


def _of_line(unit: Unit, head: PlanHead, job: JobLine) -> tuple[float | None, bool]:
    """Return the minutes of a line of the page worked out anew, and whether it is a part of a job.

    None for water, which a line joins, and for what the plan knows by no key.
    """
    whole = unit.sowings_page.job(head.id, job.key)
    if whole is None:
        return None, unit.sowings_page.job(head.id, job.key.rpartition("/")[0]) is not None
    if job.task == WATER:
        return None, False
    figure = job_working(unit, head, job.key).figure
    return (figure if isinstance(figure, float) else None), False
