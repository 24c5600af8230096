"""Orders, with every change of one."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import fields
from datetime import date, datetime
from operator import attrgetter
from typing import Any, Final

from sqlalchemy import ColumnElement, Row, and_, func, select

from sowbench.domain.book import Change
from sowbench.domain.records import Order
from sowbench.store import tables
from sowbench.store.bodies import body_of
from sowbench.store.bulk import insert_rows, update_rows
from sowbench.store.changes import history, write_changes
from sowbench.store.repository import Repository, in_parts

orders: Final = tables.orders
SUBJECT: Final = "order"

# A book with fewer orders than so many times those asked for is read whole; our choice.
_READ_WHOLE: Final = 4

_FIELDS: Final = tuple(each.name for each in fields(Order))
_LISTS: Final = ("substitutes", "containers")
_BETWEEN: Final = "|"
ORDER_COLUMNS: Final = tuple(orders.c["name" if name == "id" else name] for name in _FIELDS)
"""Columns from which `order_of` makes an order, in its order."""
_NAMES: Final = tuple(each.name for each in ORDER_COLUMNS)
_FIELDS_OF: Final = attrgetter(*_FIELDS)
_AT_LISTS: Final = tuple(_FIELDS.index(name) for name in _LISTS)


def order_of(row: Row[Any] | Sequence[Any]) -> Order:
    """Return the order of a row.

    Parameters
    ----------
    row : Row or sequence
        Values of `ORDER_COLUMNS`, in that order; more may follow.

    Returns
    -------
    order : Order
        The order.
    """
    values = list(row[: len(_FIELDS)])
    for at in _AT_LISTS:
        values[at] = tuple(values[at].split(_BETWEEN)) if values[at] else ()
    return Order(*values)


def is_open(today: date) -> ColumnElement[bool]:
    """Tell that an order is wanted and still serves; past seasons are not looked at for it.

    Parameters
    ----------
    today : date
        The day in the house.

    Returns
    -------
    condition : ColumnElement of bool
        The first wanted day of all open orders is found in the index of last days; from it on a
        list may go by its own index. ``coalesce`` keeps a database from looking for that day at
        the beginning of the index of wanted days, where all past orders stand.
    """
    others = orders.alias("others")
    wanted_date = func.coalesce(others.c.wanted_date, others.c.latest_date)
    first = select(func.min(wanted_date)).where(others.c.latest_date >= today).scalar_subquery()
    return and_(
        orders.c.status != "cancelled",
        orders.c.latest_date >= today,
        orders.c.wanted_date >= first,
    )


def _values_of(order: Order) -> list[Any]:
    """Return the values of an order in the order of `ORDER_COLUMNS`."""
    values = list(_FIELDS_OF(order))
    for at in _AT_LISTS:
        values[at] = _BETWEEN.join(values[at])
    return values


class Orders(Repository):
    """Orders; those cancelled stay, with that status; see domain.ports.entered."""

    def all(self) -> tuple[Order, ...]:
        """Return every order in file order, cancelled ones too.

        Returns
        -------
        orders : tuple of Order
            The orders.
        """
        query = select(*ORDER_COLUMNS).order_by(orders.c.position)
        return tuple(order_of(row) for row in self._connection.execute(query))

    def get(self, name: str) -> Order | None:
        """Return one order.

        Parameters
        ----------
        name : str
            Its name.

        Returns
        -------
        order : Order or None
            The order; None if there is none of that name.
        """
        return self.named([name]).get(name)

    def named(self, names: Iterable[str]) -> dict[str, Order]:
        """Return the orders of these names.

        Parameters
        ----------
        names : iterable of str
            Their names.

        Returns
        -------
        orders : dict of str to Order
            Those that there are.
        """
        found = {}
        for part in in_parts(names):
            query = select(*ORDER_COLUMNS).where(orders.c.name.in_(part))
            for row in self._connection.execute(query):
                found[row[0]] = order_of(row)
        return found

    def put(self, orders: Sequence[Order], at: datetime, person: str, reason: str) -> int:
        """Add new orders and change known ones.

        Parameters
        ----------
        orders : sequence of Order
            The orders as they are from now on; of several of one name the last holds.
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
        wanted = {each.id: each for each in orders}
        known = self._known(wanted)
        new = [each for name, each in wanted.items() if name not in known]
        changed = [each for name, each in wanted.items() if name in known and known[name] != each]
        self._insert(new)
        self._update(changed)
        write_changes(
            self._connection, SUBJECT, _before_and_after(new, changed, known), at, person, reason
        )
        return len(new) + len(changed)

    def _known(self, names: Collection[str]) -> dict[str, Order]:
        """Return the orders of many names; a book that has few is read whole."""
        n_orders = self._connection.execute(select(func.count()).select_from(orders)).scalar_one()
        if n_orders > _READ_WHOLE * len(names):
            return self.named(names)
        rows = self._connection.execute(select(*ORDER_COLUMNS)) if n_orders else ()
        return {row[0]: order_of(row) for row in rows if row[0] in names}

    def _insert(self, new: Sequence[Order]) -> None:
        """Write new orders behind the others."""
        if not new:
            return
        last = self._connection.execute(select(func.max(orders.c.position))).scalar_one()
        first = 0 if last is None else last + 1
        rows = [[*_values_of(each), at] for at, each in enumerate(new, start=first)]
        insert_rows(self._connection, orders, (*_NAMES, "position"), rows)

    def _update(self, changed: Sequence[Order]) -> None:
        """Write known orders as they are now; their positions stay."""
        rows = []
        for each in changed:
            name, *values = _values_of(each)
            rows.append([*values, name])
        update_rows(self._connection, orders, _NAMES[0], _NAMES[1:], rows)

    def history(self, name: str) -> list[Change]:
        """Return the changes of an order, the first first.

        Parameters
        ----------
        name : str
            Its name.

        Returns
        -------
        changes : list of Change
            The changes.
        """
        return history(self._connection, SUBJECT, name)


def _before_and_after(
    new: Iterable[Order], changed: Iterable[Order], known: Mapping[str, Order]
) -> Iterable[tuple[str, str | None, str | None]]:
    """Tell of each change what was and what is."""
    for each in new:
        yield each.id, None, body_of(each)
    for each in changed:
        yield each.id, body_of(known[each.id]), body_of(each)
