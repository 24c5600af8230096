import stat
import sys
from pathlib import Path

import pytest

from sowbench.exchange.files import write_atomically, write_folder


def content(folder):
    return {each.name: each.read_bytes() for each in folder.iterdir()}


def test_file_is_written_and_replaced(tmp_path):
    path = tmp_path / "plan.json"
    write_atomically(path, b"one")
    write_atomically(path, b"two")
    assert content(tmp_path) == {"plan.json": b"two"}


@pytest.mark.skipif(sys.platform == "win32", reason="rights of files are another thing there")
def test_file_gets_the_rights_of_any_new_file(tmp_path):
    write_atomically(tmp_path / "a", b"")
    (tmp_path / "b").write_bytes(b"")
    modes = {stat.S_IMODE((tmp_path / name).stat().st_mode) for name in "ab"}
    assert len(modes) == 1


def failing_replace(monkeypatch, at):
    """Let the replacement number `at` fail, as on a full or a broken disk."""
    real, calls = Path.replace, []

    def replace(self, target):
        calls.append(target)
        if len(calls) == at:
            raise OSError("disk")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", replace)


def test_file_that_cannot_be_placed_leaves_the_old_one_and_nothing_else(tmp_path, monkeypatch):
    path = tmp_path / "plan.json"
    path.write_bytes(b"old")
    failing_replace(monkeypatch, 1)
    with pytest.raises(OSError, match="disk"):
        write_atomically(path, b"new")
    assert content(tmp_path) == {"plan.json": b"old"}


def test_folder_is_made_with_its_parents(tmp_path):
    write_folder(tmp_path / "a" / "b", {"x": b"1", "y": b"2"})
    assert content(tmp_path / "a" / "b") == {"x": b"1", "y": b"2"}
    assert [each.name for each in (tmp_path / "a").iterdir()] == ["b"]


def test_folder_keeps_other_files_and_replaces_its_own(tmp_path):
    folder = tmp_path / "out"
    folder.mkdir()
    for name, data in {"x": b"old", "mine": b"kept"}.items():
        (folder / name).write_bytes(data)
    write_folder(folder, {"x": b"new", "y": b"new"})
    assert content(folder) == {"x": b"new", "y": b"new", "mine": b"kept"}
    assert [each.name for each in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("at", range(1, 6))
def test_folder_is_as_it_was_when_any_step_of_the_swap_fails(tmp_path, monkeypatch, at):
    folder = tmp_path / "out"
    folder.mkdir()
    before = {"x": b"old", "z": b"old", "mine": b"kept"}
    for name, data in before.items():
        (folder / name).write_bytes(data)
    # x aside, x placed, y placed, z aside, z placed
    failing_replace(monkeypatch, at)
    with pytest.raises(OSError, match="disk"):
        write_folder(folder, {"x": b"new", "y": b"new", "z": b"new"})
    assert content(folder) == before
    assert [each.name for each in tmp_path.iterdir()] == ["out"]


def test_folder_is_not_made_when_a_file_cannot_be_written(tmp_path):
    with pytest.raises(OSError, match="sub"):
        write_folder(tmp_path / "out", {"x": b"1", "no/sub/folder": b"2"})
    assert list(tmp_path.iterdir()) == []
