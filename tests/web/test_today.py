"""The pages of a day: parsed, not matched as text."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.web.small_client import SmallPages, small_pages


@pytest.fixture
def pages(tmp_path: Path) -> Iterator[SmallPages]:
    """The pages of the small book."""
    with small_pages(tmp_path / "book") as opened:
        yield opened


def test_today_shows_each_job_with_its_tick(pages: SmallPages):
    page = pages.page("/today")
    assert page.h1 is not None
    assert page.h1.get_text(strip=True) == "7 jobs, about 2 h 24"
    jobs = page.select("[data-stay] .job")
    assert len(jobs) == 7
    for job in jobs:
        assert job["data-job"]
        assert job.select_one(".mark") is not None
        form = job.select_one('form[id$="tick"]')
        assert (form is None) == ("Count" in job.get_text())
        if form is not None:
            assert form.select_one('input[name="id"]') is not None
            assert form.select_one('input[name="_csrf_token"]') is not None


def test_each_picture_is_said_too(pages: SmallPages):
    for each in pages.page("/today").select(".pictures li"):
        label = each.select_one(".unseen")
        assert label is not None
        assert label.get_text(strip=True)


def test_a_done_job_shows_who_and_offers_to_undo_it(pages: SmallPages):
    water = '.job[data-job$="//south bench"]'
    form = pages.page("/today").select_one(f'{water} form[id$="tick"]')
    pages.post_form(form, person="Noor")
    job = pages.page("/today").select_one(water)
    assert job is not None
    assert "done" in job["class"]
    when = job.select_one("[data-when]")
    assert when is not None
    assert when.get_text(strip=True) == "today, Noor"
    pages.post_form(job.select_one(".when-done form"))
    again = pages.page("/today").select_one(water)
    assert again is not None
    assert "done" not in again["class"]


def test_other_days_are_pages_and_no_day_is_refused(pages: SmallPages):
    assert "tone" in pages.page("/today/2027-03-10").get_text()
    assert "No job is planned" in pages.page("/today/2027-03-14").get_text()
    answer = pages.client.get("/today/soon", headers={"Accept": "text/html"})
    assert answer.status_code == 404
    assert "2027-03-09; got soon" in answer.text


@pytest.mark.parametrize("day", ["0001-01-01", "1999-12-31", "2100-01-01", "9999-12-31"])
def test_a_day_that_no_book_has_is_not_found(pages: SmallPages, day: str):
    answer = pages.client.get(f"/today/{day}", headers={"Accept": "text/html"})
    assert answer.status_code == 404
    assert "2000 to 2099" in answer.text


def test_nothing_on_the_pages_breaks_the_policy(pages: SmallPages):
    for path in ("/today", "/count", "/sowings/leek%2002-26%20a/trays/1"):
        page = pages.page(path)
        assert page.select("[style], [onclick], style") == []
        assert [each for each in page.select("script:not([src])")
                if each.get("type") != "application/json"] == []  # fmt: skip
