import stat
import subprocess
import sys
import tempfile
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from sowbench.bootstrap import default_data_folder, open_desk
from sowbench.science.errors import BookOpenError


def test_a_desk_opens_a_book_in_a_folder_of_its_own(tmp_path):
    folder = tmp_path / "deep" / "book"
    with open_desk(folder, clock=lambda: datetime(2027, 3, 9, 8, tzinfo=UTC)) as desk:
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
        assert desk.today() == date(2027, 3, 9)
        assert desk.data == folder
        with desk.book.writing() as unit:
            unit.settings.put("today", "2027-01-04")
            unit.commit()
        assert desk.today() == date(2027, 1, 4)
    with open_desk(folder) as desk:
        assert desk.today() == date(2027, 1, 4)
        assert desk.clock().utcoffset() is not None


def test_a_desk_opens_a_book_at_an_address(address, tmp_path):
    with open_desk(tmp_path / "data", address) as desk:
        assert desk.data_url == address
        with desk.book.writing() as unit:
            unit.settings.put("a", "1")
            unit.commit()
    with open_desk(tmp_path / "other", address) as desk, desk.book.reading() as unit:
        assert unit.settings.get("a") == "1"
    assert not (tmp_path / "data" / "book.sqlite").exists()


def test_a_desk_does_not_say_the_address_of_its_book(tmp_path):
    with open_desk(tmp_path / "book") as desk:
        assert desk.data_url.startswith("sqlite")
        assert desk.data_url not in repr(desk)


@pytest.mark.parametrize("name", ["a b", "was ist das?", "50%20 #1", "Gewächshaus", "a;b&c=d"])
def test_a_folder_may_have_any_name(tmp_path, name):
    with open_desk(tmp_path / name):
        pass
    assert (tmp_path / name / "book.sqlite").is_file()
    assert [each.name for each in tmp_path.iterdir()] == [name]


def test_a_folder_that_cannot_be_made_is_named(tmp_path):
    taken = tmp_path / "notes.txt"
    taken.write_text("notes")
    with (
        pytest.raises(BookOpenError, match=r"notes\.txt must be a folder"),
        open_desk(taken),
    ):
        pass


def test_a_book_that_must_be_there_is_not_begun(tmp_path):
    with (
        pytest.raises(BookOpenError, match=r"there is no book\.sqlite in it"),
        open_desk(tmp_path / "none", must_exist=True),
    ):
        pass
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize(
    "url", ["", "mysql://u:geheim@h/d", "sqlite://", "sqlite:///:memory:", "postgresql://u:p@h:x/d"]
)
def test_an_address_that_no_book_can_have_is_refused_without_its_password(tmp_path, url):
    from sowbench.store.engine import open_engine

    with pytest.raises(BookOpenError, match="The address of the database must") as caught:
        open_engine(url)
    assert "geheim" not in str(caught.value)


def test_a_server_that_does_not_answer_is_named_without_its_password(tmp_path):
    url = f"postgresql://grower:geheim@/book?host={tmp_path}"
    with (
        pytest.raises(BookOpenError, match=r"does not answer at .*grower") as caught,
        open_desk(tmp_path, url),
    ):
        pass
    assert "geheim" not in str(caught.value)


_READ_ONLY = """
import os, sys
from pathlib import Path
from sowbench.bootstrap import open_desk
from sowbench.science.errors import BookOpenError
with open_desk(Path(sys.argv[2])):  # what it takes is imported while it may be read
    pass
if os.geteuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
try:
    with open_desk(Path(sys.argv[1])):
        pass
except BookOpenError as error:
    print(error)
"""


@pytest.mark.parametrize("has_book", [True, False])
def test_a_folder_that_may_not_be_written_is_named(tmp_path, has_book):
    with tempfile.TemporaryDirectory(prefix="sowbench-") as name:
        outer, folder = Path(name), Path(name, "book")
        if has_book:
            with open_desk(folder):
                pass
        folder.mkdir(exist_ok=True)
        for each in folder.iterdir():
            each.chmod(0o444)
        folder.chmod(0o555)
        outer.chmod(0o755)
        # As another user, since root may write anywhere.
        done = subprocess.run(
            [sys.executable, "-c", _READ_ONLY, folder, tmp_path / "other"],
            capture_output=True,
            text=True,
            check=False,
        )
        folder.chmod(0o755)
    assert "cannot be written by this user" in done.stdout, done.stdout + done.stderr
    assert str(folder) in done.stdout


def test_the_usual_place_is_the_platforms():
    assert default_data_folder().name == "sowbench"
