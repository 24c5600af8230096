import os
from concurrent.futures.process import BrokenProcessPool

import pytest

from sowbench.services.workers import Workers


def test_work_is_done_in_another_process():
    workers = Workers(1)
    assert workers.submit(os.getpid).result(60) != os.getpid()
    assert workers.submit(pow, 2, exp=5).result(60) == 32
    workers.shutdown()


def test_nothing_is_started_without_work():
    workers = Workers()
    assert workers._pool is None
    workers.shutdown()
    workers.shutdown(wait=False)


def test_work_after_the_end_is_refused():
    workers = Workers()
    workers.shutdown()
    with pytest.raises(RuntimeError, match="after the book was closed"):
        workers.submit(os.getpid)


def test_a_process_that_dies_does_not_end_the_work_after_it():
    workers = Workers(1)
    with pytest.raises(BrokenProcessPool):
        workers.submit(os._exit, 3).result(60)
    assert workers.submit(pow, 2, 3).result(60) == 8
    workers.shutdown()


def test_the_end_breaks_off_what_is_being_done():
    import time

    workers = Workers(1)
    workers.submit(pow, 2, 3).result(60)
    assert workers._pool is not None
    (process,) = workers._pool._processes.values()
    workers.submit(time.sleep, 600)
    workers.shutdown(wait=False, cancel_futures=True)
    assert process.exitcode is not None
