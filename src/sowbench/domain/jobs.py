"""Planned jobs: the key by which one is ticked off."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from sowbench.domain.plan import Task

_LIKE_A_TRAY: Final = re.compile(r".*/(?:trays/[0-9]+)?/*")


def reads_as_tray(sowing: str) -> bool:
    """Tell whether the name of a sowing would be taken for the address of one of its trays.

    Parameters
    ----------
    sowing : str
        The name.

    Returns
    -------
    is_so : bool
        True if it ends in "/", or in "/trays/" and a number: no page could be reached by it.

    Examples
    --------
    >>> reads_as_tray("leek 03-09/a"), reads_as_tray("leek/"), reads_as_tray("leek/trays/3")
    (False, True, True)
    """
    return _LIKE_A_TRAY.fullmatch(sowing) is not None


def job_keys(tasks: Iterable[Task]) -> list[str]:
    """Return the key of each task of a plan.

    Parameters
    ----------
    tasks : iterable of Task
        Tasks of a plan, in its order.

    Returns
    -------
    keys : list of str
        ``DATE/task/sowing/place``; where several share one, the later are numbered from 2.
    """
    keys = []
    used: dict[str, int] = {}
    for task in tasks:
        stem = f"{task.date}/{task.task}/{task.sowing}/{task.place}"
        used[stem] = used.get(stem, 0) + 1
        keys.append(stem if used[stem] == 1 else f"{stem}/{used[stem]}")
    return keys
