"""Files that a person names: what has no end is refused, the database is never written over, names stay plain text."""

import io
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from conftest import Line

from stockroom.cli import files
from stockroom.cli.output import put


def test_what_has_no_end_or_is_far_too_long_is_refused(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    said = cli("fridge", "import", "/dev/zero", "--fridge", "Cold one")
    assert said.code == 3 and "larger than 250 MB" in said.err
    monkeypatch.setattr(files, "MOST_BYTES", 1000)
    with (cli.folder / "long.csv").open("wb") as file:
        file.truncate(2_000_000_000)
    said = cli("fridge", "import", "long.csv", "--fridge", "Cold one")
    assert said.code == 3 and "long.csv is larger" in said.err
    assert cli("records", "history", "--json").json["entries"][-1]["entry"] == "R-1"


def test_a_pipe_is_read_to_its_end(cli: Line) -> None:
    os.mkfifo(cli.folder / "pipe")
    text = "time,celsius\n2026-03-01 10:00,4.0\n" + "2026-03-01 10:10,4.1\n" * 9000
    writer = threading.Thread(target=lambda: (cli.folder / "pipe").write_text(text))
    writer.start()
    assert cli.ask("fridge", "import", "pipe", "--fridge", "Cold one")["lines"] == 9001
    writer.join()


@pytest.mark.sqlite_file
@pytest.mark.parametrize("way", ["practice.db", "soft.svg", "hard.svg", "inner/../practice.db", "practice.db-wal"])
def test_no_way_leads_an_answer_over_the_database(cli: Line, way: str) -> None:
    cli.ok("stock", "receive", "KIT", "--lot", "A1", "--expiry", "2027-01", "--quantity", 1, "--into", "Cold one")
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1")  # else there is no label to print
    (cli.folder / "inner").mkdir()
    (cli.folder / "soft.svg").symlink_to("practice.db")
    (cli.folder / "hard.svg").hardlink_to(cli.folder / "practice.db")
    before = Path(cli.where).read_bytes()
    sheet = ("fridge", "sheet", "--month", "2026-02", "--out", way)
    papers = (("warmup", "calendar", "--out", way), ("warmup", "labels", "--out", way))
    for command in (("fridge", "chart", "--out", way), sheet, ("reorder", "list", "--csv", way), *papers):
        said = cli(*command)
        assert said.code == 3 and "is the database" in said.err, command
    assert Path(cli.where).read_bytes() == before


def test_a_file_name_never_steers_the_terminal(cli: Line) -> None:
    name = "e\x1b[31mvil\x1b]0;x\x07.csv"
    missing = cli("fridge", "import", name, "--fridge", "Cold one")
    assert missing.code == 3 and "vil" in missing.err
    cli.file(name, "time,celsius\n2026-03-01 10:00,4.0\n2026-03-01 10:10,9.0\n2026-03-01 10:20,x\n")
    there = cli("fridge", "import", name, "--fridge", "Cold one")
    assert there.code == 1
    for text in (missing.err, there.out, there.err, cli("records", "history").out):
        assert "\x1b" not in text and "\x07" not in text


def test_an_empty_name_and_a_full_disk_are_told_apart(cli: Line) -> None:
    said = cli("fridge", "chart", "--out", "")
    assert said.code == 3 and "the name of the file is empty" in said.err
    said = cli("fridge", "chart", "--out", "/dev/full")
    assert said.code == 3 and "make room" in said.err


def test_an_encoding_without_a_letter_gets_the_nearest(monkeypatch: pytest.MonkeyPatch) -> None:
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding="ascii"))
    put("4.2 °C --why … ⣿\n")
    assert raw.getvalue() == b"4.2 C --why ... ?\n"


def test_what_cannot_be_written_whole_leaves_what_was_there(cli: Line) -> None:
    sheet = cli.folder / "sheet.html"
    sheet.write_text("the month before")
    code = (
        "import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
        "resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000)); "
        "from stockroom.cli.files import written; from stockroom.cli.job import Job; "
        "written(Job(0, sys.argv[1]), sys.argv[2], 'x' * 100_000)"
    )
    said = subprocess.run([sys.executable, "-c", code, cli.where, str(sheet)], capture_output=True, text=True)
    assert said.returncode != 0 and "stockroom.errors.Refused" in said.stderr and "sheet.html" in said.stderr
    assert sheet.read_text() == "the month before"
    cli.ok("fridge", "sheet", "--month", "2026-02", "--out", "sheet.html")
    assert "February 2026" in sheet.read_text()
    assert [f.name for f in cli.folder.glob("sheet*")] == ["sheet.html"]


def test_a_link_to_another_file_stays_a_link_and_a_ring_of_links_is_refused(cli: Line) -> None:
    (cli.folder / "real.svg").write_text("old")
    (cli.folder / "link.svg").symlink_to("real.svg")
    cli.ok("fridge", "chart", "--out", "link.svg")
    assert (cli.folder / "link.svg").is_symlink() and "<svg" in (cli.folder / "real.svg").read_text()
    (cli.folder / "ring.svg").symlink_to("ring.svg")
    assert cli("fridge", "chart", "--out", "ring.svg").code in (0, 3)
