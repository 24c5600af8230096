"""What finished sowings say of the handbook, and what the grower decided of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import NamedTuple, Protocol

from sowbench.domain.book import Change


class FactorChoice(NamedTuple):
    """One decision of the grower that holds.

    Attributes
    ----------
    name : str
        ``freeze|`` and the key of a factor, or ``drop|`` and the key of evidence.
    value : float or None
        Multiplier of a frozen factor; None of dropped evidence.
    at : datetime
        When it was decided.
    person, reason : str
        By whom and why.
    """

    name: str
    value: float | None
    at: datetime
    person: str
    reason: str


class Ended(NamedTuple):
    """A sowing that has ended, and the last entry about it."""

    sowing: str
    crop: str
    sown_date: date
    ended_date: date
    last_seq: int
    last_entry: str


class KeptFinished(NamedTuple):
    """What was made of a finished sowing, and from what."""

    sowing: str
    seq: int
    basis: str
    body: str


class OrderOver(NamedTuple):
    """An order whose last day is past: what it wanted, had by then, and was foretold.

    Attributes
    ----------
    order, crop : str
        The order.
    plants : int
        Plants wanted.
    min_frac : float
        Share of them that fills it.
    latest_date : date
        Its last day.
    given : int
        Plants handed over by then.
    first_chance_frac, last_chance_frac : float
        Chance to be filled in time by the first plan that was accepted with it, and by the last.
    """

    order: str
    crop: str
    plants: int
    min_frac: float
    latest_date: date
    given: int
    first_chance_frac: float
    last_chance_frac: float


class LearnedStore(Protocol):
    """Choices, each change of one kept; and a cache of finished sowings."""

    def choices(self) -> list[FactorChoice]:
        """Return the choices that hold, by name."""

    def choose(
        self, name: str, value: float | None, at: datetime, person: str, reason: str
    ) -> bool:
        """Freeze or drop; tell whether it was not so already."""

    def undo(self, name: str, at: datetime, person: str, reason: str) -> bool:
        """Take a choice back; tell whether there was one."""

    def history(self, name: str) -> list[Change]:
        """Return the changes of a choice, the first first."""

    def ended(self, limit: int) -> list[Ended]:
        """Return the sowings that ended last, the newest first."""

    def last_seq(self) -> int:
        """Return the number of the last entry; 0 in an empty journal."""

    def finished(self) -> dict[str, KeptFinished]:
        """Return what was made of finished sowings, by sowing."""

    def keep_finished(self, rows: Sequence[KeptFinished]) -> None:
        """Keep what was made of finished sowings, in place of what there is of them."""

    def forget_finished(self, sowings: Iterable[str]) -> None:
        """Forget sowings that are not finished after all."""

    def losses_entered(self, sowings: Iterable[str]) -> frozenset[int]:
        """Return the years in which losses of some sowings were entered."""

    def keep_plan(self, plan_id: int, body: str) -> None:
        """Keep what was learned when a plan was made."""

    def of_plan(self, plan_id: int) -> str | None:
        """Return what was learned when a plan was made; None if nothing was."""

    def orders_over(self, today: date, limit: int) -> list[OrderOver]:
        """Return orders that a plan foretold and whose last day is past, the newest first."""

    def minutes_planned(self, keys: Iterable[str]) -> Mapping[str, tuple[int, float]]:
        """Return, by key of job, the last accepted plan that had it, and its minutes."""
