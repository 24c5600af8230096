"""What the orders pages read."""

from __future__ import annotations

from sowbench.store.repository import Repository


class OrdersPage(Repository):
    """Reads for the orders pages; see domain.ports.orders_page."""
