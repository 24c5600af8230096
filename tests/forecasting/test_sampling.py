"""Counts worth making: against plain enumeration, and in the right direction."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.forecasting._made import count, made, order
from tests.forecasting._resow import STAKES, parts_of, way

from sowbench.forecasting import sampling
from sowbench.forecasting.resow import cells_to_resow, part_losses, sizes_of
from sowbench.forecasting.sampling import (
    CountingWork,
    counts_worth_making,
    plan_for_risks,
    total_pmf,
)
from sowbench.science.errors import OutOfRangeError


def _asked(sowings, orders, today, own=None, *, stakes=STAKES, work=None, **risks):
    ways = own or [way(each) for each in sowings]
    batch, parts = parts_of(sowings, orders, today, ways)
    n, _ = cells_to_resow(parts, ways, np.full(len(orders), 0.9))
    sizes = sizes_of(parts, ways, n, stakes)
    return counts_worth_making(batch, parts, sizes, stakes, work, **risks), parts, sizes


def _doubtful(**more):
    return made(entries=(count("S", 12, 105, (1,)),), **more)


def _gain(parts, sizes):
    """Money that the best resowing saves, for every question."""
    found = []
    for second in sizes:
        leave, resow = part_losses(parts, np.arange(parts.need.size), second, STAKES)
        found.append((parts.weight * (leave - resow)).sum(axis=1))
    return np.maximum(np.max(found, axis=0), 0.0)


@pytest.mark.parametrize("need", [1000, 1040, 1055])
@pytest.mark.parametrize("rho", [1e-6, 0.015])
@pytest.mark.parametrize("again", [False, True])
def test_the_value_of_a_count_is_that_of_forecasting_anew_from_each_result(need, rho, again):
    sowing = _doubtful(rho_tray=rho)
    if again:  # all trays were counted, early
        early = tuple(count("S", 8, 62, (tray,)) for tray in range(1, 11))
        sowing = made(entries=early, rho_tray=rho)
    asked, own = order(need, earliest=30, latest=48), way(sowing)
    batch, parts = parts_of([sowing], [asked], 13, [own])
    n, _ = cells_to_resow(parts, [own], np.array([0.9]))
    sizes = sizes_of(parts, [own], n, STAKES)
    question = sampling._Question(batch, parts, sizes, STAKES, 0)
    plan = question.plans(CountingWork())[-1][-1]
    assert plan.is_again is (again or plan.n_trays == 1)
    value = question.judged(plan, 10**9).value
    chance, numbers, *_ = question._results(plan)
    chance = question.weight @ chance
    likely = np.flatnonzero(chance > 1e-6)
    some = likely[:: max(likely.size // 60, 1)]
    trays = tuple(range(1, 11)) if again else (1,)
    counted = [
        made(entries=(*sowing.entries[1:], count("S", 13, int(numbers[k]), trays)), rho_tray=rho)
        for k in some
    ]
    orders = [
        replace(order(need, i, earliest=30, latest=48), order=f"O{i}") for i in range(some.size)
    ]
    _, then = parts_of(counted, orders, 13, [own] * some.size)
    many = [
        type(each)(*(np.repeat(getattr(each, name), some.size) for name in type(each).__slots__))
        for each in sizes
    ]
    gain = np.interp(likely, some, _gain(then, many))
    by_forecasts = gain @ chance[likely] / chance[likely].sum() - _gain(parts, sizes)[0]
    assert value == pytest.approx(by_forecasts, rel=0.2, abs=1.5)


def test_a_count_is_worth_no_more_than_knowing_everything():
    sowing, asked = _doubtful(), order(1055, earliest=30, latest=48)
    found, parts, sizes = _asked([sowing], [asked], 13)
    leave, resow = part_losses(parts, np.array([0]), sizes[0], STAKES)
    now = min(parts.weight[0] @ leave[0], parts.weight[0] @ resow[0])
    assert 0.0 < found[0].value < now


def test_only_counts_that_can_change_a_decision_are_asked_for():
    doubtful, sure = _doubtful(), made("T", entries=(count("T", 12, 105, (1,)),))
    orders = [order(1055, 0, latest=48), order(600, 1, latest=48, name="P")]
    found, *_ = _asked([doubtful, sure], orders, 13)
    assert [each.order for each in found] == [0]


def test_a_count_that_costs_more_than_it_saves_is_not_asked_for():
    dear = replace(STAKES, minute=500.0)
    found, *_ = _asked([_doubtful()], [order(1055, latest=48)], 13, stakes=dear)
    assert found == ()


def test_counts_come_in_the_order_of_their_worth():
    sowings = [made(f"S{i}", entries=(count(f"S{i}", 12, 105, (1,)),)) for i in range(4)]
    orders = [order(n, i, latest=48, name=f"O{i}") for i, n in enumerate((1000, 1040, 1055, 1100))]
    found, *_ = _asked(sowings, orders, 13)
    assert len(found) >= 2
    assert [each.worth for each in found] == sorted((each.worth for each in found), reverse=True)


def test_trays_not_counted_yet_come_first_and_others_are_counted_again_when_more_is_up():
    early = tuple(count("S", 8, 60, (tray,)) for tray in range(1, 11))
    sowing = made(entries=early)
    found, *_ = _asked([sowing], [order(1055, latest=48)], 13)
    assert found[0].is_again
    assert found[0].resow_at_most > 60 * found[0].n_trays
    today = made(entries=tuple(count("S", 13, 100, (tray,)) for tray in range(1, 11)))
    assert _asked([today], [order(1000, latest=48)], 13)[0] == ()


def test_more_right_cells_speak_against_resowing_between_both_risks():
    sowing = made(entries=(count("S", 9, 90, (1,)),))
    found, *_ = _asked([sowing], [order(1030, latest=48)], 13)
    plan = found[0]
    assert 0 <= plan.resow_at_most < plan.n_trays * plan.n_cells_per_tray
    assert 0.0 < plan.vain_frac < 0.5
    assert 0.0 < plan.missed_frac < 0.5


def test_a_sample_is_asked_for_where_minutes_are_dear():
    sowing, asked = made(entries=(count("S", 9, 90, (1,)),)), order(1030, latest=48)
    work = CountingWork(minutes_a_tray=0.1)
    found, *_ = _asked([sowing], [asked], 13, work=work)
    assert found[0].n_cells_per_tray == 30
    assert found[0].minutes == pytest.approx(found[0].n_trays * (0.1 + 30 * 0.012))
    cheap = replace(STAKES, minute=0.1)
    whole, *_ = _asked([sowing], [asked], 13, stakes=cheap, work=work)
    assert whole[0].n_cells_per_tray == 128


def test_a_plan_for_two_risks_keeps_them_and_one_tray_fewer_does_not():
    plan = plan_for_risks(128, 0.015, 0.9, 0.8, 0.05, 0.10)
    assert plan is not None
    assert plan.vain_frac <= 0.05
    assert plan.missed_frac <= 0.10
    n = plan.n_trays - 1
    good = np.cumsum(total_pmf(n, 128, 0.9, 0.015))
    poor = np.cumsum(total_pmf(n, 128, 0.8, 0.015))
    assert not np.any((good <= 0.05) & (1.0 - poor <= 0.10))


def test_trays_that_are_less_alike_need_fewer_cells():
    alike = plan_for_risks(128, 0.05, 0.9, 0.8, 0.05, 0.10)
    apart = plan_for_risks(128, 0.0, 0.9, 0.8, 0.05, 0.10)
    assert alike is not None
    assert apart is not None
    assert alike.n_trays > apart.n_trays


def test_risks_that_no_number_of_trays_keeps_give_no_plan():
    assert plan_for_risks(30, 0.3, 0.9, 0.89, 0.01, 0.01, n_trays_most=5) is None


def test_impossible_plans_are_refused():
    with pytest.raises(OutOfRangeError, match="poor_frac must be from 0 to below good_frac"):
        plan_for_risks(128, 0.015, 0.8, 0.9, 0.05, 0.10)
    with pytest.raises(OutOfRangeError, match="n_trays must be 1 or more"):
        total_pmf(0, 10, 0.5, 0.0)
