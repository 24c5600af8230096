"""Plan the season of a house book: begin a run, follow it, end it early, take its plan in."""

from __future__ import annotations

import logging
import shutil
import threading
from concurrent.futures import CancelledError, Future
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sowbench.domain.book import PlanRun, RunState
from sowbench.planning.parameters import SolveParameters
from sowbench.science.errors import OutOfRangeError, SowbenchError, UnknownNameError
from sowbench.services.book_inputs import loaded_of
from sowbench.services.house_day import day_in_house
from sowbench.services.learned import fill_finished
from sowbench.services.learned_values import NOTHING_LEARNED
from sowbench.services.planner_run import (
    MADE_FILE,
    ask_to_stop,
    is_asked_to_stop,
    is_silent,
    plan_in_process,
    read_made,
    read_progress,
)

if TYPE_CHECKING:
    from sowbench.services.desk import Desk
    from sowbench.services.planner_run import Progress

_LOG: Final = logging.getLogger(__name__)

RUNS_FOLDER: Final = "runs"
LEARNED_FILE: Final = "learned.json"
SECONDS_LEAST, SECONDS_MOST = 5.0, 3600.0
SEED: Final = 0
DOING_WORDS: Final = {
    "lay out": "Laying out what could be sown when and where",
    "bound": "Finding how cheap a plan can be at best",
    "search": "Looking for a better plan",
    "write": "Writing the plan down",
}

_settling = threading.Lock()
_futures: dict[tuple[Path, int], Future[None]] = {}


@dataclass(frozen=True, slots=True)
class RunView:
    """A run of the planner as its page shows it.

    Attributes
    ----------
    run : PlanRun
        The run.
    doing : str
        What it is doing, in words; blank when it is over.
    progress : Progress or None
        How far the search is.
    stopping : bool
        Whether it was asked to end.
    done_frac : float
        Share of the time given that has passed.
    """

    run: PlanRun
    doing: str
    progress: Progress | None
    stopping: bool
    done_frac: float

    @property
    def running(self) -> bool:
        """Whether the planner is at it."""
        return self.run.state is RunState.RUNNING


class AlreadyPlanningError(SowbenchError, RuntimeError):
    """A plan is being made already.

    Parameters
    ----------
    run : int
        The run that is at it.
    """

    def __init__(self, run: int) -> None:
        super().__init__(run)
        self.run = run

    def __str__(self) -> str:
        """Return the message in the house's form."""
        return f"A plan is being made already, by run {self.run}; wait for it or stop it."


def run_folder(desk: Desk, run_id: int) -> Path:
    """Return the folder of a run.

    Parameters
    ----------
    desk : Desk
        The desk.
    run_id : int
        Number of the run.

    Returns
    -------
    folder : Path
        In the folder of the book.
    """
    return desk.data / RUNS_FOLDER / str(run_id)


def begin_run(desk: Desk, seconds: float, from_date: date | None = None, person: str = "") -> int:
    """Begin to plan, in a process of its own.

    Parameters
    ----------
    desk : Desk
        The desk.
    seconds : float
        How long to search [s].
    from_date : date or None, default None
        First day on which anything can be done; None is today.
    person : str, default ""
        Who asks for it.

    Returns
    -------
    run_id : int
        Number of the run.

    Raises
    ------
    OutOfRangeError
        If the time makes no sense, there is no order to plan, or the day has passed.
    AlreadyPlanningError
        If a run is at it already.
    """
    if not SECONDS_LEAST <= seconds <= SECONDS_MOST:
        rule = f"between {SECONDS_LEAST:.0f} and {SECONDS_MOST:.0f} s"
        raise OutOfRangeError("seconds", rule, f"{seconds:g}")
    last = latest_run(desk)
    if last is not None and last.state is RunState.RUNNING:
        raise AlreadyPlanningError(last.id)
    with desk.book.writing() as unit:
        # Another process may have begun one since; the lock makes sure of it.
        last = unit.runs.latest()
        if last is not None and last.state is RunState.RUNNING:
            raise AlreadyPlanningError(last.id)
        today = day_in_house(unit, desk.clock())
        begins = from_date or today
        if begins < today:
            raise OutOfRangeError("first day", f"{today} or later", begins)
        loaded = loaded_of(unit, begins)
        if not any(each.latest_date >= begins for each in loaded.inputs.orders):
            rule = "such that an order is still open on it"
            raise OutOfRangeError("first day", rule, begins, "Take in orders first.")
        run_id = unit.runs.start(desk.clock(), person, begins, seconds)
        folder = run_folder(desk, run_id)
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        (folder / LEARNED_FILE).write_text(loaded.learned, encoding="utf-8")
        fill_finished(unit)
        unit.commit()
    key = (desk.data, run_id)
    try:
        future = desk.executor.submit(
            plan_in_process,
            desk.parts.make_plan,
            loaded.inputs,
            SolveParameters(seconds=seconds),
            SEED,
            str(folder),
            loaded.based_on,
            loaded.house_version,
        )
    except (RuntimeError, OSError) as error:
        _end(desk, run_id, RunState.FAILED, f"The planner could not be started: {error}.")
        return run_id
    _futures[key] = future
    future.add_done_callback(lambda _: settle(desk, run_id))
    return run_id


def latest_run(desk: Desk) -> PlanRun | None:
    """Return the last run, brought up to date.

    Parameters
    ----------
    desk : Desk
        The desk.

    Returns
    -------
    run : PlanRun or None
        The run; None before the first.
    """
    with desk.book.reading() as unit:
        run = unit.runs.latest()
    if run is None or run.state is not RunState.RUNNING:
        return run
    return settle(desk, run.id)


def run_view(desk: Desk, run_id: int) -> RunView:
    """Say how a run stands.

    Parameters
    ----------
    desk : Desk
        The desk.
    run_id : int
        Number of the run.

    Returns
    -------
    view : RunView
        What its page shows.

    Raises
    ------
    UnknownNameError
        If there is no run of that number.
    """
    run = settle(desk, run_id)
    folder = run_folder(desk, run_id)
    progress = read_progress(folder)
    running = run.state is RunState.RUNNING
    passed_s = 0.0 if progress is None else progress.seconds
    doing = ""
    if running:
        doing = DOING_WORDS.get(progress.doing, progress.doing) if progress else "Starting"
    return RunView(
        run=run,
        doing=doing,
        progress=progress,
        stopping=running and is_asked_to_stop(folder),
        done_frac=min(passed_s / run.seconds, 1.0) if running else 1.0,
    )


def stop_run(desk: Desk, run_id: int) -> PlanRun:
    """Ask a run to end with the best plan it has.

    Parameters
    ----------
    desk : Desk
        The desk.
    run_id : int
        Number of the run.

    Returns
    -------
    run : PlanRun
        The run; a run that is over stays as it is.

    Raises
    ------
    UnknownNameError
        If there is no run of that number.
    """
    run = settle(desk, run_id)
    if run.state is RunState.RUNNING:
        ask_to_stop(run_folder(desk, run_id))
    return run


def settle(desk: Desk, run_id: int) -> PlanRun:
    """Bring a run up to date: take its plan in when it is made, and see when its process is gone.

    Parameters
    ----------
    desk : Desk
        The desk.
    run_id : int
        Number of the run.

    Returns
    -------
    run : PlanRun
        The run as it stands.

    Raises
    ------
    UnknownNameError
        If there is no run of that number.
    """
    with _settling:
        with desk.book.reading() as unit:
            run = unit.runs.get(run_id)
        if run is None:
            raise UnknownNameError(str(run_id), "run of the planner")
        if run.state is not RunState.RUNNING:
            return run
        folder = run_folder(desk, run_id)
        future = _futures.get((desk.data, run_id))
        if (folder / MADE_FILE).exists():
            _take_in(desk, run, folder)
        elif future is not None and future.done():
            _end(desk, run_id, RunState.FAILED, _why(future))
        elif future is None and is_silent(folder):
            words = "The book was closed while the plan was being made; nothing of it was kept."
            _end(desk, run_id, RunState.FAILED, words)
        else:
            return run
        _futures.pop((desk.data, run_id), None)
        with desk.book.reading() as unit:
            return unit.runs.get(run_id) or run


def _take_in(desk: Desk, run: PlanRun, folder: Path) -> None:
    """Keep the plan of a run in the book, as proposed."""
    new = read_made(folder)
    if new is None:
        return
    state = RunState.STOPPED if is_asked_to_stop(folder) else RunState.DONE
    words = "Ended early with the best plan so far." if state is RunState.STOPPED else ""
    with desk.book.writing() as unit:
        now = unit.runs.get(run.id)
        if now is None or now.state is not RunState.RUNNING:
            return  # another process has taken it in
        at = desk.clock()
        plan = unit.plans.add(new, at, run.person)
        unit.learned.keep_plan(plan, _learned(folder) or NOTHING_LEARNED)
        unit.runs.end(run.id, at, state, plan, words)
        unit.commit()
    (folder / MADE_FILE).unlink(missing_ok=True)


def _learned(folder: Path) -> str:
    """Return what the house had learned when a run began; blank if nothing."""
    try:
        return (folder / LEARNED_FILE).read_text(encoding="utf-8")
    except FileNotFoundError:
        return ""


def _end(desk: Desk, run_id: int, state: RunState, words: str) -> None:
    """Write down how a run ended without a plan."""
    with desk.book.writing() as unit:
        run = unit.runs.get(run_id)
        if run is not None and run.state is RunState.RUNNING:
            unit.runs.end(run_id, desk.clock(), state, None, words)
            unit.commit()


def _why(future: Future[None]) -> str:
    """Say why a run made no plan."""
    try:
        error = future.exception()
    except CancelledError:
        return "The book was closed before the planner began."
    if error is None:
        return "The planner ended without a plan."
    if isinstance(error, SowbenchError):
        return str(error)
    if isinstance(error, BrokenProcessPool):
        return (
            "The planner's process was ended from outside, as when memory runs out. The plan of"
            " the house is as it was; plan again."
        )
    _LOG.error("The planner failed", exc_info=error)
    return f"The planner failed ({type(error).__name__}). The plan of the house is as it was."
