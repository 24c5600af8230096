"""The plan: sowings with their steps, what each order gets, what is unmet, tasks and supplies."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from sowbench.domain.records import StepKind


@dataclass(frozen=True, slots=True)
class HandOver:
    """Plants of one sowing handed over on one day."""

    date: date
    sowing: str
    plants: int


@dataclass(frozen=True, slots=True)
class OrderPlan:
    """What one order gets and how sure it is."""

    order: str
    plants: int
    planned: int
    chance_enough_frac: float
    chance_in_time_frac: float
    chance_filled_frac: float
    expected_short: float
    risky: tuple[str, ...] = ()
    hand_over: tuple[HandOver, ...] = ()


@dataclass(frozen=True, slots=True)
class SowingShare:
    """The plants of a sowing meant for one order."""

    order: str
    plants: int


@dataclass(frozen=True, slots=True)
class Step:
    """A stretch in one container, at one spacing, in one place, on [from_date, to_date)."""

    kind: StepKind
    container: str
    n_containers: int
    n_cells: int
    plants_per_m2: float
    place: str
    from_date: date
    to_date: date
    from_sowings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Span:
    """Ten, fifty and ninety percent points of a date; ``p90`` is absent where it is not asked."""

    p10: date
    p50: date
    p90: date | None = None


@dataclass(frozen=True, slots=True)
class Spread:
    """Five, fifty and ninety-five percent points of a number of usable plants."""

    p05: int
    p50: int
    p95: int


@dataclass(frozen=True, slots=True)
class Sowing:
    """One start of one crop from one lot on one day, carried through its steps."""

    sowing: str
    orders: tuple[SowingShare, ...]
    crop: str
    variety: str
    lot: str
    seeds_per_cell: int
    plants_per_cell: tuple[int, int]
    n_cells: int
    n_seeds: int
    sow_date: date
    steps: tuple[Step, ...]
    ready_date: Span
    overgrown_date: Span
    plants: Spread
    standing: bool = False


@dataclass(frozen=True, slots=True)
class Offer:
    """A change that would fit an unmet order into this very plan."""

    kind: str
    plants: int | None = None
    wanted_on: date | None = None
    container: str = ""
    place: str = ""
    variety: str = ""
    amount: int | None = None
    latest_date: date | None = None
    cost_change: float | None = None
    chance_filled_frac: float | None = None


@dataclass(frozen=True, slots=True)
class Unmet:
    """Plants of an order that are not planned, with the reason and what would help."""

    order: str
    plants: int
    reason: str
    offers: tuple[Offer, ...] = ()
    words: str = ""


@dataclass(frozen=True, slots=True)
class Task:
    """One job on one day."""

    date: date
    task: str
    sowing: str
    place: str
    minutes: float
    slack_d: int = 0
    words: str = ""


@dataclass(frozen=True, slots=True)
class Supply:
    """Something needed by a day: what is there and what to buy."""

    needed_on: date
    order_by: date
    item: str
    amount: float
    unit: str
    in_stock: float
    to_buy: float


@dataclass(frozen=True, slots=True)
class Price:
    """Shadow price of a place, the crew, a container or a lot on a day."""

    kind: str
    name: str
    date: date
    price: float


@dataclass(frozen=True, slots=True)
class Moved:
    """One difference between the kept plan and the new one."""

    sowing: str
    what: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole season's plan; see formats in docs/formats.md."""

    from_date: date
    until_date: date
    cost: float
    cost_parts: dict[str, float]
    bound: float
    gap_frac: float
    gap_without_short_frac: float
    seconds: float
    seed: int
    assumptions: tuple[str, ...]
    orders: tuple[OrderPlan, ...]
    sowings: tuple[Sowing, ...]
    unmet: tuple[Unmet, ...]
    tasks: tuple[Task, ...]
    supplies: tuple[Supply, ...]
    prices: tuple[Price, ...]
    moved: tuple[Moved, ...] = field(default=())
    format: str = "sowbench-plan/1"
