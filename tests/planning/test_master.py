"""The linear program by columns and rows against the same program written out in full."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.planning.small_programs import cheapest, random_program, written_out

from sowbench.planning.master import best_by_order, scale_links, solve_linear
from sowbench.planning.program import dual_bound

seeds = st.integers(0, 10_000)


@given(seeds, st.sampled_from([0.7, 1.0, 1.6, 3.0]), st.booleans())
@settings(max_examples=80)
def test_optimum_is_that_of_the_program_written_out_in_full(seed, crowded, with_crew):
    program = random_program(
        seed, n_orders=2 + seed % 5, n_candidates=12 + seed % 9, crowded=crowded,
        with_crew=with_crew,
    )  # fmt: skip
    found = solve_linear(program, seconds=30.0, columns_per_order=2)
    assert found.optimal
    exact = written_out(program)
    assert found.value == pytest.approx(exact, rel=2e-5, abs=1e-4)
    assert found.bound == pytest.approx(exact, rel=2e-5, abs=1e-4)
    assert found.bound <= exact + 1e-6


@given(seeds, st.sampled_from([0.7, 1.3, 2.5]))
@settings(max_examples=30)
def test_bound_is_below_the_best_plan_in_whole_units(seed, crowded):
    program = random_program(seed, n_orders=3, n_candidates=6, crowded=crowded)
    found = solve_linear(program, seconds=30.0, columns_per_order=2)
    assert found.bound <= cheapest(program) + 1e-6


@given(seeds)
@settings(max_examples=20)
def test_result_carries_the_prices_that_prove_its_bound(seed):
    program = random_program(seed, n_orders=4, n_candidates=14, crowded=1.5)
    found = solve_linear(program, seconds=30.0, columns_per_order=2)
    again, reduced, _ = dual_bound(program, found.duals)
    assert again == found.bound
    np.testing.assert_array_equal(reduced, found.reduced)
    assert (found.duals.price >= 0).all()


@given(seeds)
@settings(max_examples=20)
def test_shares_cover_no_more_than_there_is_room_for(seed):
    program = random_program(seed, n_orders=4, n_candidates=14, crowded=1.5)
    found = solve_linear(program, seconds=30.0, columns_per_order=2)
    use = program.segments.take(found.columns).use(found.share, 4, program.resources.n_days)
    np.add.at(
        use[program.crew], program.sow_day[found.columns], program.setup_minutes * found.share
    )
    assert (use <= program.resources.capacity * (1 + 1e-6) + 1e-6).all()


def test_no_time_at_all_still_gives_a_bound():
    program = random_program(5, n_orders=3, n_candidates=9)
    found = solve_linear(program, seconds=-1.0, columns_per_order=2)
    assert not found.optimal
    assert found.columns.size == 0
    assert found.bound <= written_out(program) + 1e-9
    assert found.bound > 0


def test_stopping_is_heeded_and_keeps_the_bound_so_far():
    program = random_program(5, n_orders=4, n_candidates=14, crowded=2.0)
    seen = []

    def stop(what, bound, value):
        seen.append((what, bound, value))
        return True

    found = solve_linear(program, seconds=30.0, columns_per_order=1, progress=stop)
    assert [each[0] for each in seen] == ["bound"]
    assert seen[0][1] == found.bound
    assert found.bound <= written_out(program) + 1e-9


def test_best_by_order_takes_the_lowest_scores_of_each():
    program = random_program(8, n_orders=3, n_candidates=12)
    score = np.random.default_rng(8).normal(size=12)
    found = best_by_order(program, score, 2, 0.5)
    lead = program.members[program.group, 0]
    by_hand = []
    for o in range(3):
        own = [j for j in np.argsort(score) if lead[j] == o and score[j] < 0.5]
        by_hand += own[:2]
    assert sorted(found.tolist()) == sorted(int(j) for j in by_hand)
    assert best_by_order(program, score, 2, -99.0).size == 0


def test_link_prices_add_to_no_more_than_the_change_of_lot_costs():
    program = random_program(1)
    price = np.full(program.resources.capacity.shape, 0.25)
    # A change costs 1.50 and 4 min at 0.25: 2.50. Three orders offer 5 together, so half of each.
    links = {(0, 0): 1.0, (1, 0): 2.0, (2, 0): 2.0}
    assert scale_links(links, program, price) == {(0, 0): 0.5, (1, 0): 1.0, (2, 0): 1.0}
    assert scale_links({(0, 0): 2.0}, program, price) == {(0, 0): 2.0}
    assert scale_links({(0, 0): 0.0}, program, price) == {(0, 0): 0.0}
