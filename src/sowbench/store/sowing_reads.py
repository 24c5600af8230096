"""What the page of one sowing, and the workings of its numbers, read."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, timedelta
from typing import Any, Final

import msgspec
from sqlalchemy import Row, Select, func, select

from sowbench.domain.book import Kept
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.plan import OrderPlan, Sowing
from sowbench.domain.ports.sowings_page import Given, Life, PlannedJob, PlannedUseDay, TrayState
from sowbench.store.entry_rows import entry_of, kept_of, kept_rows, standing_rows
from sowbench.store.repository import Repository
from sowbench.store.tables import (
    delivery,
    entry,
    job_done,
    planned_job,
    planned_order,
    planned_sowing,
    planned_stay,
    planned_use,
    sowing_life,
    tray,
)

LIFE: Final = (
    sowing_life.c.sowing,
    sowing_life.c.crop,
    sowing_life.c.variety,
    sowing_life.c.lot,
    sowing_life.c.sown_date,
    sowing_life.c.n_cells,
    sowing_life.c.n_lost,
    sowing_life.c.n_delivered,
    sowing_life.c.counted_date,
    sowing_life.c.n_right,
    sowing_life.c.n_seen,
    sowing_life.c.place,
    sowing_life.c.ended_date,
    sowing_life.c.last_entry_at,
    sowing_life.c.n_entries,
)
PLANNED: Final = msgspec.json.Decoder(Sowing)
_ORDER_PLAN: Final = msgspec.json.Decoder(OrderPlan)
_NUMBERS: Final = msgspec.json.Decoder(list[float])


class SowingReads(Repository):
    """Reads for one sowing; see domain.ports.sowings_page."""

    def life(self, sowing: str) -> Life | None:
        """Return what the journal says of a sowing.

        Parameters
        ----------
        sowing : str
            Its name.

        Returns
        -------
        life : Life or None
            None if the journal knows nothing of it.
        """
        row = self._connection.execute(
            select(*LIFE).where(sowing_life.c.sowing == sowing)
        ).one_or_none()
        return None if row is None else life_of(row)

    def planned(self, plan: int, sowings: Collection[str]) -> dict[str, Sowing]:
        """Return planned sowings by name.

        Parameters
        ----------
        plan : int
            The plan.
        sowings : collection of str
            Their names.

        Returns
        -------
        planned : dict of str to Sowing
            Those that the plan has.
        """
        rows = self._connection.execute(
            select(planned_sowing.c.sowing, planned_sowing.c.body)
            .where(planned_sowing.c.plan == plan, planned_sowing.c.sowing.in_(sowings))
            .order_by(planned_sowing.c.position)
        )
        return {row.sowing: PLANNED.decode(row.body) for row in rows}

    def planned_of_lot(self, plan: int, lot: str) -> list[Sowing]:
        """Return the planned sowings of a lot.

        Parameters
        ----------
        plan : int
            The plan.
        lot : str
            The lot.

        Returns
        -------
        sowings : list of Sowing
            By their day.
        """
        rows = self._connection.execute(
            select(planned_sowing.c.body)
            .where(planned_sowing.c.plan == plan, planned_sowing.c.lot == lot)
            .order_by(planned_sowing.c.sow_date, planned_sowing.c.sowing)
        )
        return [PLANNED.decode(row.body) for row in rows]

    def standing_in(self, plan: int, place: str, day: date) -> list[Sowing]:
        """Return the planned sowings that stand in a place on a day.

        Parameters
        ----------
        plan : int
            The plan.
        place : str
            The place.
        day : date
            The day.

        Returns
        -------
        sowings : list of Sowing
            In the order of the plan.
        """
        there = (
            select(planned_stay.c.sowing)
            .where(
                planned_stay.c.plan == plan,
                planned_stay.c.place == place,
                planned_stay.c.from_date <= day,
                planned_stay.c.to_date > day,
            )
            .distinct()
        )
        rows = self._connection.execute(
            select(planned_sowing.c.body)
            .where(planned_sowing.c.plan == plan, planned_sowing.c.sowing.in_(there))
            .order_by(planned_sowing.c.position)
        )
        return [PLANNED.decode(row.body) for row in rows]

    def card(self, plan: int, sowing: str) -> str:
        """Return the how-to-sow card of a planned sowing.

        Parameters
        ----------
        plan : int
            The plan.
        sowing : str
            The sowing.

        Returns
        -------
        card : str
            JSON; blank without one.
        """
        found = self._connection.scalar(
            select(planned_sowing.c.card).where(
                planned_sowing.c.plan == plan, planned_sowing.c.sowing == sowing
            )
        )
        return found or ""

    def order_plans(self, plan: int, orders: Collection[str]) -> dict[str, OrderPlan]:
        """Return what orders get by a plan.

        Parameters
        ----------
        plan : int
            The plan.
        orders : collection of str
            Names of the orders.

        Returns
        -------
        plans : dict of str to OrderPlan
            Those that the plan has.
        """
        rows = self._connection.execute(
            select(planned_order.c.name, planned_order.c.body).where(
                planned_order.c.plan == plan, planned_order.c.name.in_(orders)
            )
        )
        return {row.name: _ORDER_PLAN.decode(row.body) for row in rows}

    def trays(self, sowing: str) -> list[TrayState]:
        """Return all trays of a sowing by number, without the maps of their cells.

        Parameters
        ----------
        sowing : str
            The sowing.

        Returns
        -------
        trays : list of TrayState
            Those that are gone too.
        """
        t = tray.c
        rows = self._connection.execute(
            select(
                t.number, t.container, t.n_cells, t.place, t.from_date, t.gone_date, t.gone_how,
                t.counted_date, t.counted_by, t.n_right, t.n_seen,
            )
            .where(t.sowing == sowing)
            .order_by(t.number)
        )  # fmt: skip
        return [TrayState(*row) for row in rows]

    def tray_maps(self, sowing: str, numbers: Collection[int]) -> dict[int, str]:
        """Return the maps of some trays.

        Parameters
        ----------
        sowing : str
            The sowing.
        numbers : collection of int
            Numbers of the trays.

        Returns
        -------
        maps : dict of int to str
            A mark a cell, row by row; blank where it was not counted cell by cell.
        """
        rows = self._connection.execute(
            select(tray.c.number, tray.c.cells).where(
                tray.c.sowing == sowing, tray.c.number.in_(numbers)
            )
        )
        return {row.number: row.cells for row in rows}

    def entries(self, sowing: str, before_seq: int | None, limit: int) -> list[Kept]:
        """Return entries about a sowing.

        Parameters
        ----------
        sowing : str
            The sowing.
        before_seq : int or None
            Where the window before ended.
        limit : int
            Most entries.

        Returns
        -------
        entries : list of Kept
            The newest first, struck ones too.
        """
        query = kept_rows().where(entry.c.sowing == sowing)
        if before_seq is not None:
            query = query.where(entry.c.seq < before_seq)
        rows = self._connection.execute(query.order_by(entry.c.seq.desc()).limit(limit))
        return [kept_of(row) for row in rows]

    def told_by(self, sowing: str, kinds: Sequence[EntryKind], limit: int) -> list[Entry]:
        """Return the entries of some kinds about a sowing that stand.

        Parameters
        ----------
        sowing : str
            The sowing.
        kinds : sequence of EntryKind
            Which kinds.
        limit : int
            Most entries.

        Returns
        -------
        entries : list of Entry
            In the order of days, then of arrival.
        """
        query = standing_rows().where(
            entry.c.sowing == sowing, entry.c.kind.in_([each.value for each in kinds])
        )
        query = query.order_by(entry.c.day_date, entry.c.seq).limit(limit)
        return [entry_of(row) for row in self._connection.execute(query)]

    def given(self, sowing: str) -> list[Given]:
        """Return what was handed over of a sowing.

        Parameters
        ----------
        sowing : str
            The sowing.

        Returns
        -------
        given : list of Given
            By day.
        """
        d = delivery.c
        rows = self._connection.execute(
            select(d.entry, d.sowing, d.name, d.date, d.plants)
            .where(d.sowing == sowing)
            .order_by(d.date, d.entry)
        )
        return [Given(*row) for row in rows]

    def jobs(self, plan: int, sowing: str) -> list[PlannedJob]:
        """Return the planned jobs around a sowing.

        Parameters
        ----------
        plan : int
            The plan.
        sowing : str
            The sowing.

        Returns
        -------
        jobs : list of PlannedJob
            By day, with what ticked them off.
        """
        query = _jobs().where(planned_job.c.plan == plan, planned_job.c.sowing == sowing)
        rows = self._connection.execute(query.order_by(planned_job.c.date, planned_job.c.key))
        return [PlannedJob(*row) for row in rows]

    def job(self, plan: int, key: str) -> PlannedJob | None:
        """Return one planned job.

        Parameters
        ----------
        plan : int
            The plan.
        key : str
            Key of the job.

        Returns
        -------
        job : PlannedJob or None
            None if the plan has none of that key.
        """
        row = self._connection.execute(
            _jobs().where(planned_job.c.plan == plan, planned_job.c.key == key)
        ).one_or_none()
        return None if row is None else PlannedJob(*row)

    def jobs_on(self, plan: int, day: date) -> list[PlannedJob]:
        """Return all planned jobs of a day.

        Parameters
        ----------
        plan : int
            The plan.
        day : date
            The day.

        Returns
        -------
        jobs : list of PlannedJob
            By their keys.
        """
        query = _jobs().where(planned_job.c.plan == plan, planned_job.c.date == day)
        return [PlannedJob(*row) for row in self._connection.execute(query.order_by("key"))]

    def use(self, plan: int, name: str, day: date) -> PlannedUseDay | None:
        """Return how full a place is planned to be on a day.

        Parameters
        ----------
        plan : int
            The plan.
        name : str
            A place, or "hands".
        day : date
            The day.

        Returns
        -------
        use : PlannedUseDay or None
            None if the plan says nothing of the place; 0 on days outside the plan.
        """
        row = self._connection.execute(
            select(planned_use).where(planned_use.c.plan == plan, planned_use.c.name == name)
        ).one_or_none()
        if row is None:
            return None
        at = (day - row.first_date) // timedelta(days=1)
        use = _NUMBERS.decode(row.use)
        capacity = None if row.capacity is None else _NUMBERS.decode(row.capacity)
        inside = 0 <= at < len(use)
        return PlannedUseDay(
            name,
            row.unit,
            use[at] if inside else 0.0,
            capacity[at] if capacity is not None and inside else None,
        )


def _jobs() -> Select[Any]:
    """Planned jobs with what ticked them off."""
    j = planned_job.c
    return select(
        j.key, j.date, j.task, j.sowing, j.place, j.minutes, j.slack_d,
        job_done.c.date.label("done_date"), func.coalesce(job_done.c.person, ""),
    ).select_from(planned_job.outerjoin(job_done, job_done.c.key == j.key))  # fmt: skip


def life_of(row: Row[*tuple[Any, ...]]) -> Life:
    """Return the record of a life.

    Parameters
    ----------
    row : Row
        A row that has the columns of `LIFE`.

    Returns
    -------
    life : Life
        The record.
    """
    return Life(**{each.name: row._mapping[each.name] for each in LIFE})  # noqa: SLF001
