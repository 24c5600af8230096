"""What the pages of a day's work and of counting read."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any, Final

import msgspec
from sqlalchemy import Row, Select, and_, func, literal, or_, select

from sowbench.domain.book import Kept
from sowbench.domain.journal import EntryKind
from sowbench.domain.plan import OrderPlan, Sowing
from sowbench.domain.ports.today_page import (
    DayJob,
    PlannedHandOver,
    SowingStands,
    TickedOff,
    TrayStands,
)
from sowbench.store import tables
from sowbench.store.entry_rows import kept_of, kept_rows
from sowbench.store.repository import Repository
from sowbench.store.tables import (
    job_done,
    orders,
    planned_job,
    planned_order,
    planned_sowing,
    sowing_life,
    tray,
)

if TYPE_CHECKING:
    from sqlalchemy import ColumnElement

# Not made up for when it was left undone: water of yesterday, a seeder set up for another lot.
_PASSES: Final = ("water", "change lot")
_TRAY_COLUMNS: Final = (
    tray.c.sowing,
    tray.c.number,
    tray.c.container,
    tray.c.n_cells,
    tray.c.place,
    tray.c.gone_date,
    tray.c.gone_how,
    tray.c.counted_date,
    tray.c.counted_by,
    tray.c.count_entry,
    tray.c.n_right,
    tray.c.n_seen,
)


class TodayPage(Repository):
    """Reads for the today pages; see domain.ports.today_page."""

    def jobs(self, plan_id: int, day: date) -> list[DayJob]:
        """Return the jobs of a day with their cards."""
        rows = self._connection.execute(
            _jobs(plan_id, planned_sowing.c.card).where(planned_job.c.date == day)
        )
        return [_day_job(row) for row in rows]

    def next_day(self, plan_id: int, after: date) -> date | None:
        """Return the next day with a job of a plan, watering and changes of lot left out."""
        job = planned_job.c
        query = select(func.min(job.date)).where(
            job.plan == plan_id, job.date > after, job.task.not_in(_PASSES)
        )
        found: date | None = self._connection.execute(query).scalar()
        return found

    def late(self, plan_id: int, first: date, before: date, limit: int) -> list[DayJob]:
        """Return jobs of earlier days that nothing says are done, the oldest first."""
        job, life = planned_job.c, sowing_life.c
        done_anyway: ColumnElement[bool] = or_(
            life.ended_date.is_not(None),
            and_(job.task == "sow", life.sown_date.is_not(None)),
            and_(job.task == "count", life.counted_date >= job.date),
        )
        rows = self._connection.execute(
            _jobs(plan_id, literal(""))
            .where(
                job.date >= first,
                job.date < before,
                job.task.not_in(_PASSES),
                job_done.c.key.is_(None),
                func.coalesce(done_anyway, False).is_(False),
            )
            .limit(limit)
        )
        return [_day_job(row) for row in rows]

    def hand_overs(self, plan_id: int, names: Collection[str]) -> list[PlannedHandOver]:
        """Return what is handed over for these orders, in file order."""
        rows = self._connection.execute(
            select(planned_order.c.name, planned_order.c.body, orders.c.customer)
            .outerjoin(orders, orders.c.name == planned_order.c.name)
            .where(planned_order.c.plan == plan_id, planned_order.c.name.in_(sorted(names)))
            .order_by(orders.c.position, planned_order.c.name)
        )
        return [
            PlannedHandOver(row.name, row.customer or "", each.date, each.sowing, each.plants)
            for row in rows
            for each in msgspec.json.decode(row.body, type=OrderPlan).hand_over
        ]

    def ticked(self, sowings: Collection[str]) -> dict[str, TickedOff]:
        """Return everything that ticked off jobs of these sowings, by key."""
        done = job_done.c
        rows = self._connection.execute(
            select(done.key, done.entry, done.date, done.at, done.person).where(
                done.sowing.in_(sorted(sowings))
            )
        )
        return {row.key: TickedOff(*row) for row in rows}

    def trays(self, sowing: str) -> Sequence[TrayStands]:
        """Return the trays of a sowing without their maps, by number, those that are gone too."""
        rows = self._connection.execute(
            select(*_TRAY_COLUMNS).where(tray.c.sowing == sowing).order_by(tray.c.number)
        )
        return [TrayStands(**row._mapping, cells="") for row in rows]  # noqa: SLF001

    def tray(self, sowing: str, number: int) -> TrayStands | None:
        """Return one tray with its map."""
        row = self._connection.execute(
            select(*_TRAY_COLUMNS, tray.c.cells).where(
                tray.c.sowing == sowing, tray.c.number == number
            )
        ).one_or_none()
        return None if row is None else TrayStands(**row._mapping)  # noqa: SLF001

    def counts_of_day(self, sowing: str, day: date, number: int | None = None) -> list[Kept]:
        """Return the counts of a sowing, or of one tray, on a day, in the order of arrival."""
        column = tables.entry.c
        query = kept_rows().where(
            column.sowing == sowing,
            column.day_date == day,
            column.kind == EntryKind.COUNTED.value,
        )
        if number is not None:
            # As entry_rows writes it; a quotation mark within a text has a stroke before it.
            query = query.where(column.body.contains(f'"trays":[{number}]', autoescape=True))
        return [kept_of(row) for row in self._connection.execute(query.order_by(column.seq))]

    def open_count(self, plan_id: int, sowing: str, day: date) -> DayJob | None:
        """Return the count of a sowing that is planned up to a day and not ticked off."""
        job = planned_job.c
        row = self._connection.execute(
            _jobs(plan_id, literal(""))
            .where(
                job.sowing == sowing,
                job.task == "count",
                job.date <= day,
                job_done.c.key.is_(None),
            )
            .limit(1)
        ).one_or_none()
        return None if row is None else _day_job(row)

    def counts_due(self, plan_id: int, day: date) -> list[str]:
        """Return the sowings whose count is planned up to a day and that nobody counted since."""
        job, life = planned_job.c, sowing_life.c
        rows = self._connection.execute(
            select(job.sowing)
            .join(sowing_life, life.sowing == job.sowing)
            .outerjoin(job_done, job_done.c.key == job.key)
            .where(
                job.plan == plan_id,
                job.task == "count",
                job.date <= day,
                job_done.c.key.is_(None),
                life.ended_date.is_(None),
                or_(life.counted_date.is_(None), life.counted_date < job.date),
            )
        )
        return list(rows.scalars())

    def planned(self, plan_id: int, sowing: str) -> Sowing | None:
        """Return a sowing as planned."""
        body = self._connection.execute(
            select(planned_sowing.c.body).where(
                planned_sowing.c.plan == plan_id, planned_sowing.c.sowing == sowing
            )
        ).scalar_one_or_none()
        return None if body is None else msgspec.json.decode(body, type=Sowing)

    def standing(self, limit: int) -> list[SowingStands]:
        """Return what stands in the house, by place, the longest sown first."""
        life = sowing_life.c
        rows = self._connection.execute(
            select(
                life.sowing,
                life.crop,
                life.variety,
                life.place,
                life.sown_date,
                func.count().label("n_trays"),
                func.count(tray.c.counted_date).label("n_trays_counted"),
                func.min(tray.c.number).label("first_tray"),
                life.counted_date,
            )
            .join(tray, and_(tray.c.sowing == life.sowing, tray.c.gone_date.is_(None)))
            .where(life.ended_date.is_(None))
            .group_by(
                life.sowing, life.crop, life.variety, life.place, life.sown_date, life.counted_date
            )
            .order_by(life.place, life.sown_date, life.sowing)
            .limit(limit)
        )
        return [SowingStands(**row._mapping) for row in rows]  # noqa: SLF001


def _jobs(plan_id: int, card: ColumnElement[str]) -> Select[Any]:
    """Ask for planned jobs with their sowing, what ticked them off, and the life so far."""
    job, planned, life, done = planned_job.c, planned_sowing.c, sowing_life.c, job_done.c
    return (
        select(
            job.key,
            job.date,
            job.task,
            job.sowing,
            job.place,
            job.minutes,
            job.slack_d,
            job.words,
            planned.body,
            planned.orders,
            card.label("card"),
            done.entry.label("done_entry"),
            done.date.label("done_date"),
            done.at.label("done_at"),
            done.person.label("done_person"),
            life.sown_date,
            life.counted_date,
            life.ended_date,
        )
        .select_from(planned_job)
        .outerjoin(planned_sowing, and_(planned.plan == job.plan, planned.sowing == job.sowing))
        .outerjoin(job_done, done.key == job.key)
        .outerjoin(sowing_life, life.sowing == job.sowing)
        .where(job.plan == plan_id)
        .order_by(job.date, job.key)
    )


def _day_job(row: Row[Any]) -> DayJob:
    """Read one row of jobs."""
    return DayJob(
        key=row.key,
        date=row.date,
        task=row.task,
        sowing=row.sowing,
        place=row.place,
        minutes=row.minutes,
        slack_d=row.slack_d,
        words=row.words,
        planned=None if row.body is None else msgspec.json.decode(row.body, type=Sowing),
        orders=_names(row.orders),
        card=row.card or "",
        done_entry=row.done_entry or "",
        done_date=row.done_date,
        done_at=row.done_at,
        done_person=row.done_person or "",
        sown_date=row.sown_date,
        counted_date=row.counted_date,
        ended_date=row.ended_date,
    )


def _names(text: str | None) -> tuple[str, ...]:
    """Read names with bars between."""
    return tuple(text.split("|")) if text else ()
