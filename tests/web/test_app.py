"""The application as a whole: where it leads, what it refuses, and the headers of all it says."""

import re
from dataclasses import fields, is_dataclass
from typing import Any

import pytest
from bs4 import BeautifulSoup
from litestar import get
from litestar.testing import TestClient

from sowbench.science.errors import BookBusyError, InputFileError, Problem, StoreFullError
from sowbench.services import begin, begin_refused, handbook, tray_drawing
from sowbench.web import app as app_module
from sowbench.web import assets, errors
from sowbench.web.app import create_app
from sowbench.web.begin.routes import routes as begin_routes
from sowbench.web.security import HEADERS, csrf_secret, token_cookie

ADDRESS = "http://127.0.0.1:8470"
HTML = {"Accept": "text/html"}


def page(answer) -> Any:
    assert answer.headers["content-type"].startswith("text/html")
    return BeautifulSoup(answer.text, "html.parser")


def test_an_empty_book_leads_to_the_first_steps(client):
    answer = client.get("/", headers=HTML, follow_redirects=False)
    assert answer.headers["location"] == "/begin"


def test_a_planned_book_leads_to_todays_work(demo_client):
    answer = demo_client.get("/", headers=HTML, follow_redirects=False)
    assert answer.headers["location"] == "/today"


@pytest.mark.parametrize(
    "path", ["/begin", "/nothing", "/static/look.css", "/static/nothing", "/handbook/crops/nothing"]
)
def test_every_answer_has_the_headers_that_keep_it_safe(client, path):
    answer = client.get(path, headers=HTML)
    for name, value in HEADERS.items():
        if name != "Cache-Control":
            assert answer.headers[name] == value, name


def test_the_policy_allows_no_inline_script_style_or_eval():
    policy = dict(each.split(" ", 1) for each in HEADERS["Content-Security-Policy"].split("; "))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == "'self'"
    assert "unsafe" not in HEADERS["Content-Security-Policy"]


@pytest.mark.parametrize(
    "host", ["127.0.0.1", "127.0.0.1:8470", "localhost:8470", "LOCALHOST", "[::1]", "[::1]:8470"]
)
def test_names_of_this_machine_are_let_in(client, host):
    assert client.get("/begin", headers={**HTML, "Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example:8470", "", "[::2]"]
)
def test_a_foreign_name_is_refused_and_learns_nothing(client, host):
    answer = client.get("/begin", headers={**HTML, "Host": host})
    assert answer.status_code == 421
    assert "first steps" not in page(answer).title.get_text().casefold()
    assert host in answer.text


def test_a_name_that_was_chosen_is_let_in(desk):
    with TestClient(create_app(desk, hosts=["house.local"]), base_url=ADDRESS) as asking:
        assert asking.get("/begin", headers={**HTML, "Host": "house.local:80"}).status_code == 200


def test_a_form_without_its_token_is_refused_and_says_what_to_do(client):
    answer = client.post("/begin/demo", headers=HTML, data={"x": "1"})
    assert answer.status_code == 403
    assert page(answer).h1.get_text() == "This form is too old"
    assert "load the page anew" in page(answer).main.get_text()


def test_a_form_with_its_token_is_taken(client):
    token = page(client.get("/begin", headers=HTML)).select_one("input[name=_csrf_token]")["value"]
    assert len(token) > 64
    answer = client.post(
        "/begin/demo", headers=HTML, data={"_csrf_token": token}, follow_redirects=False
    )
    assert answer.status_code == 303


def test_htmx_is_given_the_token_of_the_page(client):
    answer = page(client.get("/begin", headers=HTML))
    token = answer.select_one("input[name=_csrf_token]")["value"]
    assert answer.body["hx-headers"] == f'{{"x-csrftoken": "{token}"}}'
    config = answer.select_one('meta[name="htmx-config"]')["content"]
    assert '"allowEval": false' in config
    assert '"includeIndicatorStyles": false' in config
    assert '"selfRequestsOnly": true' in config


def test_two_books_on_one_machine_have_cookies_of_two_names(client, desk):
    client.get("/begin", headers=HTML)
    secret = csrf_secret(desk.data)
    assert token_cookie(secret) in client.cookies
    assert token_cookie("0" * 64) != token_cookie(secret)


def test_the_secret_is_kept_and_only_its_owner_reads_it(desk):
    first = csrf_secret(desk.data)
    assert csrf_secret(desk.data) == first
    assert re.fullmatch("[0-9a-f]{64}", first)
    assert (desk.data / "secret").stat().st_mode & 0o077 == 0


def test_a_page_that_is_not_there_says_so_in_words(client):
    answer = client.get("/nothing", headers=HTML)
    assert answer.status_code == 404
    assert page(answer).h1.get_text() == "Nothing is here"
    assert "/nothing" in page(answer).main.get_text()


def test_a_program_gets_the_same_as_json(client):
    answer = client.get("/nothing", headers={"Accept": "application/json"})
    assert answer.status_code == 404
    assert answer.json()["status"] == 404
    assert "/nothing" in answer.json()["message"]


def test_an_unknown_crop_is_answered_with_the_nearest(client):
    answer = client.get("/handbook/crops/letuce", headers=HTML)
    assert answer.status_code == 404
    assert "Did you mean 'lettuce'" in page(answer).main.get_text()


def test_the_problems_of_a_file_are_shown_with_row_column_and_value(desk, monkeypatch):
    @get("/broken", sync_to_thread=True)
    def broken() -> None:
        raise InputFileError([Problem("seed.csv", 3, "n_tested", "x", "must be a whole number.")])

    monkeypatch.setattr(app_module, "begin_routes", [*begin_routes, broken])
    with TestClient(create_app(desk), base_url=ADDRESS) as asking:
        answer = asking.get("/broken", headers=HTML)
    assert answer.status_code == 422
    cells = [each.get_text() for each in page(answer).select("tbody td")]
    assert cells == ["seed.csv, row 3, n_tested", "must be a whole number.", "x"]


def test_an_unexpected_error_tells_the_log_all_and_the_page_nothing(desk, monkeypatch, caplog):
    @get("/broken", sync_to_thread=True)
    def broken() -> None:
        raise ZeroDivisionError("a secret of the inside")

    monkeypatch.setattr(app_module, "begin_routes", [*begin_routes, broken])
    with TestClient(create_app(desk), base_url=ADDRESS, raise_server_exceptions=False) as asking:
        answer = asking.get("/broken", headers=HTML)
    assert answer.status_code == 500
    assert "secret of the inside" not in answer.text
    assert "secret of the inside" in caplog.text


@pytest.mark.parametrize(
    ("error", "status", "heading"),
    [
        (StoreFullError("The disk is full."), 507, "The disk is full"),
        (BookBusyError("Someone else writes."), 503, "The book is busy"),
    ],
)
def test_a_book_that_cannot_write_says_why(error, status, heading):
    shown = errors.explain(error, "/entries")
    assert (shown.status, shown.heading, shown.message) == (status, heading, str(error))


def test_a_part_of_a_page_is_never_kept_as_the_page(client):
    whole, part = client.get("/today"), client.get("/today", headers={"hx-request": "true"})
    assert whole.headers["cache-control"] == "private, no-cache"
    assert part.headers["cache-control"] == "no-store"


def test_a_file_is_kept_for_a_year_under_the_address_of_its_content(client):
    address = assets.address("look.css")
    answer = client.get(address)
    assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"
    assert client.get("/static/look.css").headers["cache-control"] == "no-cache"
    assert client.get("/static/look.css?v=old").headers["cache-control"] == "no-cache"


def test_a_file_that_has_not_changed_is_not_sent_again(client):
    mark = client.get("/static/look.css").headers["etag"]
    again = client.get("/static/look.css", headers={"If-None-Match": mark})
    assert (again.status_code, again.content) == (304, b"")


def test_the_fonts_of_the_style_sheet_are_there_under_the_address_of_their_content(client):
    sheet = client.get(assets.address("look.css")).text
    fonts = re.findall(r'url\("([^"]+)"\)', sheet)
    assert len(fonts) == 2
    for each in fonts:
        answer = client.get(each)
        assert answer.headers["content-type"] == "font/woff2"
        assert "immutable" in answer.headers["cache-control"]


@pytest.mark.parametrize(
    "path", ["../app.py", "%2e%2e/app.py", "..%2fapp.py", "vendor", "", "vendor/../../app.py"]
)
def test_nothing_but_the_files_of_the_pages_is_served(client, path):
    answer = client.get(f"/static/{path}")
    assert answer.status_code in {404, 405}
    assert "create_app" not in answer.text


def test_a_page_that_names_a_file_that_is_not_there_is_found_out():
    with pytest.raises(FileNotFoundError, match=r"look\.ccs"):
        assets.address("look.ccs")


def test_every_vendored_file_says_what_it_is_and_under_which_license():
    folders = [each for each in (assets.STATIC / "vendor").iterdir() if each.is_dir()]
    assert len(folders) == 5
    for each in folders:
        assert (each / "LICENSE").stat().st_size > 300
        said = (each / "VENDORED.md").read_text(encoding="utf-8")
        assert re.search(r"`[\w@./-]+` \d+\.\d+\.\d+ from the npm registry", said)
        assert "License: " in said


def test_every_field_of_a_page_has_a_text_that_says_what_it_is():
    bare = []
    for module in (begin, begin_refused, handbook, tray_drawing, errors):
        for name, each in vars(module).items():
            if not is_dataclass(each) or each.__module__ != module.__name__:
                continue
            if not name.endswith(("View", "Page", "Step", "Line", "Row", "Drawing", "Refused")):
                continue
            said = each.__doc__ or ""
            if "Attributes" not in said:
                continue
            bare += [
                f"{name}.{one.name}" for one in fields(each) if f"    {one.name} : " not in said
            ]
    assert bare == []


def test_the_navigation_marks_where_one_is(client):
    answer = page(client.get("/handbook", headers=HTML))
    current = {each.get_text(strip=True) for each in answer.select("a[aria-current=page]")}
    assert current == {"Handbook"}


def test_the_page_has_its_places_for_scripts_of_others(client):
    answer = page(client.get("/begin", headers=HTML))
    assert answer.select_one("#kept")["role"] == "status"
    assert answer.select_one("dialog#working #working-body") is not None
    assert answer.select_one("main#main h1") is not None
    assert len(answer.select("h1")) == 1


@pytest.mark.parametrize(
    "path",
    ["/begin", "/handbook", "/handbook/crops/basil", "/handbook/containers/plug-128", "/nothing"],
)
def test_a_page_as_it_is_sent_has_nothing_that_the_policy_blocks(client, path):
    answer = page(client.get(path, headers=HTML))
    for tag in answer.find_all(True):
        assert "style" not in tag.attrs
        assert not [name for name in tag.attrs if name.startswith("on")]
    assert not answer.find_all("style")
    for script in answer.find_all("script"):
        assert script.get("src", "").startswith("/static/") or script["type"] == "application/json"


@pytest.mark.parametrize("path", ["/begin", "/handbook", "/handbook/crops/basil"])
def test_everything_to_fill_in_has_a_label_and_every_id_is_there_once(client, path):
    answer = page(client.get(path, headers=HTML))
    ids = [each["id"] for each in answer.find_all(id=True)]
    assert len(ids) == len(set(ids))
    for each in answer.select("main input:not([type=hidden]), main select"):
        assert answer.select_one(f'label[for="{each["id"]}"]') is not None


def test_addresses_on_a_page_lead_somewhere(client):
    seen = page(client.get("/handbook", headers=HTML))
    static = [each["src"] for each in seen.select("script[src]")]
    static += [each["href"] for each in seen.select("link[href]")]
    for address in static:
        assert client.get(address).status_code == 200, address
