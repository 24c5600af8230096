"""The choice among candidates: its money, its uses, and the bound that prices prove."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.planning.small_programs import (
    CREW,
    all_choices,
    allowed,
    cheapest,
    dense_use,
    fits,
    money_of,
    random_program,
    use_of,
)

from sowbench.planning.master import scale_links
from sowbench.planning.program import Duals, dual_bound, link_price
from sowbench.planning.resources import cumulative_prices

seeds = st.integers(0, 10_000)


def random_duals(program, rng):
    """Any prices at or above 0, links scaled as they must be."""
    finite = np.isfinite(program.resources.capacity)
    price = np.where(finite, rng.exponential(0.3, finite.shape), 0.0)
    price *= rng.random(price.shape) < 0.5
    pairs = len(program.lot_day_sow)
    links = {
        (int(o), int(p)): float(rng.exponential(2.0))
        for o in range(program.n_orders)
        for p in range(pairs)
        if rng.random() < 0.4
    }
    order = rng.uniform(0.0, 1.5 * program.short_cost.max(), program.n_orders)
    return Duals(order, price, scale_links(links, program, price))


@given(seeds, st.booleans())
@settings(max_examples=25)
def test_money_and_use_of_a_choice_are_plain_sums(seed, with_crew):
    program = random_program(seed, with_crew=with_crew)
    rng = np.random.default_rng(seed)
    units = rng.integers(0, program.n_units + 1)
    chosen = np.flatnonzero(units)
    share = units[chosen] / program.n_units[chosen]
    assert program.cost(chosen, share) == pytest.approx(money_of(program, units))
    np.testing.assert_allclose(program.use(chosen, share), use_of(program, units), atol=1e-9)


@given(seeds)
@settings(max_examples=25)
def test_priced_candidates_pay_for_all_they_use_and_setting_up(seed):
    program = random_program(seed)
    price = np.random.default_rng(seed).uniform(0.0, 1.0, program.resources.capacity.shape)
    by_hand = program.cost_variable + program.cost_fixed
    by_hand = by_hand + (dense_use(program) * price).sum(axis=(1, 2))
    by_hand = by_hand + program.setup_minutes * price[CREW, program.sow_day]
    np.testing.assert_allclose(program.priced(price), by_hand)
    np.testing.assert_allclose(
        program.segments.priced(cumulative_prices(price)),
        (dense_use(program) * price).sum(axis=(1, 2)),
    )


@given(seeds, st.sampled_from([0.5, 1.0, 2.0]), st.booleans())
@settings(max_examples=80)
def test_any_prices_prove_a_bound_below_every_choice_that_fits(seed, crowded, with_crew):
    program = random_program(
        seed, n_orders=2 + seed % 2, n_candidates=4 + seed % 2, crowded=crowded, with_crew=with_crew
    )
    rng = np.random.default_rng(seed)
    bounds = [dual_bound(program, random_duals(program, rng))[0] for _ in range(6)]
    assert max(bounds) <= cheapest(program) + 1e-9


@given(seeds)
@settings(max_examples=25)
def test_lowered_order_prices_leave_no_reduced_cost_below_zero(seed):
    program = random_program(seed)
    duals = random_duals(program, np.random.default_rng(seed))
    _, _, order = dual_bound(program, duals)
    again = replace(duals, order=order)
    _, reduced, unchanged = dual_bound(program, again)
    assert reduced.min() >= -1e-9
    np.testing.assert_allclose(unchanged, order, atol=1e-9)


def test_without_prices_the_bound_is_the_cheapest_candidate_of_each_order():
    """Two orders alone: what each costs at least, or leaving it unmet if that is cheaper."""
    program = random_program(3, n_orders=2, n_candidates=2)
    program = replace(
        program, cost_variable=np.array([4.0, 20.0]), cost_fixed=np.array([1.0, 1.0]),
        short_cost=np.array([10.0, 10.0]),
    )  # fmt: skip
    free = np.zeros(program.resources.capacity.shape)
    bound, reduced, order = dual_bound(program, Duals(np.array([99.0, 99.0]), free, {}))
    # The first is capped at what leaving it unmet costs, then lowered to 4 + 1; the second stays.
    assert order.tolist() == [5.0, 10.0]
    assert bound == 15.0
    assert reduced.tolist() == [-5.0, 11.0]


@given(seeds)
@settings(max_examples=25)
def test_link_price_is_what_the_orders_pay_for_the_lot_of_the_day(seed):
    program = random_program(seed)
    rng = np.random.default_rng(seed)
    links = random_duals(program, rng).link_candidate_group or {(0, int(program.lot_day[0])): 1.0}
    by_hand = [
        sum(links.get((o, int(program.lot_day[j])), 0.0) for o in program.orders_of(j))
        for j in range(program.n)
    ]
    np.testing.assert_allclose(link_price(program, links), by_hand)


@given(seeds, st.booleans())
@settings(max_examples=10)
def test_brute_force_counts_money_and_room_like_plain_addition(seed, with_crew):
    """The tests' own enumeration against sums over one choice at a time."""
    program = random_program(seed, n_orders=2, n_candidates=4, crowded=1.3, with_crew=with_crew)
    units, money = all_choices(program)
    for one, cost in zip(units, money, strict=True):
        assert fits(program, one)
        assert cost == pytest.approx(money_of(program, one))
    known = {tuple(one) for one in units.tolist()}
    for one in np.ndindex(*(program.n_units + 1)):
        if allowed(program, one):
            assert (one in known) == fits(program, np.array(one))
