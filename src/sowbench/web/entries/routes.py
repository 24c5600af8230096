"""Addresses of the entries: sent in, with a fresh token; and the worker that keeps pages."""

from __future__ import annotations

import hmac
from typing import Any, Final

from litestar import MediaType, Request, Response, get, post
from litestar.concurrency import sync_to_thread
from litestar.datastructures import Cookie
from litestar.enums import RequestEncodingType
from litestar.middleware.csrf import CSRF_SECRET_LENGTH, generate_csrf_hash, generate_csrf_token
from litestar.response import Redirect, Template
from litestar.status_codes import (
    HTTP_200_OK,
    HTTP_303_SEE_OTHER,
    HTTP_409_CONFLICT,
    HTTP_422_UNPROCESSABLE_ENTITY,
)
from litestar.types import ControllerRouterHandler

from sowbench.science.errors import OutOfRangeError
from sowbench.services.desk import Desk
from sowbench.services.entries import (
    BODY_MOST_BYTES,
    Said,
    entries_from_json,
    fields_from_form,
    record,
)
from sowbench.web.entries.worker import worker_script

_FORMS: Final = (RequestEncodingType.URL_ENCODED, RequestEncodingType.MULTI_PART)
_TOKEN_FIELD: Final = "_csrf_token"  # noqa: S105  (the name of a field, not what is in it)
_BACK_FIELD: Final = "back"
_STATUS: Final = {
    Said.TAKEN: HTTP_200_OK,
    Said.KNOWN: HTTP_200_OK,
    Said.CLASH: HTTP_409_CONFLICT,
    Said.REFUSED: HTTP_422_UNPROCESSABLE_ENTITY,
}


@post("/entries", status_code=HTTP_200_OK, request_max_body_size=BODY_MOST_BYTES)
async def send_entries(request: Request[Any, Any, Any], desk: Desk) -> Response[Any]:
    """Take in entries: a JSON list, each answered by itself, or one as a plain form."""
    if request.content_type[0] in _FORMS:
        form = await request.form()
        fields = {name: text for name, text in form.multi_items() if isinstance(text, str)}
        return await sync_to_thread(_from_form, desk, fields)
    body = await request.body()
    answers = await sync_to_thread(lambda: record(desk, entries_from_json(body)))
    return Response(answers, media_type=MediaType.JSON)


def _from_form(desk: Desk, fields: dict[str, str]) -> Response[Any]:
    """Take in one entry from a plain form; say what there is to say, else go back."""
    back = _local(fields.pop(_BACK_FIELD, ""))
    fields.pop(_TOKEN_FIELD, None)
    if not fields:
        raise OutOfRangeError("form", "the fields of one entry", "no field")
    answer = record(desk, [fields_from_form(fields)])[0]
    if _STATUS[answer.state] == HTTP_200_OK and not answer.notes:
        return Redirect(back, status_code=HTTP_303_SEE_OTHER)
    return Template(
        "entries/answer.html",
        context={"page": answer, "back": back, "here": "today"},
        status_code=_STATUS[answer.state],
    )


def _local(path: str) -> str:
    """Return a path of this book to go back to, never another place."""
    is_local = path.startswith("/") and not path.startswith(("//", "/\\"))
    return path if is_local and path.isprintable() else "/today"


@get("/entries/token", exclude_from_csrf=True, sync_to_thread=False)
def fresh_token(request: Request[Any, Any, Any]) -> Response[dict[str, str]]:
    """Give the token that a post must bring back, with its cookie.

    A cookie made with the secret of another book (another port of the same machine, a folder that
    was put in its place) would be refused for ever; it is replaced.
    """
    config = request.app.csrf_config
    if config is None:
        raise LookupError("csrf_config must be set for the application; got none.")
    token = request.cookies.get(config.cookie_name, "")
    cookies = []
    if not _is_ours(token, config.secret):
        token = generate_csrf_token(config.secret)
        cookies.append(
            Cookie(
                key=config.cookie_name,
                value=token,
                path=config.cookie_path,
                secure=config.cookie_secure,
                httponly=config.cookie_httponly,
                samesite=config.cookie_samesite,
                domain=config.cookie_domain,
            )
        )
    return Response({"token": token}, cookies=cookies, headers={"Cache-Control": "no-store"})


def _is_ours(token: str, secret: str) -> bool:
    """Tell whether a token was made with the secret of this book."""
    if not token.isascii():
        return False
    half, mark = token[:CSRF_SECRET_LENGTH], token[CSRF_SECRET_LENGTH:]
    return bool(mark) and hmac.compare_digest(mark, generate_csrf_hash(half, secret))


@get("/worker.js", sync_to_thread=False)
def worker() -> Response[str]:
    """Answer with the service worker, from the root so that it may keep every page."""
    return Response(
        worker_script(),
        media_type="text/javascript",
        headers={"Service-Worker-Allowed": "/", "Cache-Control": "no-cache"},
    )


routes: list[ControllerRouterHandler] = [send_entries, fresh_token, worker]
