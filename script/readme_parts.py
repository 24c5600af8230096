"""Fill the parts of the documentation that come from running things, between their markers.

``python script/readme_parts.py example`` runs README's first example and shows what it prints;
``python script/readme_parts.py checks report.jsonl`` sums up the published checks there;
``python script/readme_parts.py commands`` writes the help of every command to docs/commands.md.
"""

from __future__ import annotations

import csv
import importlib.util
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
README = ROOT / "README.md"
COMMANDS_PAGE = ROOT / "docs" / "commands.md"
# --from stands for today, so that the example is the same on any day.
EXAMPLE = ("try", "tomato", "--plants", "12", "--on", "2027-05-15", "--from", "2027-01-04")


def replaced(text: str, part: str, content: str) -> str:
    """Return a text with what stands between a part's markers replaced."""
    begin, end = f"<!-- {part}: written by script/readme_parts.py -->", f"<!-- end of {part} -->"
    head, found, rest = text.partition(begin)
    _, closed, tail = rest.partition(end)
    if not found or not closed:
        message = f"The page must hold the markers {begin} and {end}."
        raise ValueError(message)
    return f"{head}{begin}\n{content.strip()}\n{end}{tail}"


def example() -> str:
    """Run the first example and show it as a reader would see it."""
    done = subprocess.run(  # noqa: S603 - our own command
        [sys.executable, "-m", "sowbench", *EXAMPLE],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=True,
    )
    return f"```\n$ sowbench {' '.join(EXAMPLE)}\n{done.stdout.rstrip()}\n```"


def checks(report: Path) -> str:
    """Sum up the published checks from their report."""
    place = ROOT / "tests" / "published" / "_report.py"
    spec = importlib.util.spec_from_file_location("published_report", place)
    if spec is None or spec.loader is None:
        message = f"{place} must be a Python module."
        raise ImportError(message)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return "\n".join(_spelled_out(line) for line in module.summary(report).splitlines())


def _spelled_out(row: str) -> str:
    """Put citations in place of the reference's source ids in a row's second cell."""
    known = {each["id"]: each["citation"] for each in _source_rows()}
    cells = row.split(" | ")
    if len(cells) > 1:
        parts = [each.strip() for each in cells[1].replace(";", ",").split(",")]
        if any(each in known for each in parts):
            cells[1] = "; ".join(known.get(each, each) for each in parts)
    return " | ".join(cells)


def _source_rows() -> list[dict[str, str]]:
    """Read the reference's list of sources."""
    place = ROOT / "src" / "sowbench" / "reference" / "sources.csv"
    with place.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def commands() -> str:
    """Show the help of every command."""
    import click

    from sowbench.cli import COMMANDS, main

    settings = {"terminal_width": 96, "max_content_width": 96, **main.context_settings}
    group = click.Context(main, info_name="sowbench", **settings)
    blocks = [f"```\n{main.get_help(group)}\n```"]
    for name in COMMANDS:
        command = main.get_command(group, name)
        if command is None:
            message = f"{name} must be a command."
            raise LookupError(message)
        context = click.Context(command, group, info_name=name, **settings)
        blocks.append(f"## sowbench {name}\n\n```\n{command.get_help(context)}\n```")
    return "\n\n".join(blocks)


def main(arguments: list[str]) -> None:
    """Fill the part that is asked for."""
    part = arguments[0] if arguments else ""
    page = README
    if part == "example":
        content = example()
    elif part == "commands":
        page, content = COMMANDS_PAGE, commands()
    elif part == "checks" and len(arguments) == 2:
        content = checks(Path(arguments[1]))
    else:
        sys.exit("Say which part: example, commands, or checks with the report of tests/published.")
    text = page.read_text(encoding="utf-8")
    page.write_text(replaced(text, part, content), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
