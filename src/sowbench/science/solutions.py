"""Amounts of what is dissolved in water, in the units of water reports, labels and tank sheets.

Inside, an ion is counted in millimoles a liter. Everything that a report or a label may say instead
(milligrams, milliequivalents, parts per million as calcium carbonate, degrees of hardness) is
turned into that at the door and back. In dilute water one part per million is taken as 1 mg/L.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sowbench.science.errors import OutOfRangeError, UnknownNameError

Floats = NDArray[np.float64]

# Standard atomic weights, abridged (IUPAC Commission on Isotopic Abundances and Atomic Weights,
# "Standard atomic weights of the elements 2021", Pure and Applied Chemistry 94(5), 2022, 573-600).
ATOMIC_MASS_G_MOL: Final[Mapping[str, float]] = MappingProxyType(
    {
        "H": 1.008, "B": 10.81, "C": 12.011, "N": 14.007, "O": 15.999, "F": 18.998, "Na": 22.990,
        "Mg": 24.305, "Si": 28.085, "P": 30.974, "S": 32.06, "Cl": 35.45, "K": 39.098,
        "Ca": 40.078, "Mn": 54.938, "Fe": 55.845, "Cu": 63.546, "Zn": 65.38, "Mo": 95.95,
    }
)  # fmt: skip
_A: Final = ATOMIC_MASS_G_MOL

CACO3_G_MOL: Final = _A["Ca"] + _A["C"] + 3 * _A["O"]
"""Molar mass of calcium carbonate [g/mol]."""

CACO3_MG_PER_MEQ: Final = CACO3_G_MOL / 2
"""Calcium carbonate that an equivalent of alkalinity or hardness stands for [mg/meq]."""

# One German degree is 10 mg CaO a liter, one French degree 10 mg CaCO3 a liter (definitions).
DH_MG_L_CACO3: Final = 10.0 * CACO3_G_MOL / (_A["Ca"] + _A["O"])
FH_MG_L_CACO3: Final = 10.0

# Exact by definition: avoirdupois ounce and United States liquid gallon (NIST Handbook 44, app. C).
G_PER_OZ: Final = 28.349523125
L_PER_US_GAL: Final = 3.785411784

P_PER_P2O5: Final = 2 * _A["P"] / (2 * _A["P"] + 5 * _A["O"])
K_PER_K2O: Final = 2 * _A["K"] / (2 * _A["K"] + _A["O"])
"""Element in what a label calls phosphate and potash; labels print the oxides."""


class Unit(StrEnum):
    """Units in which a dissolved amount may be given."""

    MMOL_L = "mmol/L"
    MEQ_L = "meq/L"
    MG_L = "mg/L"
    PPM = "ppm"
    MG_L_CACO3 = "mg/L CaCO3"
    DEGREE_GERMAN = "°dH"
    DEGREE_FRENCH = "°fH"


@dataclass(frozen=True, slots=True)
class Ion:
    """Something dissolved that a report tells of.

    Parameters
    ----------
    name : str
        Our name of it.
    label : str
        In words.
    mass_g_mol : float
        Molar mass of what the milligrams are of [g/mol].
    charge : int
        Charges of one ion at usual pH; 0 for what carries none.
    hardness : bool
        Whether degrees of hardness, and parts as calcium carbonate, tell of it.
    """

    name: str
    label: str
    mass_g_mol: float
    charge: int
    hardness: bool = False


def _ions() -> dict[str, Ion]:
    """Make the table of what a water report tells of."""
    a = _A
    rows = (
        Ion("ca", "calcium", a["Ca"], 2, hardness=True),
        Ion("mg", "magnesium", a["Mg"], 2, hardness=True),
        Ion("na", "sodium", a["Na"], 1),
        Ion("k", "potassium", a["K"], 1),
        Ion("nh4_n", "ammonium, as nitrogen", a["N"], 1),
        Ion("no3_n", "nitrate, as nitrogen", a["N"], -1),
        Ion("no3", "nitrate, as nitrate", a["N"] + 3 * a["O"], -1),
        Ion("cl", "chloride", a["Cl"], -1),
        Ion("so4", "sulfate, as sulfate", a["S"] + 4 * a["O"], -2),
        Ion("so4_s", "sulfate, as sulfur", a["S"], -2),
        Ion("hco3", "bicarbonate", a["H"] + a["C"] + 3 * a["O"], -1, hardness=True),
        # Mostly H2PO4- at the pH of feed and treated water.
        Ion("p", "phosphate, as phosphorus", a["P"], -1),
        Ion("f", "fluoride", a["F"], -1),
        Ion("b", "boron", a["B"], 0),
        Ion("fe", "iron", a["Fe"], 2),
        Ion("mn", "manganese", a["Mn"], 2),
        Ion("zn", "zinc", a["Zn"], 2),
        Ion("cu", "copper", a["Cu"], 2),
        Ion("mo", "molybdenum", a["Mo"], 0),
        Ion("si", "silicon", a["Si"], 0),
    )
    return {each.name: each for each in rows}


IONS: Final[Mapping[str, Ion]] = MappingProxyType(_ions())
"""What a water report may tell of, by our name."""


def ion_of(name: str) -> Ion:
    """Return what is known of something dissolved.

    Parameters
    ----------
    name : str
        Our name, as "ca" or "no3_n".

    Returns
    -------
    ion : Ion
        Its mass and charge.

    Raises
    ------
    UnknownNameError
        If there is none of that name.

    Examples
    --------
    >>> ion_of("no3_n").label
    'nitrate, as nitrogen'
    """
    try:
        return IONS[name]
    except KeyError:
        raise UnknownNameError.among(name, "dissolved substance", list(IONS)) from None


def _mmol_per_unit(ion: Ion, unit: Unit) -> float:
    """Millimoles a liter that one of a unit stands for."""
    if unit is Unit.MMOL_L:
        return 1.0
    if unit in {Unit.MG_L, Unit.PPM}:
        return 1.0 / ion.mass_g_mol
    if ion.charge == 0:
        rule = "mmol/L, mg/L or ppm: it carries no charge"
        raise OutOfRangeError(f"unit of {ion.label}", rule, unit.value)
    if unit is Unit.MEQ_L:
        return 1.0 / abs(ion.charge)
    if not ion.hardness:
        rule = "mmol/L, meq/L, mg/L or ppm: it is no part of hardness or alkalinity"
        raise OutOfRangeError(f"unit of {ion.label}", rule, unit.value)
    mg_caco3 = {
        Unit.MG_L_CACO3: 1.0,
        Unit.DEGREE_GERMAN: DH_MG_L_CACO3,
        Unit.DEGREE_FRENCH: FH_MG_L_CACO3,
    }[unit]
    return mg_caco3 / CACO3_MG_PER_MEQ / abs(ion.charge)


def units_of(name: str) -> tuple[Unit, ...]:
    """Return the units in which something dissolved can be given.

    Parameters
    ----------
    name : str
        Our name of it.

    Returns
    -------
    units : tuple of Unit
        In the order in which they are offered.

    Raises
    ------
    UnknownNameError
        If there is none of that name.

    Examples
    --------
    >>> [each.value for each in units_of("b")]
    ['mg/L', 'ppm', 'mmol/L']
    """
    ion = ion_of(name)
    found = [Unit.MG_L, Unit.PPM, Unit.MMOL_L]
    if ion.charge:
        found.append(Unit.MEQ_L)
    if ion.hardness:
        found += [Unit.MG_L_CACO3, Unit.DEGREE_GERMAN, Unit.DEGREE_FRENCH]
    return tuple(found)


def to_mmol_l(name: str, amount: ArrayLike, unit: Unit | str) -> Floats:
    """Turn an amount of a report into millimoles a liter.

    Parameters
    ----------
    name : str
        What it is of.
    amount : array_like, shape (...)
        The amount, in `unit`.
    unit : Unit or str
        Its unit.

    Returns
    -------
    amount_mmol_l : ndarray, shape (...)
        The same amount [mmol/L].

    Raises
    ------
    OutOfRangeError
        If an amount is below 0 or the unit does not tell of it; NaN passes through.
    UnknownNameError
        If the substance or the unit is not known.

    Examples
    --------
    >>> float(round(to_mmol_l("ca", 100.0, "mg/L CaCO3"), 4))
    0.9991
    """
    values = np.asarray(amount, dtype=np.float64)
    if np.any(values < 0.0):
        raise OutOfRangeError(ion_of(name).label, "0 or more", float(np.nanmin(values)))
    return values * _mmol_per_unit(ion_of(name), _unit(unit))


def from_mmol_l(name: str, amount_mmol_l: ArrayLike, unit: Unit | str) -> Floats:
    """Turn millimoles a liter into the unit of a report.

    Parameters
    ----------
    name : str
        What it is of.
    amount_mmol_l : array_like, shape (...)
        The amount [mmol/L].
    unit : Unit or str
        The unit wanted.

    Returns
    -------
    amount : ndarray, shape (...)
        The same amount, in `unit`.

    Raises
    ------
    OutOfRangeError
        If the unit does not tell of it.
    UnknownNameError
        If the substance or the unit is not known.

    Examples
    --------
    >>> float(round(from_mmol_l("ca", 2.0, "mg/L"), 1))
    80.2
    """
    values = np.asarray(amount_mmol_l, dtype=np.float64)
    return values / _mmol_per_unit(ion_of(name), _unit(unit))


def _unit(unit: Unit | str) -> Unit:
    """Return a unit by its name."""
    try:
        return Unit(unit)
    except ValueError:
        raise UnknownNameError.among(str(unit), "unit", [each.value for each in Unit]) from None


def alkalinity_meq_l(amount: ArrayLike, unit: Unit | str) -> Floats:
    """Turn an alkalinity of a report into milliequivalents a liter.

    Parameters
    ----------
    amount : array_like, shape (...)
        Alkalinity, in `unit`; milligrams and millimoles are taken as bicarbonate.
    unit : Unit or str
        Its unit.

    Returns
    -------
    alkalinity_meq_l : ndarray, shape (...)
        Alkalinity [meq/L].

    Raises
    ------
    OutOfRangeError
        If it is below 0.
    UnknownNameError
        If the unit is not known.

    Examples
    --------
    >>> float(round(alkalinity_meq_l(250.0, "mg/L CaCO3"), 3))
    4.996
    """
    return to_mmol_l("hco3", amount, unit)


def charge_balance_frac(mmol_l: Mapping[str, float]) -> float:
    """Tell how far a water report is from carrying no charge.

    Parameters
    ----------
    mmol_l : mapping of str to float
        What was found, by our names [mmol/L].

    Returns
    -------
    balance_frac : float
        (cations - anions) / (cations + anions), in equivalents; 0 for pure water.

    Raises
    ------
    UnknownNameError
        If something is not known.

    References
    ----------
    .. [1] American Public Health Association, "Standard Methods for the Examination of Water and
       Wastewater", method 1030 E, checking correctness of analyses (from memory).

    Examples
    --------
    >>> round(charge_balance_frac({"ca": 1.0, "hco3": 1.5}), 3)
    0.143
    """
    plus = sum(ion_of(name).charge * n for name, n in mmol_l.items() if ion_of(name).charge > 0)
    minus = -sum(ion_of(name).charge * n for name, n in mmol_l.items() if ion_of(name).charge < 0)
    return (plus - minus) / (plus + minus) if plus + minus > 0.0 else 0.0


def sodium_adsorption(na_mmol_l: ArrayLike, ca_mmol_l: ArrayLike, mg_mmol_l: ArrayLike) -> Floats:
    """Sodium adsorption ratio of water.

    Parameters
    ----------
    na_mmol_l, ca_mmol_l, mg_mmol_l : array_like, shape (...)
        Sodium, calcium and magnesium [mmol/L].

    Returns
    -------
    sar : ndarray, shape (...)
        Ratio, in root of millimoles a liter; inf where there is sodium alone.

    References
    ----------
    .. [1] L. A. Richards (ed.), "Diagnosis and improvement of saline and alkali soils", USDA
       Agriculture Handbook 60, 1954: Na / sqrt((Ca + Mg) / 2) in meq/L, which in mmol/L is
       Na / sqrt(Ca + Mg).

    Examples
    --------
    >>> float(sodium_adsorption(10.0, 2.0, 2.0))
    5.0
    """
    na = np.asarray(na_mmol_l, dtype=np.float64)
    hard = np.sqrt(np.asarray(ca_mmol_l, dtype=np.float64) + np.asarray(mg_mmol_l))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(na > 0.0, na / hard, 0.0)


def material_mg_l(element_mg_l: ArrayLike, content_frac: ArrayLike) -> Floats:
    """Fertilizer that brings so much of an element.

    Parameters
    ----------
    element_mg_l : array_like, shape (...)
        Element wanted [mg/L].
    content_frac : array_like, shape (...)
        Share of the element in the material, above 0 and at most 1.

    Returns
    -------
    material_mg_l : ndarray, shape (...)
        Material to dissolve [mg/L].

    Raises
    ------
    OutOfRangeError
        If a share is not above 0 and at most 1, or an amount is below 0.

    Examples
    --------
    200 ppm of nitrogen from a product of 20 % is a gram a liter.

    >>> float(material_mg_l(200.0, 0.20))
    1000.0
    """
    wanted = np.asarray(element_mg_l, dtype=np.float64)
    share = np.asarray(content_frac, dtype=np.float64)
    if np.any(share <= 0.0) or np.any(share > 1.0):
        raise OutOfRangeError("content_frac", "above 0 and at most 1", content_frac)
    if np.any(wanted < 0.0):
        raise OutOfRangeError("element_mg_l", "0 or more", element_mg_l)
    return wanted / share


def mg_l_to_oz_per_100_gal(amount_mg_l: ArrayLike) -> Floats:
    """Turn milligrams a liter into ounces in a hundred United States gallons.

    Parameters
    ----------
    amount_mg_l : array_like, shape (...)
        Amount [mg/L].

    Returns
    -------
    amount_oz : ndarray, shape (...)
        Ounces for 100 gallons; the trade's "rule of 75" takes 75 mg/L for one, 0.14 % too much.

    Examples
    --------
    >>> float(round(mg_l_to_oz_per_100_gal(1000.0), 3))
    13.353
    """
    return np.asarray(amount_mg_l, dtype=np.float64) / 1000.0 * 100.0 * L_PER_US_GAL / G_PER_OZ


def stock_g_l(final_mg_l: ArrayLike, ratio: float) -> Floats:
    """Concentration of a stock that an injector thins out.

    Parameters
    ----------
    final_mg_l : array_like, shape (...)
        Wanted in the feed [mg/L].
    ratio : float
        The injector's 1:`ratio`, read as one part in `ratio` parts of feed.

    Returns
    -------
    stock_g_l : ndarray, shape (...)
        In the stock tank [g/L].

    Raises
    ------
    OutOfRangeError
        If the ratio is below 1.

    Notes
    -----
    Where a maker means one part of stock to `ratio` parts of water, the feed is 1/(ratio + 1) of
    the stock; at 1:100 that is 1 % less.

    Examples
    --------
    >>> float(stock_g_l(1000.0, 100.0))
    100.0
    """
    if not ratio >= 1.0:
        raise OutOfRangeError("ratio", "1 or more, as in 1:100", ratio)
    return np.asarray(final_mg_l, dtype=np.float64) * ratio / 1000.0
