"""Chance of enough usable cells, plants short and cells to sow, for many candidates at once.

The exact distribution of `sowbench.science.trays` costs a transform for every candidate. Here the
same chances come from sums of a few terms for whole arrays of candidates: given how many trays
are lost, the rest is close to one large beta-binomial tray with the same mean and variance, whose
tail is summed term by term; for large numbers its place is taken by an Edgeworth series.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from sowbench.science.beta_binomial import require_frac
from sowbench.science.errors import OutOfRangeError
from sowbench.science.tray_tails import independent_tail
from sowbench.science.trays import RHO_TRAY, TRAY_LOSS_FRAC, split_cells, tray_total_moments

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Ways of losing trays below this chance are left out and the rest scaled up.
_LEAST_WAY = 1e-5
# Elements worked on at a time: a dozen arrays of this length stay in a processor's cache.
_CHUNK = 16384


def prob_at_least(
    need: ArrayLike,
    n_cells: ArrayLike,
    cells_per_tray: ArrayLike,
    usable_nodes: ArrayLike,
    weights: ArrayLike,
    rho_tray: ArrayLike = RHO_TRAY,
    tray_loss_frac: ArrayLike = TRAY_LOSS_FRAC,
) -> Floats:
    """Chance that a sowing gives at least so many usable cells, for many sowings at once.

    Parameters
    ----------
    need : array_like, shape (M,)
        Usable cells wanted, whole.
    n_cells : array_like, shape (M,)
        Cells sown, whole.
    cells_per_tray : array_like, shape (M,) or ()
        Cells of a full tray; all trays are full but the last.
    usable_nodes : array_like, shape (M, K) or (K,)
        Share of usable cells at each node of what the trays share [fraction].
    weights : array_like, shape (K,) or (M, K)
        Weight of each node; a row adds to 1.
    rho_tray : array_like, shape (M,) or (), default 0.015
        Correlation between cells of a tray [fraction].
    tray_loss_frac : array_like, shape (M,) or (), default 0.005
        Chance that a tray is lost whole [fraction].

    Returns
    -------
    chance_frac : ndarray, shape (M,)
        Chance of `need` or more usable cells [fraction].

    Raises
    ------
    OutOfRangeError
        If a fraction is outside 0 to 1 or a count is negative.

    See Also
    --------
    sowbench.science.trays.tray_total_pmf : The exact distribution, one sowing at a time.

    Notes
    -----
    Within 0.001 of exact in 99 of 100 cases, and within 0.004 at worst, where a small last tray
    stands beside one or two large ones with much correlation (measured in the tests).

    Examples
    --------
    >>> prob_at_least([100], [132], 72, [0.80, 0.85, 0.90], [0.25, 0.5, 0.25]).round(2).tolist()
    [0.94]
    """
    chance, _ = _chances(
        need, n_cells, cells_per_tray, usable_nodes, weights, rho_tray, tray_loss_frac
    )
    return chance


def expected_short(
    need: ArrayLike,
    n_cells: ArrayLike,
    cells_per_tray: ArrayLike,
    usable_nodes: ArrayLike,
    weights: ArrayLike,
    rho_tray: ArrayLike = RHO_TRAY,
    tray_loss_frac: ArrayLike = TRAY_LOSS_FRAC,
) -> Floats:
    """Expected usable cells missing from what is wanted, for many sowings at once.

    Parameters
    ----------
    need, n_cells, cells_per_tray, usable_nodes, weights, rho_tray, tray_loss_frac : array_like
        As for `prob_at_least`.

    Returns
    -------
    short : ndarray, shape (M,)
        Expectation of ``max(need - usable, 0)`` [cells].

    See Also
    --------
    expected_surplus : What is left over.

    Examples
    --------
    >>> expected_short([100], [132], 72, [0.80, 0.85, 0.90], [0.25, 0.5, 0.25]).round(1).tolist()
    [0.7]
    """
    _, short = _chances(
        need, n_cells, cells_per_tray, usable_nodes, weights, rho_tray, tray_loss_frac
    )
    return short


def expected_surplus(
    need: ArrayLike,
    n_cells: ArrayLike,
    cells_per_tray: ArrayLike,
    usable_nodes: ArrayLike,
    weights: ArrayLike,
    rho_tray: ArrayLike = RHO_TRAY,
    tray_loss_frac: ArrayLike = TRAY_LOSS_FRAC,
) -> Floats:
    """Expected usable cells beyond what is wanted, for many sowings at once.

    Parameters
    ----------
    need, n_cells, cells_per_tray, usable_nodes, weights, rho_tray, tray_loss_frac : array_like
        As for `prob_at_least`.

    Returns
    -------
    surplus : ndarray, shape (M,)
        Expectation of ``max(usable - need, 0)`` [cells].

    Examples
    --------
    >>> expected_surplus([0], [100], 50, [0.9], [1.0], tray_loss_frac=0.0).round(6).tolist()
    [90.0]
    """
    _, short = _chances(
        need, n_cells, cells_per_tray, usable_nodes, weights, rho_tray, tray_loss_frac
    )
    mean = _mean_cells(n_cells, usable_nodes, weights, tray_loss_frac)
    return np.asarray(np.maximum(mean - np.asarray(need, dtype=np.float64) + short, 0.0))


def chances_at(
    need: ArrayLike,
    n_cells: ArrayLike,
    cells_per_tray: ArrayLike,
    usable_nodes: ArrayLike,
    weights: ArrayLike,
    rho_tray: ArrayLike = RHO_TRAY,
    tray_loss_frac: ArrayLike = TRAY_LOSS_FRAC,
) -> tuple[Floats, Floats, Floats]:
    """Chance of enough, expected short and expected surplus in one pass.

    Parameters
    ----------
    need, n_cells, cells_per_tray, usable_nodes, weights, rho_tray, tray_loss_frac : array_like
        As for `prob_at_least`.

    Returns
    -------
    chance_frac : ndarray, shape (M,)
        As `prob_at_least` [fraction].
    short : ndarray, shape (M,)
        As `expected_short` [cells].
    surplus : ndarray, shape (M,)
        As `expected_surplus` [cells].

    Examples
    --------
    >>> [round(float(v[0]), 6) for v in chances_at([1], [1], 1, [0.5], [1.0], 0.0, 0.0)]
    [0.5, 0.5, 0.0]
    """
    chance, short = _chances(
        need, n_cells, cells_per_tray, usable_nodes, weights, rho_tray, tray_loss_frac
    )
    mean = _mean_cells(n_cells, usable_nodes, weights, tray_loss_frac)
    surplus = np.maximum(mean - np.asarray(need, dtype=np.float64) + short, 0.0)
    return chance, short, surplus


def cells_for_confidence(
    need: ArrayLike,
    confidence_frac: ArrayLike,
    cells_per_tray: ArrayLike,
    usable_nodes: ArrayLike,
    weights: ArrayLike,
    rho_tray: ArrayLike = RHO_TRAY,
    tray_loss_frac: ArrayLike = TRAY_LOSS_FRAC,
    max_cells: ArrayLike | None = None,
) -> Ints:
    """Fewest cells to sow for a wanted chance of enough, for many sowings at once.

    Parameters
    ----------
    need : array_like, shape (M,)
        Usable cells wanted, whole.
    confidence_frac : array_like, shape (M,) or ()
        Chance wanted that there are enough [fraction, below 1].
    cells_per_tray, usable_nodes, weights, rho_tray, tray_loss_frac : array_like
        As for `prob_at_least`.
    max_cells : array_like, shape (M,), optional
        Most cells to consider; by default four times `need` and 50 more.

    Returns
    -------
    n_cells : ndarray of int, shape (M,)
        Fewest cells, or -1 where `max_cells` does not reach the chance.

    Raises
    ------
    OutOfRangeError
        If a fraction is out of range or a count is negative.

    Notes
    -----
    The chance never falls when a cell is added, so the answer is bracketed; steps are taken as if
    the normal deviate of the chance were straight in the cells, which needs about five.

    Examples
    --------
    >>> cells_for_confidence([50, 100, 1000], 0.95, 1, [0.85], [1.0], 0.0, 0.0).tolist()
    [64, 125, 1201]
    """
    wanted, nodes, weight, per_tray, rho, loss = _rows(
        need, cells_per_tray, usable_nodes, weights, rho_tray, tray_loss_frac
    )
    n_rows = wanted.size
    confidence = np.broadcast_to(
        require_frac("confidence_frac", confidence_frac, below_one=True), (n_rows,)
    )
    top = 4 * wanted + 50 if max_cells is None else np.asarray(max_cells, dtype=np.float64)
    high = np.broadcast_to(np.floor(top), (n_rows,)).copy()
    goal_x = np.asarray(ndtri(np.maximum(confidence, 1e-12)))
    guess, scale = _first_guess(wanted, goal_x, per_tray, nodes, weight, rho, loss)
    low = np.minimum(wanted, high + 1) - 1  # fewer cells than wanted plants can never do
    low_x, high_x = np.full(n_rows, -np.inf), np.full(n_rows, np.inf)
    found = np.where(wanted > 0, -1, 0).astype(np.int64)
    active = np.flatnonzero((wanted > 0) & (high > low))
    while active.size:
        at = np.clip(guess[active], low[active] + 1, high[active])
        chance, _ = _chances_of_rows(
            wanted[active], at, per_tray[active], nodes[active], weight[active],
            rho[active], loss[active],
        )  # fmt: skip
        enough = chance >= confidence[active]
        x = np.asarray(ndtri(np.clip(chance, 1e-15, 1 - 1e-15)))
        yes, no = active[enough], active[~enough]
        found[yes], high[yes], high_x[yes] = at[enough], at[enough], x[enough]
        low[no], low_x[no] = at[~enough], x[~enough]
        guess[active] = _next_guess(
            low[active], low_x[active], high[active], high_x[active], goal_x[active], at, x,
            scale[active],
        )  # fmt: skip
        gap = high[active] - low[active]
        active = active[gap > np.where(found[active] >= 0, 1, 0)]
    return found


def _first_guess(
    need: Floats, goal_x: Floats, per_tray: Floats, nodes: Floats, weight: Floats,
    rho: Floats, loss: Floats,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Cells by the normal formula, and the cells that raise the deviate by one."""
    share = np.maximum(np.sum(weight * nodes, axis=1) * (1 - loss), 1e-6)
    node_var = np.sum(weight * nodes**2, axis=1) * (1 - loss) ** 2 - share**2
    n, sd = need / share, np.zeros(need.size)
    for _ in range(2):
        _, variance, _ = tray_total_moments(n, per_tray, np.minimum(share, 1.0), rho, loss)
        sd = np.sqrt(variance + n**2 * np.maximum(node_var, 0.0))
        n = (need + goal_x * sd) / share
    return np.ceil(np.maximum(n, need)), np.maximum(sd / share, 0.5)


def _next_guess(
    low: Floats, low_x: Floats, high: Floats, high_x: Floats, goal_x: Floats,
    at: Floats, x: Floats, scale: Floats,
) -> Floats:  # fmt: skip
    """Next cells to try inside the bracket: along its chord, or a step from the last try."""
    step = np.ceil(at + (goal_x - x) * scale)
    step = np.where(x < goal_x, np.maximum(step, at + 1), np.minimum(step, at - 1))
    both = np.isfinite(low_x) & np.isfinite(high_x) & (high_x > low_x)
    with np.errstate(invalid="ignore", divide="ignore"):
        chord = np.ceil(low + (high - low) * (goal_x - low_x) / (high_x - low_x))
    # A chord across a long bracket creeps along one side; its middle does not.
    chord = np.where(high - low > 4 * scale, np.floor((low + high) / 2), chord)
    guess = np.where(both, chord, step)
    return np.asarray(np.clip(guess, low + 1, np.maximum(high - 1, low + 1)))


def _mean_cells(
    n_cells: ArrayLike, usable_nodes: ArrayLike, weights: ArrayLike, tray_loss_frac: ArrayLike
) -> Floats:
    """Expected usable cells over the nodes."""
    share = np.sum(np.atleast_2d(usable_nodes) * np.atleast_2d(weights), axis=1)
    keep = 1.0 - np.asarray(tray_loss_frac, dtype=np.float64)
    return np.asarray(np.asarray(n_cells, dtype=np.float64) * share * keep)


def _rows(
    need: ArrayLike, cells_per_tray: ArrayLike, usable_nodes: ArrayLike, weights: ArrayLike,
    rho_tray: ArrayLike, tray_loss_frac: ArrayLike,
) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:  # fmt: skip
    """Check and broadcast the arguments to rows of nodes."""
    wanted = np.atleast_1d(np.asarray(need, dtype=np.float64))
    nodes = np.atleast_2d(require_frac("usable_nodes", usable_nodes))
    weight = np.atleast_2d(require_frac("weights", weights))
    rho = require_frac("rho_tray", rho_tray, below_one=True)
    loss = require_frac("tray_loss_frac", tray_loss_frac)
    per_tray = np.asarray(cells_per_tray, dtype=np.float64)
    if np.any(per_tray < 1):
        raise OutOfRangeError("cells_per_tray", "a whole number from 1 up", float(per_tray.min()))
    if not np.allclose(weight.sum(axis=1), 1.0, atol=1e-6):
        raise OutOfRangeError("weights", "a row that adds to 1", float(weight.sum(axis=1)[0]))
    n_rows = np.broadcast_shapes(wanted.shape, nodes.shape[:1], weight.shape[:1])[0]
    shape = (n_rows, nodes.shape[1])
    return (
        np.broadcast_to(wanted, (n_rows,)),
        np.broadcast_to(nodes, shape),
        np.broadcast_to(weight, shape),
        np.broadcast_to(per_tray, (n_rows,)),
        np.broadcast_to(rho, (n_rows,)),
        np.broadcast_to(loss, (n_rows,)),
    )


def _chances(
    need: ArrayLike, n_cells: ArrayLike, cells_per_tray: ArrayLike, usable_nodes: ArrayLike,
    weights: ArrayLike, rho_tray: ArrayLike, tray_loss_frac: ArrayLike,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Check the arguments, then compute chance and shortage."""
    cells = np.atleast_1d(np.asarray(n_cells, dtype=np.float64))
    if np.any(~(cells >= 0)):
        raise OutOfRangeError("n_cells", "a whole number from 0 up", float(cells.min()))
    rows = _rows(
        np.broadcast_arrays(need, cells)[0], cells_per_tray, usable_nodes, weights,
        rho_tray, tray_loss_frac,
    )  # fmt: skip
    wanted, nodes, weight, per_tray, rho, loss = rows
    cells = np.broadcast_to(cells, wanted.shape)
    return _chances_of_rows(wanted, cells, per_tray, nodes, weight, rho, loss)


def _chances_of_rows(
    need: Floats, n_cells: Floats, per_tray: Floats, nodes: Floats, weight: Floats,
    rho: Floats, loss: Floats,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Chance of enough and expected shortage, mixed over lost trays and nodes, in chunks."""
    n_rows, n_nodes = nodes.shape
    chance, short = np.empty(n_rows), np.empty(n_rows)
    step = max(_CHUNK // n_nodes, 1)
    for start in range(0, n_rows, step):
        rows = slice(start, start + step)
        chance[rows], short[rows] = _mixed(
            need[rows], n_cells[rows], per_tray[rows], nodes[rows], weight[rows],
            rho[rows], loss[rows],
        )  # fmt: skip
    return chance, short


def _mixed(
    need: Floats, n_cells: Floats, per_tray: Floats, nodes: Floats, weight: Floats,
    rho: Floats, loss: Floats,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Mix over the ways of losing trays: so many full ones, and the last or not."""
    n_full, n_last = split_cells(n_cells, per_tray)
    full_too = n_last == per_tray  # a last tray that is full is one more full tray
    n_full, n_last = np.where(full_too, n_full + 1, n_full), np.where(full_too, 0.0, n_last)
    chance, short, total = (np.zeros(need.size) for _ in range(3))
    way = (1 - loss) ** n_full  # no full tray lost
    n_lost = 0
    while np.any(way > _LEAST_WAY) or n_lost <= np.max(n_full * loss, initial=0.0):
        for last_lost in (False, True):
            last_way = np.where(n_last == 0, 0.0 if last_lost else 1.0, loss)
            last_way = last_way if last_lost else np.where(n_last == 0, 1.0, 1 - loss)
            part = way * last_way
            rows = np.flatnonzero((part > _LEAST_WAY) & (n_full >= n_lost))
            if not rows.size:
                continue
            left = n_last[rows] * (not last_lost)
            at_least, missing = independent_tail(
                need[rows, None], n_full[rows, None] - n_lost, per_tray[rows, None],
                left[:, None], nodes[rows], rho[rows, None],
            )  # fmt: skip
            chance[rows] += part[rows] * np.sum(weight[rows] * at_least, axis=1)
            short[rows] += part[rows] * np.sum(weight[rows] * missing, axis=1)
            total[rows] += part[rows]
        ratio = np.where(loss < 1, loss / np.maximum(1 - loss, 1e-300), 0.0)
        way = way * np.maximum(n_full - n_lost, 0) / (n_lost + 1) * ratio
        n_lost += 1
        if n_lost > n_full.max(initial=0.0):
            break
    none_left = total == 0  # every tray is lost for certain
    total[none_left] = 1.0
    chance[none_left] = need[none_left] <= 0
    short[none_left] = np.maximum(need[none_left], 0)
    return np.clip(chance / total, 0.0, 1.0), np.maximum(short / total, 0.0)
