"""One page, or one JSON shape, for whatever goes wrong: what, where, and what would be right."""

from __future__ import annotations

import logging
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from litestar import Request, Response
from litestar.exceptions import HTTPException, ValidationException
from litestar.response import Template
from litestar.status_codes import (
    HTTP_403_FORBIDDEN,
    HTTP_404_NOT_FOUND,
    HTTP_405_METHOD_NOT_ALLOWED,
    HTTP_413_REQUEST_ENTITY_TOO_LARGE,
    HTTP_422_UNPROCESSABLE_ENTITY,
    HTTP_500_INTERNAL_SERVER_ERROR,
    HTTP_503_SERVICE_UNAVAILABLE,
    HTTP_507_INSUFFICIENT_STORAGE,
)

from sowbench.science.errors import (
    BookBusyError,
    BookError,
    InputFileError,
    Problem,
    SowbenchError,
    StoreFullError,
    UnknownNameError,
)
from sowbench.web.security import REQUEST_MOST_BYTES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from litestar.types import ExceptionHandler

_LOG: Final = logging.getLogger(__name__)

_UNEXPECTED: Final = (
    "Something went wrong within the book itself; what you sent was not half kept. "
    "The window in which the book was started says more."
)


@dataclass(frozen=True, slots=True)
class ErrorPage:
    """What the page of an error shows.

    Attributes
    ----------
    status : int
        Status of the answer.
    over : str
        Where it happened, above the heading.
    heading : str
        What is so now.
    message : str
        What is wrong, with the value received.
    right : str
        What would be right; blank if the message says it.
    problems : list of Problem
        What is wrong in a file, beside its row.
    """

    status: int
    over: str
    heading: str
    message: str
    right: str = ""
    problems: list[Problem] = field(default_factory=list)


def explain(error: Exception, path: str) -> ErrorPage:
    """Put an error in words.

    Parameters
    ----------
    error : Exception
        What was raised.
    path : str
        Address that was asked for.

    Returns
    -------
    page : ErrorPage
        What to show.
    """
    if isinstance(error, InputFileError):
        n = len(error.problems)
        return ErrorPage(
            HTTP_422_UNPROCESSABLE_ENTITY,
            path,
            "Nothing was taken in",
            f"{n} {'thing is' if n == 1 else 'things are'} not right in the file; mend "
            f"{'it' if n == 1 else 'them'} and send it again.",
            problems=list(error.problems),
        )
    if isinstance(error, UnknownNameError):
        return ErrorPage(HTTP_404_NOT_FOUND, path, "Nothing of that name is here", str(error))
    if isinstance(error, StoreFullError):
        return ErrorPage(HTTP_507_INSUFFICIENT_STORAGE, path, "The disk is full", str(error))
    if isinstance(error, BookBusyError):
        return ErrorPage(HTTP_503_SERVICE_UNAVAILABLE, path, "The book is busy", str(error))
    if isinstance(error, BookError):
        return ErrorPage(
            HTTP_500_INTERNAL_SERVER_ERROR, path, "The book cannot do that now", str(error)
        )
    if isinstance(error, SowbenchError):
        return ErrorPage(HTTP_422_UNPROCESSABLE_ENTITY, path, "That cannot be taken", str(error))
    if isinstance(error, HTTPException):
        return _of_http(error, path)
    return ErrorPage(HTTP_500_INTERNAL_SERVER_ERROR, path, "This went wrong", _UNEXPECTED)


def _of_http(error: HTTPException, path: str) -> ErrorPage:
    """Put an error of the protocol in words of the house."""
    status, said = error.status_code, error.detail
    if status == HTTP_404_NOT_FOUND:
        plain = said in {"", "Not Found"}
        message = f"There is no page {path} in this book." if plain else said
        return ErrorPage(
            status,
            path,
            "Nothing is here",
            message,
            "An order, sowing or lot of another name may have been meant: their lists show all.",
        )
    if status == HTTP_405_METHOD_NOT_ALLOWED:
        return ErrorPage(status, path, "That cannot be done here", f"{path} does not take this.")
    if status == HTTP_403_FORBIDDEN and "CSRF" in said:
        return ErrorPage(
            status,
            path,
            "This form is too old",
            "It came without the mark that shows it is a form of this book; nothing was kept.",
            "Go back, load the page anew, and send it once more. Cookies must be allowed here.",
        )
    if status == HTTP_413_REQUEST_ENTITY_TOO_LARGE:
        most = f"{REQUEST_MOST_BYTES // 2**20} MB"
        return ErrorPage(
            status,
            path,
            "This is too large",
            f"More than {most} was sent; nothing was kept.",
            "Send it in parts.",
        )
    if isinstance(error, ValidationException):
        return ErrorPage(status, path, "That cannot be read", _fields(error))
    return ErrorPage(status, path, "That cannot be done", said)


def _fields(error: ValidationException) -> str:
    """Name the fields that could not be read."""
    extra = error.extra if isinstance(error.extra, list) else []
    parts = [
        f"{each.get('key') or 'the request'}: {each.get('message', '')}"
        for each in extra
        if isinstance(each, dict)
    ]
    return "; ".join(parts) or error.detail


def _shown(request: Request[Any, Any, Any], error: Exception) -> Response[Any]:
    """Show an error as the asker reads it: a page, or JSON for a program."""
    path = request.url.path
    page = explain(error, path)
    if page.status >= HTTP_500_INTERNAL_SERVER_ERROR:
        _LOG.error("Unexpected error at %s", path, exc_info=error)
    headers = dict(error.headers or {}) if isinstance(error, HTTPException) else {}
    if "text/html" in request.headers.get("accept", ""):
        context = {"here": "", **{name: getattr(page, name) for name in page.__slots__}}
        return Template("error.html", context=context, status_code=page.status, headers=headers)
    body = {
        "status": page.status,
        "message": page.message,
        "right": page.right,
        "problems": page.problems,
    }
    return Response(body, status_code=page.status, media_type="application/json", headers=headers)


HANDLERS: Final[Mapping[int | type[Exception], ExceptionHandler[Any]]] = {Exception: _shown}
