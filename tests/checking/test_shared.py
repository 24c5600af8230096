"""Orders that share a sowing, sowings that share a tray, and orders split over sowings."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from tests.checking.small_season import (
    CROP,
    N_CELLS,
    ORDER,
    PLANTS,
    RULE,
    Reference,
    cells_pmf,
    on,
    overgrown_day,
    ready_day,
    share_by,
    small_plan,
)

from sowbench.checking.chances import Draws, Stands, drawn_chances, expected_short, parts_of
from sowbench.checking.report import Ledger
from sowbench.checking.rooms import check_rooms, stays
from sowbench.checking.season import Season
from sowbench.checking.timeline import Timelines
from sowbench.checking.tray_rows import check_tray_rows
from sowbench.domain.plan import HandOver, SowingShare
from sowbench.domain.records import LightNeed, StepKind
from sowbench.domain.records import Season as CropSeason

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
    """Two sowings for one customer, with all days and places of the small plan's."""
    sowings, rows = [], []
    for name, order, n, mate in (("s1", "o1", first_cells, "s2"), ("s2", "o2", second_cells, "s1")):
        sowing = PLAN.sowings[0]
        trays = -(-n // 50)
        steps = tuple(
            replace(step, n_cells=n, n_containers=trays, from_sowings=(mate,))
            for step in sowing.steps
        )
        shares = (SowingShare(order, 10),)
        sowings.append(
            replace(sowing, sowing=name, orders=shares, n_cells=n, n_seeds=n, steps=steps)
        )
        hand_over = (HandOver(on(29), name, 10),)
        rows.append(
            replace(PLAN.orders[0], order=order, plants=10, planned=10, hand_over=hand_over)
        )
    return replace(PLAN, sowings=tuple(sowings), orders=tuple(rows))


BOTH = tuple(replace(ORDER, id=name, plants=10, customer="the school") for name in ("o1", "o2"))


def rules_about_trays(plan, orders=BOTH, **changes):
    season = Season(plan, replace(INPUTS, orders=orders, **changes))
    ledger = Ledger()
    check_tray_rows(season, Timelines(season), ledger)
    return {each.rule for each in ledger.report().findings}


TOGETHER = "trays are shared by sowings that go together"


def test_shared_tray_counts_once():
    season = Season(two_in_a_tray(80, 20), replace(INPUTS, orders=BOTH))
    units = [own for _, step, _, own in stays(season) if step.kind is StepKind.GROW]
    # 80 cells fill a tray and three rows of the one that is shared evenly.
    assert units == pytest.approx([1.5, 0.5])
    ledger = Ledger()
    check_rooms(season, ledger)
    assert ledger.report().holds


def test_sowings_that_go_together_may_share_a_tray():
    assert rules_about_trays(two_in_a_tray(30, 20)) == set()


def test_shared_tray_takes_whole_rows_only():
    # Rows of ten: three for 25 cells and three for 22 are more than the five of a tray.
    assert rules_about_trays(two_in_a_tray(25, 22)) == {"shared trays hold whole rows"}


def test_mates_name_each_other():
    plan = two_in_a_tray(30, 20)
    steps = tuple(replace(each, from_sowings=()) for each in plan.sowings[1].steps)
    alone = replace(plan, sowings=(plan.sowings[0], replace(plan.sowings[1], steps=steps)))
    assert rules_about_trays(alone) == {"mates in a tray name each other"}
    unknown = replace(plan, sowings=plan.sowings[:1])
    assert rules_about_trays(unknown) == {"mates in a tray name each other"}


def test_sowings_of_different_days_or_places_share_no_tray():
    plan = two_in_a_tray(30, 20)
    steps = list(plan.sowings[1].steps)
    steps[1] = replace(steps[1], place="cool bench")
    other = replace(plan, sowings=(plan.sowings[0], replace(plan.sowings[1], steps=tuple(steps))))
    assert rules_about_trays(other) == {TOGETHER}


def test_tray_of_two_customers_is_shared_only_if_plants_are_pulled():
    plan = two_in_a_tray(30, 20)
    two = (BOTH[0], replace(BOTH[1], customer="somebody else"))
    assert rules_about_trays(plan, two) == {TOGETHER}
    assert rules_about_trays(plan, tuple(replace(o, handover="pulled") for o in two)) == set()


@pytest.mark.parametrize(
    ("crop", "rule", "fits"),
    [
        ({"cover": False}, {}, False),
        ({"season": CropSeason.WARM}, {}, False),
        ({"light_need": LightNeed.DARK}, {}, False),
        ({"emergence": replace(CROP.emergence, thermal_time_cd=105.0)}, {}, False),
        ({"emergence": replace(CROP.emergence, thermal_time_cd=75.0)}, {}, True),
        ({}, {"leaves": 6.5}, False),
        ({}, {"days_ref": 27.5}, False),
        ({}, {"days_ref": 26.0, "leaves": 6.0}, True),
    ],
)
def test_crops_in_one_tray_agree(crop, rule, fits):
    """The other crop is lettuce with something changed; lettuce wants light here."""
    plan = two_in_a_tray(30, 20)
    plan = replace(plan, sowings=(plan.sowings[0], replace(plan.sowings[1], crop="other")))
    lettuce = replace(CROP, light_need=LightNeed.LIGHT)
    catalog = Reference(
        crops={"lettuce": lettuce, "other": replace(lettuce, id="other", **crop)},
        rules={
            ("lettuce", RULE.container_class): RULE,
            ("other", RULE.container_class): replace(RULE, crop="other", **rule),
        },
    )
    assert (rules_about_trays(plan, catalog=catalog) == set()) == fits
