"""Plans: every version is kept; one is current."""

from __future__ import annotations

from datetime import date, datetime
from typing import Protocol

from sowbench.domain.book import NewPlan, PlanHead, PlanRun, RunState
from sowbench.domain.plan import Plan


class Plans(Protocol):
    """Versions of the plan, with what pages read of them laid out in tables."""

    def add(self, new: NewPlan, at: datetime, person: str) -> int:
        """Keep a plan as proposed; return its number."""

    def accept(self, plan_id: int, at: datetime) -> None:
        """Make a plan current; what was current is past."""

    def decline(self, plan_id: int) -> None:
        """Set a proposed plan aside."""

    def current(self) -> PlanHead | None:
        """Return the plan by which the house works; None before the first."""

    def head(self, plan_id: int) -> PlanHead | None:
        """Return what a list shows of one plan."""

    def heads(self, limit: int = 50) -> list[PlanHead]:
        """Return the last versions, the newest first."""

    def body(self, plan_id: int) -> Plan:
        """Return a whole plan."""


class Runs(Protocol):
    """Runs of the planner; its progress goes by a file of the run, see services/planning.py."""

    def start(self, at: datetime, person: str, from_date: date, seconds: float) -> int:
        """Write down that a run begins; return its number."""

    def end(
        self, run_id: int, at: datetime, state: RunState, plan: int | None, message: str
    ) -> None:
        """Write down how a run ended."""

    def get(self, run_id: int) -> PlanRun | None:
        """Return one run."""

    def latest(self) -> PlanRun | None:
        """Return the last run."""
