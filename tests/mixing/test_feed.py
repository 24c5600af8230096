"""Recipes of salts and products by their label."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sowbench.domain.mixing import NUTRIENTS, FeedTarget, Salt
from sowbench.mixing.feed import (
    Chosen,
    NoRecipeError,
    potential_acidity,
    product_of_label,
    rate_for_nitrogen,
    recipe_for,
)
from sowbench.reference.solutes import salt, salts
from sowbench.science.errors import OutOfRangeError

MACROS = tuple(each for each in salts().values() if each.role == "macro")
PLUGS = FeedTarget(
    "plugs, stage 3",
    {"n": (95.0, 105.0), "p": (8.0, 15.0), "k": (80.0, 120.0), "ca": (50.0, 120.0),
     "mg": (15.0, 40.0)},
    nh4_most_frac=0.3,
)  # fmt: skip


def test_a_recipe_holds_what_is_wanted_and_water_counts():
    bare = recipe_for(PLUGS, Chosen(MACROS))
    with_water = recipe_for(PLUGS, Chosen(MACROS, from_water_mg_l={"ca": 80.0, "mg": 20.0}))
    for recipe in (bare, with_water):
        for name, (low, high) in PLUGS.mg_l.items():
            held = recipe.nitrogen_mg_l if name == "n" else recipe.mg_l.get(name, 0.0)
            assert low - 1e-6 <= held <= high + 1e-6, name
    assert with_water.cost_per_m3 < bare.cost_per_m3
    assert bare.mg_l["nh4_n"] <= 0.3 * bare.nitrogen_mg_l + 1e-6


def test_one_salt_alone_is_reckoned_by_hand():
    # 200 mg/L of nitrogen from ammonium nitrate of 35 %: 571.43 g/m3; at 2 a kilogram 1.1429.
    nitrate = Salt("an", "ammonium nitrate", "NH4NO3", {"no3_n": 0.175, "nh4_n": 0.175},
                   price_per_kg=2.0)  # fmt: skip
    target = FeedTarget("n", {"n": (200.0, 200.0)}, nh4_most_frac=0.5)
    recipe = recipe_for(target, Chosen((nitrate,)))
    assert recipe.g_per_m3 == {"an": pytest.approx(571.4286, abs=1e-3)}
    assert recipe.cost_per_m3 == pytest.approx(1.142857, abs=1e-5)


def test_amounts_are_whole_steps_of_the_scale_and_still_meet_the_target():
    step = {each.name: 5.0 for each in MACROS}
    chosen = Chosen(MACROS, step_g=step, batch_m3=2.0)
    recipe = recipe_for(PLUGS, chosen)
    for name, grams in recipe.g_per_m3.items():
        steps = grams * 2.0 / 5.0
        assert steps == pytest.approx(round(steps), abs=1e-9), name
    assert 95.0 <= recipe.nitrogen_mg_l <= 105.0
    assert recipe.cost_per_m3 >= recipe.least_cost_per_m3 - 1e-9


def test_a_scale_too_coarse_says_so():
    step = {each.name: 5000.0 for each in MACROS}
    with pytest.raises(NoRecipeError, match="too coarse"):
        recipe_for(PLUGS, Chosen(MACROS, step_g=step, batch_m3=0.1))


def test_targets_that_do_not_go_together_are_named_and_only_those():
    target = FeedTarget("odd", {"n": (100, 110), "ca": (0, 20), "k": (0, 50), "mg": (10, 40)}, 0.1)
    only_nitrates = tuple(
        salt(name) for name in ("calcium_nitrate", "potassium_nitrate", "magnesium_sulfate")
    )
    with pytest.raises(NoRecipeError) as error:
        recipe_for(target, Chosen(only_nitrates))
    named = " ".join(error.value.conflict)
    assert "nitrogen 100 to 110" in named
    assert "calcium 0 to 20" in named
    assert "magnesium" not in named
    assert "do not go together" in str(error.value)


def test_without_a_salt_for_a_nutrient_that_nutrient_is_named():
    target = FeedTarget("p", {"p": (10.0, 20.0)})
    with pytest.raises(NoRecipeError, match="phosphorus 10 to 20"):
        recipe_for(target, Chosen((salt("potassium_nitrate"),)))
    with pytest.raises(NoRecipeError, match="phosphorus"):
        recipe_for(target, Chosen(()))


def test_a_product_by_its_label_brings_the_rest_with_its_nitrogen():
    product = product_of_label("20-10-20", 20, 10, 20, nh4_percent=8)
    rate = rate_for_nitrogen(product, 100.0)
    assert rate == pytest.approx(500.0)
    assert rate * product.content_frac["p"] == pytest.approx(500 * 0.1 * 0.43643, abs=0.01)
    assert rate * product.content_frac["k"] == pytest.approx(500 * 0.2 * 0.83015, abs=0.01)
    assert product.content_frac["no3_n"] == pytest.approx(0.12)


def test_salts_fill_up_what_a_product_leaves():
    product = product_of_label("20-10-20", 20, 10, 20, nh4_percent=8, price_per_kg=3.0)
    recipe = recipe_for(PLUGS, Chosen(MACROS, product, 200.0))
    assert recipe.g_per_m3["20-10-20"] == 200.0
    assert 95.0 - 1e-6 <= recipe.nitrogen_mg_l <= 105.0 + 1e-6
    assert recipe.cost_per_m3 >= 0.6


@pytest.mark.parametrize(
    ("label", "words"),
    [
        ({"n_percent": 50, "p2o5_percent": 40, "k2o_percent": 20}, "at most 100 %"),
        ({"n_percent": -1, "p2o5_percent": 0, "k2o_percent": 0}, "nitrogen of x must be 0 %"),
        ({"n_percent": 10, "p2o5_percent": 0, "k2o_percent": 0, "nh4_percent": 12}, "ammonium"),
        (
            {"n_percent": 1, "p2o5_percent": 0, "k2o_percent": 0, "more_percent": {"gold": 1.0}},
            "nutrient of x",
        ),
    ],
)
def test_labels_that_cannot_be_are_refused(label, words):
    with pytest.raises(OutOfRangeError, match=words):
        product_of_label("x", **label)


@pytest.mark.parametrize(
    ("target", "chosen", "words"),
    [
        (FeedTarget("t", {"n": (10.0, 5.0)}), Chosen(MACROS), "lower figure first"),
        (FeedTarget("t", {"n": (-1.0, 5.0)}), Chosen(MACROS), "0 or more"),
        (FeedTarget("t", {"gold": (1.0, 5.0)}), Chosen(MACROS), "nutrient of t"),
        (FeedTarget("t", {}, 1.5), Chosen(MACROS), "nh4_most_frac"),
        (PLUGS, Chosen(MACROS, batch_m3=0.0), "batch_m3"),
        (PLUGS, Chosen(MACROS, from_water_mg_l={"ca": -1.0}), "calcium of the water"),
        (PLUGS, Chosen(MACROS, product_mg_l=-1.0), "product_mg_l"),
    ],
)
def test_wants_that_make_no_sense_are_refused(target, chosen, words):
    with pytest.raises(OutOfRangeError, match=words):
        recipe_for(target, chosen)


def test_a_product_without_nitrogen_has_no_rate_for_it():
    with pytest.raises(OutOfRangeError, match="nitrogen of x"):
        rate_for_nitrogen(product_of_label("x", 0, 52, 34), 100.0)


def _glpk(cost, rows, lows, highs):
    """Solve the same program by GLPK: cost of the best, or None if nothing meets it."""
    import swiglpk as glp

    glp.glp_term_out(glp.GLP_OFF)
    model = glp.glp_create_prob()
    glp.glp_add_rows(model, len(lows))
    glp.glp_add_cols(model, len(cost))
    for at, (low, high) in enumerate(zip(lows, highs, strict=True), start=1):
        if not np.isfinite(low):
            kind = glp.GLP_UP
        elif high > low:
            kind = glp.GLP_DB
        else:
            kind = glp.GLP_FX
        glp.glp_set_row_bnds(model, at, kind, low if np.isfinite(low) else 0.0, high)
    places, columns, values = glp.intArray(1 + rows.size), glp.intArray(1 + rows.size), None
    values = glp.doubleArray(1 + rows.size)
    n = 0
    for (row, column), value in np.ndenumerate(rows):
        if value != 0.0:
            n += 1
            places[n], columns[n], values[n] = row + 1, column + 1, float(value)
    for at, price in enumerate(cost, start=1):
        glp.glp_set_col_bnds(model, at, glp.GLP_LO, 0.0, 0.0)
        glp.glp_set_obj_coef(model, at, float(price))
    glp.glp_load_matrix(model, n, places, columns, values)
    settings_ = glp.glp_smcp()
    glp.glp_init_smcp(settings_)
    settings_.presolve = glp.GLP_ON
    code = glp.glp_simplex(model, settings_)
    status = glp.glp_get_status(model)
    found = glp.glp_get_obj_val(model) if code == 0 and status == glp.GLP_OPT else None
    glp.glp_delete_prob(model)
    return found


def test_thousand_random_waters_and_targets_cost_what_an_independent_solver_says():
    rng = np.random.default_rng(20_261_125)
    content = np.array([[s.content_frac.get(name, 0.0) for s in MACROS] for name in NUTRIENTS])
    nitrogen = content[[NUTRIENTS.index(each) for each in ("no3_n", "nh4_n", "urea_n")]]
    warm = content[[NUTRIENTS.index(each) for each in ("nh4_n", "urea_n")]].sum(axis=0)
    n_met = n_not = 0
    for _ in range(1000):
        prices = rng.uniform(0.3, 4.0, len(MACROS))
        own = tuple(
            Salt(s.name, s.label, s.formula, s.content_frac, price_per_kg=float(price))
            for s, price in zip(MACROS, prices, strict=True)
        )
        water = {"ca": rng.uniform(0, 120), "mg": rng.uniform(0, 40), "k": rng.uniform(0, 10),
                 "s": rng.uniform(0, 60)}  # fmt: skip
        low = {"n": rng.uniform(25, 200), "p": rng.uniform(0, 40), "k": rng.uniform(20, 250),
               "ca": rng.uniform(20, 150), "mg": rng.uniform(5, 50), "s": 0.0,
               "cl": 0.0, "na": 0.0}  # fmt: skip
        target = FeedTarget(
            "random",
            {
                each: (value, value * rng.uniform(1.0, 1.3) + (60.0 if each in {"s", "cl"} else 0))
                for each, value in low.items()
            },
            float(rng.uniform(0.05, 0.5)),
        )
        rows = [nitrogen.sum(axis=0) if each == "n" else content[NUTRIENTS.index(each)]
                for each in target.mg_l]  # fmt: skip
        base = [water.get(each, 0.0) for each in target.mg_l]
        lows = [low - b for (low, _), b in zip(target.mg_l.values(), base, strict=True)]
        highs = [high - b for (_, high), b in zip(target.mg_l.values(), base, strict=True)]
        rows.append(warm - target.nh4_most_frac * nitrogen.sum(axis=0))
        told = _glpk(prices / 1000.0, np.array(rows), [*lows, -np.inf], [*highs, 0.0])
        try:
            recipe = recipe_for(target, Chosen(own, from_water_mg_l=water))
        except NoRecipeError:
            assert told is None
            n_not += 1
        else:
            assert told is not None
            assert recipe.least_cost_per_m3 == pytest.approx(told, rel=1e-3, abs=1e-9)
            n_met += 1
    assert n_met > 100
    assert n_not > 100


@settings(max_examples=60, deadline=None)
@given(
    st.floats(20, 200), st.floats(20, 250), st.floats(0.2, 5.0), st.sampled_from([0.1, 1.0, 10.0])
)
def test_rounded_recipes_meet_what_they_say_they_meet(n, k, batch_m3, step):
    target = FeedTarget("t", {"n": (n, 1.1 * n + 2), "k": (k, 1.1 * k + 2)}, 0.5)
    chosen = Chosen(MACROS, step_g={each.name: step for each in MACROS}, batch_m3=batch_m3)
    try:
        recipe = recipe_for(target, chosen)
    except NoRecipeError:
        return
    held = dict.fromkeys(NUTRIENTS, 0.0)
    for name, grams in recipe.g_per_m3.items():
        assert grams * batch_m3 / step == pytest.approx(round(grams * batch_m3 / step), abs=1e-6)
        for nutrient, share in salt(name).content_frac.items():
            held[nutrient] += share * grams
    assert n - 1e-5 <= held["no3_n"] + held["nh4_n"] + held["urea_n"] <= 1.1 * n + 2 + 1e-5
    assert k - 1e-5 <= held["k"] <= 1.1 * k + 2 + 1e-5


def test_potential_acidity_of_printed_materials():
    # Alabama A&M and Auburn, ANR-174; supplier's table; kg CaCO3 per tonne. Tolerance 8 %.
    printed = {
        "ammonium_sulfate": 1100, "ammonium_nitrate": 610, "urea": 830, "calcium_nitrate": -200,
        "potassium_nitrate": -260, "potassium_sulfate": 0, "magnesium_sulfate": 0,
        "diammonium_phosphate": 700, "monoammonium_phosphate": 650,
    }  # fmt: skip
    for name, kg_per_t in printed.items():
        found = 1000.0 * potential_acidity(salt(name).content_frac)
        assert found == pytest.approx(kg_per_t, rel=0.085, abs=15.0), name
