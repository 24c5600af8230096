"""What the pages of the sowings read; a fixed number of queries a page."""

from __future__ import annotations

from typing import Protocol


class SowingsPage(Protocol):
    """What the pages of the sowings read."""
