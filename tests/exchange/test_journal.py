from datetime import date

import pytest

from sowbench.domain.journal import Entry, EntryKind
from sowbench.exchange.journal import read_journal
from sowbench.science.errors import InputFileError

HEAD = "entry,date,kind,sowing,order,n,place,crop,lot,container,n_containers,corrects,trays"
SOWN = "e1,2027-03-04,sown,S-1,,144,Warm room,kale,L1,plug-72,2,"


@pytest.fixture
def read(write, resolve_crop):
    def read_lines(*lines, sowings=("S-1", "S-2")):
        return read_journal(
            write("journal.csv", "\n".join([HEAD, *lines]) + "\n"),
            resolve_crop=resolve_crop,
            places=["Warm room", "Yard"],
            orders=["a"],
            sowings=sowings,
            containers=["plug-72"],
        )

    return read_lines


def test_entries_are_taken_in_file_order(read):
    found = read(
        SOWN,
        "e2,2027-03-09,moved,S-1,,,yard,,,,,",
        "e3,2027-03-12,Counted,S-1,,130,,,,,,",
        "e4,2027-04-02,delivered,S-1,a,120,,,,,,",
    ).entries
    assert found[0] == Entry(
        "e1",
        date(2027, 3, 4),
        EntryKind.SOWN,
        "S-1",
        144,
        place="Warm room",
        crop="kale",
        lot="L1",
        container="plug-72",
        n_containers=2,
    )
    assert [(each.kind.value, each.n, each.place, each.order) for each in found[1:]] == [
        ("moved", None, "Yard", ""),
        ("counted", 130, "", ""),
        ("delivered", 120, "", "a"),
    ]


@pytest.mark.parametrize(
    ("line", "column", "word"),
    [
        ("x,4.3.2027,sown,S-1,,144,Yard,,,,,", "date", "2027-03-04"),
        ("x,2027-03-04,sawn,S-1,,144,Yard,,,,,", "kind", "'sown'"),
        ("x,2027-03-04,,S-1,,144,Yard,,,,,", "kind", "blank"),
        ("x,2027-03-04,sown,,,144,Yard,,,,,", "sowing", "blank"),
        ("x,2027-03-04,sown,S-1,,,Yard,,,,,", "n", "needs n"),
        ("x,2027-03-04,sown,S-1,,0,Yard,,,,,", "n", "at least 1"),
        ("x,2027-03-04,sown,S-1,,144,,,,,,", "place", "needs place"),
        ("x,2027-03-04,sown,S-3,,144,Yard,,,plug-72,,", "crop", "needs crop"),
        ("x,2027-03-04,sown,S-3,,144,Yard,kale,,,,", "container", "needs container"),
        ("x,2027-03-04,moved,S-1,,,,,,,,", "place", "needs place"),
        ("x,2027-03-04,moved,S-1,,,Attic,,,,,", "place", "'Attic'"),
        ("x,2027-03-04,moved,S-9,,,Yard,,,,,", "sowing", "'S-9'"),
        ("x,2027-03-04,counted,S-1,,,,,,,,", "n", "needs n"),
        ("x,2027-03-04,lost,S-1,,,,,,,,", "n", "needs n"),
        ("x,2027-03-04,delivered,S-1,a,,,,,,,", "n", "needs n"),
        ("x,2027-03-04,delivered,S-1,,5,,,,,,", "order", "needs order"),
        ("x,2027-03-04,delivered,S-1,z,5,,,,,,", "order", "'z'"),
        ("x,2027-03-04,corrected,S-1,,,,,,,,", "kind", "corrects"),
        ("x,2027-03-04,lost,S-1,,5,,,,,,e9", "corrects", "'e9'"),
    ],
)
def test_each_wrong_row_is_named_with_what_would_be_right(read, problems_of, line, column, word):
    found = problems_of(read, line)
    assert [each[:2] for each in found] == [(2, column)]
    assert word in found[0][3]


@pytest.mark.parametrize(
    ("line", "column", "word"),
    [
        ("x,2027-03-05,sown,S-1,,10,Yard,,,,,", "sowing", "'e1'"),
        ("x,2027-03-03,moved,S-1,,,Yard,,,,,", "date", "2027-03-04"),
        ("x,2027-03-09,counted,S-1,,145,,,,,,", "n", "144"),
        ("x,2027-03-09,lost,S-1,,145,,,,,,", "n", "144"),
        ("e1,2027-03-09,lost,S-1,,5,,,,,,", "entry", "row 2"),
    ],
)
def test_entries_of_a_sowing_must_fit_each_other(read, problems_of, line, column, word):
    found = problems_of(read, SOWN, line)
    assert [each[:2] for each in found] == [(3, column)]
    assert word in found[0][3]


def test_entry_sent_twice_counts_once_and_is_reported(read):
    found = read(SOWN, SOWN)
    assert len(found.entries) == 1
    assert any("twice" in each for each in found.notes)


def test_later_entry_replaces_the_one_it_corrects(read):
    found = read(
        SOWN,
        "e2,2027-03-12,counted,S-1,,13,,,,,,",
        "e3,2027-03-12,counted,S-1,,130,,,,,,e2",
    ).entries
    assert [(each.id, each.n) for each in found] == [("e1", 144), ("e3", 130)]


def test_corrected_strikes_an_entry(read):
    found = read(
        SOWN,
        "e2,2027-03-12,lost,S-1,,13,,,,,,",
        "e3,2027-03-13,corrected,S-1,,,,,,,,e2",
    ).entries
    assert [each.id for each in found] == ["e1"]


def test_entry_is_corrected_once_and_only_by_a_later_one(read, problems_of):
    twice = problems_of(
        read,
        SOWN,
        "e2,2027-03-12,lost,S-1,,13,,,,,,",
        "e3,2027-03-13,corrected,S-1,,,,,,,,e2",
        "e4,2027-03-13,lost,S-1,,3,,,,,,e2",
    )
    assert [each[:2] for each in twice] == [(5, "corrects")]
    early = problems_of(
        read, SOWN, "e2,2027-03-12,lost,S-1,,13,,,,,,e3", "e3,2027-03-13,lost,S-1,,3,,,,,,"
    )
    assert [each[:2] for each in early] == [(3, "corrects")]


def test_kinds_a_plan_does_not_use_are_left_aside_and_reported(read):
    found = read(SOWN, "e2,2027-03-12,watered,S-1,,,,,,,,", "e3,2027-03-12,noted,S-1,,,,,,,,")
    assert len(found.entries) == 1
    assert any("2 entries" in each for each in found.notes)


def test_trays_are_numbers_and_spans(read):
    found = read(
        SOWN, "e2,2027-03-12,counted,S-1,,60,,,,,,,2", "e3,2027-03-12,lost,S-1,,,,,,,,,1-2"
    )
    assert [each.trays for each in found.entries] == [(), (2,), (1, 2)]


@pytest.mark.parametrize(
    ("first", "trays", "word"),
    [
        (SOWN, "two", "3|4"),
        (SOWN, "0", "3|4"),
        (SOWN, "3", "2 trays"),
        ("e1,2027-03-04,sown,S-3,,144,Yard,kale,,plug-72,,", "1", "n_containers"),
    ],
)
def test_trays_that_there_cannot_be_are_a_problem(read, first, trays, word):
    sowing = first.split(",")[3]
    with pytest.raises(InputFileError) as caught:
        read(first, f"e2,2027-03-12,dumped,{sowing},,,,,,,,,{trays}")
    (problem,) = caught.value.problems
    assert (problem.row, problem.column) == (3, "trays")
    assert word in problem.message
