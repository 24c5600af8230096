from dataclasses import replace

import pytest
from tests.forecasting._learned import finished

from sowbench.forecasting.learning import learn
from sowbench.forecasting.learning_records import Kept, Reading, Worked
from sowbench.forecasting.learning_use import (
    RATES_OF_TASK,
    learned_crop,
    learned_emergence_frac,
    learned_kept_frac,
    learned_rates,
    learned_rule,
    moved_share,
)
from sowbench.reference.catalog import load_catalog
from sowbench.reference.labor import labor_defaults
from sowbench.science.errors import OutOfRangeError
from sowbench.science.labor import LaborRates

BASIL = load_catalog().crops["basil"]


def basil(n=6, **more):
    return learn([replace(finished(f"S{i}"), **more) for i in range(n)])


def test_nothing_learned_changes_nothing():
    nothing = learn(())
    rates = LaborRates.from_table({task: each.value for task, each in labor_defaults().items()})
    rule = load_catalog().rule_for("basil", "plug-128", "any") or next(
        each for each in load_catalog().ready_rules.values() if each.crop == "basil"
    )
    assert learned_crop(BASIL, nothing) is BASIL
    assert learned_rule(rule, BASIL.kin, nothing) is rule
    assert learned_emergence_frac(BASIL, 0.95, nothing) == pytest.approx(0.95)
    assert learned_kept_frac(BASIL, 0.98, 0.05, nothing) == pytest.approx((0.98, 0.05))
    assert learned_rates(rates, nothing) == rates


def test_a_slow_crop_has_more_thermal_time_and_less_doubt():
    learned = basil(pace_emergence=Reading(0.2, 0.01**2))
    crop = learned_crop(BASIL, learned)
    assert crop.emergence.thermal_time_cd > 1.1 * BASIL.emergence.thermal_time_cd
    assert crop.emergence.sigma_pace < BASIL.emergence.sigma_pace
    assert replace(crop, emergence=BASIL.emergence) == BASIL


def test_a_rule_keeps_its_window_and_moves_its_days():
    learned = basil(pace_ready=Reading(-0.15, 0.02**2))
    rules = [each for each in load_catalog().ready_rules.values() if each.crop == "basil"]
    for rule in rules:
        moved = learned_rule(rule, BASIL.kin, learned)
        assert moved.days_ref < rule.days_ref
        assert moved.sigma_growth < rule.sigma_growth
        assert moved.window_d_ref == rule.window_d_ref
        if rule.pot_on_d_ref is not None and moved.pot_on_d_ref is not None:
            assert moved.pot_on_d_ref / rule.pot_on_d_ref == pytest.approx(
                moved.days_ref / rule.days_ref
            )


def test_a_better_stand_never_passes_the_test_of_the_lot():
    good = basil(stand=Reading(3.0, 0.05**2))
    poor = basil(stand=Reading(-0.5, 0.05**2))
    assert learned_emergence_frac(BASIL, 0.95, good) <= 1.0
    assert learned_emergence_frac(BASIL, 0.95, poor) < 0.95


def test_losses_move_what_survives_and_what_is_culled():
    learned = basil(survived=Kept(1100, 1200, 0.98, 10), graded=Kept(1190, 1200, 0.95, 10))
    survive, cull = learned_kept_frac(BASIL, 0.98, 0.05, learned)
    assert survive < 0.97
    assert cull < 0.05


def test_slow_work_makes_every_rate_of_its_task_slower():
    table = {task: each.value for task, each in labor_defaults().items()}
    rates = LaborRates.from_table(table)
    for task, of in RATES_OF_TASK.items():
        learned = basil(minutes=(Worked(task, 30.0, 20.0),))
        moved = learned_rates(rates, learned)
        for name, direction in of.items():
            ratio = getattr(moved, name) / getattr(rates, name)
            assert 1.2 < ratio**direction < 1.5
        others = set(table) - set(of)
        assert all(getattr(moved, name) == getattr(rates, name) for name in others)


def test_a_share_is_moved_by_its_odds_and_refuses_what_is_none():
    assert moved_share(0.9, 1.0) == pytest.approx(0.9)
    with pytest.raises(OutOfRangeError, match="above 0 and below 1"):
        moved_share(1.0, 2.0)
    with pytest.raises(OutOfRangeError, match="above 0"):
        moved_share(0.5, 0.0)
