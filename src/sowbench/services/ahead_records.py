"""What the page of what is coming shows: records without anything reckoned."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sowbench.services.sowing_words import Level


@dataclass(frozen=True, slots=True)
class Band:
    """Plants to expect against what is wanted.

    Attributes
    ----------
    low, middle, high, wanted : int
        Nineteen times in twenty more than the low and less than the high; what orders want.
    """

    low: int
    middle: int
    high: int
    wanted: int

    @property
    def most(self) -> int:
        """End of the line on which it is drawn."""
        return max(round(1.1 * max(self.high, self.wanted)), 1)


@dataclass(frozen=True, slots=True)
class OrderAhead:
    """An order of a sowing, now and as planned.

    Attributes
    ----------
    name, customer : str
        Its name, and whom it is for.
    plants : int
        Plants of this sowing that are meant for it.
    wanted_date : date
        Day on which it is wanted.
    enough_frac, in_time_frac, filled_frac : float
        Chances as it looks now.
    planned_frac, planned_enough_frac : float
        Chance to be filled, and chance of enough, by the plan.
    lacks_plants : bool
        Whether it is plants that it lacks more than planned; else it is the day.
    is_alone : bool
        Whether this sowing is the only one that still serves it.
    level : Level
        How pressing it is.
    """

    name: str
    customer: str
    plants: int
    wanted_date: date
    enough_frac: float
    in_time_frac: float
    filled_frac: float
    planned_frac: float
    planned_enough_frac: float
    lacks_plants: bool
    is_alone: bool
    level: Level


@dataclass(frozen=True, slots=True)
class Ahead:
    """One open sowing as it looks today.

    Attributes
    ----------
    name, title : str
        Its name, and what it is.
    level : Level
        How pressing it is.
    sentence : str
        What is true of it.
    counted : str
        What it rests on.
    moved : tuple of str
        What moved it since yesterday; empty for nothing.
    resow : str
        What a resowing would need and until when; blank where it does not help.
    band : Band
        Plants to expect.
    ready, ready_first, ready_last : date or None
        Day on which it is ready, and the days between which it is so eight times in ten.
    planned_ready : date
        As planned.
    overgrown : date or None
        Day from which it is about overgrown.
    slower_frac : float
        How much slower than planned it comes up.
    orders : tuple of OrderAhead
        Whom it is for.
    is_sown : bool
        Whether it was sown.
    """

    name: str
    title: str
    level: Level
    sentence: str
    counted: str
    moved: tuple[str, ...]
    resow: str
    band: Band
    ready: date | None
    ready_first: date | None
    ready_last: date | None
    planned_ready: date
    overgrown: date | None
    slower_frac: float
    orders: tuple[OrderAhead, ...]
    is_sown: bool


@dataclass(frozen=True, slots=True)
class CountWorth:
    """A count that can change a decision today.

    Attributes
    ----------
    sowing, title : str
        What is to be counted.
    words : str
        How much of it.
    rule : str
        What is done by its result, and how often that is wrong.
    minutes : float
        What it takes [min].
    value : float
        Money that it saves on average.
    """

    sowing: str
    title: str
    words: str
    rule: str
    minutes: float
    value: float


@dataclass(frozen=True, slots=True)
class Orphan:
    """An order that nothing will fill any more.

    Attributes
    ----------
    name, customer, crop : str
        The order.
    plants : int
        Plants that it still wants.
    wanted_date : date
        Day on which it is wanted.
    """

    name: str
    customer: str
    crop: str
    plants: int
    wanted_date: date


@dataclass(frozen=True, slots=True)
class OrderNow:
    """An order as it looks now, beside its plan.

    Attributes
    ----------
    name, customer, crop : str
        The order.
    wanted_date : date
        Day on which it is wanted.
    enough_frac, in_time_frac, filled_frac : float
        Chances as it looks now.
    planned_enough_frac, planned_in_time_frac, planned_filled_frac : float
        Chances by the plan.
    confidence_frac : float
        What it was given.
    level : Level
        How pressing it is.
    """

    name: str
    customer: str
    crop: str
    wanted_date: date
    enough_frac: float
    in_time_frac: float
    filled_frac: float
    planned_enough_frac: float
    planned_in_time_frac: float
    planned_filled_frac: float
    confidence_frac: float
    level: Level


@dataclass(frozen=True, slots=True)
class AheadPage:
    """What is coming.

    Attributes
    ----------
    today : date
        The day in the house.
    heading : str
        What is true of the whole.
    pressing : tuple of Ahead
        Sowings to act on or to watch, the most pressing first.
    orphans : tuple of Orphan
        Orders of which no sowing is left.
    counts : tuple of CountWorth
        Counts worth making, those that save most a minute first.
    others : tuple of Ahead
        Sowings that stand and go as planned.
    to_come : int
        Sowings that are still to be sown.
    currency : str
        Money of the house.
    has_plan : bool
        Whether there is a plan.
    """

    today: date
    heading: str
    pressing: tuple[Ahead, ...] = ()
    orphans: tuple[Orphan, ...] = ()
    counts: tuple[CountWorth, ...] = ()
    others: tuple[Ahead, ...] = ()
    to_come: int = 0
    currency: str = ""
    has_plan: bool = True
