import threading
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from sqlalchemy import event
from tests.store.derived import derived_rows, plan_of

from sowbench.domain.book import NewPlan, Taken
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.records import Standing
from sowbench.science.errors import OutOfRangeError
from sowbench.store.book import open_book
from sowbench.store.derive import rebuild
from sowbench.store.tables import delivery, job_done, sowing_life, tray

K = EntryKind
NOW = datetime(2027, 3, 9, 8, 30, tzinfo=UTC)
_count = iter(range(10**9))


def entry(kind, n=None, sowing="S-1", on=9, **more):
    given = {"id": f"{next(_count):032x}"} | more
    return Entry(kind=kind, day_date=date(2027, 3, on), sowing=sowing, n=n, **given)


def sown(n=20, **more):
    given = {"n_containers": 3, "values": {"n_cells_per_tray": 8}, "on": 1, "place": "chamber"}
    return entry(K.SOWN, n, **(given | more))


FULL = Entry(
    id="a" * 32,
    day_date=date(2027, 3, 9),
    kind=K.COUNTED,
    sowing="S-1",
    n=7,
    order="O 1",
    place="bench 2",
    crop="pak choi",
    variety="Früh",
    lot="L-1",
    container="plug-8",
    n_containers=1,
    note='line one\nline "two" \U0001f331',
    at=datetime(2027, 3, 9, 8, 12, 30, 250, tzinfo=timezone(timedelta(hours=-5))),
    person="Ana",
    trays=(2, 3),
    n_of=8,
    cells="0-1+.111",
    reason="thin",
    values={"ec_ms_cm": 1.25, "ph": 6.0, "ready_to_enter_at": "18:00"},
    job="2027-03-09/count/S-1/bench 2",
    corrects="b" * 32,
)


def add(book, *entries, at=NOW):
    with book.writing() as unit:
        added = unit.journal.add(entries, at)
        unit.commit()
    return added


def states(added):
    return [each.state for each in added]


def life_of(book, sowing="S-1"):
    with book.reading() as unit:
        query = sowing_life.select().where(sowing_life.c.sowing == sowing)
        return unit._connection.execute(query).one_or_none()


def test_an_entry_comes_back_as_it_was_written(book):
    blank = entry(K.NOTED, sowing="")
    assert states(add(book, FULL, blank)) == [Taken.TAKEN, Taken.TAKEN]
    with book.reading() as unit:
        kept = unit.journal.get(FULL.id)
        assert kept is not None
        assert kept.entry == FULL
        assert kept.entry.at.utcoffset() == timedelta(0)
        assert (kept.received_at, kept.struck_by) == (NOW, "")
        assert unit.journal.get(blank.id).entry == blank
        assert unit.journal.get("none") is None
        assert unit.journal.n_entries() == 2


def test_an_entry_that_comes_again_counts_once(book):
    lost = entry(K.LOST, 3)
    add(book, sown(), lost)
    elsewhere = replace(lost, at=None)
    assert states(add(book, elsewhere, elsewhere)) == [Taken.KNOWN, Taken.KNOWN]
    assert life_of(book).n_lost == 3
    twice = entry(K.LOST, 2)
    assert states(add(book, twice, twice)) == [Taken.TAKEN, Taken.KNOWN]
    assert life_of(book).n_lost == 5


def test_the_same_instant_in_another_zone_is_the_same_entry(book):
    add(book, FULL)
    assert FULL.at is not None
    in_utc = replace(FULL, at=FULL.at.astimezone(UTC), values=dict(FULL.values))
    assert states(add(book, in_utc)) == [Taken.KNOWN]


@pytest.mark.parametrize(
    "other",
    [{"n": 8}, {"at": None}, {"values": {}}, {"trays": (2,)}, {"note": ""}, {"person": "Ben"}],
)
def test_another_entry_under_the_same_id_is_a_clash_and_not_taken(book, other):
    add(book, FULL)
    (answer,) = add(book, replace(FULL, **other))
    assert (answer.state, answer.id, answer.notes) == (Taken.CLASH, FULL.id, ())
    with book.reading() as unit:
        assert unit.journal.get(FULL.id).entry == FULL
        assert unit.journal.n_entries() == 1


def test_a_clash_within_one_post_takes_the_first(book):
    first = entry(K.NOTED, note="a")
    assert states(add(book, first, replace(first, note="b"))) == [Taken.TAKEN, Taken.CLASH]


def test_nothing_is_kept_without_commit(book):
    with book.writing() as unit:
        unit.journal.add([sown()], NOW)
    assert life_of(book) is None
    with pytest.raises(OutOfRangeError), book.writing() as unit:
        unit.journal.add([sown(), entry(K.LOST, -1)], NOW)
    with book.reading() as unit:
        assert unit.journal.n_entries() == 0


def test_lists_of_entries(book):
    first = entry(K.NOTED, sowing="S-1", lot="L-1", on=8)
    second = entry(K.NOTED, sowing="S-2", lot="L-1")
    third = entry(K.NOTED, sowing="S-1", lot="L-2")
    mended = entry(K.NOTED, sowing="S-1", corrects=first.id)
    add(book, first, second, third, mended)
    with book.reading() as unit:
        journal = unit.journal
        assert [each.entry for each in journal.of_sowing("S-1")] == [first, third, mended]
        assert [each.struck_by for each in journal.of_sowing("S-1")] == [mended.id, "", ""]
        assert [each.entry for each in journal.on_day(date(2027, 3, 9))] == [second, third, mended]
        newest = journal.latest(2)
        assert [each.entry for each in newest] == [mended, third]
        assert [each.entry for each in journal.latest(9, newest[-1].seq)] == [second, first]
        assert journal.that_stand() == [mended, second, third]
        assert journal.that_stand(["S-1"]) == [mended, third]
        assert journal.that_stand([]) == []


def test_a_correction_strikes_and_another_replaces(book):
    wrong, right = entry(K.LOST, 30), entry(K.LOST, 3)
    add(book, sown(), wrong)
    assert life_of(book).n_lost == 30
    add(book, replace(right, corrects=wrong.id))
    assert (life_of(book).n_lost, life_of(book).n_entries) == (3, 2)
    add(book, entry(K.CORRECTED, corrects=right.id))
    assert (life_of(book).n_lost, life_of(book).n_entries) == (0, 1)


def test_a_correction_may_come_before_what_it_corrects(book):
    wrong = entry(K.LOST, 30)
    (answer,) = add(book, entry(K.CORRECTED, corrects=wrong.id))
    assert "not here yet" in answer.notes[0]
    add(book, sown(), wrong)
    assert life_of(book).n_lost == 0


def test_a_correction_may_bring_an_entry_to_another_sowing(book):
    wrong = entry(K.LOST, 4, sowing="S-1")
    add(book, sown(), sown(sowing="S-2"), wrong)
    add(book, entry(K.LOST, 4, sowing="S-2", corrects=wrong.id))
    assert (life_of(book, "S-1").n_lost, life_of(book, "S-2").n_lost) == (0, 4)


def test_a_correction_stands_where_the_wrong_entry_stood(book):
    first = entry(K.MOVED, place="bench 1")
    add(book, sown(), first, entry(K.MOVED, place="bench 2"))
    add(book, entry(K.MOVED, place="bench 3", corrects=first.id))
    assert life_of(book).place == "bench 2"


def test_what_follows_is_written(book):
    count = entry(K.COUNTED, 7, trays=(2,), person="Ana", cells="11111110", n_of=8, at=NOW)
    given = entry(K.DELIVERED, 5, order="O-1", trays=(1,), job="j", person="Ben", at=NOW)
    add(book, sown(crop="lettuce", lot="L-1"), count, given)
    one = life_of(book)
    assert (one.crop, one.lot, one.sown_date) == ("lettuce", "L-1", date(2027, 3, 1))
    assert (one.n_cells, one.n_right, one.n_seen, one.n_delivered) == (20, 7, 8, 5)
    assert (one.counted_date, one.last_entry_at, one.n_entries) == (date(2027, 3, 9), NOW, 3)
    with book.reading() as unit:
        rows = unit._connection.execute(tray.select().order_by(tray.c.number)).all()
        assert [(row.number, row.n_cells, row.gone_how) for row in rows] == [
            *((1, 8, "delivered"), (2, 8, ""), (3, 4, "")),
        ]
        assert (rows[1].cells, rows[1].counted_by, rows[1].count_entry) == (
            *("11111110", "Ana"),
            count.id,
        )
        (handed,) = unit._connection.execute(delivery.select()).all()
        assert tuple(handed) == (given.id, "S-1", "O-1", date(2027, 3, 9), 5)
        (done,) = unit._connection.execute(job_done.select()).all()
        assert tuple(done) == ("j", given.id, date(2027, 3, 9), NOW, "Ben", "S-1")


def test_a_tick_taken_back_is_done_by_the_other_who_ticked(book):
    first, second = entry(K.WATERED, sowing="", job="j"), entry(K.WATERED, sowing="", job="j")
    add(book, first, second)
    add(book, entry(K.CORRECTED, sowing="", corrects=first.id))
    with book.reading() as unit:
        assert unit._connection.execute(job_done.select()).one().entry == second.id
    add(book, entry(K.CORRECTED, sowing="", corrects=second.id))
    with book.reading() as unit:
        assert unit._connection.execute(job_done.select()).all() == []


def test_plants_handed_over_of_no_sowing_are_kept(book):
    given = entry(K.DELIVERED, 12, sowing="", order="O-1")
    add(book, given)
    with book.reading() as unit:
        assert unit._connection.execute(delivery.select()).one().plants == 12
    add(book, entry(K.DELIVERED, 11, sowing="", order="O-1", corrects=given.id))
    with book.reading() as unit:
        assert unit._connection.execute(delivery.select()).one().plants == 11


def test_a_standing_sowing_begins_as_it_stood(book):
    stood = Standing("S-1", "tomato", "", "", "pot-6", 2, 12, "bench 1", date(2027, 2, 1))
    add(book, entry(K.LOST, 2))
    with book.writing() as unit:
        unit.standings.put([stood], NOW, "Ana", "begun")
        unit.commit()
    assert (life_of(book).n_cells, life_of(book).n_lost, life_of(book).place) == (12, 2, "bench 1")
    with book.writing() as unit:
        assert rebuild(unit._connection) == 1
        unit.commit()
    assert life_of(book).n_cells == 12


@pytest.mark.parametrize(
    ("wrong", "name"),
    [
        ({"id": ""}, "id of an entry"),
        ({"id": "x" * 65}, "id of an entry"),
        ({"n": -1}, "n must be"),
        ({"n_of": 10**9}, "n_of must be"),
        ({"note": "a\x00b"}, "note must be text without zero bytes"),
        ({"sowing": "\ud800"}, "sowing must be text of whole characters"),
        ({"at": datetime(2027, 3, 9, 8)}, "instant must be a time with its zone"),  # noqa: DTZ001
    ],
)
def test_what_no_database_can_hold_is_refused_before_it_is_written(book, wrong, name):
    with pytest.raises(OutOfRangeError, match=name), book.writing() as unit:
        unit.journal.add([entry(K.NOTED), replace(entry(K.NOTED), **wrong)], NOW)
    with book.reading() as unit:
        assert unit.journal.n_entries() == 0


def test_sums_beyond_any_house_are_held(book):
    add(book, *(entry(K.LOST, 10_000_000) for _ in range(300)))
    assert life_of(book).n_lost == 2**31 - 1


def notes(book, one):
    (answer,) = add(book, one)
    assert answer.state is Taken.TAKEN
    return answer.notes


def test_entries_that_agree_need_no_note(book):
    assert notes(book, sown()) == ()
    assert notes(book, entry(K.COUNTED, 7, trays=(1,), person="Ana")) == ()
    assert notes(book, entry(K.COUNTED, 8, trays=(1,), person="Ana")) == ()
    assert notes(book, entry(K.COUNTED, 7, trays=(2,), person="Ben")) == ()
    assert notes(book, entry(K.LOST, 20)) == ()
    assert notes(book, entry(K.WASHED, 4, sowing="")) == ()


def test_an_unknown_sowing_is_noted(book):
    assert notes(book, entry(K.COUNTED, 7, sowing="S-l")) == (
        "No sowing S-l is known, neither sown nor planned; look at the name.",
    )


def test_a_planned_sowing_is_known(book):
    with book.writing() as unit:
        number = unit.plans.add(NewPlan(plan_of("S-1"), (), {}), NOW, "Ana")
        unit.commit()
    assert "No sowing S-1" in notes(book, entry(K.NOTED))[0]
    with book.writing() as unit:
        unit.plans.accept(number, NOW)
        unit.commit()
    assert notes(book, entry(K.NOTED, sowing="S-1")) == ()


def test_a_sowing_that_has_ended_is_noted(book):
    add(book, sown(), entry(K.DUMPED, on=5))
    assert "S-1 ended on 2027-03-05" in notes(book, entry(K.COUNTED, 7))[0]
    assert notes(book, entry(K.NOTED, note="bin emptied")) == ()


def test_a_tray_that_someone_else_counted_that_day_is_noted(book):
    add(book, sown(), entry(K.COUNTED, 7, trays=(1, 2), person="Ana"))
    assert notes(book, entry(K.COUNTED, 6, trays=(2,), person="Ben")) == (
        "Tray 2 of S-1 was counted by Ana on 2027-03-09 too; the count that came last holds.",
    )
    assert "trays (1) of S-1 was" in notes(book, entry(K.COUNTED, 6, trays=(1, 2)))[0]
    assert "S-1 was counted by Ana" in notes(book, entry(K.COUNTED, 6, person="Cleo"))[0]
    assert notes(book, entry(K.COUNTED, 6, trays=(3,), person="Dan", on=10)) == ()


def test_more_lost_than_sown_is_noted(book):
    add(book, sown())
    assert notes(book, entry(K.LOST, 21)) == (
        "21 cells of S-1 are down as lost, more than the 20 sown.",
    )


def test_more_handed_over_than_sown_is_noted(book):
    add(book, sown(), entry(K.DELIVERED, 15, order="a"))
    assert notes(book, entry(K.DELIVERED, 5, order="b")) == ()
    (said,) = notes(book, entry(K.DELIVERED, 99, order="b"))
    assert said.startswith("119 plants of S-1 are down as handed over, more than the 20 cells")


def test_a_tray_that_there_is_not_is_noted(book):
    add(book, sown())
    assert notes(book, entry(K.COUNTED, 5, trays=(9,))) == (
        "S-1 has no tray 9; it has trays 1 to 3.",
    )


def test_sown_twice_is_noted(book):
    add(book, sown())
    assert "S-1 was down as sown on 2027-03-01 already" in notes(book, sown(on=2))[0]


class Statements:
    """Counts what is sent to a database."""

    def __init__(self, book):
        self.sent = []
        event.listen(book.engine, "before_cursor_execute", self.take)

    def take(self, connection, cursor, statement, parameters, context, executemany):
        self.sent.append(statement)


def test_many_entries_need_as_few_statements_as_some(book):
    statements = Statements(book)
    counts = []
    for n in (10, 400):
        before = len(statements.sent)
        some = [
            each
            for at in range(n)
            for each in (
                sown(sowing=f"S-{n}-{at}", job=f"{n}-{at}"),
                entry(K.COUNTED, 5, sowing=f"S-{n}-{at}", trays=(1,)),
            )
        ]
        added = add(book, *some)
        assert set(states(added)) == {Taken.TAKEN}
        counts.append(len(statements.sent) - before)
    assert counts[0] == counts[1] <= 24


def test_two_threads_that_write_the_same_entries_count_them_once(address, book):
    other = open_book(address)
    add(book, sown())
    posts = [entry(K.LOST, 1, sowing="S-1", on=9) for _ in range(40)]
    answers = {}
    ready = threading.Barrier(2)

    def write(name, opened):
        ready.wait()
        answers[name] = [add(opened, one)[0].state for one in posts]

    threads = [
        threading.Thread(target=write, args=each) for each in (("first", book), ("other", other))
    ]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    other.close()
    for states_of_one in zip(answers["first"], answers["other"], strict=True):
        assert sorted(states_of_one) == ["known", "taken"]
    assert (life_of(book).n_lost, life_of(book).n_entries) == (40, 41)


def test_rebuilding_gives_the_same_again(book):
    add(book, FULL, sown(), entry(K.LOST, 2, trays=(1,), job="k"))
    add(book, entry(K.DELIVERED, 3, order="O", sowing=""), entry(K.NOTED, sowing="S-2", job="j"))
    before = derived_rows(book)
    # What a sowing that is over has taught is read off it when somebody asks, not before.
    assert all(rows for name, rows in before.items() if name != "finished_sowing")
    with book.writing() as unit:
        for table in (sowing_life, tray, delivery, job_done):
            unit._connection.execute(table.delete())
        unit._connection.execute(
            sowing_life.insert(), [{"sowing": "S-9", "n_lost": 1, "n_delivered": 0}]
        )
        assert unit.journal.rebuild() == 2
        unit.commit()
    assert derived_rows(book) == before


def test_what_is_about_a_lot_alone_is_told_from_its_sowings(book):
    tests = [entry(K.READ, sowing="", lot="L-1", n=each) for each in range(3)]
    others = [entry(K.NOTED, sowing="S-1", lot="L-1"), entry(K.READ, sowing="", lot="L-2")]
    add(book, tests[0], others[0], tests[1], others[1], tests[2])
    with book.reading() as unit:
        newest = unit.journal.of_lot("L-1", 2)
        assert [each.entry for each in newest] == [tests[2], tests[1]]
        assert [each.entry for each in unit.journal.of_lot("L-1", 2, newest[-1].seq)] == [tests[0]]
        assert unit.journal.of_lot("", 2) == []
