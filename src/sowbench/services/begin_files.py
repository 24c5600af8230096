"""Files to download when a book is begun: the invented nursery's, and blanks with one example."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from sowbench import demo
from sowbench.science.errors import UnknownNameError


@dataclass(frozen=True, slots=True)
class SampleFile:
    """A file to download.

    Attributes
    ----------
    name : str
        Its address, and its name on disk.
    label : str
        What it is.
    part : str
        What it is given for: orders, house, seed or standing.
    """

    name: str
    label: str
    part: str


_BLANK: Final = "to fill in, with one example"
_DEMO: Final = "of an invented nursery"

SAMPLES: Final = (
    SampleFile("orders.csv", _BLANK, "orders"),
    SampleFile("nursery-orders.csv", _DEMO, "orders"),
    SampleFile("house.toml", _BLANK, "house"),
    SampleFile("nursery-house.toml", _DEMO, "house"),
    SampleFile(demo.WEATHER_NAME, "the weather that the nursery names", "house"),
    SampleFile("seed.csv", _BLANK, "seed"),
    SampleFile("nursery-seed.csv", _DEMO, "seed"),
    SampleFile("standing.csv", _BLANK, "standing"),
    SampleFile("nursery-standing.csv", _DEMO, "standing"),
)
"""Every file that can be downloaded."""


def samples_for(part: str) -> tuple[SampleFile, ...]:
    """Return the files that show what one part looks like.

    Parameters
    ----------
    part : str
        orders, house, seed or standing.

    Returns
    -------
    files : tuple of SampleFile
        The blank one first.
    """
    return tuple(each for each in SAMPLES if each.part == part)


def sample(name: str) -> bytes:
    """Return the content of a file to download.

    Parameters
    ----------
    name : str
        One of `SAMPLES`.

    Returns
    -------
    content : bytes
        The file.

    Raises
    ------
    UnknownNameError
        If there is no such file.
    InputFileError
        If the demo's weather is not installed.
    """
    names = [each.name for each in SAMPLES]
    if name not in names:
        raise UnknownNameError.among(name, "sample file", names)
    return _path(name).read_bytes()


def _path(name: str) -> Path:
    """Return where a file to download lies."""
    if name == demo.WEATHER_NAME:
        return demo.weather_file()
    if name.startswith("nursery-"):
        return demo.nursery_folder() / name.removeprefix("nursery-")
    return demo.blank_folder() / name
