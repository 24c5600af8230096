"""The cards of a crop and of a container: every value with unit, range and source."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Final

from sowbench.domain.records import Container, Crop, Emergence, Fact, ReadyRule
from sowbench.reference.aliases import crop_ids, names_of
from sowbench.reference.card_layout import (
    Card,
    CardRow,
    CardTable,
    Section,
    card_dict,
    cited,
    fact_row,
    render_text,
    show_number,
    sources_of,
)
from sowbench.reference.catalog import Catalog, emergence_other_record
from sowbench.reference.containers import CONTAINER_KEYS
from sowbench.reference.crop_keys import CROP_KEYS
from sowbench.reference.tables import read_table

__all__ = ["Card", "card_dict", "container_card", "crop_card", "render_text"]

# A source in more letters than this goes below the row.
_LONG_SOURCE: Final = 24
CROPS_NOTE: Final = "Crops it suits:"
_TEMPS_C: Final = (5, 10, 15, 20, 25, 30, 35)
_PARTS: Final[tuple[tuple[str, tuple[str, ...]], ...]] = (
    (
        "Seed",
        (
            "seeds_per_g", "seedlings_per_unit", "germination_frac", "germination_min_frac",
            "germination_test_c", "seed_price_per_1000", "placing",
        ),
    ),
    (
        "Sowing",
        (
            "light_need", "cover_words", "depth_mm", "seeds_per_cell", "max_seeds_per_cell",
            "plants_per_cell", "unit", "tray_cells", "other_containers", "cubes_not_below_mm",
        ),
    ),
    (
        "Temperature for germination",
        (
            "germination_minimum_c", "germination_optimum_c", "germination_maximum_c",
            "germination_temp_c",
        ),
    ),
    (
        "Cold, toning and holding",
        (
            "min_c", "tone_min_c", "chill_below_c", "chill_days_max", "hardy", "tone_days",
            "tone_under_cover", "hold_d", "hold_min_c",
        ),
    ),
)  # fmt: skip


def crop_card(catalog: Catalog, name: str) -> Card:
    """Everything the reference and the house know of a crop.

    Parameters
    ----------
    catalog : Catalog
        Reference with the house's own values.
    name : str
        Crop, in any spelling.

    Returns
    -------
    card : Card
        Sections with rows; text by `render_text`, plain values by `card_dict`.

    Raises
    ------
    UnknownNameError
        If no crop has the name.
    """
    crop = catalog.crop(name)
    facts = crop.facts
    seed, sowing, germination, cold = (_fact_section(facts, *part) for part in _PARTS)
    rules = [rule for key, rule in catalog.ready_rules.items() if key[0] == crop.id]
    growing = _growing_section(crop)
    sections = [seed, sowing, _emergence_section(catalog, crop), germination, growing]
    sections += [_ready_section(rules), cold]
    cited_by_rules = [rule.source for rule in rules]
    return Card(
        "crop",
        crop.id,
        crop.name,
        _crop_subtitle(crop),
        tuple(each for each in sections if each.rows or each.table or each.notes),
        sources_of(facts.values(), cited_by_rules),
    )


def _crop_subtitle(crop: Crop) -> str:
    also = ", ".join(names_of(crop.id))
    words = f"{crop.scientific_name}; {crop.season.value}-season crop, {crop.kin} kin"
    return f"{words}. Also called: {also}." if also else f"{words}."


def _fact_section(facts: Mapping[str, Fact], title: str, keys: tuple[str, ...]) -> Section:
    rows = []
    for key in keys:
        if key not in facts or facts[key].value is None:
            continue
        rows.append(fact_row(CROP_KEYS[key].label, facts[key]))
    notes = []
    remembered = [each for each in rows if each.basis == "from memory"]
    if rows and len(remembered) == len(rows):
        notes.append("Only memory stands behind this part: treat it as a starting value.")
    return Section(title, tuple(rows), None, tuple(notes))


def _emergence_section(catalog: Catalog, crop: Crop) -> Section:
    """Parameters, which table was chosen and why, and what follows at each temperature."""
    facts = {key: each for key, each in crop.facts.items() if key.startswith("emergence.")}
    rows = [fact_row(CROP_KEYS[key].label, _said_once(each)) for key, each in facts.items()]
    rows = [_without_repeated_note(rows, at) for at in range(len(rows))]
    main = facts["emergence.thermal_time_cd"]
    notes = []
    other = emergence_other_record(catalog.emergence_other.get(crop.id, {}), crop.emergence)
    used = cited(main.source, main.basis) or "assumed"
    notes.append(f"Table used: {used}. {main.why}".rstrip())
    if other is not None:
        source = catalog.emergence_other[crop.id].get("other_source", "another table")
        notes.append(
            f"The other table, {source}, is the range: the doubt about the pace is wide enough to "
            "hold it until the house has counts of its own."
        )
    table = _emergence_table(crop, other)
    return Section("Emergence", tuple(rows), table, tuple(notes))


def _said_once(fact: Fact) -> Fact:
    """Leave the reason to the notes below, and a source in many words to the row's own note."""
    why = "the house's own value" if fact.basis == "house" else ""
    if len(fact.source) > _LONG_SOURCE:
        return replace(fact, source="", why=fact.source)
    return replace(fact, why=why)


def _emergence_table(crop: Crop, other: Emergence | None) -> CardTable:
    """Days to half emerged and share that comes up, by temperature of the mix."""
    from sowbench.science.emergence import days_at_constant, relative_fraction

    header = ["mix °C", "days to half up", "8 times in 10"]
    if other is not None:
        header.append("other table")
    header += ["of the best", "printed days", "printed percent"]
    days_printed = _printed("data/germination/emergence_days.csv", "days_to_emergence")
    share_printed = _printed("data/germination/normal_seedlings_percent.csv", "percent_normal")
    spread = math.exp(1.2816 * crop.emergence.sigma_pace)
    rows = []
    for temp in _TEMPS_C:
        days = float(days_at_constant(float(temp), crop.emergence))
        row = [str(temp), _days(days), _span(days / spread, days * spread)]
        if other is not None:
            row.append(_days(float(days_at_constant(float(temp), other))))
        share = float(relative_fraction(float(temp), crop.emergence))
        row += [f"{share:.0%}"]
        row += [days_printed.get((crop.id, temp), ""), share_printed.get((crop.id, temp), "")]
        rows.append(tuple(row))
    keep = [at for at in range(len(header)) if any(row[at] for row in rows)]
    return CardTable(
        tuple(header[at] for at in keep), tuple(tuple(row[at] for at in keep) for row in rows)
    )


@cache
def _printed(table: str, column: str) -> Mapping[tuple[str, int], str]:
    """What a published table prints by crop and temperature, of sources that name one crop."""
    found: dict[tuple[str, int], str] = {}
    for row in read_table(table):
        ids = crop_ids(row["crop"])
        if len(ids) != 1 or not row[column]:
            continue
        text = row[column]
        if column == "percent_normal":
            text = f"{text} %"
        elif text == "NG":
            text = "none came"
        found.setdefault((ids[0], int(float(row["temperature_c"]))), text)
    return found


def _days(days: float) -> str:
    if days == float("inf"):
        return "never"
    return f"{days:.1f}" if days < 10 else f"{days:.0f}"


def _span(low: float, high: float) -> str:
    return "" if low == float("inf") else f"{_days(low)} to {_days(high)}"


def _growing_section(crop: Crop) -> Section:
    """Temperatures after emergence and every source's weeks with their conditions."""
    facts = crop.facts
    rows = [fact_row(CROP_KEYS[key].label, facts[key], with_others=key != "day_temp_c")
            for key in ("day_temp_c", "night_temp_c") if key in facts]  # fmt: skip
    rows += [fact_row(f"leaves: {CROP_KEYS[key].label}", facts[key])
             for key in ("growth.base_c", "growth.optimum_c", "growth.ceiling_c")]  # fmt: skip
    if "leaves_when_ready" in facts:
        rows.append(fact_row(CROP_KEYS["leaves_when_ready"].label, facts["leaves_when_ready"]))
    rows = [_without_repeated_note(rows, at) for at in range(len(rows))]
    weeks = facts.get("weeks_to_transplant")
    table = None
    notes: list[str] = []
    if weeks is not None and weeks.high == 0:
        notes.append(weeks.why)
    elif weeks is not None:
        lines = tuple(
            (_weeks(each), cited(each.source, each.basis), each.why)
            for each in (weeks, *weeks.others)
        )
        table = CardTable(("weeks from sowing", "source", "holds for"), lines)
    return Section("Growing on", tuple(rows), table, tuple(notes))


def _without_repeated_note(rows: list[CardRow], at: int) -> CardRow:
    """Say a note once where rows in succession share it."""
    row = rows[at]
    if at and row.note and row.note == rows[at - 1].note:
        return replace(row, note="")
    return row


def _weeks(fact: Fact) -> str:
    low, high = fact.low or 0.0, fact.high or 0.0
    return f"{low:.3g}" if low == high else f"{low:.3g} to {high:.3g}"


def _ready_section(rules: list[ReadyRule]) -> Section:
    """Ready rules, those that agree put together."""
    grouped: dict[tuple[str, ...], list[str]] = {}
    for rule in rules:
        spread = f"{rule.days_ref:.0f} d at {rule.temp_ref_c:g} °C"
        toning = f"+{rule.tone_d} d" if rule.tone_d else "none"
        path = f"from a {rule.pot_on_from_class}" if rule.pot_on_from_class else ""
        path = f"{path} after {rule.pot_on_d_ref:.0f} d; " if path and rule.pot_on_d_ref else ""
        key = (rule.container_class.value, spread, f"{rule.window_d_ref:g} d", toning,
               f"{path}{rule.words} [{cited(rule.source, rule.basis)}]")  # fmt: skip
        grouped.setdefault(key, []).append(rule.system)
    rows = tuple((key[0], ", ".join(each), *key[1:]) for key, each in grouped.items())
    if not rows:
        return Section("Ready", (), None, ("No ready rule: orders of this crop are refused.",))
    header = ("in a", "for", "after emergence", "window", "toning", "ready when")
    return Section("Ready", (), CardTable(header, rows))


def container_card(catalog: Catalog, name: str) -> Card:
    """Everything the reference and the house know of a container.

    Parameters
    ----------
    catalog : Catalog
        Reference with the house's own values.
    name : str
        Container, in any spelling.

    Returns
    -------
    card : Card
        Sections with rows.

    Raises
    ------
    UnknownNameError
        If no container has the name.
    """
    container = catalog.container(name)
    facts = container.facts
    size_keys = ("cells", "rows", "cols", "outer_length_mm", "outer_width_mm", "cell_top_mm",
                 "cell_bottom_mm", "depth_mm", "cell_shape", "cell_volume_ml")  # fmt: skip
    use_keys = ("takes_mix", "reusable", "price", "organic_ok")
    size = _container_rows(facts, size_keys)
    notes = []
    inferred = [each for each in size if each.basis in {"computed", "assumption"}]
    if inferred:
        count = "1 value is" if len(inferred) == 1 else f"{len(inferred)} of these values are"
        notes.append(f"{count} inferred; each says by which rule.")
    size = [*size, *_derived_rows(container)]
    if "note" in facts:
        notes.append(f"Note: {facts['note'].value}")
    systems = [each.id for each in catalog.systems.values() if each.takes(container)]
    crops = [each.id for each in catalog.crops.values() if container.id in each.cells_ok]
    fit = (
        f"Systems that take it: {', '.join(systems) or 'none'} (common practice).",
        f"{CROPS_NOTE} {', '.join(crops) or 'none'}.",
    )
    unit = "lifted unit: a tray, or a sheet or loose pieces in a carrier"
    return Card(
        "container",
        container.id,
        container.name,
        f"{container.kind}, class {container.container_class.value}; {unit}.",
        (
            Section("Size", tuple(size), None, tuple(notes)),
            Section("Use", tuple(_container_rows(facts, use_keys)), None, fit),
        ),
        sources_of(facts.values()),
    )


def _container_rows(facts: Mapping[str, Fact], keys: tuple[str, ...]) -> list[CardRow]:
    return [
        fact_row(CONTAINER_KEYS[key][0], facts[key])
        for key in keys
        if key in facts and facts[key].value is not None
    ]


def _derived_rows(container: Container) -> list[CardRow]:
    """What follows from the size."""
    per_m2 = container.cells / container.area_m2
    rows = [
        CardRow("footprint", show_number(container.area_m2), "m2", basis="computed",
                note="outer length x width"),
        CardRow("cells per square meter", show_number(per_m2), "", basis="computed",
                note="cells / footprint, trays touching"),
    ]  # fmt: skip
    if container.takes_mix:
        liters = container.cells * container.cell_volume_ml / 1000.0
        rows.append(
            CardRow("mix when full", show_number(liters), "l", basis="computed",
                    note="cells x volume, without settling")
        )  # fmt: skip
    return rows
