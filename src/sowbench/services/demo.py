"""The demo: lay out the invented nursery's files, plan them, check the plan."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sowbench.demo import DEMO_FROM_DATE, WEATHER_SOURCE
from sowbench.demo.prepare import copy_nursery, copy_windowsill
from sowbench.services.check import CheckOutcome, check_loaded
from sowbench.services.inputs import InputFiles, load_inputs
from sowbench.services.plan import PlanOutcome, check_folder, plan_loaded

if TYPE_CHECKING:
    from sowbench.planning.parameters import SolveParameters
    from sowbench.services.parts import Parts, Progress

INPUT_FOLDER = "inputs"


@dataclass(frozen=True, slots=True)
class DemoOutcome:
    """The demo's plan and its check, with the files that both came from."""

    planned: PlanOutcome
    checked: CheckOutcome
    files: InputFiles
    weather_source: str


def run_demo(
    out: str | Path,
    parameters: SolveParameters,
    seed: int,
    parts: Parts,
    progress: Progress | None = None,
    *,
    windowsill: bool = False,
) -> DemoOutcome:
    """Plan and check the demo.

    Parameters
    ----------
    out : str or Path
        Folder of the plan; its inputs are laid out in a folder within.
    parameters : SolveParameters
        How to search.
    seed : int
        Seed of the search.
    parts : Parts
        Planner, checker, picture.
    progress : callable or None, default None
        Told how far the search is.
    windowsill : bool, default False
        Whether it is the windowsill's twelve tomatoes in place of the nursery.

    Returns
    -------
    outcome : DemoOutcome
        Plan, check and files.
    """
    check_folder(out)
    folder = Path(out) / INPUT_FOLDER
    if windowsill:
        files = InputFiles(orders=copy_windowsill(folder) / "orders.csv")
    else:
        copy_nursery(folder)
        files = InputFiles(
            orders=folder / "orders.csv",
            house=folder / "house.toml",
            seed=folder / "seed.csv",
            standing=folder / "standing.csv",
            pins=folder / "pins.csv",
        )
    loaded = load_inputs(files, DEMO_FROM_DATE)
    planned = plan_loaded(loaded, parameters, seed, out, parts, progress)
    plan_file = str(Path(out) / "plan.json")
    checked = check_loaded(planned.plan, loaded, parts, plan_file)
    return DemoOutcome(planned, checked, files, "" if windowsill else WEATHER_SOURCE)
