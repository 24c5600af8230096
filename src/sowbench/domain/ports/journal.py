"""The journal: entries are added, never changed."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, datetime
from typing import Protocol

from sowbench.domain.book import Added, Kept
from sowbench.domain.journal import Entry


class Journal(Protocol):
    """What happened, and the state that follows from it."""

    def add(self, entries: Sequence[Entry], received_at: datetime) -> list[Added]:
        """Add entries and bring the state of what they are about up to date.

        An id that is held with the same content is known already and counts once; with other
        content it is a clash, and the entry is not added.
        """

    def get(self, entry_id: str) -> Kept | None:
        """Return one entry; None if there is none of that id."""

    def of_sowing(self, sowing: str) -> list[Kept]:
        """Return the entries about a sowing in the order of arrival, struck ones too."""

    def of_lot(self, lot: str, limit: int, before_seq: int | None = None) -> list[Kept]:
        """Return the last entries about a seed lot and no sowing, the newest first."""

    def on_day(self, day: date) -> list[Kept]:
        """Return the entries of a day in the house."""

    def latest(self, limit: int, before_seq: int | None = None) -> list[Kept]:
        """Return the last entries that arrived, the newest first."""

    def that_stand(self, sowings: Collection[str] | None = None) -> list[Entry]:
        """Return the entries that no correction strikes.

        Those of a sowing are in the order of arrival; what replaces another stands in its place.
        """

    def n_entries(self) -> int:
        """Return how many entries there are."""

    def rebuild(self) -> int:
        """Make all derived state anew from the entries; return the number of sowings."""
