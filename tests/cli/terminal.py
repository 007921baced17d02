"""A real terminal for tests: a program of its own behind a pseudo-terminal of 80 columns, answered as a person would."""

import fcntl
import os
import pty
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Sequence
from pathlib import Path

from conftest import Line

ROOT = Path(__file__).parents[2]
PROGRAM = """
import sys
import psycopg
from freezegun import freeze_time
from stockroom.cli.main import main
with freeze_time(sys.argv[1]):
    code = main(sys.argv[2:])
sys.exit(code)
"""
"""The command line at the moment that a test sets. The driver comes first: a stopped clock is another class of date to it."""
LONGEST = 60.0
"""Seconds after which a command that neither ends nor asks is given up."""


def at_a_terminal(cli: Line, args: Sequence[str], *answers: tuple[str, str]) -> tuple[int, str]:
    """(exit code, what stood on the screen). ``answers``: (what the question ends with, what is typed); ^C interrupts."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 50, 80, 0, 0))
    kept = {k: v for k, v in os.environ.items() if not k.startswith("STOCKROOM_") and k != "COLUMNS"}
    environment = kept | {"STOCKROOM_DB": cli.where, "PYTHONPATH": str(ROOT), "TERM": "xterm", "PYTHONUTF8": "1"}
    if cli.by:
        environment["STOCKROOM_BY"] = cli.by
    running = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, cli.now, *args],
        stdin=theirs, stdout=theirs, stderr=theirs, cwd=cli.folder, env=environment, start_new_session=True,
    )  # fmt: skip
    os.close(theirs)
    try:
        seen = _talk(ours, running, list(answers))
        return running.wait(LONGEST), seen.replace("\r\n", "\n")
    finally:
        running.kill()
        running.wait()
        os.close(ours)


def _talk(ours: int, running: "subprocess.Popen[bytes]", left: list[tuple[str, str]]) -> str:
    seen, asked, until = "", 0, time.monotonic() + LONGEST
    while time.monotonic() < until:
        if select.select([ours], [], [], 0.1)[0]:
            try:
                got = os.read(ours, 65_536)
            except OSError:  # the other end was closed
                break
            if not got:
                break
            seen += got.decode("utf-8", "replace")
        elif running.poll() is not None:
            break
        if left and left[0][0] in seen[asked:]:
            asked = len(seen)
            typed = left.pop(0)[1]
            if typed == "^C":
                running.send_signal(signal.SIGINT)
            else:
                os.write(ours, typed.encode() + b"\n")
    assert not left, f"was never asked {left[0][0]!r}: {seen}"
    return seen
