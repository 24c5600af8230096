"""Names of the readings of an entry that the house learns from."""

from typing import Final

__all__ = ["MINUTES_WORKED", "READY"]

MINUTES_WORKED: Final = "minutes_worked"
"""Value of an entry that ticks off a job: minutes that it took."""

READY: Final = "ready"
"""Value of a noted, graded or read entry: 1 where plants were seen fit to hand over, 0 not yet."""
