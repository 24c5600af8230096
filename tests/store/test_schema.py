import importlib.util
import sqlite3

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, inspect, text

from sowbench.science.errors import BookOpenError
from sowbench.store.book import open_book
from sowbench.store.engine import open_engine
from sowbench.store.schema import HEAD, MIGRATIONS
from sowbench.store.tables import metadata


def test_a_new_book_has_the_tables_and_indexes_of_the_metadata(new_address):
    book = open_book(new_address())
    with book.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        differences = compare_metadata(context, metadata)
        found = {
            name: {
                index["name"]
                for index in inspect(connection).get_indexes(name)
                if "duplicates_constraint" not in index
            }
            for name in metadata.tables
        }
    book.close()
    assert differences == []
    assert found == {
        name: {index.name for index in table.indexes} for name, table in metadata.tables.items()
    }


def test_columns_take_blanks_as_the_metadata_says(new_address):
    book = open_book(new_address())
    with book.engine.connect() as connection:
        found = {
            (name, column["name"]): column["nullable"]
            for name in metadata.tables
            for column in inspect(connection).get_columns(name)
        }
    book.close()
    assert found == {
        (name, column.name): column.nullable
        for name, table in metadata.tables.items()
        for column in table.columns
    }


def test_the_head_is_the_last_migration():
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    assert ScriptDirectory.from_config(config).get_current_head() == HEAD


def revision_of(name):
    path = MIGRATIONS / "versions" / f"{name}.py"
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    revision = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(revision)
    return revision


def test_all_migrations_undone_leave_nothing(new_address):
    from alembic.operations import Operations

    revisions = [revision_of("begin_0001"), revision_of("learned_0002")]
    engine = open_engine(new_address())
    with engine.begin() as connection:
        with Operations.context(MigrationContext.configure(connection)):
            for each in revisions:
                each.upgrade()
            made = set(inspect(connection).get_table_names())
            for each in reversed(revisions):
                each.downgrade()
        inspector = inspect(connection)
        inspector.clear_cache()
        assert inspector.get_table_names() == []
    engine.dispose()
    assert made == set(metadata.tables)


def test_opening_again_changes_nothing_and_needs_no_lock(new_address):
    address = new_address()
    first = open_book(address)
    with first.writing() as unit:
        unit.settings.put("today", "2027-03-09")
        second = open_book(address)  # would wait for the writer if it wrote
        unit.commit()
    with second.reading() as unit:
        assert unit.settings.get("today") == "2027-03-09"
    first.close()
    second.close()


def test_a_book_of_a_later_version_is_left_alone(new_address):
    address = new_address()
    open_book(address).close()
    engine = open_engine(address)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    engine.dispose()
    with pytest.raises(BookOpenError, match=r"later sowbench \(tables 9999; this one knows 0002\)"):
        open_book(address)


def test_a_database_of_something_else_is_left_alone(new_address):
    address = new_address()
    engine = open_engine(address)
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE recipes (name TEXT)"))
    with pytest.raises(BookOpenError, match="has the tables recipes of something else"):
        open_book(address)
    with engine.connect() as connection:
        assert inspect(connection).get_table_names() == ["recipes"]
    engine.dispose()


def test_a_file_that_is_no_database_is_named(tmp_path):
    path = tmp_path / "book.sqlite"
    path.write_text("Dear diary, " * 200)
    with pytest.raises(BookOpenError, match=r"book\.sqlite must be a house book"):
        open_book(f"sqlite:///{path}")
    assert path.read_text().startswith("Dear diary")


def test_a_database_cut_short_is_told_of(tmp_path):
    path = tmp_path / "book.sqlite"
    open_book(f"sqlite:///{path}").close()
    content = path.read_bytes()
    path.write_bytes(content[:5000] + b"\xff" * (len(content) - 5000))
    with pytest.raises(BookOpenError, match="damaged"):
        open_book(f"sqlite:///{path}")


def test_a_migration_that_fails_leaves_an_empty_database(new_address, monkeypatch):
    from sowbench.store import schema

    address = new_address()

    def fail(connection):
        connection.execute(text("CREATE TABLE half (name TEXT)"))
        raise RuntimeError("power cut")

    with monkeypatch.context() as patched:
        patched.setattr(schema, "_migrate", fail)
        with pytest.raises(RuntimeError, match="power cut"):
            open_book(address)
    open_book(address).close()


def test_sqlite_writes_through_to_the_disk(tmp_path):
    book = open_book(f"sqlite:///{tmp_path / 'book.sqlite'}")
    with book.writing() as unit:
        read = unit._connection.exec_driver_sql
        assert read("PRAGMA journal_mode").scalar_one() == "wal"
        assert read("PRAGMA synchronous").scalar_one() == 2  # FULL
        assert read("PRAGMA foreign_keys").scalar_one() == 1
    book.close()
    assert sqlite3.threadsafety > 0


def test_engine_takes_other_addresses_of_postgresql(server):
    engine = open_engine(server.format(name="postgres").replace("postgresql:", "postgres:"))
    with engine.connect() as connection:
        assert connection.execute(text("SELECT 1")).scalar_one() == 1
    engine.dispose()
    assert create_engine(engine.url).dialect.driver == "psycopg"
