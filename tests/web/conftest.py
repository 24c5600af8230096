"""House books and their pages, without a server: an empty book, and the demo lived to a day."""

import fcntl
import hashlib
import os
import pickle
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from litestar import Litestar
from litestar.testing import TestClient

import sowbench
from sowbench.bootstrap import open_desk
from sowbench.planning.parameters import SolveParameters
from sowbench.services.demo_book import fill_demo_book
from sowbench.services.desk import Desk
from sowbench.services.parts import Made, Parts
from sowbench.web.app import create_app

ADDRESS = "http://127.0.0.1:8470"
"""How the pages are asked for: by a name of this machine."""

ROUNDS = 2
"""Search rounds of the demo's plan in tests: a plan that holds, not a good one."""


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """An empty book."""
    with open_desk(tmp_path / "book") as opened:
        yield opened


@pytest.fixture
def client(desk: Desk) -> Iterator[TestClient[Litestar]]:
    """The pages of an empty book; where it sends on to is for the test to follow."""
    with TestClient(create_app(desk), base_url=ADDRESS) as asking:
        yield asking


def _planner_as_it_is() -> str:
    """Return a mark of all that the demo's plan follows from."""
    package = Path(sowbench.__file__).parent
    mark = hashlib.sha256(f"{ROUNDS}".encode())
    for part in ("demo", "domain", "exchange", "planning", "reference", "science"):
        for each in sorted((package / part).rglob("*")):
            if each.is_file() and "__pycache__" not in each.parts:
                mark.update(each.relative_to(package).as_posix().encode())
                mark.update(each.read_bytes())
    return mark.hexdigest()[:24]


def _planned_once(parts: Parts, kept: Path) -> Parts:
    """Let the planner answer from a file of the plan that it has made before, if there is one."""

    def make_plan(*asked: Any) -> Made:
        if kept.exists():
            made: Made = pickle.loads(kept.read_bytes())
            return made
        made = parts.make_plan(*asked)
        half = kept.with_suffix(f".{os.getpid()}")
        half.write_bytes(pickle.dumps(made))
        half.rename(kept)
        for each in kept.parent.glob("*.pickle"):
            if each != kept:  # of a planner that is no more
                each.unlink(missing_ok=True)
        return made

    planner: Any = make_plan
    return replace(parts, make_plan=planner)


@pytest.fixture(scope="session")
def demo_book(tmp_path_factory: pytest.TempPathFactory, pytestconfig: pytest.Config) -> Path:
    """The folder of the demo's book, made once a session, whichever worker comes first.

    Its plan is kept between sessions for as long as nothing changes that it follows from.
    """
    assert pytestconfig.cache is not None
    kept = pytestconfig.cache.mkdir("demo-plan") / f"{_planner_as_it_is()}.pickle"
    shared = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent
    folder, half = shared / "demo-book", shared / "demo-book-half"
    with (shared / "demo-book.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            shutil.rmtree(half, ignore_errors=True)
            with open_desk(half) as opened:
                planned_once = replace(opened, parts=_planned_once(opened.parts, kept))
                fill_demo_book(planned_once, SolveParameters(rounds=ROUNDS))
            half.rename(folder)
    return folder


@pytest.fixture
def demo_desk(demo_book: Path, tmp_path: Path) -> Iterator[Desk]:
    """A copy of the demo's book, to be changed at will."""
    shutil.copytree(demo_book, tmp_path / "demo")
    with open_desk(tmp_path / "demo") as opened:
        yield opened


@pytest.fixture
def demo_client(demo_desk: Desk) -> Iterator[TestClient[Litestar]]:
    """The pages of the demo's book."""
    with TestClient(create_app(demo_desk), base_url=ADDRESS) as asking:
        yield asking
