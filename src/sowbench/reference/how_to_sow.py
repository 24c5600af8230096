"""How to sow, step by step: generated for a crop in its containers from the reference data.

``sow_steps.csv`` holds the steps, each with the conditions under which it applies, and
``cautions.csv`` what can hurt someone. Nothing there is written for one crop; the crop's values
fill the places between braces.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

from sowbench.domain.records import Container, Crop, Fact, LightNeed, PlaceKind
from sowbench.reference.card_layout import cited, disagreeing, show_number
from sowbench.reference.catalog import Catalog
from sowbench.reference.tables import read_table
from sowbench.science.errors import OutOfRangeError

__all__ = ["LotFlags", "SowStep", "how_to_sow", "render_steps"]

# Seed smaller than this floats under mist (assumption, in line with the ways to place it).
FINE_SEEDS_PER_G: Final = 600.0
# Under this share of the best, the card warns of the temperature (assumption).
POOR_FRAC: Final = 0.85
# First look into the chamber, before the reckoned exit (assumption).
LOOK_BEFORE_H: Final = 12.0
_NORMAL_5_PERCENT: Final = 1.645
_NORMAL_10_PERCENT: Final = 1.2816

_KIND_TAGS: Final = {
    "mineral-wool cube": "kind:wool",
    "mineral-wool block": "kind:wool",
    "foam cube": "kind:foam",
    "peat pellet": "kind:pellet",
    "paper plug": "kind:paper",
    "flexible insert": "kind:flexible",
    "polystyrene tray": "kind:polystyrene",
}
_WAYS: Final = {
    "by hand": "by hand",
    "spoon or vibrating seeder": "with a spoon or a vibrating seeder",
    "machine": "by machine",
    "pelleted": "as pelleted seed",
}


@dataclass(frozen=True, slots=True)
class LotFlags:
    """What has been done to a lot of seed."""

    treated: bool = False
    pelleted: bool = False
    primed: bool = False


@dataclass(frozen=True, slots=True)
class SowStep:
    """One step of the card.

    Attributes
    ----------
    key : str
        Which step, such as ``soak``, ``cover`` or ``leave``; a key may come twice.
    words, why : str
        What to do, and the reason; where sources disagree, ``why`` says so.
    caution : str
        What can hurt someone at this step, else blank.
    source, basis : str
        What the step rests on.
    """

    key: str
    words: str
    why: str = ""
    caution: str = ""
    source: str = ""
    basis: str = ""


@cache
def _cautions() -> Mapping[str, Mapping[str, str]]:
    return {row["id"]: row for row in read_table("cautions.csv")}


def how_to_sow(
    catalog: Catalog,
    crop: str,
    containers: Sequence[str],
    seeds_per_cell: int,
    germinate_place_kind: PlaceKind | str,
    germinate_temp_c: float,
    chamber_exit_h: float | None = None,
    lot_flags: LotFlags | None = None,
    *,
    school: bool = False,
) -> list[SowStep]:
    """Write the card of how to sow one sowing.

    Parameters
    ----------
    catalog : Catalog
        Reference with the house's own values.
    crop : str
        Crop, in any spelling.
    containers : sequence of str
        Containers in order: the one sown into first, then those potted on into.
    seeds_per_cell : int
        Seed units placed in each cell, at least 1.
    germinate_place_kind : PlaceKind or str
        Where it germinates.
    germinate_temp_c : float
        Temperature of the mix there [°C].
    chamber_exit_h : float or None, default None
        Hours from sowing to leaving the chamber [h]; reckoned at the constant temperature if None.
        Other places have none.
    lot_flags : LotFlags or None, default None
        Treated, pelleted or primed seed; None for bare seed.
    school : bool, default False
        No treated seed, acid or concentrate on the card.

    Returns
    -------
    steps : list of SowStep
        In the order of the work.

    Raises
    ------
    UnknownNameError
        If there is no such crop or container.
    OutOfRangeError
        If no container is given, or fewer than one seed a cell.
    """
    if not containers:
        raise OutOfRangeError("containers", "at least one container", list(containers))
    if seeds_per_cell < 1:
        raise OutOfRangeError("seeds_per_cell", "a whole number from 1 up", seeds_per_cell)
    record = catalog.crop(crop)
    path = [catalog.container(each) for each in containers]
    flags = lot_flags or LotFlags()
    place = PlaceKind(germinate_place_kind)
    tags = _tags(record, path, seeds_per_cell, place, flags, school=school)
    values = _values(record, path, seeds_per_cell, germinate_temp_c)
    if place is PlaceKind.CHAMBER:
        exit_h = chamber_exit_h
        if exit_h is None:
            exit_h = _exit_h(record, germinate_temp_c)
        values |= _exit_values(exit_h, reckoned=chamber_exit_h is not None)
    return [
        _step(row, values, school=school)
        for row in read_table("sow_steps.csv")
        if _applies(row["when"], tags)
    ]


def render_steps(steps: Sequence[SowStep], width: int = 100) -> str:
    """The card of how to sow as numbered text.

    Parameters
    ----------
    steps : sequence of SowStep
        From `how_to_sow`.
    width : int, default 100
        Columns; no line is longer.

    Returns
    -------
    text : str
        Each step with its reason and source, then its caution; a caution is printed once.
    """
    lines: list[str] = []
    said: set[str] = set()
    for at, step in enumerate(steps, start=1):
        lines += textwrap.wrap(
            step.words, width, initial_indent=f"{at:>2}. ", subsequent_indent=" " * 4
        )
        source = cited(step.source, step.basis)
        reason = f"{step.why} [{source}]" if source else step.why
        if step.why:
            lines += textwrap.wrap(
                f"Why: {reason}", width, initial_indent=" " * 6, subsequent_indent=" " * 6
            )
        if step.caution and step.caution not in said:
            said.add(step.caution)
            lines += textwrap.wrap(
                f"CAUTION: {step.caution}",
                width,
                initial_indent=" " * 6,
                subsequent_indent=" " * 6,
            )
    return "\n".join(lines)


def _applies(when: str, tags: frozenset[str]) -> bool:
    """Whether every tag of a condition is there and none with a minus."""
    for each in when.split():
        name = each.removeprefix("-")
        if (name in tags) == each.startswith("-"):
            return False
    return True


def _tags(
    crop: Crop,
    path: Sequence[Container],
    seeds_per_cell: int,
    place: PlaceKind,
    flags: LotFlags,
    *,
    school: bool,
) -> frozenset[str]:
    """Everything that decides which steps apply."""
    first, last = path[0], path[-1]
    most = max(1, crop.plants_per_cell[1])
    conditions = {
        "takes_mix": first.takes_mix,
        "reusable": first.reusable,
        "hole": "cube" not in first.kind and "block" not in first.kind,
        "open": crop.light_need is LightNeed.LIGHT,
        "surface": crop.depth_mm == 0,
        "cover": crop.cover,
        "light": crop.light_need is LightNeed.LIGHT,
        "dark": crop.light_need is LightNeed.DARK,
        "fine": crop.seeds_per_g > FINE_SEEDS_PER_G,
        "vine": crop.vine,
        "wool": "mineral-wool" in first.kind,
        "clump": most > 1,
        "thin": seeds_per_cell * max(1.0, crop.seedlings_per_unit) > most,
        "treated": flags.treated,
        "pelleted": flags.pelleted,
        "primed": flags.primed,
        "school": school,
        "refused": flags.treated and school,
        f"place:{place.value}": True,
        f"path:{last.container_class.value}": len(path) > 1,
    }
    tags = {name for name, holds in conditions.items() if holds}
    if first.kind in _KIND_TAGS:
        tags.add(_KIND_TAGS[first.kind])
    return frozenset(tags)


def _mm(low: float, high: float) -> str:
    if round(low) == 0:
        return f"at most {max(high, 1.0):.0f} mm"
    return f"{low:.0f} mm" if round(low) == round(high) else f"{low:.0f} to {high:.0f} mm"


def _values(
    crop: Crop, path: Sequence[Container], seeds_per_cell: int, temp_c: float
) -> dict[str, str]:
    """Words for the places between braces."""
    first = path[0]
    facts = crop.facts
    low, high = crop.plants_per_cell
    depth = facts["depth_mm"]
    seeds = facts["seeds_per_cell"]
    light = facts["light_need"]
    plants = facts["plants_per_cell"]
    ways = [_WAYS.get(each, each) for each in crop.placing if each != "pelleted"][:2]
    noun = "seed" if seeds_per_cell == 1 else "seeds"
    values = {
        "cells": str(first.cells),
        "cell_ml": show_number(first.cell_volume_ml),
        "liters": show_number(first.cells * first.cell_volume_ml / 1000.0),
        "depth": show_number(first.depth_mm or 0.0),
        "depth_range": _mm(*_depth_range(depth, crop.depth_mm)),
        "depth_most": _mm(max(crop.depth_mm, 1.0), max(crop.depth_mm, 1.0)),
        "depth_why": disagreeing(depth),
        "depth_source": depth.source,
        "depth_basis": depth.basis,
        "seeds": f"{seeds_per_cell} {noun}",
        "seeds_why": seeds.why if seeds.value == seeds_per_cell else "",
        "seeds_source": seeds.source,
        "seeds_basis": seeds.basis,
        "placing": " or ".join(ways),
        "plants": "one plant" if high == 1 else f"{low} to {high} plants",
        "plants_source": plants.source,
        "plants_basis": plants.basis,
        "keep": "the strongest one" if high == 1 else f"the {high} strongest",
        "cover_words": str(facts["cover_words"].value),
        "size_why": f"{show_number(crop.seeds_per_g)} seeds per gram",
        "light_why": _light_words(crop.light_need, light),
        "light_source": light.source,
        "light_basis": light.basis,
        "next_name": path[-1].name.partition(",")[0].casefold(),
        "temp": show_number(temp_c),
    }
    return values | _temperature_values(crop, temp_c)


def _depth_range(depth: Fact, depth_mm: float) -> tuple[float, float]:
    if depth.low is None or depth.high is None or depth.basis == "house":
        return depth_mm, depth_mm
    return depth.low, depth.high


def _light_words(need: LightNeed, fact: Fact) -> str:
    """What the seed wants of light, and that the sources disagree where they do."""
    words = {
        LightNeed.LIGHT: "light helps it to germinate",
        LightNeed.DARK: "it wants dark to germinate",
        LightNeed.EITHER: "light is not needed",
        LightNeed.CONFLICTING: "on light the sources disagree",
    }[need]
    said = [f"{each.value} [{each.source}]" for each in fact.others if isinstance(each.value, str)]
    if need is LightNeed.CONFLICTING and said:
        return f"{words}: {'; '.join(said)}"
    return words


def _temperature_values(crop: Crop, temp_c: float) -> dict[str, str]:
    """Days to emergence and the share that comes up at this temperature."""
    from sowbench.science.emergence import days_at_constant, relative_fraction

    days = float(days_at_constant(temp_c, crop.emergence))
    share = float(relative_fraction(temp_c, crop.emergence))
    fact = crop.facts["emergence.thermal_time_cd"]
    spread = math.exp(_NORMAL_10_PERCENT * crop.emergence.sigma_pace)
    if math.isinf(days):
        words = "no time at all: at this temperature it does not come up"
    else:
        words = f"{days:.1f} days ({days / spread:.1f} to {days * spread:.1f})"
    reasons = []
    if share < POOR_FRAC:
        reasons.append(
            f"at {temp_c:g} °C only {share:.0%} as many come up as at the best temperature: "
            "choose another place or hour"
        )
    else:
        many = "as many" if share > 0.985 else f"{share:.0%} as many"
        reasons.append(f"at {temp_c:g} °C {many} come up as at the best temperature")
    best = crop.facts.get("germination_optimum_c")
    if best is not None and isinstance(best.value, float):
        reasons.append(f"fastest near {best.value:g} °C [{best.source}]")
        reasons.append(disagreeing(best))
    return {
        "days": words,
        "temp_why": "; ".join(each for each in reasons if each),
        "temp_source": fact.source,
        "temp_basis": fact.basis,
    }


def _exit_h(crop: Crop, temp_c: float) -> float:
    """Hour at which 5 % show the root at a constant temperature; see docs/model.md section 3."""
    from sowbench.science.emergence import days_at_constant

    early = math.exp(-_NORMAL_5_PERCENT * crop.emergence.sigma_seed)
    share = crop.emergence.germination_share
    hours = 24.0 * float(days_at_constant(temp_c, crop.emergence)) * share * early
    return max(hours, 30.0) if crop.vine else hours


def _exit_values(exit_h: float, *, reckoned: bool) -> dict[str, str]:
    if math.isinf(exit_h):
        return {"look_h": "24", "exit_words": " (never reckoned at this temperature)"}
    how = "planned" if reckoned else "reckoned"
    return {
        "look_h": f"{max(exit_h - LOOK_BEFORE_H, 12.0):.0f}",
        "exit_words": f" ({how} for hour {exit_h:.0f})",
    }


def _step(row: Mapping[str, str], values: Mapping[str, str], *, school: bool) -> SowStep:
    """Fill one row."""

    def filled(text: str) -> str:
        done = text.format_map(values)
        done = re.sub(r"(; )+", "; ", done)
        return done.strip("; ")

    cautions = [_cautions()[each] for each in row["cautions"].split()]
    words = [each["words"] for each in cautions if not school or each["school"] == "yes"]
    return SowStep(
        row["key"],
        filled(row["words"]),
        filled(row["why"]),
        " ".join(words),
        filled(row["source"]),
        filled(row["basis"]),
    )
