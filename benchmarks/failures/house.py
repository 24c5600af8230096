"""What the house of a season with failures planted believes and writes down."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchmarks.failures.clocks import planned_days, planned_on_time, progress_from, rates, reached
from benchmarks.failures.generator import LOTS_A_CROP, N_DAYS, Season, Sowing, date_of
from benchmarks.failures.parameters import CROPS
from benchmarks.failures.world import World, noon_work_days
from sowbench.domain.journal import Entry, EntryKind
from sowbench.forecasting import CellRule, LotTest, OpenOrder, OpenSowing, Pace
from sowbench.forecasting.learning_use import moved_share
from sowbench.forecasting.lots import doubted_test, pooled_test
from sowbench.forecasting.resow import last_useful_day
from sowbench.forecasting.resow_records import LastDay, Resowing
from sowbench.science.quadrature import normal_nodes
from sowbench.science.risk import OrderNeed, Share

Floats = NDArray[np.float64]

N_WEATHER, N_PACE = 5, 9
# So far below what is believed, a day's mean in the mix casts doubt on the lot's test, which then
# counts for so many seeds and for such a share of their germination (rule parameters).
CHILL_C, CHILLED_TEST, CHILLED_SHARE = 3.0, 12.0, 0.9
# So many such days, for a crop that likes it cool and for a warm one.
CHILL_DAYS = (3, 1)
# Days after sowing for which progress is tabled, twice a day.
_SPAN_D = 70


class Paces(NamedTuple):
    """What is used of a crop.

    Parameters
    ----------
    emergence, sigma_emergence : float
        Multiplier of thermal time, and doubt about it.
    growth, sigma_growth : float
        Multiplier of days of growth, and doubt about it.
    kept_odds : float
        Multiplier of the odds of being kept.
    """

    emergence: float
    sigma_emergence: float
    growth: float
    sigma_growth: float
    kept_odds: float = 1.0


class House:
    """A house in a season: its beliefs, its journal, its ways to resow.

    Parameters
    ----------
    season : Season
        The season.
    world : World
        What really happens; only its thermometers are read here.
    """

    def __init__(self, season: Season, world: World) -> None:
        self.season, self.world = season, world
        self.entries: list[list[Entry]] = [[_sown(each)] for each in season.sowings]
        self._ways: dict[int, Resowing] = {}
        self._paces: dict[int, Paces] = {}
        self._of_lot: dict[int, list[tuple[int, float, float]]] = {}
        self._last: dict[tuple[int, float], LastDay] = {}

    @cached_property
    def read_c(self) -> Floats:
        """What the thermometers show, shape (places, days)."""
        return np.array(
            [
                [self.world.read_c(place, day) for day in range(N_DAYS)]
                for place in range(self.season.believed_c.shape[0])
            ]
        )

    def learn(
        self,
        paces: dict[int, Paces],
        of_lot: dict[int, list[tuple[int, float, float]]],
    ) -> None:
        """Take what was learned in place of the handbook's values.

        Parameters
        ----------
        paces : dict of int to Paces
            By crop.
        of_lot : dict of int to list of tuple
            By lot: sowing, germination that its counts speak for, and its standard deviation.
        """
        self._paces, self._of_lot = paces, of_lot
        self._ways = {}

    def pace(self, crop_index: int, *, learned: bool) -> Paces:
        """Return the paces of a crop.

        Parameters
        ----------
        crop_index : int
            The crop.
        learned : bool
            Whether what was learned counts.

        Returns
        -------
        paces : Paces
            Of emergence and growth, and what is kept.
        """
        own = Paces(1.0, CROPS[crop_index].sigma_pace, 1.0, self.season.believed.sigma_growth)
        return self._paces.get(crop_index, own) if learned else own

    def test_of(self, lot_index: int, but: int = -1) -> LotTest:
        """Return a lot's test with what other sowings of it came to.

        Parameters
        ----------
        lot_index : int
            The lot.
        but : int, default -1
            A sowing that is left out: it tells of itself.

        Returns
        -------
        test : LotTest
            The test.
        """
        lot = self.season.lots[lot_index]
        told = [each for each in self._of_lot.get(lot_index, []) if each[0] != but]
        return pooled_test(
            LotTest(lot.n_normal, lot.n_tested),
            [share for _, share, _ in told],
            [sd for _, _, sd in told],
        )

    def expected_up(self, index: int) -> float:
        """Return the day on which a sowing should be half up, by what was learned.

        Parameters
        ----------
        index : int
            Which sowing.

        Returns
        -------
        up_day : float
            The day, as believed before it was sown.
        """
        sowing = self.season.sowings[index]
        up, _ = planned_days(CROPS[sowing.crop], self.season.believed_c, sowing.sow_day)
        slower = self.pace(sowing.crop, learned=True).emergence
        return sowing.sow_day + 0.5 + (up - sowing.sow_day - 0.5) * slower

    def handbook_up(self, index: int, lag: float) -> float:
        """Return the day of median emergence at a lag behind the handbook, as measured.

        Parameters
        ----------
        index : int
            Which sowing.
        lag : float
            The lag.

        Returns
        -------
        up_day : float
            The day.
        """
        sowing = self.season.sowings[index]
        crop = CROPS[sowing.crop]
        rate = rates(self.read_c[crop.place], crop.base_c, crop.optimum_c)
        clock = progress_from(rate, sowing.sow_day + 0.5)
        return float(reached(*clock, crop.thermal_time_cd * float(np.exp(lag))))

    def growth_days(self, index: int, up_day: float, ready_day: float) -> float:
        """Return days at reference between two days, as measured.

        Parameters
        ----------
        index : int
            Which sowing.
        up_day, ready_day : float
            The days.

        Returns
        -------
        days_d : float
            Days at 18 °C [d].
        """
        crop = CROPS[self.season.sowings[index].crop]
        grow = rates(self.read_c[crop.place], crop.growth_base_c, crop.growth_optimum_c)
        at, progress = progress_from(grow, up_day)
        return float(np.interp(ready_day, at, progress)) / (18.0 - crop.growth_base_c)

    def open_sowing(self, index: int, today: int, *, learned: bool = True) -> OpenSowing:
        """Return a sowing as the house knows it.

        Parameters
        ----------
        index : int
            Which sowing.
        today : int
            Temperatures are measured up to the day before, and believed from today on.
        learned : bool, default True
            Whether what was learned counts, else the handbook alone.

        Returns
        -------
        sowing : OpenSowing
            For the forecast.
        """
        sowing, believed = self.season.sowings[index], self.season.believed
        crop, lot = CROPS[sowing.crop], self.season.lots[sowing.lot]
        paces = self.pace(sowing.crop, learned=learned)
        progress, ready, over = self._tables(sowing.crop, sowing.sow_day, today, paces)
        test = LotTest(lot.n_normal, lot.n_tested)
        hours = 12.0 * np.arange(progress.shape[1])
        pace = Pace(crop.thermal_time_cd * paces.emergence, crop.sigma_seed, paces.sigma_emergence)
        on_time = planned_on_time(crop, self.season.believed_c, sowing.sow_day, believed)
        return OpenSowing(
            sowing.name, lot.name, crop.name, date_of(sowing.sow_day),
            self._doubted(index, today) if learned else test, pace, CellRule(),
            np.asarray(hours, dtype=np.float64), progress, np.ones(N_WEATHER), ready, over,
            tuple(self.entries[index]), None, sowing.n_cells, crop.cells_per_tray, on_time, 1.0,
            believed.emergence_frac, moved_share(believed.kept_frac, paces.kept_odds), 0.0,
            believed.rho_tray, believed.tray_loss_frac,
        )  # fmt: skip

    def _doubted(self, index: int, today: int) -> LotTest:
        """Return what is believed of a sowing's lot: less of its test if its seed was chilled."""
        sowing = self.season.sowings[index]
        crop = CROPS[sowing.crop]
        test = self.test_of(sowing.lot, index)
        up = self.expected_up(index)
        days = slice(sowing.sow_day, min(today, int(up) + 3))
        cold = self.season.believed_c[crop.place, days] - self.read_c[crop.place, days]
        if np.sum(cold > CHILL_C) < CHILL_DAYS[int(crop.warm)]:
            return test
        less = doubted_test(test, CHILLED_TEST)
        return LotTest(CHILLED_SHARE * less.n_normal, less.n_tested)

    def _tables(
        self, crop_index: int, sow_day: int, today: int, paces: Paces
    ) -> tuple[Floats, Floats, Floats]:
        """Progress twice a day since sowing, ready and overgrown days, at the nodes."""
        crop, believed = CROPS[crop_index], self.season.believed
        w, _ = normal_nodes(N_WEATHER)
        z, _ = normal_nodes(N_PACE)
        temp = self.season.believed_c[crop.place] + believed.season_spread_c * w[:, None]
        temp = np.where(np.arange(N_DAYS) < today, self.read_c[crop.place], temp)
        half = np.repeat(temp, 2, axis=1)  # from noon to noon in half days
        emerge = 0.5 * rates(half, crop.base_c, crop.optimum_c)
        grow = 0.5 * rates(half, crop.growth_base_c, crop.growth_optimum_c)
        at = np.arange(2 * N_DAYS + 1) / 2.0
        start = 2 * sow_day + 1
        total = np.concatenate([np.zeros((w.size, 1)), np.cumsum(emerge, axis=1)], axis=1)
        total = total[:, start:] - total[:, start : start + 1]
        grown = np.concatenate([np.zeros((w.size, 1)), np.cumsum(grow, axis=1)], axis=1)
        goal = crop.thermal_time_cd * paces.emergence * np.exp(paces.sigma_emergence * z)
        days = (
            crop.growth_d
            * (18.0 - crop.growth_base_c)
            * paces.growth
            * np.exp(paces.sigma_growth * z)
        )
        ready = np.empty((w.size, z.size))
        for node in range(w.size):
            up = reached(at[start:], total[node], goal)
            ready[node] = reached(at, grown[node], np.interp(up, at, grown[node]) + days)
        ready = np.where(ready > N_DAYS, np.inf, ready)
        return total[:, : 2 * _SPAN_D + 1], ready, ready + crop.window_d

    def order(self, index: int, row: int) -> OpenOrder:
        """Return a sowing's order.

        Parameters
        ----------
        index : int
            Which sowing.
        row : int
            Its place among those that are forecast together.

        Returns
        -------
        order : OpenOrder
            The order.
        """
        each = self.season.sowings[index]
        # Handed over on a day: ready by its midnight, and the last day counts whole.
        need = OrderNeed(
            (Share(row, 0, each.wanted),), each.wanted, each.wanted, each.earliest_day,
            each.latest_day, each.partial,
        )  # fmt: skip
        return OpenOrder(each.name, need)

    def way(self, index: int, *, learned: bool = True) -> Resowing:
        """Return how a sowing is resown: from the best other lot of its crop.

        Parameters
        ----------
        index : int
            Which sowing.
        learned : bool, default True
            Whether what was learned counts, else the handbook alone.

        Returns
        -------
        way : Resowing
            On every work day from its own sowing to the order's last day.
        """
        if learned and index in self._ways:
            return self._ways[index]
        sowing, believed = self.season.sowings[index], self.season.believed
        crop, paces = CROPS[sowing.crop], self.pace(sowing.crop, learned=learned)
        lot = self.other_lot(index, learned=learned)
        test = self.test_of(lot)
        p = (test.n_normal + 1.0) / (test.n_tested + 2.0)
        share = believed.emergence_frac * moved_share(believed.kept_frac, paces.kept_odds)
        share *= planned_on_time(crop, self.season.believed_c, sowing.sow_day, believed)
        days = noon_work_days(sowing.sow_day, sowing.latest_day)
        tables = [self._tables(sowing.crop, day, 0, paces)[1:] for day in days]
        way = Resowing(
            self.season.lots[lot].name, np.array(days), np.stack([each[0] for each in tables]),
            np.stack([each[1] for each in tables]), p * share,
            share * float(np.sqrt(p * (1.0 - p) / (test.n_tested + 3.0))),
            crop.cells_per_tray, 3 * sowing.n_cells, believed.rho_tray, believed.tray_loss_frac,
        )  # fmt: skip
        if learned:
            self._ways[index] = way
        return way

    def other_lot(self, index: int, *, learned: bool = True) -> int:
        """Return the best lot of a sowing's crop beside its own.

        Parameters
        ----------
        index : int
            Which sowing.
        learned : bool, default True
            Whether it is judged by what it came to as well, else by its test alone.

        Returns
        -------
        lot : int
            Index of the lot.
        """
        sowing = self.season.sowings[index]
        first = sowing.crop * LOTS_A_CROP
        others = [each for each in range(first, first + LOTS_A_CROP) if each != sowing.lot]
        if not learned:
            return max(others, key=lambda each: self.season.lots[each].n_normal)
        tests = {each: self.test_of(each) for each in others}
        return max(others, key=lambda each: (tests[each].n_normal + 1) / (tests[each].n_tested + 2))

    def last_day(self, index: int, sure_frac: float = 0.5) -> LastDay:
        """Return a sowing's last useful resowing day.

        Parameters
        ----------
        index : int
            Which sowing.
        sure_frac : float, default 0.5
            Chance of being ready in time that is asked for.

        Returns
        -------
        last : LastDay
            By what the house believes before the season: the handbook.
        """
        key = (index, sure_frac)
        if key not in self._last:
            latest = self.season.sowings[index].latest_day
            self._last[key] = last_useful_day([self.way(index, learned=False)], latest, sure_frac)
        return self._last[key]

    def write_count(
        self, index: int, day: int, trays: Sequence[int], results: Sequence[tuple[int, int]]
    ) -> None:
        """Write down counts of trays, one entry each.

        Parameters
        ----------
        index : int
            Which sowing.
        day : int
            The day.
        trays : sequence of int
            Numbers of the trays.
        results : sequence of tuple of int
            Right cells and cells looked at.
        """
        name = self.season.sowings[index].name
        for tray, (n, seen) in zip(trays, results, strict=True):
            key = f"{name} {day} {tray}"
            self.entries[index].append(
                Entry(key, date_of(day), EntryKind.COUNTED, name, n=n, n_of=seen, trays=(tray,))
            )


def _sown(sowing: Sowing) -> Entry:
    """Return the entry of a sowing."""
    return Entry(
        f"{sowing.name} sown", date_of(sowing.sow_day), EntryKind.SOWN, sowing.name,
        n=sowing.n_cells, n_containers=sowing.n_trays,
        values={"n_cells_per_tray": CROPS[sowing.crop].cells_per_tray},
    )  # fmt: skip
