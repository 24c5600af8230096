"""A PostgreSQL of Debian's for the tests: in a folder of its own, on a socket there, no network."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest

_HOMES = Path("/usr/lib/postgresql")
_USER = "sowbench"
_TRIES = 300
_PAUSE_S = 0.1


def binaries() -> Path | None:
    """Return the folder of the newest server's programs; None if there is none."""
    found = [each for each in _HOMES.glob("*/bin") if (each / "initdb").exists()]
    return max(found, key=lambda each: float(each.parent.name), default=None)


def needed_server() -> Path:
    """Return the programs of a server; without, fail where CI is set, else skip."""
    programs = binaries()
    if programs is None:
        message = f"PostgreSQL tests not run: no server in {_HOMES}; script/test installs one."
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    return programs


@contextmanager
def running_server(programs: Path) -> Iterator[str]:
    """Run a server while the block lasts; yield the address of a database less its name."""
    # A socket's path must be short, so not in pytest's folders.
    folder = Path(tempfile.mkdtemp(prefix="sowbench-pg-"))
    started_by = _other_user() if os.geteuid() == 0 else {}
    try:
        if started_by:
            os.chown(folder, started_by["user"], started_by["group"])
        data = folder / "data"
        subprocess.run(
            [
                *(programs / "initdb", "--pgdata", data, "--username", _USER),
                *("--auth", "trust", "--encoding", "UTF8", "--locale", "C.UTF-8", "--no-sync"),
            ],
            check=True,
            capture_output=True,
            cwd=folder,
            **started_by,
        )
        with (folder / "log").open("wb") as log:
            server = subprocess.Popen(
                [
                    *(programs / "postgres", "-D", data, "-k", folder),
                    *("-c", "listen_addresses=", "-c", "shared_buffers=32MB"),
                    *("-c", "max_connections=60", "-c", "autovacuum=off", "-c", "fsync=off"),
                ],
                stdout=log,
                stderr=log,
                cwd=folder,
                **started_by,
            )
        try:
            _wait(server, folder)
            yield f"postgresql://{_USER}@/{{name}}?host={folder}"
        finally:
            server.send_signal(signal.SIGQUIT)
            server.wait()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _other_user() -> dict:
    """Return who runs the server in place of root, whom it refuses."""
    for name in ("postgres", "nobody"):
        try:
            user = pwd.getpwnam(name)
        except KeyError:
            continue
        return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}
    raise LookupError("a server needs a user postgres or nobody; this system has neither.")


def _wait(server: subprocess.Popen, folder: Path) -> None:
    """Wait until the server answers."""
    for _ in range(_TRIES):
        if server.poll() is not None:
            break
        try:
            psycopg.connect(host=str(folder), user=_USER, dbname="postgres").close()
        except psycopg.OperationalError:
            time.sleep(_PAUSE_S)
        else:
            return
    raise RuntimeError(f"PostgreSQL did not start: {(folder / 'log').read_text()[-2000:]}")
