"""What looking back reads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from typing import Any, Final

import msgspec
from sqlalchemy import Select, func, or_, select

from sowbench.domain.journal import Entry
from sowbench.domain.life_records import HandedOver
from sowbench.domain.plan import Sowing
from sowbench.domain.ports.back_page import JobDone
from sowbench.domain.records import Order
from sowbench.store.entry_rows import entry_of, standing_entries, standing_rows
from sowbench.store.orders import ORDER_COLUMNS, order_of
from sowbench.store.repository import Repository
from sowbench.store.tables import (
    delivery,
    entry,
    job_done,
    orders,
    plan,
    planned_job,
    planned_sowing,
    sowing_life,
)

_SOWING: Final = msgspec.json.Decoder(Sowing)
_PACK: Final = "pack"
# A job is ticked off at most so long before or after its planned day, for what is looked up (ours).
_APART_D: Final = 60


class BackPage(Repository):
    """Reads for looking back; see domain.ports.back_page."""

    def days(self) -> tuple[date, date] | None:
        """Return the first and last day of orders and sowings."""
        wanted, life = orders.c.wanted_date, sowing_life.c
        query = select(
            select(func.min(wanted)).scalar_subquery(),
            select(func.max(wanted)).scalar_subquery(),
            select(func.min(life.sown_date)).scalar_subquery(),
            select(func.max(life.ended_date)).scalar_subquery(),
        )
        found = [each for each in self._connection.execute(query).one() if each is not None]
        return (min(found), max(found)) if found else None

    def orders(self, first: date, last: date) -> list[Order]:
        """Return the orders wanted within some days, cancelled ones left out."""
        query = (
            select(*ORDER_COLUMNS)
            .where(
                orders.c.wanted_date >= first,
                orders.c.wanted_date <= last,
                orders.c.status != "cancelled",
            )
            .order_by(orders.c.wanted_date, orders.c.position)
        )
        return [order_of(row) for row in self._connection.execute(query)]

    def entries(self, first: date, last: date) -> dict[str, list[Entry]]:
        """Return the entries that stand of sowings that have to do with some days, by sowing."""
        found: dict[str, list[Entry]] = {}
        for each in standing_entries(self._connection, self._touching(first, last)):
            found.setdefault(each.sowing, []).append(each)
        return found

    def house_entries(self, first: date, last: date) -> dict[str, Entry]:
        """Return the entries of some days that tick off a job of no sowing, by id."""
        query = standing_rows().where(
            entry.c.sowing == "",
            entry.c.job != "",
            entry.c.day_date >= first,
            entry.c.day_date <= last,
        )
        return {row[0]: entry_of(row) for row in self._connection.execute(query)}

    def deliveries(self, first: date, last: date) -> list[HandedOver]:
        """Return what was handed over for orders wanted within some days."""
        query = (
            select(
                delivery.c.entry,
                delivery.c.sowing,
                delivery.c.name,
                delivery.c.date,
                delivery.c.plants,
            )
            .join(orders, orders.c.name == delivery.c.name)
            .where(orders.c.wanted_date >= first, orders.c.wanted_date <= last)
            .order_by(delivery.c.date, delivery.c.entry)
        )
        return [HandedOver(*row) for row in self._connection.execute(query)]

    def planned(self, first: date, last: date) -> Mapping[str, tuple[int, Sowing]]:
        """Return sowings as the last accepted plan that has them plans them, with that plan."""
        of = planned_sowing.c
        newest = (
            select(of.sowing.label("sowing"), func.max(of.plan).label("plan"))
            .join(plan, plan.c.id == of.plan)
            .where(plan.c.accepted_at.is_not(None), of.sowing.in_(self._touching(first, last)))
            .group_by(of.sowing)
            .subquery()
        )
        query = select(of.plan, of.body).join(
            newest, (newest.c.sowing == of.sowing) & (newest.c.plan == of.plan)
        )
        found = {}
        for number, body in self._connection.execute(query):
            sowing = _SOWING.decode(body)
            found[sowing.sowing] = (int(number), sowing)
        return found

    def jobs_done(self, first: date, last: date) -> list[JobDone]:
        """Return the jobs ticked off on some days."""
        done, job = job_done.c, planned_job.c
        columns = (job.key, job.task, job.place, job.minutes)
        exact = (
            select(*columns)
            .join(plan, plan.c.id == job.plan)
            .join(job_done, done.key == job.key)
            .where(plan.c.accepted_at.is_not(None), done.date >= first, done.date <= last)
            .order_by(job.plan)
        )
        # What is packed for several orders is ticked off order by order, under longer keys.
        packed = (
            select(*columns)
            .join(plan, plan.c.id == job.plan)
            .where(
                plan.c.accepted_at.is_not(None),
                job.task == _PACK,
                job.date >= first - timedelta(days=_APART_D),
                job.date <= last + timedelta(days=_APART_D),
            )
            .order_by(job.plan)
        )
        planned: dict[str, tuple[str, str, float]] = {}
        for query in (packed, exact):
            for key, task, place, minutes in self._connection.execute(query):
                planned[key] = (task, place, float(minutes))
        ticked = (
            select(done.key, done.entry, done.date, done.sowing)
            .where(done.date >= first, done.date <= last)
            .order_by(done.date, done.key)
        )
        rows = self._connection.execute(ticked)
        return list(_jobs([tuple(row) for row in rows], planned))

    def _touching(self, first: date, last: date) -> Select[Any]:
        """Return the query of sowings that stood beside, or gave plants to, what is looked at."""
        life, earlier = sowing_life.c, sowing_life.alias().c
        began = (
            select(func.min(earlier.sown_date))
            .where(earlier.ended_date >= first, earlier.ended_date <= last)
            .scalar_subquery()
        )
        gave = (
            select(delivery.c.sowing)
            .join(orders, orders.c.name == delivery.c.name)
            .where(orders.c.wanted_date >= first, orders.c.wanted_date <= last)
        )
        return select(life.sowing).where(
            or_(
                life.sowing.in_(gave),
                (life.sown_date <= last)
                & or_(
                    life.ended_date.is_(None), life.ended_date >= first, life.ended_date >= began
                ),
            )
        )


def _jobs(
    ticked: list[tuple[Any, ...]], planned: Mapping[str, tuple[str, str, float]]
) -> Iterator[JobDone]:
    """Put what was ticked off beside what was planned; a job ticked off in parts counts once."""
    counted: set[str] = set()
    for key, entry_id, day, sowing in ticked:
        found = key
        while found not in planned and found.count("/") > 3:
            found = found.rpartition("/")[0]
        task, place, minutes = planned.get(found, ("", "", 0.0))
        if found in planned and found in counted:
            minutes = 0.0
        counted.add(found)
        yield JobDone(key, entry_id, day, sowing, task, place, minutes)
