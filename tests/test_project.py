"""Rules of the house that no linter knows."""

import ast
import configparser
import importlib
import inspect
import os
import pkgutil
import re
import subprocess
import sys
import tomllib
from enum import Enum
from pathlib import Path

import pytest
from numpydoc.validate import validate

import sowbench
from sowbench import science

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "src" / "sowbench"
# ES01: one line is often enough. SA01: not all have a relative. RT02: the returned value is named.
NOT_ASKED = {"ES01", "SA01", "RT02"}
# SS05 takes a summary that names a quantity ("Days to ...") for a verb in the third person.
MISTAKEN = {"SS05"}
# Libraries that take a noticeable part of a second to import.
SLOW = ("altair", "highspy", "numpy", "openpyxl", "pandas", "pvlib", "scipy", "vl_convert")


def public_objects_of_science():
    """Name every public function, class and method of science, with the checks it is spared."""
    for module in pkgutil.walk_packages(science.__path__, "sowbench.science."):
        loaded = importlib.import_module(module.name)
        for name, member in inspect.getmembers(loaded):
            if name.startswith("_") or getattr(member, "__module__", None) != module.name:
                continue
            if inspect.isfunction(member):
                yield f"{module.name}.{name}", NOT_ASKED | MISTAKEN
            if inspect.isclass(member):
                # Examples of a class are those of the functions that make and take it; a protocol
                # is never made, so that it has no parameters, and an enum only by its value.
                spared = NOT_ASKED | MISTAKEN | {"EX01"}
                if getattr(member, "_is_protocol", False) or issubclass(member, Enum):
                    spared |= {"PR01"}
                yield f"{module.name}.{name}", spared
                for method in vars(member):
                    if not method.startswith("_") and callable(getattr(member, method)):
                        yield f"{module.name}.{name}.{method}", spared


def tracked_files():
    listing = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listing.returncode != 0:
        pytest.skip("needs the git checkout, to know which files are the project's")
    return [ROOT / name for name in listing.stdout.split("\0") if name]


def test_docstrings_of_science_follow_the_template():
    faults = []
    n_checked = 0
    for name, spared in public_objects_of_science():
        n_checked += 1
        report = validate(name)
        faults += [
            f"{name}: {code} {text}" for code, text in report["errors"] if code not in spared
        ]
    assert n_checked > 20
    assert not faults, "\n" + "\n".join(faults)


def test_numpydoc_settings_leave_out_what_this_test_leaves_out():
    with (ROOT / "pyproject.toml").open("rb") as file:
        checks = tomllib.load(file)["tool"]["numpydoc_validation"]["checks"]
    assert set(checks) == {"all"} | NOT_ASKED | MISTAKEN


def test_every_module_has_a_docstring():
    bare = [
        str(path.relative_to(ROOT))
        for path in PACKAGE.rglob("*.py")
        if not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert bare == []


def test_no_tracked_file_names_a_machine_path_or_a_package_index():
    # Put together from parts, so that this file does not find itself.
    index_hosts = ["pypi" + r"\.org", "python" + r"hosted\.org", "npm" + r"js\.(org|com)"]
    machine_paths = [
        "/wo" + "rk/",
        "/ro" + "ot/",
        "/ho" + r"me/\w",
        r"/tm" + r"p/\w+",
        "file:" + "//",
    ]
    index_options = [r"--(extra-)?index-" + "url", r"--find-" + r"links\s", r"--trusted-" + "host"]
    forbidden = re.compile("|".join(index_hosts + machine_paths + index_options))
    found = []
    for path in tracked_files():
        if not path.is_file():
            continue  # deleted in the checkout, not yet committed
        if "vendor" in path.parts:
            continue  # made by others and kept unchanged, see its VENDORED.md
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue  # a picture or a workbook
        found += [
            f"{path.relative_to(ROOT)}:{number}: {line.strip()[:120]}"
            for number, line in enumerate(text.splitlines(), start=1)
            if forbidden.search(line)
        ]
    assert not found, "\n" + "\n".join(found)


def test_every_pin_is_exact_and_has_hashes():
    text = (ROOT / "constraints.txt").read_text(encoding="utf-8")
    entries = [entry for entry in re.split(r"(?<!\\)\n", text) if entry.strip()]
    assert len(entries) > 30
    for entry in entries:
        assert re.match(r"[a-z0-9-]+==[^\s;]+( ; .+?)? \\\n", entry), entry[:80]
        assert re.search(r"--hash=sha256:[0-9a-f]{64}$", entry), entry[:80]


def test_every_dependency_is_pinned():
    with (ROOT / "pyproject.toml").open("rb") as file:
        settings = tomllib.load(file)
    wanted = [
        *settings["build-system"]["requires"],
        *settings["project"]["dependencies"],
        *settings["project"]["optional-dependencies"]["dev"],
    ]
    pinned = re.findall(
        r"^([a-z0-9-]+)==", (ROOT / "constraints.txt").read_text(encoding="utf-8"), re.MULTILINE
    )
    names = {re.split(r"[<>=!~\[ ;]", each)[0] for each in wanted}
    assert names - set(pinned) == set()


def test_version_is_the_same_everywhere():
    with (ROOT / "pyproject.toml").open("rb") as file:
        assert tomllib.load(file)["project"]["version"] == sowbench.__version__


def test_import_contracts_know_every_package_that_exists():
    contracts = configparser.ConfigParser()
    contracts.read(ROOT / ".importlinter", encoding="utf-8")

    def modules(contract, key):
        return set(contracts[f"importlinter:contract:{contract}"][key].split())

    existing = {f"sowbench.{path.parent.name}" for path in PACKAGE.glob("*/__init__.py")}
    existing |= {f"sowbench.{path.stem}" for path in PACKAGE.glob("[a-z]*.py")}
    assert modules("pure-core", "source_modules") == {"sowbench.science", "sowbench.domain"}
    # The linter refuses a name that does not exist yet, so these follow when it does.
    fronts = {"sowbench.services", "sowbench.web", "sowbench.cli"} & existing
    assert modules("store-behind-ports", "source_modules") == fronts
    if "sowbench.store" in existing:
        assert "sowbench.store" in modules("store-behind-ports", "forbidden_modules")
    others = existing - {"sowbench.planning", "sowbench.mixing"}
    assert modules("one-home-for-engines", "source_modules") == others


def run_python(*arguments):
    # From the wheel or the checkout, whichever these tests run against.
    environment = os.environ | {"PYTHONPATH": str(Path(sowbench.__file__).parents[1])}
    return subprocess.run(
        [sys.executable, *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment,
        stdin=subprocess.DEVNULL,
        timeout=120,
        check=False,
    )


def test_importing_the_command_line_imports_no_slow_library():
    code = f"import sys, sowbench.cli; print(sorted(set({SLOW!r}) & set(sys.modules)))"
    done = run_python("-c", code)
    assert (done.returncode, done.stderr, done.stdout.strip()) == (0, "", "[]")


def test_help_comes_without_a_slow_library():
    done = run_python("-X", "importtime", "-m", "sowbench", "--help")
    assert done.returncode == 0
    assert done.stdout.startswith("Usage: sowbench")
    imported = {line.rpartition("|")[2].strip() for line in done.stderr.splitlines()}
    assert "sowbench.cli" in imported
    assert imported & set(SLOW) == set()


def test_version_option_prints_the_version():
    done = run_python("-m", "sowbench", "--version")
    assert done.returncode == 0
    assert sowbench.__version__ in done.stdout


def test_every_command_in_the_table_can_be_loaded_and_says_what_it_is_for():
    import click

    from sowbench.cli import COMMANDS, main

    context = click.Context(main, info_name="sowbench")
    for name, lazy in COMMANDS.items():
        command = main.get_command(context, name)
        assert command is not None, name
        assert command.name == name
        assert lazy.help_text
        assert command.help
