"""What the phone keeps: the worker, its shell and its version."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.web.small_client import SmallPages, small_pages

from sowbench.web import assets
from sowbench.web.entries.worker import shell_addresses, worker_script


@pytest.fixture
def pages(tmp_path: Path) -> Iterator[SmallPages]:
    """The pages of the small book."""
    with small_pages(tmp_path / "book") as opened:
        yield opened


def test_the_worker_is_served_from_the_root_and_asked_for_anew(pages: SmallPages):
    answer = pages.client.get("/worker.js")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["service-worker-allowed"] == "/"
    assert answer.headers["cache-control"] == "no-cache"


def test_everything_that_a_kept_page_loads_is_in_the_shell(pages: SmallPages):
    shell = set(shell_addresses())
    for path in ("/today", "/count", "/sowings/kale%2003-01%20a/trays/1"):
        page = pages.page(path)
        loaded = [each["src"] for each in page.select("script[src]")]
        loaded += [each["href"] for each in page.select('link[href^="/static/"]')]
        assert loaded
        assert set(map(str, loaded)) <= shell
    for address in shell:
        assert pages.client.get(address).status_code == 200


def test_the_version_changes_with_any_file_of_the_shell(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    (tmp_path / "worker.js").write_text("// worker")
    (tmp_path / "look.css").write_text("body {}")
    monkeypatch.setattr(assets, "STATIC", tmp_path)

    def version() -> str:
        found = re.search(r'const VERSION = "(\w{12})";', worker_script())
        assert found is not None
        return found[1]

    first = version()
    assert version() == first
    (tmp_path / "count.js").write_text("// count")
    second = version()
    assert second != first
    (tmp_path / "worker.js").write_text("// another worker")
    assert version() not in {first, second}
    shell = re.search(r"const SHELL = (\[.*\]);", worker_script())
    assert shell is not None
    assert [each.split("?")[0] for each in json.loads(shell[1])] == [
        "/static/count.js", "/static/look.css",
    ]  # fmt: skip


def test_the_manifest_names_what_is_there(pages: SmallPages):
    manifest = pages.client.get("/static/manifest.json").json()
    assert pages.client.get(manifest["start_url"]).status_code == 200
    for icon in manifest["icons"]:
        assert pages.client.get(f"/static/{icon['src']}").status_code == 200
