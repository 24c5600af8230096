"""Constants of seed aging by crop, where the published sets are whole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from sowbench.reference.aliases import crop_ids
from sowbench.reference.crops import crop_rows
from sowbench.reference.tables import number, read_table

__all__ = ["ViabilityConstants", "viability_constants"]


@dataclass(frozen=True, slots=True)
class ViabilityConstants:
    """Constants of the seed viability equation, with their source.

    Attributes
    ----------
    k_e, c_w, c_h, c_q : float
        Species constants K_E and C_W and temperature constants C_H and C_Q of Ellis and Roberts.
    """

    k_e: float
    c_w: float
    c_h: float
    c_q: float
    source: str
    basis: str


@cache
def viability_constants() -> Mapping[str, ViabilityConstants]:
    """Constants by crop; of several sets the first one seen, else the first one remembered.

    Returns
    -------
    constants : mapping of str to ViabilityConstants
        Crops of this reference with all four constants.
    """
    found: dict[str, ViabilityConstants] = {}
    rows = read_table("data/germination/seed_viability_constants.csv")
    for row in sorted(rows, key=lambda each: each["seen_or_memory"] != "seen"):
        values = [number(row[each]) for each in ("KE", "CW", "CH", "CQ")]
        if None in values or "field" in row["crop"]:
            continue
        ids = crop_ids(row["crop"])
        basis = "seen" if row["seen_or_memory"] == "seen" else "from memory"
        k_e, c_w, c_h, c_q = (each or 0.0 for each in values)
        for crop in ids:
            found.setdefault(crop, ViabilityConstants(k_e, c_w, c_h, c_q, row["source_id"], basis))
    for crop, row in crop_rows().items():
        like = row["like"]
        same = like in found and _species(crop) == _species(like)
        if same and crop not in found:
            found[crop] = found[like]
    return found


def _species(crop: str) -> tuple[str, ...]:
    """Genus and species of a crop."""
    return tuple(crop_rows()[crop]["scientific_name"].split()[:2])
