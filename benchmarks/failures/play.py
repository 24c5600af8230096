"""Play a season with failures planted by a rule, and judge what it saw and saved."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from benchmarks.failures.clocks import planned_days, planned_on_time
from benchmarks.failures.generator import N_DAYS, Season, cells_for, date_of, work_day
from benchmarks.failures.house import House
from benchmarks.failures.memory import Memory, end_of
from benchmarks.failures.parameters import CROPS
from benchmarks.failures.world import Grown, Start, World, start_of
from sowbench.forecasting import ForecastParameters, forecast_sowings
from sowbench.forecasting.joint import Batch
from sowbench.forecasting.learning_records import FinishedSowing
from sowbench.forecasting.resow import advise_resowing, sizes_of
from sowbench.forecasting.resow_records import ResowAdvice, ResowRule, Stakes
from sowbench.forecasting.sampling import CountingWork, counts_worth_making
from sowbench.forecasting.supply import Parts, supply_parts

# What the rules weigh, in any money: an order missed, a plant short, a resowing and its cells, a
# minute of counting (assumptions).
STAKES = Stakes(600.0, 0.5, 30.0, 0.1, 0.5)
RULE = ResowRule(now_frac=0.2, last_frac=0.35, sure_frac=0.5)
# A resowing is made as sure as that, or as its order wants it.
RESOW_CONFIDENCE = 0.95
# One lot in twenty disappoints, says the house's experience (assumption).
ODD_LOT_FRAC = 0.05

_LEARN_D = 14


@dataclass
class Day:
    """What a rule may do on a work day.

    Attributes
    ----------
    minutes : float
        Minutes left for looking [min].
    trays : int
        Trays that can still be resown.
    """

    minutes: float
    trays: int


@dataclass
class Played:
    """What came of a season under a rule.

    Attributes
    ----------
    flagged_day, resown_day : dict of int to int
        By sowing: day on which it was called short, and on which it was resown.
    resown : dict of int to Start
        Resowings.
    minutes : float
        Minutes of looking that the rule asked for [min].
    """

    flagged_day: dict[int, int] = field(default_factory=dict)
    resown_day: dict[int, int] = field(default_factory=dict)
    resown: dict[int, Start] = field(default_factory=dict)
    minutes: float = 0.0


class Game:
    """A season being played: the world, the house, and what is left of room and hands.

    Parameters
    ----------
    season : Season
        The season.
    before : tuple of FinishedSowing, default ()
        Sowings of earlier seasons that the house has learned from.
    """

    def __init__(self, season: Season, before: tuple[FinishedSowing, ...] = ()) -> None:
        self.season = season
        self.world = World(season)
        self.house = House(season, self.world)
        self.grown: list[Grown] = [self.world.grown(start_of(season, i)) for i in self.all]
        self.played = Played()
        self.memory = Memory(self.house, before)
        self._leaves: list[tuple[int, int]] = []  # day on which resown trays leave, and trays

    @property
    def all(self) -> range:
        """Indices of all sowings."""
        return range(len(self.season.sowings))

    def look(self, index: int, day: int, trays: list[int], n_cells: int, left: Day) -> bool:
        """Let trays be counted, if there are minutes for it.

        Parameters
        ----------
        index : int
            Which sowing.
        day : int
            The day.
        trays : list of int
            Numbers of the trays.
        n_cells : int
            Cells looked at in each.
        left : Day
            What is left of the day.

        Returns
        -------
        done : bool
            Whether they were counted.
        """
        hands = self.season.hands
        minutes = len(trays) * (hands.minutes_a_visit + n_cells * hands.minutes_a_cell)
        if minutes > left.minutes:
            return False
        left.minutes -= minutes
        self.played.minutes += minutes
        self.enter(index, day, trays, n_cells)
        return True

    def enter(self, index: int, day: int, trays: list[int], n_cells: int) -> None:
        """Count trays and write the counts down.

        Parameters
        ----------
        index : int
            Which sowing.
        day : int
            The day.
        trays : list of int
            Numbers of the trays.
        n_cells : int
            Cells looked at in each; 0 is all.
        """
        name = self.season.sowings[index].name
        results = [
            self.world.counted(self.grown[index], name, day, tray, n_cells) for tray in trays
        ]
        self.house.write_count(index, day, trays, results)

    def resow(self, index: int, day: int, n_cells: int, left: Day) -> bool:
        """Resow, if there are hands and room for half of it; else it is tried the next day.

        Parameters
        ----------
        index : int
            Which sowing.
        day : int
            The day.
        n_cells : int
            Cells.
        left : Day
            What is left of the day.

        Returns
        -------
        done : bool
            Whether it was resown.
        """
        sowing, hands = self.season.sowings[index], self.season.hands
        per_tray = CROPS[sowing.crop].cells_per_tray
        standing = sum(trays for leaves, trays in self._leaves if leaves > day)
        room = min(left.trays, hands.room_trays - standing)
        wanted = -(-n_cells // per_tray)
        trays = min(wanted, room)
        if trays < 1 or trays < wanted / 2:
            return False
        left.trays -= trays
        self._leaves.append((sowing.latest_day, trays))
        start = Start(
            f"{sowing.name} again", sowing.crop, self.house.other_lot(index), day,
            min(n_cells, trays * per_tray),
        )  # fmt: skip
        self.played.resown_day[index] = day
        self.played.resown[index] = start
        return True

    def play(self, rule: Callable[[Game, int, Day], None], *, learns: bool = False) -> Played:
        """Play the whole season.

        Parameters
        ----------
        rule : callable
            What is done on a work day, after the people's own rounds.
        learns : bool, default False
            Whether the house learns every other Monday from what is over and from counts.

        Returns
        -------
        played : Played
            What came of it.
        """
        ended = {i: end_of(self.season, i, each) for i, each in enumerate(self.grown)}
        rounds: dict[int, list[int]] = {}
        for at, each in enumerate(self.season.rounds):
            rounds.setdefault(each.day, []).append(at)
        hands = self.season.hands
        for day in range(N_DAYS):
            for at in rounds.get(day, []):
                own = self.season.rounds[at]
                self.enter(own.sowing, day, list(own.trays), own.n_cells)
            if work_day(day):
                if day % _LEARN_D == 0 and learns:
                    self.memory.update(ended, day)
                rule(self, day, Day(hands.count_minutes_a_day, hands.resow_trays_a_day))
        return self.played


def next_work_day(day: int) -> int:
    """Return the first work day after a day.

    Parameters
    ----------
    day : int
        The day.

    Returns
    -------
    next_day : int
        The next one.
    """
    day += 1
    while not work_day(day):
        day += 1
    return day


def look_once(
    days_after: int | None, *, wait_for_emergence: bool = False
) -> Callable[[Game, int, Day], None]:
    """Make the rule of looking at every tray of a sowing once.

    Parameters
    ----------
    days_after : int or None
        So many days after sowing; None is on the planned ready day, without any forecast.
    wait_for_emergence : bool, default False
        Whether to wait until three days after it should be up, if that is later.

    Returns
    -------
    rule : callable
        Counts all trays on that work day or the next, takes the usual share of right cells as
        kept, and resows what is missing with the order's confidence while it helps.
    """
    looked: set[int] = set()

    def rule(game: Game, day: int, left: Day) -> None:
        season, believed = game.season, game.season.believed
        for index in game.all:
            sowing = season.sowings[index]
            crop = CROPS[sowing.crop]
            up, ready = planned_days(crop, season.believed_c, sowing.sow_day)
            on = int(ready) if days_after is None else sowing.sow_day + days_after
            if wait_for_emergence:
                on = max(on, int(up) + 3)
            due = on <= day <= sowing.latest_day and index not in looked
            if due:
                trays = list(range(1, sowing.n_trays + 1))
                if not game.look(index, day, trays, crop.cells_per_tray, left):
                    continue
                looked.add(index)
                right = sum(each.n or 0 for each in game.house.entries[index][-len(trays) :])
                missing = sowing.wanted - int(right * believed.kept_frac)
                if missing > 0:
                    game.played.flagged_day[index] = day
                    lot = season.lots[game.house.other_lot(index)]
                    on_time = planned_on_time(crop, season.believed_c, day, believed)
                    wants[index] = cells_for(
                        missing, sowing.confidence_frac, crop.cells_per_tray, lot, on_time,
                        believed,
                    )  # fmt: skip
            last = game.house.last_day(index).day
            waiting = index in wants and index not in game.played.resown
            if waiting and last is not None and day <= last:
                game.resow(index, day, wants[index], left)

    wants: dict[int, int] = {}
    return rule


@dataclass(frozen=True, slots=True)
class ByForecast:
    """The rule of forecasting every work day, counting what pays, and resowing what is short.

    Attributes
    ----------
    resow : ResowRule
        When a sowing is called short.
    stakes : Stakes
        What is at stake.
    odd_lot_frac : float
        Chance that a lot's test says nothing.
    counts : bool
        Whether counts are asked for, beside people's own rounds.
    looks_d : tuple of float
        Days after it should be half up on which some trays are looked at anyhow, and on its last
        useful resowing day: an order that will be short is told early even if no resowing helps.
    look_trays : int
        Trays looked at then.
    with_least_frac : float
        Chance to be filled with the resowing from which it is given room; what saves most a tray
        comes first.
    """

    resow: ResowRule = RULE
    stakes: Stakes = STAKES
    odd_lot_frac: float = ODD_LOT_FRAC
    counts: bool = True
    looks_d: tuple[float, ...] = (1.5,)
    look_trays: int = 4
    with_least_frac: float = 0.5

    def __call__(self, game: Game, day: int, left: Day) -> None:
        """Do what is to be done on a work day.

        Parameters
        ----------
        game : Game
            The game.
        day : int
            The day.
        left : Day
            What is left of it.
        """
        some = [index for index in game.all if self._open(game, index, day)]
        if not some:
            return
        if self.counts:
            self._look(game, some, day, left)
        advice = dict(zip(some, self._advise(game, some, day, left), strict=True))
        short = [index for index in some if advice[index].short]
        trays = {
            index: -(
                -advice[index].n_cells // CROPS[game.season.sowings[index].crop].cells_per_tray
            )
            for index in short
        }
        for index in sorted(short, key=lambda each: -advice[each].gain / max(trays[each], 1)):
            game.played.flagged_day.setdefault(index, day)
            if advice[index].pays and advice[index].chance_with_frac >= self.with_least_frac:
                game.resow(index, day, advice[index].n_cells, left)

    def _look(self, game: Game, some: list[int], day: int, left: Day) -> None:
        """Look at some trays on the days on which one always does, the last call first."""
        due = []
        for index in some:
            sowing = game.season.sowings[index]
            up = game.house.expected_up(index)
            last = game.house.last_day(index, 0.0).day or day
            seen = [each.day_date for each in game.house.entries[index][1:]]
            if date_of(day) in seen:
                continue
            after = next_work_day(day)
            last_call = last < after and day >= up - 1.0
            if last_call or any(day <= up + each < after for each in self.looks_d):
                due.append((not last_call, index, sowing.n_trays))
        for _, index, n_trays in sorted(due):
            trays = _trays(game, index, self.look_trays, again=False)
            more = self.look_trays - len(trays)
            trays += _trays(game, index, max(more, 0), again=True)
            cells = CROPS[game.season.sowings[index].crop].cells_per_tray
            game.look(index, day, trays[:n_trays], cells, left)

    def _open(self, game: Game, index: int, day: int) -> bool:
        """Tell whether anything can still be decided of a sowing."""
        sowing = game.season.sowings[index]
        if not sowing.sow_day < day <= sowing.latest_day or index in game.played.resown:
            return False
        return day <= (game.house.last_day(index, 0.0).day or -1)

    def _advise(self, game: Game, some: list[int], day: int, left: Day) -> tuple[ResowAdvice, ...]:
        """Forecast, let count what pays, forecast that again, and tell what to resow."""
        batch, parts, told = self._told(game, some, day)
        if not self.counts:
            return told
        ways = [game.house.way(index) for index in some]
        n_cells = np.array([each.n_cells for each in told])
        sizes = sizes_of(parts, list(ways), n_cells, self.stakes)
        hands = game.season.hands
        work = CountingWork(hands.minutes_a_visit, hands.minutes_a_cell)
        counted = []
        for each in counts_worth_making(batch, parts, sizes, self.stakes, work):
            index = some[each.row]
            trays = _trays(game, index, each.n_trays, again=each.is_again)
            if game.look(index, day, trays, each.n_cells_per_tray, left):
                counted.append(each.row)
        if not counted:
            return told
        _, _, anew = self._told(game, [some[row] for row in counted], day)
        found = list(told)
        for row, advice in zip(counted, anew, strict=True):
            found[row] = advice
        return tuple(found)

    def _told(
        self, game: Game, some: list[int], day: int
    ) -> tuple[Batch, Parts, tuple[ResowAdvice, ...]]:
        """Forecast, and tell what to resow."""
        house = game.house
        sowings = [house.open_sowing(index, day) for index in some]
        orders = [house.order(index, row) for row, index in enumerate(some)]
        batch = forecast_sowings(
            sowings, orders, ForecastParameters(odd_lot_frac=self.odd_lot_frac)
        ).batch
        ways = [house.way(index) for index in some]
        second = [each.days_from(day) for each in ways]
        sow_days = [game.season.sowings[index].sow_day for index in some]
        assert batch is not None  # noqa: S101 - there are sowings
        parts = supply_parts(batch, orders, day, second, sow_days)
        told = advise_resowing(
            parts, [[each] for each in ways],
            [game.season.sowings[index].latest_day for index in some],
            [max(game.season.sowings[i].confidence_frac, RESOW_CONFIDENCE) for i in some],
            day, next_work_day(day), self.stakes, self.resow,
        )  # fmt: skip
        return batch, parts, told


def _trays(game: Game, index: int, n: int, *, again: bool) -> list[int]:
    """Numbers of trays to count: those not counted yet, or those counted before."""
    seen = {tray for each in game.house.entries[index][1:] for tray in each.trays}
    every = range(1, game.season.sowings[index].n_trays + 1)
    return [tray for tray in every if (tray in seen) is again][:n]


def filled(season: Season, index: int, starts: list[Grown]) -> bool:
    """Tell whether an order is filled in time and in full.

    Parameters
    ----------
    season : Season
        The season.
    index : int
        Which sowing's order.
    starts : list of Grown
        The sowing and its resowing.

    Returns
    -------
    is_filled : bool
        Whether, of partial orders, what each gives on its best day of the window adds up to
        enough; of others, what all give on one day.
    """
    sowing = season.sowings[index]
    days = range(sowing.earliest_day, sowing.latest_day + 1)
    table = np.array([[_given(each, day) for day in days] for each in starts])
    best: NDArray[np.int64] = table.max(axis=1) if sowing.partial else table.sum(axis=0)
    return bool((best.sum() if sowing.partial else best.max()) >= sowing.wanted)


def _given(grown: Grown, day: int) -> int:
    """Plants that can be handed over on a day."""
    if not grown.ready_day <= day < grown.overgrown_day:
        return 0
    return int((grown.usable & (grown.gone_day > day)).sum())
