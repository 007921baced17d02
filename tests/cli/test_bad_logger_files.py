"""Two thousand damaged logger files through the command line: read as far as they can be, or refused, never worse.

Source of the expectations: the table of exit codes; what is on record stays; nothing of a file steers a terminal.
All data is made up (``bad_logs``), the same in every run.
"""

import contextlib
import io
import unicodedata

import pytest
from bad_logs import GOOD, damaged
from conftest import Line, Said
from databases import peeked
from freezegun import freeze_time

from stockroom.cli.main import main

EACH = 250
Series = dict[tuple[int, int], int]


# What is tried is the reading of files; the first part shows a server what comes of it.
@pytest.mark.parametrize("chunk", [0, *(pytest.param(n, marks=pytest.mark.long) for n in range(1, 8))])
def test_damaged_logger_files(cli: Line, chunk: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("STOCKROOM_DB", cli.where)
    monkeypatch.setenv("STOCKROOM_BY", "AB")
    monkeypatch.chdir(cli.folder)
    # The clock is stopped once for all files: stopping it takes longer than reading one.
    with freeze_time("2026-12-01T09:00:00+00:00"):
        for i, text in enumerate(GOOD):
            cli.file("good.csv", text)
            assert typed("fridge", "import", "good.csv", "--fridge", "Cold two" if i else "Cold one").code in (0, 1)
        before, counts = record(cli), {0: 0, 1: 0, 3: 0}
        for seed in range(EACH * chunk, EACH * (chunk + 1)):
            cli.file("bad.csv", damaged(seed))
            said = typed("fridge", "import", "bad.csv", "--fridge", "Cold one", *(["--json"] if seed % 3 else []))
            after = record(cli)
            sound(said, before, after, seed)
            before = after
            counts[said.code] += 1
        # Not all of one kind: some are read whole, some in part, some not at all.
        assert counts[0] >= 5 and counts[1] > EACH // 5 and counts[3] > EACH // 5, counts
        assert typed("records", "verify").code == 0


def sound(said: Said, before: Series, after: Series, seed: int) -> None:
    """An exit code that is meant, an answer that fits it and the record, and nothing that could steer a terminal."""
    assert said.code in (0, 1, 3) and "Traceback" not in said.err, (seed, said)
    steering = {c for c in said.out + said.err if c != "\n" and unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp")}
    assert not steering, (seed, steering)
    if said.code == 3:
        assert said.out == "" and 0 < len(said.err) < 4000 and after == before, (seed, said)
        return
    assert before.items() <= after.items(), seed
    if seed % 3:
        answer = said.json
        rows = answer["added"] + answer["already_there"] + len(answer["conflicts"]) + len(answer["rejected"])
        assert answer["lines"] == rows and len(after) - len(before) == answer["added"], (seed, answer)
        assert (said.code == 1) == bool(answer["warnings"]), seed


def typed(*args: str) -> Said:
    """One command line in this process."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(list(args))
    return Said(code, out.getvalue(), err.getvalue())


def record(cli: Line) -> Series:
    """(fridge, instant) -> thousandths of everything that was accepted."""
    return {(fridge, at): milli for fridge, at, milli in peeked(cli.where, "SELECT fridge, at, milli FROM reading")}
