"""A full disk, files that nobody may write, odd places: exit 4 with what to do, and nothing is damaged further.

Full is tried in every way that works where the tests run: SQLite's own limit of pages, the kernel's limit of a file's size, and,
where one may be mounted, a small disk. Source of the expectations: the table of exit codes in docs/commands.md.
"""

import os
import shutil
import sqlite3
import subprocess
import tempfile
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from conftest import PRACTICE, Line
from forked import Ran, Warm

from stockroom.store.engine import engine_for

DELIVERY = ["stock", "receive", "KIT", "--lot", "A1", "--expiry", "2099-12-31", "--quantity", "2", "--into", "Cold one"]
IMPORT = ["fridge", "import", "log.csv", "--fridge", "Cold one"]
LOG = "timestamp,celsius\n" + "".join(
    f"2026-01-{d:02d}T{h:02d}:{m:02d}:00Z,4.0\n" for d in range(6, 20) for h in range(24) for m in range(0, 60, 2)
)
SIGNED = {"STOCKROOM_BY": "AB", "STOCKROOM_DB": "practice.db"}


@pytest.fixture(scope="module")
def warm() -> Iterator[Warm]:
    with Warm() as there:
        yield there


@pytest.fixture
def place() -> Iterator[Path]:
    """A folder that everybody may look into."""
    made = Path(tempfile.mkdtemp())
    made.chmod(0o755)
    yield made
    made.chmod(0o755)
    shutil.rmtree(made)


def begun(warm: Warm, folder: Path) -> None:
    (folder / "practice.toml").write_text(PRACTICE, encoding="utf-8")
    (folder / "log.csv").write_text(LOG, encoding="utf-8")
    assert warm.run(["init", "practice.toml"], folder, SIGNED).code == 0


def entries(warm: Warm, folder: Path) -> int:
    said = warm.run(["records", "verify", "--json"], folder, SIGNED)
    assert said.code == 0 and said.answer is not None, said
    return int(said.answer["entries"])


def refused(ran: Ran) -> bool:
    assert ran.code == 4 and ran.out == "" and "->" in ran.err and "Traceback" not in ran.err, ran
    return True


@pytest.mark.sqlite_file
def test_no_page_more_is_a_full_disk(cli: Line) -> None:
    cli.file("log.csv", LOG)
    engine, _, path = engine_for(cli.where)
    assert path is not None
    with sqlite3.connect(path) as link:
        pages = int(link.execute("PRAGMA page_count").fetchone()[0])
    allowed = [0]

    @sa.event.listens_for(engine, "connect")
    def little(link: sqlite3.Connection, _: object) -> None:
        link.execute(f"PRAGMA max_page_count={pages + allowed[0]}")

    for allowed[0] in (0, 1, 2, 5, 20):
        said = cli(*IMPORT)
        assert said.code == 4 and "the disk is full" in said.err and "make room" in said.err and said.out == ""
        assert cli.ask("records", "verify")["entries"] == 1
    allowed[0] = 10_000
    assert cli.ask(*IMPORT)["added"] == LOG.count("\n") - 1


@pytest.mark.parametrize("words", [DELIVERY, IMPORT])
def test_a_file_that_cannot_grow_stops_the_step_and_damages_nothing(warm: Warm, place: Path, words: list[str]) -> None:
    begun(warm, place)
    there = 1
    for longest in (1_000, 5_000, 20_000, 33_000, 60_000, 350_000):
        shutil.rmtree(place / "practice.db.copies")
        said = warm.run([*words, "--json"], place, SIGNED, longest_file=longest)
        if said.code in (0, 1):
            there += 1
            assert said.answer is not None and said.answer["entry"] == f"R-{there}"
            assert (place / "practice.db.copies" / "heads.txt").exists() or "today's copy" in said.err
        else:
            refused(said)
        assert entries(warm, place) == there, (longest, said)
        (place / "practice.db.copies").mkdir(exist_ok=True)
    assert warm.run(words, place, SIGNED).code == 0
    assert not list(place.rglob("*.part*"))


@pytest.mark.parametrize("longest", [5_000, 60_000, 200_000])
def test_what_is_made_anew_is_made_whole_or_not_at_all(warm: Warm, place: Path, longest: int) -> None:
    begun(warm, place)
    assert warm.run(["records", "backup", "good.db"], place, SIGNED).code == 0
    assert warm.run(IMPORT, place, SIGNED).code == 0
    before = sorted(p.name for p in place.iterdir())
    for words in (
        ["init", "practice.toml", "--db", "new.db"],
        ["records", "backup", "copy.db"],
        ["records", "export", "out"],
        ["records", "copy", "--to", "moved.db"],
        ["records", "restore", "good.db", "--yes"],
    ):
        said = warm.run(words, place, SIGNED, longest_file=longest)
        assert said.code in (3, 4) and said.out == "" and "->" in said.err, (words, said)
        assert entries(warm, place) == 2
        left = sorted(p.name for p in place.iterdir())
        assert [n for n in left if ".before-restore-" not in n] == before, words


def small_disk(folder: Path) -> bool:
    """True where a disk of 700 KB could be mounted at ``folder``."""
    command = ["mount", "-t", "tmpfs", "-o", "size=720k,mode=755", "tmpfs", str(folder)]
    return shutil.which("mount") is not None and subprocess.run(command, capture_output=True).returncode == 0


def test_a_disk_that_fills_up(warm: Warm, place: Path) -> None:
    """On a small disk where one may be mounted; elsewhere with the kernel's limit in its place, which the test before tries."""
    mounted = small_disk(place)
    try:
        begun(warm, place)
        limit = None if mounted else 20_000  # of the journal that a step is written to first
        there, full = 1, False
        for _ in range(8):
            said = warm.run([*IMPORT, "--json"], place, SIGNED, longest_file=limit)
            full = full or (said.code == 4 and refused(said))
            there += said.code in (0, 1)
            assert entries(warm, place) == there
            if full:
                break
            text = (
                (place / "log.csv").read_text().replace("2026-0", "2025-0").replace("2025-01", f"2025-{there + 1:02d}")
            )
            (place / "log.csv").write_text(text, encoding="utf-8")
        assert full
        if mounted:
            assert "the disk is full" in said.err and "make room" in said.err
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(place)], check=True)


def test_files_that_nobody_may_write_or_read(warm: Warm, place: Path) -> None:
    begun(warm, place)
    file = place / "practice.db"
    shutil.rmtree(place / "practice.db.copies")
    place.chmod(0o777)
    for rights in (0o444, 0o000):
        file.chmod(rights)
        refused(warm.run(DELIVERY, place, SIGNED, humble=True))
    file.chmod(0o444)
    place.chmod(0o555)
    refused(warm.run(DELIVERY, place, SIGNED, humble=True))
    refused(warm.run(["init", "practice.toml", "--db", "new.db"], place, SIGNED, humble=True))
    place.chmod(0o755)
    for name in ("practice.db-wal", "practice.db-shm"):
        (place / name).unlink(missing_ok=True)
    file.chmod(0o600)
    assert entries(warm, place) == 1 and warm.run(DELIVERY, place, SIGNED).code == 0


@pytest.mark.parametrize("cut", [0, 10, 100, 4096, 5000, 100_000])
def test_a_file_that_was_cut_off_is_not_damaged_further(warm: Warm, place: Path, cut: int) -> None:
    begun(warm, place)
    assert warm.run(IMPORT, place, SIGNED).code == 0
    file = place / "practice.db"
    file.write_bytes(file.read_bytes()[:cut])
    before = file.read_bytes()
    for words in (DELIVERY, IMPORT, ["stock", "list"], ["fridge", "check"], ["records", "backup", "copy.db"]):
        refused(warm.run(words, place, SIGNED))
        assert file.read_bytes() == before, words
    said = warm.run(["records", "verify"], place, SIGNED)
    assert said.code == 4 and "->" in said.err


def test_a_directory_in_its_place_and_a_place_that_is_none(warm: Warm, place: Path) -> None:
    begun(warm, place)
    (place / "dir.db").mkdir()
    for where in ("dir.db", "practice.toml/x.db", "n" * 300 + ".db", "missing/x.db"):
        refused(warm.run(DELIVERY, place, SIGNED | {"STOCKROOM_DB": where}))
    said = warm.run(["init", "practice.toml"], place, SIGNED | {"STOCKROOM_DB": "dir.db"})
    assert said.code == 3 and "is a directory" in said.err
    assert list((place / "dir.db").iterdir()) == []


@pytest.mark.sqlite_file
def test_spaces_and_percent_signs(line: Callable[..., Line], tmp_path: Path) -> None:
    folder = tmp_path / "100 %25 of it %s %(x)s #1?mode=ro&x=é'\""
    folder.mkdir()
    made = line(where=str(folder / "a %20 b.db"))
    made.ok(*DELIVERY)
    made.file("log.csv", LOG)
    made.ok(*IMPORT)
    made.ok("records", "backup", folder / "copy %41.db")
    made.ok("records", "copy", "--to", folder / "moved %41.db")
    assert made.ask("records", "verify")["entries"] == 3
    assert made.ok("stock", "list").out.rstrip().endswith("a %20 b.db]")
    assert {p.name for p in folder.iterdir()} == {"a %20 b.db", "a %20 b.db.copies", "copy %41.db", "moved %41.db"}


@pytest.mark.sqlite_file
def test_all_that_is_made_is_its_owners_only(cli: Line) -> None:
    old = os.umask(0)
    try:
        cli.file("log.csv", LOG)
        with engine_for(cli.where)[0].connect() as conn:  # while it is open, SQLite's files stand beside it
            conn.exec_driver_sql("SELECT 1 FROM head")
            cli.ok("init", "practice.toml", "--db", "new.db")
            cli.ok(*IMPORT, "--db", "new.db")
            cli.ok("records", "backup", "copy.db")
            cli.ok("records", "export", "out")
            cli.ok("records", "import", "out", "--db", "imported.db")
            cli.ok("records", "copy", "--to", "moved.db")
            beside = {p.name for p in cli.folder.glob("practice.db-*")}
            open_to = [p for p in cli.folder.rglob("*") if ".db" in p.name and p.stat().st_mode & 0o077]
            open_to += [p for p in (cli.folder / "out", cli.folder / "practice.db.copies") if p.stat().st_mode & 0o077]
    finally:
        os.umask(old)
    assert beside == {"practice.db-wal", "practice.db-shm"}
    assert open_to == []


def test_of_two_that_begin_at_once_one_is_refused_and_takes_nothing_away(warm: Warm, place: Path) -> None:
    (place / "practice.toml").write_text(PRACTICE, encoding="utf-8")
    with Warm() as other:
        for n in range(6):
            where = SIGNED | {"STOCKROOM_DB": f"p{n}.db"}
            said: list[Ran] = []

            def init(w: Warm, where: dict[str, str] = where, said: list[Ran] = said) -> None:
                said.append(w.run(["init", "practice.toml"], place, where))

            both = [threading.Thread(target=init, args=(w,)) for w in (warm, other)]
            for each in both:
                each.start()
            for each in both:
                each.join()
            assert sorted(s.code for s in said) == [0, 3], said
            assert warm.run(["records", "verify"], place, where).code == 0
