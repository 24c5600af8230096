"""The order's risk."""

from __future__ import annotations

from sowbench.science.ready_chance import Screened, screen_in_time

__all__ = ["Screened", "screen_in_time"]
