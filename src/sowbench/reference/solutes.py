"""Salts, acids, limits of water, feeds by stage and retention curves, each with its source."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np

from sowbench.domain.mixing import NUTRIENTS, Acid, AcidKind, Salt
from sowbench.reference.tables import number, read_table
from sowbench.science.errors import UnknownNameError
from sowbench.science.retention import Retention

__all__ = [
    "MediumCurve",
    "StageFeed",
    "WaterLimit",
    "acids",
    "medium_curves",
    "salt",
    "salts",
    "solubility_g_kg",
    "stage_feeds",
    "water_limits",
]

# A salt takes at most this share of what water takes up of it (common practice).
SATURATION_MOST_FRAC: Final = 0.80


@dataclass(frozen=True, slots=True)
class WaterLimit:
    """What water may hold, for a use.

    Attributes
    ----------
    parameter, use : str
        What is limited, and for what.
    low, high : float or None
        Limits; None is none.
    unit : str
        Their unit.
    meaning : str
        What is beyond.
    source, basis, note : str
        Where it stands.
    """

    parameter: str
    use: str
    low: float | None
    high: float | None
    unit: str
    meaning: str
    source: str
    basis: str
    note: str


@dataclass(frozen=True, slots=True)
class StageFeed:
    """What a crop is fed at a stage.

    Attributes
    ----------
    crop, stage, medium : str
        For what it is printed.
    n_mg_l, ec_ms_cm, ph : tuple of float or None
        Ranges; None where the source gives none.
    frequency, note : str
        How often, and what else is said.
    source, basis : str
        Where it stands.
    """

    crop: str
    stage: str
    medium: str
    n_mg_l: tuple[float, float] | None
    ec_ms_cm: tuple[float, float] | None
    ph: tuple[float, float] | None
    frequency: str
    note: str
    source: str
    basis: str


@dataclass(frozen=True, slots=True)
class MediumCurve:
    """The retention curve of a medium.

    Attributes
    ----------
    medium, label : str
        Its name, and what it is.
    curve : Retention
        The curve.
    source, basis, note : str
        Where it stands.
    """

    medium: str
    label: str
    curve: Retention
    source: str
    basis: str
    note: str


@cache
def salts() -> dict[str, Salt]:
    """Return all salts.

    Returns
    -------
    salts : dict of str to Salt
        By our name.
    """
    found = {}
    for row in read_table("salts.csv"):
        content = {each: number(row[f"{each}_frac"]) for each in NUTRIENTS}
        found[row["salt"]] = Salt(
            row["salt"],
            row["label"],
            row["formula"],
            {each: share for each, share in content.items() if share},
            row["tank"],
            row["role"],
            number(row["solubility_g_kg"]),
            number(row["solubility_at_c"]),
            row["solubility_source"],
            apart_from=row["apart_from"],
        )
    return found


def salt(name: str) -> Salt:
    """Return a salt.

    Parameters
    ----------
    name : str
        Our name of it.

    Returns
    -------
    salt : Salt
        The salt.

    Raises
    ------
    UnknownNameError
        If there is none of that name.
    """
    try:
        return salts()[name]
    except KeyError:
        raise UnknownNameError.among(name, "salt", list(salts())) from None


@cache
def _solubility() -> dict[str, tuple[tuple[float, float], ...]]:
    """Return points of temperature and solubility by salt."""
    found: dict[str, list[tuple[float, float]]] = {}
    for row in read_table("solubility.csv"):
        point = float(row["temp_c"]), float(row["solubility_g_kg"])
        found.setdefault(row["salt"], []).append(point)
    return {name: tuple(sorted(points)) for name, points in found.items()}


def solubility_g_kg(each: Salt, temp_c: float) -> float | None:
    """Return how much of a salt water takes up at a temperature.

    Parameters
    ----------
    each : Salt
        The salt.
    temp_c : float
        Temperature of the tank at its coldest [°C].

    Returns
    -------
    solubility_g_kg : float or None
        Grams in a kilogram of water; between points straight, below the coldest point falling on
        as between the two coldest. Of a salt with one figure alone, that figure, and at a colder
        tank 2 % less for each degree (assumption). None where nothing is known.
    """
    points = _solubility().get(each.name)
    if points is not None and len(points) > 1:
        temps, values = (np.array(column) for column in zip(*points, strict=True))
        if temp_c < temps[0]:
            slope = (values[1] - values[0]) / (temps[1] - temps[0])
            return float(max(values[0] - slope * (temps[0] - temp_c), 0.0))
        return float(np.interp(temp_c, temps, values))
    if each.solubility_g_kg is None:
        return None
    colder_c = max((each.solubility_at_c or 20.0) - temp_c, 0.0)
    return float(each.solubility_g_kg * max(1.0 - 0.02 * colder_c, 0.0))


@cache
def acids() -> tuple[Acid, ...]:
    """Return acids at their usual strengths.

    Returns
    -------
    acids : tuple of Acid
        As drums are labeled; citric acid is a solid.
    """
    return tuple(
        Acid(
            AcidKind(row["acid"]),
            float(row["strength_frac"]),
            number(row["density_g_ml"]),
            row["note"],
        )
        for row in read_table("acids.csv")
        if row["acid"] in set(AcidKind)
    )


@cache
def water_limits() -> tuple[WaterLimit, ...]:
    """Return published limits of water.

    Returns
    -------
    limits : tuple of WaterLimit
        In the order of the table.
    """
    return tuple(
        WaterLimit(
            row["parameter"],
            row["use"],
            number(row["low"]),
            number(row["high"]),
            row["unit"],
            row["meaning"],
            row["source"],
            row["basis"],
            row["note"],
        )
        for row in read_table("water_limits.csv")
    )


def _range(low: str, high: str) -> tuple[float, float] | None:
    """Return a range, if it is given."""
    first, last = number(low), number(high)
    if first is None and last is None:
        return None
    return (
        last if first is None else first,  # type: ignore[return-value]
        first if last is None else last,
    )


@cache
def stage_feeds() -> tuple[StageFeed, ...]:
    """Return feeds by crop and stage.

    Returns
    -------
    feeds : tuple of StageFeed
        In the order of the table.
    """
    return tuple(
        StageFeed(
            row["crop"],
            row["stage"],
            row["medium"],
            _range(row["n_low_mg_l"], row["n_high_mg_l"]),
            _range(row["ec_low_ms_cm"], row["ec_high_ms_cm"]),
            _range(row["ph_low"], row["ph_high"]),
            row["frequency"],
            row["note"],
            row["source"],
            row["basis"],
        )
        for row in read_table("feed_targets.csv")
    )


@cache
def medium_curves() -> dict[str, MediumCurve]:
    """Return retention curves of media.

    Returns
    -------
    curves : dict of str to MediumCurve
        By medium.
    """
    return {
        row["medium"]: MediumCurve(
            row["medium"],
            row["label"],
            Retention(
                float(row["saturated_frac"]),
                float(row["residual_frac"]),
                float(row["alpha_per_cm"]),
                float(row["shape"]),
            ),
            row["source"],
            row["basis"],
            row["note"],
        )
        for row in read_table("retention_curves.csv")
    }
