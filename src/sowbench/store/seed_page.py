"""What the seed pages read."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date

from sqlalchemy import func, select

from sowbench.domain.plan import Supply
from sowbench.domain.ports.seed_page import LotSowing, LotTake
from sowbench.store import tables as t
from sowbench.store.repository import Repository


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

    def sown_seeds(self, lots: Collection[str], since: date) -> dict[str, int]:
        """Return the seeds sown from lots since a day, by lot."""
        life = t.sowing_life
        query = (
            select(life.c.lot, func.sum(life.c.n_seeds).label("n_seeds"))
            .where(life.c.lot.in_(list(lots)), life.c.sown_date >= since)
            .group_by(life.c.lot)
        )
        return {row.lot: int(row.n_seeds or 0) for row in self._connection.execute(query)}

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
