"""From the linear program to whole units: the search fits, improves and reaches the best."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.planning.small_programs import allowed, cheapest, fits, random_program, units_of

from sowbench.planning.master import solve_linear
from sowbench.planning.neighborhood import Choice, Part
from sowbench.planning.parameters import SolveParameters
from sowbench.planning.search import Search, greedy

seeds = st.integers(0, 10_000)
crowds = st.sampled_from([0.7, 1.2, 2.0])
EXACT = SolveParameters(rounds=12, gap_frac=0.0)


def finder(program, seed=0, parameters=EXACT):
    """A search with its linear program solved."""
    linear = solve_linear(program, seconds=30.0, columns_per_order=2)
    return Search(program, linear, parameters, np.random.default_rng(seed))


def run(search, choice=None):
    """Search from a start, without a clock."""
    choice = search.start(30.0) if choice is None else choice
    return search.run(choice, time.monotonic() + 60.0, None)


@given(seeds, crowds, st.booleans())
@settings(max_examples=30)
def test_search_finds_the_best_of_all_choices_of_a_small_season(seed, crowded, with_crew):
    program = random_program(
        seed, n_orders=2 + seed % 3, n_candidates=4 + seed % 4, crowded=crowded,
        with_crew=with_crew,
    )  # fmt: skip
    search = finder(program, seed)
    found = run(search)
    units = units_of(program, found.choice)
    assert fits(program, units)
    assert allowed(program, units)
    # Rounds end at 0.05 % over the best of their own orders; there are at most four.
    assert cheapest(program) - 1e-6 <= found.cost <= cheapest(program) * 1.0021 + 1e-6
    assert search.linear.bound <= found.cost + 1e-6


@given(seeds, crowds)
@settings(max_examples=20)
def test_start_fits_and_search_makes_it_no_dearer(seed, crowded):
    program = random_program(seed, n_orders=8, n_candidates=30, crowded=crowded)
    search = finder(program, seed, replace(EXACT, rounds=4, neighborhood_orders=4))
    start = search.start(30.0)
    found = run(search, start)
    assert fits(program, units_of(program, start))
    assert fits(program, units_of(program, found.choice))
    assert allowed(program, units_of(program, found.choice))
    assert found.cost <= start.cost(program) + 1e-9
    assert found.cost == pytest.approx(found.choice.cost(program))
    assert found.rounds <= 4


def test_same_seed_and_rounds_give_the_same_choice():
    program = random_program(7, n_orders=8, n_candidates=40, crowded=1.5)
    parameters = replace(EXACT, rounds=5, neighborhood_orders=3)
    one, two = (run(finder(program, 3, parameters)) for _ in range(2))
    assert one == two


def test_search_ends_at_the_wanted_gap_and_when_told():
    program = random_program(7, n_orders=8, n_candidates=40, crowded=1.5)
    wide = finder(program, parameters=replace(EXACT, gap_frac=10.0))
    assert run(wide).rounds == 0
    told = finder(program)
    stop = told.run(told.start(30.0), time.monotonic() + 60.0, lambda *_: True)
    assert stop.rounds <= 1
    late = finder(program, parameters=replace(EXACT, rounds=None))
    assert late.run(Choice([]), time.monotonic(), None).rounds == 0


@given(seeds, crowds)
@settings(max_examples=25)
def test_greedy_serves_orders_in_turn_with_the_best_that_still_fits_whole(seed, crowded):
    program = random_program(seed, n_orders=4, n_candidates=10, crowded=crowded)
    rng = np.random.default_rng(seed)
    score = rng.uniform(0.0, 20.0, program.n)
    order = rng.permutation(4)
    found = greedy(program, score, order, np.arange(program.n))
    units = np.zeros(program.n, dtype=int)
    covered: set[int] = set()
    for o in order:
        if o in covered:
            continue
        for j in np.argsort(score):
            own = program.orders_of(int(j))
            if o not in own or covered & set(own):
                continue
            if score[j] > program.short_cost[own].sum():
                continue
            more = units.copy()
            more[j] = program.n_units[j]
            if fits(program, more):
                units = more
                covered |= set(own)
                break
    assert units_of(program, found).tolist() == units.tolist()


def test_excess_of_an_order_is_what_it_costs_above_its_price():
    """Alone and unlimited each order has its best candidate and nothing in excess of its price."""
    program = random_program(6, n_orders=3, n_candidates=9, with_crew=False)
    free = np.full(program.resources.capacity.shape, np.inf)
    program = replace(
        program, resources=replace(program.resources, capacity=free), lot_change_cost=0.0
    )
    search = finder(program)
    best = run(search)
    np.testing.assert_allclose(search.excess(best.choice), 0.0, atol=1e-6)
    # With nothing sown each lacks its short_cost less its price.
    np.testing.assert_allclose(
        search.excess(Choice([])), program.short_cost - search.linear.duals.order, atol=1e-6
    )


def test_orders_sown_together_are_freed_together():
    program = random_program(4, n_orders=3, n_candidates=7, with_crew=False)
    shared = np.flatnonzero((program.members[program.group] >= 0).sum(axis=1) == 2)
    j = int(shared[0])
    choice = Choice([Part(j, int(program.n_units[j]))])
    search = finder(program)
    for _ in range(10):
        picked = search.pick(choice, 1)
        own = set(program.orders_of(j))
        assert own <= picked or not own & picked


def test_what_lacks_for_a_candidate_is_what_is_left_without_the_parts_of_its_orders():
    program = random_program(5, n_orders=4, n_candidates=12, crowded=1.6)
    search = finder(program)
    choice = search.start(30.0)
    for target in range(program.n):
        partners = set(program.orders_of(target))
        others = [p for p in choice.parts if not partners & set(program.orders_of(p.candidate))]
        lack = program.use(np.array([target]), np.ones(1)) - Choice(others).residual(program)
        found = search.lacking(choice, target, partners)
        assert (found > 0).tolist() == (lack > 1e-6).tolist()
        np.testing.assert_allclose(found[lack > 1e-6] * lack[lack > 1e-6], 1.0)


def test_users_of_cells_are_the_orders_whose_parts_stand_there():
    program = random_program(5, n_orders=4, n_candidates=12, crowded=1.6)
    search = finder(program)
    choice = search.start(30.0)
    cells = np.zeros(program.resources.capacity.shape)
    cells[0, 3:6] = 2.0
    used = np.zeros(program.n_orders)
    for p in choice.parts:
        share = p.units / program.n_units[p.candidate]
        own = program.segments.take(np.array([p.candidate])).use(np.array([share]), *cells.shape)
        used[program.orders_of(p.candidate)] += (own * cells).sum()
    np.testing.assert_allclose(search.users(choice, cells), used)


def test_at_most_so_many_candidates_of_an_order_are_on_offer_and_the_best_of_them():
    program = random_program(9, n_orders=3, n_candidates=30)
    search = finder(program)
    found = search.near(Choice([]), {1}, 4)
    own = [j for j in search.pool if 1 in program.orders_of(int(j))]
    reduced = search.linear.reduced
    assert 0 < len(found) <= 4
    others = [j for j in own if j not in found]
    assert max(reduced[found]) <= min(reduced[others]) + 1e-9
