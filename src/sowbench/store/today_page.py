"""What the today pages read."""

from __future__ import annotations

from sowbench.store.repository import Repository


class TodayPage(Repository):
    """Reads for the today pages; see domain.ports.today_page."""
