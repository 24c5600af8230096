"""What the season pages read."""

from __future__ import annotations

from sowbench.store.repository import Repository


class SeasonPage(Repository):
    """Reads for the season pages; see domain.ports.season_page."""
