"""Writing that leaves the old file, or the old folder, as it was if anything goes wrong."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path


def write_atomically(path: Path, data: bytes) -> None:
    """Write a file beside its place, flush it to the disk, and rename it into place.

    Parameters
    ----------
    path : Path
        File to write; an older one is replaced in one step.
    data : bytes
        Its content.

    Raises
    ------
    OSError
        If it cannot be written; an older file is untouched then.
    """
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".new", dir=path.parent)
    fresh = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        # mkstemp lets only the owner read; the file gets the rights any new file would.
        fresh.chmod(_plain_mode())
        fresh.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            fresh.unlink()
        raise
    _flush_folder(path.parent)


def write_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write several files of one folder so that either all are new or all are as they were.

    Every file is written to a folder beside it first. Only then are old files set aside and new
    ones renamed into place; if a rename fails, what was set aside goes back. Other files of the
    folder are not touched.

    Parameters
    ----------
    folder : Path
        Folder to write to; made if it is not there.
    files : mapping of str to bytes
        Content by file name.

    Raises
    ------
    OSError
        If anything cannot be written; the folder is as it was then.
    """
    folder = folder.absolute()
    folder.parent.mkdir(parents=True, exist_ok=True)
    beside = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", suffix=".new", dir=folder.parent))
    try:
        fresh = beside / "new"
        fresh.mkdir()
        for name, data in files.items():
            with (fresh / name).open("wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
        if folder.exists():
            _swap(folder, fresh, beside / "old", list(files))
        else:
            fresh.replace(folder)
        _flush_folder(folder.parent)
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _swap(folder: Path, fresh: Path, old: Path, names: list[str]) -> None:
    """Rename new files into place, and put the old ones back if one will not go."""
    old.mkdir()
    aside: list[str] = []
    placed: list[str] = []
    try:
        for name in names:
            if (folder / name).exists():
                (folder / name).replace(old / name)
                aside.append(name)
            (fresh / name).replace(folder / name)
            placed.append(name)
    except BaseException:
        for name in placed:
            with contextlib.suppress(OSError):
                (folder / name).unlink()
        for name in aside:
            (old / name).replace(folder / name)
        raise
    _flush_folder(folder)


def _plain_mode() -> int:
    """Return the rights of a new file under the current mask."""
    mask = os.umask(0o022)
    os.umask(mask)
    return 0o666 & ~mask


def _flush_folder(folder: Path) -> None:
    """Flush a rename to the disk where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
