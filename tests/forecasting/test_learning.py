from datetime import date
from math import exp, log

import numpy as np
import pytest
from tests.forecasting._learned import KIN, finished

from sowbench.forecasting.learning import evidence_of_sowing, learn
from sowbench.forecasting.learning_records import (
    GRADE,
    PACE_EMERGENCE,
    PACE_READY,
    STAND,
    SURVIVE,
    Choices,
    Kept,
    Level,
    Reading,
    Worked,
    minutes_of,
)
from sowbench.science.errors import OutOfRangeError


def pace(learned, crop="basil", **more):
    return learned.applied(PACE_EMERGENCE, crop, KIN[crop], 0.25, **more)


def test_nothing_learned_leaves_the_handbook():
    of = pace(learn(()))
    assert (of.multiplier, of.sigma, of.n_evidence, of.n_house) == (1.0, 0.25, 0, 0)


def test_one_sowing_is_shrunk_toward_the_handbook():
    of = pace(learn([finished("S", pace=0.2)]))
    assert 0.05 < log(of.multiplier) < 0.19
    assert of.sigma < 0.25


def test_many_sowings_are_believed_and_narrow_the_doubt():
    rng = np.random.default_rng(3)
    every = [
        finished(f"S{i}", pace=0.2 + 0.05 * rng.standard_normal(),
                 sow_date=date(2020 + i // 5, 3, 1), ended_date=date(2020 + i // 5, 4, 9))
        for i in range(30)
    ]  # fmt: skip
    spreads = [pace(learn(every[:n])).sigma for n in (1, 5, 30)]
    of = pace(learn(every))
    assert log(of.multiplier) == pytest.approx(0.2, abs=0.03)
    assert 0.25 > spreads[0] > spreads[1] > spreads[2]
    # What differs from sowing to sowing and from season to season stays.
    assert spreads[2] > 0.04


def test_one_odd_tray_does_not_swing_the_plan():
    usual = [finished(f"S{i}", pace=0.02 * (i % 3 - 1)) for i in range(6)]
    before, after = pace(learn(usual)), pace(learn([*usual, finished("odd", pace=1.0)]))
    assert abs(log(after.multiplier / before.multiplier)) < 0.05
    odd = next(
        each for each in learn([*usual, finished("odd", pace=1.0)]).evidence if each.sowing == "odd"
    )
    assert odd.weight < 0.1


def test_a_crop_not_seen_borrows_from_its_kin():
    seen = [
        finished(f"{crop} {i}", crop, pace=0.25)
        for crop in ("basil", "thyme", "oregano")
        for i in range(4)
    ]
    learned = learn(seen)
    kin, stranger = pace(learned, "sage"), pace(learned, "kale")
    assert 0.10 < log(kin.multiplier) < 0.25
    assert 0.0 <= log(stranger.multiplier) < log(kin.multiplier)
    assert pace(learned).sigma < kin.sigma < stranger.sigma < 0.25
    assert (kin.n_evidence, kin.n_house) == (0, 12)


def test_a_slow_place_is_told_from_slow_crops():
    rng = np.random.default_rng(4)
    every = [
        finished(f"{crop} {place} {i}", crop, place=f"bench {place}",
                 pace=0.15 * (place == 2) + 0.02 * rng.standard_normal())
        for crop in KIN for place in (1, 2, 3) for i in range(3)
    ]  # fmt: skip
    learned = learn(every)
    slow, usual = pace(learned, place="bench 2"), pace(learned, place="bench 1")
    assert log(slow.multiplier / usual.multiplier) == pytest.approx(0.15, abs=0.03)
    assert log(usual.multiplier) == pytest.approx(0.0, abs=0.03)


def test_the_order_of_sowings_does_not_matter():
    every = [finished(f"S{i}", "basil" if i % 2 else "kale", pace=0.1 * i) for i in range(5)]
    one, other = learn(every), learn(every[::-1])
    assert [each.multiplier for each in one.factors] == [each.multiplier for each in other.factors]
    assert one.evidence == other.evidence


def test_dropped_evidence_is_left_out_and_stays_on_view():
    every = [finished("S1", pace=0.02), finished("S2", pace=0.3)]
    choices = Choices(dropped=frozenset({f"{PACE_EMERGENCE}|S2"}))
    learned, without = learn(every, choices), learn(every[:1])
    assert pace(learned) == pace(without)
    assert [(each.sowing, each.dropped) for each in learned.evidence] == [
        ("S1", False),
        ("S2", True),
    ]


def test_with_all_evidence_dropped_the_handbook_holds():
    choices = Choices(dropped=frozenset({f"{PACE_EMERGENCE}|S"}))
    assert pace(learn([finished("S", pace=0.2)], choices)).multiplier == 1.0


def test_a_frozen_crop_keeps_its_factor_and_a_frozen_kin_carries_its_crops():
    every = [finished(f"S{i}", pace=0.2) for i in range(5)]
    crop = learn(every, Choices(frozen={f"{PACE_EMERGENCE}|crop|basil": 1.0}))
    at = {"container": "pot", "place": "elsewhere"}
    assert pace(crop).multiplier == pytest.approx(1.0)
    assert pace(crop, container="plug", season=2027).multiplier == pytest.approx(1.0)
    assert 0.9 < pace(crop, **at).multiplier < 1.0  # less what the bench was slow by
    assert pace(crop).sigma == pytest.approx(pace(learn(every)).sigma)
    factor = next(
        each
        for each in crop.factors
        if each.level is Level.CROP and each.quantity == PACE_EMERGENCE
    )
    assert factor.used == 1.0
    assert factor.multiplier > 1.1
    kin = learn(every, Choices(frozen={f"{PACE_EMERGENCE}|kin|mint": 1.0}))
    free = learn(every)
    assert pace(kin, "sage", **at).multiplier == pytest.approx(1.0)
    assert 1.0 < pace(kin, **at).multiplier < pace(free, **at).multiplier


def test_freezing_refuses_a_slip_of_the_finger():
    with pytest.raises(OutOfRangeError, match=r"from 0\.05 to 20"):
        Choices(frozen={"x": 100.0})


def test_a_season_of_many_sowings_leaves_doubt_about_the_next():
    every = [finished(f"S{i}", pace=0.1) for i in range(25)]
    learned = learn(every)
    assert pace(learned, season=2027).sigma < pace(learned).sigma
    assert pace(learned, season=2028).sigma == pytest.approx(pace(learned).sigma)


def test_factors_narrow_and_show_their_interval():
    learned = learn([finished(f"S{i}", pace=0.1) for i in range(8)])
    factor = next(each for each in learned.factors if each.level is Level.CROP)
    assert factor.low < factor.multiplier < factor.high
    assert 0.0 < factor.shrink_frac < 0.3
    assert factor.n_evidence == 8
    assert learned.quantities() == (PACE_EMERGENCE,)


def test_losses_are_logits_with_half_a_cell_added():
    kept = Kept(95, 100, 0.98, n_trays=1)
    told = {each.quantity: each for each in evidence_of_sowing(finished("S", survived=kept))}
    # ln(95.5 / 5.5) - ln(0.98 / 0.02) = 2.8544 - 3.8918
    assert told[SURVIVE].value == pytest.approx(-1.0374, abs=1e-3)
    # (1 / 95.5 + 1 / 5.5) (1 + 99 * 0.015) = 0.19229 * 2.485
    assert told[SURVIVE].variance == pytest.approx(0.4778, abs=1e-3)


def test_sowings_that_lost_nothing_count_too():
    whole = [finished(f"S{i}", survived=Kept(500, 500, 0.98, n_trays=4)) for i in range(5)]
    poor = finished("P", survived=Kept(450, 500, 0.98, n_trays=4))
    alone = learn([poor]).applied(SURVIVE, "basil", "mint")
    among = learn([*whole, poor]).applied(SURVIVE, "basil", "mint")
    assert alone.multiplier < among.multiplier
    assert learn(whole).applied(SURVIVE, "basil", "mint").multiplier > 1.0


def test_evidence_that_says_nothing_is_left_out():
    wide = finished("S", pace=0.1, error=0.8)
    assert evidence_of_sowing(wide) == ()


def test_minutes_of_one_task_are_added_before_they_are_compared():
    worked = (Worked("sow", 30.0, 20.0), Worked("sow", 10.0, 20.0), Worked("pack", 5.0, 10.0))
    told = {each.quantity: each.value for each in evidence_of_sowing(finished("S", minutes=worked))}
    assert told == pytest.approx({minutes_of("sow"): 0.0, minutes_of("pack"): log(0.5)})


def test_each_quantity_is_learned_by_itself():
    every = [
        finished(
            f"S{i}", pace=0.1, pace_ready=Reading(-0.1, 0.01**2), stand=Reading(0.5, 0.1**2),
            graded=Kept(600, 700, 0.95, n_trays=6), minutes=(Worked("sow", 20.0, 10.0),),
        )
        for i in range(6)
    ]  # fmt: skip
    learned = learn(every)
    of = {
        quantity: learned.applied(
            quantity, "basil", "mint", 0.3 if quantity == PACE_READY else None
        ).multiplier
        for quantity in (PACE_READY, STAND, GRADE, minutes_of("sow"))
    }
    assert of[PACE_READY] == pytest.approx(exp(-0.1), abs=0.03)
    assert 1.2 < of[STAND] < exp(0.5)
    assert of[GRADE] < 0.7
    assert 1.5 < of[minutes_of("sow")] < 2.0
