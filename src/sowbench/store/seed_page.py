"""What the seed pages read."""

from __future__ import annotations

import json
from collections.abc import Collection
from datetime import date, datetime
from typing import Any

from sqlalchemy import and_, func, select

from sowbench.domain.plan import Supply
from sowbench.domain.ports.seed_page import LotSowing, LotTake, Ordered, SownSeeds
from sowbench.store import tables as t
from sowbench.store.repository import Repository, in_parts


class SeedPage(Repository):
    """Reads for the seed pages; see domain.ports.seed_page."""

    def takes(self, plan_id: int) -> dict[str, LotTake]:
        """Return what a plan still takes, by lot."""
        planned, life = t.planned_sowing, t.sowing_life
        query = (
            select(
                planned.c.lot,
                func.count().label("n_sowings"),
                func.sum(planned.c.n_seeds).label("n_seeds"),
                func.min(planned.c.sow_date).label("first_date"),
                func.max(planned.c.sow_date).label("last_date"),
            )
            .select_from(
                planned.join(t.plan, t.plan.c.id == planned.c.plan).outerjoin(
                    life, life.c.sowing == planned.c.sowing
                )
            )
            .where(planned.c.plan == plan_id, planned.c.lot != "")
            .where(planned.c.sow_date >= t.plan.c.from_date, life.c.sown_date.is_(None))
            .group_by(planned.c.lot)
        )
        return {
            row.lot: LotTake(row.lot, row.n_sowings, row.n_seeds, row.first_date, row.last_date)
            for row in self._connection.execute(query)
        }

    def sown(self, plan_id: int | None, lots: Collection[str], since: date) -> list[SownSeeds]:
        """Return the seeds sown from lots since a day, by lot and day."""
        planned, life = t.planned_sowing, t.sowing_life
        query = (
            select(
                life.c.lot,
                life.c.sown_date,
                life.c.n_seeds,
                life.c.n_cells,
                planned.c.n_seeds.label("planned_seeds"),
                planned.c.n_cells.label("planned_cells"),
            )
            .select_from(
                life.outerjoin(
                    planned, and_(planned.c.plan == plan_id, planned.c.sowing == life.c.sowing)
                )
            )
            .where(life.c.sown_date >= since)
        )
        return [
            SownSeeds(row.lot, row.sown_date, _seeds_of(row))
            for part in in_parts(sorted(lots))
            for row in self._connection.execute(query.where(life.c.lot.in_(part)))
        ]

    def stock_stated(self, lots: Collection[str]) -> dict[str, datetime]:
        """Return when the stock of each lot was last stated anew."""
        change = t.change
        query = (
            select(change.c.name, change.c.at, change.c.before, change.c.after)
            .where(change.c.subject == "lot")
            .order_by(change.c.seq)
        )
        stated: dict[str, datetime] = {}
        for part in in_parts(sorted(lots)):
            for row in self._connection.execute(query.where(change.c.name.in_(part))):
                if _stock(row.before) != _stock(row.after):
                    stated[row.name] = row.at
        return stated

    def sowings_of(self, plan_id: int | None, lot: str, limit: int = 100) -> list[LotSowing]:
        """Return the sowings of a plan from one lot, by day."""
        planned, life = t.planned_sowing, t.sowing_life
        query = (
            select(planned, life.c.sown_date, life.c.ended_date)
            .select_from(planned.outerjoin(life, life.c.sowing == planned.c.sowing))
            .where(planned.c.plan == plan_id, planned.c.lot == lot)
            .order_by(planned.c.sow_date, planned.c.position)
            .limit(limit)
        )
        return [
            LotSowing(
                sowing=row.sowing,
                crop=row.crop,
                variety=row.variety,
                sow_date=row.sow_date,
                sown_date=row.sown_date,
                ended_date=row.ended_date,
                n_cells=row.n_cells,
                n_seeds=row.n_seeds,
                orders=tuple(each for each in row.orders.split("|") if each),
            )
            for row in self._connection.execute(query)
        ]

    def ordered(self, keys: Collection[str]) -> dict[str, Ordered]:
        """Return what says that supplies are ordered, by the key of their tick."""
        done = t.job_done.c
        found = {}
        for part in in_parts(keys):
            query = select(done.key, done.entry, done.date, done.person).where(done.key.in_(part))
            for row in self._connection.execute(query):
                found[row.key] = Ordered(row.entry, row.date, row.person)
        return found

    def supplies(self, plan_id: int) -> list[Supply]:
        """Return what a plan needs, by the day to order."""
        supply = t.planned_supply
        query = (
            select(supply)
            .where(supply.c.plan == plan_id)
            .order_by(supply.c.order_by_date, supply.c.position)
        )
        return [
            Supply(
                needed_on=row.needed_date,
                order_by=row.order_by_date,
                item=row.item,
                amount=row.amount,
                unit=row.unit,
                in_stock=row.in_stock,
                to_buy=row.to_buy,
            )
            for row in self._connection.execute(query)
        ]


def _seeds_of(row: Any) -> int:
    """Count the seeds of a sowing: as written down, else as planned, else one a cell."""
    if row.n_seeds is not None:
        return int(row.n_seeds)
    cells = int(row.n_cells or 0)
    if row.planned_cells:
        return int(cells * row.planned_seeds / row.planned_cells + 0.5)
    return cells


def _stock(body: str | None) -> object:
    """Read the stock out of a lot as it was kept."""
    return None if body is None else json.loads(body).get("n_seeds")
