"""What the season pages read."""

from __future__ import annotations

import json
from collections.abc import Collection
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, and_, func, literal, select

from sowbench.domain.book import PlannedUse
from sowbench.domain.ports.season_page import Stay, Target, TraysThere
from sowbench.store import tables as t
from sowbench.store.orders import is_open
from sowbench.store.repository import Repository


class SeasonPage(Repository):
    """Reads for the season pages; see domain.ports.season_page."""

    def uses(self, plan_id: int) -> list[PlannedUse]:
        """Return the use of places and hands by day, in the order of the plan."""
        use = t.planned_use
        rows = self._connection.execute(
            select(use).where(use.c.plan == plan_id).order_by(use.c.position)
        )
        return [
            PlannedUse(
                name=row.name,
                unit=row.unit,
                first_date=row.first_date,
                use=json.loads(row.use),
                capacity=None if row.capacity is None else json.loads(row.capacity),
            )
            for row in rows
        ]

    def n_sown_or_coming(self, plan_id: int) -> int:
        """Return how many sowings of a plan are in it."""
        planned = t.planned_sowing
        n = self._connection.scalar(
            select(func.count()).select_from(planned).where(planned.c.plan == plan_id)
        )
        return int(n or 0)

    def stays(
        self,
        plan_id: int,
        from_date: date,
        until_date: date,
        place: str | None = None,
        limit: int = 500,
        offset: int = 0,
    ) -> list[Stay]:
        """Return planned stays that touch [from_date, until_date), by first day."""
        stay = t.planned_stay
        query = (
            _stays_query()
            .where(*_touching(plan_id, from_date, until_date, place))
            .order_by(stay.c.from_date, stay.c.sowing, stay.c.step)
            .limit(limit)
            .offset(offset)
        )
        return [_stay(row) for row in self._connection.execute(query)]

    def n_stays(self, plan_id: int, from_date: date, until_date: date, place: str) -> int:
        """Return how many stays touch the days in a place."""
        n = self._connection.scalar(
            select(func.count())
            .select_from(t.planned_stay)
            .where(*_touching(plan_id, from_date, until_date, place))
        )
        return int(n or 0)

    def trays_now(self, places: Collection[str]) -> list[TraysThere]:
        """Return what stands in these places now, by the journal."""
        tray, life = t.tray, t.sowing_life
        query = (
            select(
                tray.c.sowing,
                life.c.crop,
                life.c.variety,
                tray.c.place,
                tray.c.container,
                func.count().label("n"),
            )
            .select_from(tray.join(life, life.c.sowing == tray.c.sowing))
            .where(tray.c.place.in_(list(places)), tray.c.gone_date.is_(None))
            .where(life.c.ended_date.is_(None))
            .group_by(tray.c.sowing, life.c.crop, life.c.variety, tray.c.place, tray.c.container)
            .order_by(tray.c.place, tray.c.sowing)
        )
        return [
            TraysThere(row.sowing, row.crop, row.variety, row.place, row.container, row.n)
            for row in self._connection.execute(query)
        ]

    def targets(self, plan_id: int | None, from_date: date, limit: int) -> list[Target]:
        """Return orders still to be served and sowings still to be sown, by day."""
        orders = (
            _order_targets()
            .where(is_open(from_date))
            .order_by(t.orders.c.wanted_date, t.orders.c.position)
            .limit(limit)
        )
        found = [_target(row) for row in self._connection.execute(orders)]
        if plan_id is not None:
            sowings = (
                _sowing_targets(plan_id)
                .where(t.planned_sowing.c.sow_date >= from_date)
                .order_by(t.planned_sowing.c.sow_date, t.planned_sowing.c.position)
                .limit(limit)
            )
            found += [_target(row) for row in self._connection.execute(sowings)]
        return found

    def target(self, plan_id: int | None, name: str) -> Target | None:
        """Return one order, or else one sowing of the plan."""
        row = self._connection.execute(_order_targets().where(t.orders.c.name == name)).first()
        if row is None and plan_id is not None:
            row = self._connection.execute(
                _sowing_targets(plan_id).where(t.planned_sowing.c.sowing == name)
            ).first()
        return None if row is None else _target(row)


def _stays_query() -> Select[Any]:
    """Select stays with what is planned and known of their sowings."""
    stay, planned, life = t.planned_stay, t.planned_sowing, t.sowing_life
    return select(
        stay,
        planned.c.crop,
        planned.c.variety,
        planned.c.orders,
        planned.c.sow_date,
        planned.c.end_date,
        life.c.sown_date,
        life.c.ended_date,
        life.c.place.label("place_now"),
    ).select_from(
        stay.join(
            planned, and_(planned.c.plan == stay.c.plan, planned.c.sowing == stay.c.sowing)
        ).outerjoin(life, life.c.sowing == stay.c.sowing)
    )


def _touching(
    plan_id: int, from_date: date, until_date: date, place: str | None
) -> tuple[ColumnElement[bool], ...]:
    """Say which stays touch some days."""
    stay = t.planned_stay
    there = (stay.c.plan == plan_id, stay.c.from_date < until_date, stay.c.to_date > from_date)
    return there if place is None else (*there, stay.c.place == place)


def _stay(row: Row[Any]) -> Stay:
    """Make a record of a row."""
    return Stay(
        sowing=row.sowing,
        step=row.step,
        kind=row.kind,
        place=row.place,
        container=row.container,
        n_containers=row.n_containers,
        n_cells=row.n_cells,
        from_date=row.from_date,
        to_date=row.to_date,
        crop=row.crop,
        variety=row.variety,
        orders=_names(row.orders),
        sow_date=row.sow_date,
        end_date=row.end_date,
        sown_date=row.sown_date,
        ended_date=row.ended_date,
        place_now=row.place_now or "",
    )


def _names(text: str) -> tuple[str, ...]:
    """Part names that have a bar between them."""
    return tuple(each for each in text.split("|") if each)


def _order_targets() -> Select[Any]:
    """Select orders as targets of a pin."""
    orders = t.orders
    return select(
        orders.c.name.label("name"),
        literal(0).label("is_sowing"),
        orders.c.crop,
        orders.c.customer.label("whose"),
        orders.c.plants.label("amount"),
        orders.c.wanted_date.label("date"),
    )


def _sowing_targets(plan_id: int) -> Select[Any]:
    """Select sowings of a plan as targets of a pin."""
    planned = t.planned_sowing
    return select(
        planned.c.sowing.label("name"),
        literal(1).label("is_sowing"),
        planned.c.crop,
        planned.c.orders.label("whose"),
        planned.c.n_cells.label("amount"),
        planned.c.sow_date.label("date"),
    ).where(planned.c.plan == plan_id)


def _target(row: Row[Any]) -> Target:
    """Make a record of a row."""
    if row.is_sowing:
        names = _names(row.whose)
        more = f" and {len(names) - 2} more" if len(names) > 2 else ""
        whose = f" for {', '.join(names[:2])}{more}" if names else ""
        words = f"{row.amount:,} cells{whose}"
    else:
        words = f"{row.amount:,} plants" + (f" for {row.whose}" if row.whose else "")
    return Target(row.name, bool(row.is_sowing), row.crop, words, row.date)
