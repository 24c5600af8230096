"""Entries as phones send them: read whole, refused with everything that is wrong, kept once."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from tests.small_book import KALE, LEEK, TODAY, entry_id, small_desk

from sowbench.domain.journal import Entry, EntryKind
from sowbench.science.errors import OutOfRangeError
from sowbench.services.desk import Desk
from sowbench.services.entries import (
    ENTRIES_MOST,
    FIELDS,
    Said,
    Unreadable,
    entries_from_json,
    entry_from,
    fields_from_form,
    record,
)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """The small book."""
    with small_desk(tmp_path / "book") as opened:
        yield opened


def sent(name: str = "x", /, **more: object) -> dict[str, object]:
    """Write a count as a phone sends it."""
    fields: dict[str, object] = {
        "id": entry_id(name),
        "day_date": "2027-03-09",
        "kind": "counted",
        "sowing": KALE,
        "trays": [1],
        "n": 100,
        "n_of": 128,
    }
    return {**fields, **more}


def problems_of(**more: object) -> tuple[str, ...]:
    """Return what is wrong with an entry."""
    read = entry_from(sent(**more))
    assert isinstance(read, Unreadable)
    return read.problems


def test_every_field_of_an_entry_can_be_sent():
    read = entry_from(
        sent(
            id=entry_id("x").upper(),
            order="N1", place="south bench", crop="kale", variety="Longbarrow", lot="S-kale",
            container="plug-128", n_containers=3, note="slow", at="2027-03-09T13:12:00Z",
            person="Ana", reason="", values={"ec_ms_cm": 1.2, "ready_to_enter_at": "noon"},
            job="a/b/c/d", corrects="0" * 32, cells=None,
        )
    )  # fmt: skip
    assert read == Entry(
        entry_id("x"), TODAY, EntryKind.COUNTED, KALE, 100, "N1", "south bench", "kale",
        "Longbarrow", "S-kale", "plug-128", 3, "slow", datetime(2027, 3, 9, 13, 12, tzinfo=UTC),
        "Ana", (1,), 128, "", "", {"ec_ms_cm": 1.2, "ready_to_enter_at": "noon"}, "a/b/c/d",
        "0" * 32,
    )  # fmt: skip
    assert set(FIELDS) == set(Entry.__dataclass_fields__)


def test_a_map_of_cells_gives_the_numbers_that_are_not_sent():
    read = entry_from(sent(n=None, n_of="", cells="110-+..1"))
    assert isinstance(read, Entry)
    assert (read.n, read.n_of) == (4, 6)


@pytest.mark.parametrize(
    ("field", "value", "right"),
    [
        ("id", "12", "32 hexadecimal digits"),
        ("id", None, "id must be given: 32 hexadecimal digits"),
        ("day_date", "9.3.2027", "a day as 2027-03-09; got '9.3.2027'"),
        ("day_date", "1970-01-01", "day_date must be from 2000 to 2099"),
        ("kind", "sowed", "one of sown, pulled from chamber"),
        ("n", -1, "a whole number from 0 to 10,000,000; got -1"),
        ("n", 1.5, "a whole number"),
        ("n", True, "a whole number"),
        ("n", "12", "a whole number"),
        ("n", 10**12, "a whole number"),
        ("n", 129, "n must be at most n_of, the cells looked at, 128; got 129"),
        ("n_of", [], "a whole number"),
        ("trays", "1", "a list of tray numbers"),
        ("trays", [0], "a list of tray numbers"),
        ("at", "2027-03-09T08:12:00", "an instant with its zone"),
        ("sowing", "x" * 201, "a name of at most 200 characters"),
        ("sowing", "a\0b", "without NUL"),
        ("note", "x" * 4001, "a text of at most 4,000 characters"),
        ("values", {"ec": [1]}, "readings by name with unit"),
        ("values", {"ec": "a\0"}, "without NUL"),
        ("cells", "11x", "a mark a cell, row by row: . not looked at, 0 empty"),
        ("cells", "1" * 100 + "0" * 20, "n_of must be the cells looked at, 120; got 128"),
        ("cells", "1" * 99 + "0" * 29, "n must be the cells right or with too many in the map, 99"),
        ("wieght", "1", "is no field of an entry; the fields are id, day_date"),
    ],
)
def test_a_bad_field_is_named_with_what_would_be_right(field: str, value: object, right: str):
    (problem,) = problems_of(**{field: value})
    assert right in problem


def test_all_that_is_wrong_is_said_at_once():
    problems = problems_of(n=-1, day_date="soon", trays=["a"])
    assert [each.split()[0] for each in problems] == ["day_date", "trays", "n"]


def test_a_count_needs_a_number_and_a_map_its_one_tray():
    assert problems_of(n=None) == (
        "n must be given in a count: the cells with what is wanted, from 0 up.",
    )
    (problem,) = problems_of(n=None, n_of=None, cells="10", trays=[1, 2])
    assert problem == "trays must name the one tray that the map of cells shows."
    (problem,) = problems_of(kind="corrected")
    assert problem.startswith("corrects must be given where the kind is corrected")


def test_a_long_value_is_shown_in_part():
    (problem,) = problems_of(n="9" * 5000)
    assert len(problem) < 200


@pytest.mark.parametrize("body", [b"", b"{", b"\xff\xfe", b"[" * 5000])
def test_what_is_no_json_is_refused_with_its_beginning(body: bytes):
    with pytest.raises(OutOfRangeError, match="body must be a JSON list of entries"):
        entries_from_json(body)


def test_one_entry_without_its_list_is_refused():
    with pytest.raises(OutOfRangeError, match="One entry is a list of one"):
        entries_from_json(b'{"id": "a"}')


def test_too_many_entries_and_too_long_posts_are_refused():
    with pytest.raises(OutOfRangeError, match=f"at most {ENTRIES_MOST} entries; got 501"):
        entries_from_json(b"[" + b",".join([b"1"] * 501) + b"]")
    with pytest.raises(OutOfRangeError, match="at most 4,194,304 bytes"):
        entries_from_json(b" " * (4 * 2**20 + 1))


def test_what_is_no_object_in_the_list_is_refused_by_itself(desk: Desk):
    answers = record(desk, entries_from_json(b"[7]"))
    assert [each.state for each in answers] == [Said.REFUSED]
    assert len(answers[0].notes) == 3


def test_a_form_gives_the_fields_of_an_entry():
    form = {"n": "12", "n_of": "x", "trays": "3, 1,2,", "values.ph": "5.9", "values.who": "nan",
            "note": "  slow ", "order": ""}  # fmt: skip
    assert fields_from_form(form) == {
        "n": 12, "n_of": "x", "trays": [3, 1, 2], "values": {"ph": 5.9, "who": "nan"},
        "note": "slow",
    }  # fmt: skip


def test_good_entries_are_kept_beside_bad_ones_and_answered_in_order(desk: Desk):
    answers = record(desk, [sent("a"), sent("b", n=-1), sent("c", trays=[2])])
    assert [each.state for each in answers] == [Said.TAKEN, Said.REFUSED, Said.TAKEN]
    assert [each.id for each in answers] == [entry_id(name) for name in "abc"]
    with desk.book.reading() as unit:
        assert [each.entry.id for each in unit.journal.on_day(TODAY)] == [
            entry_id("a"), entry_id("c"),
        ]  # fmt: skip


def test_the_same_entry_twice_counts_once_and_another_under_its_id_is_a_clash(desk: Desk):
    assert record(desk, [sent("a"), sent("a")])[1].state is Said.KNOWN
    assert record(desk, [sent("a")])[0].state is Said.KNOWN
    assert record(desk, [sent("a", n=99)])[0].state is Said.CLASH
    with desk.book.reading() as unit:
        (kept,) = unit.journal.on_day(TODAY)
    assert kept.entry.n == 100


def test_an_entry_that_comes_late_is_counted_on_its_own_day(desk: Desk):
    record(desk, [sent("now", n=110)])
    record(desk, [sent("before", n=60, day_date="2027-03-08")])
    with desk.book.reading() as unit:
        tray = unit.today_page.tray(KALE, 1)
    assert tray is not None
    assert (tray.n_right, tray.counted_date) == (110, TODAY)


def test_what_a_person_should_look_at_is_said_and_the_entry_is_taken(desk: Desk):
    record(desk, [sent("a", person="Ana")])
    (answer,) = record(desk, [sent("b", n=90, person="Noor")])
    assert answer.state is Said.TAKEN
    assert "was counted by Ana on 2027-03-09 too" in answer.notes[0]
    (answer,) = record(desk, [sent("c", sowing="nobody", trays=[])])
    assert answer.state is Said.TAKEN
    assert answer.notes


def test_a_count_that_is_sent_again_is_told_again_who_else_counted(desk: Desk):
    record(desk, [sent("a", person="Ana"), sent("b", n=90, person="Noor")])
    (answer,) = record(desk, [sent("b", n=90, person="Noor")])
    assert answer.state is Said.KNOWN
    assert answer.notes == (f"Tray 1 of {KALE} was counted by Ana on 2027-03-09 too.",)
    record(desk, [sent("c", trays=[2], person="Noor")])
    assert record(desk, [sent("c", trays=[2], person="Noor")])[0].notes == ()


def test_nothing_is_kept_and_nothing_acknowledged_where_the_book_fails(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
):
    class Fails:
        """A book whose disk is full."""

        def writing(self) -> Any:
            raise OSError(28, "No space left on device")

    broken = Desk(Fails(), desk.parts, desk.clock, desk.executor, desk.data, desk.data_url)  # type: ignore[arg-type]
    with pytest.raises(OSError, match="No space left"):
        record(broken, [sent("a")])
    assert record(desk, [sent("a")])[0].state is Said.TAKEN


def test_nothing_to_keep_needs_no_book(desk: Desk):
    assert record(desk, []) == []
    assert record(desk, [{"sowing": LEEK}])[0].state is Said.REFUSED


@pytest.mark.parametrize("name", ["leek/", "leek/trays/3", "a/b/trays/12"])
def test_a_name_that_reads_as_the_address_of_a_tray_is_refused(name):
    fields = {"id": "0" * 32, "kind": "sown", "day_date": "2027-03-09", "sowing": name}
    read = entry_from(fields)
    assert isinstance(read, Unreadable)
    assert "/trays/" in read.problems[0]
    assert repr(name) in read.problems[0]
    assert isinstance(entry_from({**fields, "sowing": "leek/trays"}), Entry)
