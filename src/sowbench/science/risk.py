"""The risk of an order: chance of enough plants, in time, and of both at once.

What sowings share is carried as nodes: the season's weather by weather nodes, a lot's germination
by lot nodes, a crop's pace by intervals of a standard normal z. Given these, sowings are
independent, their counts come from `sowbench.science.trays` and sums of them from convolution.
Nothing is sampled; docs/model.md section 5 states the model.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from sowbench.science.errors import OutOfRangeError
from sowbench.science.quadrature import normal_nodes
from sowbench.science.ready_chance import Screened, pace_reaching, rising, screen_in_time
from sowbench.science.trays import RHO_TRAY, TRAY_LOSS_FRAC, tray_total_pmf

__all__ = [
    "Chances",
    "OrderNeed",
    "Screened",
    "Share",
    "SowingRisk",
    "contribution_pmf",
    "order_chances",
    "screen_in_time",
    "season_chances",
]

Floats = NDArray[np.float64]

# Counts of one sowing kept for its next order, in numbers; 8 bytes each, 64 MB.
_KEEP_NUMBERS = 8_000_000
# Stretches of z with less chance than this are passed over.
_LEAST_MASS = 1e-13
# Most numbers held for the choices of nodes of several lots; 8 bytes each, 8 MB.
_MOST_NUMBERS = 1_000_000


@dataclass(frozen=True, slots=True, eq=False)
class SowingRisk:
    """What is uncertain about one sowing.

    Parameters
    ----------
    lot_index : int
        Which lot it is sown from; sowings of one lot share its germination.
    crop_index : int
        Which crop it is; sowings of one crop share its pace.
    n_cells : int
        Cells sown, or plants counted for what stands already.
    cells_per_tray : int
        Cells of a full tray; all trays are full but the last.
    usable : ndarray, shape (W, K)
        Share of usable cells at each weather node and lot node [fraction].
    lot_weights : ndarray, shape (K,)
        Weights of the lot nodes.
    ready_day, overgrown_day : ndarray, shape (W, Z)
        Day at each weather node and each node of pace `normal_nodes(Z)`; inf for never [d].
        Plants are good from ready to before overgrown, which is one day after ready at least.
    rho_tray : float, default 0.015
        Correlation between cells of a tray; 0 for what has been counted [fraction].
    tray_loss_frac : float, default 0.005
        Chance that a tray is lost whole [fraction].
    """

    lot_index: int
    crop_index: int
    n_cells: int
    cells_per_tray: int
    usable: Floats
    lot_weights: Floats
    ready_day: Floats
    overgrown_day: Floats
    rho_tray: float = RHO_TRAY
    tray_loss_frac: float = TRAY_LOSS_FRAC


@dataclass(frozen=True, slots=True)
class Share:
    """What one sowing gives one order.

    A sowing with N usable cells fills its orders one after the other. An order gets
    ``clip(N - before, 0, share)``; the last of them gets all that is left, ``max(N - before, 0)``.

    Parameters
    ----------
    sowing : int
        Index of the sowing.
    before : int
        Cells that go to earlier orders of the sowing.
    share : int
        Cells meant for this order.
    last : bool, default True
        Whether this order is the sowing's last.
    """

    sowing: int
    before: int
    share: int
    last: bool = True


@dataclass(frozen=True, slots=True)
class OrderNeed:
    """What an order asks for and which sowings fill it.

    Parameters
    ----------
    shares : tuple of Share
        What each of its sowings gives.
    wanted : int
        Cells ordered.
    need : int
        Least cells that count as filled, ``ceil(min_frac * wanted)``.
    earliest_day, latest_day : int
        First and last day that serve [d].
    partial : bool, default False
        Whether each sowing may be handed over on a day of its own.
    """

    shares: tuple[Share, ...]
    wanted: int
    need: int
    earliest_day: int
    latest_day: int
    partial: bool = False


class Chances(NamedTuple):
    """The three chances of an order and what it is expected to lack.

    Parameters
    ----------
    enough_frac : float
        Chance of `need` usable cells or more [fraction].
    in_time_frac : float
        Chance of a day in the window on which every sowing is ready and not overgrown; for
        partial orders each on a day of its own [fraction].
    filled_frac : float
        Chance that what is good on some day of the window is enough [fraction].
    expected_short : float
        Expected cells missing from `wanted` [cells].
    """

    enough_frac: float
    in_time_frac: float
    filled_frac: float
    expected_short: float


def contribution_pmf(pmf: Floats, share: Share, top: int) -> Floats:
    """Chances of what a sowing gives one order.

    Parameters
    ----------
    pmf : ndarray, shape (..., N + 1)
        Chances of the sowing's usable cells [fraction].
    share : Share
        What goes to earlier orders and what is meant for this one.
    top : int
        Largest number told apart; all above is counted with it.

    Returns
    -------
    given : ndarray, shape (..., top + 1)
        Chance that the order gets 0, 1, ... `top` or more cells [fraction].

    Examples
    --------
    >>> pmf = np.array([0.1, 0.2, 0.3, 0.4])
    >>> contribution_pmf(pmf, Share(0, before=1, share=1, last=False), 2).round(6).tolist()
    [0.3, 0.7, 0.0]
    """
    most = top if share.last else min(share.share, top)
    given = np.zeros((*pmf.shape[:-1], top + 1))
    first = share.before + 1  # this many usable cells give the order its first
    given[..., 0] = pmf[..., :first].sum(axis=-1)
    if most == 0:
        given[..., 0] += pmf[..., first:].sum(axis=-1)
        return given
    body = pmf[..., first : first + most - 1]
    given[..., 1 : 1 + body.shape[-1]] = body
    given[..., most] += pmf[..., first + most - 1 :].sum(axis=-1)
    return given


def order_chances(
    order: OrderNeed,
    sowings: Sequence[SowingRisk],
    weather_weights: ArrayLike | None = None,
) -> Chances:
    """The chances of one order.

    Parameters
    ----------
    order : OrderNeed
        What it asks for and gets.
    sowings : sequence of SowingRisk
        The sowings that its shares point to.
    weather_weights : array_like, shape (W,), optional
        Weights of the weather nodes; those of `normal_nodes(W)` by default.

    Returns
    -------
    chances : Chances
        The three chances and the expected shortage.

    Raises
    ------
    OutOfRangeError
        If the window ends before it begins, a number is negative, the sowings of the order
        differ in crop or in their number of weather nodes, or a ready day falls with z.

    See Also
    --------
    season_chances : The same for many orders, each sowing computed once.

    Notes
    -----
    On different days different sowings may be good, and each day's could be enough. The chance of
    being filled is that of the union over days: exact for two sets of sowings, and for any number
    of sets without a common sowing; of three or more sets that overlap in a chain (which takes
    four sowings) it is the union of the best two, a lower bound. Where the lot nodes of many lots
    would take more than 8 MB, it is the chance of the best set alone, a lower bound too.

    Examples
    --------
    >>> z_nodes, _ = normal_nodes(9)
    >>> ready = np.tile(40 + 2 * z_nodes, (5, 1))
    >>> sowing = SowingRisk(
    ...     0, 0, 3, 72, np.full((5, 1), 0.9), np.ones(1), ready, ready + 6,
    ...     rho_tray=0.0, tray_loss_frac=0.0,
    ... )  # fmt: skip
    >>> order = OrderNeed((Share(0, 0, 2),), wanted=2, need=2, earliest_day=40, latest_day=42)
    >>> [round(each, 4) for each in order_chances(order, [sowing])]
    [0.972, 0.84, 0.8165, 0.029]
    """
    return season_chances([order], sowings, weather_weights)[0]


def season_chances(
    orders: Iterable[OrderNeed],
    sowings: Sequence[SowingRisk],
    weather_weights: ArrayLike | None = None,
) -> list[Chances]:
    """The chances of many orders that share sowings.

    Parameters
    ----------
    orders : iterable of OrderNeed
        What each asks for and gets.
    sowings : sequence of SowingRisk
        The sowings that the shares point to.
    weather_weights : array_like, shape (W,), optional
        Weights of the weather nodes; those of `normal_nodes(W)` by default.

    Returns
    -------
    chances : list of Chances
        One for each order, in their order.

    Raises
    ------
    OutOfRangeError
        As `order_chances`.

    Examples
    --------
    >>> season_chances([OrderNeed((), wanted=5, need=5, earliest_day=1, latest_day=2)], [])
    [Chances(enough_frac=0.0, in_time_frac=0.0, filled_frac=0.0, expected_short=5.0)]
    """
    counts = _Counts(sowings)
    return [_one_order(order, counts, weather_weights) for order in orders]


class _Counts:
    """Distributions of sowings' usable cells, computed once and kept while there is room."""

    def __init__(self, sowings: Sequence[SowingRisk]) -> None:
        self.sowings = sowings
        self._kept: dict[int, Floats] = {}
        self._n_kept = 0

    def pmf(self, index: int) -> Floats:
        """Chances of usable cells, shape (W, K, n_cells + 1)."""
        if index not in self._kept:
            each = self.sowings[index]
            pmf = tray_total_pmf(
                each.n_cells, each.cells_per_tray, each.usable, each.rho_tray, each.tray_loss_frac
            )
            while self._kept and self._n_kept + pmf.size > _KEEP_NUMBERS:
                oldest = next(iter(self._kept))
                self._n_kept -= self._kept.pop(oldest).size
            self._kept[index] = pmf
            self._n_kept += pmf.size
        return self._kept[index]


class _Given:
    """What the sowings of one order give it, by weather node."""

    def __init__(self, order: OrderNeed, counts: _Counts) -> None:
        self.need, self.wanted = order.need, order.wanted
        self.top = max(order.need, order.wanted)
        chosen = [counts.sowings[share.sowing] for share in order.shares]
        self.lots = [each.lot_index for each in chosen]
        self.weights = [each.lot_weights for each in chosen]
        self.given = [
            contribution_pmf(counts.pmf(share.sowing), share, self.top) for share in order.shares
        ]

    def total(self, members: Sequence[int], weather: int | slice) -> Floats:
        """Distribution of the sum over members, mixed over lot nodes, shape (..., top + 1)."""
        total: Floats | None = None
        for lot in dict.fromkeys(self.lots[m] for m in members):
            of_lot = [m for m in members if self.lots[m] == lot]
            rows = self.given[of_lot[0]][weather]
            for m in of_lot[1:]:
                rows = _add_counts(rows, self.given[m][weather], self.top)
            mixed = np.moveaxis(rows, -2, -1) @ self.weights[of_lot[0]]
            total = mixed if total is None else _add_counts(total, mixed, self.top)
        assert total is not None, "a set of sowings has a member"  # noqa: S101
        return total

    def chance(self, members: Sequence[int], weather: int) -> float:
        """Chance that these members hold enough."""
        if self.need <= 0:
            return 1.0
        if not members:
            return 0.0
        return float(self.total(members, weather)[self.need :].sum())

    def chance_of_some(self, sets: Sequence[frozenset[int]], weather: int) -> float:
        """Chance that one of the sets or another holds enough; none is part of another."""
        if self.need <= 0:
            return 1.0
        if len(sets) == 1:
            return self.chance(sorted(sets[0]), weather)
        used = sorted(frozenset().union(*sets))
        lots = list(dict.fromkeys(self.lots[m] for m in used))
        sizes = [self.weights[self.lots.index(lot)].size for lot in lots]
        if sum(len({self.lots[m] for m in each}) for each in sets) == len(lots):
            # No lot is in two sets: given the weather they are independent.
            none = np.prod([1.0 - self.chance(sorted(each), weather) for each in sets])
            return float(1.0 - none)
        if np.prod(sizes) * (self.top + 1) > _MOST_NUMBERS:
            return max(self.chance(sorted(each), weather) for each in sets)
        # Given a node for each lot, sowings are independent: one row for each choice of nodes.
        weight, node = np.ones(int(np.prod(sizes))), {}
        for lot, index in zip(lots, np.indices(sizes).reshape(len(lots), -1), strict=True):
            weight = weight * self.weights[self.lots.index(lot)][index]
            node[lot] = index

        def rows(members: Iterable[int]) -> Floats:
            total = np.zeros((weight.size, self.top + 1))
            total[:, 0] = 1.0
            for m in sorted(members):
                total = _add_counts(total, self.given[m][weather][node[self.lots[m]]], self.top)
            return total[:, : self.need]

        if sum(len(each) for each in sets) == len(used):  # no sowing is in two sets
            none = np.prod([rows(each).sum(axis=-1) for each in sets], axis=0)
            return float(1.0 - weight @ none)
        best = 0.0
        for one, two in combinations(sets, 2):
            less_one = np.cumsum(rows(one - two), axis=-1)
            less_two = np.cumsum(rows(two - one), axis=-1)
            # Given v from the common ones, neither has enough if each adds at most need - 1 - v.
            none = np.sum(rows(one & two) * less_one[:, ::-1] * less_two[:, ::-1], axis=-1)
            best = max(best, float(1.0 - weight @ none))
        return best


def _add_counts(one: Floats, two: Floats, top: int) -> Floats:
    """Distribution of the sum of independent counts, all above `top` counted with it."""
    size = 1 << (2 * top).bit_length()
    spectrum = np.fft.rfft(one, size) * np.fft.rfft(two, size)
    whole = np.maximum(np.fft.irfft(spectrum, size)[..., : 2 * top + 1], 0.0)
    total = whole[..., : top + 1].copy()
    total[..., top] += whole[..., top + 1 :].sum(axis=-1)
    return np.asarray(total / total.sum(axis=-1, keepdims=True))


def _one_order(order: OrderNeed, counts: _Counts, weather_weights: ArrayLike | None) -> Chances:
    """All of one order."""
    _check(order, counts.sowings)
    if not order.shares:
        met = float(order.need <= 0)
        return Chances(met, met, met, float(max(order.wanted, 0)))
    chosen = [counts.sowings[share.sowing] for share in order.shares]
    n_weather = chosen[0].usable.shape[0]
    weight = (
        normal_nodes(n_weather)[1]
        if weather_weights is None
        else np.asarray(weather_weights, dtype=np.float64)
    )
    given = _Given(order, counts)
    everyone = range(len(chosen))
    total = given.total(everyone, slice(None))
    enough = total[:, order.need :].sum(axis=-1)
    short = total @ np.maximum(order.wanted - np.arange(total.shape[-1]), 0.0)
    spoilt_z, ready_z = _good_paces(order, chosen)
    in_time, filled = 0.0, 0.0
    for w in range(n_weather):
        mass, good = _stretches(spoilt_z[:, w], ready_z[:, w])
        every = good.any(axis=1).all(axis=0) if order.partial else good.all(axis=0).any(axis=0)
        in_time += weight[w] * mass[every].sum()
        for sets, chance_of_sets in _sets_by_mass(mass, good, partial=order.partial).items():
            # All sowings together are the commonest set; their chance is known already.
            if len(sets) == 1 and len(sets[0]) == len(chosen):
                chance = enough[w]
            else:
                chance = given.chance_of_some(sets, w)
            filled += weight[w] * chance_of_sets * chance
    return Chances(
        float(np.clip(weight @ enough, 0.0, 1.0)),
        float(np.clip(in_time, 0.0, 1.0)),
        float(np.clip(filled, 0.0, 1.0)),
        float(weight @ short),
    )


def _check(order: OrderNeed, sowings: Sequence[SowingRisk]) -> None:
    """Refuse what the model does not cover."""
    if order.latest_day < order.earliest_day:
        rule = f"{order.earliest_day} (earliest_day) or later"
        raise OutOfRangeError("latest_day", rule, order.latest_day)
    for share in order.shares:
        if not 0 <= share.sowing < len(sowings):
            raise OutOfRangeError("sowing", f"from 0 to {len(sowings) - 1}", share.sowing)
        if share.before < 0 or share.share < 0:
            raise OutOfRangeError("before and share", "0 or more", (share.before, share.share))
    chosen = [sowings[share.sowing] for share in order.shares]
    crops = sorted({each.crop_index for each in chosen})
    if len(crops) > 1:
        raise OutOfRangeError("crop_index", "one for all sowings of an order", crops)
    nodes = sorted({(each.usable.shape[0], each.ready_day.shape[0]) for each in chosen})
    if len(nodes) > 1 or (nodes and nodes[0][0] != nodes[0][1]):
        raise OutOfRangeError("weather nodes", "as many for usable and days of all", nodes)


def _good_paces(order: OrderNeed, chosen: Sequence[SowingRisk]) -> tuple[Floats, Floats]:
    """Interval of z in which each sowing is good on each day, shapes (S, W, D).

    Good on day d are the paces above the first and up to the second.
    """
    days = np.arange(order.earliest_day, order.latest_day + 1, dtype=np.float64)
    spoilt, ready = [], []
    for each in chosen:
        r = rising("ready_day", np.asarray(each.ready_day, dtype=np.float64))
        o = np.maximum(rising("overgrown_day", np.asarray(each.overgrown_day)), r + 1)
        z_nodes, _ = normal_nodes(r.shape[-1])
        shape = (r.shape[0], days.size, r.shape[-1])
        target = np.broadcast_to(days, shape[:2])
        ready.append(pace_reaching(np.broadcast_to(r[:, None], shape), target, z_nodes))
        spoilt.append(pace_reaching(np.broadcast_to(o[:, None], shape), target, z_nodes))
    return np.stack(spoilt), np.stack(ready)


def _stretches(spoilt_z: Floats, ready_z: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Cut the line of z where anything changes: chance of each stretch and who is good when.

    Shapes: (S, D) each in; (G,) and (S, D, G) out.
    """
    cuts = np.unique(np.concatenate([spoilt_z.ravel(), ready_z.ravel(), [-np.inf, np.inf]]))
    mass = np.diff(ndtr(cuts))
    keep = mass > _LEAST_MASS
    left, right = cuts[:-1][keep], cuts[1:][keep]
    good = (spoilt_z[..., None] <= left) & (ready_z[..., None] >= right)
    return mass[keep], good


def _sets_by_mass(
    mass: Floats, good: NDArray[np.bool_], *, partial: bool
) -> Mapping[tuple[frozenset[int], ...], float]:
    """Chance of each way in which sowings are good together, the largest sets only."""
    n_sowings = good.shape[0]
    bits = (1 << np.arange(n_sowings, dtype=np.int64)).reshape(-1, 1, 1)
    codes = (good * bits).sum(axis=0)  # (D, G)
    if partial:
        codes = np.bitwise_or.reduce(codes, axis=0)[None]
    found: dict[tuple[frozenset[int], ...], float] = {}
    columns, inverse = np.unique(codes, axis=1, return_inverse=True)
    masses = np.bincount(inverse.ravel(), weights=mass, minlength=columns.shape[1])
    for column, chance in zip(columns.T, masses, strict=True):
        several = sorted({int(code) for code in column})
        largest = [a for a in several if a and not any(a != b and a & b == a for b in several)]
        sets = tuple(frozenset(s for s in range(n_sowings) if code >> s & 1) for code in largest)
        if sets:
            found[sets] = found.get(sets, 0.0) + float(chance)
    return found
