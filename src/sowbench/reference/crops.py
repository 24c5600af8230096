"""Crops out of the tables: every value chosen among its sources, as domain records."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, replace
from functools import cache
from typing import Final

from sowbench.domain.records import (
    Container,
    Crop,
    Emergence,
    Fact,
    Growth,
    LightNeed,
    Season,
)
from sowbench.reference.crop_keys import CROP_KEYS, Kind, checked_value
from sowbench.reference.published import published_candidates
from sowbench.reference.tables import (
    NEVER_USED_RANK,
    Candidate,
    choose,
    number,
    read_table,
)
from sowbench.science.errors import OutOfRangeError

__all__ = ["base_facts", "crop_from_facts", "crop_rows", "derive", "placing_for", "suits_crop"]

_SCOPES: Final = {"crop": 0, "like": 1, "kin": 2, "season": 3, "all": 4}
# Growth response where neither the crop nor its kin has one (docs/model.md, assumption).
_GROWTH_OF_SEASON: Final = {"cool": (4.0, 20.0, 32.0), "warm": (10.0, 26.0, 38.0)}
# Depth of a light-needing seed: a dusting at most (common practice).
LIGHT_DEPTH_MOST_MM: Final = 3.2
_FRACTION_FIELDS: Final = frozenset({"top_frac", "cold_c", "cold_sd_c", "hot_c", "hot_sd_c"})
_OPEN_WORDS: Final = frozenset({"none", "none or very thin"})


@cache
def crop_rows() -> Mapping[str, Mapping[str, str]]:
    """Rows of ``crops.csv`` by id, in the order of the table."""
    return {row["id"]: row for row in read_table("crops.csv")}


@cache
def _hand_values() -> Mapping[tuple[str, str], tuple[tuple[Fact, int], ...]]:
    """Facts of ``crop_values.csv`` with their ranks, by scope and name."""
    found: dict[tuple[str, str], list[tuple[Fact, int]]] = {}
    for row in read_table("crop_values.csv"):
        key, low, high = row["key"], number(row["low"]), number(row["high"])
        value = checked_value(key, row["value"], row["name"])
        fact = Fact(key, value, row["unit"], low, high, row["source"], row["basis"], row["why"])
        found.setdefault((row["scope"], row["name"]), []).append((fact, int(row["rank"] or 5)))
    return {key: tuple(facts) for key, facts in found.items()}


def _scopes(crop: str) -> Iterable[tuple[int, str, str]]:
    """Where a crop's values may come from, nearest first: scope, table scope, name."""
    row = crop_rows()[crop]
    yield 0, "crop", crop
    like, seen = row["like"], {crop}
    while like and like not in seen:
        seen.add(like)
        yield 1, "crop", like
        like = crop_rows()[like]["like"]
    yield 2, "kin", row["kin"]
    yield 3, "season", row["season"]
    yield 4, "all", "all"


def _candidates(crop: str) -> dict[str, list[Candidate]]:
    """Every value found for a crop, by key."""
    found: dict[str, list[Candidate]] = {}
    for scope, table_scope, name in _scopes(crop):
        for fact, rank in _hand_values().get((table_scope, name), ()):
            said = _borrowed(scope, name, fact)
            found.setdefault(fact.key, []).append(Candidate(said, scope, rank=rank))
        if table_scope != "crop":
            continue
        for key, candidates in published_candidates().get(name, {}).items():
            own = found.setdefault(key, [])
            for each in candidates:
                if scope == 0:
                    own.append(each)
                else:
                    said = _borrowed(scope, name, each.fact)
                    own.append(Candidate(said, scope, each.pooled, each.rank))
    return found


def _borrowed(scope: int, name: str, fact: Fact) -> Fact:
    """Say of a borrowed value whose it is."""
    if scope in {0, 4}:
        return fact
    lead = {1: f"as {name}", 2: f"as its kin ({name})", 3: f"{name}-season crop"}[scope]
    return replace(fact, why=f"{lead}; {fact.why}" if fact.why else lead)


@cache
def _rows_by_crop(name: str) -> Mapping[str, Mapping[str, str]]:
    return {row["crop"]: row for row in read_table(name)}


def _nearest_row(
    crop: str, rows: Mapping[str, Mapping[str, str]]
) -> tuple[Mapping[str, str] | None, str]:
    """Row of the crop, of the crop it is like, or of the first of its kin, with what to say."""
    row = crop_rows()[crop]
    if crop in rows:
        return rows[crop], ""
    if row["like"] in rows:
        return rows[row["like"]], f"as {row['like']}"
    for other, each in crop_rows().items():
        if each["kin"] == row["kin"] and other in rows:
            return rows[other], f"as {other}, its kin"
    return None, ""


def _emergence_facts(crop: str) -> dict[str, Fact]:
    """Parameters of emergence with what the other table gives beside them."""
    row, said = _nearest_row(crop, _rows_by_crop("emergence.csv"))
    if row is None:
        raise OutOfRangeError(
            "crop", "a row of emergence.csv, or like or kin to one", crop, "Add its row."
        )
    facts = {}
    why = "; ".join(each for each in (said, row["why"]) if each)
    for each in fields(Emergence):
        key = f"emergence.{each.name}"
        other = number(row.get(f"other_{each.name}", ""))
        others: tuple[Fact, ...] = ()
        if other is not None:
            source = row.get("other_source", "")
            others = (Fact(key, other, CROP_KEYS[key].unit, None, None, source, "", ""),)
        of_fraction = each.name in _FRACTION_FIELDS and row.get("fraction_source")
        basis = _fraction_basis(row) if of_fraction else row["basis"]
        facts[key] = Fact(
            key, checked_value(key, row[each.name], crop), CROP_KEYS[key].unit, None, None,
            row["fraction_source"] if of_fraction else row["source"], basis, why, others,
        )  # fmt: skip
    return facts


def _fraction_basis(row: Mapping[str, str]) -> str:
    """Basis of the final fraction, which has a source of its own."""
    words = row["fraction_source"]
    if words.startswith("HM54"):
        return "computed"
    return "assumption" if "assum" in words or "borrowed" in words else row["basis"]


def _growth_facts(crop: str) -> dict[str, Fact]:
    """Temperature response after emergence: the crop's, else its kin's, else its season's."""
    row, said = _nearest_row(crop, _rows_by_crop("growth.csv"))
    season = crop_rows()[crop]["season"]
    facts = {}
    for at, each in enumerate(fields(Growth)):
        key = f"growth.{each.name}"
        if row is None:
            value, source, basis = _GROWTH_OF_SEASON[season][at], "assumption", "assumption"
            why = f"no row for the crop or its kin: {season}-season crop"
        else:
            value, source, basis = float(row[each.name]), row["source"], row["basis"]
            why = "; ".join(part for part in (said, row["why"]) if part)
        facts[key] = Fact(key, value, "°C", None, None, source, basis, why)
    return facts


@cache
def base_facts(crop: str) -> Mapping[str, Fact]:
    """Every value of a reference crop, chosen among its sources.

    Parameters
    ----------
    crop : str
        Crop id.

    Returns
    -------
    facts : mapping of str to Fact
        Values by key of `CROP_KEYS`, without those that `derive` makes.
    """
    row = crop_rows()[crop]
    facts = {
        key: Fact(key, row[key], "", None, None, row["source"], row["basis"])
        for key in ("name", "scientific_name", "kin", "season", "group")
    }
    found = _candidates(crop)
    for key in CROP_KEYS:
        candidates = found.get(key, [])
        if key == "depth_mm":
            candidates = _shallow_first(found, candidates)
        used = choose(candidates)
        if used is not None:
            facts[key] = used
    facts |= _emergence_facts(crop)
    facts |= _growth_facts(crop)
    return facts


def _shallow_first(
    found: Mapping[str, list[Candidate]], depths: list[Candidate]
) -> list[Candidate]:
    """Of a light-needing seed, use the shallowest depth of its own sources."""
    light = choose(found.get("light_need", []))
    own = [each for each in depths if each.scope <= 1 and each.rank < NEVER_USED_RANK]
    if light is None or light.value != LightNeed.LIGHT or not own:
        return depths
    nearest = min(each.scope for each in own)
    least = min(
        (each for each in own if each.scope == nearest), key=lambda each: each.fact.low or 0.0
    )
    depth_mm = min(least.fact.low or 0.0, LIGHT_DEPTH_MOST_MM)
    words = "a seed that needs light: the shallowest published depth, 3 mm at most"
    why = "; ".join(each for each in (least.fact.why, words) if each)
    used = replace(least, fact=replace(least.fact, value=depth_mm, why=why), rank=1)
    return [used if each is least else each for each in depths]


def placing_for(seeds_per_g: float) -> tuple[str, ...]:
    """Ways to place seed of a size (common practice, limits are our assumption).

    Parameters
    ----------
    seeds_per_g : float
        Seeds in a gram [1/g].

    Returns
    -------
    ways : tuple of str
        The usual way first.
    """
    if seeds_per_g < 60:
        return ("by hand", "machine")
    if seeds_per_g < 600:
        return ("by hand", "spoon or vibrating seeder", "machine", "pelleted")
    if seeds_per_g < 1500:
        return ("spoon or vibrating seeder", "machine", "pelleted")
    return ("spoon or vibrating seeder", "pelleted")


def suits_crop(facts: Mapping[str, Fact], container: Container) -> bool:
    """Whether a crop may stand in a container at some time of its raising.

    Parameters
    ----------
    facts : mapping of str to Fact
        The crop's values.
    container : Container
        Container to judge: a tray by its number of cells, anything else by its kind.

    Returns
    -------
    suits : bool
        Whether it is among the crop's containers.
    """
    if container.kind in {"plug tray", "flexible insert", "polystyrene tray"}:
        span = facts["tray_cells"]
        return (span.low or 0) <= container.cells <= (span.high or 0)
    if container.kind not in str(facts["other_containers"].value).split("|"):
        return False
    least = facts.get("cubes_not_below_mm")
    if least is None or not isinstance(least.value, float) or container.cell_top_mm is None:
        return True
    return "cube" not in container.kind or container.cell_top_mm >= least.value


def derive(facts: Mapping[str, Fact], containers: Mapping[str, Container]) -> dict[str, Fact]:
    """Add the values that follow from others, unless the house has set them.

    Parameters
    ----------
    facts : mapping of str to Fact
        The crop's chosen values.
    containers : mapping of str to Container
        Every container.

    Returns
    -------
    facts : dict of str to Fact
        With cover, ways to place the seed, containers, and the toned limit made consistent.
    """
    done = dict(facts)

    def put(fact: Fact) -> None:
        if fact.key not in done or done[fact.key].basis != "house":
            done[fact.key] = replace(fact, unit=CROP_KEYS[fact.key].unit)

    words = facts["cover_words"]
    is_covered = str(words.value) not in _OPEN_WORDS
    put(replace(words, key="cover", value=is_covered, why=str(words.value), others=()))
    seeds = facts["seeds_per_g"]
    assert isinstance(seeds.value, float)  # noqa: S101 - checked when it was read
    ways = "|".join(placing_for(seeds.value))
    practice = Fact("placing", ways, source="common practice", basis="common practice")
    put(replace(practice, why=f"from {seeds.value:g} seeds per gram"))
    cells = facts["tray_cells"]
    suited = "|".join(each.id for each in containers.values() if suits_crop(facts, each))
    why = f"plug trays of {cells.value} cells, and {facts['other_containers'].value}"
    put(Fact("cells_ok", suited, source=cells.source, basis=cells.basis, why=why))
    _bound_tone(done)
    return done


def _bound_tone(facts: dict[str, Fact]) -> None:
    """A toned plant bears at least what an untoned one does; a milder wish is kept beside."""
    tone, least = facts["tone_min_c"], facts["min_c"]
    if not isinstance(tone.value, float) or not isinstance(least.value, float):
        return
    if tone.value > least.value and tone.basis != "house":
        why = (
            f"a toned plant bears what an untoned one does; {tone.value:g} °C is the source's "
            "wish for the days of toning"
        )
        others = (replace(tone, others=()), *tone.others)
        facts["tone_min_c"] = replace(least, key="tone_min_c", why=why, others=others)


def crop_from_facts(crop: str, facts: Mapping[str, Fact]) -> Crop:
    """Make the record of a crop from its values.

    Parameters
    ----------
    crop : str
        Crop id.
    facts : mapping of str to Fact
        Every value, after `derive`.

    Returns
    -------
    crop : Crop
        The record, with the facts for its card.

    Raises
    ------
    OutOfRangeError
        If cardinal temperatures do not rise, or most seeds per cell are fewer than usual.
    """

    def text(key: str) -> str:
        return str(facts[key].value)

    def num(key: str) -> float:
        value = facts[key].value
        if not isinstance(value, int | float):
            spec = CROP_KEYS[key]
            raise OutOfRangeError(f"{key} of {crop}", f"a {Kind.NUMBER.value} {spec.unit}", value)
        return float(value)

    def maybe(key: str) -> float | None:
        return num(key) if key in facts and facts[key].value is not None else None

    def listed(key: str) -> tuple[str, ...]:
        return tuple(each for each in text(key).split("|") if each)

    emergence = Emergence(**{f.name: num(f"emergence.{f.name}") for f in fields(Emergence)})
    growth = Growth(**{f.name: num(f"growth.{f.name}") for f in fields(Growth)})
    _require_rising(crop, emergence, growth)
    chill_days = maybe("chill_days_max")
    low, high = (int(float(each)) for each in text("plants_per_cell").split("-"))
    seeds, most = int(num("seeds_per_cell")), int(num("max_seeds_per_cell"))
    if most < seeds:
        rule = f"at least the usual {seeds} seeds"
        raise OutOfRangeError(f"max_seeds_per_cell of {crop}", rule, most)
    return Crop(
        id=crop,
        name=text("name"),
        scientific_name=text("scientific_name"),
        kin=text("kin"),
        season=Season(text("season")),
        emergence=emergence,
        growth=growth,
        min_c=num("min_c"),
        tone_min_c=num("tone_min_c"),
        chill_below_c=maybe("chill_below_c"),
        chill_days_max=None if chill_days is None else int(chill_days),
        hardy=bool(facts["hardy"].value),
        tone_under_cover=bool(facts["tone_under_cover"].value),
        hold_d=int(num("hold_d")),
        hold_min_c=num("hold_min_c"),
        light_need=LightNeed(text("light_need")),
        cover=bool(facts["cover"].value),
        depth_mm=num("depth_mm"),
        seeds_per_g=num("seeds_per_g"),
        seedlings_per_unit=num("seedlings_per_unit"),
        seeds_per_cell=seeds,
        max_seeds_per_cell=most,
        plants_per_cell=(low, high),
        unit=text("unit"),
        vine=bool(facts["vine"].value),
        germination_frac=num("germination_frac"),
        germination_test_c=num("germination_test_c"),
        seed_price_per_1000=num("seed_price_per_1000"),
        placing=listed("placing"),
        cells_ok=listed("cells_ok"),
        facts=dict(facts),
    )


def _require_rising(crop: str, emergence: Emergence, growth: Growth) -> None:
    """Refuse cardinal temperatures out of order."""
    cardinal = (
        emergence.base_c, emergence.optimum_low_c, emergence.optimum_high_c, emergence.ceiling_c,
    )  # fmt: skip
    if not cardinal[0] < cardinal[1] <= cardinal[2] < cardinal[3]:
        rule = "base, optimum and ceiling rising"
        raise OutOfRangeError(f"emergence temperatures of {crop} in °C", rule, cardinal)
    if not growth.base_c < growth.optimum_c < growth.ceiling_c:
        given = (growth.base_c, growth.optimum_c, growth.ceiling_c)
        rule = "base, optimum and ceiling rising"
        raise OutOfRangeError(f"growth temperatures of {crop} in °C", rule, given)
