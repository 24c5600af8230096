"""A plan with one thing changed: the checker accepts it, and it takes what is said."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from tests.planning.tiny_house import (
    BENCH,
    CHAMBER,
    COOL,
    HANDS,
    LOT,
    TRAYS,
    check,
    day_of,
    house,
    inputs,
    on,
    order,
    plan_of,
)

from sowbench.domain.records import StepKind
from sowbench.planning.patched import Patch, lay_plan, patched, shares
from sowbench.planning.plan import uses_of
from sowbench.planning.promise import promise

SEEDS = range(50)
WORKING = replace(HANDS, sow_days=(0, 1, 2, 3, 4))
# What a plant that is not ready, or is toned nowhere before it goes, breaks: nobody is offered it.
TIMING = ("window", "day of", "last place", "overgrown p")
KINDS = ("resow", "fewer", "later", "tone")


@lru_cache(maxsize=64)
def drawn(seed):
    """A small house with some orders, and its plan."""
    rng = np.random.default_rng(seed)
    days = sorted(int(d) for d in rng.integers(14, 30, size=3))
    made = inputs(
        *(order(name, int(rng.integers(15, 45)), day, early=2, late=int(rng.integers(5, 12)))
          for name, day in zip("abc", days, strict=True)),
        house=house(CHAMBER, BENCH, COOL, stock=(TRAYS,), crew=WORKING),
        lots=(LOT, replace(LOT, id="L2", n_normal=180)),
    )  # fmt: skip
    return made, plan_of(made, rounds=1).plan


def held(made, plan):
    """Have a plan checked by every rule but the bound's."""
    found = check(cast("Any", SimpleNamespace(plan=plan)), made, with_bound=False).findings
    return [str(each) for each in found]


def of_order(plan, name):
    """The sowing of an order."""
    return next(each for each in plan.sowings if any(s.order == name for s in each.orders))


def plants(sowing):
    """Shares of a sowing by order."""
    return {each.order: each.plants for each in sowing.orders}


def patch_of(kind, made, plan):
    """A change of a kind for the first order that it goes for; None if there is none."""
    for wanted in made.orders:
        if not any(
            each.order == wanted.id and each.planned == wanted.plants for each in plan.orders
        ):
            continue
        own = of_order(plan, wanted.id)
        less = wanted.plants // 3
        if kind == "resow":
            answer = promise(made, plan, replace(wanted, plants=less)).on_day
            if answer is None:
                continue
            again = shares(replace(answer.sowing, sowing=f"again {wanted.id}"), {wanted.id: less})
            cut = shares(own, {**plants(own), wanted.id: plants(own)[wanted.id] - less})
            return Patch((cut, again)) if plants(own)[wanted.id] > less else None
        if kind == "fewer" and plants(own)[wanted.id] > less:
            cut = shares(own, {**plants(own), wanted.id: plants(own)[wanted.id] - less})
            return Patch((cut,), (replace(wanted, plants=wanted.plants - less),))
        if kind == "later" and len(own.orders) == 1:
            day = wanted.wanted_date.toordinal() - on(0).toordinal() + 3
            if on(day) >= own.overgrown_date.p50:
                continue
            later = replace(
                wanted, wanted_date=on(day), latest_date=max(wanted.latest_date, on(day))
            )
            return Patch((), (later,))
        if kind == "tone" and all(each.place != "cool bench" for each in own.steps):
            body = tuple(each for each in own.steps if each.kind is not StepKind.TONE)
            end = replace(own.steps[-1], kind=StepKind.TONE, place="cool bench")
            return Patch((replace(own, steps=(*body, end)),))
    return None


def changed_inputs(made, patch):
    """What the changed plan rests on."""
    orders = {each.id: each for each in patch.orders}
    return replace(made, orders=tuple(orders.get(each.id, each) for each in made.orders))


@pytest.mark.parametrize("seed", SEEDS[:10])
def test_a_plan_without_a_change_stays_as_it_is(seed):
    made, plan = drawn(seed)
    assert patched(made, plan, Patch()).plan == replace(plan, moved=())


@pytest.mark.parametrize("seed", SEEDS)
def test_a_changed_plan_holds_and_takes_what_is_said(seed):
    made, plan = drawn(seed)
    laid = lay_plan(made, plan)
    season = laid.season
    before = {(u.kind, u.name): u.use for u in uses_of(season, laid.placed)}
    n = 0
    for kind in KINDS:
        patch = patch_of(kind, made, plan)
        if patch is None:
            continue
        found = patched(made, plan, patch, laid)
        then = changed_inputs(made, patch)
        problems = held(then, found.plan)
        if found.against():
            assert problems
            continue
        if kind == "tone" and any(word in p for p in problems for word in TIMING):
            continue
        assert not problems, f"{kind}: {problems}"
        again = lay_plan(then, found.plan)
        after = {(u.kind, u.name): u.use for u in uses_of(again.season, again.placed)}
        stated = {(u.kind, u.name): u for u in found.uses}
        for key, use in after.items():
            days = min(len(before[key]), len(use))
            more = stated[key].more[:days] if key in stated else np.zeros(days)
            assert use[:days] - before[key][:days] == pytest.approx(more, abs=1e-9)
        n += 1
    assert n >= 2


def test_every_kind_of_change_comes_up_among_the_houses():
    n = dict.fromkeys(KINDS, 0)
    for seed in SEEDS:
        for kind in KINDS:
            n[kind] += patch_of(kind, *drawn(seed)) is not None
    assert min(n.values()) >= 5, n


def test_sowing_again_takes_room_hands_trays_and_seed_and_adds_its_jobs():
    made, plan = drawn(0)
    patch = patch_of("resow", made, plan)
    found = patched(made, plan, patch)
    new = found.plan.sowings[-1]
    assert {each.kind for each in found.uses} >= {"place", "crew", "container", "lot"}
    jobs = {each.task for each in found.plan.tasks if each.sowing == new.sowing}
    assert {"sow", "count", "pack"} <= jobs
    seeds = next(each for each in found.uses if each.kind == "lot" and each.name == new.lot)
    assert float(seeds.more.sum()) == new.n_seeds
    assert day_of(new.sow_date) >= 0
    assert found.plan.cost > 0


def test_what_does_not_fit_says_so():
    made, plan = drawn(1)
    patch = patch_of("resow", made, plan)
    again = patch.sowings[-1]
    crowd = tuple(replace(again, sowing=f"crowd {k}") for k in range(12))
    found = patched(made, plan, Patch((*patch.sowings, *crowd)))
    assert {each.kind for each in found.against()} >= {"container"}
