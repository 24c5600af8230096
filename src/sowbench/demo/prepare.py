"""Copy the demo out of the package, so that it lies in plain files to look at and start from."""

from __future__ import annotations

from pathlib import Path

from sowbench.demo import nursery_folder, weather_file, windowsill_folder
from sowbench.science.errors import InputFileError, Problem

__all__ = ["copy_nursery", "copy_windowsill"]


def copy_nursery(folder: str | Path) -> Path:
    """Copy the nursery's files and its weather into a folder.

    Parameters
    ----------
    folder : str or Path
        Folder to fill; made if it is not there. Files of the same names are replaced, others are
        not touched.

    Returns
    -------
    folder : Path
        The folder, with house.toml, the CSV files, README.md and the weather file that
        house.toml names.

    Raises
    ------
    InputFileError
        If the weather file is not installed, or the folder cannot be written; nothing is copied
        then, or only part of it where the disk gives up midway.
    """
    sources = [*_plain_files(nursery_folder()), weather_file()]
    return _copy(sources, Path(folder))


def copy_windowsill(folder: str | Path) -> Path:
    """Copy the windowsill's orders into a folder.

    Parameters
    ----------
    folder : str or Path
        Folder to fill; made if it is not there.

    Returns
    -------
    folder : Path
        The folder, with orders.csv.

    Raises
    ------
    InputFileError
        If the folder cannot be written.
    """
    return _copy(_plain_files(windowsill_folder()), Path(folder))


def _plain_files(folder: Path) -> list[Path]:
    """List the files a person is meant to see, by name."""
    kinds = {".csv", ".toml", ".md"}
    return sorted(each for each in folder.iterdir() if each.suffix in kinds)


def _copy(sources: list[Path], folder: Path) -> Path:
    """Copy files by content; rights and times are those of new files."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for source in sources:
            (folder / source.name).write_bytes(source.read_bytes())
    except OSError as error:
        message = f"The demo cannot be copied there ({error.strerror}); name a folder to write to."
        raise InputFileError([Problem(str(folder), None, None, None, message)]) from error
    return folder
