"""The house filled in part by part: checked by the reader of house.toml, every version kept."""

import tomllib
from datetime import UTC, date, datetime
from typing import Any

import pytest

from sowbench.bootstrap import open_desk
from sowbench.science.errors import UnknownNameError
from sowbench.services.house_fields import TABLES
from sowbench.services.house_forms import house_form, save_table, shown_value, take_table_out
from sowbench.services.house_page import house_view
from sowbench.services.house_versions import (
    bring_back,
    house_file,
    save_text,
    take_house_in,
    text_form,
    version_view,
    versions_view,
)

NOW = datetime(2027, 3, 9, 8, tzinfo=UTC)
HOUSE = """# Ours.
[house]
name = "Hill"

[crew]
minutes_per_day = 480 # one person
sow_days = ["Tue", "Thu"]
closed = ["2027-05-31"]

[[place]]
name = "Warm room"
kind = "chamber"
positions = 80
temp_c = 22.0

# On the south side.
[[place]]
name = "Bench"
kind = "bench"
area_m2 = 40.0

[[container]]
id = "plug-128"
in_stock = 400

[prices]
currency = "crowns"
"""


@pytest.fixture
def desk(tmp_path):
    with open_desk(tmp_path / "book", clock=lambda: NOW) as opened:
        with opened.book.writing() as unit:
            unit.houses.put(HOUSE, NOW, "", "begun")
            unit.commit()
        yield opened


@pytest.fixture
def bare(tmp_path):
    with open_desk(tmp_path / "bare", clock=lambda: NOW) as opened:
        yield opened


def text_of(desk) -> str:
    return text_form(desk).text


def test_a_form_left_as_it_is_changes_nothing(desk):
    document = tomllib.loads(HOUSE)
    for table, at in [("house", None), ("crew", None), ("place", 0), ("place", 1),
                      ("container", 0), ("prices", None), ("minutes", None)]:  # fmt: skip
        form = house_form(desk, table, at)
        known = document.get(table, {})
        known = known if at is None else known[at]
        assert {k: v for k, v in form.values.items() if v} == {
            key: shown_value(value) for key, value in known.items()
        }
        kept, wrong = save_table(desk, table, at, form.values)
        assert wrong is None
        assert kept is not None
    assert text_of(desk) == HOUSE
    assert len(versions_view(desk)) == 1


def test_one_value_is_changed_on_its_line_and_becomes_a_version(desk):
    form = house_form(desk, "crew", None)
    kept, wrong = save_table(desk, "crew", None, dict(form.values) | {"minutes_per_day": "960"})
    assert wrong is None
    assert kept is not None
    assert kept.version == 2
    assert kept.kept_comments
    assert text_of(desk) == HOUSE.replace("480", "960")
    view = version_view(desk, 2)
    assert [(each.mark, each.text) for each in view.lines if each.mark in "+-"] == [
        ("-", "minutes_per_day = 480 # one person"),
        ("+", "minutes_per_day = 960 # one person"),
    ]


def test_days_of_the_week_are_ticked_one_by_one(desk):
    form = house_form(desk, "crew", None)
    values = {key: text for key, text in form.values.items() if key != "sow_days"}
    values |= {"sow_days.Mon": "yes", "sow_days.Fri": "yes"}
    _, wrong = save_table(desk, "crew", None, values)
    assert wrong is None, wrong
    assert tomllib.loads(text_of(desk))["crew"]["sow_days"] == ["Mon", "Fri"]


@pytest.mark.parametrize(
    ("table", "at", "changed", "key", "said"),
    [
        ("place", 1, {"area_m2": "forty"}, "area_m2", "must be a number"),
        ("place", 1, {"area_m2": "40,5"}, "area_m2", "40.5"),
        ("place", 1, {"positions": "10"}, "positions", "exactly one of positions"),
        ("place", 1, {"temp_c": "72"}, "temp_c", "°F, write 22.2"),
        ("place", 1, {"heat_day_c": "21"}, "heat_day_c", "needs a weather file"),
        ("place", 1, {"usable_frac": "85"}, "usable_frac", "0.85"),
        ("place", 1, {"name": "Warm room"}, "name", "earlier table already"),
        ("place", 1, {"name": ""}, "name", "required"),
        ("place", 1, {"kind": "bensh"}, "kind", "bench"),
        ("crew", None, {"closed": "31.5.2027"}, "closed", "2027-05-31"),
        ("crew", None, {"sow_days": "Sun"}, "sow_days", "not among work_days"),
        ("container", 0, {"in_stock": "-3"}, "in_stock", "whole number"),
        ("container", 0, {"id": "plug-12800"}, "id", "Unknown container"),
        ("prices", None, {"short_plant": "cheap"}, "short_plant", "number"),
        ("house", None, {"latitude_deg": "44.5"}, "latitude_deg", "Longitude” as well"),
        ("minutes", None, {"space_per_h": "0"}, "space_per_h", "above 0"),
        ("hands", 0, {"name": "Ilo", "minutes": "Moon 240"}, "minutes", "Mon 240"),
        ("machine", 0, {"name": "drum", "containers": "plug-129", "trays_per_hour": "60"},
         "containers", "plug-128"),
        ("crop", 0, {"id": "leek", "new_key": "hold", "new_value": "3"}, "new_key", "hold_d"),
        ("crop", 0, {"id": "leek", "new_key": "hold_d", "new_value": "x"}, "new_value", "whole"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_beside_its_field_and_nothing_is_kept(
    desk, table, at, changed, key, said
):
    form = house_form(desk, table, at)
    kept, wrong = save_table(desk, table, at, dict(form.values) | changed)
    assert kept is None
    assert wrong is not None
    assert said in " ".join(wrong.problems[key])
    assert dict(wrong.values) | changed == dict(wrong.values)
    assert text_of(desk) == HOUSE


def test_own_values_of_crops_and_containers_and_rates_come_to_the_planner(desk):
    given = [
        ("crop", 0, {"id": "leek", "new_key": "hold_d", "new_value": "9"}),
        ("container", 1, {"id": "ours-60", "container_class": "plug", "cells": "60",
                          "outer_length_mm": "540", "outer_width_mm": "280",
                          "cell_volume_ml": "30", "in_stock": "12", "reusable": "yes"}),
        ("minutes", None, {"space_per_h": "700"}),
        ("machine", 0, {"name": "drum", "containers": "plug-128, ours-60",
                        "trays_per_hour": "60"}),
    ]  # fmt: skip
    for table, at, values in given:
        kept, wrong = save_table(desk, table, at, values)
        assert kept is not None, wrong
    view = house_view(desk)
    assert [(each.name, each.words) for each in view.crops] == [("leek", "may be held 9")]
    assert [each.id for each in view.containers] == ["plug-128", "ours-60"]
    assert view.containers[1].is_own
    assert sum(each.is_own for each in view.rates) == 1
    assert view.machines[0].name == "drum"
    assert "# On the south side." in text_of(desk)


def test_a_place_is_added_and_taken_out_with_its_comment_alone(desk):
    values = {"name": "Yard", "kind": "yard", "area_m2": "20"}
    kept, wrong = save_table(desk, "place", 99, values)
    assert kept is not None, wrong
    assert [each.name for each in house_view(desk).places] == ["Warm room", "Bench", "Yard"]
    kept, problems = take_table_out(desk, "place", 1)
    assert not problems
    assert "# On the south side." not in text_of(desk)
    assert "# Ours." in text_of(desk)
    with pytest.raises(UnknownNameError):
        take_table_out(desk, "place", 7)
    with pytest.raises(UnknownNameError):
        take_table_out(desk, "prices", 0)


def test_a_container_that_something_needs_cannot_be_taken_out(desk):
    own = {"id": "ours-60", "container_class": "plug", "cells": "60", "outer_length_mm": "540",
           "outer_width_mm": "280", "cell_volume_ml": "30"}  # fmt: skip
    assert save_table(desk, "container", 1, own)[0] is not None
    machine = {"name": "drum", "containers": "ours-60", "trays_per_hour": "60"}
    assert save_table(desk, "machine", 0, machine)[0] is not None
    before = text_of(desk)
    kept, problems = take_table_out(desk, "container", 1)
    assert kept is None
    assert "ours-60" in problems[0]
    assert text_of(desk) == before


def test_an_empty_book_has_a_windowsill_and_begins_with_a_name(bare):
    view = house_view(bare)
    assert view.version == 0
    assert [each.name for each in view.places] == ["windowsill"]
    kept, wrong = save_table(bare, "house", None, {"name": ""})
    assert kept is None or text_of(bare) == ""
    kept, wrong = save_table(bare, "house", None, {"name": 'The "Hill"'})
    assert kept is not None, wrong
    assert kept.version == 1
    assert text_of(bare) == '[house]\nname = "The \\"Hill\\""\n'
    assert house_view(bare).name == 'The "Hill"'


def test_what_only_assumptions_stand_behind_is_marked_and_listed(desk):
    view = house_view(desk)
    marked = {each.label for each in (*view.crew, *view.prices, *view.general) if each.is_assumed}
    assumed = {f.label for t in ("crew", "prices") for f in TABLES[t] if f.assumed}
    assert marked >= assumed - {"Days of work"}
    assert any(each.startswith("light that comes through") for each in view.places[1].assumed)
    assert any("usable_frac 0.85" in each for each in view.assumptions)
    save_table(desk, "prices", None, {"currency": "crowns", "label": "0.03"})
    after = house_view(desk)
    assert {each.label for each in after.prices if not each.is_assumed} == {
        "Currency", "A label costs",
    }  # fmt: skip


def test_the_text_is_kept_whole_or_every_problem_is_shown_by_its_line(desk):
    wrong = HOUSE.replace("positions = 80", "postions = 80").replace("40.0", '"40"')
    form: Any = save_text(desk, wrong)
    assert form.text == wrong
    lines = wrong.splitlines()
    where = {lines[each.line - 1].strip() for each in form.problems}
    assert "postions = 80" in where
    assert 'area_m2 = "40"' in where
    assert text_of(desk) == HOUSE
    broken: Any = save_text(desk, HOUSE.replace('"Hill"', "Hill"))
    assert broken.problems[0].line == 3
    assert save_text(desk, HOUSE.replace("Hill", "Hollow")) is None
    assert versions_view(desk)[0].n_added == 1


@pytest.mark.parametrize("text", ["", "[", "x = 1", "[house]\nname = 3", "\x00", "[[house]]\n"])
def test_any_text_is_answered_in_words(desk, text):
    form: Any = save_text(desk, text)
    assert form.problems
    assert all(each.message for each in form.problems)
    assert text_of(desk) == HOUSE


def test_an_earlier_version_is_brought_back_as_a_new_one(desk):
    save_text(desk, HOUSE.replace("Hill", "Hollow"))
    assert bring_back(desk, 1) is None
    versions = versions_view(desk)
    assert [each.version for each in versions] == [3, 2, 1]
    assert versions[0].is_current
    assert text_of(desk) == HOUSE
    with pytest.raises(UnknownNameError):
        version_view(desk, 99)


def test_house_and_weather_are_taken_in_together_or_not_at_all(bare):
    text = (
        '[house]\nname = "Hill"\nweather = "hill.epw"\n\n'
        '[[place]]\nname = "b"\nkind = "bench"\narea_m2 = 4\nheat_day_c = 18\n'
    )
    form: Any = take_house_in(bare, text.encode(), None)
    assert "no weather file 'hill.epw'" in form.problems[0].message
    assert form.problems[0].line == 3
    form = take_house_in(bare, text.encode(), ("other.epw", b"x"))
    assert "'other.epw'" in form.problems[0].message
    form = take_house_in(bare, text.encode(), ("hill.epw", b"no weather at all"))
    assert form.problems
    with bare.book.reading() as unit:
        assert unit.files.names() == []
        assert unit.houses.current() is None
    for content in (None, b"\xff\xfe"):
        form = take_house_in(bare, content, None)
        assert form.problems


def test_files_are_given_back_as_they_are(desk):
    assert house_file(desk).decode() == HOUSE
    with pytest.raises(UnknownNameError):
        house_file(desk, "../secret")


def test_closed_days_are_read_as_days(desk):
    form = house_form(desk, "crew", None)
    values = dict(form.values) | {"closed": "2027-12-24, 2027-05-31"}
    assert save_table(desk, "crew", None, values)[1] is None
    assert tomllib.loads(text_of(desk))["crew"]["closed"] == [
        date(2027, 5, 31), date(2027, 12, 24),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("key", "text", "label"),
    [("area_m2", "-4", "Area of the bench top"), ("usable_frac", "7", "Share of the area"),
     ("heat_day_c", "warm", "Heated by day to")],
)  # fmt: skip
def test_a_problem_names_the_label_and_not_the_key_of_the_file(desk, key, text, label):
    form = house_form(desk, "place", 0)
    _, wrong = save_table(desk, "place", 0, {**form.values, key: text})
    assert wrong is not None
    said = " ".join(wrong.problems[key])
    assert f"“{label}" in said
    assert key not in said


def test_money_has_a_unit_even_where_the_house_names_no_currency(desk):
    by_key = {each.key: each.unit for each in house_form(desk, "prices", None).fields}
    with desk.book.reading() as unit:
        own = tomllib.loads(unit.houses.current().text).get("prices", {}).get("currency", "")
    assert by_key["short_plant"] == (own or "money units of the house")
    values = dict(house_form(desk, "prices", None).values) | {"currency": ""}
    assert save_table(desk, "prices", None, values)[1] is None
    by_key = {each.key: each.unit for each in house_form(desk, "prices", None).fields}
    assert by_key["short_plant"] == "money units of the house"
