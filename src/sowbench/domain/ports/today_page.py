"""What the page of a day's work reads; a fixed number of queries a page."""

from __future__ import annotations

from typing import Protocol


class TodayPage(Protocol):
    """What the page of a day's work reads."""
