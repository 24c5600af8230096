"""The order's risk in cases small enough for a hand; the sampled check stands beside it."""

import numpy as np
import pytest
from scipy import stats
from scipy.stats import norm

from sowbench.science.errors import OutOfRangeError
from sowbench.science.quadrature import normal_nodes
from sowbench.science.risk import (
    OrderNeed,
    Share,
    SowingRisk,
    contribution_pmf,
    order_chances,
    season_chances,
)

Z, _ = normal_nodes(9)


def sowing(n, usable, ready=30.0, window=50.0, *, lot=0, crop=0, slope=0.0, weights=(1.0,)):
    """Make a sowing of one big tray without shared failure, the same in every weather."""
    days = np.tile(ready + slope * Z, (5, 1))
    return SowingRisk(
        lot, crop, n, 10_000, np.tile(np.atleast_1d(usable), (5, 1)), np.array(weights),
        days, days + window, rho_tray=0.0, tray_loss_frac=0.0,
    )  # fmt: skip


def order(shares, need, days=(40, 40), *, wanted=None, partial=False):
    """Make an order."""
    early, late = days
    return OrderNeed(tuple(shares), wanted or need, need, early, late, partial)


def test_one_sowing_is_its_binomial():
    found = order_chances(order([Share(0, 0, 8)], 8), [sowing(10, 0.8)])
    assert found.enough_frac == pytest.approx(stats.binom.sf(7, 10, 0.8))
    assert found.in_time_frac == pytest.approx(1.0)
    assert found.filled_frac == pytest.approx(found.enough_frac)
    k = np.arange(11)
    short = stats.binom.pmf(k, 10, 0.8) @ np.maximum(8 - k, 0)
    assert found.expected_short == pytest.approx(short)


def test_sowings_of_one_lot_share_its_germination():
    # The lot is all good or all bad, evenly: together enough in one case of two, by two lots
    # in one of four.
    kind = {"usable": [0.0, 1.0], "weights": (0.5, 0.5)}
    shares = [Share(0, 0, 5), Share(1, 0, 5)]
    same = [sowing(5, **kind), sowing(5, **kind)]
    other = [sowing(5, **kind), sowing(5, **kind, lot=1)]
    assert order_chances(order(shares, 10), same).enough_frac == pytest.approx(0.5)
    assert order_chances(order(shares, 10), other).enough_frac == pytest.approx(0.25)


def test_weather_is_shared_by_all():
    # Bad in the outer two weather nodes, with weights 0.011257 each (Abramowitz and Stegun 25.10).
    usable = np.array([[0.0], [1.0], [1.0], [1.0], [0.0]])
    days = np.full((5, 9), 30.0)
    two = [
        SowingRisk(lot, 0, 5, 5, usable, np.ones(1), days, days + 20, 0.0, 0.0) for lot in (0, 1)
    ]
    found = order_chances(order([Share(0, 0, 5), Share(1, 0, 5)], 10), two)
    assert found.enough_frac == pytest.approx(1 - 2 * 0.0112574113)


def test_a_shared_sowing_fills_its_orders_in_turn():
    # 0, 1, 2 or 3 plants with 1 3 3 1 in 8; the first order wants 1, the second the rest.
    one = [sowing(3, 0.5)]
    first = order([Share(0, 0, 1, last=False)], 1)
    second = order([Share(0, 1, 2)], 2)
    found = season_chances([first, second], one)
    assert found[0].enough_frac == pytest.approx(7 / 8)
    assert found[1].enough_frac == pytest.approx(1 / 8)
    assert found[1].expected_short == pytest.approx((1 + 3) / 8 * 2 + 3 / 8 * 1)


def test_an_order_that_is_not_the_last_gets_no_more_than_its_share():
    pmf = np.array([0.0, 0.0, 0.0, 1.0])
    assert contribution_pmf(pmf, Share(0, 0, 1, last=False), 3).tolist() == [0, 1, 0, 0]
    assert contribution_pmf(pmf, Share(0, 0, 1), 3).tolist() == [0, 0, 0, 1]
    assert contribution_pmf(pmf, Share(0, 2, 1), 3).tolist() == [0, 1, 0, 0]
    assert contribution_pmf(pmf, Share(0, 5, 1), 3).tolist() == [1, 0, 0, 0]
    assert contribution_pmf(pmf, Share(0, 0, 0, last=False), 3).tolist() == [1, 0, 0, 0]
    assert contribution_pmf(pmf, Share(0, 0, 9), 2).tolist() == [0, 0, 1]


def test_in_time_is_a_difference_of_two_normal_chances():
    # Ready at 40 + 2 z, good for 4 days, wanted from 41 to 43: z from -1.5 to (43 - 40) / 2.
    found = order_chances(order([Share(0, 0, 1)], 1, (41, 43)), [sowing(3, 1.0, 40, 4, slope=2.0)])
    expected = norm.cdf(1.5) - norm.cdf(-1.5)
    assert found.in_time_frac == pytest.approx(expected)
    assert found.filled_frac == pytest.approx(expected)


def test_ready_counts_from_the_next_midnight():
    assert order_chances(
        order([Share(0, 0, 1)], 1, (40, 40)), [sowing(3, 1.0, 40.1)]
    ).in_time_frac == pytest.approx(0.0)
    assert order_chances(
        order([Share(0, 0, 1)], 1, (41, 41)), [sowing(3, 1.0, 40.1)]
    ).in_time_frac == pytest.approx(1.0)


def test_partial_orders_take_each_sowing_on_a_day_of_its_own():
    # Good on 30 to 31 and on 34 to 35, wanted from 30 to 35.
    two = [sowing(5, 1.0, 30, 2), sowing(5, 1.0, 34, 2)]
    shares = [Share(0, 0, 5), Share(1, 0, 5)]
    together = order_chances(order(shares, 10, (30, 35)), two)
    apart = order_chances(order(shares, 10, (30, 35), partial=True), two)
    assert (together.in_time_frac, together.filled_frac) == pytest.approx((0.0, 0.0))
    assert (apart.in_time_frac, apart.filled_frac) == pytest.approx((1.0, 1.0))
    # Half of it would do: then either sowing alone fills the order.
    half = order_chances(order(shares, 5, (30, 35), wanted=10), two)
    assert half.filled_frac == pytest.approx(1.0)
    assert half.in_time_frac == pytest.approx(0.0)


def test_filled_counts_the_union_of_days():
    # Each sowing holds enough with 0.5; they are good on different days, of two lots or of one.
    shares = [Share(0, 0, 1), Share(1, 0, 1)]
    two = [sowing(1, 0.5, 30, 2), sowing(1, 0.5, 34, 2, lot=1)]
    assert order_chances(order(shares, 1, (30, 35)), two).filled_frac == pytest.approx(0.75)
    sure = [sowing(1, [0.0, 1.0], r, 2, weights=(0.5, 0.5)) for r in (30, 34)]
    assert order_chances(order(shares, 1, (30, 35)), sure).filled_frac == pytest.approx(0.5)


def test_filled_counts_three_days_without_a_common_sowing():
    shares = [Share(i, 0, 1) for i in range(3)]
    three = [sowing(1, 0.5, 30 + 3 * i, 2) for i in range(3)]
    found = order_chances(order(shares, 1, (30, 40)), three)
    assert found.filled_frac == pytest.approx(1 - 0.5**3)


def test_filled_with_a_sowing_that_is_good_on_both_days():
    # A good early, B late, C throughout; two of the pair A, C or of B, C are needed, each at 0.5:
    # P(C) (1 - P(neither A nor B)) = 0.5 x 0.75.
    shares = [Share(i, 0, 1) for i in range(3)]
    three = [sowing(1, 0.5, 30, 2), sowing(1, 0.5, 34, 2), sowing(1, 0.5, 30, 9)]
    found = order_chances(order(shares, 2, (30, 35)), three)
    assert found.filled_frac == pytest.approx(0.375)


def test_filled_is_at_most_each_of_the_other_two_for_one_sowing():
    for n in (8, 10, 14):
        found = order_chances(
            order([Share(0, 0, 8)], 8, (40, 42)), [sowing(n, 0.8, 40, 3, slope=2.0)]
        )
        assert found.filled_frac <= min(found.enough_frac, found.in_time_frac) + 1e-12
        assert found.filled_frac == pytest.approx(found.enough_frac * found.in_time_frac)


def test_a_sowing_that_is_never_ready_fills_nothing():
    found = order_chances(order([Share(0, 0, 5)], 5), [sowing(9, 1.0, np.inf)])
    assert found.enough_frac == pytest.approx(1.0)
    assert found.in_time_frac == found.filled_frac == 0.0


def test_an_order_without_a_sowing_lacks_everything():
    assert order_chances(order([], 7), []) == (0.0, 0.0, 0.0, 7.0)


def test_more_cells_raise_the_chance_and_lower_the_shortage():
    found = [order_chances(order([Share(0, 0, 20)], 20), [sowing(n, 0.8)]) for n in range(20, 40)]
    assert np.all(np.diff([each.enough_frac for each in found]) > 0)
    assert np.all(np.diff([each.expected_short for each in found]) < 0)


def test_least_share_of_an_order_counts_for_the_chance_and_not_for_the_shortage():
    found = order_chances(order([Share(0, 0, 10)], 8, wanted=10), [sowing(9, 1.0)])
    assert found.enough_frac == pytest.approx(1.0)
    assert found.expected_short == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("make", "name"),
    [
        (lambda: order_chances(order([Share(3, 0, 1)], 1), [sowing(3, 1.0)]), "sowing"),
        (lambda: order_chances(order([Share(0, -1, 1)], 1), [sowing(3, 1.0)]), "before and share"),
        (lambda: order_chances(order([Share(0, 0, 1)], 1, (9, 8)), [sowing(3, 1.0)]), "latest_day"),
        (
            lambda: order_chances(
                order([Share(0, 0, 1), Share(1, 0, 1)], 1),
                [sowing(3, 1.0), sowing(3, 1.0, crop=1)],
            ),
            "crop_index",
        ),
    ],
)
def test_what_the_model_does_not_cover_is_refused_by_name(make, name):
    with pytest.raises(OutOfRangeError, match=f"^{name} must be"):
        make()
