"""Take pictures of the pages of the demo's house book; see script/screenshots."""

from __future__ import annotations

import argparse
import shutil
import socket
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

import uvicorn
from playwright.sync_api import Browser, sync_playwright

from sowbench.bootstrap import open_desk
from sowbench.planning.parameters import SolveParameters
from sowbench.services.demo_book import fill_demo_book
from sowbench.services.desk import Desk
from sowbench.web.app import create_app

SIZES = {"phone": (390, 844), "desk": (1280, 900)}
DARK = {"today", "sowing", "count", "season"}


def pages_of(desk: Desk) -> dict[str, str]:
    """Return the address of each page by the name of its picture."""
    with desk.book.reading() as unit:
        head = unit.plans.current()
        if head is None:
            raise SystemExit("The book has no plan.")
        plan = unit.plans.body(head.id)
        counted = [each.entry.sowing for each in unit.journal.latest(300) if each.entry.cells]
    sowing = quote(counted[0], safe="")
    bench = quote("warm bench")
    return {
        "begin": "/begin",
        "today": "/today",
        "count-list": "/count",
        "ahead": "/ahead",
        "orders": "/orders",
        "order": f"/orders/{quote(plan.unmet[0].order, safe='')}",
        "take-in": "/orders/take-in",
        "promise": "/orders/promise?crop=lettuce&plants=300&wanted_on=2027-05-20",
        "free": "/orders/free",
        "plans": "/plans",
        "plan": f"/plans/{head.id}",
        "season": "/season",
        "back": "/season/back",
        "place": f"/season/place?of={bench}",
        "pins": "/season/pins",
        "sowings": "/sowings",
        "sowing": f"/sowings/{sowing}",
        "count": f"/sowings/{sowing}/trays/1",
        "seed": "/seed",
        "lot": "/seed/S01",
        "supplies": "/supplies",
        "house": "/house",
        "handbook": "/handbook",
        "crop": "/handbook/crops/lettuce",
        "container": "/handbook/containers/plug-128",
    }


@contextmanager
def served(desk: Desk) -> Iterator[str]:
    """Serve a desk on a free port of this machine."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(create_app(desk), log_level="error"))
        thread = threading.Thread(target=server.run, args=([listening],), daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        server.should_exit = True
        thread.join(10)


def take(browser: Browser, url: str, pages: dict[str, str], out: Path) -> None:
    """Take the picture of each page at each size, some in the dark scheme too."""
    for kind, (width, height) in SIZES.items():
        for scheme in ("light", "dark"):
            context = browser.new_context(
                viewport={"width": width, "height": height},
                color_scheme=scheme,
                service_workers="block",
            )
            page = context.new_page()
            for name, path in pages.items():
                if scheme == "dark" and name not in DARK:
                    continue
                answer = page.goto(url + path, wait_until="networkidle")
                if answer is None or answer.status != 200:
                    raise SystemExit(f"{path} answered {answer.status if answer else 'nothing'}.")
                page.wait_for_timeout(400)
                ending = "" if scheme == "light" else "-dark"
                file = out / f"{name}-{kind}{ending}.jpg"
                page.screenshot(path=file, type="jpeg", quality=72)
            context.close()


def main() -> None:
    """Make the demo's book, or use one that is there, and take the pictures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("docs/pages"))
    parser.add_argument("--data", type=Path, help="book of the demo; without, one is made")
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, open_desk(given.data or Path(folder)) as desk:
        if given.data is None:
            fill_demo_book(desk, SolveParameters(seconds=30.0))
        with served(desk) as url, sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=shutil.which("chromium"),
                args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
            )
            take(browser, url, pages_of(desk), given.out)
            browser.close()


if __name__ == "__main__":
    main()
