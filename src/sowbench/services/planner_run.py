"""A run of the planner in a process of its own; it and the pages talk by files in one folder.

`progress.json` says how far the search is, `beat` is touched while the process lives, `stop` is
put there to end the search, and `made.json` is the plan, kept until the book has it.
"""

from __future__ import annotations

import logging
import math
import os
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import msgspec

from sowbench.domain.book import NewPlan
from sowbench.exchange.files import write_atomically
from sowbench.services.kept_plan import new_plan_of

if TYPE_CHECKING:
    from sowbench.planning.inputs import PlanInputs
    from sowbench.planning.parameters import SolveParameters
    from sowbench.services.parts import Planner

_LOG: Final = logging.getLogger(__name__)

PROGRESS_FILE: Final = "progress.json"
BEAT_FILE: Final = "beat"
STOP_FILE: Final = "stop"
MADE_FILE: Final = "made.json"

BEAT_S: Final = 1.0
"""A living run touches its beat so often [s]; our choice."""

SILENT_S: Final = 30.0
"""A run that has not been heard of for so long is over [s]; our choice."""

_WRITE_LEAST_S: Final = 0.3


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a search is.

    Attributes
    ----------
    doing : str
        "lay out", "bound", "search" or "write".
    seconds : float
        Time since the search began [s].
    cost, bound : float or None
        Cost of the best plan so far, and how cheap a plan can be at best; None while unknown.
    """

    doing: str
    seconds: float
    cost: float | None = None
    bound: float | None = None

    @property
    def gap_frac(self) -> float | None:
        """Share of the cost that may still be saved; None while unknown."""
        if self.cost is None or self.bound is None or self.cost <= 0:
            return None
        return max(1.0 - self.bound / self.cost, 0.0)


def plan_in_process(
    make_plan: Planner,
    inputs: PlanInputs,
    parameters: SolveParameters,
    seed: int,
    folder: str,
    based_on: int | None,
    house_version: int | None,
) -> None:
    """Plan, telling of the progress in files; the plan itself is left as a file too.

    Parameters
    ----------
    make_plan : Planner
        The planner.
    inputs : PlanInputs
        What to plan.
    parameters : SolveParameters
        How to search.
    seed : int
        Where the search starts.
    folder : str
        Folder of the run.
    based_on, house_version : int or None
        The plan that is kept to, and the version of the house.
    """
    run = Path(folder)
    with _beating(run):
        tell = _Teller(run)
        tell.write("lay out", math.nan, math.nan)
        made = make_plan(inputs, parameters, seed, tell)
        tell.write("write", made.plan.bound, made.plan.cost)
        new = new_plan_of(made, inputs, based_on, house_version)
        write_atomically(run / MADE_FILE, msgspec.json.encode(new, enc_hook=_plain))


def read_made(folder: Path) -> NewPlan | None:
    """Return the plan that a run has made.

    Parameters
    ----------
    folder : Path
        Folder of the run.

    Returns
    -------
    new : NewPlan or None
        The plan; None if it is not done.
    """
    try:
        data = (folder / MADE_FILE).read_bytes()
    except FileNotFoundError:
        return None
    return msgspec.json.decode(data, type=NewPlan)


def read_progress(folder: Path) -> Progress | None:
    """Return how far a run is.

    Parameters
    ----------
    folder : Path
        Folder of the run.

    Returns
    -------
    progress : Progress or None
        What was told last; None before anything was.
    """
    try:
        return msgspec.json.decode((folder / PROGRESS_FILE).read_bytes(), type=Progress)
    except (FileNotFoundError, msgspec.MsgspecError):
        return None


def ask_to_stop(folder: Path) -> None:
    """Ask a run to end with the best plan it has.

    Parameters
    ----------
    folder : Path
        Folder of the run.
    """
    folder.mkdir(parents=True, exist_ok=True)
    (folder / STOP_FILE).touch()


def is_asked_to_stop(folder: Path) -> bool:
    """Tell whether a run was asked to end.

    Parameters
    ----------
    folder : Path
        Folder of the run.

    Returns
    -------
    asked : bool
        Whether it was.
    """
    return (folder / STOP_FILE).exists()


def is_silent(folder: Path, now_s: float | None = None) -> bool:
    """Tell whether nothing has been heard of a run for too long.

    Parameters
    ----------
    folder : Path
        Folder of the run.
    now_s : float or None, default None
        Instant in seconds of the system's clock [s]; None is now.

    Returns
    -------
    silent : bool
        Whether its process must be gone.
    """
    now_s = time.time() if now_s is None else now_s
    heard = []
    for each in (folder / BEAT_FILE, folder):
        try:
            heard.append(each.stat().st_mtime)
        except FileNotFoundError:
            continue
    return not heard or now_s - max(heard) > SILENT_S


class _Teller:
    """Writes down how far a search is, and ends it when asked to."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._began_s = time.monotonic()
        self._told_s = -math.inf

    def __call__(self, doing: str, bound: float, cost: float) -> bool:
        """Tell how far the search is; true ends it."""
        if time.monotonic() - self._told_s >= _WRITE_LEAST_S:
            self.write(doing, bound, cost)
        return is_asked_to_stop(self._folder)

    def write(self, doing: str, bound: float, cost: float) -> None:
        """Write it down; a page that cannot be told is no reason to end a search."""
        self._told_s = time.monotonic()
        known = Progress(
            doing,
            round(self._told_s - self._began_s, 1),
            _known(cost),
            _known(bound),
        )
        try:
            path = self._folder / PROGRESS_FILE
            fresh = path.with_suffix(".new")
            fresh.write_bytes(msgspec.json.encode(known))
            os.replace(fresh, path)  # noqa: PTH105 - one step on every system
        except OSError as error:
            _LOG.warning("The progress of a run could not be written: %s", error)


def _known(value: float) -> float | None:
    """Return a number that is known; the planner says 0, infinite or not a number before."""
    return float(value) if math.isfinite(value) and value > 0 else None


@contextmanager
def _beating(folder: Path) -> Iterator[None]:
    """Touch the beat of a run as long as it lives."""
    folder.mkdir(parents=True, exist_ok=True)
    over = threading.Event()

    def beat() -> None:
        while True:
            try:
                (folder / BEAT_FILE).touch()
            except OSError as error:
                _LOG.warning("The beat of a run could not be written: %s", error)
            if over.wait(BEAT_S):
                return

    thread = threading.Thread(target=beat, name="beat", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def _plain(value: Any) -> Any:
    """Turn a number of numpy into a plain one, for JSON."""
    item = getattr(value, "item", None)
    if item is None:
        raise TypeError(f"a plan must hold numbers, text and days; got {type(value).__name__}")
    return item()
