"""What the pages of the orders read; a fixed number of queries a page."""

from __future__ import annotations

from typing import Protocol


class OrdersPage(Protocol):
    """What the pages of the orders read."""
