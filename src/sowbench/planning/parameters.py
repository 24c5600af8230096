"""Parameters of the search: every default can be explained, and is checked on construction."""

from __future__ import annotations

from dataclasses import dataclass

from sowbench.science.errors import OutOfRangeError


@dataclass(frozen=True, slots=True)
class SolveParameters:
    """How the planner searches.

    Attributes
    ----------
    seconds : float
        Ceiling on the whole search [s].
    rounds : int or None
        Number of neighborhood rounds; with one thread this is the work limit that makes a plan
        repeatable. None: as many as `seconds` allow.
    columns_per_order : int
        Candidates an order adds to the linear program in one pricing round (more make rounds
        fewer and heavier; 6 was quickest on the demo).
    pool_per_order : int
        Candidates an order takes into the integer search, by reduced cost.
    max_parts : int
        Most sowings an order is split into; a crew loses track of more.
    min_part_frac : float
        Least share of an order that is worth a sowing of its own.
    neighborhood_orders : int
        Orders freed together in one round, in the middle: rounds take half, all or one and a half
        times as many.
    near_per_order : int
        Candidates of an order on offer in one round, by reduced cost; more after rounds in vain.
        Many orders with few candidates each get further than the other way round.
    split_per_order : int
        Candidates of an order that may be taken in part, by reduced cost; those of the linear
        program and of the plan at hand come on top.
    round_seconds, round_gap_frac : float
        Ceiling on one round [s], and the gap at which it ends.
    gap_frac : float
        The search ends at this gap to the bound.
    """

    seconds: float = 30.0
    rounds: int | None = None
    columns_per_order: int = 6
    pool_per_order: int = 40
    max_parts: int = 3
    min_part_frac: float = 0.1
    neighborhood_orders: int = 20
    near_per_order: int = 10
    split_per_order: int = 3
    round_seconds: float = 5.0
    round_gap_frac: float = 0.001
    gap_frac: float = 0.001

    @property
    def by_work(self) -> bool:
        """Whether the search is limited by work, and so repeatable, not by the clock."""
        return self.rounds is not None

    def __post_init__(self) -> None:
        """Refuse values that make no sense."""
        if self.seconds <= 0:
            raise OutOfRangeError("seconds", "must be above 0 s", self.seconds, "Give at least 1.")
        if self.rounds is not None and self.rounds < 0:
            raise OutOfRangeError("rounds", "must be 0 or more", self.rounds, "Leave it out.")
        if not 0 < self.min_part_frac <= 1:
            raise OutOfRangeError(
                "min_part_frac", "must be above 0 and at most 1", self.min_part_frac, "Try 0.1."
            )
