"""The parts that services work with, as they are asked for; `bootstrap` wires the real ones."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from sowbench.domain.plan import Plan, Sowing
from sowbench.domain.records import Order
from sowbench.exchange.season_use import DailyUse

if TYPE_CHECKING:
    from sowbench.planning.inputs import PlanInputs
    from sowbench.planning.parameters import SolveParameters

Progress = Callable[[str, float, float], bool]
"""Called with what is being done, the bound and the cost so far; true ends the search."""


class Made(NamedTuple):
    """A plan, with the daily use of each place and then of the hands."""

    plan: Plan
    uses: tuple[DailyUse, ...]


class FindingLike(Protocol):
    """One thing that a check found."""

    @property
    def rule(self) -> str:
        """Name of the rule or figure."""

    @property
    def subject(self) -> str:
        """What it is about."""

    @property
    def message(self) -> str:
        """What is wrong, in words."""

    @property
    def expected(self) -> str:
        """What would be right."""

    @property
    def found(self) -> str:
        """What the plan has."""

    @property
    def severity(self) -> Any:
        """``fails`` or ``differs``."""


class ReportLike(Protocol):
    """What a checker gives back."""

    @property
    def findings(self) -> Sequence[FindingLike]:
        """What does not hold."""

    @property
    def n_checks(self) -> Mapping[str, int]:
        """How often each rule was tried."""

    @property
    def figures(self) -> Mapping[str, float]:
        """Figures recomputed as a whole."""

    @property
    def notes(self) -> Sequence[str]:
        """What could not be checked, and why."""


class PromiseAnswerLike(Protocol):
    """One way to fill an order beside a plan."""

    @property
    def date(self) -> dt.date:
        """Day on which it is handed over."""

    @property
    def sow_date(self) -> dt.date:
        """Day on which it is sown."""

    @property
    def container(self) -> str:
        """Container in which it is handed over."""

    @property
    def lot(self) -> str:
        """Lot."""

    @property
    def seeds_per_cell(self) -> int:
        """Seeds per cell."""

    @property
    def n_cells(self) -> int:
        """Cells sown."""

    @property
    def place(self) -> str:
        """Place where it grows."""

    @property
    def cost(self) -> float:
        """What it costs, with what a shortage or a late day may cost."""

    @property
    def chance_enough_frac(self) -> float:
        """Chance that there are enough plants."""

    @property
    def chance_in_time_frac(self) -> float:
        """Chance that they are ready, and not overgrown, on a day that serves."""

    @property
    def chance_filled_frac(self) -> float:
        """Chance of both."""

    @property
    def squeezes(self) -> Sequence[str]:
        """What would be nearly full with it, and when."""

    @property
    def sowing(self) -> Sowing:
        """The sowing that would be made."""

    @property
    def order(self) -> Order:
        """The order as it was fitted, with the days that the chances are told for."""


class PromiseLike(Protocol):
    """What can be promised."""

    @property
    def on_day(self) -> PromiseAnswerLike | None:
        """On the wanted day; None if that does not fit."""

    @property
    def earliest(self) -> PromiseAnswerLike | None:
        """On the earliest day at all; None if there is none."""

    @property
    def reason(self) -> str:
        """Why the wanted day does not fit; blank if it does."""


class Promiser(Protocol):
    """Looks for room for one more order beside a plan."""

    def __call__(self, inputs: PlanInputs, plan: Plan, order: Order, /) -> PromiseLike:
        """Fit one more order beside a plan that stays as it is."""


class Planner(Protocol):
    """Makes a plan."""

    def __call__(
        self,
        inputs: PlanInputs,
        parameters: SolveParameters,
        seed: int,
        progress: Progress | None = None,
    ) -> Made:
        """Plan the season."""


class Checker(Protocol):
    """Recomputes a plan without the planner."""

    def __call__(
        self,
        plan: Plan,
        inputs: PlanInputs,
        cancelled: Sequence[Order] = (),
        *,
        with_bound: bool = True,
    ) -> ReportLike:
        """Check a plan against what it was made from, the bound too unless it is left out."""


class Painter(Protocol):
    """Draws how full places and hands are."""

    def __call__(self, uses: Sequence[DailyUse], title: str) -> Mapping[str, bytes]:
        """Draw; pictures by file name."""


@dataclass(frozen=True, slots=True)
class Parts:
    """The parts behind the services.

    Attributes
    ----------
    make_plan : Planner
        The planner.
    check_plan : Checker
        The checker.
    promise : Promiser
        Fits one more order beside a plan.
    draw : Painter or None
        Draws the season; None writes no picture.
    """

    make_plan: Planner
    check_plan: Checker
    promise: Promiser
    draw: Painter | None = None
