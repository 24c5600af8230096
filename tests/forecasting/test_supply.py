"""Parts say what the grid says."""

from __future__ import annotations

import numpy as np
import pytest
from tests.forecasting._made import count, made, order
from tests.forecasting._resow import parts_of, way

from sowbench.forecasting import forecast_sowings
from sowbench.forecasting.resow import part_losses, second_of
from sowbench.forecasting.resow_records import ONLY_MISSED
from sowbench.forecasting.supply import supply_parts
from sowbench.science.errors import OutOfRangeError

JOURNALS = (
    (),
    (count("S", 8, 95, (1,)),),
    (count("S", 8, 40, (1,)), count("S", 10, 130, (1, 2))),
    (count("S", 12, 10, (1,)),),
)


@pytest.mark.parametrize("entries", JOURNALS)
@pytest.mark.parametrize("need", [900, 1020, 1080])
@pytest.mark.parametrize("latest", [33, 36, 44])
def test_parts_give_the_chance_that_the_forecast_gives(entries, need, latest):
    sowing, asked = made(entries=entries), order(need, latest=latest, earliest=30)
    told = forecast_sowings([sowing], [asked]).orders[0].chance_filled_frac
    _, parts = parts_of([sowing], [asked], 12, [None])
    second = second_of([None], np.zeros(1, dtype=int), ONLY_MISSED)
    leave, _ = part_losses(parts, np.array([0]), second, ONLY_MISSED)
    assert 1.0 - parts.weight[0] @ leave[0] == pytest.approx(told, abs=0.02)


def test_weights_of_parts_add_up_and_keep_the_mean():
    sowing = made(entries=(count("S", 9, 90, (1,)),))
    batch, parts = parts_of([sowing], [order(1000)], 12, [None])
    assert parts.weight.sum() == pytest.approx(1.0)
    mean = (batch.posterior.mass * batch.outlook.mean).sum()
    assert parts.weight[0] @ parts.mean[0] == pytest.approx(mean)


def test_a_resowing_is_never_in_time_more_often_than_both_allow():
    sowing = made()
    _, parts = parts_of([sowing], [order(1000, latest=40)], 8, [way(sowing)])
    heavy = parts.weight[0] > 1e-6
    both, first, second = (
        getattr(parts, name)[0][heavy] for name in ("both_frac", "first_frac", "second_frac")
    )
    assert np.all(both <= np.minimum(first, second) + 1e-12)
    assert parts.weight[0] @ parts.second_frac[0] < parts.weight[0] @ parts.first_frac[0]


def test_later_resowings_are_in_time_less_often():
    sowing = made()
    last = 1.1
    for today in (5, 8, 11, 14):
        _, parts = parts_of([sowing], [order(1000, latest=44)], today, [way(sowing)])
        chance = parts.weight[0] @ parts.second_frac[0]
        assert chance < last
        last = chance


def test_what_an_order_gets_elsewhere_is_taken_off_its_need():
    sowings = [made("A"), made("B", lot="M")]
    whole = order(1500)
    shares = tuple(
        type(whole.need.shares[0])(row, 0, 750) for row in range(2)
    )  # fmt: skip
    both = type(whole)("O", type(whole.need)(shares, 1500, 1500, 32, 38))
    _, parts = parts_of(sowings, [both], 5, [None])
    assert parts.row.tolist() == [0, 1]
    assert np.all(parts.need == 750.0)


def test_orders_that_need_nothing_are_not_asked():
    _, parts = parts_of([made()], [order(0), order(900, name="P")], 5, [None, None])
    assert parts.order.tolist() == [1]


def test_no_orders_give_no_parts():
    batch = forecast_sowings([made()]).batch
    assert batch is not None
    assert supply_parts(batch, [], 5, [], [0]).need.size == 0


def test_each_order_needs_its_resowing():
    batch = forecast_sowings([made()]).batch
    assert batch is not None
    with pytest.raises(OutOfRangeError, match="second must be one for each of 1 orders"):
        supply_parts(batch, [order(900)], 5, [], [0])
