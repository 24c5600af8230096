"""Seed aging: properties and limits; worked examples stand in tests/published."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sowbench.science.errors import OutOfRangeError
from sowbench.science.viability import (
    ViabilityConstants,
    aged_germination,
    aged_germination_nodes,
    days_between,
    days_per_probit,
    probit_loss,
)

# Onion, from memory (R. H. Ellis, E. H. Roberts, Seed Science and Technology 9, 1981, 373-409).
ONION = ViabilityConstants(6.975, 3.47, 0.04, 0.000428)


@given(st.floats(0.03, 0.2), st.floats(-15.0, 40.0), st.floats(0.0, 3000.0), st.floats(0.0, 1.0))
def test_aging_only_lowers_a_test(moisture, storage, days, germination):
    loss = probit_loss(ONION, moisture, storage, days)
    aged = aged_germination(germination, loss)
    assert loss >= 0.0
    assert 0.0 <= aged <= germination


def test_longer_wetter_and_warmer_age_more():
    assert probit_loss(ONION, 0.08, 10.0, 200.0) > probit_loss(ONION, 0.08, 10.0, 100.0)
    assert probit_loss(ONION, 0.10, 10.0, 100.0) > probit_loss(ONION, 0.08, 10.0, 100.0)
    assert probit_loss(ONION, 0.08, 25.0, 100.0) > probit_loss(ONION, 0.08, 10.0, 100.0)


def test_losses_of_periods_add():
    whole = aged_germination(0.9, probit_loss(ONION, 0.08, 15.0, 300.0))
    half = aged_germination(0.9, probit_loss(ONION, 0.08, 15.0, 150.0))
    assert aged_germination(half, probit_loss(ONION, 0.08, 15.0, 150.0)) == pytest.approx(whole)


def test_no_time_changes_nothing_and_the_ends_stay():
    nodes = np.array([0.0, 0.2, 0.9, 1.0])
    np.testing.assert_allclose(aged_germination(nodes, 0.0), nodes)
    np.testing.assert_allclose(aged_germination(np.array([0.0, 1.0]), 3.0), [0.0, 1.0])


def test_days_between_undoes_aging():
    sigma = days_per_probit(ONION, 0.08, 10.0)
    days = days_between(0.9, 0.7, sigma)
    loss = probit_loss(ONION, 0.08, 10.0, days)
    assert aged_germination(0.9, loss) == pytest.approx(0.7)
    assert days_between(0.8, 0.8, sigma) == 0.0


def test_nodes_keep_their_order_and_shape():
    nodes = np.linspace(0.5, 0.99, 9)
    aged = aged_germination_nodes(nodes, ONION, 0.09, 18.0, 400.0)
    assert aged.shape == nodes.shape
    assert np.all(np.diff(aged) > 0.0)
    assert np.all(aged < nodes)


def test_arrays_broadcast_and_gaps_pass():
    life = days_per_probit(ONION, np.array([[0.06], [np.nan]]), np.array([5.0, 15.0, 25.0]))
    assert life.shape == (2, 3)
    assert np.all(np.isnan(life[1]))
    assert math.isnan(aged_germination(np.nan, 0.1))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((8.0, 10.0), r"moisture_frac must be .*8 percent is 0\.08"),
        ((0.01, 10.0), "moisture_frac"),
        ((0.3, 10.0), "moisture_frac"),
        ((0.08, 60.0), "storage_c must be between -20 and 50 °C; got 60"),
        ((0.08, -40.0), "storage_c"),
    ],
)
def test_conditions_outside_the_range_are_refused(arguments, words):
    with pytest.raises(OutOfRangeError, match=words):
        days_per_probit(ONION, *arguments)


def test_impossible_germination_and_times_are_refused():
    with pytest.raises(OutOfRangeError, match="days_d must be 0 d or more"):
        probit_loss(ONION, 0.08, 10.0, -1.0)
    with pytest.raises(OutOfRangeError, match="germination_frac must be between 0 and 1; got 90"):
        aged_germination(90.0, 0.1)
    with pytest.raises(OutOfRangeError, match="does not grow young"):
        aged_germination(0.9, -0.1)
    with pytest.raises(OutOfRangeError, match="germination only falls"):
        days_between(0.7, 0.9, 100.0)
    with pytest.raises(OutOfRangeError, match="to_frac"):
        days_between(0.7, 0.0, 100.0)
    with pytest.raises(OutOfRangeError, match="sigma_d"):
        days_between(0.7, 0.5, 0.0)
