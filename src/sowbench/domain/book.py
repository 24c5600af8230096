"""Records of the house book: entries as they were kept, changes, versions of house and plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from sowbench.domain.journal import Entry
from sowbench.domain.plan import Plan


class Taken(StrEnum):
    """What became of an entry that was sent in."""

    TAKEN = "taken"
    KNOWN = "known"
    CLASH = "clash"


@dataclass(frozen=True, slots=True)
class Kept:
    """An entry as the journal holds it; `struck_by` is the id of what corrects it."""

    seq: int
    entry: Entry
    received_at: datetime
    struck_by: str = ""


@dataclass(frozen=True, slots=True)
class Added:
    """What became of one entry: taken, known already, or its id is taken by another entry.

    `notes` say what a person should look at, such as a tray that someone else counted today.
    """

    id: str
    state: Taken
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Change:
    """One change of an order, lot, pin, standing sowing or house; JSON before and after."""

    seq: int
    at: datetime
    person: str
    subject: str
    name: str
    before: str | None
    after: str | None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class HouseVersion:
    """house.toml as it was from one moment on."""

    version: int
    at: datetime
    person: str
    text: str
    reason: str = ""


class PlanState(StrEnum):
    """What a plan version is: proposed until it is accepted or declined, past once another is."""

    PROPOSED = "proposed"
    CURRENT = "current"
    PAST = "past"
    DECLINED = "declined"


@dataclass(frozen=True, slots=True)
class PlanHead:
    """What a list of plan versions shows of one."""

    id: int
    made_at: datetime
    person: str
    state: PlanState
    accepted_at: datetime | None
    based_on: int | None
    house_version: int | None
    from_date: date
    until_date: date
    cost: float
    bound: float
    gap_frac: float
    n_sowings: int
    n_orders: int
    n_unmet: int
    n_moved: int


@dataclass(frozen=True, slots=True)
class PlannedUse:
    """Use of one place, or of the hands, by day from a first one; capacity None is no limit."""

    name: str
    unit: str
    first_date: date
    use: Sequence[float]
    capacity: Sequence[float] | None


@dataclass(frozen=True, slots=True)
class NewPlan:
    """A plan to be kept, with what was worked out beside it; cards are JSON by sowing."""

    plan: Plan
    uses: tuple[PlannedUse, ...]
    cards: dict[str, str]
    based_on: int | None = None
    house_version: int | None = None


class RunState(StrEnum):
    """How a run of the planner stands."""

    RUNNING = "running"
    DONE = "done"
    STOPPED = "stopped"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class PlanRun:
    """One run of the planner, from start to the plan it made or the reason it made none."""

    id: int
    started_at: datetime
    ended_at: datetime | None
    person: str
    state: RunState
    from_date: date
    seconds: float
    plan: int | None = None
    message: str = ""
