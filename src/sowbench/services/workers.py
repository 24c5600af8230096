"""Processes for heavy work, begun when the first work comes and ended with the desk."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Executor, Future
from concurrent.futures.process import BrokenProcessPool, ProcessPoolExecutor
from multiprocessing import get_context
from typing import Final, ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")

N_WORKERS: Final = 2
"""Processes at most: a run of the planner, and one thing beside it; our choice."""


class Workers(Executor):
    """Runs work in processes of its own, started anew (spawned) when there is work.

    A process that died, as when memory ran out, fails the work it had; the next work begins in
    new ones.

    Parameters
    ----------
    n_workers : int, default N_WORKERS
        Processes at most.
    """

    def __init__(self, n_workers: int = N_WORKERS) -> None:
        self._n_workers = n_workers
        self._lock = threading.Lock()
        self._pool: ProcessPoolExecutor | None = None
        self._closed = False

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Have work done.

        Parameters
        ----------
        fn : callable
            What to do; a function of a module, so that another process finds it.
        *args, **kwargs
            Its arguments.

        Returns
        -------
        future : Future
            What comes of it.

        Raises
        ------
        RuntimeError
            If the desk is closed already.
        """
        with self._lock:
            if self._closed:
                raise RuntimeError("no work can begin after the book was closed.")
            try:
                return self._begun().submit(fn, *args, **kwargs)
            except BrokenProcessPool:
                self._end_pool()
                return self._begun().submit(fn, *args, **kwargs)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:  # noqa: FBT001, FBT002 - as Executor has it
        """End the processes.

        Parameters
        ----------
        wait : bool, default True
            Wait for what is being done; otherwise it is broken off.
        cancel_futures : bool, default False
            Leave out what has not begun.
        """
        with self._lock:
            self._closed = True
            pool, self._pool = self._pool, None
        if pool is None:
            return
        processes = [] if wait else list((vars(pool).get("_processes") or {}).values())
        pool.shutdown(wait=wait, cancel_futures=cancel_futures)
        for each in processes:
            each.terminate()
        for each in processes:
            each.join()

    def _begun(self) -> ProcessPoolExecutor:
        """Return the pool, made now if there is none."""
        if self._pool is None:
            self._pool = ProcessPoolExecutor(self._n_workers, mp_context=get_context("spawn"))
        return self._pool

    def _end_pool(self) -> None:
        """Let go of a pool that is broken."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None
