import json
from datetime import UTC, date, datetime

from click.testing import CliRunner
from tests.store.derived import derived_rows

from sowbench.bootstrap import open_desk
from sowbench.cli import main
from sowbench.domain.journal import Entry, EntryKind
from sowbench.store.book import HouseBook
from sowbench.store.tables import sowing_life


def damaged_book(folder):
    """Make a book whose derived state was damaged; return what it was before."""
    lost = [
        Entry(f"{at:032x}", date(2027, 3, 9), EntryKind.LOST, f"S-{at % 2}", 3) for at in (1, 2, 3)
    ]
    with open_desk(folder) as desk:
        with desk.book.writing() as unit:
            unit.journal.add(lost, datetime(2027, 3, 9, tzinfo=UTC))
            unit.commit()
        before = derived_rows(desk.book)
        assert isinstance(desk.book, HouseBook)
        with desk.book.writing() as unit:
            unit._connection.execute(sowing_life.delete())
            unit.commit()
        assert derived_rows(desk.book) != before
    return before


def test_rebuild_makes_the_state_anew_and_says_what_it_did(tmp_path):
    before = damaged_book(tmp_path)
    done = CliRunner().invoke(main, ["rebuild", "--data", str(tmp_path)])
    assert done.exit_code == 0
    assert done.output == "Followed 3 entries of the journal to the state of 2 sowings.\n"
    with open_desk(tmp_path) as desk:
        assert derived_rows(desk.book) == before


def test_rebuild_speaks_to_programs(tmp_path):
    damaged_book(tmp_path)
    done = CliRunner().invoke(main, ["rebuild", "--data", str(tmp_path), "--json"])
    assert json.loads(done.output) == {
        "format": "sowbench-rebuild/1",
        "n_entries": 3,
        "n_sowings": 2,
    }


def test_rebuild_begins_no_book(tmp_path):
    done = CliRunner().invoke(main, ["rebuild", "--data", str(tmp_path / "none")])
    assert done.exit_code == 2
    assert "there is no book.sqlite in it" in done.stderr
    assert not (tmp_path / "none").exists()
