"""The journal: entries are added, never changed, and what they are about is followed anew."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, datetime
from typing import Final

from sqlalchemy import ColumnElement, func, literal_column, select

from sowbench.domain.book import Added, Kept, Taken
from sowbench.domain.journal import Entry
from sowbench.store import derive, tables
from sowbench.store.bulk import insert_rows
from sowbench.store.entry_notes import notes_after, what_is_known
from sowbench.store.entry_rows import (
    FIELDS,
    entry_of,
    entry_row,
    kept_of,
    kept_rows,
    standing_entries,
)
from sowbench.store.repository import Repository, in_parts

entry = tables.entry
_BLANK: Final[ColumnElement[str]] = literal_column("''")


class Journal(Repository):
    """What happened, and the state that follows from it; see domain.ports.journal."""

    def add(self, entries: Sequence[Entry], received_at: datetime) -> list[Added]:
        """Add entries and bring the state of what they are about up to date.

        Parameters
        ----------
        entries : sequence of Entry
            Entries, in the order in which they were written.
        received_at : datetime
            Instant at which they arrived.

        Returns
        -------
        added : list of Added
            What became of each, in the same order.

        Raises
        ------
        OutOfRangeError
            If an entry has no id, or holds what a database cannot.
        """
        held = self._held({each.id for each in entries})
        new: dict[str, Entry] = {}
        states: list[Taken] = []
        for each in entries:
            before = held.get(each.id) or new.get(each.id)
            if before is None:
                new[each.id] = each
                states.append(Taken.TAKEN)
            else:
                states.append(Taken.KNOWN if before == each else Taken.CLASH)
        notes: dict[str, tuple[str, ...]] = {}
        if new:
            notes = self._take(list(new.values()), received_at)
        return [
            Added(each.id, state, notes.get(each.id, ()) if state is Taken.TAKEN else ())
            for each, state in zip(entries, states, strict=True)
        ]

    def _take(self, new: list[Entry], received_at: datetime) -> dict[str, tuple[str, ...]]:
        """Write new entries, and follow what they are about."""
        rows = [entry_row(each, received_at) for each in new]
        known = what_is_known(self._connection, new)
        names = list(rows[0])
        insert_rows(self._connection, entry, names, [tuple(each.values()) for each in rows])
        struck = self._held({each.corrects for each in new if each.corrects})
        touched = [*new, *struck.values()]
        lives = derive.follow_sowings(self._connection, {each.sowing for each in touched})
        derive.follow_jobs(self._connection, {each.job for each in touched})
        derive.follow_loose_deliveries(
            self._connection, {each.id for each in touched if not each.sowing}
        )
        return notes_after(new, known, struck, lives)

    def _held(self, ids: Collection[str]) -> dict[str, Entry]:
        """Return the entries that have these ids."""
        held = {}
        for part in in_parts(ids):
            for row in self._connection.execute(select(*FIELDS).where(entry.c.id.in_(part))):
                one = entry_of(row)
                held[one.id] = one
        return held

    def get(self, entry_id: str) -> Kept | None:
        """Return one entry; None if there is none of that id.

        Parameters
        ----------
        entry_id : str
            Its id.

        Returns
        -------
        kept : Kept or None
            The entry as the journal holds it.
        """
        row = self._connection.execute(kept_rows().where(entry.c.id == entry_id)).first()
        return None if row is None else kept_of(row)

    def of_sowing(self, sowing: str) -> list[Kept]:
        """Return the entries about a sowing in the order of arrival, struck ones too.

        Parameters
        ----------
        sowing : str
            Its name.

        Returns
        -------
        entries : list of Kept
            The entries.
        """
        query = kept_rows().where(entry.c.sowing == sowing).order_by(entry.c.seq)
        return [kept_of(row) for row in self._connection.execute(query)]

    def of_lot(self, lot: str, limit: int, before_seq: int | None = None) -> list[Kept]:
        """Return the last entries that are about a seed lot and no sowing, the newest first.

        Parameters
        ----------
        lot : str
            Its name.
        limit : int
            How many at most.
        before_seq : int or None, default None
            Only those that arrived before this one.

        Returns
        -------
        entries : list of Kept
            The entries, such as tests of its seed.
        """
        # That the lot is not blank is said as such, so that the index of lots serves.
        query = kept_rows().where(entry.c.lot == lot, entry.c.lot != _BLANK, entry.c.sowing == "")
        query = query.order_by(entry.c.seq.desc()).limit(limit)
        if before_seq is not None:
            query = query.where(entry.c.seq < before_seq)
        return [kept_of(row) for row in self._connection.execute(query)]

    def on_day(self, day: date) -> list[Kept]:
        """Return the entries of a day in the house.

        Parameters
        ----------
        day : date
            The day.

        Returns
        -------
        entries : list of Kept
            The entries in the order of arrival.
        """
        query = kept_rows().where(entry.c.day_date == day).order_by(entry.c.seq)
        return [kept_of(row) for row in self._connection.execute(query)]

    def latest(self, limit: int, before_seq: int | None = None) -> list[Kept]:
        """Return the last entries that arrived, the newest first.

        Parameters
        ----------
        limit : int
            How many at most.
        before_seq : int or None, default None
            Only those that arrived before this one.

        Returns
        -------
        entries : list of Kept
            The entries.
        """
        query = kept_rows().order_by(entry.c.seq.desc()).limit(limit)
        if before_seq is not None:
            query = query.where(entry.c.seq < before_seq)
        return [kept_of(row) for row in self._connection.execute(query)]

    def that_stand(self, sowings: Collection[str] | None = None) -> list[Entry]:
        """Return the entries that no correction strikes.

        Parameters
        ----------
        sowings : collection of str or None, default None
            Only those about these sowings; None is every entry.

        Returns
        -------
        entries : list of Entry
            The entries of each sowing in the order of arrival; one that replaces another stands in
            its place.
        """
        if sowings is None:
            return standing_entries(self._connection)
        return [
            each
            for part in in_parts(sorted(set(sowings)))
            for each in standing_entries(self._connection, part)
        ]

    def n_entries(self) -> int:
        """Return how many entries there are.

        Returns
        -------
        n_entries : int
            All of them, struck ones too.
        """
        query = select(func.count()).select_from(entry)
        return self._connection.execute(query).scalar_one()

    def rebuild(self) -> int:
        """Make all derived state anew from the entries.

        Returns
        -------
        n_sowings : int
            Number of sowings followed.
        """
        return derive.rebuild(self._connection)
