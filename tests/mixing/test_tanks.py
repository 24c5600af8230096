"""Stock tanks: dissolved, below saturation, and what the meter says."""

import pytest
from hypothesis import HealthCheck, assume, given, seed, settings
from hypothesis import strategies as st
from tests.mixing._waters import hard_water

from sowbench.domain.mixing import Acid, AcidKind, FeedTarget, WaterReport
from sowbench.mixing.acid import RefusedError, acid_to_alkalinity
from sowbench.mixing.chemistry import Engine, Solution
from sowbench.mixing.feed import Chosen, NoRecipeError, Product, Recipe, recipe_for
from sowbench.mixing.tanks import (
    EC_REFUSED_MS_CM,
    content_mg_l,
    corrected,
    injector_from_meter,
    tanks_for,
)
from sowbench.mixing.water import understood
from sowbench.reference.solutes import salt, salts, solubility_g_kg
from sowbench.science.errors import OutOfRangeError
from sowbench.science.solutions import ATOMIC_MASS_G_MOL

NITRIC = Acid(AcidKind.NITRIC, 0.67, 1.40)
MACROS = tuple(each for each in salts().values() if each.role == "macro")
SOFT = WaterReport("rain", 6.5, 0.3, {"ca": 0.1, "na": 0.2, "cl": 0.1})
STAGE_3 = FeedTarget(
    "plugs, stage 3",
    {"n": (95.0, 105.0), "p": (8.0, 15.0), "k": (80.0, 120.0), "ca": (60.0, 120.0),
     "mg": (15.0, 40.0)},
    0.3,
    1.8,
)  # fmt: skip


def fed(water, dose=None):
    """Recipe of stage 3 in a water."""
    brought = water.mg_l()
    for name, amount in (dose.adds_mg_l if dose else {}).items():
        brought[name] = brought.get(name, 0.0) + amount
    return recipe_for(STAGE_3, Chosen(MACROS, from_water_mg_l=brought))


def test_calcium_stands_apart_from_sulfate_and_phosphate():
    water = understood(SOFT)
    tanks = tanks_for(fed(water), water, ratio=100, volume_l=100)
    grams = {each.name: each.grams for each in tanks.tanks}
    assert "calcium_nitrate" in grams["A"]
    assert not {name for name in grams["A"] if {"p", "s"} & salt(name).content_frac.keys()}
    assert not {name for name in grams["B"] if "ca" in salt(name).content_frac}


def test_what_the_tanks_hold_gives_the_feed_at_the_ratio():
    water = understood(SOFT)
    recipe = fed(water)
    tanks = tanks_for(recipe, water, ratio=128, volume_l=80)
    for name, g_per_m3 in recipe.g_per_m3.items():
        grams = sum(each.grams.get(name, 0.0) for each in tanks.tanks)
        # 80 L of stock make 80 x 128 L of feed.
        assert grams == pytest.approx(g_per_m3 * 80 * 128 / 1000, rel=1e-9)


def test_one_tank_for_everything_is_refused_with_what_would_fall_out():
    water = understood(SOFT)
    with pytest.raises(RefusedError, match=r"tank single at 1:200.*(gypsum|calcium phosphate)"):
        tanks_for(fed(water), water, ratio=200, volume_l=100, n_tanks=1)


def test_hard_water_in_the_tank_is_refused_until_it_is_treated():
    water = hard_water(250.0)
    with pytest.raises(RefusedError, match="over-saturated"):
        tanks_for(fed(water), water, ratio=100, volume_l=100)
    dose = acid_to_alkalinity(water, NITRIC, 60.0)
    tanks = tanks_for(fed(water, dose), water, ratio=100, volume_l=100, dose=dose)
    assert all(not each.state.falls_out for each in tanks.tanks)


def test_beyond_solubility_is_refused_with_the_temperature():
    water = understood(SOFT)
    sulfate = Recipe(STAGE_3, {"potassium_sulfate": 200.0}, {}, {}, 0.0, 0.0)
    with pytest.raises(RefusedError, match=r"potassium sulfate in tank B must be at most .* 5 °C"):
        tanks_for(sulfate, water, ratio=400, volume_l=100, coldest_c=5.0)


def test_several_salts_near_saturation_together_are_refused():
    water = understood(SOFT)
    many = Recipe(STAGE_3, {"monopotassium_phosphate": 800.0, "potassium_sulfate": 350.0},
                  {}, {}, 0.0, 0.0)  # fmt: skip
    with pytest.raises(RefusedError, match=r"below saturation|dissolved"):
        tanks_for(many, water, ratio=200, volume_l=100, coldest_c=15.0)


def test_a_feed_stronger_than_seedlings_survive_is_refused():
    water = understood(SOFT)
    strong = Recipe(FeedTarget("young plants", {}), {"potassium_nitrate": 4000.0}, {}, {}, 0.0, 0.0)
    with pytest.raises(RefusedError, match=f"at most {EC_REFUSED_MS_CM:g} mS/cm"):
        tanks_for(strong, water, ratio=10, volume_l=100)
    mild = Recipe(FeedTarget("stage 1", {}, ec_most_ms_cm=0.75), {"potassium_nitrate": 600.0},
                  {}, {}, 0.0, 0.0)  # fmt: skip
    with pytest.raises(RefusedError, match=r"at most 0\.75 mS/cm at this stage"):
        tanks_for(mild, water, ratio=10, volume_l=100)


@pytest.mark.parametrize(
    ("sizes", "words"),
    [
        ({"ratio": 0.5, "volume_l": 100}, "ratio"),
        ({"ratio": 100, "volume_l": 0}, "volume_l"),
        ({"ratio": 100, "volume_l": 100, "n_tanks": 3}, "n_tanks"),
    ],
)
def test_sizes_that_make_no_sense_are_refused(sizes, words):
    water = understood(SOFT)
    with pytest.raises(OutOfRangeError, match=words):
        tanks_for(fed(water), water, **sizes)


def test_a_ready_made_product_goes_into_no_tank_of_salts():
    water = understood(SOFT)
    recipe = recipe_for(
        FeedTarget("n", {"n": (50.0, 200.0)}),
        Chosen((), Product("20-10-20", {"no3_n": 0.12, "nh4_n": 0.04}), 500.0),
    )
    with pytest.raises(OutOfRangeError, match="by its label"):
        tanks_for(recipe, water, ratio=100, volume_l=100)


@pytest.mark.parametrize("true_ratio", [60.0, 100.0, 130.0, 250.0])
def test_a_meter_tells_what_the_injector_gives(true_ratio):
    water = understood(SOFT)
    recipe = fed(water)
    tanks = tanks_for(recipe, water, ratio=100, volume_l=100)
    amounts = {name: grams * 100.0 / true_ratio for name, grams in recipe.g_per_m3.items()}
    weaker = Recipe(recipe.target, amounts, {}, {}, 0.0, 0.0)
    meter = tanks_for(weaker, water, ratio=1, volume_l=100).feed.ec_ms_cm
    assert injector_from_meter(tanks, recipe, water, meter) == pytest.approx(true_ratio, rel=0.01)
    with pytest.raises(OutOfRangeError, match="water alone"):
        injector_from_meter(tanks, recipe, water, 0.001)


def test_a_tank_that_is_off_is_put_right_by_water_or_salts():
    water = understood(SOFT)
    tank = tanks_for(fed(water), water, ratio=100, volume_l=100).tanks[0]
    assert corrected(tank, 1.25).add_water_l == pytest.approx(25.0)
    weak = corrected(tank, 0.8)
    assert weak.add_water_l == 0.0
    assert weak.add_grams == pytest.approx({name: 0.2 * g for name, g in tank.grams.items()})
    with pytest.raises(OutOfRangeError, match="anew"):
        corrected(tank, 0.01)


def _charged(grams_per_l):
    """What the engine is told of a stock, put together apart from the code under test."""
    found: dict[str, float] = {}
    for name, grams in grams_per_l.items():
        content = salt(name).content_frac
        for nutrient, share in content.items():
            if nutrient in {"urea_n", "mo", "fe"}:
                continue
            element = "N" if nutrient.endswith("_n") else nutrient.capitalize()
            mmol = 1000.0 * grams * share / ATOMIC_MASS_G_MOL[element]
            found[nutrient] = found.get(nutrient, 0.0) + mmol
    return found


@pytest.mark.parametrize("part", range(8))
def test_no_recipe_falls_out_or_is_beyond_solubility_or_burns(part):
    """Two thousand cases in eight parts, looked at again by an engine of its own."""
    n_held = 0
    with Engine() as own:

        @seed(part)
        @settings(
            max_examples=250,
            deadline=None,
            database=None,
            suppress_health_check=list(HealthCheck),
        )
        @given(
            alkalinity=st.floats(30, 320),
            n=st.floats(25, 250),
            k=st.floats(20, 300),
            ca=st.floats(0, 150),
            p=st.floats(0, 40),
            target_alkalinity=st.floats(20, 300),
            ratio=st.sampled_from([1, 20, 50, 100, 128, 200]),
            coldest_c=st.floats(2, 25),
            two=st.booleans(),
            wide=st.floats(1.0, 1.6),
            ammonium=st.floats(0.2, 0.6),
        )
        def holds(
            alkalinity, n, k, ca, p, target_alkalinity, ratio, coldest_c, two, wide, ammonium
        ):
            nonlocal n_held
            water = hard_water(alkalinity)
            dose = None
            if target_alkalinity < alkalinity:
                dose = acid_to_alkalinity(water, NITRIC, target_alkalinity)
                assert dose.after.ph >= 4.0 - 1e-3
            brought = water.mg_l()
            if dose is not None:
                brought["no3_n"] = brought.get("no3_n", 0.0) + dose.adds_mg_l["no3_n"]
            target = FeedTarget(
                "t", {"n": (n, n * wide + 30), "k": (k, k * wide + 30), "p": (p, p * wide + 10),
                      "ca": (ca, ca * wide + 150)}, ammonium,
            )  # fmt: skip
            try:
                recipe = recipe_for(target, Chosen(MACROS, from_water_mg_l=brought))
                tanks = tanks_for(recipe, water, ratio=ratio, volume_l=100.0, dose=dose,
                                  coldest_c=coldest_c, n_tanks=2 if two else 1)  # fmt: skip
            except (NoRecipeError, RefusedError):
                assume(condition=False)
                raise
            assert tanks.feed.ec_ms_cm <= EC_REFUSED_MS_CM
            for tank in tanks.tanks:
                per_l = {name: grams / tank.volume_l for name, grams in tank.grams.items()}
                for name, grams in per_l.items():
                    most = solubility_g_kg(salt(name), coldest_c)
                    assert most is None or grams <= 0.8 * most + 1e-9, name
                mmol = _charged(per_l)
                for name, amount in water.elements_mmol_l.items():
                    mmol[name] = mmol.get(name, 0.0) + amount
                if dose is not None:
                    mmol["no3_n"] = mmol.get("no3_n", 0.0) + dose.mmol_l
                asked = Solution(mmol, carbon_mmol_kg=water.carbon_mmol_l, temp_c=coldest_c)
                (state,) = own.solve([asked])
                assert not state.falls_out, (tank.name, state.saturation)
            held = content_mg_l(recipe.g_per_m3)
            nitrogen = sum(held.get(each, 0.0) + brought.get(each, 0.0)
                           for each in ("no3_n", "nh4_n", "urea_n"))  # fmt: skip
            assert n - 1e-4 <= nitrogen <= n * wide + 30 + 1e-4
            n_held += 1

        holds()
    assert n_held >= 250
