"""What the page of the season reads; a fixed number of queries a page."""

from __future__ import annotations

from typing import Protocol


class SeasonPage(Protocol):
    """What the page of the season reads."""
