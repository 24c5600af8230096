"""A water report in any units: whether it is right, what it means, and how much acid it wants."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from sowbench.domain.mixing import Acid, AcidKind, WaterReport
from sowbench.reference.cautions import caution_words
from sowbench.reference.solutes import acids
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.science.solutions import CACO3_MG_PER_MEQ, Unit, alkalinity_meq_l, to_mmol_l

if TYPE_CHECKING:
    from sowbench.mixing.acid import AcidDose
    from sowbench.mixing.water import Verdict, Water

_AMOUNT: Final = re.compile(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*(.*\S)?\s*")
# Other spellings of the units of reports.
_SPELLED: Final[Mapping[str, Unit]] = {
    "mg/l": Unit.MG_L,
    "meq/l": Unit.MEQ_L,
    "mmol/l": Unit.MMOL_L,
    "ppm": Unit.PPM,
    "mg/l caco3": Unit.MG_L_CACO3,
    "ppm caco3": Unit.MG_L_CACO3,
    "mg/l as caco3": Unit.MG_L_CACO3,
    "ppm as caco3": Unit.MG_L_CACO3,
    "dh": Unit.DEGREE_GERMAN,
    "°dh": Unit.DEGREE_GERMAN,
    "fh": Unit.DEGREE_FRENCH,
    "°fh": Unit.DEGREE_FRENCH,
}


@dataclass(frozen=True, slots=True)
class WaterAnswer:
    """What is to be said of a water.

    Attributes
    ----------
    water : Water
        The water with its chemistry.
    alkalinity_mg_l : float
        Alkalinity as calcium carbonate [mg/L].
    verdicts : tuple of Verdict
        Published limits, those that are passed first.
    dose : AcidDose or None
        Acid that was asked for.
    cautions : tuple of str
        What to mind.
    """

    water: Water
    alkalinity_mg_l: float
    verdicts: tuple[Verdict, ...]
    dose: AcidDose | None = None
    cautions: tuple[str, ...] = ()


def amount_and_unit(what: str, text: str) -> tuple[float, Unit]:
    """Read an amount with its unit.

    Parameters
    ----------
    what : str
        What it is of, for the message.
    text : str
        As "80 mg/L" or "12,5 °dH".

    Returns
    -------
    amount : float
        The number, in `unit`.
    unit : Unit
        Its unit.

    Raises
    ------
    OutOfRangeError
        If there is no number or no unit.
    UnknownNameError
        If the unit is not known.
    """
    found = _AMOUNT.fullmatch(text)
    if found is None or found[2] is None:
        rule = "a number with its unit, as 80 mg/L"
        raise OutOfRangeError(what, rule, text, "A number alone may mean five things.")
    unit = _SPELLED.get(" ".join(found[2].lower().split()))
    if unit is None:
        raise UnknownNameError.among(found[2], "unit", [each.value for each in Unit])
    return float(found[1].replace(",", ".")), unit


def report_of(
    name: str,
    ph: float,
    alkalinity: str,
    found: Sequence[str],
    *,
    ec_ms_cm: float | None = None,
    temp_c: float = 25.0,
) -> WaterReport:
    """Read a water report as it is written.

    Parameters
    ----------
    name : str
        What the house calls the water.
    ph : float
        Its pH.
    alkalinity : str
        Alkalinity with its unit.
    found : sequence of str
        What else was found, as "ca=80 mg/L".
    ec_ms_cm : float or None, default None
        Conductivity [mS/cm].
    temp_c : float, default 25.0
        Temperature [°C].

    Returns
    -------
    report : WaterReport
        In the units of the chemistry.

    Raises
    ------
    OutOfRangeError
        If something is not written as an amount with its unit, or is given twice.
    UnknownNameError
        If a substance or unit is not known.
    """
    amounts: dict[str, float] = {}
    for each in found:
        what, equals, text = each.partition("=")
        what = what.strip().lower()
        if not equals:
            raise OutOfRangeError("what was found", "NAME=AMOUNT UNIT, as ca=80 mg/L", each)
        if what in amounts:
            raise OutOfRangeError(what, "given once", text.strip())
        amount, unit = amount_and_unit(what, text)
        amounts[what] = float(to_mmol_l(what, amount, unit))
    amount, unit = amount_and_unit("alkalinity", alkalinity)
    return WaterReport(name, ph, float(alkalinity_meq_l(amount, unit)), amounts, ec_ms_cm, temp_c)


def acid_of(
    kind: str, strength_percent: float | None = None, density_g_ml: float | None = None
) -> Acid:
    """Return an acid as its drum says.

    Parameters
    ----------
    kind : str
        nitric, phosphoric, sulfuric or citric.
    strength_percent : float or None, default None
        Strength by mass from the label [%]; citric acid is taken as pure without.
    density_g_ml : float or None, default None
        Density from the label [g/mL]; of usual strengths it is known.

    Returns
    -------
    acid : Acid
        The acid.

    Raises
    ------
    UnknownNameError
        If there is no such acid.
    OutOfRangeError
        If its strength, or the density of an unusual strength, is not said.
    """
    if kind not in set(AcidKind):
        raise UnknownNameError.among(kind, "acid", [each.value for each in AcidKind])
    if strength_percent is None:
        if kind == AcidKind.CITRIC:
            return Acid(AcidKind.CITRIC, 1.0, None)
        rule = "given, as the drum's label says: a dose for one is up to four times off for another"
        raise OutOfRangeError(f"strength of {kind} acid", rule, "nothing")
    usual = [
        each
        for each in acids()
        if each.kind == kind and abs(100.0 * each.strength_frac - strength_percent) < 1e-9
    ]
    if density_g_ml is None and usual:
        return usual[0]
    if density_g_ml is None and kind != AcidKind.CITRIC:
        rule = "given for a strength other than " + ", ".join(
            f"{100 * each.strength_frac:g} %" for each in acids() if each.kind == kind
        )
        raise OutOfRangeError(f"density of {kind} acid", rule, f"{strength_percent:g} % alone")
    return Acid(AcidKind(kind), strength_percent / 100.0, density_g_ml, "the drum's label")


def water_answer(
    report: WaterReport,
    acid: Acid | None = None,
    *,
    to_alkalinity_mg_l: float | None = None,
    to_ph: float | None = None,
) -> WaterAnswer:
    """Judge a water, and reckon the acid that it wants.

    Parameters
    ----------
    report : WaterReport
        The report.
    acid : Acid or None, default None
        The acid at hand.
    to_alkalinity_mg_l : float or None, default None
        Alkalinity wanted, as calcium carbonate [mg/L].
    to_ph : float or None, default None
        pH wanted, in a closed pipe.

    Returns
    -------
    answer : WaterAnswer
        Verdicts, dose and cautions.

    Raises
    ------
    OutOfRangeError
        If the report does not balance, or a target makes no sense or is refused.
    ChemistryError
        If the chemistry engine does not run on this machine.
    """
    from sowbench.mixing.acid import acid_to_alkalinity, acid_to_ph
    from sowbench.mixing.water import judged, understood

    water = understood(report)
    dose = None
    if acid is not None:
        if (to_alkalinity_mg_l is None) == (to_ph is None):
            rule = "one of an alkalinity and a pH"
            raise OutOfRangeError("what the acid is to reach", rule, (to_alkalinity_mg_l, to_ph))
        if to_ph is not None:
            dose = acid_to_ph(water, acid, to_ph)
        else:
            dose = acid_to_alkalinity(water, acid, to_alkalinity_mg_l or 0.0)
    return WaterAnswer(
        water,
        water.state.alkalinity_meq_kg * CACO3_MG_PER_MEQ,
        judged(water),
        dose,
        () if dose is None else (caution_words("acid"),),
    )
