"""Orders that share a sowing, sowings that share a tray, and orders split over sowings."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from tests.checking.small_season import (
    N_CELLS,
    ORDER,
    PLANTS,
    cells_pmf,
    on,
    overgrown_day,
    ready_day,
    share_by,
    small_plan,
)

from sowbench.checking.chances import Draws, Stands, drawn_chances, expected_short, parts_of
from sowbench.checking.report import Ledger
from sowbench.checking.rooms import check_rooms, check_shared_trays, stays
from sowbench.checking.season import Season
from sowbench.checking.timeline import Timelines
from sowbench.domain.plan import HandOver, SowingShare, Step
from sowbench.domain.records import StepKind

PLAN, INPUTS = small_plan()
FIRST = replace(ORDER, plants=25)
SECOND = replace(
    ORDER,
    id="o2",
    plants=15,
    wanted_date=ORDER.wanted_date + timedelta(1),
    latest_date=ORDER.latest_date,
)


def shared():
    """The sowing of the small plan for two orders."""
    shares = (SowingShare("o1", 25), SowingShare("o2", 15))
    rows = tuple(
        replace(
            PLAN.orders[0],
            order=name,
            plants=n,
            planned=n,
            hand_over=(HandOver(on(day), "s1", n),),
        )
        for name, n, day in (("o1", 25, 29), ("o2", 15, 30))
    )
    plan = replace(PLAN, sowings=(replace(PLAN.sowings[0], orders=shares),), orders=rows)
    return plan, replace(INPUTS, orders=(FIRST, SECOND))


def ready(plan, inputs):
    season = Season(plan, inputs)
    lines = Timelines(season)
    return season, lines, Stands(season, lines)


def known_parts(season, lines, stands, order):
    parts = parts_of(season, lines, stands, order)
    assert parts is not None
    return parts


def test_order_that_comes_later_goes_short_first():
    season, lines, stands = ready(*shared())
    pmf, n = cells_pmf(), np.arange(N_CELLS + 1)
    first = expected_short(season, FIRST, known_parts(season, lines, stands, FIRST), 25)
    second = expected_short(season, SECOND, known_parts(season, lines, stands, SECOND), 15)
    assert first == pytest.approx(pmf @ np.maximum(25 - n, 0), abs=1e-9)
    # What comes after the first 25 cells is the second's.
    after = np.maximum(n - 25, 0)
    assert second == pytest.approx(pmf @ np.maximum(15 - after, 0), abs=1e-9)
    assert first + second == pytest.approx(pmf @ np.maximum(40 - n, 0), abs=1e-9)


def test_drawn_chance_of_the_second_order_needs_both():
    season, lines, stands = ready(*shared())
    draws = Draws(season)
    pmf = cells_pmf()
    for order, need in ((FIRST, 25), (SECOND, 40)):
        parts = known_parts(season, lines, stands, order)
        enough = drawn_chances(season, draws, order, parts, order.plants)[0]
        chance = pmf[need:].sum()
        assert enough == pytest.approx(chance, abs=4 * np.sqrt(chance * (1 - chance) / 20_000))


def test_drawn_chance_in_time_matches_the_one_worked_out_by_hand():
    season, lines, stands = ready(PLAN, INPUTS)
    parts = known_parts(season, lines, stands, ORDER)
    in_time = drawn_chances(season, Draws(season), ORDER, parts, PLANTS)[1]
    chance = share_by(32, ready_day) - share_by(28, overgrown_day)
    assert in_time == pytest.approx(chance, abs=4 * np.sqrt(chance * (1 - chance) / 20_000) + 1e-3)


def test_split_order_shares_the_luck_of_its_lot():
    half = replace(PLAN.sowings[0], n_cells=30, n_seeds=30, orders=(SowingShare("o1", 20),))
    plan = replace(PLAN, sowings=(half, replace(half, sowing="s2")))
    season, lines, stands = ready(plan, INPUTS)
    parts = known_parts(season, lines, stands, ORDER)
    assert [each.sowing.sowing for each in parts] == ["s1", "s2"]
    short = expected_short(season, ORDER, parts, PLANTS)
    drawn = drawn_chances(season, Draws(season), ORDER, parts, PLANTS)[3]
    error = 4 * drawn.std() / np.sqrt(drawn.size)
    assert short == pytest.approx(drawn.mean(), abs=error)


def two_in_a_tray(first_cells, second_cells):
    steps = [
        tuple(
            Step(kind, "tray-50", 1, n, 0.0, place, on(a), on(b), from_sowings=(mate,))
            for kind, place, a, b in (
                (StepKind.GERMINATE, "chamber", 0, 2),
                (StepKind.GROW, "bench", 2, 25),
            )
        )
        for n, mate in ((first_cells, "s2"), (second_cells, "s1"))
    ]
    sowings = tuple(
        replace(PLAN.sowings[0], sowing=name, n_cells=n, n_seeds=n, steps=each)
        for name, n, each in zip(("s1", "s2"), (first_cells, second_cells), steps, strict=True)
    )
    return replace(PLAN, sowings=sowings)


def test_shared_tray_counts_once():
    season = Season(two_in_a_tray(30, 20), INPUTS)
    units = [own for _, step, _, own in stays(season) if step.kind is StepKind.GROW]
    assert units == pytest.approx([0.6, 0.4])
    ledger = Ledger()
    check_rooms(season, ledger)
    assert ledger.report().holds


def test_shared_tray_takes_whole_rows_only():
    # Rows of ten: three for 25 cells and three for 22 are more than the five of a tray.
    season = Season(two_in_a_tray(25, 22), INPUTS)
    ledger = Ledger()
    check_shared_trays(season, ledger)
    assert {each.rule for each in ledger.report().findings} == {"shared trays hold whole rows"}


def test_sowings_of_different_days_share_no_tray():
    plan = two_in_a_tray(30, 20)
    plan = replace(plan, sowings=(plan.sowings[0], replace(plan.sowings[1], sow_date=on(1))))
    ledger = Ledger()
    check_shared_trays(Season(plan, INPUTS), ledger)
    rules = {each.rule for each in ledger.report().findings}
    assert rules == {"trays are shared by sowings that go together"}
