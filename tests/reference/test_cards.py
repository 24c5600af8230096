"""Cards of crops and containers: complete, honest and within the width."""

import json

import pytest

from sowbench.domain.records import Fact
from sowbench.reference.card_layout import cited, disagreeing, fact_row, show_number
from sowbench.reference.cards import card_dict, container_card, crop_card, render_text
from sowbench.reference.catalog import load_catalog
from sowbench.science.errors import UnknownNameError

CATALOG = load_catalog()


@pytest.mark.parametrize("crop", sorted(CATALOG.crops))
def test_card_of_a_crop_fits_100_columns_and_names_its_sources(crop):
    card = crop_card(CATALOG, crop)
    text = render_text(card, 100)
    assert max(len(line) for line in text.splitlines()) <= 100
    assert "SOURCES" in text
    assert "{" not in text
    for section in card.sections:
        for row in section.rows:
            assert row.source or row.basis, (crop, row.label)
    cited_ids = {name for name, _ in card.sources}
    for fact in CATALOG.crops[crop].facts.values():
        known = set(CATALOG.sources)
        for part in fact.source.split(";"):
            name = part.strip().partition(" ")[0]
            if name in known and CATALOG.sources[name].topic != "own":
                assert name in cited_ids, (crop, name)


@pytest.mark.parametrize("container", sorted(CATALOG.containers))
def test_card_of_a_container_fits_100_columns(container):
    text = render_text(container_card(CATALOG, container), 100)
    assert max(len(line) for line in text.splitlines()) <= 100
    assert "outer length" in text


@pytest.mark.parametrize("width", [60, 80, 120])
def test_cards_fit_other_widths(width):
    for card in (crop_card(CATALOG, "lettuce"), container_card(CATALOG, "plug-128")):
        assert max(len(line) for line in render_text(card, width).splitlines()) <= width


def test_card_says_which_emergence_table_was_used_and_shows_the_other():
    text = " ".join(render_text(crop_card(CATALOG, "onion")).split())
    assert "Table used: HM54-K" in text
    assert "The other table, BW74" in text
    assert "other table" in text


def test_card_shows_the_printed_days_and_percent():
    card = crop_card(CATALOG, "lettuce")
    table = next(each.table for each in card.sections if each.title == "Emergence")
    assert table is not None
    at = {name: column for column, name in enumerate(table.header)}
    by_temp = {row[0]: row for row in table.rows}
    # Harrington and Minges 1954, lettuce: 3 d at 20 °C; 12 percent normal at 30 °C.
    assert by_temp["20"][at["printed days"]] == "3"
    assert by_temp["30"][at["printed percent"]] == "12 %"
    assert by_temp["35"][at["printed days"]] == "none came"


def test_card_says_where_only_memory_stands_behind_a_value():
    lines = render_text(crop_card(CATALOG, "arugula")).splitlines()
    depth = next(line for line in lines if line.strip().startswith("depth"))
    assert "[memory]" in depth


def test_card_says_that_sources_disagree():
    text = render_text(crop_card(CATALOG, "lettuce"))
    assert "SOURCES DISAGREE, also: 6 [C01]" in text


def test_card_lists_every_weeks_row_with_its_conditions():
    card = crop_card(CATALOG, "pepper")
    growing = next(each for each in card.sections if each.title == "Growing on")
    assert growing.table is not None
    rows = {row[1]: row for row in growing.table.rows}
    assert {"C01", "C02", "C04", "C06", "C07", "C08", "C09", "C10"} <= set(rows)
    assert rows["C01"][0] == "7 to 9"
    assert rows["C02"][0] == "8 to 10"
    assert "night 18.3 °C" in rows["C01"][2]


def test_a_crop_without_ready_rule_says_so():
    assert "No ready rule" in render_text(crop_card(CATALOG, "carrot"))


def test_card_of_an_inferred_container_says_by_which_rule():
    text = " ".join(render_text(container_card(CATALOG, "plug-288")).split())
    assert "inferred; each says by which rule" in text
    assert "even taper that gives the published volume" in text


def test_house_values_are_marked_on_the_card():
    catalog = load_catalog([{"id": "tomato", "hold_d": 4}])
    text = render_text(crop_card(catalog, "tomato"))
    line = next(line for line in text.splitlines() if line.strip().startswith("may be held"))
    assert "4 d" in line
    assert "[house]" in line


def test_card_as_plain_values_goes_through_json():
    card = crop_card(CATALOG, "basil")
    data = json.loads(json.dumps(card_dict(card)))
    assert data["id"] == "basil"
    assert data["sections"][0]["rows"][0]["label"] == "seeds per gram"


def test_cards_take_any_spelling_and_refuse_unknown_names():
    assert crop_card(CATALOG, "courgette").id == "summer squash"
    assert container_card(CATALOG, "128-cell tray").id == "plug-128"
    with pytest.raises(UnknownNameError):
        crop_card(CATALOG, "moonflower")


def test_values_close_together_are_no_disagreement():
    def fact(value, unit="°C", source="C01"):
        return Fact("x", value, unit, source=source, basis="seen")

    near = fact(20.0)
    assert not fact_row("x", Fact(**{**as_kwargs(near), "others": (fact(21.0),)})).disagree
    assert fact_row("x", Fact(**{**as_kwargs(near), "others": (fact(25.0),)})).disagree
    far = Fact(**{**as_kwargs(near), "others": (fact(25.0, source="C04"),)})
    assert disagreeing(far) == "sources disagree: 25 °C [C04]"
    assert disagreeing(near) == ""


def as_kwargs(fact):
    return {name: getattr(fact, name) for name in fact.__slots__}


@pytest.mark.parametrize(
    ("source", "basis", "expected"),
    [
        ("C01", "seen", "C01"),
        ("BW74", "from memory", "BW74, memory"),
        ("memory", "from memory", "memory"),
        ("memory", "computed", "memory, computed"),
        ("assumption", "assumption", "assumed"),
        ("C71;C72", "seen", "C71; C72"),
    ],
)
def test_short_citations(source, basis, expected):
    assert cited(source, basis) == expected


@pytest.mark.parametrize(
    ("value", "expected"),
    [(9700.0, "9,700"), (0.65, "0.65"), (float("inf"), "never"), (405, "405")],
)
def test_numbers_as_shown(value, expected):
    assert show_number(value) == expected
