"""Every row of the reference has a source and a basis, and the best-founded value is used."""

import csv
from importlib import resources

import pytest

from sowbench.domain.records import Fact
from sowbench.reference.tables import Candidate, choose, read_table, sources, standing
from sowbench.science.errors import InputFileError

BASES = {
    "seen",
    "computed",
    "from memory",
    "common practice",
    "assumption",
}
OWN_TABLES = [
    "crops.csv",
    "crop_values.csv",
    "containers.csv",
    "container_choices.csv",
    "aliases.csv",
    "container_aliases.csv",
    "systems.csv",
    "labor.csv",
    "cautions.csv",
    "sow_steps.csv",
]


def folder():
    return resources.files("sowbench.reference")


@pytest.mark.parametrize("name", OWN_TABLES)
def test_every_row_has_a_source_and_a_basis(name):
    rows = read_table(name)
    assert rows
    for row in rows:
        assert row["source"], row
        assert row["basis"] in BASES or row["basis"].startswith("{"), row


@pytest.mark.parametrize("name", ["crop_values.csv", "containers.csv", "systems.csv", "labor.csv"])
def test_every_source_of_a_value_is_in_the_list_of_sources(name):
    known = set(sources())
    for row in read_table(name):
        for each in row["source"].split(";"):
            assert each.strip().partition(" ")[0] in known or each.strip() in known, row


def test_sources_file_lists_what_the_table_lists():
    text = folder().joinpath("SOURCES.md").read_text(encoding="utf-8")
    listed = {line.split("|")[1].strip() for line in text.splitlines() if line.startswith("| ")}
    assert set(sources()) - listed == set()


def test_no_table_names_a_web_address():
    for name in ("sources.csv", "SOURCES.md", *OWN_TABLES):
        text = folder().joinpath(name).read_text(encoding="utf-8")
        assert "http" not in text, name
        assert "www." not in text, name


def test_seen_by_law_or_extension_comes_before_trade_practice_memory_and_assumption():
    def fact(source, basis):
        return Fact("depth_mm", 1.0, "mm", source=source, basis=basis)

    order = [
        fact("house file", "house"),
        fact("C01", "seen"),
        fact("C11", "seen"),
        fact("C13", "computed"),
        fact("C06", "seen"),
        fact("common practice", "common practice"),
        fact("memory", "from memory"),
        fact("assumption", "assumption"),
    ]
    standings = [standing(each) for each in order]
    assert standings == sorted(set(standings))


def test_choice_keeps_the_others_and_prefers_the_crop_itself_to_its_kin():
    own = Candidate(Fact("min_c", 7.0, "°C", source="memory", basis="from memory"), scope=0)
    other = Candidate(Fact("min_c", 8.0, "°C", source="C06", basis="seen"), scope=0)
    kin = Candidate(Fact("min_c", 2.0, "°C", source="C01", basis="seen"), scope=2)
    used = choose([kin, own, other])
    assert used is not None
    assert used.value == 8.0
    assert [each.value for each in used.others] == [7.0]


def test_a_row_ranked_as_never_used_is_kept_beside_but_not_used():
    kept = Candidate(Fact("min_c", 7.0, "°C", source="C01", basis="seen"), rank=9)
    used = choose([kept, Candidate(Fact("min_c", 5.0, "°C", source="memory", basis="from memory"))])
    assert used is not None
    assert used.value == 5.0
    assert used.others[0].value == 7.0
    assert choose([kept]) is None


def test_a_missing_table_is_named():
    with pytest.raises(InputFileError, match=r"no_such\.csv: the table is missing"):
        read_table("no_such.csv")


def test_a_row_with_a_column_too_many_is_refused_with_its_number(monkeypatch):
    class Fake:
        def joinpath(self, *parts):
            return self

        def read_text(self, encoding):
            return "a,b\n1,2\n1,2,3\n1\n"

    monkeypatch.setattr(resources, "files", lambda package: Fake())
    with pytest.raises(InputFileError) as caught:
        read_table.__wrapped__("fake.csv")
    assert [each.row for each in caught.value.problems] == [3, 4]


def test_tables_have_the_same_number_of_columns_throughout():
    for name in OWN_TABLES:
        text = folder().joinpath(name).read_text(encoding="utf-8")
        widths = {len(row) for row in csv.reader(text.splitlines())}
        assert len(widths) == 1, name
