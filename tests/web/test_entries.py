"""POST /entries and its token: JSON and plain forms, guarded, limited, answered one by one."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.small_book import KALE, TODAY, entry_id
from tests.web.small_client import SmallPages, small_pages

from sowbench.domain.journal import EntryKind


@pytest.fixture
def pages(tmp_path: Path) -> Iterator[SmallPages]:
    """The pages of the small book."""
    with small_pages(tmp_path / "book") as opened:
        yield opened


def count(name: str = "a", **more: object) -> dict[str, object]:
    """Write a count as a phone sends it."""
    fields = {"id": entry_id(name), "day_date": "2027-03-09", "kind": "counted", "sowing": KALE,
              "trays": [1], "n": 100, "n_of": 128}  # fmt: skip
    return {**fields, **more}


def n_kept(pages: SmallPages) -> int:
    """Return how many entries today has."""
    with pages.desk.book.reading() as unit:
        return len(unit.journal.on_day(TODAY))


def test_entries_are_answered_one_by_one(pages: SmallPages):
    answer = pages.send([count("a"), count("b", n=-1), count("a")])
    assert answer.status_code == 200
    assert [(each["id"], each["state"]) for each in answer.json()] == [
        (entry_id("a"), "taken"), (entry_id("b"), "refused"), (entry_id("a"), "known"),
    ]  # fmt: skip
    assert answer.json()[1]["notes"] == ["n must be a whole number from 0 to 10,000,000; got -1."]
    assert pages.send([count("a", n=99)]).json()[0]["state"] == "clash"
    assert n_kept(pages) == 1


def test_a_post_without_the_token_is_turned_away_and_nothing_is_kept(pages: SmallPages):
    assert pages.client.post("/entries", json=[count()]).status_code == 403
    assert pages.send([count()], **{"x-csrftoken": "0" * 128}).status_code == 403
    assert n_kept(pages) == 0


def test_a_token_of_another_book_is_replaced(pages: SmallPages):
    first = pages.token()
    assert pages.token() == first
    name = next(cookie.name for cookie in pages.client.cookies.jar)
    pages.client.cookies.set(name, "f" * 128, domain="127.0.0.1", path="/")
    assert pages.token() != "f" * 128
    assert pages.send([count()]).status_code == 200
    assert pages.client.get("/entries/token").headers["cache-control"] == "no-store"


@pytest.mark.parametrize("body", [b"", b"{}", b"[", b"\xff"])
def test_what_is_no_list_is_refused_in_words(pages: SmallPages, body: bytes):
    headers = {"x-csrftoken": pages.token(), "content-type": "application/json"}
    answer = pages.client.post("/entries", content=body, headers=headers)
    assert answer.status_code == 422
    assert "a JSON list of entries" in answer.json()["message"]


def test_too_much_at_once_is_refused(pages: SmallPages):
    assert pages.send([count()] * 501).status_code == 422
    headers = {"x-csrftoken": pages.token(), "content-type": "application/json"}
    big = b'["' + b"a" * (5 * 2**20) + b'"]'
    assert pages.client.post("/entries", content=big, headers=headers).status_code == 413
    assert n_kept(pages) == 0


def test_a_plain_form_is_taken_and_leads_back(pages: SmallPages):
    form = pages.page("/today").select_one("#job-1-2-tick")
    answer = pages.post_form(form, n_containers="3", n="864")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/today/2027-03-09"
    with pages.desk.book.reading() as unit:
        (kept,) = unit.journal.on_day(TODAY)
    assert (kept.entry.kind, kept.entry.n, kept.entry.n_containers) == (EntryKind.SOWN, 864, 3)
    assert kept.entry.values == {"n_cells_per_tray": 288}
    # Sent twice, as by going back and forth: known, counted once.
    assert pages.post_form(form, n_containers="3", n="864").status_code == 303
    assert n_kept(pages) == 1


def test_a_plain_form_that_is_not_taken_says_why(pages: SmallPages):
    form = pages.page("/today").select_one("#job-1-2-tick")
    answer = pages.post_form(form, n="many")
    assert answer.status_code == 422
    assert "got &#39;many&#39;" in answer.text
    pages.post_form(form)
    answer = pages.post_form(form, n="7")
    assert answer.status_code == 409
    assert "another entry has the same mark" in answer.text
    assert n_kept(pages) == 1


def test_a_note_on_a_plain_form_is_shown_though_it_is_taken(pages: SmallPages):
    form = pages.page("/sowings/kale%2003-01%20a/trays/1").select_one("#count")
    answer = pages.post_form(form, n="100", sowing="nobody")
    assert answer.status_code == 200
    assert "Taken, but look at this" in answer.text
    assert n_kept(pages) == 1


@pytest.mark.parametrize(
    "back", ["https://elsewhere.test/", "//elsewhere.test/", "/\\elsewhere", "", "today", "/a\nb"]
)
def test_a_form_never_leads_to_another_site(pages: SmallPages, back: str):
    form = pages.page("/today").select_one("#job-2-1-tick")
    assert pages.post_form(form, back=back).headers["location"] == "/today"


def test_a_form_without_fields_is_refused(pages: SmallPages):
    pages.page("/today")
    answer = pages.client.post("/entries", data={"_csrf_token": pages.token(), "back": "/today"})
    assert answer.status_code == 422
