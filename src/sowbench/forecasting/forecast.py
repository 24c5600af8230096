"""The forecast of open sowings and their orders, and what moved it (docs/model.md section 13)."""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date
from typing import Final, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.plan import Spread
from sowbench.forecasting.count_tables import count_tables
from sowbench.forecasting.days import ready_quantiles, window_share
from sowbench.forecasting.evidence import evidence_of
from sowbench.forecasting.joint import Batch, joint_chances
from sowbench.forecasting.looks import Looks, Reals, gather_looks
from sowbench.forecasting.outlook import Outlook, exact_pmf, outlook_of
from sowbench.forecasting.outlook import joined as outlook_joined
from sowbench.forecasting.posterior import (
    CHUNK,
    Posterior,
    Prior,
    blocks_of,
    posterior_of,
    prior_of,
)
from sowbench.forecasting.posterior import joined as posterior_joined
from sowbench.forecasting.records import (
    Cause,
    DaySpread,
    ForecastParameters,
    Movement,
    OpenOrder,
    OpenSowing,
    OrderForecast,
    SowingForecast,
)
from sowbench.forecasting.tray_groups import tray_groups
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.science.risk import OrderNeed

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Block = TypeVar("Block")

_PLANTS: Final = (0.05, 0.50, 0.95)
_BAND: Final = (0.1, 0.5, 0.9)
_WARMTH: Final = "warmth"
# Fewer blocks than this for each thread are not worth starting it.
_BLOCKS_PER_THREAD: Final = 4
# Orders' arrays over a grid that are in use at once.
_ORDER_ARRAYS: Final = 15
# Kinds of entry that tell of the stand.
_TELLING: Final = {
    EntryKind.SOWN,
    EntryKind.COUNTED,
    EntryKind.LOST,
    EntryKind.DUMPED,
    EntryKind.GAPPED_UP,
    EntryKind.GRADED,
    EntryKind.POTTED_ON,
    EntryKind.BOUGHT_IN,
    EntryKind.DELIVERED,
}


@dataclass(frozen=True, slots=True, eq=False)
class Forecasts:
    """What is to be expected of sowings and orders that were forecast together.

    Attributes
    ----------
    sowings : tuple of SowingForecast
        In the order given.
    orders : tuple of OrderForecast
        In the order given.
    batch : Batch or None
        The working, for distributions on demand; None without sowings.
    """

    sowings: tuple[SowingForecast, ...]
    orders: tuple[OrderForecast, ...]
    batch: Batch | None

    def usable_pmf(self, sowing: str) -> Floats:
        """Distribution of a sowing's usable cells.

        Parameters
        ----------
        sowing : str
            Its name.

        Returns
        -------
        pmf : ndarray, shape (N + 1,)
            Chance of 0, 1, ... usable cells still to be handed over.

        Raises
        ------
        UnknownNameError
            If it was not forecast.
        """
        names = [each.sowing for each in self.sowings]
        if self.batch is None or sowing not in names:
            raise UnknownNameError.among(sowing, "sowing", names)
        return _pmf(self.batch, names.index(sowing))


def forecast_sowings(
    sowings: Sequence[OpenSowing],
    orders: Sequence[OpenOrder] = (),
    parameters: ForecastParameters | None = None,
) -> Forecasts:
    """Forecast open sowings from their journals, and the orders that they serve.

    Parameters
    ----------
    sowings : sequence of OpenSowing
        All with the same numbers of weather nodes and of pace nodes.
    orders : sequence of OpenOrder, default ()
        The orders; their shares point into `sowings`.
    parameters : ForecastParameters or None, default None
        Sizes of grids; the usual ones by default.

    Returns
    -------
    forecasts : Forecasts
        One for each sowing and order.

    Raises
    ------
    OutOfRangeError
        If sowings differ in nodes, or an order is not of what is forecast.

    Notes
    -----
    Each sowing has a grid of its own that closes in on its posterior; all are computed together.
    """
    settings = parameters or ForecastParameters()
    for each in orders:
        _check(each, len(sowings))
    if not sowings:
        return Forecasts((), tuple(_unserved(each) for each in orders), None)
    nodes = sorted({each.ready_day.shape for each in sowings})
    if len(nodes) > 1:
        raise OutOfRangeError("ready_day", "as many nodes for all sowings", nodes)
    evidence = [evidence_of(each) for each in sowings]
    looks = gather_looks(sowings, evidence)
    prior = prior_of(sowings, looks, settings)
    groups = tray_groups(evidence, looks)
    tables = count_tables(looks)

    def block(rows: slice) -> tuple[Posterior, Outlook, _Figures]:
        posterior = posterior_of(prior, tables, settings, rows)
        outlook = outlook_of(sowings, looks, groups, posterior, rows)
        return posterior, outlook, _figures_of(sowings, looks, prior, posterior, outlook, rows)

    blocks = blocks_of(looks, len(sowings), settings)
    posteriors, outlooks, figures = zip(*_each(block, blocks), strict=True)
    posterior = posterior_joined(posteriors)
    outlook = outlook_joined(outlooks, posterior)
    batch = Batch(sowings, looks, groups, prior, posterior, outlook)
    exact = {
        row: exact_pmf(sowings[row], looks, groups, posterior, row)
        for row in np.flatnonzero(groups.n_cells <= settings.exact_up_to).tolist()
    }
    found = _Figures(*(np.concatenate(each) for each in zip(*figures, strict=True)))
    told = _sowing_forecasts(batch, exact, found, [each.n_counts for each in evidence])
    return Forecasts(told, _order_forecasts(batch, exact, orders), batch)


def _check(order: OpenOrder, n_sowings: int) -> None:
    """Refuse an order that is not of what is forecast."""
    need = order.need
    if need.latest_day < need.earliest_day:
        rule = f"{need.earliest_day} (earliest_day) or later"
        raise OutOfRangeError(f"latest_day of {order.order}", rule, need.latest_day)
    for share in need.shares:
        if not 0 <= share.sowing < n_sowings:
            rule = f"from 0 to {n_sowings - 1}"
            raise OutOfRangeError(f"sowing of a share of {order.order}", rule, share.sowing)


def _unserved(order: OpenOrder) -> OrderForecast:
    """Return the chances of an order that gets nothing."""
    met = float(order.need.need <= 0)
    return OrderForecast(order.order, met, met, met)


class _Figures(NamedTuple):
    """Figures of some sowings: points of plants, stand, lag and day, and moments of plants."""

    plants: Ints
    mean: Floats
    sd: Floats
    right: Floats
    lag: Floats
    ready: Floats


def _figures_of(
    sowings: Sequence[OpenSowing],
    looks: Looks,
    prior: Prior,
    posterior: Posterior,
    outlook: Outlook,
    rows: slice,
) -> _Figures:
    """Compute the figures of some sowings from their own posteriors and outlooks."""
    index = np.arange(rows.start, rows.stop)
    edges = looks.right_frac(index, posterior.stand_edges)
    days = np.stack([each.ready_day for each in sowings[rows]])
    return _Figures(
        outlook.quantiles(_PLANTS),
        *outlook.moments(),
        _points(edges, posterior.mass.sum(axis=1)),
        _points(posterior.lag_edges, posterior.mass.sum(axis=2)),
        ready_quantiles(prior.of(rows), posterior, days, _BAND),
    )


def _each(work: Callable[[slice], Block], blocks: Sequence[slice]) -> list[Block]:
    """Do the same for every block, on all processors where there are many."""
    n_threads = min(os.cpu_count() or 1, len(blocks) // _BLOCKS_PER_THREAD)
    if n_threads < 2:
        return [work(each) for each in blocks]
    with ThreadPoolExecutor(n_threads) as pool:
        return list(pool.map(work, blocks))


def _sowing_forecasts(
    batch: Batch,
    exact: dict[int, tuple[Floats, Ints]],
    figures: _Figures,
    n_counts: Sequence[int],
) -> tuple[SowingForecast, ...]:
    """Put the figures of each sowing together."""
    for row, (pmf, cells) in exact.items():
        mixed = _mixed(batch, row, pmf, cells)
        n = np.arange(mixed.size)
        mean = float(np.sum(mixed * n))
        figures.plants[row] = np.searchsorted(np.cumsum(mixed), np.array(_PLANTS) - 1e-12)
        figures.mean[row] = mean
        figures.sd[row] = np.sqrt(np.sum(mixed * (n - mean) ** 2))
    return tuple(
        SowingForecast(
            sowing.sowing, Spread(*plants), mean, sd, tuple(right), tuple(lag), DaySpread(*ready),
            n_cells, n_told,
        )
        for sowing, plants, mean, sd, right, lag, ready, n_cells, n_told in zip(
            batch.sowings, *(each.tolist() for each in figures), batch.groups.n_cells.tolist(),
            n_counts, strict=True,
        )
    )  # fmt: skip


def _points(edges: Reals, mass: Floats) -> Floats:
    """Ten, fifty and ninety percent points of evenly filled cells, shape (R, 3)."""
    total = np.zeros_like(edges)
    np.cumsum(mass, axis=1, out=total[:, 1:])
    start = 2.0 * np.arange(edges.shape[0])[:, None]
    goal = np.array(_BAND) * total[:, -1:] + start
    return np.interp(goal.ravel(), (total + start).ravel(), edges.ravel()).reshape(-1, 3)


def _mixed(batch: Batch, row: int, pmf: Floats, cells: Ints) -> Floats:
    """Mix distributions over the cells of a grid."""
    mass = batch.posterior.mass[row].ravel()[cells]
    return np.asarray(mass @ pmf / mass.sum())


def _pmf(batch: Batch, row: int) -> Floats:
    """Distribution of a sowing's usable cells."""
    found = exact_pmf(batch.sowings[row], batch.looks, batch.groups, batch.posterior, row)
    return _mixed(batch, row, *found)


def _order_forecasts(
    batch: Batch, exact: dict[int, tuple[Floats, Ints]], orders: Sequence[OpenOrder]
) -> tuple[OrderForecast, ...]:
    """Chances of every order."""
    found: dict[int, OrderForecast] = {}
    single = []
    for at, each in enumerate(orders):
        if not each.need.shares:
            found[at] = _unserved(each)
        elif len(each.need.shares) == 1:
            single.append(at)
        else:
            found[at] = joint_chances(batch, each)
    step = max(CHUNK // (_ORDER_ARRAYS * batch.posterior.mass[0].size), 1)

    def block(rows: slice) -> list[OrderForecast]:
        return _single_chances(batch, exact, [orders[at] for at in single[rows]])

    blocks = [slice(first, first + step) for first in range(0, len(single), step)]
    told = itertools.chain.from_iterable(_each(block, blocks))
    found.update(zip(single, told, strict=True))
    return tuple(found[at] for at in range(len(orders)))


def _single_chances(
    batch: Batch, exact: dict[int, tuple[Floats, Ints]], orders: Sequence[OpenOrder]
) -> list[OrderForecast]:
    """Chances of orders that get plants of one sowing each."""
    posterior = batch.posterior
    shares = [each.need.shares[0] for each in orders]
    row = np.array([each.sowing for each in shares])
    need = np.array([each.need.need for each in orders], dtype=np.float64)
    before = np.array([each.before for each in shares])
    most = np.array([np.inf if each.last else each.share for each in shares])
    given = batch.outlook.chance_of(row, np.where(need <= 0, 0.0, need + before))
    for at, each in enumerate(row.tolist()):
        if each in exact and need[at] > 0:
            pmf, cells = exact[each]
            flat = np.zeros(given[at].size)
            flat[cells] = pmf[:, int(need[at] + before[at]) :].sum(axis=1)
            given[at] = flat.reshape(given[at].shape)
    given[need > most] = 0.0
    given[need <= 0] = 1.0
    share = window_share(
        batch.prior,
        posterior,
        row,
        np.stack([batch.sowings[each].ready_day for each in row]),
        np.stack([batch.sowings[each].overgrown_day for each in row]),
        np.array([each.need.earliest_day for each in orders], dtype=np.float64),
        np.array([each.need.latest_day for each in orders], dtype=np.float64),
    )
    node_lag, node_stand = posterior.node_lag[row], posterior.node_stand[row]
    mass = posterior.mass[row]
    whole = np.maximum(np.matmul(node_lag.swapaxes(1, 2), node_stand), 1e-300)
    enough = mass * given
    good = (node_lag * share).swapaxes(1, 2)

    def with_good(of: Floats) -> Floats:
        return np.asarray(
            (good * np.matmul(of / whole, node_stand.swapaxes(1, 2))).sum(axis=(1, 2))
        )

    chances = np.stack([enough.sum(axis=(1, 2)), with_good(mass), with_good(enough)], axis=1)
    return [
        OrderForecast(each.order, *of)
        for each, of in zip(orders, np.clip(chances, 0.0, 1.0).tolist(), strict=True)
    ]


def explain_movement(
    sowings: Sequence[OpenSowing],
    orders: Sequence[OpenOrder],
    since: date,
    parameters: ForecastParameters | None = None,
) -> tuple[Movement, ...]:
    """Tell how forecasts moved since a day, and which entries moved them.

    Parameters
    ----------
    sowings : sequence of OpenSowing
        The sowings with their whole journals.
    orders : sequence of OpenOrder
        Their orders.
    since : date
        Last day whose entries count as known before.
    parameters : ForecastParameters or None, default None
        Sizes of grids.

    Returns
    -------
    movements : tuple of Movement
        One for each sowing that has a telling entry after the day, or other progress than before.

    Notes
    -----
    An entry's part is what changes when it alone is left out. Entries that say the same share
    what they say between them: `plants_rest` is what their parts do not add up to.
    """
    later = [
        [each for each in sowing.entries if each.day_date > since and each.kind in _TELLING]
        for sowing in sowings
    ]
    every: list[OpenSowing] = list(sowings)
    every_order: list[OpenOrder] = list(orders)
    places: dict[tuple[int, str], tuple[int, dict[str, int]]] = {}

    def variant(row: int, key: str, entries: tuple[Entry, ...], *, before: bool = False) -> None:
        at = len(every)
        sowing = replace(sowings[row], entries=entries)
        if before and sowing.progress_before_cd is not None:
            sowing = replace(sowing, progress_cd=sowing.progress_before_cd)
        every.append(sowing)
        of: dict[str, int] = {}
        for each in orders:
            if any(share.sowing == row for share in each.need.shares):
                of[each.order] = len(every_order)
                every_order.append(replace(each, need=_pointed(each.need, row, at)))
        places[row, key] = at, of

    for row, (sowing, entries) in enumerate(zip(sowings, later, strict=True)):
        warmth = sowing.progress_before_cd is not None
        if not entries and not warmth:
            continue
        known = tuple(each for each in sowing.entries if each.day_date <= since)
        variant(row, "", known, before=True)
        if warmth:
            variant(row, _WARMTH, sowing.entries, before=True)
        for entry in entries:
            rest = tuple(each for each in sowing.entries if each is not entry)
            variant(row, f"without {entry.id}", rest)
    found = forecast_sowings(every, every_order, parameters)
    return tuple(
        _movement(found, row, orders, entries, places)
        for row, entries in enumerate(later)
        if (row, "") in places
    )


def _pointed(need: OrderNeed, row: int, to: int) -> OrderNeed:
    """Return an order's need with one sowing exchanged."""
    shares = tuple(replace(each, sowing=to) if each.sowing == row else each for each in need.shares)
    return replace(need, shares=shares)


def _movement(
    found: Forecasts,
    row: int,
    orders: Sequence[OpenOrder],
    entries: Sequence[Entry],
    places: dict[tuple[int, str], tuple[int, dict[str, int]]],
) -> Movement:
    """Compare the forecasts of one sowing."""
    now = found.sowings[row]
    filled = {
        each.order: found.orders[at].chance_filled_frac
        for at, each in enumerate(orders)
        if any(share.sowing == row for share in each.need.shares)
    }

    def filled_of(of: dict[str, int]) -> dict[str, float]:
        return {name: found.orders[at].chance_filled_frac for name, at in of.items()}

    warmer_cd = 0.0
    if found.batch is not None:
        sowing = found.batch.sowings[row]
        if sowing.progress_before_cd is not None:
            ends = [
                each[each.shape[0] // 2, -1]
                for each in (sowing.progress_cd, sowing.progress_before_cd)
            ]
            warmer_cd = float(ends[0] - ends[1])
    place, of = places[row, ""]
    before = found.sowings[place]
    filled_before = filled_of(of)
    causes = []
    keys = [(entry.id, f"without {entry.id}") for entry in entries]
    if (row, _WARMTH) in places:
        keys.append(("", _WARMTH))
    for name, key in keys:
        place, of = places[row, key]
        other, without = found.sowings[place], filled_of(of)
        moved_d = now.ready.p50 - other.ready.p50 if np.isfinite(other.ready.p50) else np.inf
        causes.append(
            Cause(
                name,
                now.plants_mean - other.plants_mean,
                moved_d if np.isfinite(now.ready.p50) else 0.0,
                {order: filled[order] - chance for order, chance in without.items()},
                None if name else warmer_cd,
            )
        )
    causes.sort(key=lambda each: -abs(each.plants))
    total = now.plants_mean - before.plants_mean
    rest = total - sum(each.plants for each in causes)
    return Movement(now.sowing, before, now, filled_before, filled, tuple(causes), rest)
