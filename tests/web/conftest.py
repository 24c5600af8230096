"""House books and their pages, without a server: an empty book, and the demo lived to a day."""

import fcntl
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from litestar import Litestar
from litestar.testing import TestClient

from sowbench.bootstrap import open_desk
from sowbench.planning.parameters import SolveParameters
from sowbench.services.demo_book import fill_demo_book
from sowbench.services.desk import Desk
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


@pytest.fixture(scope="session")
def demo_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the demo's book, made once a session, whichever worker comes first."""
    shared = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent
    folder, half = shared / "demo-book", shared / "demo-book-half"
    with (shared / "demo-book.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            shutil.rmtree(half, ignore_errors=True)
            with open_desk(half) as opened:
                fill_demo_book(opened, SolveParameters(rounds=ROUNDS))
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
