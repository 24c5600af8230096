"""Planned jobs: the key by which one is ticked off."""

from __future__ import annotations

from collections.abc import Iterable

from sowbench.domain.plan import Task


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
