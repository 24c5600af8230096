"""The pages of the small book, asked for without a server."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from bs4 import BeautifulSoup
from litestar import Litestar
from litestar.testing import TestClient
from tests.small_book import small_desk

from sowbench.services.desk import Desk
from sowbench.web.app import create_app


class SmallPages:
    """Asks for pages and sends entries as a browser does."""

    def __init__(self, desk: Desk, client: TestClient[Litestar]) -> None:
        self.desk = desk
        self.client = client

    def page(self, path: str) -> BeautifulSoup:
        """Return a page that is there."""
        answer = self.client.get(path, headers={"Accept": "text/html"})
        assert answer.status_code == 200, answer.text
        return BeautifulSoup(answer.text, "html.parser")

    def token(self) -> str:
        """Return a fresh token."""
        token: str = self.client.get("/entries/token").json()["token"]
        return token

    def send(self, entries: Any, **headers: str) -> Any:
        """Send entries as JSON."""
        given = {"x-csrftoken": self.token(), **headers}
        return self.client.post("/entries", json=entries, headers=given)

    def post_form(self, form: Any, **changed: str) -> Any:
        """Send a form of a page as it is, some fields changed."""
        fields = {
            each["name"]: each.get("value", "")
            for each in form.find_all("input")
            if each.get("name") and not each.has_attr("disabled")
        }
        return self.client.post(
            form["action"], data={**fields, **changed}, headers={"Accept": "text/html"}
        )


@contextmanager
def small_pages(folder: Path) -> Iterator[SmallPages]:
    """Open the small book and its pages; redirects are for the test to follow."""
    with (
        small_desk(folder) as desk,
        TestClient(create_app(desk), base_url="http://127.0.0.1:8470") as client,
    ):
        client.follow_redirects = False
        yield SmallPages(desk, client)
