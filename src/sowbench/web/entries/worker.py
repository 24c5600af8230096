"""The service worker: its script with the list of what it keeps, and a version by content."""

from __future__ import annotations

import hashlib
import json
from typing import Final

from sowbench.web import assets

_SCRIPT: Final = "worker.js"
# Drawing libraries are large, and what they draw is no work in the house.
_NOT_KEPT: Final = ("vendor/vega", "vendor/vega-lite", "vendor/vega-embed", _SCRIPT)
_KEPT_ENDINGS: Final = frozenset({".css", ".js", ".svg", ".woff2", ".json"})


def shell_addresses() -> list[str]:
    """List the files without which a kept page could not be shown.

    Returns
    -------
    addresses : list of str
        With the mark of their content.
    """
    found = []
    for path in sorted(assets.STATIC.rglob("*")):
        name = path.relative_to(assets.STATIC).as_posix()
        if path.suffix not in _KEPT_ENDINGS or name.startswith(_NOT_KEPT) or not path.is_file():
            continue
        found.append(assets.address(name))
    return found


def worker_script() -> str:
    """Write the service worker.

    Returns
    -------
    script : str
        JavaScript that begins with its version and what it keeps.
    """
    script = assets.asset(_SCRIPT)
    if script is None:
        raise FileNotFoundError(f"No static file {_SCRIPT!r}; the phone part needs it.")
    shell = json.dumps(shell_addresses())
    mark = hashlib.sha256(script.content + shell.encode()).hexdigest()[:12]
    head = f'"use strict";\nconst VERSION = "{mark}";\nconst SHELL = {shell};\n'
    return head + script.content.decode("utf-8")
