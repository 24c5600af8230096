from datetime import UTC, date, datetime

from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.ports.learned import KeptFinished

NOW = datetime(2027, 3, 9, 8, 30, tzinfo=UTC)
DAY = date(2027, 3, 9)
FREEZE = "freeze|pace to emergence|crop|basil"


def test_a_choice_is_kept_changed_and_taken_back_with_its_history(book):
    with book.writing() as unit:
        assert unit.learned.choose(FREEZE, 1.1, NOW, "Ana", "a cold spring")
        assert not unit.learned.choose(FREEZE, 1.1, NOW, "Ben", "again")
        assert unit.learned.choose(FREEZE, 1.2, NOW, "Ben", "colder still")
        assert unit.learned.choose("drop|final stand|S-1", None, NOW, "", "")
        unit.commit()
    with book.reading() as unit:
        found = unit.learned.choices()
        assert [(each.name, each.value, each.person) for each in found] == [
            ("drop|final stand|S-1", None, ""),
            (FREEZE, 1.2, "Ben"),
        ]
        assert found[1].at == NOW
    with book.writing() as unit:
        assert unit.learned.undo(FREEZE, NOW, "Ana", "")
        assert not unit.learned.undo(FREEZE, NOW, "Ana", "")
        changes = unit.learned.history(FREEZE)
    assert [(each.before, each.after) for each in changes] == [
        (None, "1.1"),
        ("1.1", "1.2"),
        ("1.2", None),
    ]


def test_finished_sowings_are_kept_replaced_and_dropped_by_a_rebuild(book):
    rows = [KeptFinished("S-1", 3, "1", "{}"), KeptFinished("S-2", 4, "1", "{}")]
    with book.writing() as unit:
        unit.learned.keep_finished(rows)
        unit.learned.keep_finished([KeptFinished("S-2", 9, "1", "[]")])
        assert unit.learned.finished()["S-2"].seq == 9
        unit.learned.forget_finished(["S-1"])
        assert set(unit.learned.finished()) == {"S-2"}
        unit.journal.rebuild()
        assert unit.learned.finished() == {}


def test_sowings_that_ended_are_told_with_their_last_entry(book):
    def entry(id_, kind, sowing, day, **more):
        return Entry(id_, day, kind, sowing, **more)

    later = date(2027, 4, 20)
    with book.writing() as unit:
        unit.journal.add(
            [
                entry("a", EntryKind.SOWN, "S-1", DAY, n=72, n_containers=1, crop="basil"),
                entry("b", EntryKind.SOWN, "S-2", DAY, n=72, n_containers=1, crop="kale"),
                entry("c", EntryKind.LOST, "S-1", DAY, n=3),
                entry("d", EntryKind.DUMPED, "S-1", later),
                entry("e", EntryKind.NOTED, "", later),
            ],
            NOW,
        )
        assert unit.learned.ended(10) == [("S-1", "basil", DAY, later, 4, "d")]
        assert unit.learned.last_seq() == 5
        assert unit.learned.losses_entered(["S-1", "S-2"]) == {2027}
        assert unit.learned.losses_entered(["S-2"]) == frozenset()


def test_what_a_plan_was_made_with_stays(book):
    with book.writing() as unit:
        assert unit.learned.of_plan(7) is None
        unit.learned.keep_plan(7, '{"a":1}')
        unit.learned.keep_plan(7, '{"a":2}')
        assert unit.learned.of_plan(7) == '{"a":2}'
        assert unit.learned.minutes_planned(["2027-03-09/sow/S-1/bench"]) == {}
