"""What the sowings pages read."""

from __future__ import annotations

from sowbench.store.repository import Repository


class SowingsPage(Repository):
    """Reads for the sowings pages; see domain.ports.sowings_page."""
