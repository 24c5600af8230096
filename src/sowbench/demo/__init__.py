"""The invented nursery that shows the whole job, and the windowsill that shows the least of it."""

from __future__ import annotations

from datetime import date
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from sowbench.science.errors import InputFileError, Problem

__all__ = [
    "DEMO_FROM_DATE",
    "WEATHER_NAME",
    "WEATHER_SOURCE",
    "blank_folder",
    "nursery_folder",
    "weather_file",
    "windowsill_folder",
]

DEMO_FROM_DATE: Final = date(2027, 1, 4)
"""Day from which the nursery plans, a Monday."""

WEATHER_NAME: Final = "723170TYA.CSV"
WEATHER_SOURCE: Final = (
    "typical meteorological year (TMY3) of station 723170, National Renewable Energy Laboratory;"
    ' S. Wilcox and W. Marion, "Users Manual for TMY3 Data Sets", NREL/TP-581-43156, 2008; the'
    " file comes with pvlib"
)


def nursery_folder() -> Path:
    """Return the folder of the nursery's files, without the weather.

    Returns
    -------
    folder : Path
        Holds house.toml, orders.csv, seed.csv, standing.csv, pins.csv and README.md.
    """
    return Path(__file__).parent / "nursery"


def blank_folder() -> Path:
    """Return the folder of the files to fill in, each with one example.

    Returns
    -------
    folder : Path
        Holds house.toml, orders.csv, seed.csv and standing.csv.
    """
    return Path(__file__).parent / "blank"


def windowsill_folder() -> Path:
    """Return the folder of the windowsill: orders.csv and nothing else.

    Returns
    -------
    folder : Path
        Holds orders.csv.
    """
    return Path(__file__).parent / "windowsill"


def weather_file() -> Path:
    """Find the typical year that pvlib ships, without importing pvlib.

    Returns
    -------
    file : Path
        The TMY3 file, see `WEATHER_SOURCE`.

    Raises
    ------
    InputFileError
        If pvlib is not installed or no longer ships the file.
    """
    # find_spec looks a package up without running it; importlib.resources would import it.
    spec = find_spec("pvlib")
    folders = [] if spec is None else list(spec.submodule_search_locations or ())
    for folder in folders:
        file = Path(folder) / "data" / WEATHER_NAME
        if file.is_file():
            return file
    rule = "The demo's weather must come with pvlib; install pvlib, version 0.12 or later."
    raise InputFileError([Problem(WEATHER_NAME, None, None, ", ".join(folders) or None, rule)])
