"""Cells of candidates: enough for every order's confidence, and what to expect of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import betabinom, norm
from tests.planning.tiny_house import (
    BENCH,
    COOL,
    CRESS,
    LOT,
    Reference,
    candidates_of,
    crew,
    house,
    inputs,
    order,
    plan_of,
    reference,
    season_of,
)

from sowbench.planning.sizing import cell_cost, seed_chance, usable_nodes
from sowbench.science.quadrature import beta_nodes
from sowbench.science.quick_stand import quick_short
from sowbench.science.trays import tray_total_pmf

# Up after three days' grace: 30 + 45 °C d at 15 °C d a day.
ON_TIME = float(norm.cdf(np.log(75.0 / 30.0) / 0.2))
KEPT = 0.98 * (1.0 - 0.05)


def usable_by_hand(n_seeds=1, plants=1, light=1.0):
    """Usable share of a cell at the nodes of the lot of 190 normal seedlings in 200."""
    p, weights = beta_nodes(191.0, 11.0)
    seed = p * 0.95 * ON_TIME
    a, b = seed * (1 / 0.05 - 1), (1 - seed) * (1 / 0.05 - 1)
    ok = seed if n_seeds == 1 else betabinom.sf(plants - 1, n_seeds, a, b)
    return ok * KEPT * light, weights


def one_block(made):
    """The only block of candidates."""
    season, found = candidates_of(made)
    (block,) = found.blocks
    return season, block


@pytest.mark.parametrize(("n_seeds", "plants"), [(1, 1), (2, 1), (4, 3)])
def test_usable_share_is_that_of_the_model(n_seeds, plants):
    crop = replace(CRESS, plants_per_cell=(plants, plants))
    season = season_of(inputs(catalog=Reference(crops={"cress": crop})))
    found = usable_nodes(season, crop, 0, n_seeds, np.array([ON_TIME]), np.array([0.9]))
    expected, _ = usable_by_hand(n_seeds, plants, 0.9)
    np.testing.assert_allclose(found[0], expected, rtol=1e-9)


def test_chance_of_a_seed_is_its_germination_in_the_tray():
    season = season_of(inputs())
    p, _ = beta_nodes(191.0, 11.0)
    np.testing.assert_allclose(seed_chance(season, 0, np.array([0.8]))[0], p * 0.95 * 0.8)


CELL = 0.030 + 0.030 * 1.1 * 0.08  # seed, and mix with a tenth for what is spilled


@pytest.mark.parametrize("plants", [5, 10, 18, 37, 64, 90])
@pytest.mark.parametrize("confidence", [0.7, 0.9, 0.97])
def test_a_small_order_has_the_fewest_cells_that_are_sure_enough_or_those_that_pay(
    plants, confidence
):
    """Shares are rounded down in steps of 0.005, so a cell more may be sown, never fewer."""
    _, block = one_block(inputs(order("a", plants, 15, confidence_frac=confidence)))
    usable, weights = usable_by_hand()

    def chance_and_short(n):
        pmf = weights @ tray_total_pmf(n, 20, usable)
        return float(pmf[plants:].sum()), float(pmf[:plants] @ (plants - np.arange(plants)))

    def saves(n):
        return 2.0 * (chance_and_short(n)[1] - chance_and_short(n + 1)[1])

    least = plants
    while chance_and_short(least)[0] < confidence - 0.004:
        least += 1
    sizes = np.unique(block.sizing.n_cells).tolist()
    best = sizes[-1]
    assert chance_and_short(sizes[0])[0] >= confidence - 0.004
    if len(sizes) == 2:
        assert least <= sizes[0] <= least + max(1, round(0.02 * least))
    else:
        assert least <= best
    assert len(sizes) <= 2
    # The next cell costs more than it saves, and the last one saved more than it cost.
    assert best % 20 == 0 or saves(best + 1) < CELL
    if best > least + 2:
        assert saves(best - 2) > CELL
    assert (block.sizing.n_units == -(-block.sizing.n_cells // 20)).all()


def test_more_cells_than_the_fewest_are_on_offer_only_where_shortage_costs_more():
    """Fourteen are sure enough; at 2 for a plant sixteen pay, at 0.25 no more do."""
    made = inputs(order("a", 10, 15))
    _, dear = one_block(made)
    prices = replace(house().prices, short_plant=0.25)
    low = replace(made, house=house(prices=prices, crew=crew(rate_per_hour=0.0)))
    _, cheap = one_block(low)
    assert np.unique(dear.sizing.n_cells).tolist() == [14, 16]
    assert np.unique(cheap.sizing.n_cells).tolist() == [14]
    need, tray = np.array([10]), np.array([20])
    usable, weights = usable_by_hand()
    saved = [
        -np.diff([
            quick_short(need, np.array([n]), tray, usable[None], weights[None])[0][0]
            for n in range(14, 18)
        ])
    ][0]  # fmt: skip
    assert 2.0 * saved[1] > CELL > 2.0 * saved[2]
    assert 0.25 * saved[0] < CELL


def test_every_order_of_a_group_is_sure_enough():
    """The second is filled after the first: both together need more than each alone."""
    both = inputs(order("a", 20, 15, confidence_frac=0.6), order("b", 30, 15, confidence_frac=0.95))
    season, found = candidates_of(both)
    (block,) = found.blocks
    usable, weights = usable_by_hand()
    for j in range(len(block)):
        group = found.groups[int(block.group[j])]
        pmf = weights @ tray_total_pmf(int(block.sizing.n_cells[j]), 20, usable)
        before = 0
        for o in group.orders:
            before += both.orders[o].plants
            wanted = season.confidence(both.orders[o])
            assert float(pmf[before:].sum()) >= wanted - 0.004
    assert {g.orders for g in found.groups} == {(0,), (1,), (0, 1)}


def test_the_least_share_that_counts_as_filled_needs_fewer_cells():
    free = house(prices=replace(house().prices, short_plant=0.2), crew=crew(rate_per_hour=0.0))
    cells = []
    for least in (1.0, 0.8):
        _, block = one_block(inputs(order("a", 50, 15, min_frac=least), house=free))
        cells.append(int(block.sizing.n_cells.min()))
        assert (block.sizing.need == 50).all()
    assert cells[1] == pytest.approx(0.8 * cells[0], abs=2.0)


def test_clumps_are_counted_in_cells():
    """Clumps of three: 20 clumps, or 60 plants, or 58 of which the last clump is not full."""
    crop = replace(CRESS, plants_per_cell=(3, 4), seeds_per_cell=5, max_seeds_per_cell=5)
    catalog = Reference(crops={"cress": crop})
    cells = []
    for unit, plants in (("cell", 20), ("plant", 60), ("plant", 58)):
        season, block = one_block(inputs(order("a", plants, 15, unit=unit), catalog=catalog))
        cells.append(np.unique(block.sizing.n_cells).tolist())
        assert block.sizing.need[0] == 20
        assert season.need_cells(season.orders[0]) == 20
    # The fewest are the same; more of them pay where a cell stands for three plants.
    assert cells[0][0] == cells[1][0] == cells[2][0]
    assert cells[0][-1] <= cells[1][-1] == cells[2][-1]


def test_potted_on_are_the_cells_that_are_expected_to_be_usable():
    _, block = one_block(inputs(order("a", 20, 18), house=house(stock=("sheet-40", "pot-5"))))
    usable, weights = usable_by_hand()
    n, last = int(block.sizing.n_cells[0]), int(block.sizing.n_last[0])
    assert last == pytest.approx(n * float(usable @ weights), abs=1.0)
    assert block.sizing.n_last_units[0] == -(-last // 5)
    assert block.sizing.n_units[0] == -(-n // 40)


def test_cells_to_thin_are_those_with_more_than_wanted():
    """Two seeds a cell: both come up in E[p (a + 1) / (a + b + 1)] of the cells."""
    catalog = reference(seeds_per_cell=2, max_seeds_per_cell=2)
    _, block = one_block(inputs(order("a", 20, 15), catalog=catalog))
    p, weights = beta_nodes(191.0, 11.0)
    seed = float((p * 0.95 * ON_TIME) @ weights)
    a, b = seed * 19.0, (1.0 - seed) * 19.0
    both = betabinom.pmf(2, 2, a, b)
    expected = block.sizing.n_cells[0] * both
    assert block.sizing.thin_cells[0] == pytest.approx(expected, rel=0.01)


def test_a_poor_lot_or_dim_light_needs_more_cells():
    low = replace(house().prices, short_plant=1.0)
    made = inputs(order("a", 60, 25), house=house(prices=low))
    _, good = one_block(made)
    _, poor = one_block(replace(made, lots=(replace(LOT, n_normal=120),)))
    dim = replace(BENCH, lamp_ppfd_umol_m2_s=90.0)  # 5.2 mol m-2 d-1
    _, dull = one_block(replace(made, house=house(dim, prices=low)))
    assert poor.sizing.n_cells[0] > good.sizing.n_cells[0]
    assert dull.sizing.n_cells[0] > good.sizing.n_cells[0]


def test_a_lot_that_cannot_reach_the_confidence_has_no_candidate():
    """One seed in a hundred comes up: four times the need and fifty more are not enough."""
    _, found = candidates_of(inputs(order("a", 50, 15), lots=(replace(LOT, n_normal=0),)))
    assert found.program.n == 0


def test_one_more_cell_costs_its_seed_and_its_mix():
    season, block = one_block(inputs(order("a", 10, 15), house=house(COOL)))
    assert cell_cost(season, block.choices[0]) == pytest.approx(CELL)
    _, sheet = one_block(inputs(order("a", 20, 18), house=house(stock=("sheet-40", "pot-5"))))
    assert cell_cost(season, sheet.choices[0]) == pytest.approx(0.030)


@pytest.mark.parametrize("plants", [10, 50, 120])
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_the_plan_reaches_the_confidence_or_has_a_full_tray(plants, confidence):
    made = inputs(
        order("a", plants, 15, confidence_frac=confidence),
        house=house(replace(BENCH, n_positions=20)),
    )
    plan = plan_of(made, bound_holds=False).plan
    (sowing,) = plan.sowings
    assert plan.orders[0].chance_enough_frac >= confidence or sowing.n_cells % 20 == 0
