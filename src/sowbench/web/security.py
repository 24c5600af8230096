"""What keeps the pages safe: headers, sizes, the secret of the forms."""

from __future__ import annotations

import os
import secrets
from pathlib import Path
from typing import Final

REQUEST_MOST_BYTES: Final = 32 * 1024 * 1024
"""Largest request that is read at all: a workbook of 100,000 orders is well below."""

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
}


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
