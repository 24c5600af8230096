"""The README says what is true: its example is run, its table names every published check."""

import ast
import importlib.util
from pathlib import Path

import pytest

from sowbench.cli import COMMANDS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def parts():
    place = ROOT / "script" / "readme_parts.py"
    spec = importlib.util.spec_from_file_location("readme_parts", place)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def between(part, text=README):
    begin = f"<!-- {part}: written by script/readme_parts.py -->\n"
    return text.partition(begin)[2].partition(f"\n<!-- end of {part} -->")[0]


def test_the_first_paragraph_states_the_job():
    first = README.split("\n\n")[1]
    for word in ("propagation house", "orders", "what to sow", "how sure"):
        assert word in first
    assert README.split("\n\n")[2].startswith("```\nscript/demo")


def test_the_first_example_prints_what_the_readme_shows(parts):
    assert between("example") == parts.example(), (
        "Run `python script/readme_parts.py example` if the new answer is right."
    )


def test_the_page_of_commands_is_their_help(parts):
    page = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    assert between("commands", page) == parts.commands(), (
        "Run `python script/readme_parts.py commands` if the new help is right."
    )
    assert all(f"## sowbench {name}\n" in page for name in COMMANDS)


def recorded_names():
    """Names of the published tables, as far as they are written out in the tests."""
    for path in sorted((ROOT / "tests" / "published").glob("test_*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            if getattr(node.func, "id", "") != "record":
                continue
            pieces = (
                node.args[0].values if isinstance(node.args[0], ast.JoinedStr) else node.args[:1]
            )
            yield from (
                each.value
                for each in pieces
                if isinstance(each, ast.Constant) and isinstance(each.value, str)
            )


def test_the_table_names_every_published_check():
    table = between("checks")
    names = list(recorded_names())
    assert len(names) > 20
    missing = [each for each in names if each not in table]
    assert missing == [], "Run `script/checks-summary`, which writes the table anew."


def test_a_part_without_its_markers_is_refused(parts):
    with pytest.raises(ValueError, match="must hold the markers"):
        parts.replaced("no markers", "example", "text")


def test_every_command_is_named():
    missing = [each for each in COMMANDS if f"sowbench {each}" not in README]
    assert missing == ["demo"]  # it has a script of its own
    assert "script/demo" in README


def test_every_file_of_the_folder_is_named():
    from sowbench.services.plan import written_files

    names = ["plan.json", "orders.csv", "sowings.csv", "tasks.csv", "supplies.csv", "cards.md",
             "season.svg", "season.png", "made-from.json"]  # fmt: skip
    assert all(written_files([Path(each) for each in names]).values())
    assert [each for each in names if f"`{each}`" not in README] == []
