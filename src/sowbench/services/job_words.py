"""Planned jobs in trade words: what is done with what, where, and how in short."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Final

from sowbench.services import wording
from sowbench.services.day_card import Line, marked

if TYPE_CHECKING:
    from sowbench.domain.plan import Sowing, Step
    from sowbench.domain.ports.today_page import DayJob
    from sowbench.services.day_house import HouseWalk

_TRAYS: Final = frozenset({"plug tray", "polystyrene tray", "flexible insert", "paper plug"})


def container_words(walk: HouseWalk, container: str, n_containers: int, n_cells: int) -> str:
    """Say what is filled or moved.

    Parameters
    ----------
    walk : HouseWalk
        The house.
    container : str
        Id of a container.
    n_containers, n_cells : int
        How many of it, and the cells in use.

    Returns
    -------
    text : str
        As "4 trays of 288" or "30 mineral-wool cubes of 40 mm".
    """
    record = walk.containers.get(container)
    if record is None:
        return f"{n_containers:,} x {container}"
    if record.kind in _TRAYS:
        trays = wording.count(n_containers, "tray")
        if n_containers == 1 and n_cells < record.cells:
            return f"{trays} of {record.cells}, {wording.count(n_cells, 'cell')} of it"
        return f"{trays} of {record.cells}"
    what, *rest = record.name.split(", ")
    size = next((f" of {each}" for each in rest if each.endswith(" mm")), "")
    noun = what[:1].lower() + what[1:]
    if n_cells == 1 and noun.endswith("s"):
        noun = noun[:-1]
    return f"{n_cells:,} {noun}{size}"


def unit_noun(walk: HouseWalk, container: str) -> str:
    """Name what is lifted.

    Parameters
    ----------
    walk : HouseWalk
        The house.
    container : str
        Id of a container.

    Returns
    -------
    noun : str
        "tray", "sheet" or "carrier".
    """
    record = walk.containers.get(container)
    if record is None or record.kind in _TRAYS:
        return "tray"
    return "sheet" if "sheet of" in record.name else "carrier"


def when_words(at: str, day: date, today: date) -> str:
    """Say when an entry was written.

    Parameters
    ----------
    at : str
        Time of day; blank if only the day is known.
    day, today : date
        Its day, and the day in the house.

    Returns
    -------
    text : str
        As "8:12" today, "Mon 8 March" otherwise.
    """
    if day == today:
        return at or "today"
    return wording.day(day)


def step_of(job: DayJob) -> Step:
    """Return the step that a sowing is in on the day of a job, one that begins included.

    Parameters
    ----------
    job : DayJob
        The job.

    Returns
    -------
    step : Step
        The step.
    """
    planned = _planned(job)
    begun = [each for each in planned.steps if each.from_date <= job.date]
    return begun[-1] if begun else planned.steps[0]


def step_before(job: DayJob) -> Step | None:
    """Return the step before the one that a job begins.

    Parameters
    ----------
    job : DayJob
        The job.

    Returns
    -------
    step : Step or None
        The step; None if there is none before.
    """
    planned, step = _planned(job), step_of(job)
    at = planned.steps.index(step)
    return planned.steps[at - 1] if at else None


def _planned(job: DayJob) -> Sowing:
    """Return the sowing of a job that has one."""
    if job.planned is None:
        raise LookupError(f"job {job.key} must be about a planned sowing; got none.")
    return job.planned


def crop_words(job: DayJob, walk: HouseWalk) -> str:
    """Name the crop of a job, or its sowing where the plan no longer has it.

    Parameters
    ----------
    job : DayJob
        The job.
    walk : HouseWalk
        The house.

    Returns
    -------
    name : str
        As within a sentence.
    """
    return job.sowing if job.planned is None else walk.crop_name(job.planned.crop)


def job_words(job: DayJob, walk: HouseWalk) -> tuple[str, str, tuple[Line, ...]]:
    """Say a job: its title, what stands beside it, and how in short.

    Parameters
    ----------
    job : DayJob
        The job.
    walk : HouseWalk
        The house.

    Returns
    -------
    words : tuple of str, str, tuple of Line
        Title, what stands beside it, and how.
    """
    if job.task == "water":
        return "Water what is dry", "", ()
    if job.planned is None:
        return f"{wording.sentence_start(job.task)}: {job.sowing}", job.words, ()
    planned, step, crop = job.planned, step_of(job), crop_words(job, walk)
    of_what = container_words(walk, step.container, step.n_containers, step.n_cells)
    units = wording.count(step.n_containers, unit_noun(walk, step.container))
    variety = f"'{planned.variety}'" if planned.variety else ""
    if job.task == "sow":
        beside = f"lot {planned.lot}, {wording.count(planned.n_seeds, 'seed')}"
        return f"Sow {crop}, {of_what}", ", ".join(filter(None, (variety, beside))), ()
    if job.task == "change lot":
        return f"Set up for lot {job.words or planned.lot}", f"{crop} {variety}".strip(), ()
    return _later_words(job, walk, crop, variety, units, of_what)


def _later_words(
    job: DayJob, walk: HouseWalk, crop: str, variety: str, units: str, of_what: str
) -> tuple[str, str, tuple[Line, ...]]:
    """Say a job after sowing."""
    planned, step, before = _planned(job), step_of(job), step_before(job)
    where = before.place if before is not None and before.place != job.place else ""
    if job.task == "move":
        how = marked(f"From the |{where}|") if where else ()
        title = f"Bring {units} of {crop} here"
        if where and walk.is_chamber(where):
            title = f"Pull {units} of {crop} from the {where}"
            how = marked(f"To the |{job.place}|")
        return title, variety, (how,) if how else ()
    if job.task == "tone":
        how = marked(f"From the |{where}|") if where else marked("Cooler and drier from now on")
        return f"Bring {units} of {crop} here to tone", variety, (how,)
    if job.task == "count":
        days = (job.date - planned.sow_date).days
        sown = wording.day(planned.sow_date)
        return (
            f"Count {crop}, {of_what}",
            variety,
            (marked(f"Sown {sown}, |{wording.count(days, 'day')}| ago"),),
        )
    if job.task == "thin":
        low, high = planned.plants_per_cell
        keep = f"{low}" if low == high else f"{low} to {high}"
        return f"Thin {crop}, {of_what}", variety, (marked(f"Leave |{keep} a cell|, cut the rest"),)
    if job.task == "pot on":
        from_what = "" if before is None else container_words(
            walk, before.container, before.n_containers, before.n_cells
        )  # fmt: skip
        how = marked(f"From {from_what}") if from_what else ()
        return f"Pot on {crop} into {of_what}", variety, (how,) if how else ()
    if job.task == "space":
        density = f"{step.plants_per_m2:.0f} plants a square meter"
        return f"Space out {crop}, {units}", variety, (marked(f"To |{density}|"),)
    return f"{wording.sentence_start(job.task)} {crop}, {units}", variety, ()
