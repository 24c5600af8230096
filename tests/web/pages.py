"""Asking for pages as a browser without script does, and counting what they ask the book."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from bs4 import BeautifulSoup
from litestar import Litestar
from litestar.testing import TestClient
from sqlalchemy import event
from sqlalchemy.engine import Engine


def soup(text: str) -> Any:
    """Parse a page; any, since a parsed page is looked at freely."""
    return BeautifulSoup(text, "html.parser")


def page(client: TestClient[Litestar], address: str) -> Any:
    """Ask for a page that must be there."""
    answer = client.get(address, headers={"Accept": "text/html"})
    assert answer.status_code == 200, answer.text[:600]
    return soup(answer.text)


def words(node: Any) -> str:
    """Return the text of a node with single blanks."""
    return " ".join(node.get_text(" ").split())


def filled(form: Any) -> dict[str, str]:
    """Return what a form would send as it stands."""
    fields: dict[str, str] = {}
    for each in form.find_all(["input", "textarea", "select"]):
        name = each.get("name")
        if not name or (each.get("type") in {"checkbox", "radio"} and not each.has_attr("checked")):
            continue
        if each.name == "select":
            chosen = each.find("option", selected=True) or each.find("option")
            fields[name] = chosen.get("value", chosen.get_text())
        else:
            fields[name] = each.get("value", each.get_text())
    return fields


def send(client: TestClient[Litestar], form: Any, **changed: str) -> Any:
    """Send a form of a page, some of its fields changed; what it answers is not followed."""
    return client.post(
        form["action"],
        data=filled(form) | changed,
        headers={"Accept": "text/html"},
        follow_redirects=False,
    )


@contextmanager
def queries() -> Iterator[list[str]]:
    """Note the statements that are sent to any database meanwhile."""
    said: list[str] = []

    def note(_: Any, __: Any, statement: str, *___: Any) -> None:
        said.append(statement)

    event.listen(Engine, "before_cursor_execute", note)
    try:
        yield said
    finally:
        event.remove(Engine, "before_cursor_execute", note)
