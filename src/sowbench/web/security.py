"""What keeps the pages safe: headers, hosts, sizes, the secret and the token of the forms."""

from __future__ import annotations

import hashlib
import os
import secrets
from collections.abc import Collection
from contextvars import ContextVar
from pathlib import Path
from typing import TYPE_CHECKING, Final

from litestar.datastructures import MutableScopeHeaders
from litestar.enums import ScopeType
from litestar.exceptions import HTTPException
from litestar.utils.empty import value_or_default
from litestar.utils.scope.state import ScopeState

if TYPE_CHECKING:
    from litestar.types import ASGIApp, Message, Receive, Scope, Send

REQUEST_MOST_BYTES: Final = 32 * 1024 * 1024
"""Largest request that is read at all: a workbook of 100,000 orders is well below."""

LOOPBACK_HOSTS: Final = ("127.0.0.1", "localhost", "[::1]")
"""Names under which the book is asked for on the machine that serves it."""

_POLICY: Final = (
    "default-src 'none'",
    "script-src 'self'",
    "style-src 'self'",
    "img-src 'self' data:",
    "font-src 'self'",
    "connect-src 'self'",
    "manifest-src 'self'",
    "worker-src 'self'",
    "form-action 'self'",
    "base-uri 'none'",
    "frame-ancestors 'none'",
)

HEADERS: Final = {
    "Content-Security-Policy": "; ".join(_POLICY),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "private, no-cache",
}
"""Headers of every answer that does not set them itself."""

_scope: ContextVar[Scope | None] = ContextVar("_scope", default=None)


async def with_headers(message: Message, scope: Scope) -> None:
    """Give every answer the headers that keep it safe.

    Parameters
    ----------
    message : Message
        What is about to be sent.
    scope : Scope
        The connection.
    """
    if message["type"] != "http.response.start" or scope["type"] != ScopeType.HTTP:
        return
    headers = MutableScopeHeaders.from_message(message)
    if any(name == b"hx-request" for name, _ in scope["headers"]):
        # A part of a page must not come back as the page when somebody goes back to it.
        headers["Cache-Control"] = "no-store"
    for name, value in HEADERS.items():
        headers.setdefault(name, value)


class Door:
    """Lets in only who asks for the book by a name of its own.

    A page elsewhere can make a name of its own point to this machine and so read the book as if
    it were its own page (DNS rebinding); it cannot make the browser name another host.

    Parameters
    ----------
    app : ASGIApp
        What comes next.
    hosts : collection of str
        Names that are let in, without port.
    """

    def __init__(self, app: ASGIApp, hosts: Collection[str]) -> None:
        self._app = app
        self._hosts = frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse a foreign name; note the connection for the token of its forms."""
        if scope["type"] != ScopeType.HTTP:
            await self._app(scope, receive, send)
            return
        asked = dict(scope["headers"]).get(b"host", b"").decode("latin-1").lower()
        name = asked if asked.endswith("]") else asked.rpartition(":")[0] or asked
        if name not in self._hosts:
            raise HTTPException(
                status_code=421,
                detail=f"The book was asked for as {asked!r}, which is not a name of this machine; "
                f"use http://{LOOPBACK_HOSTS[0]} with its port.",
            )
        reset = _scope.set(scope)
        try:
            await self._app(scope, receive, send)
        finally:
            _scope.reset(reset)


def csrf_token_now() -> str:
    """Return the token that a form of the page being made must bring back.

    Returns
    -------
    token : str
        The token; blank where no page is being made.
    """
    scope = _scope.get()
    return "" if scope is None else value_or_default(ScopeState.from_scope(scope).csrf_token, "")


def token_cookie(secret: str) -> str:
    """Return the name of the cookie that holds the token of one book.

    Browsers keep cookies by host and not by port, so that two books on one machine would else
    take each other's.

    Parameters
    ----------
    secret : str
        Secret of the book.

    Returns
    -------
    name : str
        As ``sowbench-token-1f0c3a9b``.
    """
    return f"sowbench-token-{hashlib.sha256(secret.encode('ascii')).hexdigest()[:8]}"


def new_entry_id() -> str:
    """Make the id of an entry that a form writes without script.

    Returns
    -------
    id : str
        128 random bits as 32 hexadecimal digits.
    """
    return secrets.token_hex(16)


def csrf_secret(data: Path) -> str:
    """Return the secret of the forms, made once and kept in the folder of the book.

    Parameters
    ----------
    data : Path
        Folder of the book.

    Returns
    -------
    secret : str
        64 hexadecimal digits.
    """
    path = data / "secret"
    try:
        return path.read_text(encoding="ascii").strip()
    except FileNotFoundError:
        pass
    secret = secrets.token_hex(32)
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text(encoding="ascii").strip()
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(secret)
    return secret
