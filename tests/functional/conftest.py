"""A real browser, and the pages served to it; `served` and `browser` are for every test here."""

import asyncio
import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright
from tests.small_book import small_desk

from sowbench.services.desk import Desk
from sowbench.web.app import create_app

HOUSE_NAME = "bench.house.test"
"""A name of the machine in the house: plain HTTP, so no secure context."""

PHONE = {"width": 390, "height": 844}
"""Size of the phone on which the pages are tried."""


def _chromium() -> str:
    """Return Debian's chromium; script/test installs it."""
    found = shutil.which("chromium")
    if found is None:
        pytest.fail("Browser tests not run: no chromium on the path; script/test installs one.")
    return found


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A chromium without a window, shared by the session; open a new context for each test."""
    arguments = [
        "--no-sandbox",
        "--disable-gpu",
        "--disable-background-networking",
        f"--host-resolver-rules=MAP {HOUSE_NAME} 127.0.0.1",
    ]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=_chromium(), args=arguments)
        yield browser
        browser.close()


class Served:
    """The pages of one desk on a port of the loopback; they can be stopped and started again."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        with closing(socket.socket()) as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.slow_s = 0.0
        """By how much pages are held back, as a weak connection does."""
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Serve, and wait until the port answers."""
        pages: Any = create_app(self.desk, hosts=(HOUSE_NAME,))

        async def app(scope: Any, receive: Any, send: Any) -> None:
            if self.slow_s and not scope.get("path", "").startswith("/static/"):
                await asyncio.sleep(self.slow_s)
            await pages(scope, receive, send)

        serving: Any = app
        config = uvicorn.Config(
            serving, host="127.0.0.1", port=self.port, log_level="error", lifespan="off",
            timeout_graceful_shutdown=1, ws="none",
        )  # fmt: skip
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()
        for _ in range(200):
            if self._server.started:
                return
            self._thread.join(0.05)
        pytest.fail(f"The pages did not come up at {self.url} within 10 s.")

    def stop(self) -> None:
        """Stop serving; connections that are open are cut."""
        if self._server is not None and self._thread is not None:
            self._server.should_exit = True
            self._server.force_exit = True
            self._thread.join(10)
        self._server = self._thread = None


@pytest.fixture
def served() -> Iterator[Callable[[Desk], Served]]:
    """Serve a desk: `served(desk).url`; stopped at the end of the test."""
    every: list[Served] = []

    def serve(desk: Desk) -> Served:
        site = Served(desk)
        every.append(site)
        site.start()
        return site

    yield serve
    for site in every:
        site.stop()


@pytest.fixture
def small_site(tmp_path: Path, served: Callable[[Desk], Served]) -> Iterator[Served]:
    """The small book of tests/small_book.py, served."""
    with small_desk(tmp_path / "book") as desk:
        yield served(desk)


@pytest.fixture
def phone(browser: Browser) -> Iterator[Page]:
    """A page on a phone with nothing kept on it; an error of a script fails the test."""
    context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)  # type: ignore[arg-type]
    context.set_default_timeout(10_000)
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    yield page
    context.close()
    assert not errors
