"""What the orders pages read."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from typing import Any, Final

import msgspec
from sqlalchemy import ColumnElement, Row, Select, and_, func, or_, select, true

from sowbench.domain.plan import OrderPlan, Sowing, Unmet
from sowbench.domain.ports.orders_page import (
    ListedOrder,
    OrderDelivery,
    OrdersCount,
    OrdersCursor,
    OrdersFilter,
    OrdersShown,
    PlannedOrder,
    StandingOrder,
)
from sowbench.domain.records import Order
from sowbench.store.orders import ORDER_COLUMNS, is_open, order_of
from sowbench.store.repository import Repository, in_parts
from sowbench.store.tables import (
    change,
    delivery,
    orders,
    planned_order,
    planned_sowing,
    sowing_life,
)

_N_ORDER: Final = len(ORDER_COLUMNS)
_PLANNED: Final = msgspec.json.Decoder(OrderPlan)
_UNMET: Final = msgspec.json.Decoder(Unmet)
_SOWING: Final = msgspec.json.Decoder(Sowing)
_CANCELLED: Final = "cancelled"


class OrdersPage(Repository):
    """Reads for the orders pages; see domain.ports.orders_page."""

    def window(
        self,
        plan: int | None,
        wanted: OrdersFilter,
        today: date,
        confidence_frac: float,
        after: OrdersCursor | None,
        limit: int,
    ) -> list[ListedOrder]:
        """Return some orders by wanted day and place in the file, in one query."""
        query = _listed(plan).where(_shown(wanted, today, confidence_frac))
        if after is not None:
            query = query.where(
                orders.c.wanted_date >= after.wanted_date,
                or_(
                    orders.c.wanted_date > after.wanted_date,
                    orders.c.position > after.position,
                ),
            )
        query = query.order_by(orders.c.wanted_date, orders.c.position).limit(limit)
        return [_listed_of(row, confidence_frac) for row in self._connection.execute(query)]

    def window_before(
        self,
        plan: int | None,
        wanted: OrdersFilter,
        today: date,
        confidence_frac: float,
        before: OrdersCursor,
        limit: int,
    ) -> list[ListedOrder]:
        """Return the orders just before a place of the list, in the order of the list."""
        query = _listed(plan).where(
            _shown(wanted, today, confidence_frac),
            orders.c.wanted_date <= before.wanted_date,
            or_(
                orders.c.wanted_date < before.wanted_date,
                orders.c.position < before.position,
            ),
        )
        query = query.order_by(orders.c.wanted_date.desc(), orders.c.position.desc()).limit(limit)
        found = [_listed_of(row, confidence_frac) for row in self._connection.execute(query)]
        return found[::-1]

    def counts(self, plan: int | None, today: date, confidence_frac: float) -> OrdersCount:
        """Count the open orders, and those of them that need a look."""
        conditions = (
            _is_risky(confidence_frac),
            _is_unmet(),
            planned_order.c.name.is_(None),
        )
        counted = [func.count().filter(each) for each in conditions]
        query = (
            select(func.count(), *counted)
            .select_from(orders.outerjoin(planned_order, _in_plan(plan)))
            .where(is_open(today))
        )
        row = tuple(self._connection.execute(query).one())
        return OrdersCount(row[0], row[1], row[2], row[3])

    def customers(self, today: date) -> list[str]:
        """Return the customers of open orders."""
        return self._values(orders.c.customer, today)

    def crops(self, today: date) -> list[str]:
        """Return the crops of open orders."""
        return self._values(orders.c.crop, today)

    def _values(self, column: ColumnElement[str], today: date) -> list[str]:
        """Return what stands in a column of open orders, each once, blank left out."""
        # Not the bare column: its own index would be walked through all past seasons.
        value = func.coalesce(column, "").label("value")
        query = select(value).where(is_open(today)).distinct().order_by(value)
        return [each for each in self._connection.execute(query).scalars() if each]

    def standing(self, name: str) -> StandingOrder | None:
        """Return a standing order as a whole; None if no order is a drop of it."""
        query = select(
            func.count(), func.min(orders.c.wanted_date), func.max(orders.c.wanted_date)
        ).where(orders.c.standing_of == name, orders.c.status != _CANCELLED)
        n_drops, first, last = self._connection.execute(query).one()
        return StandingOrder(name, n_drops, first, last) if name and n_drops else None

    def drops(self, plan: int | None, name: str, confidence_frac: float) -> list[ListedOrder]:
        """Return the drops of a standing order by day, cancelled ones too."""
        query = _listed(plan).where(orders.c.standing_of == name)
        query = query.order_by(orders.c.wanted_date, orders.c.position)
        return [_listed_of(row, confidence_frac) for row in self._connection.execute(query)]

    def planned(self, plan: int, names: Collection[str]) -> dict[str, PlannedOrder]:
        """Return what a plan gives some orders."""
        found = {}
        for part in in_parts(names):
            query = select(planned_order.c.name, planned_order.c.body, planned_order.c.unmet)
            query = query.where(planned_order.c.plan == plan, planned_order.c.name.in_(part))
            for name, body, unmet in self._connection.execute(query):
                found[name] = PlannedOrder(_PLANNED.decode(body), _unmet_of(unmet))
        return found

    def sowings_for(self, plan: int, order: str, sowings: Collection[str]) -> list[Sowing]:
        """Return the planned sowings of these names, those that serve the order."""
        query = select(planned_sowing.c.body).where(
            planned_sowing.c.plan == plan, planned_sowing.c.sowing.in_(list(sowings))
        )
        query = query.order_by(planned_sowing.c.sow_date, planned_sowing.c.position)
        found = map(_SOWING.decode, self._connection.execute(query).scalars())
        return [each for each in found if any(share.order == order for share in each.orders)]

    def sowings_of(self, plan: int, first: date, last: date) -> list[Sowing]:
        """Return the planned sowings that are in the house at some day of a span."""
        query = select(planned_sowing.c.body).where(
            planned_sowing.c.plan == plan,
            planned_sowing.c.sow_date <= last,
            planned_sowing.c.end_date >= first,
        )
        query = query.order_by(planned_sowing.c.sow_date, planned_sowing.c.position)
        return [_SOWING.decode(each) for each in self._connection.execute(query).scalars()]

    def deliveries(self, order: str) -> list[OrderDelivery]:
        """Return what was handed over for an order, by day."""
        columns = (delivery.c.entry, delivery.c.sowing, delivery.c.date, delivery.c.plants)
        query = select(*columns).where(delivery.c.name == order)
        query = query.order_by(delivery.c.date, delivery.c.entry)
        return [OrderDelivery(*row) for row in self._connection.execute(query)]

    def since(self, day: date) -> tuple[Order, ...]:
        """Return the orders that still serve on or after a day, in file order."""
        query = select(*ORDER_COLUMNS).where(orders.c.latest_date >= day)
        query = query.order_by(orders.c.position)
        return tuple(order_of(row) for row in self._connection.execute(query))

    def last_change(self) -> int:
        """Return the number of the last change of anything entered; 0 before the first."""
        return int(self._connection.execute(select(func.max(change.c.seq))).scalar_one() or 0)

    def n_orders(self) -> int:
        """Return how many orders the book has, cancelled ones too."""
        return int(self._connection.execute(select(func.count()).select_from(orders)).scalar_one())

    def standing_sowings(self) -> list[str]:
        """Return the sowings that were begun and have not ended by the journal."""
        query = select(sowing_life.c.sowing).where(
            sowing_life.c.ended_date.is_(None), sowing_life.c.sown_date.is_not(None)
        )
        return list(self._connection.execute(query).scalars())


def _in_plan(plan: int | None) -> ColumnElement[bool]:
    """Join an order with what a plan gives it."""
    return and_(
        planned_order.c.plan == (-1 if plan is None else plan),
        planned_order.c.name == orders.c.name,
    )


def _listed(plan: int | None) -> Select[Any]:
    """Select the lines of a list."""
    given = (
        select(func.coalesce(func.sum(delivery.c.plants), 0))
        .where(delivery.c.name == orders.c.name)
        .scalar_subquery()
    )
    return select(
        *ORDER_COLUMNS, orders.c.position, planned_order.c.body, planned_order.c.unmet, given
    ).select_from(orders.outerjoin(planned_order, _in_plan(plan)))


def _listed_of(row: Row[Any], confidence_frac: float) -> ListedOrder:
    """Return the line of a row."""
    order = order_of(row)
    position, body, unmet, n_delivered = row[_N_ORDER:]
    own = order.confidence_frac
    return ListedOrder(
        order=order,
        position=position,
        planned=None if body is None else _PLANNED.decode(body),
        unmet=_unmet_of(unmet),
        n_delivered=int(n_delivered),
        confidence_frac=confidence_frac if own is None else own,
    )


def _unmet_of(body: str | None) -> Unmet | None:
    """Return what is unmet; None if nothing is."""
    return _UNMET.decode(body) if body else None


def _shown(wanted: OrdersFilter, today: date, confidence_frac: float) -> ColumnElement[bool]:
    """Choose the orders that a filter asks for."""
    found = [_is_shown(wanted.shown, today, confidence_frac)]
    if wanted.customer:
        found.append(orders.c.customer == wanted.customer)
    if wanted.crop:
        found.append(orders.c.crop == wanted.crop)
    if wanted.standing_of:
        found.append(orders.c.standing_of == wanted.standing_of)
    if wanted.words:
        found.append(
            or_(
                orders.c.name.icontains(wanted.words, autoescape=True),
                orders.c.customer.icontains(wanted.words, autoescape=True),
            )
        )
    if wanted.first_date is not None:
        found.append(orders.c.wanted_date >= wanted.first_date)
    if wanted.last_date is not None:
        found.append(orders.c.wanted_date <= wanted.last_date)
    return and_(*found)


def _is_unmet() -> ColumnElement[bool]:
    """Tell that a plan leaves plants of an order out."""
    return planned_order.c.n_unmet > 0


def _is_risky(confidence_frac: float) -> ColumnElement[bool]:
    """Tell that an order is planned whole, with a chance of enough below what is wanted."""
    own = func.coalesce(orders.c.confidence_frac, confidence_frac)
    return and_(
        planned_order.c.n_unmet == 0,
        planned_order.c.planned > 0,
        planned_order.c.chance_enough_frac < own - 5e-7,
    )


def _is_shown(shown: OrdersShown, today: date, confidence_frac: float) -> ColumnElement[bool]:
    """Choose the orders that a list shows."""
    is_cancelled = orders.c.status == _CANCELLED
    if shown is OrdersShown.CANCELLED:
        return is_cancelled
    if shown is OrdersShown.PAST:
        return and_(~is_cancelled, orders.c.latest_date < today)
    if shown is OrdersShown.ALL:
        return true()
    open_now = is_open(today)
    if shown is OrdersShown.RISKY:
        return and_(open_now, _is_risky(confidence_frac))
    if shown is OrdersShown.UNMET:
        return and_(open_now, _is_unmet())
    if shown is OrdersShown.UNPLANNED:
        return and_(open_now, planned_order.c.name.is_(None))
    return open_now
