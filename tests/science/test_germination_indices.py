"""Indices of germination speed: limits and refusals; printed values stand in tests/published."""

import math

import pytest

from sowbench.science.errors import OutOfRangeError
from sowbench.science.germination_indices import (
    mean_time,
    speed_index,
    synchrony,
    t50,
    time_cv,
    time_to_share,
    timson_index,
    uncertainty_bits,
    uniformity,
)


def test_all_on_one_day_is_certain_and_in_step():
    assert uncertainty_bits([0, 12, 0]) == 0.0
    assert synchrony([0, 12, 0]) == 1.0
    assert mean_time([1, 2, 3], [0, 12, 0]) == (2.0, 0.0)
    assert speed_index([1, 2, 3], [0, 12, 0]) == 6.0


def test_each_on_its_own_day_is_out_of_step():
    assert synchrony([1, 1, 1, 1]) == 0.0
    assert uncertainty_bits([1, 1, 1, 1]) == 2.0


def test_half_is_found_on_a_straight_line():
    # By hand: 0 on day 2, 10 on day 4; half of 10 on day 3, (10 + 1) / 2 = 5.5 on day 3.1.
    assert t50([2, 4], [0, 10]) == 3.0
    assert t50([2, 4], [0, 10], "coolbear") == pytest.approx(3.1)
    assert time_to_share([2, 4], [0, 10], 10) == 4.0
    assert time_to_share([2, 4], [5, 5], 2.5) == 1.0


def test_a_single_seed_has_no_variance():
    mean, variance = mean_time([3], [1])
    assert mean == 3.0
    assert math.isnan(variance)
    with pytest.raises(OutOfRangeError, match="two seeds"):
        synchrony([1])


@pytest.mark.parametrize(
    ("days", "counts", "words"),
    [
        ([1, 2], [1], "vectors of one length"),
        ([2, 1], [1, 1], "rising"),
        ([0, 1], [1, 1], "above 0 d"),
        ([1, 2], [1, -1], "whole numbers"),
        ([1, 2], [0.5, 1], "whole numbers"),
        ([1, 2], [0, 0], "no index without germination"),
    ],
)
def test_counts_that_are_no_test_are_refused(days, counts, words):
    with pytest.raises(OutOfRangeError, match=words):
        speed_index(days, counts)


def test_more_than_came_up_is_never_reached():
    with pytest.raises(OutOfRangeError, match="at most the 3 up"):
        time_to_share([1, 2], [1, 2], 4)


def test_seeds_that_come_on_one_day_are_uniform_without_limit():
    assert uniformity([3, 4], [5, 0]) == float("inf")
    assert time_cv([3, 4], [5, 0]) == 0.0


def test_the_index_of_all_seeds_up_at_the_first_look_is_a_hundred_for_each():
    assert timson_index([10, 0, 0], 10) == 300.0
    with pytest.raises(OutOfRangeError, match="n_sown"):
        timson_index([10, 0, 0], 9)
