"""Values of a crop that the published tables under ``data/`` hold, as facts with their sources."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Final

from sowbench.domain.records import Fact, LightNeed
from sowbench.reference.aliases import crop_ids
from sowbench.reference.tables import NEVER_USED_RANK, Candidate, number, read_table

__all__ = ["Found", "mean_of_test_c", "published_candidates"]

Found = tuple[str, str, Candidate]

_LIGHT: Final = {
    "light-promoted": LightNeed.LIGHT,
    "dark-preferring": LightNeed.DARK,
    "conflicting": LightNeed.CONFLICTING,
    "indifferent": LightNeed.EITHER,
    "indifferent to dark-preferring": LightNeed.EITHER,
}
_GUIDE_CODE: Final = {
    "L": "needs light, do not cover",
    "C": "cover",
    "LC": "cover lightly",
    "D": "keep dark",
}
# Said of every row of one source; it is about bench space, not about the crop.
_LAYOUT_NOTE: Final = "density and pitch converted from plants per square foot."
# A row with day and night temperatures says more than one without.
_WITH_CONDITIONS_RANK: Final = 4


@cache
def published_candidates() -> Mapping[str, Mapping[str, tuple[Candidate, ...]]]:
    """Every published value, by crop and by key."""
    found: defaultdict[str, defaultdict[str, list[Candidate]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for maker in (_schedule, _light, _standard_test, _soil_limits):
        for crop, key, candidate in maker():
            found[crop][key].append(candidate)
    return {crop: {key: tuple(each) for key, each in keys.items()} for crop, keys in found.items()}


def _basis(source: str) -> tuple[str, str]:
    """Source and basis of a cell; a table may say memory in the place of a source."""
    clean = "; ".join(
        each for each in (part.strip() for part in source.split(";")) if each not in {"", "mem"}
    )
    return (clean, "from memory" if clean == "memory" else "seen")


def _temps(row: Mapping[str, str], stem: str) -> tuple[float | None, float | None]:
    return number(row[f"{stem}_min"]), number(row[f"{stem}_max"])


def _joined(*parts: str) -> str:
    return "; ".join(each for each in parts if each)


def _degrees(words: str, low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return ""
    return f"{words} {low:g} °C" if low == high else f"{words} {low:g} to {high:g} °C"


def _schedule() -> Iterator[Found]:
    """Weeks to transplant, with the conditions they hold for, and what else the rows say."""
    for row in read_table("data/crops/transplant_schedule.csv"):
        ids = crop_ids(row["crop"])
        pooled = len(ids) > 1
        source, basis = _basis(row["source_id"])
        day, night = _temps(row, "day_temp_c"), _temps(row, "night_temp_c")
        germination = _temps(row, "germination_temp_c")
        whose = f"row for {row['crop']}" if pooled or "(" in row["crop"] else ""
        notes = row["notes"].replace(_LAYOUT_NOTE, "").strip()
        temps = (
            _degrees("germination", *germination),
            _degrees("day", *day),
            _degrees("night", *night),
        )
        words = _joined(whose, row["system"], *temps, notes)
        brief = _joined(whose, notes)
        weeks = number(row["weeks_min"]), number(row["weeks_max"])
        for crop in ids:
            rank = _schedule_rank(row, basis, has_conditions=None not in (*day, *night))
            yield from _range(crop, "weeks_to_transplant", weeks, "weeks", source, basis, words,
                              pooled=pooled, rank=rank)  # fmt: skip
            yield from _range(crop, "germination_temp_c", germination, "°C", source, basis, brief,
                              pooled=pooled)  # fmt: skip
            for key, span in (("day_temp_c", day), ("night_temp_c", night)):
                yield from _range(crop, key, span, "°C", source, basis, brief, pooled=pooled,
                                  rank=rank)  # fmt: skip
            depth = _temps(row, "seeding_depth_mm")
            yield from _range(crop, "depth_mm", depth, "mm", source, basis, "", pooled=pooled)
            cells = [number(each) for each in row["cells_per_std_tray"].split("-")]
            yield from _range(crop, "tray_cells", (cells[0], cells[-1]), "cells per tray", source,
                              basis, words, pooled=pooled, rank=NEVER_USED_RANK)  # fmt: skip
            if row["germ_light"]:
                fact = Fact("light_need", row["germ_light"], "", source=source, basis=basis)
                yield crop, "light_need", Candidate(fact, 0, pooled, NEVER_USED_RANK)


def _schedule_rank(row: Mapping[str, str], basis: str, *, has_conditions: bool) -> int:
    """Prefer a seen row for trays with its temperatures; plants from cuttings are another thing."""
    if "cutting" in row["crop"]:
        return NEVER_USED_RANK
    in_tray = row["system"].startswith("plug tray")
    return _WITH_CONDITIONS_RANK if has_conditions and in_tray and basis == "seen" else 5


def _range(
    crop: str,
    key: str,
    span: tuple[float | None, float | None],
    unit: str,
    source: str,
    basis: str,
    why: str,
    *,
    pooled: bool = False,
    rank: int = 5,
) -> Iterator[Found]:
    """One fact for a published range; its value is the middle."""
    low, high = span
    if low is None or high is None:
        return
    value: float | str = round((low + high) / 2.0, 2)
    if key == "tray_cells":
        value = f"{low:g}-{high:g}"
    fact = Fact(key, value, unit, low, high, source, basis, why)
    yield crop, key, Candidate(fact, 0, pooled, rank)


def _light() -> Iterator[Found]:
    """Light need, cover, depth and seeds per gram."""
    for row in read_table("data/germination/light_and_covering.csv"):
        ids = crop_ids(row["crop"])
        pooled = len(ids) > 1
        for crop in ids:
            yield from _light_facts(crop, row, pooled=pooled)
            depth = number(row["depth_mm_low"]), number(row["depth_mm_high"])
            source = _known_depth_source(row["depth_source"])
            words = row["depth_source"] if "(" in row["depth_source"] else ""
            yield from _range(crop, "depth_mm", depth, "mm", *source, words, pooled=pooled)
            cover_source, cover_basis = _basis(row["light_source"])
            fact = Fact("cover_words", row["cover"], source=cover_source, basis=cover_basis)
            yield crop, "cover_words", Candidate(fact, 0, pooled)
            seeds = number(row["seeds_per_gram"])
            if seeds is not None:
                found = _basis(row["seeds_per_gram_source"])
                fact = Fact("seeds_per_g", seeds, "seeds/g", None, None, *found)
                yield crop, "seeds_per_g", Candidate(fact, 0, pooled)


def _known_depth_source(words: str) -> tuple[str, str]:
    """Source of a depth out of a cell such as ``NL14 (1 in); memory (0.5 in in trays)``."""
    names = [part.strip().partition(" ")[0] for part in words.split(";")]
    seen = [each for each in names if each not in {"memory", "mem", ""}]
    return ("; ".join(seen), "seen") if seen else ("memory", "from memory")


def _light_facts(crop: str, row: Mapping[str, str], *, pooled: bool) -> Iterator[Found]:
    """The judgment on light as the value, and beside it what the test rule and the guide say."""
    source, basis = _basis(row["light_source"])
    words = row["light_for_germination"]
    need = _LIGHT.get(words, LightNeed.EITHER)
    why = "; ".join(each for each in (words if words != need.value else "", row["note"]) if each)
    fact = Fact("light_need", need.value, "", source=source, basis=basis, why=why)
    yield crop, "light_need", Candidate(fact, 0, pooled, 4)
    if row["light_in_standard_test"] not in {"", "not listed"}:
        test = f"light in the standard test: {row['light_in_standard_test']}"
        fact = Fact("light_need", test, "", source="CFR-201.58", basis="seen")
        yield crop, "light_need", Candidate(fact, 0, pooled, NEVER_USED_RANK)
    if row["growing_guide_code"]:
        guide = "ISU23" if "ISU23" in source else "ISU17"
        text = _GUIDE_CODE[row["growing_guide_code"]]
        fact = Fact("light_need", text, "", source=guide, basis="seen")
        yield crop, "light_need", Candidate(fact, 0, pooled, NEVER_USED_RANK)


def mean_of_test_c(words: str) -> float:
    """Mean temperature of a standard germination test.

    Parameters
    ----------
    words : str
        As printed: ``20``, ``20-30`` (16 h at the first, 8 h at the second) or ``15 or 10``.

    Returns
    -------
    temp_c : float
        Of two choices the constant one, of two constants the first; the 24 h mean [°C].
    """
    choices = [each.strip() for each in words.split(" or ")]
    constant = [float(each) for each in choices if "-" not in each]
    if constant:
        return constant[0]
    low, high = (float(each) for each in choices[0].split("-"))
    return (16.0 * low + 8.0 * high) / 24.0


def _standard_test() -> Iterator[Found]:
    """Temperature of the standard test, the federal minimum and a usual lot made from it."""
    for row in read_table("data/germination/standard_germination_tests.csv"):
        ids = crop_ids(row["crop"])
        pooled = len(ids) > 1
        if "siberian" in row["crop"]:
            continue  # another species than the kale of this reference
        for crop in ids:
            words = f"{row['temperature_c']} °C as printed"
            temp = round(mean_of_test_c(row["temperature_c"]), 1)
            fact = Fact("germination_test_c", temp, "°C", None, None, "CFR-201.58", "seen", words)
            yield crop, "germination_test_c", Candidate(fact, 0, pooled)
            least = float(row["minimum_germination_percent"]) / 100.0
            fact = Fact("germination_min_frac", least, "", None, None, "CFR-201.31", "seen")
            yield crop, "germination_min_frac", Candidate(fact, 0, pooled)
            why = f"a usual lot, midway between the federal minimum {least:.0%} and 100 %"
            usual = round((1.0 + least) / 2.0, 3)
            fact = Fact("germination_frac", usual, "", least, 1.0, "CFR-201.31", "assumption", why)
            yield crop, "germination_frac", Candidate(fact, 0, pooled)
            seeds = number(row["seeds_per_gram"])
            if seeds is not None and pooled is False:
                fact = Fact("seeds_per_g", seeds, "seeds/g", None, None, "CFR-201.46", "seen")
                yield crop, "seeds_per_g", Candidate(fact, 0, pooled)


def _soil_limits() -> Iterator[Found]:
    """Minimum, optimum and maximum temperature of the soil for germination."""
    for row in read_table("data/germination/soil_temperature_limits.csv"):
        ids = crop_ids(row["crop"])
        for crop in ids:
            for word in ("minimum", "optimum", "maximum"):
                for source, value in (
                    (row["source_id"], number(row[f"{word}_c"])),
                    (row["source_id_second"], _celsius(row[f"{word}_f_second"])),
                ):
                    if value is None:
                        continue
                    key = f"germination_{word}_c"
                    fact = Fact(key, value, "°C", None, None, source, "seen", row["note"])
                    yield crop, key, Candidate(fact, 0, len(ids) > 1)


def _celsius(text: str) -> float | None:
    value = number(text)
    return None if value is None else round((value - 32.0) / 1.8, 1)
