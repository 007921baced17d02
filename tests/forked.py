"""Command lines run each in a process of its own that can be killed: children forked from one process that has started.

A child has all the program's modules in memory already, so that the moment of a kill falls into the command's work and
not into Python's start. Run as a program it is that process; ``Warm`` speaks to it, a JSON line for each question.
"""

import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

NOBODY = 65534


@dataclass(frozen=True)
class Ran:
    """What became of one command line; ``code`` is -9 where it was killed."""

    code: int
    out: str
    err: str
    seconds: float

    @property
    def killed(self) -> bool:
        return self.code == -signal.SIGKILL

    @property
    def answer(self) -> dict[str, Any] | None:
        """The JSON answer, None where it was not all said."""
        try:
            return dict(json.loads(self.out))
        except ValueError:
            return None


class Warm:
    """The process that forks; ``with Warm() as warm: warm.run(["stock", "list"], folder, {…})``."""

    def __enter__(self) -> "Warm":
        self._papers = tempfile.TemporaryDirectory()
        self._there = subprocess.Popen(
            [sys.executable, __file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, encoding="utf-8"
        )
        return self

    def __exit__(self, *_: object) -> None:
        assert self._there.stdin is not None
        self._there.stdin.close()
        self._there.wait()
        self._papers.cleanup()

    def run(
        self,
        words: list[str],
        folder: Path,
        settings: dict[str, str],
        *,
        kill_after: float | None = None,
        longest_file: int | None = None,
        humble: bool = False,
        seconds: float = 120,
    ) -> Ran:
        """One command line in ``folder``; killed after so many seconds, or allowed no file longer than so many bytes.

        ``humble``: without the rights of root, whom no file's permissions stop.
        """
        assert self._there.stdin is not None and self._there.stdout is not None
        out, err = (Path(self._papers.name) / name for name in ("out", "err"))
        asked = {"words": words, "folder": str(folder), "settings": settings, "out": str(out), "err": str(err)}
        asked |= {"kill_after": kill_after, "longest_file": longest_file, "at_most": seconds, "humble": humble}
        self._there.stdin.write(json.dumps(asked) + "\n")
        self._there.stdin.flush()
        said = json.loads(self._there.stdout.readline())
        texts = [p.read_text(encoding="utf-8", errors="replace") for p in (out, err)]
        return Ran(said["code"], *texts, said["seconds"])


def _warmed() -> None:
    """Loads every module of the program, and what the slow ones load."""
    import importlib
    import pkgutil

    import stockroom

    for found in pkgutil.walk_packages(stockroom.__path__, "stockroom."):
        importlib.import_module(found.name)
    for name in (
        "numpy",
        "psycopg",
        "alembic.command",
        "sqlalchemy.dialects.sqlite",
        "sqlalchemy.dialects.postgresql",
        "encodings.utf_8_sig",
    ):
        importlib.import_module(name)


def _child(asked: dict[str, Any]) -> None:
    """The command line itself; never returns."""
    from stockroom.cli.main import collect_seldom, main

    code = 99
    try:
        for number, name in ((1, "out"), (2, "err")):
            os.dup2(os.open(asked[name], os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), number)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.chdir(asked["folder"])
        for name in [n for n in os.environ if n.startswith("STOCKROOM_")]:
            del os.environ[name]
        os.environ.update(asked["settings"])
        if asked["longest_file"] is not None:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (asked["longest_file"],) * 2)
        if asked["humble"] and os.geteuid() == 0:
            os.setgroups([])
            os.setgid(NOBODY)
            os.setuid(NOBODY)
        sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
        sys.stderr = os.fdopen(2, "w", encoding="utf-8", closefd=False, buffering=1)
        collect_seldom()
        code = main(asked["words"])
        sys.stdout.flush()
        sys.stderr.flush()
    finally:
        os._exit(code)


def _serve() -> None:
    _warmed()
    for line in sys.stdin:
        asked = json.loads(line)
        for name in ("out", "err"):
            Path(asked[name]).write_bytes(b"")
        began = time.monotonic()
        child = os.fork()
        if not child:
            _child(asked)
        killed_at = began + (asked["kill_after"] if asked["kill_after"] is not None else asked["at_most"])
        status = None
        while status is None:
            left = killed_at - time.monotonic()
            if left <= 0:
                os.kill(child, signal.SIGKILL)
                status = os.waitpid(child, 0)[1]
                break
            done, found = os.waitpid(child, os.WNOHANG)
            if done:
                status = found
                break
            time.sleep(min(left, 0.001))
        answer = {"code": os.waitstatus_to_exitcode(status), "seconds": time.monotonic() - began}
        sys.stdout.write(json.dumps(answer) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    _serve()
