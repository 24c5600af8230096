"""A plan's folder says which files it came from, wherever both are moved together."""

import shutil
from datetime import date

import pytest

from sowbench.science.errors import InputFileError
from sowbench.services.inputs import InputFiles
from sowbench.services.made_from import FILE_NAME, read_record, record_of

FROM_DATE = date(2027, 1, 4)


@pytest.fixture
def season(tmp_path):
    (tmp_path / "season" / "plan").mkdir(parents=True)
    for name in ("orders.csv", "house.toml"):
        (tmp_path / "season" / name).write_text(name, encoding="utf-8")
    folder = tmp_path / "season"
    files = InputFiles(folder / "orders.csv", folder / "house.toml")
    (folder / "plan" / FILE_NAME).write_bytes(record_of(files, FROM_DATE, folder / "plan"))
    return folder


def test_the_files_are_found_again_after_a_move(season, tmp_path):
    moved = tmp_path / "elsewhere"
    shutil.move(season, moved)
    files, notes = read_record(moved / "plan")
    assert files == InputFiles(str(moved / "orders.csv"), str(moved / "house.toml"))
    assert notes == ()
    assert read_record(moved / "plan" / "plan.json") == (files, notes)


def test_what_has_changed_or_gone_is_told(season):
    (season / "orders.csv").write_text("other", encoding="utf-8")
    (season / "house.toml").unlink()
    _, notes = read_record(season / "plan")
    assert [each.split()[0] for each in notes] == ["orders.csv", "house.toml"]


@pytest.mark.parametrize("text", ["", "{}", '{"format": 1}', "not json"])
def test_a_record_that_cannot_be_read_asks_for_the_files(season, text):
    (season / "plan" / FILE_NAME).write_text(text, encoding="utf-8")
    with pytest.raises(InputFileError, match="--orders"):
        read_record(season / "plan")
