"""The command that opens a house book and serves its pages on this machine."""

from __future__ import annotations

import contextlib
import errno
import socket
import sys
from pathlib import Path
from typing import Final

import click

from sowbench.cli.shared import (
    answers_errors,
    json_option,
    print_json,
    print_lines,
    tell,
    url_option,
)
from sowbench.science.errors import SowbenchError

HOST: Final = "127.0.0.1"
PORT: Final = 8470


class PortTakenError(SowbenchError):
    """The port is in use, or may not be used.

    Parameters
    ----------
    port : int
        The port that was wanted.
    reason : str
        What the system says.
    other : int
        A port that is free.
    """

    def __init__(self, port: int, reason: str, other: int) -> None:
        super().__init__(port, reason, other)
        self.port = port
        self.reason = reason
        self.other = other

    def __str__(self) -> str:
        """Return the message in the house's form."""
        return (
            f"Port {self.port} cannot be used ({self.reason}). If the book is open already, go to "
            f"http://{HOST}:{self.port}; else choose another port: sowbench serve "
            f"--port {self.other}."
        )


@click.command(name="serve")
@click.option(
    "--data",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Folder of the book, made if it is not there. Without: the usual place for data.",
)
@click.option(
    "--port",
    type=click.IntRange(min=1, max=65535),
    default=PORT,
    show_default=True,
    metavar="N",
    help="Port on this machine.",
)
@url_option
@json_option
@answers_errors
def command(data: Path | None, port: int, url: str | None, as_json: bool) -> None:
    """Open the house book and serve its pages to this machine.

    The pages are at http://127.0.0.1:8470 until Ctrl-C ends it; nothing outside of this machine
    can reach them.
    """
    from sowbench.bootstrap import default_data_folder

    with listen(port) as listening:
        serve_book(listening, data or default_data_folder(), url, as_json=as_json)


def listen(port: int) -> socket.socket:
    """Take the port before anything slow is done.

    Parameters
    ----------
    port : int
        Port on this machine.

    Returns
    -------
    listening : socket
        Listens on it.

    Raises
    ------
    PortTakenError
        If it is in use, or may not be used.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            # A book that was closed a moment ago does not keep its port.
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((HOST, port))
        listening.listen(128)
    except OSError as error:
        listening.close()
        reason = "it is in use" if error.errno == errno.EADDRINUSE else str(error.strerror)
        raise PortTakenError(port, reason, _free_port(port)) from error
    return listening


def _free_port(taken: int) -> int:
    """Find a port that is free, near the one that is not."""
    for port in range(max(taken, 1024) + 1, min(max(taken, 1024) + 50, 65536)):
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as trial:
            try:
                trial.bind((HOST, port))
            except OSError:
                continue
            return port
    return 0


def serve_book(listening: socket.socket, data: Path, url: str | None, *, as_json: bool) -> None:
    """Open the book and serve until the person ends it.

    Parameters
    ----------
    listening : socket
        Socket to serve on.
    data : Path
        Folder of the book.
    url : str or None
        Address of its database; None is a file in the folder.
    as_json : bool
        Whether the address is printed for a program.
    """
    import uvicorn

    from sowbench import bootstrap
    from sowbench.web.app import create_app

    with bootstrap.open_desk(data, url) as desk:
        config = uvicorn.Config(
            create_app(desk),
            log_level="warning",
            server_header=False,
            timeout_graceful_shutdown=5,
        )
        address = f"http://{HOST}:{listening.getsockname()[1]}"
        if as_json:
            print_json({"format": "sowbench-serve/1", "address": address, "data": str(desk.data)})
        else:
            print_lines([f"The house book in {desk.data} is open at {address}"])
        sys.stdout.flush()
        tell("Ctrl-C closes it.")
        with contextlib.suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[listening])
        tell("The book is closed.")
