"""The files that pages are made of: scripts, styles and fonts, addressed by their content."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from litestar import Request, Response, get
from litestar.exceptions import NotFoundException
from litestar.status_codes import HTTP_304_NOT_MODIFIED

if TYPE_CHECKING:
    from typing import Any

STATIC: Final = Path(__file__).parent / "static"

MEDIA_TYPES: Final = {
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".woff2": "font/woff2",
    ".json": "application/json",
    ".md": "text/plain",
    "": "text/plain",
}
"""What a browser is told a file is, by its ending; other files are not served."""

_FOREVER: Final = "public, max-age=31536000, immutable"
_ASK_AGAIN: Final = "no-cache"


@dataclass(frozen=True, slots=True)
class Asset:
    """A file with the mark of its content."""

    content: bytes
    mark: str
    media_type: str


_FILE_IN_CSS: Final = re.compile(r'url\("([^":]+)"\)')

_read: dict[Path, tuple[int, Asset]] = {}


def asset(path: str) -> Asset | None:
    """Read a file of the pages, anew only if it has changed.

    Parameters
    ----------
    path : str
        Path below the folder of these files.

    Returns
    -------
    asset : Asset or None
        The file; None if there is none, or none that may be served.
    """
    full = (STATIC / path).resolve()
    if not full.is_relative_to(STATIC) or full.suffix not in MEDIA_TYPES or not full.is_file():
        return None
    changed_ns = full.stat().st_mtime_ns
    known = _read.get(full)
    if known is None or known[0] != changed_ns:
        content = full.read_bytes()
        if full.suffix == ".css":
            content = _with_addresses(content, full.parent)
        mark = hashlib.sha256(content).hexdigest()[:12]
        known = (changed_ns, Asset(content, mark, MEDIA_TYPES[full.suffix]))
        _read[full] = known
    return known[1]


def _with_addresses(content: bytes, folder: Path) -> bytes:
    """Give the fonts and pictures that a style sheet names the address of their content."""

    def versioned(found: re.Match[str]) -> str:
        return f'url("{address((folder / found[1]).relative_to(STATIC).as_posix())}")'

    return _FILE_IN_CSS.sub(versioned, content.decode("utf-8")).encode("utf-8")


def address(path: str) -> str:
    """Return the address of a file, which changes with its content.

    Parameters
    ----------
    path : str
        Path below the folder of these files.

    Returns
    -------
    address : str
        As ``/static/look.css?v=1f0c3a9b5d7e``.

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    """
    found = asset(path)
    if found is None:
        raise FileNotFoundError(f"No static file {path!r}; a page names it.")
    return f"/static/{path}?v={found.mark}"


def exists(path: str) -> bool:
    """Say whether there is such a file.

    Parameters
    ----------
    path : str
        Path below the folder of these files.

    Returns
    -------
    exists : bool
        Whether it can be served.
    """
    return asset(path) is not None


@get("/static/{path:path}", include_in_schema=False, sync_to_thread=True)
def static_file(path: Path, request: Request[Any, Any, Any]) -> Response[bytes]:
    """Answer with a file: kept for a year under its content's address, else asked for again."""
    found = asset(path.as_posix().lstrip("/"))
    if found is None:
        raise NotFoundException(f"There is no file {request.url.path}.")
    versioned = request.query_params.get("v") == found.mark
    headers = {
        "ETag": f'"{found.mark}"',
        "Cache-Control": _FOREVER if versioned else _ASK_AGAIN,
    }
    if request.headers.get("if-none-match") == headers["ETag"]:
        return Response(b"", status_code=HTTP_304_NOT_MODIFIED, headers=headers)
    return Response(found.content, media_type=found.media_type, headers=headers)
