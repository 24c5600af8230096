"""Uses of resources against plain loops over candidates and days."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from sowbench.planning.resources import (
    RangeMinimum,
    ResourceKind,
    Resources,
    SegmentBuilder,
    cumulative_prices,
)

N_RESOURCES, N_DAYS = 3, 9

segment = st.tuples(
    st.integers(0, N_RESOURCES - 1),
    st.integers(0, N_DAYS),
    st.integers(0, N_DAYS),
    st.floats(0.0, 10.0),
)
uses = st.lists(st.lists(segment, max_size=5), min_size=1, max_size=5)
tables = hnp.arrays(float, (N_RESOURCES, N_DAYS), elements=st.floats(0.0, 20.0))


def built(candidates):
    """Segments of candidates, each a list of (resource, first day, day after, amount)."""
    builder = SegmentBuilder()
    # Added in turns, so that the builder has to bring them into the candidates' sequence.
    for turn in range(max((len(each) for each in candidates), default=0)):
        for j, each in enumerate(candidates):
            if turn < len(each):
                r, a, b, amount = each[turn]
                builder.add(np.array([j]), r, np.array([a]), np.array([b]), amount)
    return builder.build(len(candidates))


@given(uses, tables)
def test_priced_sums_amount_times_price_over_days(candidates, price):
    found = built(candidates).priced(cumulative_prices(price))
    for j, each in enumerate(candidates):
        by_hand = sum(amount * price[r, d] for r, a, b, amount in each for d in range(a, b))
        assert found[j] == pytest.approx(by_hand, abs=1e-9)


@given(uses, st.data())
def test_use_sums_shares_over_candidates(candidates, data):
    share = np.array([data.draw(st.floats(0.0, 1.0)) for _ in candidates])
    found = built(candidates).use(share, N_RESOURCES, N_DAYS)
    by_hand = np.zeros((N_RESOURCES, N_DAYS))
    for s, each in zip(share, candidates, strict=True):
        for r, a, b, amount in each:
            for d in range(a, b):
                by_hand[r, d] += s * amount
    np.testing.assert_allclose(found, by_hand, atol=1e-9)


@given(uses, tables)
def test_fits_tells_whether_every_segment_is_left_room(candidates, left):
    found = built(candidates).fits(left, tolerance=0.0)
    for j, each in enumerate(candidates):
        by_hand = all(
            amount <= left[r, d] for r, a, b, amount in each if amount > 0 for d in range(a, b)
        )
        assert found[j] == by_hand


def test_a_candidate_that_fills_the_last_of_a_room_fits():
    segments = built([[(0, 2, 5, 3.0)], [(0, 2, 6, 3.0)], [(0, 2, 5, 3.0001)]])
    left = np.full((1, N_DAYS), 3.0)
    left[0, 5] = 1.0
    assert segments.fits(left).tolist() == [True, False, False]


@given(uses, st.data())
def test_take_gives_the_segments_of_the_chosen_in_that_order(candidates, data):
    rows = np.array(
        data.draw(st.lists(st.integers(0, len(candidates) - 1), max_size=6)), dtype=np.int64
    )
    taken = built(candidates).take(rows)
    again = built([candidates[j] for j in rows] or [[]])
    assert len(taken) == len(rows)
    for name in ("resource", "start", "stop", "amount"):
        assert getattr(taken, name).tolist() == getattr(again, name).tolist()


def test_empty_and_unlimited_uses_are_left_out():
    builder = SegmentBuilder()
    owner = np.arange(4)
    builder.add(
        owner, np.array([0, 0, -1, 0]), np.array([1, 3, 1, 1]), np.array([2, 3, 2, 2]),
        np.array([1.0, 1.0, 1.0, 0.0]),
    )  # fmt: skip
    segments = builder.build(4)
    assert np.diff(segments.offset).tolist() == [1, 0, 0, 0]


def test_nothing_added_is_no_use():
    segments = SegmentBuilder().build(3)
    assert len(segments) == 3
    assert segments.priced(np.ones((2, 5))).tolist() == [0.0, 0.0, 0.0]
    assert segments.use(np.ones(3), 2, 4).tolist() == [[0.0] * 4] * 2


@given(hnp.arrays(float, (2, 13), elements=st.floats(-5.0, 5.0)), st.data())
def test_range_minimum_is_the_least_of_the_range(values, data):
    day = st.integers(0, 13)
    queries = data.draw(st.lists(st.tuples(st.integers(0, 1), day, day), min_size=1, max_size=12))
    row, start, stop = (np.array(each, dtype=np.int32) for each in zip(*queries, strict=True))
    found = RangeMinimum(values).query(row, start, stop)
    by_hand = [values[r, a:b].min() if b > a else np.inf for r, a, b in queries]
    assert found.tolist() == by_hand


def test_resources_are_found_by_kind_and_name():
    resources = Resources(
        (ResourceKind.PLACE, ResourceKind.CONTAINER), ("tray", "tray"), np.zeros((2, 7))
    )
    assert resources.n_days == 7
    assert resources.index(ResourceKind.CONTAINER, "tray") == 1
    assert resources.index(ResourceKind.LOT, "tray") == -1
