"""Seed lots, standing sowings and pins, with every change of one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final

from sqlalchemy import Table, bindparam, delete, func, insert, select, update

from sowbench.domain.book import Change
from sowbench.domain.records import Pin, SeedLot, Standing
from sowbench.store import derive, tables
from sowbench.store.bodies import body_of, lot_of, pin_of, standing_of
from sowbench.store.changes import history, write_changes
from sowbench.store.repository import Repository, in_parts

LOT_SUBJECT: Final = "lot"
STANDING_SUBJECT: Final = "standing"
PIN_SUBJECT: Final = "pin"


class _Bodies(Repository):
    """Keeps records as JSON by name, each change with what was before."""

    _table: Table
    _key: str
    _subject: str

    def _bodies(self, names: Sequence[str]) -> dict[str, str]:
        """Return the records of these names as they are kept."""
        key, body = self._table.c[self._key], self._table.c.body
        found: dict[str, str] = {}
        for part in in_parts(names):
            rows = self._connection.execute(select(key, body).where(key.in_(part)))
            found |= {row[0]: row[1] for row in rows}
        return found

    def _in_order(self) -> list[str]:
        """Return every record as it is kept, in file order."""
        query = select(self._table.c.body).order_by(self._table.c.position)
        return list(self._connection.execute(query).scalars())

    def _put_rows(
        self, rows: Mapping[str, dict[str, Any]], at: datetime, person: str, reason: str
    ) -> list[str]:
        """Add new rows, change known ones; return the names of those that were not so already."""
        before = self._bodies(list(rows))
        new = [name for name in rows if name not in before]
        changed = [name for name in rows if name in before and before[name] != rows[name]["body"]]
        if new:
            more = [rows[name] for name in new]
            if "position" in self._table.c:
                query = select(func.max(self._table.c.position))
                last = self._connection.execute(query).scalar_one()
                first = 0 if last is None else last + 1
                more = [each | {"position": number} for number, each in enumerate(more, first)]
            self._connection.execute(insert(self._table), more)
        if changed:
            names = [name for name in rows[changed[0]] if name != self._key]
            statement = (
                update(self._table)
                .where(self._table.c[self._key] == bindparam("of_name"))
                .values({name: bindparam(f"new_{name}") for name in names})
            )
            self._connection.execute(
                statement,
                [
                    {"of_name": each} | {f"new_{name}": rows[each][name] for name in names}
                    for each in changed
                ],
            )
        self._write(
            ((name, before.get(name), rows[name]["body"]) for name in (*new, *changed)),
            at,
            person,
            reason,
        )
        return [*new, *changed]

    def _write(self, changed: Any, at: datetime, person: str, reason: str) -> None:
        """Write changes down."""
        write_changes(self._connection, self._subject, changed, at, person, reason)


class Lots(_Bodies):
    """Seed lots; see domain.ports.entered."""

    _table = tables.seed_lot
    _key = "name"
    _subject = LOT_SUBJECT

    def all(self) -> tuple[SeedLot, ...]:
        """Return every lot in file order.

        Returns
        -------
        lots : tuple of SeedLot
            The lots.
        """
        return tuple(map(lot_of, self._in_order()))

    def get(self, name: str) -> SeedLot | None:
        """Return one lot.

        Parameters
        ----------
        name : str
            Its name.

        Returns
        -------
        lot : SeedLot or None
            The lot; None if there is none of that name.
        """
        body = self._bodies([name]).get(name)
        return None if body is None else lot_of(body)

    def put(self, lots: Sequence[SeedLot], at: datetime, person: str, reason: str) -> int:
        """Add new lots and change known ones.

        Parameters
        ----------
        lots : sequence of SeedLot
            The lots as they are from now on; of several of one name the last holds.
        at : datetime
            Instant of the change.
        person : str
            Who changed them.
        reason : str
            Why.

        Returns
        -------
        n_changed : int
            How many were not so already.
        """
        rows = {
            each.id: {
                "name": each.id,
                "crop": each.crop,
                "variety": each.variety,
                "body": body_of(each),
            }
            for each in lots
        }
        return len(self._put_rows(rows, at, person, reason))

    def history(self, name: str) -> list[Change]:
        """Return the changes of a lot, the first first.

        Parameters
        ----------
        name : str
            Its name.

        Returns
        -------
        changes : list of Change
            The changes.
        """
        return history(self._connection, LOT_SUBJECT, name)


class Standings(_Bodies):
    """What stood in the house when the book was begun; see domain.ports.entered."""

    _table = tables.standing
    _key = "sowing"
    _subject = STANDING_SUBJECT

    def all(self) -> tuple[Standing, ...]:
        """Return every one in file order.

        Returns
        -------
        standings : tuple of Standing
            The standing sowings.
        """
        return tuple(map(standing_of, self._in_order()))

    def put(self, standings: Sequence[Standing], at: datetime, person: str, reason: str) -> int:
        """Add new ones and change known ones; each begins the life of its sowing.

        Parameters
        ----------
        standings : sequence of Standing
            The standing sowings; of several of one name the last holds.
        at : datetime
            Instant of the change.
        person : str
            Who changed them.
        reason : str
            Why.

        Returns
        -------
        n_changed : int
            How many were not so already.
        """
        rows = {each.sowing: {"sowing": each.sowing, "body": body_of(each)} for each in standings}
        changed = self._put_rows(rows, at, person, reason)
        derive.follow_sowings(self._connection, changed)
        return len(changed)


class Pins(_Bodies):
    """What is fixed by hand; see domain.ports.entered."""

    _table = tables.pin
    _key = "target"
    _subject = PIN_SUBJECT

    def all(self) -> tuple[Pin, ...]:
        """Return every pin.

        Returns
        -------
        pins : tuple of Pin
            The pins by the name of what they fix.
        """
        query = select(tables.pin.c.body).order_by(tables.pin.c.target)
        return tuple(map(pin_of, self._connection.execute(query).scalars()))

    def put(self, pins: Sequence[Pin], at: datetime, person: str, reason: str) -> int:
        """Add or change pins; one without any wish is taken out.

        Parameters
        ----------
        pins : sequence of Pin
            The pins as they are from now on; of several of one target the last holds.
        at : datetime
            Instant of the change.
        person : str
            Who changed them.
        reason : str
            Why.

        Returns
        -------
        n_changed : int
            How many were not so already.
        """
        wanted = {each.target: each for each in pins}
        empty = [name for name, each in wanted.items() if each == Pin(name)]
        out = self._bodies(empty)
        for part in in_parts(out):
            self._connection.execute(delete(tables.pin).where(tables.pin.c.target.in_(part)))
        self._write(((name, before, None) for name, before in out.items()), at, person, reason)
        rows = {
            name: {"target": name, "body": body_of(each)}
            for name, each in wanted.items()
            if name not in set(empty)
        }
        return len(out) + len(self._put_rows(rows, at, person, reason))
