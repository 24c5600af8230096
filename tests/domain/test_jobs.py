"""Keys of planned jobs."""

from datetime import date

from sowbench.domain.jobs import job_keys
from sowbench.domain.plan import Task


def test_jobs_that_share_day_task_sowing_and_place_are_numbered():
    move = Task(date(2027, 3, 9), "move", "S-1", "warm bench", 2.0)
    other = Task(date(2027, 3, 9), "move", "S-2", "warm bench", 2.0)
    assert job_keys([move, other, move]) == [
        "2027-03-09/move/S-1/warm bench",
        "2027-03-09/move/S-2/warm bench",
        "2027-03-09/move/S-1/warm bench/2",
    ]
