"""How far a long search is, on stderr: one rewriting line on a terminal, a few lines elsewhere."""

from __future__ import annotations

import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Final, TextIO

from sowbench.services import wording

_REWRITE_S: Final = 0.2
_LINE_S: Final = 10.0
_DOING: Final = {
    "lay out": "Laying out what could be sown when and where",
    "bound": "Finding how cheap a plan can be at best",
    "search": "Searching",
}


class Reporter:
    """Tells how far a search is, and ends it when the person has asked for it.

    Parameters
    ----------
    stream : file, default stderr
        Where to write.
    seconds : float or None, default None
        Ceiling on the search, told with the time so far [s].
    """

    def __init__(self, stream: TextIO | None = None, seconds: float | None = None) -> None:
        self._stream = sys.stderr if stream is None else stream
        self._terminal = self._stream.isatty()
        self._seconds = seconds
        self._started = time.monotonic()
        self._last = -1e9
        self._kind = ""
        self._written = 0
        self.stopped = False

    def __call__(self, kind: str, bound: float, cost: float) -> bool:
        """Tell how far the search is; return whether it should end.

        Parameters
        ----------
        kind : str
            What is being done: "lay out", "bound" or "search".
        bound, cost : float
            Bound and cost so far; NaN or infinite while they are not known.

        Returns
        -------
        stop : bool
            Whether to end now with the best plan found.
        """
        now = time.monotonic()
        pause = _REWRITE_S if self._terminal else _LINE_S
        if kind != self._kind or now - self._last >= pause:
            self._kind, self._last = kind, now
            self._write(self._words(kind, bound, cost, now - self._started))
        return self.stopped

    @property
    def rewrites(self) -> bool:
        """Whether one line is written over, as on a terminal."""
        return self._terminal

    def tell(self, words: str) -> None:
        """Tell what is being done, with the seconds since the start.

        Parameters
        ----------
        words : str
            What is being done.
        """
        self._write(f"{words} ({time.monotonic() - self._started:.0f} s)")

    def _words(self, kind: str, bound: float, cost: float, elapsed_s: float) -> str:
        """Say what is being done and how good it is so far."""
        words = _DOING.get(kind, kind.capitalize())
        if kind == "search" and 0 < cost < float("inf") and bound > 0:
            gap = max(cost / bound - 1.0, 0.0)
            words += f": at most {wording.percent(gap, 1)} above the cheapest possible"
        limit = f" of at most {self._seconds:.0f}" if self._seconds is not None else ""
        return f"{words} ({elapsed_s:.0f}{limit} s)"

    def _write(self, words: str) -> None:
        """Write one line, over the last one on a terminal."""
        if self._terminal:
            self._stream.write("\r" + words.ljust(self._written))
            self._written = len(words)
        else:
            self._stream.write(words + "\n")
        self._stream.flush()

    def close(self) -> None:
        """Leave the terminal's line clean."""
        if self._terminal and self._written:
            self._stream.write("\r" + " " * self._written + "\r")
            self._stream.flush()
            self._written = 0

    def ask_to_stop(self) -> None:
        """End the search at its next call, and say so."""
        self.stopped = True
        self.close()
        self._stream.write("Stopping; the best plan so far is kept. Press again to give up.\n")
        self._stream.flush()


@contextmanager
def reporting(seconds: float | None = None) -> Iterator[Reporter]:
    """Report a search; Ctrl-C ends the search and keeps its best plan, twice gives up.

    Parameters
    ----------
    seconds : float or None, default None
        Ceiling on the search [s].

    Yields
    ------
    reporter : Reporter
        To be called by the search.
    """
    reporter = Reporter(seconds=seconds)

    def on_interrupt(_signal: int, _frame: FrameType | None) -> None:
        if reporter.stopped:
            raise KeyboardInterrupt
        reporter.ask_to_stop()

    # Only the main thread may take signals; elsewhere (a server, some tests) Ctrl-C stays as it is.
    takes_signals = threading.current_thread() is threading.main_thread()
    before = signal.signal(signal.SIGINT, on_interrupt) if takes_signals else None
    try:
        yield reporter
    finally:
        reporter.close()
        if takes_signals:
            signal.signal(signal.SIGINT, before)


@contextmanager
def waiting(words: str, stream: TextIO | None = None) -> Iterator[None]:
    """Tell that long work goes on, where the work itself tells nothing.

    Parameters
    ----------
    words : str
        What is being done.
    stream : file or None, default None
        Where to write; stderr if None.

    Yields
    ------
    nothing : None
        The work is the body of the block.
    """
    reporter = Reporter(stream)
    pause_s = 1.0 if reporter.rewrites else 3 * _LINE_S
    done = threading.Event()

    def tell() -> None:
        reporter.tell(words)
        while not done.wait(pause_s):
            reporter.tell(words)

    teller = threading.Thread(target=tell, daemon=True)
    teller.start()
    try:
        yield
    finally:
        done.set()
        teller.join()
        reporter.close()
