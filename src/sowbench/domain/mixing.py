"""Records of what is mixed: water, acids, salts, products by their label, and what is wanted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Final

NUTRIENTS: Final = (
    "no3_n", "nh4_n", "urea_n", "p", "k", "ca", "mg", "s",
    "na", "cl", "fe", "mn", "zn", "cu", "b", "mo",
)  # fmt: skip
"""What a salt, a product, an acid or water brings, by our names; each counted in mg/L."""


@dataclass(frozen=True, slots=True)
class WaterReport:
    """Water as a laboratory or the house's own kit found it.

    Attributes
    ----------
    name : str
        What the house calls it.
    ph : float
        pH as it comes.
    alkalinity_meq_l : float
        Alkalinity [meq/L].
    mmol_l : mapping of str to float
        What was found, by the names of `science.solutions.IONS` [mmol/L]; what was not looked
        for is absent.
    ec_ms_cm : float or None
        Conductivity at 25 °C [mS/cm].
    temp_c : float
        Temperature of the water [°C].
    sampled_date : date or None
        Day on which it was taken.
    """

    name: str
    ph: float
    alkalinity_meq_l: float
    mmol_l: Mapping[str, float] = field(default_factory=dict)
    ec_ms_cm: float | None = None
    temp_c: float = 25.0
    sampled_date: date | None = None


class AcidKind(StrEnum):
    """Acids that growers use."""

    NITRIC = "nitric"
    PHOSPHORIC = "phosphoric"
    SULFURIC = "sulfuric"
    CITRIC = "citric"


@dataclass(frozen=True, slots=True)
class Acid:
    """An acid as its drum says.

    Attributes
    ----------
    kind : AcidKind
        Which acid.
    strength_frac : float
        Share of pure acid by mass, from the label.
    density_g_ml : float or None
        Density from the label [g/mL]; None for a solid.
    source : str
        Where strength and density stand.
    """

    kind: AcidKind
    strength_frac: float
    density_g_ml: float | None
    source: str = ""


@dataclass(frozen=True, slots=True)
class Salt:
    """A fertilizer salt.

    Attributes
    ----------
    name, label, formula : str
        Our name, the trade's, and the formula of what is in the bag.
    content_frac : mapping of str to float
        Share by mass of each of `NUTRIENTS`.
    tank : str
        "A", "B", or both as "A or B"; with calcium in A, sulfate and phosphate in B.
    role : str
        "macro", "micro" or another.
    solubility_g_kg : float or None
        Grams that a kilogram of water takes up at `solubility_at_c`.
    solubility_at_c : float or None
        Temperature of that figure [°C].
    source : str
        Where the solubility stands.
    price_per_kg : float or None
        Price of a kilogram, in the house's money.
    apart_from : str
        What it may not meet in concentrate.
    """

    name: str
    label: str
    formula: str
    content_frac: Mapping[str, float]
    tank: str = "A or B"
    role: str = "macro"
    solubility_g_kg: float | None = None
    solubility_at_c: float | None = None
    source: str = ""
    price_per_kg: float | None = None
    apart_from: str = ""


@dataclass(frozen=True, slots=True)
class FeedTarget:
    """What a feed should hold at the plants, water included.

    Attributes
    ----------
    name : str
        What it is for.
    mg_l : mapping of str to tuple of float
        Lowest and highest amount of each nutrient [mg/L]; "n" is all nitrogen together.
    nh4_most_frac : float
        Most of the nitrogen that may be ammonium and urea.
    ec_most_ms_cm : float or None
        Highest conductivity that the stage bears [mS/cm].
    source : str
        Where it stands.
    """

    name: str
    mg_l: Mapping[str, tuple[float, float]]
    nh4_most_frac: float = 0.4
    ec_most_ms_cm: float | None = None
    source: str = ""
