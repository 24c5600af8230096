"""The parts that services work with, as they are asked for; `bootstrap` wires the real ones."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from sowbench.domain.plan import Plan
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
        self, plan: Plan, inputs: PlanInputs, cancelled: Sequence[Order] = ()
    ) -> ReportLike:
        """Check a plan against what it was made from."""


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
    draw : Painter or None
        Draws the season; None writes no picture.
    """

    make_plan: Planner
    check_plan: Checker
    draw: Painter | None = None
