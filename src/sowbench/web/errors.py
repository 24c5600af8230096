"""One page, or one JSON shape, for whatever goes wrong."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, Any, Final

from litestar import Request, Response
from litestar.exceptions import HTTPException
from litestar.response import Template
from litestar.status_codes import (
    HTTP_404_NOT_FOUND,
    HTTP_422_UNPROCESSABLE_ENTITY,
    HTTP_500_INTERNAL_SERVER_ERROR,
)

from sowbench.science.errors import InputFileError, SowbenchError, UnknownNameError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from litestar.types import ExceptionHandler

_LOG: Final = logging.getLogger(__name__)


def _shown(request: Request[Any, Any, Any], error: Exception) -> Response[Any]:
    """Show an error as the asker reads it: a page, or JSON for a program."""
    problems: list[dict[str, object]] = []
    if isinstance(error, HTTPException):
        status, message = error.status_code, error.detail
    elif isinstance(error, InputFileError):
        status, message = HTTP_422_UNPROCESSABLE_ENTITY, str(error)
        problems = [
            {"file": each.file, "row": each.row, "column": each.column, "value": each.value,
             "message": each.message}
            for each in error.problems
        ]  # fmt: skip
    elif isinstance(error, UnknownNameError):
        status, message = HTTP_404_NOT_FOUND, str(error)
    elif isinstance(error, SowbenchError):
        status, message = HTTP_422_UNPROCESSABLE_ENTITY, str(error)
    else:
        _LOG.error("Unexpected error at %s", request.url.path, exc_info=error)
        status = HTTP_500_INTERNAL_SERVER_ERROR
        message = "Something went wrong here; nothing of what you sent was half kept."
    body = {"status": status, "message": message, "problems": problems}
    if "text/html" in request.headers.get("accept", ""):
        return Template("error.html", context=body, status_code=status)
    return Response(body, status_code=status, media_type="application/json")


HANDLERS: Final[Mapping[int | type[Exception], ExceptionHandler[Any]]] = {Exception: _shown}
