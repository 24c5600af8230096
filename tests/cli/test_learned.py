import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from tests.learned_book import ended_entries, filled

from sowbench.bootstrap import open_desk
from sowbench.cli import main


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with open_desk(tmp_path) as desk:
        filled(desk.book, ended_entries(12, ("kale", "cabbage")), ("kale", "cabbage"))
    return tmp_path


def test_learned_says_what_differs_from_the_handbook(folder):
    done = CliRunner().invoke(main, ["learned", "--data", str(folder)])
    assert done.exit_code == 0
    assert "here than the handbook says" in done.output
    assert "Coming up: time to half up, against the handbook" in done.output
    assert "in place of" in done.output
    assert "things foretold at 80 %" in done.output


def test_learned_speaks_to_programs(folder):
    done = CliRunner().invoke(main, ["learned", "--data", str(folder), "--json"])
    told = json.loads(done.output)
    assert told["format"] == "sowbench-learned/1"
    assert told["learned"]["n_telling"] == 12
    quantities = [each["quantity"] for each in told["learned"]["quantities"]]
    assert "pace to emergence" in quantities


def test_learned_of_an_empty_book_says_what_would_be_learned(tmp_path):
    with open_desk(tmp_path):
        pass
    done = CliRunner().invoke(main, ["learned", "--data", str(tmp_path)])
    assert done.exit_code == 0
    assert "Nothing is learned yet" in done.output
    told = CliRunner().invoke(main, ["learned", "--data", str(tmp_path), "--json"])

    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    json.loads(told.output, parse_constant=refuse)
