"""Copies prove themselves, come back, and are equal whatever the database: derived from the records themselves."""

import csv
import io
import json
import os
import shutil
import sqlite3
import stat
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Line
from hypothesis import given
from hypothesis import strategies as st

from stockroom.formats import record_csv


def begun(made: Line) -> Line:
    made.file(
        "log.csv", "timestamp,celsius\n" + "".join(f"2026-03-01T{h:02d}:00:00Z,{3 + h / 10}\n" for h in range(24))
    )
    made.ok("stock", "receive", "KIT", "--lot", "=A1", "--expiry", "2026-12-31", "--quantity", 4, "--into", "Cold one")
    made.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    made.ok("fridge", "log", "4.0", "--fridge", "Cold one", "--note", "'quoted', \"doubly\"\nand on two lines")
    made.ok("booking", "add", "white", "--start", "2026-03-05T10:00", "--patient", "P-1")
    return made


def looks(made: Line) -> list[object]:
    """What the practice is told, apart from which database says so."""
    return [
        made.ask(*args)
        for args in (("stock", "list"), ("booking", "list"), ("fridge", "check"), ("warmup", "check"), ("reorder", "list"),
                     ("trace", "lot", "KIT", "=A1"), ("records", "history"), ("records", "verify"))
    ]  # fmt: skip


def at(made: Line, where: str | Path) -> Line:
    return Line(str(where), made.folder, made.now, made.by)


def test_a_backup_is_whole_proves_itself_and_says_its_head(both: Line) -> None:
    begun(both)
    said = both.ask("records", "backup", "copy.db")
    assert said["head"] == both.ask("records", "verify")["head"]
    copy = both.folder / "copy.db"
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    assert looks(at(both, copy)) == looks(both)
    again = both("records", "backup", "copy.db")
    assert (again.code, "already" in again.err) == (3, True)


def test_an_export_goes_into_an_empty_database_and_is_equal(both: Line, tmp_path: Path) -> None:
    begun(both)
    both.ask("records", "export", "out")
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["head"]["hash"] == both.ask("records", "verify")["head"]
    made = at(both, tmp_path / "new.db")
    made.ask("records", "import", "out")
    assert looks(made) == looks(both)
    assert both("records", "export", "out").code == 3
    assert at(both, tmp_path / "new.db")("records", "import", "out").code == 3


def test_an_export_goes_to_a_server_and_one_that_was_altered_leaves_it_empty(
    line: Callable[..., Line], on_server: str
) -> None:
    made = begun(line())
    made.ask("records", "export", "out")
    manifest = made.folder / "out" / "manifest.json"
    kept = manifest.read_text(encoding="utf-8")
    said = json.loads(kept)
    said["head"]["hash"] = "0" * 64
    manifest.write_text(json.dumps(said), encoding="utf-8")
    served = at(made, on_server)
    assert served("records", "import", "out").code == 4
    manifest.write_text(kept, encoding="utf-8")
    served.ask("records", "import", "out")
    assert looks(served) == looks(made)


def test_a_move_to_another_kind_of_database_and_back_is_equal(
    line: Callable[..., Line], on_server: str, tmp_path: Path
) -> None:
    made = begun(line())
    assert made.ask("records", "copy", "--to", on_server)["head"] == made.ask("records", "verify")["head"]
    served = at(made, on_server)
    assert looks(served) == looks(made)
    served.ok("stock", "use", "KIT", 1, "--why", "training")
    served.ask("records", "copy", "--to", tmp_path / "back.db")
    assert looks(at(made, tmp_path / "back.db")) == looks(served)
    assert made("records", "copy", "--to", on_server).code == 3


def test_no_cell_of_an_export_is_a_formula(cli: Line, tmp_path: Path) -> None:
    begun(cli)
    cli.ask("records", "export", "out")
    texts = [
        cell
        for f in (tmp_path / "out").glob("*.csv")
        for row in csv.reader(f.open(encoding="utf-8", newline=""))
        for cell in row
    ]
    assert "'=A1" in texts
    assert not [
        t
        for t in texts
        if t.startswith(("=", "+", "@", "\t", "\r")) or (t.startswith("-") and not t[1:].replace(".", "").isdigit())
    ]


CELLS = st.one_of(st.none(), st.booleans(), st.integers(-(1 << 62), 1 << 62), st.floats(allow_nan=False, allow_infinity=False),
                  st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00")))  # fmt: skip
KINDS = {bool: "yes-no", int: "whole", float: "number", str: "text", type(None): "text"}


@given(st.lists(CELLS, min_size=1, max_size=6))
def test_a_row_goes_out_and_comes_back_as_it_was(row: list[object]) -> None:
    columns = [f"c{i}" for i in range(len(row))]
    text = "".join(record_csv.lines(columns, [row]))
    back = list(
        record_csv.rows(
            io.StringIO(text, newline=""), "x", [(c, KINDS[type(v)]) for c, v in zip(columns, row, strict=True)]
        )
    )
    assert back == [row]


@pytest.mark.parametrize("spoil", ["row", "gone", "manifest", "head", "revision", "path"])
def test_an_export_that_was_altered_is_refused_and_leaves_nothing(cli: Line, tmp_path: Path, spoil: str) -> None:
    begun(cli)
    cli.ask("records", "export", "out")
    out, manifest = tmp_path / "out", tmp_path / "out" / "manifest.json"
    if spoil == "row":
        file = out / "movement.csv"
        file.write_text(file.read_text(encoding="utf-8").replace(",4,", ",5,"), encoding="utf-8")
    elif spoil == "gone":
        (out / "lot.csv").unlink()
    else:
        said = json.loads(manifest.read_text(encoding="utf-8"))
        if spoil == "manifest":
            said["files"] = said["files"][1:]
        elif spoil == "head":
            said["head"]["hash"] = "0" * 64
        elif spoil == "revision":
            said["revision"] = "0000"
        else:
            said["files"][0]["file"] = "../practice.db"
        manifest.write_text(json.dumps(said), encoding="utf-8")
    new = at(cli, tmp_path / "new.db")
    answer = new("records", "import", "out")
    assert answer.code in (3, 4) and answer.err, answer
    assert not (tmp_path / "new.db").exists()


@pytest.mark.sqlite_file
def test_a_restore_proves_the_copy_first_and_keeps_what_was_there(cli: Line, tmp_path: Path) -> None:
    begun(cli)
    cli.ask("records", "backup", "copy.db")
    before = looks(cli)
    cli.ok("stock", "use", "KIT", 1, "--why", "training")
    later = looks(cli)
    refused = cli("records", "restore", "copy.db")
    assert (refused.code, "1 entry recorded after the copy" in refused.err) == (3, True)
    assert looks(cli) == later
    said = cli.ask("records", "restore", "copy.db", "--yes")
    assert looks(cli) == before
    assert looks(at(cli, cli.folder / said["kept"])) == later


@pytest.mark.sqlite_file
@pytest.mark.parametrize("how", ["cut", "altered", "text", "gone"])
def test_a_copy_that_does_not_prove_itself_replaces_nothing(cli: Line, tmp_path: Path, how: str) -> None:
    begun(cli)
    cli.ask("records", "backup", "copy.db")
    copy = tmp_path / "copy.db"
    if how == "cut":
        os.truncate(copy, copy.stat().st_size // 2)
    elif how == "altered":
        with sqlite3.connect(copy) as link:
            link.executescript("DROP TRIGGER movement_no_update; UPDATE movement SET quantity = 40")
        link.close()
    elif how == "text":
        copy.write_text("a letter", encoding="utf-8")
    else:
        copy.unlink()
    held = looks(cli)
    assert cli("records", "restore", "copy.db", "--yes").code == 4
    assert looks(cli) == held


@pytest.mark.sqlite_file
@pytest.mark.parametrize("how", ["cut", "text", "gone"])
def test_a_restore_mends_a_database_that_cannot_be_read(cli: Line, tmp_path: Path, how: str) -> None:
    begun(cli)
    cli.ask("records", "backup", "copy.db")
    held = looks(cli)
    where = Path(cli.where)
    for end in ("-wal", "-shm"):
        where.with_name(where.name + end).unlink(missing_ok=True)
    if how == "cut":
        os.truncate(where, where.stat().st_size // 2)
    elif how == "text":
        where.write_text("a letter", encoding="utf-8")
    else:
        where.unlink()
    said = cli.ask("records", "restore", "copy.db")
    assert looks(cli) == held
    assert (said["kept"] is None) == (how == "gone")


@pytest.mark.sqlite_file
def test_one_copy_a_day_is_made_unasked_and_the_newest_fourteen_are_kept(cli: Line) -> None:
    folder = Path(cli.where + ".copies")
    shutil.rmtree(folder, ignore_errors=True)
    for day in range(1, 21):
        for hour in (9, 11):
            cli.ok("fridge", "log", "4.0", "--fridge", "Cold one", now=f"2026-03-{day:02d}T{hour:02d}:00:00+00:00")
    copies = sorted(p.name for p in folder.glob("*.db"))
    assert copies == [f"2026-03-{day:02d}.db" for day in range(7, 21)]
    heads = (folder / "heads.txt").read_text(encoding="utf-8").splitlines()
    assert len(heads) == 20
    last = at(cli, folder / copies[-1]).ask("records", "verify")
    assert heads[-1] == f"2026-03-20 R-{last['entries']} {last['head']}"
    assert {stat.S_IMODE(p.stat().st_mode) for p in folder.glob("*.db")} == {0o600}


@pytest.mark.sqlite_file
def test_a_copy_that_cannot_be_made_is_said_and_undoes_nothing(cli: Line) -> None:
    folder = Path(cli.where + ".copies")
    shutil.rmtree(folder, ignore_errors=True)
    folder.write_text("in the way", encoding="utf-8")
    said = cli("fridge", "log", "4.0", "--fridge", "Cold one")
    assert said.code in (0, 1)
    assert "copy of the database could not be made" in said.err
    assert cli.ask("records", "history")["entries"][-1]["kind"] == "check"


@pytest.mark.parametrize("words", [("backup", "a\udcff"), ("export", "b\udcff"), ("copy", "--to", "c\udcff.db")])
def test_a_name_that_is_no_text_is_refused_as_everywhere(cli: Line, words: tuple[str, ...]) -> None:
    before = sorted(path.name for path in cli.folder.iterdir())
    said = cli("records", *words)
    assert (said.code, said.out) == (2, "")
    assert "that is not text in the terminal's encoding" in said.err
    assert sorted(path.name for path in cli.folder.iterdir()) == before


@pytest.mark.sqlite_file
def test_what_only_looks_makes_no_copy(cli: Line) -> None:
    folder = Path(cli.where + ".copies")
    shutil.rmtree(folder, ignore_errors=True)
    cli.ok("stock", "list")
    assert not folder.exists()
