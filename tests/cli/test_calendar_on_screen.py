"""Days ahead as a calendar of 80 columns: a line for each booking, the moment to act never cut off.

Source: derived; a line is `  HH:MM  B-n  state  kit  moment`, and a terminal of 80 columns shows 80 letters of it.
"""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import Line

LOT = "LOT-2026-0000000031-B"
ROW = re.compile(r"  \d\d:\d\d  B-\d+ ")


def diary(cli: Line, bookings: int) -> None:
    """Bookings every quarter of an hour on working days, and kits of four lots with long codes for some of them."""
    for n in range(1, 5):
        cli.ok(
            "stock", "receive", "KIT", "--lot", f"{LOT}{n}", "--expiry", f"2026-1{n % 3}", "--quantity", 10, "--into", "Cold one",
            "--arrived-at", "4",
        )  # fmt: skip
    rows = ["id,procedure,start,patient"]
    for n in range(bookings):
        day, quarter = divmod(n, 20)
        minute = 8 * 60 + 15 * quarter
        on = ("04", "05", "06", "09", "10", "11", "12", "13", "16", "17")[day]
        rows.append(f"DESK-{n:09},white,2026-03-{on}T{minute // 60:02}:{minute % 60:02},P-{n}")
    cli.file("d.csv", "\n".join(rows) + "\n")
    cli.ok("booking", "import", "d.csv")


def wide(monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    monkeypatch.setattr("shutil.get_terminal_size", lambda *_: os.terminal_size((columns, 24)))


@pytest.mark.parametrize("columns", [80, 100, 120])
def test_each_booking_has_one_line_that_ends_with_its_moment(
    cli: Line, monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    wide(monkeypatch, columns)
    diary(cli, 200)
    shown = cli("warmup", "check", "--days", "15").out.splitlines()
    rows = [x for x in shown if ROW.match(x)]
    assert len(rows) == 200 and max(map(len, shown)) <= columns
    asked = cli.ask("warmup", "check", "--days", "15")["bookings"]
    planned = [r for r in rows if "planned" in r or "DUE" in r]
    assert len(planned) == sum(r["state"] in ("planned", "due") for r in asked) > 20
    assert all(re.search(r"take out by \w{3} \d+ Mar \d\d:\d\d$", r) for r in planned)
    # what is left of a lot's code is its end, by which lots differ
    assert {re.search(r"lot \S*?B(\d) ", r)[1] for r in planned} >= {"1", "2"}  # type: ignore[index]
    assert (LOT in planned[0]) is (columns >= 100) and ("…" in planned[0]) is (columns < 100)


def test_a_product_with_a_long_code_gives_way_too(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    from stockroom.cli.warmup_show import _clipped

    assert _clipped("KIT lot A1", 12) == "KIT lot A1"
    assert _clipped(f"KIT lot {LOT}7", 20) == "KIT lot …00000031-B7"
    assert _clipped("A-VERY-LONG-PRODUCT lot A1", 20) == "A-VERY-LONG-PRODUCT…"
    assert all(len(_clipped(f"KIT lot {LOT}7 +3", n)) == n for n in range(12, 30))


def test_without_colour_and_through_a_pipe(cli: Line) -> None:
    diary(cli, 20)
    out = cli("warmup", "check", "--days", "15").out
    assert "\x1b" not in out and sum(bool(ROW.match(x)) for x in out.splitlines()) == 20


@pytest.mark.skipif(sys.platform == "win32", reason="there is no pseudo-terminal")
def test_a_pager_gets_lines_as_wide_as_the_terminal_behind_it(cli: Line) -> None:
    import fcntl
    import pty
    import struct
    import termios

    from terminal import PROGRAM

    diary(cli, 20)
    ours, theirs = pty.openpty()
    try:
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 50, 72, 0, 0))
        line = [sys.executable, "-c", PROGRAM, "2026-03-03T08:00:00+00:00", "warmup", "check"]
        said = subprocess.run(
            line, stdout=subprocess.PIPE, stderr=theirs, stdin=subprocess.DEVNULL, cwd=cli.folder,
            env={k: v for k, v in os.environ.items() if k != "COLUMNS"}
            | {"STOCKROOM_DB": cli.where, "PYTHONPATH": str(Path(__file__).parents[2]), "PYTHONUTF8": "1"},
        )  # fmt: skip
    finally:
        os.close(theirs)
        os.close(ours)
    lines = said.stdout.decode("utf-8").splitlines()
    rows = [x for x in lines if ROW.match(x)]
    assert len(rows) == 20 and all(re.search(r"\d\d:\d\d$", x) for x in rows if "out by" in x)
    assert 65 < max(map(len, lines)) <= 72 and b"\x1b" not in said.stdout
