"""Versions of the plan, laid out in tables for the pages, and the runs of the planner."""

from __future__ import annotations

import zlib
from datetime import date, datetime
from typing import Any, Final

import msgspec
from sqlalchemy import Select, insert, literal, select, update

from sowbench.domain.book import NewPlan, PlanHead, PlanRun, PlanState, RunState
from sowbench.domain.plan import Plan
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.store import tables as t
from sowbench.store.plan_rows import plan_body, planned_rows
from sowbench.store.repository import Repository

plan: Final = t.plan
plan_run: Final = t.plan_run

_HEAD: Final = tuple(
    plan.c[name]
    for name in (
        *("id", "made_at", "person", "state", "accepted_at", "based_on", "house_version"),
        *("from_date", "until_date", "cost", "bound", "gap_frac"),
        *("n_sowings", "n_orders", "n_unmet", "n_moved"),
    )
)
_RUN: Final = tuple(
    plan_run.c[name]
    for name in (
        *("id", "started_at", "ended_at", "person", "state", "from_date", "seconds"),
        *("plan", "message"),
    )
)
_PLAN: Final = msgspec.json.Decoder(Plan)


class Plans(Repository):
    """Versions of the plan; see domain.ports.plans."""

    def add(self, new: NewPlan, at: datetime, person: str) -> int:
        """Keep a plan as proposed.

        Parameters
        ----------
        new : NewPlan
            The plan, with what was worked out beside it.
        at : datetime
            Instant at which it was made.
        person : str
            Who had it made.

        Returns
        -------
        plan_id : int
            Its number.
        """
        made = new.plan
        query = insert(plan).values(
            made_at=at,
            person=person,
            state=PlanState.PROPOSED.value,
            based_on=new.based_on,
            house_version=new.house_version,
            from_date=made.from_date,
            until_date=made.until_date,
            cost=float(made.cost),
            bound=float(made.bound),
            gap_frac=float(made.gap_frac),
            n_sowings=len(made.sowings),
            n_orders=len(made.orders),
            n_unmet=len(made.unmet),
            n_moved=len(made.moved),
            body=zlib.compress(plan_body(made)),
        )
        number = int(self._connection.execute(query.returning(plan.c.id)).scalar_one())
        for table, rows in planned_rows(new, number):
            if rows:
                self._connection.execute(insert(table), rows)
        if new.based_on is not None:
            self._carry_learned(new.based_on, number)
        return number

    def _carry_learned(self, before: int, number: int) -> None:
        """Keep with a plan what had been learned for the one before; a new run puts its own."""
        table = t.plan_learned
        row = select(literal(number), table.c.body).where(table.c.plan == before)
        self._connection.execute(insert(table).from_select(["plan", "body"], row))

    def accept(self, plan_id: int, at: datetime) -> None:
        """Make a plan current; what was current is past.

        Parameters
        ----------
        plan_id : int
            Its number.
        at : datetime
            Instant at which it was accepted.

        Raises
        ------
        UnknownNameError
            If there is no plan of that number.
        OutOfRangeError
            If it is neither proposed nor current.
        """
        state = self._state(plan_id)
        if state is PlanState.CURRENT:
            return
        if state is not PlanState.PROPOSED:
            raise OutOfRangeError(f"plan {plan_id}", "proposed to be accepted", state.value)
        self._connection.execute(
            update(plan)
            .where(plan.c.state == PlanState.CURRENT.value)
            .values(state=PlanState.PAST.value)
        )
        self._connection.execute(
            update(plan)
            .where(plan.c.id == plan_id)
            .values(state=PlanState.CURRENT.value, accepted_at=at)
        )

    def decline(self, plan_id: int) -> None:
        """Set a proposed plan aside.

        Parameters
        ----------
        plan_id : int
            Its number.

        Raises
        ------
        UnknownNameError
            If there is no plan of that number.
        OutOfRangeError
            If it is neither proposed nor declined.
        """
        state = self._state(plan_id)
        if state not in {PlanState.PROPOSED, PlanState.DECLINED}:
            raise OutOfRangeError(f"plan {plan_id}", "proposed to be declined", state.value)
        self._connection.execute(
            update(plan).where(plan.c.id == plan_id).values(state=PlanState.DECLINED.value)
        )

    def _state(self, plan_id: int) -> PlanState:
        """Return what a plan is."""
        head = self.head(plan_id)
        if head is None:
            raise UnknownNameError(str(plan_id), "plan")
        return head.state

    def current(self) -> PlanHead | None:
        """Return the plan by which the house works.

        Returns
        -------
        head : PlanHead or None
            The plan; None before the first.
        """
        return self._one(select(*_HEAD).where(plan.c.state == PlanState.CURRENT.value))

    def head(self, plan_id: int) -> PlanHead | None:
        """Return what a list shows of one plan.

        Parameters
        ----------
        plan_id : int
            Its number.

        Returns
        -------
        head : PlanHead or None
            The plan; None if there is none of that number.
        """
        return self._one(select(*_HEAD).where(plan.c.id == plan_id))

    def _one(self, query: Select[Any]) -> PlanHead | None:
        """Return the plan of a query."""
        row = self._connection.execute(query.order_by(plan.c.id.desc()).limit(1)).first()
        return None if row is None else _head_of(row)

    def heads(self, limit: int = 50) -> list[PlanHead]:
        """Return the last versions, the newest first.

        Parameters
        ----------
        limit : int, default 50
            How many at most.

        Returns
        -------
        heads : list of PlanHead
            The plans.
        """
        query = select(*_HEAD).order_by(plan.c.id.desc()).limit(limit)
        return [_head_of(row) for row in self._connection.execute(query)]

    def body(self, plan_id: int) -> Plan:
        """Return a whole plan.

        Parameters
        ----------
        plan_id : int
            Its number.

        Returns
        -------
        plan : Plan
            The plan.

        Raises
        ------
        UnknownNameError
            If there is no plan of that number.
        """
        query = select(plan.c.body).where(plan.c.id == plan_id)
        body = self._connection.execute(query).scalar_one_or_none()
        if body is None:
            raise UnknownNameError(str(plan_id), "plan")
        return _PLAN.decode(zlib.decompress(body))


class Runs(Repository):
    """Runs of the planner; see domain.ports.plans."""

    def start(self, at: datetime, person: str, from_date: date, seconds: float) -> int:
        """Write down that a run begins.

        Parameters
        ----------
        at : datetime
            Instant at which it begins.
        person : str
            Who had it begin.
        from_date : date
            First day to be planned.
        seconds : float
            How long it may search [s].

        Returns
        -------
        run_id : int
            Its number.
        """
        query = insert(plan_run).values(
            started_at=at,
            person=person,
            state=RunState.RUNNING.value,
            from_date=from_date,
            seconds=seconds,
        )
        return int(self._connection.execute(query.returning(plan_run.c.id)).scalar_one())

    def end(
        self, run_id: int, at: datetime, state: RunState, plan: int | None, message: str
    ) -> None:
        """Write down how a run ended.

        Parameters
        ----------
        run_id : int
            Its number.
        at : datetime
            Instant at which it ended.
        state : RunState
            How it ended.
        plan : int or None
            Number of the plan that it made.
        message : str
            What there is to say of it.

        Raises
        ------
        UnknownNameError
            If there is no run of that number.
        """
        done = self._connection.execute(
            update(plan_run)
            .where(plan_run.c.id == run_id)
            .values(ended_at=at, state=state.value, plan=plan, message=message)
        )
        if done.rowcount == 0:
            raise UnknownNameError(str(run_id), "run")

    def get(self, run_id: int) -> PlanRun | None:
        """Return one run.

        Parameters
        ----------
        run_id : int
            Its number.

        Returns
        -------
        run : PlanRun or None
            The run; None if there is none of that number.
        """
        return self._one(select(*_RUN).where(plan_run.c.id == run_id))

    def latest(self) -> PlanRun | None:
        """Return the last run.

        Returns
        -------
        run : PlanRun or None
            The run; None before the first.
        """
        return self._one(select(*_RUN).order_by(plan_run.c.id.desc()).limit(1))

    def _one(self, query: Select[Any]) -> PlanRun | None:
        """Return the run of a query."""
        row = self._connection.execute(query).mappings().first()
        if row is None:
            return None
        return PlanRun(**{**row, "state": RunState(row["state"])})


def _head_of(row: Any) -> PlanHead:
    """Return what a list shows of a plan."""
    values = row._asdict()
    return PlanHead(**{**values, "state": PlanState(values["state"])})
