"""Stock tanks: what goes into which, whether it stays dissolved, and what the meter should say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from sowbench.domain.mixing import Salt
from sowbench.mixing.acid import AcidDose, RefusedError
from sowbench.mixing.chemistry import SOLID_LABELS, Solution, State, solve
from sowbench.mixing.feed import Recipe
from sowbench.mixing.water import Water
from sowbench.reference.solutes import SATURATION_MOST_FRAC, salt, solubility_g_kg
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.science.solutions import ATOMIC_MASS_G_MOL

# Feed for young plants above this conductivity is not mixed: the highest that the table of stages
# knows, 3.5 mS/cm for tomatoes in blocks (from memory).
EC_REFUSED_MS_CM: Final = 3.5
_MASS_OF: Final[Mapping[str, str]] = {"no3_n": "N", "nh4_n": "N"}
# What the engine is told of: urea and molybdenum hardly carry charge here, and of a chelate the
# sodium goes with the organic part, which the engine does not know, so chelates are left out.
_TOLD: Final = ("no3_n", "nh4_n", "p", "k", "ca", "mg", "s", "na", "cl", "b", "zn", "mn", "cu")
_N_RATIOS: Final = 41


@dataclass(frozen=True, slots=True)
class Tank:
    """One stock tank.

    Attributes
    ----------
    name : str
        "A", "B", or "single".
    volume_l : float
        Its volume, filled [L].
    grams : dict of str to float
        What is weighed in [g].
    state : State
        The stock by the chemistry engine, at the temperature at which it is coldest.
    fullness_frac : float
        Sum over its salts of what is in it over what water takes up; below 0.8.
    """

    name: str
    volume_l: float
    grams: dict[str, float]
    state: State
    fullness_frac: float


@dataclass(frozen=True, slots=True)
class Tanks:
    """Stock tanks behind an injector, and the feed that comes out.

    Attributes
    ----------
    ratio : float
        The injector's 1:`ratio`, one part in `ratio` of feed.
    tanks : tuple of Tank
        A and B, or a single one.
    feed : State
        The finished feed.
    water_ec_ms_cm : float
        Conductivity of the water alone, acid included [mS/cm].
    """

    ratio: float
    tanks: tuple[Tank, ...]
    feed: State
    water_ec_ms_cm: float


def engine_amounts(mg_l: Mapping[str, float]) -> dict[str, float]:
    """Turn milligrams a liter into what the chemistry engine is told.

    Parameters
    ----------
    mg_l : mapping of str to float
        Amounts by our names [mg/L].

    Returns
    -------
    mmol_kg : dict of str to float
        Amounts of what carries charge [mmol/kg water], a liter taken as a kilogram of water.
    """
    return {
        name: mg_l[name] / ATOMIC_MASS_G_MOL[_MASS_OF.get(name, name.capitalize())]
        for name in _TOLD
        if mg_l.get(name, 0.0) > 0.0
    }


def content_mg_l(grams_per_m3: Mapping[str, float]) -> dict[str, float]:
    """Return what salts bring.

    Parameters
    ----------
    grams_per_m3 : mapping of str to float
        Salts by our names [g/m3].

    Returns
    -------
    mg_l : dict of str to float
        Of each nutrient [mg/L].
    """
    found: dict[str, float] = {}
    for name, grams in grams_per_m3.items():
        for nutrient, share in salt(name).content_frac.items():
            found[nutrient] = found.get(nutrient, 0.0) + share * grams
    return found


def _charged_mg_l(grams_per_m3: Mapping[str, float]) -> dict[str, float]:
    """Return what salts bring, without chelates."""
    return content_mg_l(
        {name: grams for name, grams in grams_per_m3.items() if not _is_chelate(salt(name))}
    )


def _is_chelate(each: Salt) -> bool:
    """Tell whether a salt is iron in an organic shell."""
    return {"fe", "na"} <= each.content_frac.keys()


def _tank_of(each: Salt, *, two: bool) -> str:
    """Return the tank that a salt goes into."""
    if not two:
        return "single"
    return "B" if each.tank.startswith("B") else "A"


def tanks_for(
    recipe: Recipe,
    water: Water,
    *,
    ratio: float,
    volume_l: float,
    coldest_c: float = 15.0,
    dose: AcidDose | None = None,
    n_tanks: int = 2,
) -> Tanks:
    """Put a recipe of salts into stock tanks.

    Parameters
    ----------
    recipe : Recipe
        The recipe, of salts alone.
    water : Water
        The water of the house.
    ratio : float
        The injector's 1:`ratio`.
    volume_l : float
        Volume of each tank [L].
    coldest_c : float, default 15.0
        Temperature of the tanks at their coldest, at night [°C].
    dose : AcidDose or None, default None
        Acid that goes into the water first, by an injector of its own; the stock is then made up
        with the treated water.
    n_tanks : {1, 2}, default 2
        Tanks; with two, calcium stands apart from sulfate and phosphate.

    Returns
    -------
    tanks : Tanks
        What to weigh into each, and what the meter should say.

    Raises
    ------
    OutOfRangeError
        If a size makes no sense, or the recipe holds a ready-made product.
    RefusedError
        If a tank would not stay dissolved, or the feed is stronger than young plants survive.
    """
    _check(recipe, ratio, volume_l, n_tanks)
    by_tank: dict[str, dict[str, float]] = {}
    for name, g_per_m3 in recipe.g_per_m3.items():
        tank = _tank_of(salt(name), two=n_tanks == 2)
        by_tank.setdefault(tank, {})[name] = g_per_m3 * ratio * volume_l / 1000.0
    asked = [
        _stock(
            _treated(water, dose),
            {name: grams / volume_l * 1000.0 for name, grams in each.items()},
            coldest_c,
        )
        for each in by_tank.values()
    ]
    feed = _feed(recipe, water, dose)
    alone = _treated(water, dose)
    *stocks, feed_state, water_state = solve([*asked, feed, alone])
    made = []
    for (name, grams), state in zip(sorted(by_tank.items()), _in_order(by_tank, stocks),
                                    strict=True):  # fmt: skip
        full = _fullness(name, grams, volume_l, coldest_c)
        _refuse_solids(name, state, ratio)
        made.append(Tank(name, volume_l, grams, state, full))
    _refuse_strong(feed_state, recipe)
    return Tanks(ratio, tuple(made), feed_state, water_state.ec_ms_cm)


def _in_order(by_tank: Mapping[str, object], states: list[State]) -> list[State]:
    """Return the states of tanks sorted by name."""
    found = dict(zip(by_tank, states, strict=True))
    return [found[name] for name in sorted(found)]


def _check(recipe: Recipe, ratio: float, volume_l: float, n_tanks: int) -> None:
    """Refuse sizes that make no sense."""
    if not ratio >= 1.0:
        raise OutOfRangeError("ratio", "1 or more, as in 1:100", ratio)
    if not volume_l > 0.0:
        raise OutOfRangeError("volume_l", "above 0 L", volume_l)
    if n_tanks not in {1, 2}:
        raise OutOfRangeError("n_tanks", "1 or 2", n_tanks)
    for name in recipe.g_per_m3:
        try:
            salt(name)
        except UnknownNameError:
            rule = "salts alone; a ready-made product goes into a tank of its own by its label"
            raise OutOfRangeError("recipe", rule, name) from None


def _stock(made_with: Solution, g_per_m3: Mapping[str, float], temp_c: float) -> Solution:
    """Return a stock for the engine; what the water holds is in it too."""
    amounts = dict(made_with.mmol_kg)
    for name, amount in engine_amounts(_charged_mg_l(g_per_m3)).items():
        amounts[name] = amounts.get(name, 0.0) + amount
    return replace(made_with, mmol_kg=amounts, temp_c=temp_c)


def _treated(water: Water, dose: AcidDose | None) -> Solution:
    """Return the water with its acid."""
    amounts = {name: n for name, n in water.elements_mmol_l.items() if name != "fe"}
    if dose is not None:
        for name, amount in engine_amounts(dose.adds_mg_l).items():
            amounts[name] = amounts.get(name, 0.0) + amount
    return Solution(amounts, carbon_mmol_kg=water.carbon_mmol_l)


def _feed(recipe: Recipe, water: Water, dose: AcidDose | None, share: float = 1.0) -> Solution:
    """Return a feed for the engine; `share` is how much of the salts comes through."""
    base = _treated(water, dose)
    amounts = dict(base.mmol_kg)
    for name, amount in engine_amounts(_charged_mg_l(recipe.g_per_m3)).items():
        amounts[name] = amounts.get(name, 0.0) + share * amount
    return Solution(amounts, carbon_mmol_kg=water.carbon_mmol_l)


def _fullness(tank: str, grams: Mapping[str, float], volume_l: float, temp_c: float) -> float:
    """Return how near a tank is to saturation; refuse one that is beyond."""
    full = 0.0
    for name, mass in grams.items():
        each = salt(name)
        most = solubility_g_kg(each, temp_c)
        if most is None:
            continue
        share = mass / volume_l / most if most > 0.0 else np.inf
        if share > SATURATION_MOST_FRAC:
            rule = (
                f"at most {SATURATION_MOST_FRAC * most:.0f} g/L, {SATURATION_MOST_FRAC:.0%} of what"
                f" water takes up at {temp_c:g} °C"
            )
            raise RefusedError(
                f"{each.label} in tank {tank}",
                rule,
                f"{mass / volume_l:.0f} g/L",
                "Take a smaller injector ratio, as 1:50, or a warmer place.",
            )
        full += share
    if full > 1.0:
        raise RefusedError(
            f"salts in tank {tank}",
            "together below saturation",
            f"{full:.2f} of it",
            "Take a smaller injector ratio, as 1:50, or a third tank.",
        )
    return float(full)


def _refuse_solids(tank: str, state: State, ratio: float) -> None:
    """Refuse a tank from which something falls out."""
    if not state.falls_out:
        return
    worst = state.falls_out[0]
    raise RefusedError(
        f"tank {tank} at 1:{ratio:g}",
        "such that all stays dissolved",
        f"{SOLID_LABELS[worst]} over-saturated, index {state.saturation[worst]:+.2f}",
        "Keep calcium apart from sulfate and phosphate (tanks A and B), treat hard water with acid"
        " first, or take a smaller injector ratio.",
    )


def _refuse_strong(feed: State, recipe: Recipe) -> None:
    """Refuse a feed that young plants do not survive."""
    most = recipe.target.ec_most_ms_cm
    limit = EC_REFUSED_MS_CM if most is None else min(most, EC_REFUSED_MS_CM)
    if feed.ec_ms_cm > limit:
        raise RefusedError(
            f"conductivity of {recipe.target.name}",
            f"at most {limit:g} mS/cm at this stage",
            f"{feed.ec_ms_cm:.2f} mS/cm",
            "Want less of each nutrient, or blend the water with rain.",
        )


def injector_from_meter(
    tanks: Tanks, recipe: Recipe, water: Water, meter_ms_cm: float, dose: AcidDose | None = None
) -> float:
    """Tell what an injector really gives, from the meter.

    Parameters
    ----------
    tanks : Tanks
        As they were made up.
    recipe : Recipe
        Their recipe.
    water : Water
        The water.
    meter_ms_cm : float
        Conductivity of the feed by the meter, at 25 °C [mS/cm].
    dose : AcidDose or None, default None
        Acid in the water.

    Returns
    -------
    ratio : float
        The injector's true 1:`ratio`, if the tank is as it should be; inf for no feed at all.

    Raises
    ------
    OutOfRangeError
        If the meter says less than the water alone, or more than ten times the feed.

    Notes
    -----
    Urea carries no current, so a meter cannot tell of it.
    """
    shares = np.linspace(0.0, 10.0, _N_RATIOS * 4)
    states = solve([_feed(recipe, water, dose, share) for share in shares.tolist()])
    readings = np.array([each.ec_ms_cm for each in states])
    if not readings[0] * 0.95 <= meter_ms_cm <= readings[-1]:
        rule = f"between {readings[0]:.2f} (the water alone) and {readings[-1]:.1f} mS/cm"
        raise OutOfRangeError("meter_ms_cm", rule, meter_ms_cm)
    share = float(np.interp(meter_ms_cm, readings, shares))
    return tanks.ratio / share if share > 0.0 else float("inf")


@dataclass(frozen=True, slots=True)
class Correction:
    """How to put a tank right that was made too strong or too weak.

    Attributes
    ----------
    add_water_l : float
        Water to add [L].
    add_grams : dict of str to float
        Salts to add [g].
    """

    add_water_l: float
    add_grams: dict[str, float]


def corrected(tank: Tank, strength_frac: float) -> Correction:
    """Put a tank right.

    Parameters
    ----------
    tank : Tank
        As it should be.
    strength_frac : float
        How strong it is against that, as 0.8 for too weak.

    Returns
    -------
    correction : Correction
        Water for one too strong, salts for one too weak.

    Raises
    ------
    OutOfRangeError
        If the strength is not between 0.1 and 10: make it anew.
    """
    if not 0.1 <= strength_frac <= 10.0:
        rule = "between 0.1 and 10; empty the tank and make it anew"
        raise OutOfRangeError("strength_frac", rule, strength_frac)
    if strength_frac >= 1.0:
        return Correction(tank.volume_l * (strength_frac - 1.0), {})
    lacking = 1.0 - strength_frac
    return Correction(0.0, {name: mass * lacking for name, mass in tank.grams.items()})
