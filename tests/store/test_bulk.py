from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from sqlalchemy import insert, select
from sqlalchemy.exc import IntegrityError, OperationalError

from sowbench.science.errors import OutOfRangeError
from sowbench.store.bulk import insert_rows, update_rows
from sowbench.store.tables import change, job_done

WEST = datetime(2027, 3, 9, 8, 12, 30, 250, tzinfo=timezone(timedelta(hours=-5)))
NAMES = ("key", "entry", "date", "at", "person", "sowing")
ROWS = [
    ("a", "e1", date(2027, 3, 9), WEST, 'tab\there, "quoted" \\ back\nslash', ""),
    ("b", "e2", date(2027, 3, 10), None, "Ümit \U0001f331", "S-1"),
]


def all_rows(unit):
    query = select(*(job_done.c[name] for name in NAMES)).order_by(job_done.c.key)
    return [tuple(row) for row in unit._connection.execute(query)]


def test_rows_are_kept_as_one_by_one(book):
    with book.writing() as unit:
        insert_rows(unit._connection, job_done, NAMES, ROWS)
        at_once = all_rows(unit)
        unit._connection.execute(job_done.delete())
        unit._connection.execute(
            insert(job_done), [dict(zip(NAMES, row, strict=True)) for row in ROWS]
        )
        assert all_rows(unit) == at_once == ROWS
        assert at_once[0][3].utcoffset() == timedelta(0)


def test_rows_are_changed_by_their_key(book):
    with book.writing() as unit:
        insert_rows(unit._connection, job_done, NAMES, ROWS)
        changed = [("e9", None, "a"), ("e8", WEST, "c")]
        update_rows(unit._connection, job_done, "key", ("entry", "at"), changed)
        update_rows(unit._connection, job_done, "key", ("entry",), [("e7", "b")])
        assert [(row[0], row[1], row[3]) for row in all_rows(unit)] == [
            ("a", "e9", None),
            ("b", "e7", None),
        ]


def test_no_rows_are_no_statement(book):
    with book.writing() as unit:
        insert_rows(unit._connection, job_done, NAMES, [])
        update_rows(unit._connection, job_done, "key", ("entry",), [])
        assert all_rows(unit) == []


def test_columns_not_named_get_what_the_database_gives(book):
    names = ("at", "person", "subject", "name", "before", "after", "reason")
    row = (datetime(2027, 3, 9, tzinfo=UTC), "Ana", "order", "O", None, "{}", "")
    with book.writing() as unit:
        insert_rows(unit._connection, change, names, [row, row])
        found = unit._connection.execute(select(change).order_by(change.c.seq)).all()
    assert [each.name for each in found] == ["O", "O"]
    assert found[0].seq < found[1].seq
    assert found[0].before is None


def test_a_key_that_is_taken_is_an_error_of_the_database(book):
    with (
        pytest.raises((IntegrityError, OperationalError), match=r"unique|UNIQUE"),
        book.writing() as unit,
    ):
        insert_rows(unit._connection, job_done, NAMES, [ROWS[0], ROWS[0]])
    with book.reading() as unit:
        assert all_rows(unit) == []


def test_instants_without_a_zone_are_refused(book):
    naive = WEST.replace(tzinfo=None)
    with (
        pytest.raises(OutOfRangeError, match="a time with its zone"),
        book.writing() as unit,
    ):
        insert_rows(unit._connection, job_done, NAMES, [(*ROWS[0][:3], naive, "", "")])
