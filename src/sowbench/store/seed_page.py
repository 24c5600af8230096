"""What the seed pages read."""

from __future__ import annotations

from sowbench.store.repository import Repository


class SeedPage(Repository):
    """Reads for the seed pages; see domain.ports.seed_page."""
