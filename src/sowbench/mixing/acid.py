"""Acid against alkalinity: how much of which, what it adds, and when to say no.

Alkalinity, not the pH read at the tap, is the target that lasts: water that was acidified gives its
carbon dioxide off in the air, and its pH climbs again while the alkalinity stays.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from sowbench.domain.mixing import Acid, AcidKind
from sowbench.mixing.chemistry import AIR_CO2_LOG_ATM, Solution, State, solve
from sowbench.mixing.water import Water
from sowbench.science.errors import OutOfRangeError
from sowbench.science.solutions import ATOMIC_MASS_G_MOL, CACO3_MG_PER_MEQ

# Acid is never mixed to below this pH (our limit; design of the work, not advice).
PH_REFUSED: Final = 4.0
# Alkalinity that should stay: 40 to 65 mg/L CaCO3 (J. M. Dole, "Water quality and treatments").
RESIDUAL_GOOD_MG_L: Final = 40.0
# Phosphorus in feed of young plants above which a dose of phosphoric acid is too much of it
# (assumption: what a complete feed of 150 ppm N of 20-10-20 brings is 33 ppm P).
P_MOST_MG_L: Final = 35.0
_TOLERANCE_PH: Final = 1e-4
_N_STEPS: Final = 17

_MASS_G_MOL: Final[Mapping[AcidKind, float]] = {
    AcidKind.NITRIC: ATOMIC_MASS_G_MOL["H"] + ATOMIC_MASS_G_MOL["N"] + 3 * ATOMIC_MASS_G_MOL["O"],
    AcidKind.PHOSPHORIC: (
        3 * ATOMIC_MASS_G_MOL["H"] + ATOMIC_MASS_G_MOL["P"] + 4 * ATOMIC_MASS_G_MOL["O"]
    ),
    AcidKind.SULFURIC: (
        2 * ATOMIC_MASS_G_MOL["H"] + ATOMIC_MASS_G_MOL["S"] + 4 * ATOMIC_MASS_G_MOL["O"]
    ),
    AcidKind.CITRIC: (
        6 * ATOMIC_MASS_G_MOL["C"] + 8 * ATOMIC_MASS_G_MOL["H"] + 7 * ATOMIC_MASS_G_MOL["O"]
    ),
}
# Acid protons of a molecule by the definition of alkalinity, a titration to pH 4.5: phosphoric
# acid gives one there. Citric acid's follow from the engine.
_PROTONS: Final[Mapping[AcidKind, float]] = {
    AcidKind.NITRIC: 1.0,
    AcidKind.PHOSPHORIC: 1.0,
    AcidKind.SULFURIC: 2.0,
}
_ADDS: Final[Mapping[AcidKind, tuple[str, str]]] = {
    AcidKind.NITRIC: ("no3_n", "N"),
    AcidKind.PHOSPHORIC: ("p", "P"),
    AcidKind.SULFURIC: ("s", "S"),
}
# The strengths of which a plausible label speaks; a stronger one does not exist in trade.
_STRENGTH_MOST: Final[Mapping[AcidKind, float]] = {
    AcidKind.NITRIC: 0.70,
    AcidKind.PHOSPHORIC: 0.86,
    AcidKind.SULFURIC: 0.985,
    AcidKind.CITRIC: 1.0,
}


class RefusedError(OutOfRangeError):
    """Something that is dangerous or absurd, and is not mixed."""


@dataclass(frozen=True, slots=True)
class AcidDose:
    """How much acid, and what becomes of the water.

    Attributes
    ----------
    acid : Acid
        The acid.
    mmol_l : float
        Pure acid in the water [mmol/L].
    ml_per_m3 : float or None
        As it comes from the drum [mL/m3]; None for a solid.
    g_per_m3 : float
        Its mass as it comes [g/m3].
    neutralized_meq_l : float
        Alkalinity taken away [meq/L].
    adds_mg_l : dict of str to float
        Nutrient that comes with it [mg/L].
    before : State
        The water as it comes.
    after : State
        Treated, in a closed pipe.
    aired : State
        Treated, once it has stood open to the air.
    doubts : tuple of str
        What to mind.
    """

    acid: Acid
    mmol_l: float
    ml_per_m3: float | None
    g_per_m3: float
    neutralized_meq_l: float
    adds_mg_l: dict[str, float]
    before: State
    after: State
    aired: State
    doubts: tuple[str, ...] = ()

    @property
    def alkalinity_mg_l(self) -> float:
        """Alkalinity that is left, as calcium carbonate [mg/L]."""
        return self.after.alkalinity_meq_kg * CACO3_MG_PER_MEQ


def checked(acid: Acid) -> Acid:
    """Refuse an acid whose label cannot be so.

    Parameters
    ----------
    acid : Acid
        The acid.

    Returns
    -------
    acid : Acid
        The same.

    Raises
    ------
    OutOfRangeError
        If strength or density is missing, or cannot be.
    """
    most = _STRENGTH_MOST[acid.kind]
    if not 0.0 < acid.strength_frac <= most:
        rule = f"above 0 and at most {most:.0%}, as on the drum's label"
        raise OutOfRangeError(f"strength of {acid.kind} acid", rule, acid.strength_frac)
    if acid.kind is not AcidKind.CITRIC and not 1.0 <= (acid.density_g_ml or 0.0) <= 1.9:
        rule = "between 1.0 and 1.9 g/mL, as on the drum's label or safety sheet"
        raise OutOfRangeError(f"density of {acid.kind} acid", rule, acid.density_g_ml)
    return acid


def normality_eq_l(acid: Acid) -> float:
    """Return the equivalents in a liter of an acid, by a titration to pH 4.5.

    Parameters
    ----------
    acid : Acid
        A liquid mineral acid.

    Returns
    -------
    normality_eq_l : float
        Equivalents a liter [eq/L].

    Raises
    ------
    OutOfRangeError
        If its label cannot be so, or it is citric acid, whose equivalents depend on the water.
    """
    checked(acid)
    if acid.kind is AcidKind.CITRIC or acid.density_g_ml is None:
        raise OutOfRangeError("acid", "nitric, phosphoric or sulfuric", acid.kind.value)
    moles = 1000.0 * acid.density_g_ml * acid.strength_frac / _MASS_G_MOL[acid.kind]
    return moles * _PROTONS[acid.kind]


def acid_to_alkalinity(water: Water, acid: Acid, target_mg_l: float) -> AcidDose:
    """Bring water to an alkalinity.

    Parameters
    ----------
    water : Water
        The water.
    acid : Acid
        The acid.
    target_mg_l : float
        Alkalinity wanted, as calcium carbonate [mg/L].

    Returns
    -------
    dose : AcidDose
        How much, and what becomes of the water.

    Raises
    ------
    OutOfRangeError
        If the target is not below what the water has.
    RefusedError
        If the water would come below pH 4.
    """
    checked(acid)
    has_mg_l = water.state.alkalinity_meq_kg * CACO3_MG_PER_MEQ
    if not 0.0 <= target_mg_l <= has_mg_l:
        rule = f"between 0 and {has_mg_l:.0f} mg/L CaCO3, what {water.report.name} has"
        raise OutOfRangeError("alkalinity wanted", rule, target_mg_l)
    away = (has_mg_l - target_mg_l) / CACO3_MG_PER_MEQ
    citric = acid.kind is AcidKind.CITRIC
    mmol = _citric_for(water, away) if citric else away / _PROTONS[acid.kind]
    return _dose(water, acid, mmol)


def acid_to_ph(water: Water, acid: Acid, target_ph: float) -> AcidDose:
    """Bring water to a pH, in a closed pipe.

    Parameters
    ----------
    water : Water
        The water.
    acid : Acid
        The acid.
    target_ph : float
        pH wanted.

    Returns
    -------
    dose : AcidDose
        How much, and what becomes of the water; the pH climbs again in the air, which is said.

    Raises
    ------
    RefusedError
        If the pH is below 4.
    OutOfRangeError
        If it is above that of the water.
    """
    checked(acid)
    if target_ph < PH_REFUSED:
        raise RefusedError("pH wanted", f"{PH_REFUSED:g} or more", target_ph, _WHY_PH)
    if target_ph > water.state.ph:
        rule = f"at most {water.state.ph:.2f}, that of {water.report.name}"
        raise OutOfRangeError("pH wanted", rule, target_ph)
    most = 1.5 * max(water.state.alkalinity_meq_kg, 0.0) + 1.0
    if acid.kind is AcidKind.CITRIC:
        most *= 1.5
    mmol = _crossing(lambda doses: [s.ph for s in _treated(water, acid, doses)], target_ph, most)
    return _dose(water, acid, mmol)


def _crossing(values_of: Callable[[list[float]], list[float]], wanted: float, most: float) -> float:
    """Return where a falling function meets a value, closing in many points at a time."""
    low, high = 0.0, most
    for _ in range(8):
        at = np.linspace(low, high, _N_STEPS)
        values = values_of(at.tolist())
        below = next((k for k, value in enumerate(values) if value <= wanted), len(values) - 1)
        if below == 0:
            return float(at[0])
        low, high = float(at[below - 1]), float(at[below])
        if values[below - 1] - values[below] <= _TOLERANCE_PH:
            break
    return (low + high) / 2.0


def _solution(water: Water, acid: Acid, mmol: float, *, aired: bool = False) -> Solution:
    """Return treated water for the engine."""
    elements = dict(water.elements_mmol_l)
    name = "citrate" if acid.kind is AcidKind.CITRIC else _ADDS[acid.kind][0]
    elements[name] = elements.get(name, 0.0) + mmol
    temp_c = water.report.temp_c
    if aired:
        return Solution(elements, co2_log_atm=AIR_CO2_LOG_ATM, temp_c=temp_c)
    return Solution(elements, carbon_mmol_kg=water.carbon_mmol_l, temp_c=temp_c)


def _treated(water: Water, acid: Acid, doses: list[float]) -> tuple[State, ...]:
    """Return treated water in a closed pipe, at several doses."""
    return solve([_solution(water, acid, mmol) for mmol in doses])


def _citric_for(water: Water, away_meq_l: float) -> float:
    """Return citric acid that takes so much alkalinity away.

    The anion that is left takes up protons above pH 4.5, which is no alkalinity that lasts
    (microbes eat it); what counts is the bicarbonate that went.
    """
    start = water.state
    has = start.carbon_mmol_kg - start.co2_mmol_kg
    wanted = max(has - away_meq_l, 0.0)

    def left(doses: list[float]) -> list[float]:
        states = _treated(water, Acid(AcidKind.CITRIC, 1.0, None), doses)
        return [each.carbon_mmol_kg - each.co2_mmol_kg for each in states]

    return _crossing(left, wanted, away_meq_l + 0.5)


_WHY_PH: Final = (
    "Below that, roots and pipes are burned, and the reading tells little of what is left: treat"
    " to an alkalinity of 40 to 65 mg/L instead."
)


def _dose(water: Water, acid: Acid, mmol: float) -> AcidDose:
    """Put a dose together, unless it is to be refused."""
    after, aired = solve([_solution(water, acid, mmol), _solution(water, acid, mmol, aired=True)])
    if after.ph < PH_REFUSED - 1e-3:
        raise RefusedError("pH of the treated water", f"{PH_REFUSED:g} or more", round(after.ph, 2),
                           _WHY_PH)  # fmt: skip
    grams = mmol * _MASS_G_MOL[acid.kind] / acid.strength_frac  # mg/mmol x mmol/L = g/m3
    adds = {}
    if acid.kind in _ADDS:
        name, element = _ADDS[acid.kind]
        adds[name] = mmol * ATOMIC_MASS_G_MOL[element]
    away = water.state.alkalinity_meq_kg - after.alkalinity_meq_kg
    doubts = []
    if after.alkalinity_meq_kg * CACO3_MG_PER_MEQ < RESIDUAL_GOOD_MG_L:
        doubts.append(
            f"Less than {RESIDUAL_GOOD_MG_L:.0f} mg/L of alkalinity is left: a little too much acid"
            " then makes the pH fall steeply."
        )
    if adds.get("p", 0.0) > P_MOST_MG_L:
        doubts.append(
            f"It brings {adds['p']:.0f} mg/L of phosphorus, more than young plants are fed:"
            " take nitric or sulfuric acid, or remove less alkalinity."
        )
    if aired.ph - after.ph > 0.5:
        doubts.append(
            f"In the open its pH climbs from {after.ph:.1f} to {aired.ph:.1f} while the alkalinity"
            " stays: go by the alkalinity, not by the pH at the tap."
        )
    doubts.append("Titrate a liter of the real water before the acid is injected.")
    return AcidDose(
        acid,
        mmol,
        None if acid.density_g_ml is None else grams / acid.density_g_ml,
        grams,
        away,
        adds,
        water.state,
        after,
        aired,
        tuple(doubts),
    )
