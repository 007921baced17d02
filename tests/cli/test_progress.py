"""How far something long is: shown to a person at a terminal after a second, gone at the end, never in a pipe."""

import io
import sys
import time

import pytest

from stockroom.cli.job import Job


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_bar_is_shown_after_a_second_and_taken_away(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setenv("TERM", "xterm")
    job = Job(0, "", began=time.monotonic())
    job.advance("reading log.csv", 1, 2)
    assert screen.getvalue() == ""
    job.began -= 1.5
    job.advance("reading [bold]log.csv\x1b[31m", 1, 2)
    job.quiet()
    shown = screen.getvalue()
    assert "reading [bold]log.csv" in shown
    assert "50 %" in shown
    assert "\x1b[31m" not in shown.replace("\x1b[2K", "").split("reading")[1].split("log.csv")[1][:6]
    assert shown.rstrip().endswith("\x1b[2K")  # the line is wiped last


def test_nothing_is_shown_in_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    pipe = io.StringIO()
    monkeypatch.setattr(sys, "stderr", pipe)
    job = Job(0, "", began=time.monotonic() - 60)
    job.advance("reading log.csv", 1, 2)
    job.quiet()
    assert pipe.getvalue() == ""
