"""The demo: the invented nursery's files, laid out to be planned, looked at and changed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

from sowbench.demo import DEMO_FROM_DATE, WEATHER_SOURCE
from sowbench.demo.prepare import copy_nursery, copy_windowsill
from sowbench.services.inputs import InputFiles
from sowbench.services.plan import check_folder

INPUT_FOLDER: Final = "inputs"


@dataclass(frozen=True, slots=True)
class DemoFiles:
    """The demo's files where they were laid out, and where its weather comes from."""

    files: InputFiles
    from_date: date
    weather_source: str


def lay_out_demo(out: str | Path, *, windowsill: bool = False) -> DemoFiles:
    """Lay out the demo's files in the folder of its plan.

    Parameters
    ----------
    out : str or Path
        Folder of the plan; the files go to a folder within.
    windowsill : bool, default False
        Whether it is the windowsill's twelve tomatoes in place of the nursery.

    Returns
    -------
    demo : DemoFiles
        The files, ready to be planned.

    Raises
    ------
    InputFileError
        If the folder cannot be written, or the weather is not installed.
    """
    check_folder(out)
    folder = Path(out) / INPUT_FOLDER
    if windowsill:
        files = InputFiles(orders=copy_windowsill(folder) / "orders.csv")
        return DemoFiles(files, DEMO_FROM_DATE, "")
    copy_nursery(folder)
    files = InputFiles(
        orders=folder / "orders.csv",
        house=folder / "house.toml",
        seed=folder / "seed.csv",
        standing=folder / "standing.csv",
        pins=folder / "pins.csv",
    )
    return DemoFiles(files, DEMO_FROM_DATE, WEATHER_SOURCE)
