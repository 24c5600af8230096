"""Water of the house: is the report right, and what does it mean for seedlings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from sowbench.domain.mixing import WaterReport
from sowbench.mixing.chemistry import Solution, State, solve
from sowbench.reference.solutes import WaterLimit, water_limits
from sowbench.science.errors import OutOfRangeError
from sowbench.science.solutions import (
    CACO3_MG_PER_MEQ,
    charge_balance_frac,
    from_mmol_l,
    ion_of,
    sodium_adsorption,
)

# An analysis whose charges are further apart than this is not to be mixed by (common practice:
# 5 % is good, 10 % is the most that laboratories let pass).
BALANCE_GOOD_FRAC: Final = 0.05
BALANCE_MOST_FRAC: Final = 0.10
# Below this the sum of ions is too small for a share to mean much [meq/L] (assumption).
_BALANCE_LEAST_MEQ_L: Final = 0.5
PH_LEAST, PH_MOST = 4.0, 10.0

# Several names of a report are one element to the chemistry.
_ELEMENT_OF: Final = {"no3": "no3_n", "so4": "s", "so4_s": "s"}
_ALKALINITY: Final = "hco3"


class UnbalancedReportError(OutOfRangeError):
    """A water report whose charges do not balance."""


@dataclass(frozen=True, slots=True)
class Water:
    """Water with its chemistry worked out.

    Attributes
    ----------
    report : WaterReport
        As it was found.
    elements_mmol_l : dict of str to float
        Every element by the engine's names, with `filled` made up [mmol/L].
    carbon_mmol_l : float
        Inorganic carbon [mmol/L].
    state : State
        As it comes out of the tap.
    balance_frac : float
        (cations - anions) / (cations + anions) of the report.
    filled : str
        What the missing charge was put down to, "na" or "cl"; blank for none.
    filled_meq_l : float
        How much of it [meq/L].
    """

    report: WaterReport
    elements_mmol_l: dict[str, float]
    carbon_mmol_l: float
    state: State
    balance_frac: float
    filled: str
    filled_meq_l: float

    def mg_l(self) -> dict[str, float]:
        """Return what it brings to a feed.

        Returns
        -------
        mg_l : dict of str to float
            Milligrams a liter of each element, nitrogen as nitrogen, sulfate as sulfur [mg/L].
        """
        named = {"s": "so4_s"}
        return {
            name: float(from_mmol_l(named.get(name, name), amount, "mg/L"))
            for name, amount in self.elements_mmol_l.items()
            if name != self.filled
        }


def elements_of(report: WaterReport) -> dict[str, float]:
    """Return the elements of a report as the chemistry counts them.

    Parameters
    ----------
    report : WaterReport
        The report.

    Returns
    -------
    elements_mmol_l : dict of str to float
        Without alkalinity [mmol/L].

    Raises
    ------
    OutOfRangeError
        If the same thing is given twice, as nitrate and as nitrogen.
    """
    found: dict[str, float] = {}
    for name, amount in report.mmol_l.items():
        if name == _ALKALINITY:
            continue
        element = _ELEMENT_OF.get(name, name)
        if element in found:
            rule = "given once, not in two ways"
            raise OutOfRangeError(f"{ion_of(name).label} of {report.name}", rule, amount)
        found[element] = amount
    return found


def _charges(report: WaterReport) -> tuple[float, float]:
    """Equivalents of cations and anions, alkalinity among these."""
    pairs = [(ion_of(name).charge, n) for name, n in report.mmol_l.items() if name != _ALKALINITY]
    plus = sum(charge * n for charge, n in pairs if charge > 0)
    minus = -sum(charge * n for charge, n in pairs if charge < 0)
    return plus, minus + report.alkalinity_meq_l


def understood(report: WaterReport) -> Water:
    """Work out the chemistry of a water report.

    Parameters
    ----------
    report : WaterReport
        The report.

    Returns
    -------
    water : Water
        Its chemistry; charges that are missing within the error of a laboratory are put down to
        sodium or chloride, which are said.

    Raises
    ------
    UnbalancedReportError
        If cations and anions are more than 10 % apart: something was not looked for, or a unit is
        wrong.
    OutOfRangeError
        If pH or an amount makes no sense.
    ChemistryError
        If the engine does not run.
    """
    if not PH_LEAST <= report.ph <= PH_MOST:
        rule = f"between {PH_LEAST:g} and {PH_MOST:g}"
        raise OutOfRangeError(f"pH of {report.name}", rule, report.ph)
    if not report.alkalinity_meq_l >= 0.0:
        raise OutOfRangeError(f"alkalinity of {report.name}", "0 or more", report.alkalinity_meq_l)
    for name, amount in report.mmol_l.items():
        if not amount >= 0.0:
            raise OutOfRangeError(f"{ion_of(name).label} of {report.name}", "0 or more", amount)
    elements = elements_of(report)
    plus, minus = _charges(report)
    balance = charge_balance_frac({"na": plus, "cl": minus})
    if plus + minus > _BALANCE_LEAST_MEQ_L and abs(balance) > BALANCE_MOST_FRAC:
        rich, poor = ("cations", "anions") if balance > 0.0 else ("anions", "cations")
        few = (
            "sulfate, chloride, nitrate, or the alkalinity"
            if balance > 0.0
            else "calcium, magnesium, sodium, or potassium"
        )
        raise UnbalancedReportError(
            f"charges of {report.name}",
            f"within {BALANCE_MOST_FRAC:.0%} of each other",
            f"{plus:.2f} meq/L of cations and {minus:.2f} of anions ({abs(balance):.0%} apart)",
            f"There are more {rich} than {poor}: is {few} missing, or in another unit?",
        )
    missing = plus - minus
    filled = "cl" if missing > 0.0 else "na"
    elements[filled] = elements.get(filled, 0.0) + abs(missing)
    (state,) = solve(
        [
            Solution(
                elements,
                alkalinity_meq_kg=report.alkalinity_meq_l,
                ph=report.ph,
                temp_c=report.temp_c,
            )
        ]
    )
    return Water(
        report,
        elements,
        state.carbon_mmol_kg,
        state,
        balance,
        filled if abs(missing) > 1e-9 else "",
        abs(missing),
    )


def blended(
    first: Water, second: Water, second_frac: float, name: str = "blend", *, open_air: bool = False
) -> Water:
    """Blend two waters, as a well with rain.

    Parameters
    ----------
    first, second : Water
        The waters.
    second_frac : float
        Share of the second by volume, 0 to 1.
    name : str, default "blend"
        What the blend is called.
    open_air : bool, default False
        Whether it stands open to the air until its carbon dioxide is that of the air.

    Returns
    -------
    water : Water
        The blend; elements and carbon are those of the parts, pH follows from them.

    Raises
    ------
    OutOfRangeError
        If the share is not from 0 to 1.
    """
    if not 0.0 <= second_frac <= 1.0:
        raise OutOfRangeError("second_frac", "between 0 and 1", second_frac)

    def mix(a: float, b: float) -> float:
        return a * (1.0 - second_frac) + b * second_frac

    names = list(dict.fromkeys([*first.elements_mmol_l, *second.elements_mmol_l]))
    elements = {
        each: mix(first.elements_mmol_l.get(each, 0.0), second.elements_mmol_l.get(each, 0.0))
        for each in names
    }
    carbon = mix(first.carbon_mmol_l, second.carbon_mmol_l)
    temp_c = mix(first.report.temp_c, second.report.temp_c)
    (state,) = solve(
        [
            Solution(elements, co2_log_atm=-3.4, temp_c=temp_c)
            if open_air
            else Solution(elements, carbon_mmol_kg=carbon, temp_c=temp_c)
        ]
    )
    back = {"s": "so4_s"}
    report = WaterReport(
        name,
        state.ph,
        max(state.alkalinity_meq_kg, 0.0),
        {back.get(each, each): amount for each, amount in elements.items()},
        state.ec_ms_cm,
        temp_c,
    )
    return Water(report, elements, state.carbon_mmol_kg, state, 0.0, "", 0.0)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a published limit says of a water.

    Attributes
    ----------
    limit : WaterLimit
        The limit.
    value : float
        What the water has, in the limit's unit.
    within : bool
        Whether it is within.
    """

    limit: WaterLimit
    value: float
    within: bool


_MEASURED: Final = {
    "sodium": "na", "chloride": "cl", "boron": "b", "iron": "fe", "manganese": "mn",
    "fluoride": "f", "calcium": "ca", "magnesium": "mg", "zinc": "zn", "copper": "cu",
}  # fmt: skip


def judged(water: Water, uses: Sequence[str] = ()) -> tuple[Verdict, ...]:
    """Hold a water against published limits.

    Parameters
    ----------
    water : Water
        The water.
    uses : sequence of str, default ()
        Only limits whose use holds one of these words; all by default.

    Returns
    -------
    verdicts : tuple of Verdict
        Of what was looked for; what is beyond first.
    """
    found = []
    for limit in water_limits():
        if "advice" in limit.use:  # a class of hardness, no limit
            continue
        if uses and not any(word in limit.use for word in uses):
            continue
        value = _value(water, limit)
        if value is None:
            continue
        low = limit.low is None or value >= limit.low
        high = limit.high is None or value <= limit.high
        found.append(Verdict(limit, value, low and high))
    return tuple(sorted(found, key=lambda each: each.within))


def _value(water: Water, limit: WaterLimit) -> float | None:
    """Return what a water has of what is limited; None if nobody looked for it."""
    report = water.report
    amounts = {
        _ELEMENT_OF.get(name, name): amount
        for name, amount in report.mmol_l.items()
        if name != water.filled or water.filled_meq_l == 0.0
    }
    match limit.parameter:
        case "pH":
            return report.ph
        case "EC":
            return report.ec_ms_cm if report.ec_ms_cm is not None else water.state.ec_ms_cm
        case "alkalinity":
            return report.alkalinity_meq_l * CACO3_MG_PER_MEQ
        case "bicarbonate":
            return float(from_mmol_l("hco3", report.alkalinity_meq_l, "mg/L"))
        case "sulfate":
            return float(from_mmol_l("so4", amounts["s"], "mg/L")) if "s" in amounts else None
        case "SAR":
            if not {"na", "ca", "mg"} <= amounts.keys():
                return None
            return float(sodium_adsorption(amounts["na"], amounts["ca"], amounts["mg"]))
        case other:
            name = _MEASURED.get(other)
            return None if name not in amounts else float(
                from_mmol_l(name, amounts[name], "mg/L")
            )  # fmt: skip
