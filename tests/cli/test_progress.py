"""Progress is told without flooding, and Ctrl-C ends the search, not the work."""

import io
import os
import signal

import pytest

from sowbench.cli.progress import Reporter, reporting, waiting


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_a_pipe_gets_a_line_for_each_stage_and_not_for_each_call():
    stream = io.StringIO()
    reporter = Reporter(stream, 30)
    for kind in ("lay out", "bound", "search"):
        for _ in range(1000):
            assert reporter(kind, 100.0, 104.0) is False
    lines = stream.getvalue().splitlines()
    assert len(lines) == 3
    assert lines[2].startswith("Searching: at most 4.0 % above the cheapest possible (0 of at most")


def test_a_terminal_gets_one_line_that_is_left_clean():
    stream = Terminal()
    reporter = Reporter(stream)
    reporter("bound", 0.0, 0.0)
    reporter("search", 100.0, 100.0)
    reporter.close()
    text = stream.getvalue()
    assert "\n" not in text
    assert text.endswith("\r")


@pytest.mark.parametrize(("bound", "cost"), [(0.0, 0.0), (float("nan"), 5.0), (5.0, float("inf"))])
def test_what_is_not_known_yet_is_not_told(bound, cost):
    stream = io.StringIO()
    Reporter(stream)("search", bound, cost)
    assert stream.getvalue().startswith("Searching (")


def test_the_first_interrupt_ends_the_search_and_the_second_gives_up(capsys):
    before = signal.getsignal(signal.SIGINT)
    with reporting(5) as reporter:
        assert reporter("search", 1.0, 2.0) is False
        os.kill(os.getpid(), signal.SIGINT)
        assert reporter("search", 1.0, 2.0) is True
        assert "best plan so far is kept" in capsys.readouterr().err
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is before


def test_work_that_tells_nothing_is_told_to_go_on():
    stream = io.StringIO()
    with waiting("Recomputing", stream):
        pass
    assert stream.getvalue() == "Recomputing (0 s)\n"
    terminal = Terminal()
    with waiting("Recomputing", terminal):
        pass
    assert terminal.getvalue().startswith("\rRecomputing (0 s)")
    assert terminal.getvalue().endswith("\r")
