"""Choices about what was learned, a cache of finished sowings, and what plans were made with."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Final

import msgspec
from sqlalchemy import delete, func, insert, select, update

from sowbench.domain.book import Change
from sowbench.domain.journal import EntryKind
from sowbench.domain.ports.learned import Ended, FactorChoice, KeptFinished, OrderOver
from sowbench.store import tables as t
from sowbench.store.bulk import insert_rows
from sowbench.store.changes import history, write_changes
from sowbench.store.repository import Repository, in_parts

SUBJECT: Final = "factor"
_COLUMNS: Final = ("sowing", "seq", "basis", "body")
# Plans whose jobs are looked up, the newest first (our limit).
_N_PLANS: Final = 60


class LearnedStore(Repository):
    """What was learned and decided; see domain.ports.learned."""

    def choices(self) -> list[FactorChoice]:
        """Return the choices that hold.

        Returns
        -------
        choices : list of FactorChoice
            By name.
        """
        c = t.factor_choice.c
        query = select(c.name, c.value, c.at, c.person, c.reason).order_by(c.name)
        return [FactorChoice(*row) for row in self._connection.execute(query)]

    def choose(
        self, name: str, value: float | None, at: datetime, person: str, reason: str
    ) -> bool:
        """Freeze a factor or drop evidence.

        Parameters
        ----------
        name : str
            What it is about.
        value : float or None
            Multiplier of a frozen factor; None of dropped evidence.
        at : datetime
            Instant of the choice.
        person, reason : str
            Who chose, and why.

        Returns
        -------
        changed : bool
            Whether it was not so already.
        """
        table = t.factor_choice
        found = self._connection.execute(select(table.c.value).where(table.c.name == name)).first()
        if found is not None and found[0] == value:
            return False
        row = {"value": value, "at": at, "person": person, "reason": reason}
        if found is None:
            self._connection.execute(insert(table).values(name=name, **row))
        else:
            self._connection.execute(update(table).where(table.c.name == name).values(**row))
        before = None if found is None else _json(found[0])
        changes = [(name, before, _json(value))]
        write_changes(self._connection, SUBJECT, changes, at, person, reason)
        return True

    def undo(self, name: str, at: datetime, person: str, reason: str) -> bool:
        """Take a choice back.

        Parameters
        ----------
        name : str
            What it is about.
        at : datetime
            Instant.
        person, reason : str
            Who took it back, and why.

        Returns
        -------
        changed : bool
            Whether there was one.
        """
        table = t.factor_choice
        found = self._connection.execute(select(table.c.value).where(table.c.name == name)).first()
        if found is None:
            return False
        self._connection.execute(delete(table).where(table.c.name == name))
        changes = [(name, _json(found[0]), None)]
        write_changes(self._connection, SUBJECT, changes, at, person, reason)
        return True

    def history(self, name: str) -> list[Change]:
        """Return the changes of a choice, the first first.

        Parameters
        ----------
        name : str
            What it is about.

        Returns
        -------
        changes : list of Change
            The changes.
        """
        return history(self._connection, SUBJECT, name)

    def ended(self, limit: int) -> list[Ended]:
        """Return the sowings that ended last.

        Parameters
        ----------
        limit : int
            How many at most.

        Returns
        -------
        ended : list of Ended
            The newest first.
        """
        life, entry = t.sowing_life.c, t.entry.c
        of_sowing = entry.sowing == life.sowing
        last = select(func.max(entry.seq)).where(of_sowing).scalar_subquery()
        of_last = select(entry.id).where(of_sowing).order_by(entry.seq.desc()).limit(1)
        which = of_last.scalar_subquery()
        query = (
            select(life.sowing, life.crop, life.sown_date, life.ended_date, last, which)
            .where(life.ended_date.is_not(None), life.sown_date.is_not(None))
            .order_by(life.ended_date.desc(), life.sowing)
            .limit(limit)
        )
        return [
            Ended(sowing, crop, sown, ended, seq or 0, last_id or "")
            for sowing, crop, sown, ended, seq, last_id in self._connection.execute(query)
        ]

    def last_seq(self) -> int:
        """Return the number of the last entry.

        Returns
        -------
        seq : int
            0 in an empty journal.
        """
        return int(self._connection.execute(select(func.max(t.entry.c.seq))).scalar_one() or 0)

    def finished(self) -> dict[str, KeptFinished]:
        """Return what was made of finished sowings.

        Returns
        -------
        finished : dict of str to KeptFinished
            By sowing.
        """
        query = select(*(t.finished_sowing.c[name] for name in _COLUMNS))
        return {row[0]: KeptFinished(*row) for row in self._connection.execute(query)}

    def keep_finished(self, rows: Sequence[KeptFinished]) -> None:
        """Keep what was made of finished sowings.

        Parameters
        ----------
        rows : sequence of KeptFinished
            They take the place of what there is of the same sowings.
        """
        self.forget_finished([each.sowing for each in rows])
        insert_rows(self._connection, t.finished_sowing, _COLUMNS, [tuple(each) for each in rows])

    def forget_finished(self, sowings: Iterable[str]) -> None:
        """Forget sowings.

        Parameters
        ----------
        sowings : iterable of str
            Those that are not finished after all, or are made anew.
        """
        for part in in_parts(sowings):
            query = delete(t.finished_sowing).where(t.finished_sowing.c.sowing.in_(part))
            self._connection.execute(query)

    def losses_entered(self, sowings: Iterable[str]) -> frozenset[int]:
        """Return the years in which losses of some sowings were entered.

        Parameters
        ----------
        sowings : iterable of str
            Their names.

        Returns
        -------
        years : frozenset of int
            Years.
        """
        entry = t.entry.c
        years: set[int] = set()
        for part in in_parts(sowings):
            query = (
                select(entry.day_date)
                .where(entry.kind == EntryKind.LOST.value, entry.sowing.in_(part))
                .distinct()
            )
            years |= {day.year for day in self._connection.execute(query).scalars()}
        return frozenset(years)

    def keep_plan(self, plan_id: int, body: str) -> None:
        """Keep what was learned when a plan was made.

        Parameters
        ----------
        plan_id : int
            Number of the plan.
        body : str
            Values as JSON.
        """
        table = t.plan_learned
        self._connection.execute(delete(table).where(table.c.plan == plan_id))
        self._connection.execute(insert(table).values(plan=plan_id, body=body))

    def of_plan(self, plan_id: int) -> str | None:
        """Return what was learned when a plan was made.

        Parameters
        ----------
        plan_id : int
            Number of the plan.

        Returns
        -------
        body : str or None
            Values as JSON; None if nothing was.
        """
        query = select(t.plan_learned.c.body).where(t.plan_learned.c.plan == plan_id)
        return self._connection.execute(query).scalar_one_or_none()

    def orders_over(self, today: date, limit: int) -> list[OrderOver]:
        """Return orders that a plan foretold and whose last day is past.

        Parameters
        ----------
        today : date
            The day in the house.
        limit : int
            How many at most.

        Returns
        -------
        orders : list of OrderOver
            The newest first; cancelled ones are left out.
        """
        o, given = t.orders.c, t.delivery.c
        had = (
            select(func.coalesce(func.sum(given.plants), 0))
            .where(given.name == o.name, given.date <= o.latest_date)
            .scalar_subquery()
        )
        query = (
            select(o.name, o.crop, o.plants, o.min_frac, o.latest_date, had)
            .where(o.latest_date < today, o.status != "cancelled")
            .order_by(o.latest_date.desc(), o.name)
            .limit(limit)
        )
        rows = list(self._connection.execute(query))
        chances: dict[str, list[float]] = {}
        ids, planned = self._accepted(), t.planned_order.c
        for part in in_parts([row[0] for row in rows], 500):
            told = (
                select(planned.name, planned.chance_filled_frac)
                .where(planned.plan.in_(ids), planned.name.in_(part))
                .order_by(planned.plan)
            )
            for name, chance in self._connection.execute(told):
                chances.setdefault(name, []).append(float(chance))
        return [
            OrderOver(*row[:5], int(row[5]), chances[row[0]][0], chances[row[0]][-1])
            for row in rows
            if row[0] in chances
        ]

    def _accepted(self) -> list[int]:
        """Return the last plans that were accepted."""
        plans = (
            select(t.plan.c.id)
            .where(t.plan.c.accepted_at.is_not(None))
            .order_by(t.plan.c.id.desc())
            .limit(_N_PLANS)
        )
        return list(self._connection.execute(plans).scalars())

    def minutes_planned(self, keys: Iterable[str]) -> Mapping[str, tuple[int, float]]:
        """Return the minutes of planned jobs.

        Parameters
        ----------
        keys : iterable of str
            Keys of jobs.

        Returns
        -------
        minutes : mapping of str to (int, float)
            By key, the last accepted plan that had the job, and its minutes [min].
        """
        ids = self._accepted()
        job = t.planned_job.c
        found: dict[str, tuple[int, float]] = {}
        for part in in_parts(keys):
            query = (
                select(job.key, job.plan, job.minutes)
                .where(job.plan.in_(ids), job.key.in_(part))
                .order_by(job.plan)
            )
            for key, number, minutes in self._connection.execute(query):
                found[key] = (number, float(minutes))
        return found


def _json(value: float | None) -> str:
    """Return the value of a choice as JSON."""
    return msgspec.json.encode(value).decode()
