"""Values of a TOML text are changed in place, and comments stay."""

from __future__ import annotations

import tomllib
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sowbench.exchange.toml_edit import line_of, set_values, take_out, toml_text, toml_value

HOUSE = """# The house of an example.

[house]
name = "Hill" # what it is called
light = 'south'

[crew]
closed = [
  2027-05-31, # a holiday
  2027-12-24,
]
minutes_per_day = 480 # one person # all day

# Where trays stand.
[[place]]
name = "Warm # room"
kind = "chamber"
positions = 80

# The second.
[[place]]
name = "Bench"
kind = "bench"
area_m2 = 40.0 # tops

[prices]
label = 0.02
"""


def test_a_value_is_set_on_its_line_and_the_comment_behind_it_stays():
    edited = set_values(HOUSE, "crew", None, {"minutes_per_day": 960})
    assert edited.kept_comments
    assert "minutes_per_day = 960 # one person # all day\n" in edited.text
    assert edited.text.replace("960", "480") == HOUSE


def test_a_key_is_added_behind_the_last_of_its_table_and_before_the_next_comment():
    edited = set_values(HOUSE, "place", 0, {"temp_c": 22.0})
    assert "positions = 80\ntemp_c = 22.0\n\n# The second.\n" in edited.text
    assert tomllib.loads(edited.text)["place"][0]["temp_c"] == 22.0


def test_a_key_over_several_lines_is_replaced_or_taken_out_whole():
    edited = set_values(HOUSE, "crew", None, {"closed": [date(2027, 1, 1)]})
    assert "closed = [2027-01-01]\nminutes_per_day" in edited.text
    gone = set_values(HOUSE, "crew", None, {"closed": None})
    assert gone.text == HOUSE.replace(
        "closed = [\n  2027-05-31, # a holiday\n  2027-12-24,\n]\n", ""
    )


def test_a_hash_within_a_text_is_no_comment():
    edited = set_values(HOUSE, "place", 0, {"name": "Cold # room"})
    assert 'name = "Cold # room"\nkind' in edited.text
    assert edited.kept_comments


def test_a_new_table_of_a_list_goes_behind_its_like():
    edited = set_values(HOUSE, "place", 2, {"name": "Yard", "kind": "yard", "area_m2": 9.0})
    assert edited.kept_comments
    assert [each["name"] for each in tomllib.loads(edited.text)["place"]][2] == "Yard"
    assert edited.text.index('"Yard"') < edited.text.index("[prices]")


def test_a_missing_table_is_added_at_the_end():
    edited = set_values(HOUSE, "minutes", None, {"space_per_h": 700.0})
    assert edited.text == f"{HOUSE}\n[minutes]\nspace_per_h = 700.0\n"


def test_a_table_is_taken_out_with_its_own_comment_alone():
    edited = take_out(HOUSE, "place", 1)
    assert edited.kept_comments
    assert "# The second." not in edited.text
    assert "# Where trays stand." in edited.text
    assert len(tomllib.loads(edited.text)["place"]) == 1


def test_a_text_that_cannot_be_changed_line_by_line_is_written_anew():
    text = 'place = [{ name = "a", kind = "bench", area_m2 = 1.0 }] # in one line\n'
    edited = set_values(text, "place", 0, {"area_m2": 2.0})
    assert not edited.kept_comments
    assert tomllib.loads(edited.text) == {"place": [{"name": "a", "kind": "bench", "area_m2": 2.0}]}


def test_the_line_of_a_table_and_of_a_key_is_found():
    # Lines are counted from 1.
    lines: dict[int | None, str] = dict(enumerate(HOUSE.splitlines(), start=1))
    assert lines[line_of(HOUSE, "place", 1, "area_m2")].startswith("area_m2")
    assert lines[line_of(HOUSE, "place", 1, "temp_c")] == "[[place]]"
    assert lines[line_of(HOUSE, "crew", None, "")] == "[crew]"
    assert line_of(HOUSE, "machine", 0) is None


_PLAIN = (
    st.text(max_size=20)
    | st.booleans()
    | st.integers(-(10**12), 10**12)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.dates()
    | st.lists(st.text(max_size=8), max_size=30)
)
_KEYS = st.text('abc_ -.#"=é', min_size=1, max_size=6)


@given(st.dictionaries(_KEYS, _PLAIN, max_size=5))
def test_whatever_is_written_reads_the_same(values):
    assert tomllib.loads(toml_text({"t": values})) == {"t": values}


@given(
    st.sampled_from(["house", "crew", "prices", "minutes"]),
    st.dictionaries(st.sampled_from(["name", "closed", "label", "x"]), _PLAIN | st.none()),
)
def test_a_change_always_gives_the_document_with_these_values(table, values):
    before = tomllib.loads(HOUSE)
    after = tomllib.loads(set_values(HOUSE, table, None, values).text)
    wanted = {k: v for k, v in before.get(table, {}).items() if k not in values}
    wanted |= {k: v for k, v in values.items() if v is not None}
    assert after.get(table, {}) == wanted
    assert {k: v for k, v in after.items() if k != table} == {
        k: v for k, v in before.items() if k != table
    }


@pytest.mark.parametrize(
    ("value", "text"),
    [("a\tb\n", '"a\\u0009b\\u000A"'), (1.0, "1.0"), (0.1, "0.1"), ({"Mon": 240}, "{ Mon = 240 }")],
)
def test_values_are_written_as_toml_has_them(value, text):
    assert toml_value(value) == text
