"""What a plan was made from: its files by name and content, kept beside it."""

from __future__ import annotations

import hashlib
import os
from dataclasses import fields
from datetime import date
from pathlib import Path
from typing import Final

import msgspec

from sowbench.science.errors import InputFileError, Problem
from sowbench.services.inputs import InputFiles

FILE_NAME: Final = "made-from.json"
_FORMAT: Final = "sowbench-made-from/1"


class _Source(msgspec.Struct, frozen=True):
    """One file: its path from the plan's folder, and the hash of its content."""

    path: str
    sha256: str


class _MadeFrom(msgspec.Struct, frozen=True):
    """Everything that made-from.json holds."""

    format: str
    from_date: date
    files: dict[str, _Source]


def record_of(files: InputFiles, from_date: date, folder: str | Path) -> bytes:
    """Write down what a plan is made from.

    Parameters
    ----------
    files : InputFiles
        The files.
    from_date : date
        First day of the plan.
    folder : str or Path
        Folder of the plan, from which the paths lead to the files.

    Returns
    -------
    data : bytes
        Content of made-from.json.
    """
    found = {}
    for each in fields(files):
        path = getattr(files, each.name)
        if path is not None:
            relative = os.path.relpath(Path(path).absolute(), Path(folder).absolute())
            found[each.name] = _Source(Path(relative).as_posix(), _hash_of(Path(path)))
    record = _MadeFrom(_FORMAT, from_date, found)
    return msgspec.json.format(msgspec.json.encode(record), indent=2) + b"\n"


def read_record(plan: str | Path) -> tuple[InputFiles, tuple[str, ...]]:
    """Find the files that a plan was made from.

    Parameters
    ----------
    plan : str or Path
        plan.json or its folder.

    Returns
    -------
    files : InputFiles
        The files, where they were.
    notes : tuple of str
        Which of them have changed since.

    Raises
    ------
    InputFileError
        If it is not written down, or not readably.
    """
    folder = Path(plan) if Path(plan).is_dir() else Path(plan).parent
    path = folder / FILE_NAME
    try:
        record = msgspec.json.decode(path.read_bytes(), type=_MadeFrom)
        files = InputFiles(
            **{name: os.path.normpath(folder / each.path) for name, each in record.files.items()}
        )
    except (OSError, msgspec.MsgspecError, TypeError) as error:
        message = "It is not known what this plan was made from; give its files, --orders first."
        raise InputFileError([Problem(str(path), None, None, None, message)]) from error
    notes = tuple(
        f"{Path(each.path).name} is not as it was when the plan was made."
        for each in record.files.values()
        if _hash_of(Path(folder / each.path)) != each.sha256
    )
    return files, notes


def _hash_of(path: Path) -> str:
    """Return the hash of a file; of a folder that of its plan.json; blank if there is none."""
    path = path / "plan.json" if path.is_dir() else path
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""
