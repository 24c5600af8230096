"""What the pages of seed and supplies read; a fixed number of queries a page."""

from __future__ import annotations

from typing import Protocol


class SeedPage(Protocol):
    """What the pages of seed and supplies read."""
